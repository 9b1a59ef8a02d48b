"""Journeys in a real browser, on the demo, as a person at the car would go them. axe-core judges what everybody can use."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect, sync_playwright

from cabinwright.web.serve import PAGES
from web.conftest import chromium

BROWSER = chromium()
pytestmark = pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
FLAGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
SCHEMES = {"sunlight": "light", "garage": "dark"}
WAIT_MS = 60_000
#: Pages with a document of the report on them are not clean yet: its tables scroll, its folds are small to touch.
CLEAN = [page.path for page in PAGES if page.path in ("/", "/survey", "/places")]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One for all journeys."""
    with sync_playwright() as made:
        running = made.chromium.launch(executable_path=BROWSER, args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def context(browser: Browser, address: str) -> Iterator[BrowserContext]:
    """A fresh visitor; whatever is asked of another computer fails the test."""
    made = browser.new_context(base_url=address, accept_downloads=True)
    made.set_default_timeout(WAIT_MS)
    asked: list[str] = []
    made.on("request", lambda request: asked.append(request.url))
    yield made
    made.close()
    outside = [url for url in asked if not url.startswith((address, address.replace("http", "ws"), "data:", "blob:"))]
    assert asked and not outside


def arrive(page: Page, path: str) -> Page:
    """Open a page and wait for its answer."""
    page.goto(path)
    page.wait_for_selector(".drawn", timeout=WAIT_MS)
    return page


def typing(page: Page, key: str) -> Locator:
    """Where a key of the build is typed."""
    return page.locator(f'.field input[id$="{key}"]').first


def said(page: Page, words: str) -> None:
    """The page tells what was done."""
    expect(page.locator("[role=status].said")).to_contain_text(words, timeout=WAIT_MS)


def text(folder: Path) -> str:
    return (folder / "build.toml").read_text(encoding="utf-8")


def test_change_a_field_see_it_and_take_it_back(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    page = context.new_page()
    page.goto("/")
    expect(page.get_by_text("1 thing stops you.")).to_be_visible(timeout=WAIT_MS)
    page.locator(".tile").get_by_role("link", name="Places").click()
    page.get_by_role("button", name="right roof rail").click()
    expect(page.get_by_role("heading", name="right roof rail")).to_be_visible(timeout=WAIT_MS)
    harm = page.get_by_text("right roof rail and right curtain airbag")
    expect(harm).to_be_visible(timeout=WAIT_MS)
    field = typing(page, "position_m")
    field.fill("[0.9, 0.3, 0.9]")
    field.press("Tab")
    said(page, "right roof rail")
    expect(harm).to_have_count(0, timeout=WAIT_MS)
    assert text(folder) != before
    page.get_by_role("button", name="Undo").click()
    said(page, "taken back")
    expect(harm).to_be_visible(timeout=WAIT_MS)
    assert text(folder) == before


def test_switch_a_state_and_step_through_faults(context: BrowserContext) -> None:
    page = arrive(context.new_page(), "/power")
    live = page.locator(".tile.on")
    closed = page.get_by_role("group", name="boot").get_by_role("button", name="closed")
    before = live.all_inner_texts()
    for name in ("radio", "boot"):
        group = page.get_by_role("group", name=name, exact=True)
        group.locator("[aria-pressed=false]").first.click()
        expect(group.locator("[aria-pressed=true]")).to_have_count(1)
    expect(closed).to_have_attribute("aria-pressed", "true", timeout=WAIT_MS)
    page.wait_for_timeout(300)
    assert live.all_inner_texts() != before
    expect(page.get_by_text("1 / ")).to_be_visible()
    page.get_by_role("button", name="Next fault").click()
    expect(page.get_by_text("2 / ")).to_be_visible()


def test_take_a_drawing_to_the_machine(context: BrowserContext) -> None:
    page = arrive(context.new_page(), "/workshop")
    with page.expect_download() as coming:
        page.get_by_role("button", name="Download rear-floor.dxf").click()
    assert b"SECTION" in Path(coming.value.path()).read_bytes()[:400]
    layer = page.locator(".layers button").first
    layer.click()
    expect(layer).to_have_attribute("aria-pressed", "false")


def test_ticks_outlive_a_reload(context: BrowserContext) -> None:
    page = arrive(context.new_page(), "/tune")
    page.get_by_role("button", name="Gain").click()
    expect(page.get_by_role("button", name="Gain")).to_have_attribute("aria-pressed", "true", timeout=WAIT_MS)
    page.reload()
    expect(page.get_by_role("button", name="Gain")).to_have_attribute("aria-pressed", "true", timeout=WAIT_MS)


def test_hostile_files_and_foreign_pages(context: BrowserContext, folder: Path, address: str) -> None:
    page = arrive(context.new_page(), "/tune")
    drop: Any = page.locator("input[type=file]")
    drop.set_input_files({"name": "evil.wav", "mimeType": "audio/wav", "buffer": b"MZ" + bytes(500)})
    expect(page.get_by_role("alert")).to_contain_text("no WAV", timeout=WAIT_MS)
    assert not (folder / "recordings" / "evil.wav").exists()
    for headers in ({"Origin": "http://car.example"}, {"Host": "car.example"}):
        assert context.request.get(address, headers=headers).status in (403, 421)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_everybody_can_use_it(browser: Browser, address: str, scheme: str) -> None:
    """WCAG 2.2 AA by axe-core; nothing to touch smaller than 44 px (WCAG 2.5.5); nothing wider than a phone."""
    phone: Any = {"width": 390, "height": 844}
    made = browser.new_context(base_url=address, color_scheme=SCHEMES[scheme], viewport=phone)
    page = made.new_page()
    for path in CLEAN:
        arrive(page, path)
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
        assert found.violations_count == 0, f"{path}\n{found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        small = page.evaluate(
            "[...document.querySelectorAll('button, a, input, select, summary')].filter((one) => one.checkVisibility())"
            ".map((one) => [one.textContent, one.getBoundingClientRect()])"
            ".filter(([_, box]) => box.height > 0 && box.left >= 0 && Math.min(box.height, box.width) < 44)"
            ".map(([words]) => words)"
        )
        assert not small, (path, small)
    assert page.evaluate("document.documentElement.dataset.scheme") == scheme
    made.close()
