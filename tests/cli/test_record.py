"""What is measured beside a round, at the terminal: a person's hands change the simulated car when Enter is asked for."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.codec import load
from cabinwright.cli.main import main
from cabinwright.measure import sound_card
from cabinwright.measure.sound_card import CardSettings, SimulatedCard
from measure.rig import RATE
from measure.simulated_car import text, truth
from measure.test_bench import R, divider

COPY = {(2, 2): np.array([0.0] * 30 + [0.7])}


class Person(io.StringIO):
    """Does the next thing, then presses Enter."""

    def __init__(self, *does: Callable[[], None]) -> None:
        super().__init__()
        self._does: Iterator[Callable[[], None]] = iter(does)

    def readline(self, *_size: int) -> str:  # type: ignore[override]
        next(self._does)()
        return "\n"


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> SimulatedCard:
    """The sound card of this computer, chosen; and a build with a speaker model."""
    made = SimulatedCard(noise={1: 1e-6, 2: 1e-6})
    chosen = made.settings(block_frames=16_384)
    monkeypatch.setattr(sound_card, "open_card", lambda: made)
    monkeypatch.setattr(sound_card, "load_settings", lambda: chosen)
    rows = '[[speaker_models]]\nname = "W1"\n[tuning]'
    content = text(places=1, channels=2).replace("[tuning]", rows, 1)
    (tmp_path / "build.toml").write_text(content, encoding="utf-8", newline="\n")
    return made


def run(monkeypatch: pytest.MonkeyPatch, *words: object, does: tuple[Callable[[], None], ...] = ()) -> int:
    monkeypatch.setattr("sys.stdin", Person(*does))
    return main(["record", *map(str, words)])


def joined(card: SimulatedCard, path: np.ndarray) -> Callable[[], None]:
    """The other input hears ``path``, the copy's the whole voltage."""
    return lambda: setattr(card, "paths", {(1, 1): path, (1, 2): np.ones(1)})


def test_polarity(
    card: SimulatedCard, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wires exchanged at the loudspeaker are told, cautions first; a channel that is misspelt is not played to."""
    for sign, words in ((3.0, "moves first outwards"), (-3.0, "moves first inwards, against the copy")):
        card.paths = {(1, 1): sign * truth("left tweeter", "p1"), **COPY}
        assert run(monkeypatch, tmp_path, "--polarity", "left tweeter", does=(lambda: None,)) == 0
        told = capsys.readouterr().out
        assert f"left tweeter {words}" in told and told.index("never sweep a tweeter") < told.index("press Enter")
    played = card.played
    assert run(monkeypatch, tmp_path, "--polarity", "left tweeta", does=(lambda: None,)) != 0
    assert "did you mean “left tweeter”" in capsys.readouterr().err and card.played == played


def test_impedance(
    card: SimulatedCard, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two connections, each asked for; what was joined wrongly writes nothing, and says what to mend."""
    words = (tmp_path, "--impedance", "W1", "--resistor", R)
    wrong = joined(card, np.ones(1))
    assert run(monkeypatch, *words, does=(wrong, wrong)) != 0
    assert "the coil is not connected" in capsys.readouterr().err and not (tmp_path / "impedance").exists()
    assert run(monkeypatch, *words, does=(wrong, joined(card, divider()[: RATE // 2]))) == 0
    told = capsys.readouterr().out
    assert told.index("before the resistor") < told.index("between the resistor and W1")
    (curve,) = load(tmp_path).impedance_curves
    assert (curve.model, curve.method) == ("W1", "free air") and (tmp_path / curve.file).is_file()
    assert run(monkeypatch, tmp_path, "--impedance", "W1") != 0 and "--resistor 22" in capsys.readouterr().err


def test_calibrator(card: SimulatedCard, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """IEC 60942, 94 dB or 114 dB at 1 kHz: a tone whose rms is a tenth of full scale's stands 20 dB below it.

    Another frequency and a level that moves are no calibrator: nothing is kept.
    """
    kept: list[CardSettings] = []
    monkeypatch.setattr(sound_card, "save_settings", lambda made: kept.append(made) or Path("card.json"))
    time_s = np.arange(6 * RATE) / RATE

    def sounds(frequency_hz: float, fades: float = 0.0) -> Callable[[], None]:
        def put() -> None:
            wave = 0.1 * np.sqrt(2.0) * np.sin(2.0 * np.pi * frequency_hz * time_s) * 10.0 ** (-fades * time_s / 20.0)
            card.stick, card.paths = wave[:, None], {(1, 1): np.ones(1)}

        return put

    for level_db in (94.0, 114.0):
        assert run(monkeypatch, "--calibrate", level_db, does=(sounds(1004.0),)) == 0
        assert kept[-1].unit_level_db == pytest.approx(level_db + 20.0, abs=0.05)
        assert f"full scale is {level_db + 20.0:.1f} dB" in capsys.readouterr().out
    for put, words in ((sounds(250.0), "no tone at 1000 Hz"), (sounds(1000.0, 1.0), "level moves")):
        assert run(monkeypatch, "--calibrate", does=(put,)) != 0 and words in capsys.readouterr().err
    assert len(kept) == 2
