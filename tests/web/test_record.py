"""A whole guided session in a real browser against the simulated car: chosen card, a bad take that is caught and redone, a stop
in the middle, and tomorrow. axe-core judges what everybody can use, at each step.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from cabinwright.build.codec import load
from cabinwright.measure.reader import read_recordings
from measure.simulated_car import text as build_text
from web.test_journeys import BROWSER, WAIT_MS, arrive, browser

__all__ = ["browser"]  # a fixture

pytestmark = pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """The address of a screen on a fresh build, two positions and three channels, and its folder."""
    folder = tmp_path / "build"
    folder.mkdir()
    (folder / "build.toml").write_text(build_text(places=2, channels=3), encoding="utf-8", newline="\n")
    homes = {name: str(tmp_path / "home") for name in ("HOME", "XDG_CONFIG_HOME", "APPDATA", "LOCALAPPDATA")}
    surroundings = {**os.environ, **homes, "PYTHONUTF8": "1", "PYTHONPATH": str(Path(__file__).parents[1])}
    command = [sys.executable, "-m", "web.simulated_screen", str(folder)]
    told = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    with subprocess.Popen(command, encoding="utf-8", env=surroundings, **told) as running:
        assert running.stdout is not None
        line = running.stdout.readline()
        assert line.startswith("The screen is at "), line + running.stdout.read()
        yield line.split()[4], folder
        running.terminate()
        running.wait(20)


def clean(page: Page) -> None:
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def headline(page: Page, words: str) -> None:
    expect(page.locator(".stage .headline")).to_contain_text(words, timeout=WAIT_MS)


def files(folder: Path) -> list[str]:
    return [row.file for row in load(folder).recordings]


def test_a_whole_session_with_a_bad_take(browser: Browser, served: tuple[str, Path]) -> None:
    address, folder = served
    page = arrive(browser.new_page(base_url=address, viewport={"width": 820, "height": 1180}), "/record")
    clean(page)
    page.get_by_role("button", name="Choose the sound card").click()
    expect(page.get_by_role("combobox", name="Microphone")).to_have_value("0", timeout=WAIT_MS)
    clean(page)
    page.get_by_role("button", name="Keep and test").click()
    expect(page.get_by_text("Noise of the microphone")).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Begin the round").click()
    headline(page, "left tweeter at p1")

    page.keyboard.press("Enter")
    headline(page, "Out, doors shut")
    clean(page)
    headline(page, "Recording")
    page.keyboard.press("x")  # any key
    headline(page, "Stopped")
    expect(page.get_by_text("Nothing was kept of this take")).to_be_visible()
    assert files(folder) == [] and list((folder / "recordings").iterdir()) == []

    for name in ("right tweeter at p1", "left midbass at p1"):
        page.keyboard.press("Enter")
        headline(page, name)
    expect(page.locator("[role=status].said")).to_have_text("✓ good: right tweeter p1", timeout=WAIT_MS)
    assert files(folder) == ["recordings/left-tweeter_p1.wav", "recordings/right-tweeter_p1.wav"]
    page.keyboard.press("Enter")
    headline(page, "Not good")
    expect(page.get_by_role("heading", name="✗ not good: left midbass p1")).to_be_visible()
    expect(page.locator(".curves .chart canvas")).to_be_visible()
    assert len(files(folder)) == 2
    clean(page)
    before = (folder / "recordings" / "left-midbass_p1.wav").read_bytes()
    page.get_by_role("button", name="record again").click()
    headline(page, "left midbass at p2")
    assert files(folder)[-1] == "recordings/left-midbass_p1_2.wav"
    assert (folder / "recordings" / "left-midbass_p1.wav").read_bytes() == before

    page.get_by_role("button", name="End for today").click()
    page.get_by_role("button", name="Begin the round").click()
    headline(page, "left midbass at p2")
    page.keyboard.press("s")  # later
    headline(page, "right tweeter at p2")
    for name in ("left tweeter at p2", "left midbass at p2", "All recorded"):
        page.keyboard.press("Enter")
        headline(page, name)
    page.close()
    found = read_recordings(load(folder), folder)
    assert len(found.verdicts) == 6 and all(verdict.good for verdict in found.verdicts)
