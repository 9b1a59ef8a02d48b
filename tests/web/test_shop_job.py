"""The pages of one job, without a browser: for each role, and what is refused."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Awaitable, Callable, Iterator
from decimal import Decimal
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from nicegui.testing import User
from nicegui.testing.user_interaction import UserInteraction
from nicegui.testing.user_simulation import user_simulation
from PIL import Image

from cabinwright.errors import PersonError
from cabinwright.office import bench, offers, overview, showcase, worked
from cabinwright.office.apart import Apart
from cabinwright.shop import bench as bench_rows
from cabinwright.shop import offers as rows
from cabinwright.shop.access import Person
from cabinwright.shop.offers import NewLine
from cabinwright.shop.people import allow
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from cabinwright.web.shop import add_shop, downloads
from cabinwright.web.shop.door import Door
from cabinwright.web.shop.long import away
from office import invented
from shop import invented as shop_invented
from web.conftest import visit_shop

NAMES = ("job", "wishes", "offers", "bench", "log", "returned")
HOURS = {kind: Decimal(2) for kind in ("taking out", "cutting", "assembling", "fitting", "wiring", "commissioning")}


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
        "bench": [
            "Take out boot carpet",
            "after Take out boot carpet",
            "ten inch bass",
            "0 of ",
            "Hidden joints",
            "Not in the library",
        ],
        "log": ["Main fuse", "1 photograph is chosen above."],
        "returned": ["What was done", "Before the car goes home"],
    }

    async def walk(user: User) -> None:
        for name, words in seen.items():
            await user.open(f"/shop/{name}?at=1")
            for part in words:
                await user.should_see(part, retries=100)

    visit(shop[0], Person("olga", "owner"), monkeypatch, walk)


def test_a_change_says_of_what_its_sum_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: two at 10.005 EUR are 20.01, with 19 % 23.81."""
    store = Store.open(str(tmp_path / "data"))
    job_id = invented.opened(store, invented.folder(tmp_path / "build"))
    line = NewLine("other", "clip", Decimal(1), "piece", Decimal("10.005"), "standard", Decimal("0.19"))

    def drawn(name: str, changes_id: int | None = None) -> offers.OfferView:
        variants = {name: ({"currency": "EUR", "mark": "of no build"}, [line])}
        given = {"job_id": job_id, "currency": "EUR", "valid_until": rows.today(), "changes_id": changes_id}
        return offers.view(
            store, store.change(lambda work: rows.add_offer(work, variants=variants, **given).id, by="olga")
        )

    base = drawn("one")
    base = offers.offer(store, base.id, count=base.count, by="olga")
    offers.accept(store, base.id, "one", signed_by="Mara Invented", count=base.count, by="olga")
    change = drawn("changes", base.id)

    async def walk(user: User) -> None:
        await user.open(f"/shop/offers?at={job_id}")
        await user.should_see("23.81 EUR with what was signed so far", retries=100)
        await user.should_see("Equal lines are added up before rounding")
        offers.offer(store, change.id, count=change.count, by="olga")
        await user.open(f"/shop/offers?at={job_id}")
        await user.should_see("23.81 EUR with what was signed until this was offered", retries=100)

    visit(str(tmp_path / "data"), Person("olga", "owner"), monkeypatch, walk)
    store.close()


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


def test_closing_up_asks_a_build_that_is_not_known_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The server works nothing out itself; what keeps the car open is told, and nothing is done."""
    store = Store.open(str(tmp_path / "data"))
    job = invented.opened(store, invented.folder(tmp_path / "build"))
    bench.plan_tasks(store, job, by="Ute")
    for row in bench.tasks(store, job):
        if row.kind not in ("closing up", "tuning", "handing over"):
            now = next(item for item in bench.tasks(store, job) if item.id == row.id)
            bench.finish(store, row.id, count=now.count, by="Ute")
    monkeypatch.setattr(worked, "_kept", type(worked._kept)())
    monkeypatch.setattr(worked, "Line", None)

    async def walk(user: User) -> None:
        await user.open(f"/shop/bench?at={job}")
        await user.should_see("Put back boot lining", retries=100)
        user.find("Done").click()
        await user.should_see("the car may not be closed up yet", retries=300)
        (where,) = user.find("the car may not be closed up yet").elements
        assert where.props["role"] == "alert", "refused, not done"

    visit(str(tmp_path / "data"), Person("Ute", "bench"), monkeypatch, walk)
    assert worked.known(tmp_path / "build") is not None, "kept, although it was refused"
    assert all(not row.done_at for row in bench.tasks(store, job) if row.kind == "closing up")
    store.close()


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


def test_two_jobs_whose_closing_up_is_called_alike_are_told_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both are pressed on “Today” before either is back; each is said by its job's number, and each tells its own end."""
    store = Store.open(str(tmp_path / "data"))
    place = invented.folder(tmp_path / "build")

    def make(work: Work) -> list[str]:
        jobs = [shop_invented.job(work, name=f"{name} Invented") for name in ("Mara", "Jonas")]
        for job in jobs:
            job.state, job.folder = "building", str(place)
            bench_rows.add_task(work, job_id=job.id, name="Put back boot lining", kind="closing up")
        return [job.number for job in jobs]

    numbers = store.change(make, by="Ute")
    started: list[SimpleNamespace] = []

    def work_of(prepared: object) -> SimpleNamespace:
        started.append(SimpleNamespace(state="running", progress=("reading", 0.1), told=None, error=""))
        return started[-1]

    async def walk(user: User) -> None:
        monkeypatch.setattr(import_module("cabinwright.desk"), "Work", work_of)
        await user.open("/shop")
        await user.should_see("Put back boot lining", retries=100)
        for task in user.find("Done").elements:
            UserInteraction(user, {task}, target=None).click()
        for number in numbers:
            await user.should_see(f"Checking {number} before Put back boot lining: reading", retries=100)
        assert len(started) == 2
        for work, words in zip(started, ("not yet: the first", ""), strict=True):
            work.state, work.told = "done", Apart(words, {})
            says = words or "Done: Put back boot lining."
            await user.should_see(says, retries=100)
            (where,) = user.find(says).elements
            assert where.props["role"] == ("alert" if words else "status")

    visit(str(tmp_path / "data"), Person("Ute", "bench"), monkeypatch, walk)
    store.close()
