"""The screen on the demo: server up, first paint, one edited field to the changed page.

    python benchmarks/screen.py

Aims of the project: 3 s, 1.5 s, and 0.2 s for places and power. Needs chromium on the path.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright

from common import ROOT, load

EDITS = 5


def edited(page: Page, path: str, key: str, values: tuple[str, str]) -> float:
    """Least time from leaving a field to the page that says it was changed, in seconds."""
    page.goto(path)
    page.wait_for_selector(".drawn", timeout=120_000)
    taken = []
    for number in range(EDITS):
        field = page.locator(f'.field input[id$="{key}"]').first
        field.fill(values[number % 2])
        undo = page.get_by_role("button", name="Undo").get_attribute("aria-label")
        start = time.perf_counter()
        field.press("Tab")
        expect(page.get_by_role("button", name="Undo")).not_to_have_attribute("aria-label", str(undo), timeout=60_000)
        taken.append(time.perf_counter() - start)
    return min(taken)


def main() -> None:
    """Print what was measured."""
    print(load())
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name) / "build"
        shutil.copytree(ROOT / "demo" / "build", folder, ignore=shutil.ignore_patterns("out"))
        start = time.perf_counter()
        command = [sys.executable, "-u", "-m", "cabinwright", "open", str(folder), "--no-browser", "--port", "0"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as server:
            assert server.stdout is not None
            address = server.stdout.readline().split()[4]
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(base_url=address)
            page.request.get(address)
            print(f"server up               {time.perf_counter() - start:6.2f} s")
            start = time.perf_counter()
            page.goto("/")
            page.wait_for_selector("h1")
            print(f"first paint             {time.perf_counter() - start:6.2f} s")
            for path, key, values in (
                ("/places", "position_m", ("[0.64, -0.64, 0.97]", "[0.65, -0.64, 0.97]")),
                ("/fields?at=processor", "peaking_filters", ("7", "8")),
            ):
                print(f"edit to page, {path:<10.10}{edited(page, path, key, values):6.2f} s")
            browser.close()
            server.terminate()


if __name__ == "__main__":
    main()
