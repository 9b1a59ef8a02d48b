"""The demo on a screen: without a browser, and in a real one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "build"


def chromium() -> str | None:
    """Debian's browser, or one that goes by a usual name."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo's build; its settings are those that were loaded for the second round."""
    made = tmp_path_factory.mktemp("screen") / "build"
    shutil.copytree(DEMO, made)
    (made / "out").mkdir(exist_ok=True)
    shutil.copyfile(made / "verification" / "loaded_settings.json", made / "out" / "settings.json")
    return made


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    """The screen as a person starts it."""
    command = [sys.executable, "-m", "cabinwright", "open", str(folder), "--no-browser", "--port", "0"]
    surroundings = {**os.environ, "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
    told = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    running = subprocess.Popen(command, encoding="utf-8", env=surroundings, **told)
    assert running.stdout is not None
    line = running.stdout.readline()
    assert line.startswith("The screen is at http://127.0.0.1:"), line
    yield line.split()[4]
    running.terminate()
    running.wait(20)
    running.stdout.close()
