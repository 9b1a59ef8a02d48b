"""A customer hears before and after: the page without a browser, and the whole way in a real one, with sound that really runs."""

from __future__ import annotations

import io
import json
import os
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect, sync_playwright

from cabinwright.measure.listening import read_heard, read_trials
from cabinwright.web.tracks import track_address
from web.conftest import chromium

BROWSER = chromium()
WAIT_MS = 60_000
STATE = """(() => { const it = cabinwrightListen;
return {playing: it.playing, at: it.time(), began: it.began, gains: it.gains.map((one) => one.gain.value)}; })()"""


@pytest.fixture
def page(address: str) -> Iterator[Page]:
    with sync_playwright() as made:
        running = made.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        visitor = running.new_context(base_url=address, viewport={"width": 390, "height": 844})
        visitor.set_default_timeout(WAIT_MS)
        yield visitor.new_page()
        running.close()


def track() -> bytes:
    out = io.BytesIO()
    soundfile.write(out, 0.05 * np.random.default_rng(6).normal(size=(3 * 48_000, 2)), 48_000, format="FLAC")
    return out.getvalue()


@pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
def test_a_customer_hears_and_compares(page: Page, folder: Path, address: str) -> None:
    page.goto("/listen")
    page.wait_for_selector(".drawn")
    drop = page.get_by_label("Your own track")
    drop.set_input_files({"name": "evil.wav", "mimeType": "audio/wav", "buffer": b"MZ" + bytes(500)})
    expect(page.get_by_role("alert")).to_contain_text("no WAV", timeout=WAIT_MS)
    drop.set_input_files({"name": "my song.flac", "mimeType": "audio/flac", "buffer": track()})
    expect(page.get_by_role("button", name="✓ my song.flac")).to_be_visible(timeout=WAIT_MS)
    page.get_by_label("Begin at").fill("soon")
    page.get_by_label("Begin at").press("Tab")
    expect(page.get_by_role("alert")).to_contain_text("1:15", timeout=WAIT_MS)

    page.get_by_role("button", name="Make it audible").click()
    expect(page.locator("progress").first).to_be_visible()
    page.get_by_role("button", name="Cancel").click()
    expect(page.get_by_text("Cancelled. Nothing was changed.")).to_be_visible(timeout=WAIT_MS)
    assert not (folder / "out" / "listening" / "heard.json").exists()
    page.get_by_role("button", name="Make it audible").click()
    expect(page.get_by_role("heading", name="Listen to my song.flac")).to_be_visible(timeout=WAIT_MS)

    _switched(page)
    _blind(page, folder)
    found = Axe().run(
        page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
    )
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390

    heard = read_heard(folder / "out" / "listening")
    assert heard is not None
    good = track_address(heard[1].versions[0].file)
    assert page.request.get(address.rstrip("/") + good).status == 200
    for name in ("..%2F..%2Fbuild.toml", "heard.json", "..%2F..%2Flistening%2Fmy%20song.flac", ""):
        assert page.request.get(address.rstrip("/") + re.sub(r"file=[^&]*", f"file={name}", good)).status == 404


def _switched(page: Page) -> None:
    """All versions run on; the one that is chosen is let through, at its own level and no higher."""
    page.get_by_role("button", name="Play").click()
    expect(page.get_by_role("button", name="Pause")).to_be_visible(timeout=WAIT_MS)
    page.wait_for_function(f"{STATE}.at > 0.3 && {STATE}.gains[0] === 1")
    before = page.evaluate(STATE)
    page.get_by_role("button", name="After", exact=True).click()
    page.wait_for_function(f"{STATE}.gains[1] === 1")
    after = page.evaluate(STATE)
    assert after["began"] == before["began"], "switching starts nothing anew"
    assert after["gains"] == [0, 1]
    expect(page.get_by_role("button", name="After", exact=True)).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="Pause").click()
    assert page.evaluate(STATE)["playing"] is False


def _blind(page: Page, folder: Path) -> None:
    """Whoever answers what the ear says (here: what really runs behind the letters) is right each time, and the file knows."""
    page.get_by_role("group", name="Trials").get_by_role("button", name="10").click()
    expect(page.get_by_text("At least 9 of 10 have to be right")).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Begin the blind comparison").click()
    for number in range(1, 11):
        expect(page.get_by_text(f"Trial {number} of 10")).to_be_visible(timeout=WAIT_MS)
        assert page.get_by_role("button", name="After").count() == 0, "nothing tells which is which"
        behind = {}
        for label in ("A", "X", "B"):
            page.evaluate("cabinwrightListen.picked = -1")
            page.get_by_role("button", name=label, exact=True).click()
            page.wait_for_function("cabinwrightListen.picked >= 0")
            behind[label] = page.evaluate("cabinwrightListen.picked")
        assert behind["A"] != behind["B"]
        kept = read_trials(folder / "listening" / "blind.json")[-1]
        assert (kept["answered"], "right" in kept) == (number - 1, False)
        page.get_by_role("button", name="X is A" if behind["X"] == behind["A"] else "X is B").click()
    expect(page.get_by_text("10 of 10 right").first).to_be_visible(timeout=WAIT_MS)
    kept = json.loads((folder / "listening" / "blind.json").read_text(encoding="utf-8"))["comparisons"][-1]
    assert (kept["right"], kept["p"]) == (10, pytest.approx(0.5**10))
    assert "tells the two apart" in kept["result"]
