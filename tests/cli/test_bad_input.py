"""Whatever a person or a disk does wrong: a message with the place and the cure, the right exit code, never a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cabinwright.cli.main import main
from cabinwright.measure import audio
from cabinwright.session import Session

Run = Callable[..., "Said"]
EARLIER = "what an earlier run wrote"
SMALL = """schema = 1
title = "one loudspeaker"
[vehicle]
name = "test"
driving_side = "left"
[[seats]]
name = "driver"
head_m = [1.2, -0.4, 1.0]
[[speakers]]
name = "middle"
role = "fullrange"
side = "centre"
[[channels]]
name = "middle"
speakers = ["middle"]
[[microphone_positions]]
name = "p1"
at_m = [1.2, -0.4, 1.0]
seat = "driver"
[[recordings]]
channel = "middle"
position = "p1"
kind = "sweep"
file = "recordings/one.wav"
[tuning]
timing = "loopback"
"""


class Said:
    """What a command said and how it ended."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def once(*words: str | Path) -> Said:
        capsys.readouterr()
        code = main([str(word) for word in words])
        said = Said(code, *capsys.readouterr())
        assert "Traceback" not in said.out + said.err
        return said

    return once


@pytest.fixture
def build(tmp_path: Path) -> Path:
    """A folder with a build whose one recording is still missing, and an earlier result."""
    folder = tmp_path / "car"
    (folder / "recordings").mkdir(parents=True)
    (folder / "build.toml").write_text(SMALL, encoding="utf-8")
    (folder / "out").mkdir()
    (folder / "out" / "settings.json").write_text(EARLIER, encoding="utf-8")
    return folder


def refused(said: Said, *words: str) -> None:
    """A person's mistake, with every word that helps."""
    assert said.code == 2, said.err
    assert said.out == ""
    for word in words:
        assert word in said.err, f"{word!r} is not in:\n{said.err}"


def rewrite(folder: Path, old: str, new: str) -> None:
    """The build with one passage changed."""
    text = (folder / "build.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "build.toml").write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize("command", ["sweep", "tune", "plan", "verify"])
def test_no_such_folder(command: str, run: Run, tmp_path: Path) -> None:
    refused(run(command, tmp_path / "nowhere"), "nowhere")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('title = "one loudspeaker"', 'title = "one', ("build.toml:2",)),
        ('speakers = ["middle"]', 'speakers = ["midle"]', ("Did you mean", "middle", "channels")),
        ('position = "p1"', 'position = "p2"', ("p2", "recordings")),
        ("head_m = [1.2, -0.4, 1.0]", "head_m = [nan, -0.4, 1.0]", ("head_m", "build.toml:8")),
        ("schema = 1", "schema = 99", ("schema", "build.toml:1")),
        ('timing = "loopback"', 'timing = "loopback"\ntimming = 1', ("timming",)),
        ('[tuning]', '[processor]\ndelay_step_s = -1.0\npeaking_filters = -3\n[tuning]', ("delay_step_s", "peaking_filters")),
        ("recordings/one.wav", "../one.wav", ("inside the build folder",)),
        ("recordings/one.wav", "/etc/passwd", ("relative to the build folder",)),
    ],
    ids=["toml", "speaker", "position", "nan", "schema", "unknown key", "negative", "outside", "absolute"],
)  # fmt: skip
def test_mistakes_in_the_build(old: str, new: str, words: tuple[str, ...], run: Run, build: Path) -> None:
    rewrite(build, old, new)
    refused(run("tune", build), *words)


def test_every_mistake_is_reported_at_once(run: Run, build: Path) -> None:
    rewrite(build, 'role = "fullrange"', 'role = "full"')
    rewrite(build, 'driving_side = "left"', 'driving_side = "middle"')
    refused(run("tune", build), "driving_side", "role")


def test_text_that_is_no_text(run: Run, build: Path) -> None:
    (build / "build.toml").write_bytes(b"\xff\xfe\x00schema")
    refused(run("tune", build), "build.toml")


def test_nothing_recorded_yet(run: Run, tmp_path: Path) -> None:
    assert run("new", tmp_path / "car").code == 0
    refused(run("tune", tmp_path / "car"), "[[recordings]]", "cabinwright sweep")
    refused(run("verify", tmp_path / "car"), "[[verification_recordings]]")


def test_a_build_is_never_overwritten(run: Run, build: Path) -> None:
    refused(run("new", build), "left as it is")
    assert (build / "build.toml").read_text(encoding="utf-8") == SMALL


def truncated(path: Path) -> None:
    """A header that promises more than there is."""
    soundfile.write(path, np.zeros((48000, 2)), 48000, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[:400])


FILES: dict[str, Callable[[Path], object]] = {
    "missing": lambda path: None,
    "empty": lambda path: path.write_bytes(b""),
    "not audio": lambda path: path.write_bytes(b"this is a letter, not a recording\n" * 100),
    "header only": lambda path: soundfile.write(path, np.zeros((0, 2)), 48000),
    "truncated": truncated,
    "silent": lambda path: soundfile.write(path, np.zeros((600_000, 2)), 48000),
    "mono": lambda path: soundfile.write(path, np.random.default_rng(1).normal(0, 0.1, 600_000), 48000),
    "noise": lambda path: soundfile.write(path, np.random.default_rng(1).normal(0, 0.1, (600_000, 2)), 48000),
    "folder": lambda path: path.mkdir(),
}


@pytest.mark.parametrize("name", FILES)
def test_recordings_that_are_none(name: str, run: Run, build: Path) -> None:
    FILES[name](build / "recordings" / "one.wav")
    refused(run("tune", build), "recordings/one.wav")
    assert (build / "out" / "settings.json").read_text(encoding="utf-8") == EARLIER
    planned = run("plan", build)
    assert planned.code == 0, planned.err  # a plan is written, stops and all
    assert (build / "out" / "plan.json").exists()


@pytest.mark.skipif(os.name == "nt", reason="a file this long would be written out in full here")
def test_three_gigabytes_are_refused_unread(run: Run, build: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (build / "recordings" / "one.wav").open("wb") as file:
        file.truncate(3 * 1024**3)

    def read(*_: object, **__: object) -> None:
        pytest.fail("the file was read")

    monkeypatch.setattr(audio.soundfile, "read", read)
    refused(run("tune", build), "recordings/one.wav", "MB")


def test_a_file_where_the_results_belong(run: Run, build: Path) -> None:
    (build / "out" / "settings.json").unlink()
    (build / "out").rmdir()
    (build / "out").write_text(EARLIER, encoding="utf-8")
    refused(run("plan", build), "out", "Move that file")
    assert (build / "out").read_text(encoding="utf-8") == EARLIER


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="nothing is read-only to this user")
def test_read_only_folder(run: Run, build: Path) -> None:
    build.chmod(0o555)
    try:
        refused(run("sweep", build), "cannot be written")
    finally:
        build.chmod(0o755)


@pytest.mark.skipif(os.name == "nt", reason="POSIX limits the size of a file; there a full disk cannot be made")
def test_a_disk_that_takes_no_more(build: Path) -> None:
    """The system itself refuses the write (RLIMIT_FSIZE), as a full disk does."""
    (build / "sweep.wav").write_text(EARLIER, encoding="utf-8")
    script = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000));"
        "from cabinwright.cli.main import main; sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "sweep", str(build)], capture_output=True, encoding="utf-8", check=False
    )
    assert "Traceback" not in done.stderr
    assert done.returncode == 2, done.stderr
    assert "cannot be written" in done.stderr
    assert (build / "sweep.wav").read_text(encoding="utf-8") == EARLIER
    assert sorted(path.name for path in build.iterdir()) == ["build.toml", "out", "recordings", "sweep.wav"]


def test_our_own_mistake_is_called_ours(run: Run, build: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("made up by this test")

    monkeypatch.setattr(Session, "tune", fail)
    said = run("tune", build)
    assert said.code == 1
    assert "not yours" in said.err
    assert "made up by this test" in said.err
    with pytest.raises(ZeroDivisionError, match="made up by this test"):
        main(["tune", str(build), "--verbose"])


@pytest.mark.parametrize("words", [[], ["tnue", "car"], ["tune"], ["tune", "car", "--fast"]])
def test_a_command_that_is_none(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    assert "usage: cabinwright" in capsys.readouterr().err
