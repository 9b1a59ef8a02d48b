"""Impedance by a series resistor, and polarity by pulses, on the simulated sound card."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import bilinear, butter, fftconvolve, lfilter, sosfilt

from cabinwright.desk import Desk
from cabinwright.desk.bench import ByResistor
from cabinwright.errors import PersonError, RefusedError
from cabinwright.measure.impedance import parse_sweep
from cabinwright.measure.polarity import polarity_of
from cabinwright.measure.series_resistor import impedance_of, take, text_of
from cabinwright.measure.sound_card import SimulatedCard
from cabinwright.physics.impedance import fit
from measure.rig import PLACES, SPEAKERS
from measure.simulated_car import truth

DEMO = Path(__file__).parents[2] / "demo" / "build"
RATE, R = 48_000, 22.0
#: An invented woofer as a circuit (Small 1972, appendix): Re and Le in series with a parallel circuit of the moving part.
RE, LE, RES, LCES, CMES = 3.6, 0.4e-3, 38.0, 21e-3, 380e-6
FS = 1.0 / (2.0 * np.pi * np.sqrt(LCES * CMES))


def divider() -> np.ndarray:
    """Impulse response of the voltage divider H(s) = Z / (R + Z), worked out at 16 times the card's rate."""
    motion_num = np.array([LCES, 0.0])
    motion_den = np.array([LCES * CMES, LCES / RES, 1.0])
    num = np.polyadd(np.polymul([LE, RE], motion_den), motion_num)
    b, a = bilinear(num, np.polyadd(num, R * motion_den), fs=RATE * 16)
    steps = np.zeros(16 * 2 * RATE)
    steps[:16] = 1.0  # held for one sample of the card
    fine = lfilter(b, a, steps)
    return np.asarray(fine.reshape(-1, 16).mean(axis=1))


def impedance(frequency: np.ndarray) -> np.ndarray:
    s = 2j * np.pi * frequency
    return RE + s * LE + 1.0 / (1.0 / RES + 1.0 / (s * LCES) + s * CMES)


def test_a_coil_by_a_series_resistor() -> None:
    """Against the circuit's closed form; a resistor 3 % off is seen. The inputs differ by 4 dB, and one of them rolls off."""
    path = divider()
    roll = sosfilt(butter(1, 4.0, "highpass", fs=RATE, output="sos"), np.eye(1, RATE)[0])
    card = SimulatedCard(noise={1: 1e-6, 2: 1e-6})
    card.paths = {(1, 1): 0.63 * roll, (1, 2): np.ones(1)}
    both = take(card, card.settings(block_frames=16_384))
    card.paths = {(1, 1): 0.63 * fftconvolve(roll, path[: RATE // 2]), (1, 2): np.ones(1)}
    coil = take(card, card.settings(block_frames=16_384))
    found = impedance_of(both, coil, resistor_ohm=R)
    inside = (coil.frequency_hz > 15.0) & (coil.frequency_hz < 1000.0)
    off = np.abs(found / impedance(coil.frequency_hz) - 1.0)[inside]
    wrong = np.abs(impedance_of(both, coil, resistor_ohm=1.03 * R) / impedance(coil.frequency_hz) - 1.0)[inside]
    assert off.max() < 0.015 < wrong.max() and np.median(off) < 0.005
    sweep = parse_sweep(text_of(coil.frequency_hz, found, resistor_ohm=R), file="coil.txt")
    fitted = fit([sweep]).figures
    assert fitted["fs_hz"] == pytest.approx(FS, rel=0.01) and fitted["re_ohm"] == pytest.approx(RE, rel=0.02)


def test_wrong_connections_are_named() -> None:
    card = SimulatedCard(noise={1: 1e-5, 2: 1e-5}, paths={(1, 1): np.ones(1), (1, 2): np.ones(1)})
    both = take(card, card.settings())
    with pytest.raises(RefusedError, match="the coil is not connected"):
        impedance_of(both, both, resistor_ohm=R)
    with pytest.raises(PersonError, match="ohm is wanted, got 0"):
        impedance_of(both, both, resistor_ohm=0.0)
    card.paths = {(1, 2): np.ones(1)}
    silent = take(card, card.settings())
    with pytest.raises(RefusedError, match="do not hear the same"):
        impedance_of(silent, both, resistor_ohm=R)
    with pytest.raises(RefusedError, match="noise hides the coil"):
        impedance_of(both, silent, resistor_ohm=R)
    card.paths = {(1, 1): np.ones(1)}
    with pytest.raises(RefusedError, match="nothing comes back at input 2"):
        take(card, card.settings())
    with pytest.raises(PersonError, match="Two inputs"):
        take(card, card.settings(copy_channel=0))


@pytest.mark.parametrize("channel", [name for name in SPEAKERS if name != "subwoofer"])
def test_polarity_by_pulses(channel: str) -> None:
    """At every position, both ways round: whoever turns the wires is found out, whatever the cabin's reflections."""
    band = (3000.0, 16_000.0) if "tweeter" in channel else (100.0, 1600.0)
    for position in list(PLACES)[:3]:
        signs = []
        for turn in (1.0, -1.0):
            card = SimulatedCard(noise={1: 1e-5, 2: 1e-6})
            card.paths = {(1, 1): 3.0 * turn * truth(channel, position), (2, 2): np.array([0.0] * 30 + [0.7])}
            signs.append(polarity_of(card, card.settings(), band_hz=band).sign)
        real = truth(channel, position)
        first = real[np.argmax(np.abs(real) > 0.3 * np.abs(real).max())]
        assert signs == (["+", "-"] if first > 0.0 else ["-", "+"])


def test_pulses_that_are_not_heard_are_refused() -> None:
    card = SimulatedCard(noise={1: 1e-3, 2: 1e-6}, paths={(1, 1): np.array([1e-3]), (2, 2): np.array([0.7])})
    with pytest.raises(RefusedError, match="over the noise"):
        polarity_of(card, card.settings(), band_hz=(100.0, 1600.0))
    card.paths = {(1, 1): np.ones(1)}
    with pytest.raises(RefusedError, match="do not come back as a copy"):
        polarity_of(card, card.settings(), band_hz=(100.0, 1600.0))


def test_the_curve_joins_the_build(tmp_path: Path) -> None:
    """And what is misspelt or does not go together is told before anything plays, and leaves no file behind."""
    shutil.copyfile(DEMO / "build.toml", tmp_path / "build.toml")
    desk = Desk(tmp_path)
    model = desk.build.speaker_models[0].name
    card = SimulatedCard(noise={1: 1e-6, 2: 1e-6})
    settings = card.settings(block_frames=16_384)
    count = len(desk.build.impedance_curves)
    bare = next(
        item.name
        for item in desk.build.speaker_models
        if item.name not in {c.model for c in desk.build.impedance_curves}
    )
    with pytest.raises(PersonError, match="Measure it in free air first"):
        ByResistor(desk, card, settings, model=bare, resistor_ohm=R, added_mass="12 g")
    for number, wish in enumerate(({}, {"added_mass": "12 g"}), start=1):
        measured = ByResistor(desk, card, settings, model=model, resistor_ohm=R, **wish)
        assert "in one point" in measured.wanted
        card.paths = {(1, 1): np.ones(1), (1, 2): np.ones(1)}
        assert measured.take() == "" and f"between the resistor and {model}" in measured.wanted
        with pytest.raises(RefusedError, match="the coil is not connected"):
            measured.take()  # nobody moved the cable; the first take still counts
        card.paths = {(1, 1): divider()[: RATE // 2], (1, 2): np.ones(1)}
        file, row = measured.take(), desk.build.impedance_curves[-1]
        assert row.file == file and row.model == model and len(desk.build.impedance_curves) == count + number
        assert len(parse_sweep((tmp_path / file).read_text(encoding="utf-8"), file=file).frequency_hz) > 300
    assert row.added_mass_kg == pytest.approx(0.012)
    before, played = sorted((tmp_path / "impedance").iterdir()), card.played
    for wish, words in (
        ({"added_mass": "12 volts"}, "mass|volts"),
        ({"added_mass": "12 g", "box_volume": "8 L"}, "one after the other"),
        ({"model": model[:-1]}, "did you mean"),
        ({"resistor_ohm": 2e4}, "ohm is wanted, got 20000"),
    ):
        with pytest.raises(PersonError, match=words):
            ByResistor(desk, card, settings, **{"model": model, "resistor_ohm": R, **wish})
    assert sorted((tmp_path / "impedance").iterdir()) == before and card.played == played
