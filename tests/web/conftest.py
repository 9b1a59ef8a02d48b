"""The demo on a screen: without a browser, and in a real one."""

from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
import sys
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest
from nicegui.testing import User
from nicegui.testing.user_simulation import user_simulation

from cabinwright.web.shop import add_shop
from cabinwright.web.shop.door import Door

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


def started(folder: Path, *, port: str = "0") -> tuple[subprocess.Popen[str], str]:
    """The screen of a build as a person starts it, and its address."""
    return opened("open", str(folder), "--port", port)


def opened(*words: str) -> tuple[subprocess.Popen[str], str]:
    """A command that serves pages, and the address that it says first."""
    command = [sys.executable, "-m", "cabinwright", *words, "--no-browser"]
    surroundings = {**os.environ, "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
    running = subprocess.Popen(
        command, encoding="utf-8", env=surroundings, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    assert running.stdout is not None
    line = running.stdout.readline()
    assert line.startswith("The screen is at http://127.0.0.1:"), line
    return running, line.split()[4]


def visit_shop(address: str, walk: Callable[[User], Awaitable[None]]) -> None:
    """One visitor's walk through the shop's pages, without a browser."""

    async def whole() -> None:
        async with user_simulation(root=lambda: None) as user:
            door = Door(address)
            add_shop(door)
            await walk(user)
            door.close()

    asyncio.run(whole())


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    """One screen for all journeys."""
    running, place = started(folder)
    yield place
    running.terminate()
    running.wait(20)
    assert running.stdout is not None
    running.stdout.close()
