"""Every page of the demo without a browser, by NiceGUI's own simulated visitor."""

from __future__ import annotations

import asyncio
import shutil
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from nicegui.testing import User
from nicegui.testing.user_simulation import user_simulation

from build.samples import MINIMAL
from cabinwright.desk import Desk
from cabinwright.web.field import shown, typed
from cabinwright.web.pages import power
from cabinwright.web.serve import PAGES, add_pages

PATIENCE = 600  #: looks of 0.1 s
SHOWN = {
    "/": ["1 thing stops you.", "Nothing to remark", "airbag"],
    "/survey": ["Measure these again", "97 mm too long"],
    "/places": ["Accepted: a speaker in the build", "Reflections against direct"],
    "/signal": ["What the signal cables pick up"],
    "/power": ["Switch the car by hand", "One thing breaks", "boot lamps burn only while the boot is open"],
    "/enclosure": ["spare-wheel bay", "half power at"],
    "/workshop": ["Files to take to the machine", "rear-floor.dxf"],
    "/record": ["never sweep a tweeter", "Sound card of this computer"],
    "/live": ["Press “Listen”", "Before noise is played"],
    "/recordings": ["Every channel at every position", "1 take to record again."],
    "/tune": ["Key in", "Polarity", "Tune from the recordings"],
    "/listen": ["Nothing is audible yet", "turned down", "Noise bursts", "left pillar"],
    "/book": ["Make the book"],
    "/history": ["Nothing was changed through Cabinwright yet"],
    "/fields": ["microphone positions", "places"],
}


def visit(folder: Path, walk: Callable[[User], Awaitable[None]]) -> None:
    """One visitor's walk through the demo."""

    async def whole() -> None:
        async with user_simulation(root=lambda: None) as user:
            add_pages(Desk.open(folder))
            await walk(user)

    asyncio.run(whole())


def test_every_page_has_its_question_and_its_answer(folder: Path) -> None:
    assert {page.path for page in PAGES} == set(SHOWN)

    async def walk(user: User) -> None:
        for page in PAGES:
            await user.open(page.path)
            await user.should_see(page.question, retries=PATIENCE)
            for words in SHOWN[page.path]:
                await user.should_see(words, retries=PATIENCE)

    visit(folder, walk)


def test_every_table_of_a_build_can_be_read_and_written(folder: Path) -> None:
    """The rows of those that have rows and one more; else the fields, also of a table that the build does not hold."""
    desk = Desk.open(folder)
    tables = [item for item in desk.describe() if item.kind in ("rows", "table")]
    assert {"tuning", "supply", "limits", "payload"} <= {item.key for item in tables if item.kind == "table"}

    async def walk(user: User) -> None:
        await user.open("/fields")
        await user.should_see("title", retries=PATIENCE)
        for item in tables:
            await user.should_see(item.key.replace("_", " "))
        for item in tables:
            await user.open(f"/fields?at={item.key}")
            if item.kind == "rows":
                await user.should_see("One more", retries=PATIENCE)
                for name in desk.rows(item.key)[:3]:
                    await user.should_see(name)
            else:
                for inner in desk.describe(item.key):
                    await user.should_see(inner.label, retries=PATIENCE)

    visit(folder, walk)


def test_a_document_is_made_beside_the_page_which_stays_live(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    on_the_page: list[bool] = []

    def slow(*_given: object) -> str:
        on_the_page.append(threading.current_thread() is threading.main_thread())
        return "<style></style><main>all the figures</main>"

    monkeypatch.setattr(power, "power_html", slow)

    async def walk(user: User) -> None:
        await user.open("/power")
        await user.should_see("The figures behind it", retries=PATIENCE)
        user.find("The figures behind it").click()
        await user.should_see("all the figures", retries=PATIENCE)

    visit(folder, walk)
    assert on_the_page == [False]


def test_a_build_that_was_just_begun_leads_to_what_each_stage_needs(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(MINIMAL, encoding="utf-8")

    async def walk(user: User) -> None:
        for path, words in (
            ("/survey", "Write survey: points"),
            ("/power", "Write supply"),
            ("/workshop", "Write payload"),
        ):
            await user.open(path)
            await user.should_see(words, retries=PATIENCE)
        await user.open("/tune")
        await user.should_see('Run "cabinwright tune" first', retries=PATIENCE)
        await user.should_not_see(str(tmp_path))
        user.find("Show the curves").click()
        await user.should_see("No curves yet: ", retries=PATIENCE)

    visit(tmp_path, walk)


@pytest.mark.parametrize(
    "value", [0.35, "35 cm", [0.1, "14 in"], {"boot": "open"}, [{"boot": "open"}, {"radio": "on"}]]
)
def test_what_is_shown_can_be_typed_again(value: object) -> None:
    assert typed("states" if "boot" in str(value) else "point", shown(value)) == value


def test_takes_that_cannot_be_judged_are_never_called_good(folder: Path) -> None:
    """A file that is listed and holds no sound stops the judging of all."""
    shutil.copytree(folder, broken := folder.parent / "broken")
    (broken / "recordings" / "left-tweeter_p1.flac").write_bytes(b"no sound")

    async def walk(user: User) -> None:
        await user.open("/recordings")
        await user.should_see("cannot be judged together", retries=PATIENCE)
        await user.should_not_see("Every take is there and good")

    visit(broken, walk)


@pytest.mark.parametrize(
    ("kind", "words", "value"),
    [
        ("number", "0.35", 0.35),
        ("number", "35 cm", "35 cm"),
        ("whole", "3", 3),
        ("point", '[0.1, "14 in", 1]', [0.1, "14 in", 1]),
        ("point", "left belt anchor", "left belt anchor"),
        ("text", "3", "3"),
        ("yes/no", "yes", True),
        ("list", "left tweeter, right tweeter", ["left tweeter", "right tweeter"]),
        ("list", "12, 24", [12, 24]),
        ("list", '["roof, front"]', ["roof, front"]),
        ("point", '1.7, -0.68, "14 in"', [1.7, -0.68, "14 in"]),
        ("states", "boot = open, radio = on", {"boot": "open", "radio": "on"}),
        ("states", '{boot = "open"}', {"boot": "open"}),
        ("number", "  ", None),
        ("number", "1\nother = 2", 1),
    ],
)
def test_what_is_typed_becomes_what_toml_holds(kind: str, words: str, value: object) -> None:
    assert typed(kind, words) == value
