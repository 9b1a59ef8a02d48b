"""The only door for screens and commands: from a folder to documents and back."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cabinwright.errors import BuildError, OutputError, PersonError, RefusedError
from cabinwright.session import Session
from cars import RATE, make_car, write_recordings

OUT = {"settings.json", "settings.html", "report.html"}


@pytest.fixture(scope="module")
def tuned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of one loudspeaker at three positions, recorded as impulses, tuned."""
    folder = tmp_path_factory.mktemp("tuned")
    write_recordings(make_car(3, layout="one channel", positions=3), folder, timing="impulse", snr_db=50.0)
    Session.open(folder).tune()
    return folder


@pytest.fixture
def folder(tuned: Path, tmp_path: Path) -> Path:
    """A copy that a test may spoil."""
    return Path(shutil.copytree(tuned, tmp_path / "build"))


def _rewrite(folder: Path, old: str, new: str) -> None:
    path = folder / "build.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8", newline="\n")


def test_folder_or_file(tuned: Path) -> None:
    for path in (tuned, tuned / "build.toml"):
        session = Session.open(path)
        assert session.folder == tuned
        assert session.out == tuned / "out"
    with pytest.raises(BuildError, match="nowhere: there is no such file"):
        Session.open(tuned / "nowhere")


def test_tune_writes_what_it_says(tuned: Path, folder: Path) -> None:
    result, recorded, paths = Session.open(folder).tune()
    assert {path.name for path in paths} == OUT == {path.name for path in (folder / "out").iterdir()} - {"tunes"}
    written = json.loads((folder / "out" / "settings.json").read_text(encoding="utf-8"))
    assert {key: written[key] for key in ("sample_rate_hz", "channels")} == result.settings.to_dict()
    assert written["fingerprint"] == result.settings.fingerprint
    assert recorded.present.all()
    # The same recordings give the same settings, byte for byte.
    for name in ("settings.json", "settings.html"):
        assert (folder / "out" / name).read_bytes() == (tuned / "out" / name).read_bytes()


def test_settings_come_back(folder: Path) -> None:
    session = Session.open(folder)
    result, _, _ = session.tune()
    assert session.settings().to_dict() == result.settings.to_dict()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), r'not found. Run "cabinwright tune" first'),
        (lambda path: path.write_text("{", encoding="utf-8"), "not a settings file"),
        (lambda path: path.write_bytes(b"\xff\xfe\x00"), "not a settings file"),
        (lambda path: path.write_text(" " * 5_000_001, encoding="utf-8"), "too large to be settings"),
        (lambda path: path.write_text("[]", encoding="utf-8"), "settings.json"),
    ],
)
def test_spoilt_settings(folder: Path, spoil: Any, words: str) -> None:
    spoil(folder / "out" / "settings.json")
    with pytest.raises(PersonError, match=words):
        Session.open(folder).settings()


def test_nothing_recorded(folder: Path) -> None:
    path = folder / "build.toml"
    text = path.read_text(encoding="utf-8")
    first, last = text.index("[[recordings]]"), text.index("[tuning]")
    path.write_text(text[:first] + text[last:], encoding="utf-8", newline="\n")
    session = Session.open(folder)
    with pytest.raises(RefusedError, match=r"no \[\[recordings\]\] .*cabinwright sweep"):
        session.tune()
    with pytest.raises(RefusedError, match=r"no \[\[verification_recordings\]\]"):
        session.verify()
    results, paths = session.plan()
    assert results.tuning is None
    plan = json.loads(paths[0].read_text(encoding="utf-8"))
    assert plan["tuning"] is None or "findings" in plan["tuning"]


def test_plan_of_a_good_folder(folder: Path) -> None:
    results, paths = Session.open(folder).plan()
    assert results.tuning is not None
    assert [path.name for path in paths] == ["plan.json", "report.html"]
    plan = json.loads(paths[0].read_text(encoding="utf-8"))
    assert set(plan) >= {"survey", "layout", "signal", "enclosure", "power", "workshop", "tuning"}


def test_plan_reports_what_stops_it(folder: Path) -> None:
    """A file that is no recording stops the tune, and still the plan is written, with the reason in it."""
    next((folder / "recordings").iterdir()).write_text("not a recording", encoding="utf-8")
    results, paths = Session.open(folder).plan()
    assert results.tuning is None
    assert [item.code for item in results.stopped["tuning"]][-1] == "stage.refused"
    assert "stage.refused" in paths[0].read_text(encoding="utf-8")


def test_plan_survives_our_own_mistake(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("cabinwright.measure.folder.read_recordings", broken)
    results, _ = Session.open(folder).plan()
    assert [item.code for item in results.stopped["tuning"]] == ["stage.crashed"]


def test_interruption_leaves_earlier_results(folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in (folder / "out").iterdir()}

    def interrupt(what: str, share: float) -> None:
        if what == "writing":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Session.open(folder).tune(interrupt)
    assert {path.name: path.read_bytes() for path in (folder / "out").iterdir()} == before


def test_out_is_a_file(folder: Path) -> None:
    shutil.rmtree(folder / "out")
    (folder / "out").write_text("in the way", encoding="utf-8")
    with pytest.raises(OutputError, match="out"):
        Session.open(folder).tune()
    assert (folder / "out").read_text(encoding="utf-8") == "in the way"


def test_sweep_is_written_beside_the_build(folder: Path) -> None:
    _rewrite(folder, '[tuning]\nseat = "driver"', '[tuning]\nseat = "driver"\ntiming = "loopback"')
    paths = Session.open(folder).sweep()
    assert folder / "sweep.wav" in paths
    assert all(path.parent == folder and path.stat().st_size for path in paths)
    assert soundfile.info(folder / "sweep.wav").samplerate == RATE


def _second_round(folder: Path, polarity: float) -> None:
    """The loudspeaker with its settings loaded, recorded as impulses once more."""
    from scipy.signal import sosfilt

    row = json.loads((folder / "out" / "settings.json").read_text(encoding="utf-8"))["channels"][0]
    sign = (-1.0 if row["polarity"] == "inverted" else 1.0) * polarity
    text = ""
    for position in ("p1", "p2", "p3"):
        heard, rate = soundfile.read(next((folder / "recordings").glob(f"*_{position}.wav")))
        played = sosfilt(np.array(row["sections"]), heard) if row["sections"] else heard
        shift = round(row["delay_s"] * rate)
        name = f"recordings/second_{position}.wav"
        data = sign * 10.0 ** (row["gain_db"] / 20.0) * np.roll(played, shift)
        soundfile.write(folder / name, data, rate, subtype="FLOAT")
        text += f'[[verification_recordings]]\nchannel = "fullrange"\nposition = "{position}"\n'
        text += f'kind = "impulse"\nfile = "{name}"\n'
    _rewrite(folder, '[tuning]\nseat = "driver"', text + '[tuning]\nseat = "driver"')


@pytest.mark.parametrize(("polarity", "passed"), [(1.0, True), (-1.0, False)])
def test_verify(folder: Path, polarity: float, passed: bool) -> None:
    _second_round(folder, polarity)
    result, paths = Session.open(folder).verify()
    assert (result.causes == () or not list(result.causes)) is passed
    assert {path.name for path in paths} == {"verification.json", "verification.html"}
    assert (folder / "out" / "settings.json").is_file()
