"""Pictures of every page of the screen at three sizes in both schemes, into ``screens/`` (not in git), to be looked at.

    .venv/bin/python tools/screens.py [BUILD]

Needs chromium on the path and the development environment.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from cabinwright.web.serve import PAGES

ROOT = Path(__file__).resolve().parents[1]
OUT = ROOT / "screens"
SIZES = {"laptop": (1366, 768), "tablet": (820, 1180), "phone": (390, 844)}
SCHEMES = {"sunlight": "light", "garage": "dark"}
ROW = '/fields?at=places["left pillar"]'  #: one row of the build, as every row looks
FLAGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def main() -> int:
    """Serve the build, walk through it, end the server."""
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    if browser is None:
        print("There is no chromium on the path.", file=sys.stderr)
        return 2
    build = sys.argv[1] if len(sys.argv) > 1 else str(ROOT / "demo-build")
    command = [sys.executable, "-u", "-m", "cabinwright", "open", build, "--no-browser", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as server:
        assert server.stdout is not None
        told = server.stdout.readline().split()
        try:
            walk(browser, told[4])
        finally:
            server.terminate()
    print(f"Look at {OUT}")
    return 0


def walk(browser: str, address: str) -> None:
    """Every page, every size, both schemes."""
    OUT.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=browser, args=FLAGS)
        for size, (width, height) in SIZES.items():
            for scheme, colours in SCHEMES.items():
                viewport = {"width": width, "height": height}
                context = running.new_context(base_url=address, viewport=viewport, color_scheme=colours)
                page = context.new_page()
                for path in (*(one.path for one in PAGES), ROW):
                    page.goto(path)
                    page.wait_for_selector(".drawn", timeout=120_000)
                    page.wait_for_timeout(700)
                    name = "row" if path == ROW else path.strip("/") or "overview"
                    page.screenshot(path=OUT / f"{name}-{size}-{scheme}.png", full_page=True)
                context.close()
        running.close()


if __name__ == "__main__":
    sys.exit(main())
