"""A place in the hand: dragged, seen to be better and why, accepted, put back, reloaded, and a server killed meanwhile."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from cabinwright.desk import Desk
from web.test_journeys import BROWSER, WAIT_MS, arrive, browser, context, said, text

__all__ = ["browser", "context"]  # fixtures

pytestmark = pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The screen as a person starts it: its address, and its process, which may be killed meanwhile."""
    command = [sys.executable, "-m", "cabinwright", "open", str(folder), "--no-browser", "--port", "0"]
    surroundings = {**os.environ, "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
    told = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    with subprocess.Popen(command, encoding="utf-8", env=surroundings, **told) as running:
        assert running.stdout is not None
        line = running.stdout.readline()
        assert line.startswith("The screen is at http://127.0.0.1:"), line
        yield line.split()[4], running
        running.terminate()
        running.wait(20)


SPOT = """([name, there]) => {
  const el = document.querySelector(".scene"), scene = getElement(Number(el.id.slice(1)));
  let ball = null;
  scene.scene.traverse((one) => { if (one.name === name) ball = one; });
  if (!ball) return null;
  scene.camera.updateMatrixWorld();
  const spot = there ? ball.position.clone().set(...there) : ball.position.clone();
  const at = spot.project(scene.camera);
  const sheet = el.querySelector("canvas").getBoundingClientRect();
  return [sheet.left + (at.x + 1) / 2 * sheet.width, sheet.top + (1 - at.y) / 2 * sheet.height];
}"""


def chosen(page: Page, name: str) -> Page:
    """The places page with one place chosen, and its scene in sight."""
    arrive(page, "/places")
    page.get_by_role("group", name="Place", exact=True).get_by_role("button", name=name).click()
    expect(page.get_by_role("heading", name=name)).to_be_visible(timeout=WAIT_MS)
    page.wait_for_function(f"() => ({SPOT})([{json.dumps('aim of ' + name)}]) !== null")
    page.evaluate("scrollTo(0, 0)")
    page.wait_for_timeout(300)  # the first frame
    return page


def drag(page: Page, name: str, *, right: float = 0, to: list[float] | None = None, drop: bool = True) -> None:
    """Take a ball with the mouse and lay it down somewhere else: so many pixels to the right, or at a spot of the car."""
    x, y = page.evaluate(SPOT, [name])
    end_x, end_y = (x + right, y) if to is None else page.evaluate(SPOT, [name, to])
    page.mouse.move(x, y)
    page.mouse.down()
    for step in (0.3, 0.7, 1.0):
        page.mouse.move(x + step * (end_x - x), y + step * (end_y - y))
        page.wait_for_timeout(60)
    if drop:
        page.mouse.up()


def place_in(folder: Path, table: str, name: str) -> dict[str, Any]:
    rows: list[dict[str, Any]] = tomllib.loads(text(folder))[table]
    return next(row for row in rows if row["name"] == name)


def test_drag_a_tweeter_see_why_it_is_better_and_accept_it(context: BrowserContext, folder: Path) -> None:
    before, name = text(folder), "right tweeter"
    page = chosen(context.new_page(), name)
    spot = place_in(folder, "places", name)["position_m"]
    drag(page, name, to=[spot[0] + 0.08, spot[1] - 0.05, spot[2]])  # seen from above: rearward and inwards
    said(page, f'places["{name}"].position_m')
    moved = place_in(folder, "places", name)["position_m"]
    assert moved == pytest.approx([spot[0] + 0.08, spot[1] - 0.05, spot[2]], abs=0.006) and moved[2] == spot[2]
    verdict = page.locator(".verdict")
    expect(verdict).to_contain_text("Better by", timeout=WAIT_MS)
    expect(verdict).to_contain_text("dB weaker reflections")
    rows = page.locator(".figures tr")
    expect(rows.filter(has_text="Reflections against direct")).to_contain_text("▲ better")
    expect(rows.filter(has_text="as accepted").or_(rows.filter(has_text="before"))).to_have_count(1)
    page.reload()  # in the middle: what was accepted is still what it is held against
    chosen(page, name)
    expect(page.locator(".verdict")).to_contain_text("Better by", timeout=WAIT_MS)
    page.get_by_role("button", name="Accept: the speaker moves here").click()
    said(page, f'speakers["{name}"].position_m')
    expect(page.get_by_text("✓ Accepted: a speaker in the build.")).to_be_visible(timeout=WAIT_MS)
    assert place_in(folder, "speakers", name)["position_m"] == moved
    assert "Better by" in (folder / "history" / "log.jsonl").read_text(encoding="utf-8").splitlines()[-1]
    for _ in range(2):
        undo = page.get_by_role("button", name="Undo").get_attribute("aria-label")
        page.get_by_role("button", name="Undo").click()
        expect(page.get_by_role("button", name="Undo")).not_to_have_attribute("aria-label", str(undo), timeout=WAIT_MS)
    assert text(folder) == before


def test_drag_an_aim_and_put_it_back(context: BrowserContext, folder: Path) -> None:
    before, name = text(folder), "left door, high"
    page = chosen(context.new_page(), name)
    drag(page, f"aim of {name}", right=-25)
    said(page, f'places["{name}"].aim')
    row = place_in(folder, "places", name)
    assert row["aim"][0] < 0.0 and sum(part * part for part in row["aim"]) == pytest.approx(1.0, abs=1e-3)
    expect(page.locator(".figures tr").filter(has_text="Loss off its axis")).to_contain_text("▼ worse", timeout=WAIT_MS)
    page.get_by_role("button", name="Put it back").click()
    expect(page.locator(".verdict")).to_have_count(0, timeout=WAIT_MS)
    assert place_in(folder, "places", name)["aim"] == tomllib.loads(before)["places"][6]["aim"]
    button = page.get_by_role("button", name="turn right")  # the same by keyboard, which stays where it is
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".verdict")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_role("button", name="turn right")).to_be_focused(timeout=WAIT_MS)
    page.get_by_role("button", name="Put it back").click()
    expect(page.locator(".verdict")).to_have_count(0, timeout=WAIT_MS)


def test_a_server_that_is_killed_while_a_place_is_in_the_hand_loses_nothing(
    browser: Browser, folder: Path, tmp_path: Path
) -> None:
    own = tmp_path / "build"
    shutil.copytree(folder, own)
    with served(own) as (where, server):
        page = browser.new_context(base_url=where).new_page()
        chosen(page, "left tweeter")
        before = text(own)
        drag(page, "left tweeter", right=15, drop=False)
        expect(page.locator(".trial")).to_contain_text("In your hand", timeout=WAIT_MS)
        server.kill()
        page.mouse.up()
        page.context.close()
    assert text(own) == before
    desk = Desk.open(own)  # a server that is started anew finds everything, and goes on
    assert not desk.history().damage
    desk.edit('places["left tweeter"].looks', 3)
    assert place_in(own, "places", "left tweeter")["looks"] == 3
