"""Journeys in a real browser, on the demo, as a person at the car would go them. axe-core judges what everybody can use."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import soundfile
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect, sync_playwright

from cabinwright.web.serve import PAGES
from web.conftest import chromium, started
from web.usable import PHONE, usable

BROWSER = chromium()
pytestmark = pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
FLAGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
DRAWN: Any = {"exclude": [["svg > *"]]}  #: thousands of strokes; each drawing is judged as one image with its name
WAIT_MS = 20_000


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


def unfold(page: Page) -> None:
    """Open every fold and every document on the page."""
    for number in range(1, 4):
        closed = page.locator(".fold button[aria-expanded=false]")
        if not closed.count():
            break
        closed.first.click()
        expect(page.locator(".paper")).to_have_count(number, timeout=WAIT_MS)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")


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


def test_what_is_typed_outlives_a_change_elsewhere(context: BrowserContext, folder: Path) -> None:
    """One tab is in the middle of a word when another changes the build and the first is drawn anew."""
    before = text(folder)
    page, other = context.new_page(), context.new_page()
    arrive(page, '/fields?at=places["left pillar"]')
    field, typed = typing(page, "position_m"), "[0.47, -0.6, 0.87]"
    field.fill(typed)
    arrive(other, '/fields?at=wires["main feed"]')
    length = typing(other, "length_m")
    length.fill("5.3")
    length.press("Tab")
    said(other, "main feed")
    said(page, "Changed elsewhere")
    expect(field).to_have_value(typed)
    expect(field).to_be_focused()
    page.keyboard.press("Tab")
    said(page, "left pillar")
    assert typed in text(folder) and "5.3" in text(folder)
    for _turn in range(2):
        page.get_by_role("button", name="Undo").click()
        said(page, "taken back")
        page.wait_for_timeout(300)
    expect(field).not_to_have_value(typed)
    assert text(folder) == before
    other.close()


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
    before_it = page.get_by_role("button", name="Fault before")
    before_it.click()
    expect(before_it).to_have_attribute("aria-disabled", "true", timeout=WAIT_MS)


def test_take_a_drawing_to_the_machine(context: BrowserContext) -> None:
    page = arrive(context.new_page(), "/workshop")
    page.get_by_label("Drawing").select_option("rear-floor")
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


def test_inches_are_chosen_once_for_every_page(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    page = arrive(context.new_page(), "/survey")
    expect(page.get_by_role("table", name="Tapes")).to_contain_text("mm")
    page.get_by_role("button", name="Inches").click()
    expect(page.get_by_role("table", name="Tapes")).not_to_contain_text("mm", timeout=WAIT_MS)
    arrive(page, "/enclosure")
    expect(page.get_by_text("ft³").first).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("ft³")).to_have_count(0, timeout=WAIT_MS)
    assert text(folder) == before


def test_an_earlier_state_beside_today_and_back(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    page = arrive(context.new_page(), '/fields?at=seats["driver"]')
    page.get_by_label("Why").fill("a taller driver")
    page.get_by_label("Why").press("Tab")
    field = typing(page, "head_m")
    field.fill("[1.5, -0.35, 1.2]")
    field.press("Tab")
    said(page, "driver")
    arrive(page, "/history")
    newest = page.locator(".change").first
    expect(newest).to_contain_text("Why: a taller driver")
    number = int(newest.inner_text().split(".")[0])
    page.get_by_role("button", name=f"State {number - 1} beside today").click()
    beside = page.get_by_role("table", name="In design").get_by_role("row", name="head_m")
    expect(beside).to_contain_text("(1.5, -0.35, 1.2) m", timeout=WAIT_MS)
    page.get_by_role("button", name=f"Bring state {number - 1} back").click()
    said(page, "brought back")
    assert text(folder) == before


def test_a_tape_that_contradicts_is_one_press_away(context: BrowserContext) -> None:
    """The demo's own wrong tape; and nothing that is found is without a way to change it."""
    page = arrive(context.new_page(), "/survey")
    page.locator(".finding").first.get_by_role("link", name="Change it").click()
    expect(typing(page, "from")).to_have_value("right belt anchor", timeout=WAIT_MS)
    expect(typing(page, "to")).to_have_value("left pillar pod")
    arrive(page, "/")
    expect(page.locator(".finding")).not_to_have_count(0)
    alone = page.locator(".finding").filter(has_not=page.get_by_role("link", name="Change it", include_hidden=True))
    expect(alone).to_have_count(0)


def test_corners_are_read_whole_and_changed(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    page = arrive(context.new_page(), '/fields?at=cabin.surfaces["front wall"]')
    page.set_viewport_size(PHONE)
    corners = page.locator('.field [id$="corners_m"]')
    assert corners.evaluate("(one) => one.scrollHeight - one.clientHeight") <= 1
    old = corners.input_value()
    corners.fill("[[0, 0, 0], [1, 0, 0]]")
    corners.press("Tab")
    expect(page.locator(".refusal").filter(has_text="corners_m")).to_be_visible(timeout=WAIT_MS)
    expect(corners).to_have_value("[[0, 0, 0], [1, 0, 0]]")
    corners.fill(old.replace("]]", "] ]"))
    corners.press("Tab")
    expect(page.locator(".refusal").filter(has_text="corners_m")).to_have_count(0, timeout=WAIT_MS)
    expect(corners).to_have_value(old)
    assert text(folder) == before


def test_files_whose_names_tell_are_judged_at_once(context: BrowserContext, folder: Path) -> None:
    """What a drop that was broken off, or a copy by hand, left in the folder."""
    before = text(folder)
    takes = ("left-tweeter_p1", "left-tweeter_p2")
    rows = [row for row in before.split("[[recordings]]") if not any(f"/{name}.flac" in row for name in takes)]
    (folder / "build.toml").write_text("[[recordings]]".join(rows), encoding="utf-8")
    page = arrive(context.new_page(), "/recordings")
    expect(page.get_by_label("Position: recordings/left-tweeter_p2.flac")).to_have_value("p2", timeout=WAIT_MS)
    page.get_by_role("button", name="Judge and list all whose names tell").click()
    said(page, "2 of 2 files are good and listed")
    assert all(f"recordings/{name}.flac" in text(folder) for name in takes)
    page.close()
    (folder / "build.toml").write_text(before, encoding="utf-8")


def test_tables_within_tables_are_added_renamed_and_taken_out(context: BrowserContext, folder: Path) -> None:
    """An amplifier must have channels and ratings, a second battery two figures, a filter a channel that is not the last."""
    before = text(folder)

    def fill(page: Page, **words: str) -> None:
        for name, value in words.items():
            page.locator(f'[id="new-{name.replace("__", ".")}"]').fill(value)
        page.get_by_role("button", name="Add it").click()

    page = arrive(context.new_page(), "/fields?at=amplifiers")
    fill(page, name="roof amplifier")
    expect(page.get_by_role("alert").first).to_contain_text(
        "channels: name, channels: from, channels: speakers, ratings: load"
    )
    page.get_by_role("button", name="One more: ratings").click()
    expect(page.locator('[id="new-ratings.1.load_ohm"]')).to_be_visible(timeout=WAIT_MS)
    expect(page.locator('[id="new-name"]')).to_have_value("roof amplifier")
    fill(page, channels__0__name="1", channels__0__from="left tweeter", channels__0__speakers="left tweeter",
         ratings__0__load_ohm="4", ratings__0__power_w="50", ratings__1__load_ohm="2", ratings__1__power_w="80")  # fmt: skip
    said(page, 'amplifiers["roof amplifier"]')
    assert "ratings = [{load_ohm = 4, power_w = 50}, {load_ohm = 2, power_w = 80}]" in text(folder)
    page.get_by_role("link", name="roof amplifier").click()
    page.wait_for_selector(".drawn", timeout=WAIT_MS)
    typing(page, "].name").fill("tweeter amplifier")
    page.keyboard.press("Tab")
    expect(page.get_by_role("heading", name='amplifiers["tweeter amplifier"]')).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Take this row out").click()
    expect(page.get_by_role("link", name="bass amplifier")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_role("link", name="tweeter amplifier")).to_have_count(0)
    arrive(page, "/fields?at=supply.second_battery")
    fill(page, capacity_ah="60", resistance_ohm="5 mΩ")
    said(page, "supply.second_battery")
    arrive(page, '/fields?at=channels["left tweeter"].recorded_with')
    page.locator('[id="new-kind"]').select_option("high-pass")
    fill(page, frequency_hz="2 kHz")
    said(page, "recorded_with")
    assert 'recorded_with = [{kind = "high-pass", frequency_hz = "2 kHz"}]' in text(folder)
    for _turn in range(5):
        page.get_by_role("button", name="Undo").click()
        said(page, "taken back")
        page.wait_for_timeout(300)
    assert text(folder) == before


def _choose(page: Page, path: Path) -> None:
    page.locator("#folder").set_input_files(path)


def _drop(page: Page, path: Path) -> None:
    """A folder from outside, let go over the page as a mouse does; the browser itself tells what is in it."""
    zone = page.locator(".drop").first
    zone.scroll_into_view_if_needed()
    at = zone.bounding_box()
    assert at is not None
    mouse = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        data = {"items": [], "files": [str(path)], "dragOperationsMask": 1}
        where = {"x": at["x"] + at["width"] / 2, "y": at["y"] + 20}
        mouse.send("Input.dispatchDragEvent", {"type": kind, **where, "data": data})


@pytest.mark.parametrize("give", [_choose, _drop])
def test_a_folder_of_recordings_is_judged_and_listed(
    context: BrowserContext, folder: Path, tmp_path: Path, give: Callable[[Page, Path], None]
) -> None:
    """The demo's right midbass at p5 was made with clipping (demo/make_demo.py)."""
    before = text(folder)
    build, taken = before, ("left-tweeter_p1", "right-midbass_p5")
    for name in taken:
        rows = build.split("[[recordings]]")
        build = "[[recordings]]".join(row for row in rows if f"/{name}.flac" not in row)
        (folder / "recordings" / f"{name}.flac").rename(tmp_path / f"{name.replace('_', ' ')}.flac")
    (folder / "build.toml").write_text(build, encoding="utf-8")
    page = arrive(context.new_page(), "/recordings")
    expect(page.get_by_text("2 takes missing")).to_be_visible(timeout=WAIT_MS)
    give(page, tmp_path)
    said(page, "1 of 2 files are good and listed")
    expect(page.locator(".stray")).to_contain_text("clipped")
    expect(page.get_by_text("1 take missing")).to_be_visible(timeout=WAIT_MS)
    assert "recordings/left-tweeter p1.flac" in text(folder)
    page.get_by_role("button", name="left tweeter, p1: used").click()
    expect(page.locator(".key .chart")).to_be_visible(timeout=WAIT_MS)
    sound = page.locator(".key audio")
    heard = sound.evaluate("(one) => new Promise((done) => { one.oncanplay = () => done(one.duration); one.load(); })")
    assert heard == pytest.approx(soundfile.info(folder / "recordings" / "left-tweeter p1.flac").duration, abs=0.01)
    for name in taken:
        (folder / "recordings" / f"{name.replace('_', ' ')}.flac").rename(folder / "recordings" / f"{name}.flac")
    (folder / "build.toml").write_text(before, encoding="utf-8")


def test_hostile_files_and_foreign_pages(context: BrowserContext, folder: Path, address: str) -> None:
    page = arrive(context.new_page(), "/recordings")
    drop: Any = page.locator("#files")
    drop.set_input_files({"name": "evil.wav", "mimeType": "audio/wav", "buffer": b"MZ" + bytes(500)})
    expect(page.get_by_role("alert")).to_contain_text("no WAV", timeout=WAIT_MS)
    assert not (folder / "recordings" / "evil.wav").exists()
    for name, kind, content in (
        ("bomb.zip", "application/zip", b"PK\x03\x04" + bytes(500)),
        (
            "seen.svg",
            "image/svg+xml",
            b"<svg xmlns='http://www.w3.org/2000/svg'><script>document.title = 'mine'</script></svg>",
        ),
    ):
        drop.set_input_files({"name": name, "mimeType": kind, "buffer": content})
        expect(page.get_by_role("alert")).to_contain_text("not taken", timeout=WAIT_MS)
        assert not list(folder.rglob(name))
    assert page.title() != "mine"
    for headers in ({"Origin": "http://car.example"}, {"Host": "car.example"}):
        assert context.request.get(address, headers=headers).status in (403, 421)


def test_a_refused_value_stays_to_be_corrected(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    page = arrive(context.new_page(), '/fields?at=places["left pillar"]')
    field = typing(page, "position_m")
    field.fill("[99, 0, 1]")
    field.press("Tab")
    expect(page.locator(".refusal:not(:empty)")).to_contain_text("12", timeout=WAIT_MS)
    expect(field).to_have_value("[99, 0, 1]")
    expect(field).to_have_attribute("aria-invalid", "true")
    assert text(folder) == before


def test_a_place_is_added_where_there_was_none(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    page = arrive(context.new_page(), "/fields?at=places")
    add = page.get_by_role("button", name="Add it")
    page.get_by_label("name", exact=True).fill("on the console")
    add.click()
    expect(page.get_by_role("alert").first).to_contain_text("role", timeout=WAIT_MS)
    assert text(folder) == before
    expect(page.get_by_label("name", exact=True)).to_have_value("on the console")  # what was typed is not lost
    page.get_by_label("role", exact=True).select_option("midrange")
    page.get_by_label("side", exact=True).select_option("centre")
    page.get_by_label("position (m)").fill('[0.8, 0.0, "60 cm"]')
    add.click()
    said(page, "on the console")
    page.get_by_role("link", name="on the console").click()
    expect(typing(page, "position_m")).to_have_value('[0.8, 0.0, "60 cm"]', timeout=WAIT_MS)
    page.get_by_role("button", name="Undo").click()
    said(page, "taken back")
    assert text(folder) == before


def test_an_editor_and_a_second_tab_write_meanwhile(context: BrowserContext, folder: Path) -> None:
    before = text(folder)
    first = arrive(context.new_page(), '/fields?at=seats["driver"]')
    second = arrive(context.new_page(), '/fields?at=places["left pillar"]')
    (folder / "build.toml").write_text(f"# by an editor\n{before}", encoding="utf-8")
    field = typing(second, "position_m")
    field.fill("[0.6, -0.6, 1.0]")
    field.press("Tab")
    said(second, "left pillar")
    said(first, "Changed elsewhere")
    now = text(folder)
    assert now.startswith("# by an editor\n") and now.count("[0.6, -0.6, 1.0]") == 1
    (folder / "build.toml").write_text(now + "[broken", encoding="utf-8")
    expect(second.get_by_role("alert").filter(has_text="build.toml").first).to_be_visible(timeout=WAIT_MS)
    field.fill("[0.5, -0.5, 1.0]")
    field.press("Tab")
    expect(second.locator(".refusal:not(:empty)")).to_be_visible(timeout=WAIT_MS)
    assert text(folder) == now + "[broken"
    (folder / "build.toml").write_text(before, encoding="utf-8")
    said(first, "Changed elsewhere")


def test_a_tune_shows_how_far_it_is_and_can_be_stopped(context: BrowserContext, folder: Path) -> None:
    kept = (folder / "out" / "settings.json").read_bytes()
    page = arrive(context.new_page(), "/tune")
    page.get_by_role("button", name="Tune from the recordings").click()
    expect(page.locator("progress").first).to_be_visible()
    page.get_by_role("button", name="Cancel").click()
    expect(page.get_by_text("Cancelled. Nothing was changed.")).to_be_visible(timeout=WAIT_MS)
    assert (folder / "out" / "settings.json").read_bytes() == kept


def test_a_killed_server_loses_nothing(browser: Browser, folder: Path) -> None:
    running, address = started(folder)
    page = arrive(browser.new_page(base_url=address), '/fields?at=places["left pillar"]')
    field = typing(page, "position_m")
    field.fill("[0.61, -0.61, 1.01]")
    field.press("Tab")
    said(page, "left pillar")
    running.kill()
    running.communicate()
    again, _address = started(folder, port=address.rstrip("/").rpartition(":")[2])
    try:
        expect(page.get_by_role("button", name="Undo: ")).to_be_visible(timeout=WAIT_MS)
        expect(typing(page, "position_m")).to_have_value("[0.61, -0.61, 1.01]", timeout=WAIT_MS)
        page.reload()
        page.wait_for_selector(".drawn", timeout=WAIT_MS)
        page.get_by_role("button", name="Undo: ").click()
        said(page, "taken back")
    finally:
        again.terminate()
        again.communicate(timeout=20)
        page.close()


def test_everybody_can_use_it(browser: Browser, address: str) -> None:
    """WCAG 2.2 AA by axe-core in both schemes; nothing to touch under 44 px (WCAG 2.5.5); nothing wider than a phone."""
    made = browser.new_context(base_url=address, viewport=PHONE)
    page = made.new_page()
    tables = ('places["left pillar"]', "amplifiers", 'presets["Phone"].also', "recordings", "supply.second_battery")
    for path in (*(page.path for page in PAGES), *(f"/fields?at={table}" for table in tables)):
        arrive(page, path)
        unfold(page)
        usable(page, path, touched="button, a, input, select, summary", within=DRAWN)
    assert page.evaluate("document.documentElement.dataset.scheme") == "garage"
    made.close()
