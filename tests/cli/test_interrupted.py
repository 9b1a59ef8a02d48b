"""Ctrl-C in the middle of a tune: one line, exit code 130, and the earlier result as it was."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "demo" / "build"
EARLIER = {"settings.json": "earlier settings", "report.html": "earlier report"}
#: A test run started in the background ignores the signal, and its children with it; a person's terminal does not.
SCRIPT = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler);"
    "from cabinwright.cli.main import main; sys.exit(main(sys.argv[1:]))"
)


@pytest.mark.skipif(os.name == "nt", reason="a single process cannot be sent Ctrl-C there")
@pytest.mark.parametrize("moment", ["judging recordings", "choosing crossovers"])
def test_interrupting_leaves_what_was_there(moment: str, tmp_path: Path) -> None:
    folder = tmp_path / "car"
    shutil.copytree(DEMO, folder)
    (folder / "out").mkdir()
    for name, text in EARLIER.items():
        (folder / "out" / name).write_text(text, encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, "tune", str(folder)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip
    with process:
        assert process.stderr is not None
        assert process.stdout is not None
        assert any(moment in line for line in process.stderr)
        process.send_signal(signal.SIGINT)
        out, err = process.stdout.read(), process.stderr.read()
    assert process.returncode == 130, err
    assert "interrupted" in err
    assert "Traceback" not in out + err
    assert {path.name: path.read_text(encoding="utf-8") for path in (folder / "out").iterdir()} == EARLIER
