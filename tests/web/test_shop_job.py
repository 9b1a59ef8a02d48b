"""The pages of one job: without a browser for each role; in Chromium from a wish to a signed proposal to a closed job."""

from __future__ import annotations

import asyncio
import io
import os
import re
from collections.abc import Awaitable, Callable, Iterator
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from nicegui.testing import User
from nicegui.testing.user_simulation import user_simulation
from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from cabinwright.errors import PersonError
from cabinwright.office import bench, offers, overview, showcase, worked
from cabinwright.shop.access import Person
from cabinwright.shop.people import allow
from cabinwright.shop.store import Store
from cabinwright.web.shop import add_shop, downloads
from cabinwright.web.shop.door import Door
from cabinwright.web.shop.long import away
from office import invented
from web.conftest import chromium, opened, visit_shop
from web.test_journeys import FLAGS
from web.usable import PHONE, RULES

BROWSER = chromium()
NAMES = ("job", "wishes", "offers", "bench", "log", "returned")
HOURS = {kind: Decimal(2) for kind in ("taking out", "cutting", "assembling", "fitting", "wiring", "commissioning")}
WAIT_MS = 20_000
SHOTS = os.environ.get("SHOTS", "")  #: a folder, to look at what the journey passes


def photograph(size: tuple[int, int] = (320, 240), kind: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "teal").save(out, kind)
    return out.getvalue()


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """A shop whose one job was signed and planned; its address and the build's folder."""
    place = tmp_path_factory.mktemp("shop")
    folder = invented.folder(place / "build")
    store = Store.open(str(place / "data"))
    job = invented.opened(store, folder, wishes={"taste": "fuller", "budget": "4321"})
    made = offers.draw_up(store, job, {"as planned": folder}, by="olga", hours=HOURS)
    made = offers.offer(store, made.id, count=made.count, by="olga")
    offers.accept(store, made.id, "as planned", signed_by="Mara Invented", count=made.count, by="olga")
    bench.plan_tasks(store, job, by="olga")
    entry = showcase.add_photograph(store, job, photograph(), name="a.jpg", by="Ute", words="Main fuse")
    store.change(lambda work: allow(work, 1, photographs=True, named=False, count=1).id, by="olga")
    showcase.allow_on_page(store, entry.id, True, count=entry.count, by="Ute")
    store.close()
    yield str(place / "data"), folder


def visit(
    address: str, person: Person, monkeypatch: pytest.MonkeyPatch, walk: Callable[[User], Awaitable[None]]
) -> None:
    """One person's walk through the shop."""
    monkeypatch.setattr(Door, "person", lambda self, mark, *, here: person)

    visit_shop(address, walk)


def test_each_page_has_its_answer_for_the_owner(shop: tuple[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    worked.worked_out(shop[1])
    seen = {
        "job": ["It is signed.", "Begin to build", "Agreed", "taking out"],
        "wishes": ["tuning.house_curve", "it shall sound fuller", "it costs 4321 at most", "Write it into the build"],
        "offers": ["Margin", "Against the wishes", "Price a change", "As it was signed"],
        "bench": ["Take out boot carpet", "after Take out boot carpet", "ten inch bass", "0 of ", "Hidden joints"],
        "log": ["Main fuse", "1 photograph is chosen above."],
        "returned": ["What was done", "No verification was kept"],
    }

    async def walk(user: User) -> None:
        for name, words in seen.items():
            await user.open(f"/shop/{name}?at=1")
            for part in words:
                await user.should_see(part, retries=100)

    visit(shop[0], Person("olga", "owner"), monkeypatch, walk)


def test_a_bench_is_shown_the_work_and_no_price(shop: tuple[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """Oracle: the sums of the signed proposal, as the office has them, stand nowhere; nor the budget that was wished."""
    store = Store.open(shop[0])
    total = offers.agreed(store, 1).total
    store.close()

    async def walk(user: User) -> None:
        for name in ("job", "offers", "bench"):
            await user.open(f"/shop/{name}?at=1")
            await user.should_see("Front stage and bay box", retries=100)
            for figure in (f"{total.gross:.2f}", f"{total.net:.2f}", "4321", "Margin", "Price a change", "On paper"):
                await user.should_not_see(figure)
        for path in ("/shop/offer.pdf?at=1", "/shop/offer.pdf?at=99"):
            assert (await user.http_client.get(path)).status_code == 403

    visit(shop[0], Person("Ute", "bench"), monkeypatch, walk)


def test_a_guest_is_shown_their_own_job_and_nothing_of_the_bench(
    shop: tuple[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    async def own(user: User) -> None:
        await user.open("/shop/offers?at=1")
        for words in ("On paper, A4", "Not in this price"):
            await user.should_see(words, retries=100)
        for words in ("Margin", "Price a change", "The shop pays"):
            await user.should_not_see(words)
        await user.open("/shop/bench?at=1")
        await user.should_see("may not do this", retries=100)
        paper = await user.http_client.get("/shop/offer.pdf?at=1&paper=A4")
        assert paper.content.startswith(b"%PDF")
        assert (await user.http_client.get("/shop/book.pdf?at=1")).status_code == 403
        sent = await user.http_client.post("/shop/photographs?at=1&name=a.jpg", content=photograph())
        assert sent.status_code == 422 and "may not do this" in sent.text

    async def other(user: User) -> None:
        for path in ("/shop/offer.pdf?at=1", "/shop/photograph?at=1"):
            assert (await user.http_client.get(path)).status_code == 403
        await user.open("/shop/offers?at=1")
        await user.should_see("There is no job 1", retries=100)

    visit(shop[0], Person("Mara", "guest", 3, customer_id=1), monkeypatch, own)
    visit(shop[0], Person("Jonas", "guest", 4, customer_id=77), monkeypatch, other)


def test_a_press_is_asked_anew_who_it_is_from(shop: tuple[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that an owner opened does nothing for whoever they have become meanwhile; nothing is changed."""
    now = [Person("olga", "owner")]
    monkeypatch.setattr(Door, "person", lambda self, mark, *, here: now[0])

    async def whole() -> None:
        async with user_simulation(root=lambda: None) as user:
            door = Door(shop[0])
            add_shop(door)
            await user.open("/shop/job?at=1")
            await user.should_see("Begin to build", retries=100)
            now[0] = Person("Mara", "guest", 3, customer_id=1)
            user.find("Begin to build").click()
            await user.should_see("may not do this", retries=100)
            assert overview.overview(door.store, 1).state == "agreed"
            door.close()

    asyncio.run(whole())
    bench_now: Any = SimpleNamespace(person=Person("Ute", "bench"))
    for call in (offers.draw_up, offers.change_offer):
        with pytest.raises(PersonError, match="owner"):
            away(bench_now, [], call, 1, needs="price")


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


HOSTILE = [
    ("drawing.jpg", SVG, "Use JPEG, PNG, WebP or TIFF"),
    ("half.jpg", photograph()[:300], "Copy it from the camera again"),
    ("empty.jpg", b"", "Use JPEG, PNG, WebP or TIFF"),
    ("page.png", b"\x89PNG\r\n\x1a\n" + b"<html>" * 50, "Use JPEG"),
    ("moving.gif", photograph(kind="GIF"), "Use JPEG, PNG, WebP or TIFF"),
]


def test_what_is_no_photograph_too_large_or_too_many_is_refused_with_its_cure(
    shop: tuple[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limits are made small; nothing of what is refused is kept, not even beside the database."""
    files = Path(shop[0]) / "files"
    before = sorted(files.rglob("*"))

    async def walk(user: User) -> None:
        async def send(name: str, content: bytes, job: int = 1) -> str:
            told = await user.http_client.post(f"/shop/photographs?at={job}&name={name}", content=content)
            assert told.status_code == 422 and name in told.text
            assert told.headers["content-type"].startswith("text/plain"), "what came in is never shown as a page"
            return told.text

        for name, content, cure in HOSTILE:
            assert cure in await send(name, content), name
        monkeypatch.setattr(downloads, "LARGEST_PHOTOGRAPH", 1000)
        assert "Make it smaller" in await send("large.jpg", photograph((900, 900)))
        monkeypatch.setattr(downloads, "LARGEST_PHOTOGRAPH", 10**6)
        monkeypatch.setattr(showcase, "MOST_PHOTOGRAPHS", 1)
        assert "1 photographs already" in await send("more.jpg", photograph())

    visit(shop[0], Person("Ute", "bench"), monkeypatch, walk)
    assert sorted(files.rglob("*")) == before


# In Chromium


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Path, Path]]:
    """A served shop with a job that was only asked for: its address here, its data and the job's build."""
    data, folder = tmp_path / "data", invented.folder(tmp_path / "build")
    store = Store.open(str(data))
    invented.opened(store, folder)
    store.change(lambda work: allow(work, 1, photographs=True, named=False, count=1).id, by="olga")
    store.close()
    running, address = opened("shop", "open", "--port", "0", "--database", str(data))
    yield address.rsplit("/", 1)[0], data, folder
    running.terminate()
    running.communicate(timeout=20)


class Walk:
    """One page in a browser, and what is told on it."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address, self.number = page, address, 0

    def to(self, name: str) -> None:
        self.page.goto(f"{self.address}/shop/{name}?at=1")
        self.page.wait_for_selector(".content.drawn", timeout=WAIT_MS)

    def press(self, words: str, said: str = "") -> None:
        self.page.get_by_role("button", name=words).first.click()
        if said:
            self.said(said)

    def said(self, words: str) -> None:
        expect(self.page.locator(".said")).to_contain_text(words, timeout=WAIT_MS)

    def fold(self, words: str) -> None:
        self.page.locator("summary", has_text=words).first.click()

    def judged(self, name: str) -> None:
        """By axe-core, everything unfolded; nothing may scroll sideways on a phone."""
        unfold = "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
        self.page.evaluate(unfold)
        found: list[dict[str, Any]] = (
            Axe().run(self.page, options={"runOnly": {"type": "tag", "values": RULES}}).response["violations"]
        )
        assert not found, [(item["id"], item["nodes"][0]["html"]) for item in found]
        self.page.set_viewport_size(PHONE)
        assert self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
        self.page.set_viewport_size({"width": 1280, "height": 900})
        if SHOTS:
            self.number += 1
            self.page.screenshot(path=f"{SHOTS}/{self.number:02d}-{name}.png", full_page=True)


@pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
def test_from_a_wish_to_a_signed_proposal_to_a_closed_job(served: tuple[str, Path, Path], tmp_path: Path) -> None:
    address, data, folder = served
    (tmp_path / "drawing.jpg").write_bytes(SVG)
    for number in range(2):
        (tmp_path / f"joint {number}.jpg").write_bytes(photograph((400 + number, 300)))
    with sync_playwright() as made:
        running = made.chromium.launch(executable_path=BROWSER, args=FLAGS)
        page = running.new_page(viewport={"width": 1280, "height": 900}, accept_downloads=True)
        page.set_default_timeout(WAIT_MS)
        walk = Walk(page, address)
        wish(walk, folder)
        propose(walk)
        build(walk, data, tmp_path)
        close(walk)
        running.close()
    store = Store.open(str(data))
    seen = overview.overview(store, 1)
    assert (seen.state, seen.tasks_done) == ("closed", seen.tasks)
    assert offers.whole(store, 1) and seen.later
    store.close()


def wish(walk: Walk, folder: Path) -> None:
    page, before = walk.page, (folder / "build.toml").read_bytes()
    walk.to("wishes")
    page.get_by_text("more bass").click()
    page.get_by_label("Which seats count?").fill("driver")
    page.get_by_label("What may it cost at most").fill("9000")
    walk.press("Keep the answers", "Kept with the job.")
    expect(page.get_by_role("cell", name="it shall sound fuller")).to_be_visible()
    assert (folder / "build.toml").read_bytes() == before, "nothing is written before it is said"
    walk.press("Write it into the build", "Written into the build.")
    assert b"house_curve" in (folder / "build.toml").read_bytes()
    walk.press("Take back what was written", "Taken back.")
    assert (folder / "build.toml").read_bytes() == before
    walk.press("Write it into the build", "Written into the build.")


def propose(walk: Walk) -> None:
    page = walk.page
    walk.to("offers")
    kinds = "\n".join(f"{kind} 2" for kind in HOURS)
    page.get_by_label("Hours").fill(kinds)
    walk.press("Draw it up", "is drawn up.")
    expect(page.locator(".variant .figure")).to_have_count(1)
    price = page.locator(".variant .figure").inner_text()
    walk.fold("Change the lines")
    page.get_by_label("What", exact=True).fill("Drawings for the customer")
    page.get_by_label("Price of one, without tax").fill("100")
    walk.press("Keep the line", "Kept.")
    expect(page.locator(".variant .figure")).not_to_have_text(price)
    walk.press("Offer it", "Offered.")
    with page.expect_download() as held:
        page.get_by_role("link", name="On paper, A4").click()
    assert Path(held.value.path()).read_bytes().startswith(b"%PDF")
    page.get_by_label("Name of who signs").fill("Mara Invented")
    walk.press("It is signed", "Signed.")
    expect(page.get_by_text("As it was signed, under the mark")).to_be_visible()
    walk.judged("signed")
    walk.to("job")
    walk.press("Begin to build", "is building now.")


def build(walk: Walk, data: Path, files: Path) -> None:
    page = walk.page
    walk.to("bench")
    walk.press("Plan the tasks from the build", "on the list now.")
    walk.press("Start my time", "Your time runs.")
    walk.press("Stop my time", "Stopped.")
    walk.to("log")
    page.get_by_label("Pictures").set_input_files([files / "drawing.jpg", files / "joint 0.jpg"])
    walk.press("Keep the photographs", "1 photograph was kept.")
    expect(page.locator("[role=alert]")).to_contain_text("drawing.jpg: no photograph that can be read. Use JPEG")
    expect(page.locator(".album img")).to_have_count(1)
    assert page.locator(".album img").evaluate("(one) => one.decode().then(() => one.naturalWidth)") == 400
    walk.press("Show on the shop's page", "It will be on the page.")
    page.get_by_label("Its title").fill("Two pillars")
    with page.expect_download() as held:
        walk.press("Make the page")
    assert b"Two pillars" in Path(held.value.path()).read_bytes()
    at_the_bench(data)
    walk.to("bench")
    expect(page.get_by_text("Yes: nothing is left.")).to_be_visible()
    walk.judged("bench")
    for name in ("Put back boot lining", "Put back boot carpet", "Hand over with the book"):
        walk.press(f"Done: {name}", f"Done: {name}.")
    expect(page.get_by_text("Every task is done.")).to_be_visible()


def at_the_bench(data: Path) -> None:
    """What a pair of hands does meanwhile: everything but closing up and what follows it, through the office."""
    store = Store.open(str(data))
    for row in bench.tasks(store, 1):
        if row.hidden and not row.photographs:
            showcase.add_photograph(store, 1, photograph(), name="h.jpg", by="Ute", task_id=row.id)
    for line in bench.sheet(store, 1):
        bound = re.search(r"(\d+(?:\.\d+)?)\D*$", line.passes)  # a bound itself passes
        value = bound.group(0) if bound is not None and line.unit else "seen"
        bench.read_off(store, 1, line.key, value, by="Ute")
    for row in bench.tasks(store, 1):
        now = next(item for item in bench.tasks(store, 1) if item.id == row.id)
        if row.kind not in ("closing up", "tuning", "handing over"):
            bench.finish(store, row.id, count=now.count, by="Ute")
    store.close()


def close(walk: Walk) -> None:
    page = walk.page
    walk.to("job")
    walk.press("Go on to proving", "is proving now.")
    walk.press("Hand it over", "is handed over now.")
    walk.press("Close the job", "is closed now.")
    walk.to("returned")
    page.get_by_label("What it comes for").fill("A rattle")
    walk.press("Open a job for it", "Opened.")
