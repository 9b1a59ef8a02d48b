"""Filters against SciPy, published values, Linkwitz-Riley theory, and sox on real noise."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import butter, sosfreqz

from cabinwright.errors import PersonError
from cabinwright.physics.filters import Filter, crossover_qs, filter_sections, sections_response
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

RATE = 48000.0
ENTRIES = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "filters.toml").read_text("utf-8"))["entry"]
}
COOKBOOK = sorted(key for key in ENTRIES if key.startswith("C.rbj"))
#: at 40 Hz on a rate of 192 kHz the bilinear transform bends frequency by 1e-7: the analogue prototype itself
FAR = 192000.0


def _pass(kind: str, frequency_hz: float, family: str, slope: int) -> Filter:
    return Filter(kind, frequency_hz, family=family, slope_db_per_octave=slope)  # type: ignore[arg-type]


def _response(item: Filter, frequency_hz: Any, rate: float = RATE) -> Any:
    sections = filter_sections(item, sample_rate_hz=rate)
    return sections_response(sections, frequency_hz=np.asarray(frequency_hz, dtype=float), sample_rate_hz=rate)


def _db(values: Any) -> Any:
    return 20.0 * np.log10(np.abs(values))


def _agrees(got: Any, expected: Any, row: dict[str, Any]) -> bool:
    expected = np.asarray(expected)
    return bool(np.all(np.abs(np.asarray(got) - expected) <= row["tol_abs"] + row["tol_rel"] * np.abs(expected)))


@pytest.mark.parametrize("key", COOKBOOK)
def test_cookbook_sections(key: str) -> None:
    """Audio EQ Cookbook (W3C Group Note, 8 June 2021): coefficients as sox prints them, and levels."""
    row, given_ = ENTRIES[key], ENTRIES[key]["inputs"]
    made = _cookbook(given_)
    b, a, level = row["expected"]
    assert _agrees(made[0, :3], b, row)
    assert _agrees(made[0, 4:], a, row)
    response = sections_response(made, frequency_hz=np.array(given_["f_eval"]), sample_rate_hz=given_["fs"])
    assert _agrees(_db(response), level, row)
    wrong = _cookbook({**given_, "f0": given_["f0"] * 1.0001})
    assert not _agrees(wrong[0, 4:], a, row)


def _cookbook(row: dict[str, Any]) -> Any:
    """A section of Q 0.5 is Linkwitz-Riley of 12 dB per octave, one of Q 0.7071 Butterworth."""
    family = "Linkwitz-Riley" if row["Q"] == 0.5 else "Butterworth"
    kinds = {"lpf": "low-pass", "hpf": "high-pass", "peak": "peaking", "apf": "all-pass"}
    kind = kinds[row["kind"]]
    if kind in ("low-pass", "high-pass"):
        item = _pass(kind, row["f0"], family, 12)
    else:
        item = Filter(kind, row["f0"], gain_db=row["gain_dB"], q=row["Q"])  # type: ignore[arg-type]
    return filter_sections(item, sample_rate_hz=row["fs"])


@pytest.mark.parametrize("kind", ["low-pass", "high-pass"])
@pytest.mark.parametrize("order", range(1, 9))
@pytest.mark.parametrize("frequency_hz", [25.0, 300.0, 3200.0, 15000.0])
def test_butterworth_against_scipy(kind: str, order: int, frequency_hz: float) -> None:
    f = np.geomspace(10.0, 23000.0, 200)
    sos = butter(order, frequency_hz, kind.removesuffix("-pass"), fs=RATE, output="sos")
    _, expected = sosfreqz(sos, worN=f, fs=RATE)
    heard = np.abs(expected) > 1e-9
    got = _response(_pass(kind, frequency_hz, "Butterworth", 6 * order), f)
    assert np.abs(got[heard] / expected[heard] - 1.0).max() < 1e-5
    other = _response(_pass(kind, frequency_hz * 1.001, "Butterworth", 6 * order), f)
    assert np.abs(other[heard] / expected[heard] - 1.0).max() > 1e-4


@pytest.mark.parametrize("key", ["C.butter.1", "C.butter.2", "C.butter.3", "C.butter.4", "C.lr.LR4", "C.lr.LR8"])
def test_prototypes(key: str) -> None:
    """Level and phase of the analogue prototypes (Butterworth 1930; Linkwitz 1976)."""
    row = ENTRIES[key]
    family, order = ("Linkwitz-Riley", int(key[-1])) if ".lr." in key else ("Butterworth", row["inputs"]["order"])
    fc = 40.0
    f = fc * np.array(row["inputs"]["f_over_fc"])
    got = _response(_pass("low-pass", fc, family, 6 * order), f, FAR)
    level, phase = row["expected"][:2]
    assert _agrees(_db(got), level, row)
    turned = np.degrees(np.angle(got * np.exp(-1j * np.radians(phase))))
    assert np.abs(turned).max() <= row["tol_abs"] + 1e-3
    assert not _agrees(_db(_response(_pass("low-pass", fc * 1.01, family, 6 * order), f, FAR)), level, row)


def test_section_qs() -> None:
    row = ENTRIES["C.butter.Q"]
    for order, expected in zip(row["inputs"]["order"], row["expected"], strict=True):
        got = [q for q in crossover_qs("Butterworth", 6 * order) if q is not None]
        assert _agrees(sorted(got), sorted(expected), row)
    with pytest.raises(ValueError, match="multiple of 12"):
        crossover_qs("Linkwitz-Riley", 18)
    with pytest.raises(ValueError, match="multiple of 6"):
        crossover_qs("Butterworth", 20)


@pytest.mark.parametrize(("slope", "sign"), [(12, -1.0), (24, 1.0), (36, -1.0), (48, 1.0)])
@pytest.mark.parametrize("frequency_hz", [80.0, 350.0, 3200.0])
def test_linkwitz_riley_sums_flat(slope: int, sign: float, frequency_hz: float) -> None:
    """Linkwitz 1976: low and high pass sum to an all-pass, with one inverted where the order is 2 or 6."""
    f = np.geomspace(5.0, 23900.0, 400)
    low, high = (_response(_pass(kind, frequency_hz, "Linkwitz-Riley", slope), f) for kind in ("low-pass", "high-pass"))
    assert np.abs(_db(low + sign * high)).max() < 1e-5
    assert np.abs(_db(low - sign * high)).max() > 20.0


@pytest.mark.parametrize(("frequency_hz", "q"), [(40.0, 0.5), (1000.0, 2.0), (12000.0, 0.7)])
def test_all_pass(frequency_hz: float, q: float) -> None:
    """Level 0 dB everywhere, -180 degrees at its frequency."""
    f = np.geomspace(10.0, 23900.0, 300)
    item = Filter("all-pass", frequency_hz, q=q)
    assert np.abs(_db(_response(item, f))).max() < 1e-9
    assert _response(item, [frequency_hz])[0] == pytest.approx(-1.0, abs=1e-9)


FILTERS = st.one_of(
    st.builds(
        Filter,
        st.just("peaking"),
        st.floats(10.0, 23000.0),
        gain_db=st.floats(-24.0, 24.0),
        q=st.floats(0.1, 20.0),
    ),
    st.builds(Filter, st.just("all-pass"), st.floats(10.0, 23000.0), q=st.floats(0.1, 20.0)),
    st.builds(
        Filter,
        st.sampled_from(["low-pass", "high-pass"]),
        st.floats(10.0, 23000.0),
        family=st.just("Butterworth"),
        slope_db_per_octave=st.sampled_from([6, 12, 18, 24, 30, 36, 42, 48]),
    ),
    st.builds(
        Filter,
        st.sampled_from(["low-pass", "high-pass"]),
        st.floats(10.0, 23000.0),
        family=st.just("Linkwitz-Riley"),
        slope_db_per_octave=st.sampled_from([12, 24, 36, 48]),
    ),
)


@given(FILTERS)
def test_every_filter_is_stable_and_ends_where_it_should(item: Filter) -> None:
    """Poles inside the unit circle; 0 dB or silence at the ends of the band, by kind."""
    sections = filter_sections(item, sample_rate_hz=RATE)
    assert np.all(sections[:, 3] == 1.0)
    for row in sections:
        assert np.abs(np.roots(row[3:])).max() < 1.0
    dc, nyquist = np.abs(sections_response(sections, frequency_hz=np.array([0.0, RATE / 2]), sample_rate_hz=RATE))
    assert dc == pytest.approx(0.0 if item.kind == "high-pass" else 1.0, abs=1e-4)
    assert nyquist == pytest.approx(0.0 if item.kind == "low-pass" else 1.0, abs=1e-4)


@pytest.mark.parametrize("frequency_hz", [0.0, -5.0, 24000.0, 1e9])
def test_frequencies_outside_the_band_are_refused(frequency_hz: float) -> None:
    with pytest.raises(ValueError, match="between 0 and half"):
        filter_sections(Filter("peaking", frequency_hz, gain_db=1.0, q=1.0), sample_rate_hz=RATE)


# The written settings


def _settings(filters: tuple[Filter, ...]) -> Settings:
    return Settings(RATE, (ChannelSettings("left midrange", -3.5, "inverted", 0.00125, filters),))


@given(st.lists(FILTERS, max_size=6).map(tuple))
def test_settings_survive_their_file(filters: tuple[Filter, ...]) -> None:
    before = _settings(filters)
    after = Settings.from_dict(json.loads(json.dumps(before.to_dict())))
    f = np.geomspace(10.0, 23900.0, 50)
    one, other = (item.channels[0].response(f, sample_rate_hz=RATE) for item in (before, after))
    assert np.array_equal(one, other)
    assert after.channels[0].sections(RATE).tolist() == before.to_dict()["channels"][0]["sections"]


@pytest.mark.parametrize(
    ("edit", "match"),
    [
        (lambda row: row["filters"][0].update(gain_db=-3.0), "must say the same"),
        (lambda row: row["sections"].pop(), "must say the same"),
        (lambda row: row.update(gain_db=float("nan")), "gain_db"),
        (lambda row: row.update(polarity="reversed"), "polarity"),
        (lambda row: row.update(delay_s=-1.0), "delay_s"),
        (lambda row: row.pop("filters"), "filters"),
        (lambda row: row["filters"][0].update(frequency_hz=30000.0), "between 0 and half"),
    ],
)
def test_badly_edited_settings_are_refused(edit: Any, match: str) -> None:
    data = json.loads(json.dumps(_settings((Filter("peaking", 500.0, gain_db=-4.0, q=2.0),)).to_dict()))
    edit(data["channels"][0])
    with pytest.raises(PersonError, match=match):
        Settings.from_dict(data)


def test_sox_plays_the_written_sections(tmp_path: Path) -> None:
    """sox 14.4.2 filters 24-bit noise with the sections of the file; the result is ours within 1 % of full scale."""
    sox = shutil.which("sox")
    if sox is None:
        if os.environ.get("CI") == "true":
            pytest.fail("sox is required where CI=true")
        pytest.skip("sox is not installed")
    filters = (
        _pass("high-pass", 80.0, "Linkwitz-Riley", 24),
        _pass("low-pass", 3200.0, "Butterworth", 18),
        Filter("peaking", 400.0, gain_db=-6.0, q=3.0),
        Filter("peaking", 1500.0, gain_db=4.0, q=1.0),
        Filter("all-pass", 250.0, q=0.7),
    )
    sections = json.loads(json.dumps(_settings(filters).to_dict()))["channels"][0]["sections"]
    noise = np.random.default_rng(5).uniform(-0.2, 0.2, 1 << 18)
    noise[-(1 << 16) :] = 0.0  # the filters ring out before the end: spectra then divide exactly
    soundfile.write(tmp_path / "in.wav", noise, int(RATE), subtype="PCM_24")
    chain = [word for row in sections for word in ("biquad", *(repr(float(value)) for value in row))]
    command = [sox, "-D", "in.wav", "-b", "32", "-e", "floating-point", "out.wav", *chain]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=120)
    x, _ = soundfile.read(tmp_path / "in.wav")
    y, _ = soundfile.read(tmp_path / "out.wav")
    f = np.fft.rfftfreq(len(x), 1.0 / RATE)
    into, out = np.fft.rfft(x), np.fft.rfft(y)

    def worst(rows: list[list[float]]) -> float:
        """Largest error of a group of 256 bins, relative to the noise that went in."""
        expected = sections_response(np.array(rows), frequency_hz=f, sample_rate_hz=RATE)
        error, power = (np.abs(part[1:]) ** 2 for part in (out - expected * into, into))
        return float(np.sqrt(error.reshape(-1, 256).sum(axis=1) / power.reshape(-1, 256).sum(axis=1)).max())

    assert worst(sections) < SOX_TOLERANCE
    assert worst(sections[:-2] + sections[-1:]) > 1000.0 * SOX_TOLERANCE


SOX_TOLERANCE = 1e-5  #: -100 dB of what went in: 24 bits in, 32 bits inside sox, float out
