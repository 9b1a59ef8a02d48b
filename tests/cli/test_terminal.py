"""What strangers wrote never drives the terminal, and a terminal or disk that takes no more is said so."""

from __future__ import annotations

import inspect
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import cabinwright.cli.main
from cabinwright.cli.main import main
from cabinwright.cli.terminal import plain
from cabinwright.session import Session

from .test_bad_input import SMALL
from .test_interrupted import SCRIPT

RED = "\x1b[31m"
FULL = Path("/dev/full")


@given(st.text())
def test_only_printable_signs_and_line_ends_are_left(text: str) -> None:
    assert all(sign.isprintable() or sign == "\n" for sign in plain(text))


def test_plain_text_stays_as_it_is() -> None:
    assert plain("Größe ⅜ 左\nnext") == "Größe ⅜ 左\nnext"
    assert plain(f"{RED}a\x9b2J\u202eb\r") == "\\x1b[31ma\\x9b2J\\u202eb\\r"


@pytest.mark.parametrize(("sign", "code"), [("\u202e", 2), ("\u2028", 2), ("\u200b", 0)])
def test_names_in_the_build_do_not_drive_the_terminal(
    sign: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = SMALL.replace('name = "middle"', f'name = "mid{sign}dle"', 1).replace('"one loudspeaker"', f'"o{sign}ne"')
    (tmp_path / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    assert main(["tune", str(tmp_path)]) == 2
    (tmp_path / "build.toml").write_text(
        text.replace('["middle"]', f'["mid{sign}dle"]'), encoding="utf-8", newline="\n"
    )
    assert main(["plan", str(tmp_path)]) == code  # what turns figures round is refused, and the refusal is plain too
    said = capsys.readouterr()
    assert sign[0] not in said.out + said.err
    assert "mid" in said.err


@pytest.mark.skipif(os.name == "nt", reason="no such name of a file there")
def test_names_of_files_and_words_do_not_drive_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["new", str(tmp_path / f"car{RED}")]) == 0
    assert main(["tune", str(tmp_path / f"gone{RED}")]) == 2
    with pytest.raises(SystemExit, match="2"):
        main(["tune", "car", f"--{RED}"])

    def fail(*_: object) -> None:
        raise ZeroDivisionError(RED)

    monkeypatch.setattr(Session, "sweep", fail)
    assert main(["sweep", str(tmp_path / f"car{RED}")]) == 1
    said = capsys.readouterr()
    assert "\x1b" not in said.out + said.err
    assert said.out.count("\\x1b[31m") >= 2
    assert said.err.count("\\x1b[31m") >= 3


def test_every_word_of_a_command_takes_the_safe_way() -> None:
    source = Path(inspect.getfile(cabinwright.cli.main)).read_text(encoding="utf-8")
    assert "say(" in source
    assert not re.search(r"\bprint\(|\bstd(out|err)\.write\(", source)


def command(words: list[str], *, out: object, err: object = subprocess.PIPE) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own; buffered, as a person's is."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    run = [sys.executable, "-m", "cabinwright", *words]
    return subprocess.run(run, stdout=out, stderr=err, env=environment, encoding="utf-8", check=False)  # type: ignore[call-overload,no-any-return]


@pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is always full")
@pytest.mark.parametrize("words", [["plan"], ["--help"]])
def test_standard_output_that_takes_no_more(words: list[str], tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(SMALL, encoding="utf-8")
    with FULL.open("w", encoding="utf-8") as full:
        done = command(words if words == ["--help"] else [*words, str(tmp_path)], out=full)
        assert done.returncode == 2, done.stderr
        assert "standard output cannot be written: No space left on device" in done.stderr
        assert "Traceback" not in done.stderr
        assert "ignored" not in done.stderr


@pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is always full")
def test_standard_error_that_takes_no_more(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(SMALL, encoding="utf-8")
    with FULL.open("w", encoding="utf-8") as full:
        assert command(["plan", str(tmp_path)], out=subprocess.PIPE, err=full).returncode == 0


@pytest.mark.skipif(os.name == "nt", reason="a pipe breaks otherwise there")
def test_a_reader_that_went_away_is_no_mistake(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(SMALL, encoding="utf-8")
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "w") as broken:
        done = command(["sweep", str(tmp_path)], out=broken)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(os.name == "nt", reason="a single process cannot be sent Ctrl-C there")
@pytest.mark.parametrize("gap_s", [0.0, 0.005, 0.05])
def test_ctrl_c_pressed_twice_is_one_wish(gap_s: float, tmp_path: Path) -> None:
    """The second arrives while the first is cleared up: work on threads goes on for some moments."""
    work = (
        "from cabinwright.session import Session; from concurrent.futures import ThreadPoolExecutor; import time, sys\n"
        "def sweep(self):\n"
        "    pool = ThreadPoolExecutor(2)\n"
        "    try:\n"
        "        pool.submit(time.sleep, 0.4); print('working', flush=True); time.sleep(20)\n"
        "    finally:\n"
        "        time.sleep(0.1); pool.shutdown(wait=False)\n"
        "Session.sweep = sweep\n"
    )
    (tmp_path / "build.toml").write_text(SMALL, encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, "-c", work + SCRIPT, "sweep", str(tmp_path)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip
    with process:
        assert process.stderr is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "working\n"
        for _ in range(3):
            process.send_signal(signal.SIGINT)
            time.sleep(gap_s)
        err = process.stderr.read()
    assert process.returncode == 130, err
    assert err.splitlines() == [
        "", "cabinwright: interrupted. Nothing was half written; earlier results are as they were."
    ]  # fmt: skip
