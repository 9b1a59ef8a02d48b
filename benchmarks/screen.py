"""The screen on the demo: server up, first paint, one edited field to the changed page, a drag to its figures, a tune, memory.

    python benchmarks/screen.py [--edits 500] [--without-tune]

Aims of the project: 3 s, 1.5 s, 0.2 s for survey, layout, power and enclosure, 3 s for a tune, and memory that stays flat over
500 edits with 20 pages of charts opened. Each edit goes through a real Chromium: from leaving the field, or letting the mouse
go, to the page that says what was changed and shows the new answer. Needs chromium on the path; the processor's own time of the
server stands beside the clock's, which counts whatever else the machine does.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psutil
from playwright.sync_api import Page, sync_playwright

from common import ROOT, load

FLAGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--enable-precise-memory-info"]
EDITS = 8
#: stage, its page, where the field is edited, the field, the words that go to and fro, and the place chosen first
CASES = (
    ("survey", "/survey", "/fields?at=survey.tapes[0]", "distance_m", ("0.482", "0.481"), ""),
    ("layout", "/places", "/places", "position_m", ("[0.65, -0.64, 0.97]", "[0.64, -0.64, 0.97]"), "left tweeter"),
    ("power", "/power", '/fields?at=wires["main feed"]', "length_m", ("5.0", "5.2"), ""),
    ("enclosure", "/enclosure", '/fields?at=boxes["spare-wheel bay"]', "power_w", ("210", "200"), ""),
)
CHARTS = ("/enclosure", "/places", "/tune", "/signal")
#: when the status tells another change, and the page has painted it: milliseconds of the browser's own clock
WATCH = """() => {
  window.changed = new Promise((done, failed) => {
    const eye = new MutationObserver(() => {
      eye.disconnect();
      requestAnimationFrame(() => setTimeout(() => done(performance.timeOrigin + performance.now()), 0));
    });
    eye.observe(document.querySelector(".content"), { childList: true, subtree: true, characterData: true });
    setTimeout(() => failed(new Error("nothing changed on the page within a minute")), 60000);
  });
}"""
NOW = "performance.timeOrigin + performance.now()"


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The screen of a build, as a person starts it."""
    command = [sys.executable, "-u", "-m", "cabinwright", "open", str(folder), "--no-browser", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as server:
        assert server.stdout is not None
        try:
            yield server.stdout.readline().split()[4], server
        finally:
            server.terminate()


def arrive(page: Page, path: str) -> None:
    """Open a page and wait for its answer."""
    page.goto(path)
    page.wait_for_selector(".drawn", timeout=120_000)


def one_edit(page: Page, writer: Page, key: str, words: str) -> float:
    """Seconds from leaving a field in ``writer`` to the new answer painted on ``page``: one tab, or two side by side."""
    page.evaluate(WATCH)
    field = writer.locator(f'.field input[id$="{key}"]').first
    field.fill(words)
    start = float(writer.evaluate(NOW))
    field.press("Tab")
    return (float(page.evaluate("changed")) - start) / 1e3


def choose(page: Page, place: str) -> None:
    """One place on the page of places."""
    page.get_by_role("group", name="Place", exact=True).get_by_role("button", name=place).click()
    page.get_by_role("heading", name=place).wait_for()
    page.wait_for_timeout(1500)


def edited(page: Page, writer: Page, case: tuple[str, str, str, str, tuple[str, str], str]) -> list[float]:
    """Seconds of each edit of a field, to the stage's page."""
    _, shows, path, key, words, place = case
    arrive(page, shows)
    if place:
        choose(page, place)
    if path != shows:
        arrive(writer, path)
    page.wait_for_timeout(1500)
    took = []
    for number in range(EDITS):
        took.append(one_edit(page, page if path == shows else writer, key, words[number % 2]))
        page.wait_for_timeout(500)
    return took


SPOT = """(name) => {
  const el = document.querySelector(".scene"), scene = getElement(Number(el.id.slice(1)));
  let ball = null;
  scene.scene.traverse((one) => { if (one.name === name) ball = one; });
  scene.camera.updateMatrixWorld();
  const at = ball.getWorldPosition(ball.position.clone()).project(scene.camera);
  const sheet = el.querySelector("canvas").getBoundingClientRect();
  return [sheet.left + (at.x + 1) / 2 * sheet.width, sheet.top + (1 - at.y) / 2 * sheet.height];
}"""


def dragged(page: Page, name: str) -> list[float]:
    """Seconds from letting a place go to its new figures."""
    page.evaluate("scrollTo(0, 0)")
    took = []
    for number in range(EDITS):
        x, y = page.evaluate(SPOT, name)
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + (6 if number % 2 else -6), y, steps=4)
        page.wait_for_timeout(400)
        page.evaluate(WATCH.replace(".content", ".split > section:last-child > div:last-child"))  # what was chosen
        start = float(page.evaluate(NOW))
        page.mouse.up()
        took.append((float(page.evaluate("changed")) - start) / 1e3)
        page.wait_for_timeout(900)
    return took


def resident_mb(process: subprocess.Popen[str]) -> float:
    """Memory of the server."""
    return float(psutil.Process(process.pid).memory_info().rss) / 1e6


def worked_s(process: subprocess.Popen[str]) -> float:
    """The processor's own time that the server took so far."""
    spent = psutil.Process(process.pid).cpu_times()
    return float(spent.user + spent.system)


def heap_mb(page: Page) -> float:
    """The browser's heap of one page after its rubbish was taken out."""
    session = page.context.new_cdp_session(page)
    session.send("HeapProfiler.collectGarbage")
    return float(page.evaluate("performance.memory.usedJSHeapSize")) / 1e6


def memory(page: Page, server: subprocess.Popen[str], edits: int) -> None:
    """20 pages of charts, then so many edits on one of them; memory at each tenth."""
    for number in range(20):
        arrive(page, CHARTS[number % len(CHARTS)])
    _, shows, _, key, _, place = CASES[1]
    arrive(page, shows)
    choose(page, place)
    print(f"memory before           server {resident_mb(server):4.0f} MB, page {heap_mb(page):5.1f} MB")
    for number in range(1, edits + 1):
        one_edit(
            page, page, key, ("[0.66, -0.64, 0.97]", "[0.67, -0.64, 0.97]")[number % 2]
        )  # not where it stands already
        page.wait_for_timeout(60)
        if number % max(edits // 5, 1) == 0:
            print(
                f"after {number:4} edits        server {resident_mb(server):4.0f} MB, page {heap_mb(page):5.1f} MB",
                flush=True,
            )


def told(name: str, server: subprocess.Popen[str], measure: Callable[[], list[float]]) -> None:
    """One row: the median counts; the least is what the machine can do when nothing disturbs it.

    The server's own time is that of all of it, pages opened first and looking for changes between the edits included.
    """
    before = worked_s(server)
    seconds = measure()
    own_s = (worked_s(server) - before) / len(seconds)
    print(
        f"{name:<24}{statistics.median(seconds):6.3f} s, least {min(seconds):.3f}; server's own {own_s:.2f}", flush=True
    )


def measured(folder: Path, page_of: Any, options: argparse.Namespace) -> None:
    """All rows."""
    start = time.perf_counter()
    with served(folder) as (address, server):
        page: Page = page_of(address)
        page.request.get(address)
        print(
            f"server up               {time.perf_counter() - start:6.2f} s; its own {worked_s(server):.2f}", flush=True
        )
        start = time.perf_counter()
        page.goto("/", wait_until="commit")
        page.wait_for_selector("h1")
        seen = time.perf_counter() - start
        paint = page.wait_for_function("performance.getEntriesByName('first-contentful-paint')[0]?.startTime")
        print(f"first paint             {paint.json_value() / 1e3:6.2f} s; heading seen after {seen:.2f} s")
        page.wait_for_selector(".drawn", timeout=120_000)
        for case in CASES:
            writer: Page = page_of(address)
            told(f"edit, {case[0]}", server, lambda writer=writer, case=case: edited(page, writer, case))
            writer.close()
            if case[0] == "layout":
                told("drag, layout", server, lambda case=case: dragged(page, case[5]))
        if not options.without_tune:
            for what in ("tune, the first", "tune after an edit"):
                page.request.get(address)
                arrive(page, "/fields?at=tuning")
                field = page.locator('.field [id$="house_curve"]').first
                field.fill(
                    "[[20.0, 9.0], [20000.0, -6.0]]" if what.endswith("edit") else "[[20.0, 8.0], [20000.0, -6.0]]"
                )
                field.press("Tab")
                page.wait_for_timeout(1500)
                arrive(page, "/tune")
                start = time.perf_counter()
                page.get_by_role("button", name="Tune from the recordings").click()
                page.get_by_text("✓ Done.").wait_for(timeout=120_000)
                print(f"{what:<24}{time.perf_counter() - start:6.2f} s", flush=True)
        memory(page, server, options.edits)


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--edits", type=int, default=500, help="edits while memory is watched")
    parser.add_argument("--without-tune", action="store_true", help="leave the tune out")
    options = parser.parse_args()
    print(load())
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name) / "build"
        shutil.copytree(ROOT / "demo" / "build", folder, ignore=shutil.ignore_patterns("out"))
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        size: Any = {"width": 1366, "height": 768}
        measured(folder, lambda address: browser.new_page(base_url=address, viewport=size), options)
        browser.close()


if __name__ == "__main__":
    main()
