"""Loudness against ITU-R BS.1770-5 as copied into tests/references/loudness.toml, its tables, and pyloudnorm."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.physics import loudness as module
from cabinwright.physics.loudness import k_weighting, k_weighting_db, loudness

TABLE = Path(__file__).parents[1] / "references" / "loudness.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}
# ITU-R BS.1770-5, Annex 1, Tables 1 and 2 (48 kHz): b0 b1 b2, a1 a2
PRINTED = (
    ((1.53512485958697, -2.69169618940638, 1.19839281085285), (-1.69065929318241, 0.73248077421585)),
    ((1.0, -2.0, 1.0), (-1.99004745483398, 0.99007225036621)),
)


def tone(frequency_hz: float, level_db: float, *, rate_hz: int = 48_000, long_s: float = 5.0) -> np.ndarray:
    return 10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * frequency_hz * np.arange(int(long_s * rate_hz)) / rate_hz)


def test_the_printed_coefficients() -> None:
    for row, (b, a) in zip(k_weighting(sample_rate_hz=48_000.0), PRINTED, strict=True):
        assert np.allclose(row, [*b, 1.0, *a], rtol=0.0, atol=1e-12)
        assert not np.allclose(row, [*b, 1.0, a[0] + 1e-9, a[1]], rtol=0.0, atol=1e-12)


def test_another_rate() -> None:
    entry = ENTRIES["H.k.coeff96"]
    shelf_b, shelf_a, low_b, low_a = entry["expected"]
    got = k_weighting(sample_rate_hz=96_000.0)
    assert np.abs(got - [[*shelf_b, 1.0, *shelf_a], [*low_b, 1.0, *low_a]]).max() <= entry["tol_abs"]
    wrong = k_weighting(sample_rate_hz=95_999.0)
    assert np.abs(wrong - got).max() > entry["tol_abs"]


def test_the_response() -> None:
    entry = ENTRIES["H.k.response"]
    got = k_weighting_db(frequency_hz=entry["inputs"]["f_Hz"])
    assert np.abs(got - entry["expected"]).max() <= entry["tol_abs"]
    assert (
        np.abs(k_weighting_db(frequency_hz=np.array(entry["inputs"]["f_Hz"]) * 1.001) - entry["expected"]).max()
        > (entry["tol_abs"])
    )


@pytest.mark.parametrize("rate_hz", [32_000, 44_100, 48_000, 96_000, 192_000])
def test_tones(rate_hz: int) -> None:
    entry = ENTRIES["H.tone.basic"]
    one = tone(997.0, 0.0, rate_hz=rate_hz)
    quiet = tone(1000.0, -23.0, rate_hz=rate_hz)
    got = [
        loudness(data, sample_rate_hz=rate_hz).integrated_lufs
        for data in (one, np.stack([one, one], axis=1), np.stack([quiet, quiet], axis=1))
    ]
    assert np.abs(np.array(got) - entry["expected"]).max() <= entry["tol_abs"]
    off = loudness(1.01 * one, sample_rate_hz=rate_hz).integrated_lufs
    assert abs(off - entry["expected"][0]) > entry["tol_abs"]


def test_the_gates_are_the_recommendation_s() -> None:
    block, overlap, absolute, relative, _ = ENTRIES["H.gate"]["expected"]
    assert (block, overlap) == (module.BLOCK_S, 100.0 * module.OVERLAP)
    assert (absolute, relative) == (module.ABSOLUTE_LUFS, module.RELATIVE_LU)


def test_what_is_below_a_gate_does_not_count() -> None:
    loud = np.stack([tone(1000.0, -23.0, long_s=60.0)] * 2, axis=1)
    # EBU Tech 3341, case 3: 10 s at -36, 60 s at -23, 10 s at -36 read -23.0 within 0.1; and case 4 with -72 besides
    quiet, faint = (np.stack([tone(1000.0, level, long_s=10.0)] * 2, axis=1) for level in (-36.0, -72.0))
    for parts in ([quiet, loud, quiet], [faint, quiet, loud, quiet, faint]):
        got = loudness(np.concatenate(parts), sample_rate_hz=48_000.0)
        assert got.integrated_lufs == pytest.approx(-23.0, abs=0.1)
        assert got.kept < got.blocks
    ungated = 10.0 * np.log10((6.0 * 10**-2.3 + 2.0 * 10**-3.6) / 8.0)
    assert abs(ungated + 23.0) > 0.1  # without a gate it would be 1.2 dB less
    assert loudness(np.zeros(48_000), sample_rate_hz=48_000.0).integrated_lufs == float("-inf")


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    rate_hz=st.sampled_from([16_000, 44_100, 48_000, 88_200, 96_000]),
    tenths=st.integers(10, 60),
    channels=st.sampled_from([1, 2]),
    swing=st.floats(0.0, 4.0),
)
def test_against_pyloudnorm(seed: int, rate_hz: int, tenths: int, channels: int, swing: float) -> None:
    rng = np.random.default_rng(seed)
    time = np.arange(tenths * rate_hz // 10) / rate_hz
    data = rng.standard_normal((len(time), channels)).cumsum(axis=0) * 1e-3 + rng.standard_normal((len(time), 1)) * 0.05
    data *= 10.0 ** (swing * (np.sin(3.0 * time) - 1.0))[:, None]
    wanted = pyloudnorm.Meter(rate_hz, filter_class="DeMan").integrated_loudness(data)
    got = loudness(data, sample_rate_hz=rate_hz).integrated_lufs
    # Whole blocks only: pyloudnorm rounds their number, and may count one that is not complete.
    assert got == pytest.approx(wanted, abs=0.01)
    # Every part of it counts at this tolerance: a wrong offset, or one channel only, would be seen.
    assert got != pytest.approx(wanted + 0.02, abs=0.01)


def test_misuse_is_refused() -> None:
    with pytest.raises(ValueError, match="mono or stereo"):
        loudness(np.zeros((48_000, 3)), sample_rate_hz=48_000.0)
    with pytest.raises(ValueError, match=r"0\.4 s"):
        loudness(np.zeros(1000), sample_rate_hz=48_000.0)
    with pytest.raises(ValueError, match="sample rate"):
        k_weighting(sample_rate_hz=6000.0)
