"""Jobs and the bench: states by a machine, tasks in order, time, and customers that are told and erased."""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule
from PIL import Image
from sqlalchemy import event, select, text
from sqlalchemy.exc import OperationalError

from cabinwright.errors import MeanwhileError, PersonError, RefusedError
from cabinwright.shop import bench, jobs, people
from cabinwright.shop.access import add_user, admitted, known
from cabinwright.shop.files import FileStore, keep_file, keep_photograph, shown
from cabinwright.shop.kinds import now
from cabinwright.shop.people import add_car, allow, change_car, change_customer, erased, told
from cabinwright.shop.rows import Car, Customer, Hours, Job, Kept, Note, Offer, Row, Task, Trace
from cabinwright.shop.store import Store, held
from cabinwright.shop.trail import Work
from cabinwright.shop.words import found
from shop.invented import job


def offer(job_id: int, state: str, number: str = "P-1") -> Offer:
    return Offer(
        job_id=job_id, number=number, state=state, currency="EUR", valid_until=now().date(), signed_by="Mara Invented"
    )


def test_states_follow_only_what_they_may(tmp_path: Path) -> None:
    """A machine that tries any step at any time; what comes out is a path through the table, and has its papers."""
    store = Store.open(str(tmp_path))

    class Steps(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.job = store.change(job, by="x").id
            self.path, self.papers, self.open = ["asked"], set[str](), 0

        @rule(state=st.sampled_from(["offered", "accepted"]))
        def paper(self, state: str) -> None:
            self.papers.add(state)
            store.change(lambda work: work.add(offer(self.job, state, f"P-{self.job}-{random.random()}")), by="x")

        @rule()
        def task(self) -> None:
            store.change(lambda work: bench.add_task(work, job_id=self.job, name="cut", kind="wood"), by="x")
            self.open += 1

        @rule()
        def finish(self) -> None:
            def make(work):  # type: ignore[no-untyped-def]
                for row in work.scalars(select(Task).where(Task.job_id == self.job, Task.done_at.is_(None))):
                    bench.done(work, row.id, count=row.count)

            store.change(make, by="x")
            self.open = 0

        @rule(to=st.sampled_from(jobs.STATES))
        def step(self, to: str) -> None:
            with store.read() as work:
                count = work.get_one(Job, self.job).count
            may = to in jobs.FOLLOWS[self.path[-1]]
            papers = {"offered": "offered", "agreed": "accepted"}.get(to, "") in {"", *self.papers}
            try:
                store.change(lambda work: jobs.step(work, self.job, to, count=count), by="x")
            except RefusedError:
                assert not may or not papers or (to == "handed over" and self.open)
            else:
                assert may
                assert papers
                assert to != "handed over" or not self.open
                self.path.append(to)

    case = Steps.TestCase
    case.settings = settings(max_examples=15, stateful_step_count=25, deadline=None)
    case().runTest()
    store.close()


def test_a_folder_without_a_build_is_told_at_once(store: Store, tmp_path: Path) -> None:
    """On the bench where it is set; another bench may change the job though it does not see that folder."""
    with pytest.raises(PersonError, match=r"no build\.toml in it"):
        store.change(
            lambda work: jobs.add_job(work, car_id=job(work).car_id, title="x", folder=str(tmp_path)), by="owner"
        )
    (tmp_path / "build.toml").write_text("schema = 1\n", encoding="utf-8")
    made = store.change(
        lambda work: jobs.add_job(work, car_id=job(work).car_id, title="x", folder=str(tmp_path)), by="owner"
    )
    (tmp_path / "build.toml").unlink()
    same = {"title": "y", "folder": str(tmp_path)}
    store.change(lambda work: jobs.change_job(work, made.id, count=1, **same), by="bench")
    with pytest.raises(PersonError, match=r"no build\.toml in it"):
        other = {"title": "y", "folder": str(tmp_path / "other")}
        store.change(lambda work: jobs.change_job(work, made.id, count=2, **other), by="bench")


def test_tasks_come_after_what_they_wait_for(store: Store) -> None:
    def make(work):  # type: ignore[no-untyped-def]
        here = job(work)
        here.state = "building"
        wrap = bench.add_task(work, job_id=here.id, name="wrap", kind="trim")
        glue = bench.add_task(work, job_id=here.id, name="glue", kind="wood")
        cut = bench.add_task(work, job_id=here.id, name="cut", kind="wood")
        wire = bench.add_task(work, job_id=here.id, name="wire", kind="wiring")
        bench.link(work, glue.id, cut.id)
        bench.link(work, wrap.id, glue.id)
        return here.id, {row.name: row.id for row in (wrap, glue, cut, wire)}

    job_id, ids = store.change(make, by="owner")
    with store.read() as work:
        assert [row.name for row in bench.in_order(work, job_id)] == ["cut", "glue", "wrap", "wire"]
        assert {row.name for row in bench.ready(work)} == {"cut", "wire"}
    with pytest.raises(PersonError, match="wait for each other"):
        store.change(lambda work: bench.link(work, ids["cut"], ids["wrap"]), by="x")
    with pytest.raises(RefusedError, match="comes after cut"):
        store.change(lambda work: bench.done(work, ids["glue"], count=1), by="x")
    store.change(lambda work: bench.done(work, ids["cut"], count=1), by="Ute")
    with store.read() as work:
        assert {row.name for row in bench.ready(work)} == {"glue", "wire"}
        assert work.get_one(Task, ids["cut"]).done_by == "Ute"


def test_one_tap_starts_and_the_next_stops(store: Store) -> None:
    def make(work):  # type: ignore[no-untyped-def]
        here = job(work)
        return [bench.add_task(work, job_id=here.id, name=name, kind="wood").id for name in ("cut", "glue")]

    cut, glue = store.change(make, by="owner")
    store.change(lambda work: bench.start(work, cut), by="Ute")
    store.change(lambda work: bench.start(work, cut), by="Jo")
    store.change(lambda work: bench.start(work, glue), by="Ute")
    with store.read() as work:
        running = {(row.by, row.task_id) for row in work.scalars(select(Hours).where(Hours.ended_at.is_(None)))}
    assert running == {("Ute", glue), ("Jo", cut)}
    assert store.change(lambda work: bench.stop(work), by="Ute") is not None
    assert store.change(lambda work: bench.stop(work), by="Ute") is None


def test_the_shops_own_hours_with_their_spread(store: Store) -> None:
    hours = [2.0, 3.0, 5.0, 8.0, 20.0]

    def make(work):  # type: ignore[no-untyped-def]
        for number, spent in enumerate(hours):
            here = job(work, name=f"customer {number}")
            here.state = "closed"
            for share in (0.25, 0.75) if spent < 16 else (1.0,):
                work.add(
                    Hours(
                        job_id=here.id,
                        kind="wiring",
                        by="x",
                        began_at=now(),
                        ended_at=now() + timedelta(hours=spent * share),
                    )
                )
        open_ = job(work)
        work.add(Hours(job_id=open_.id, kind="wiring", by="x", began_at=now(), ended_at=now() + timedelta(hours=9)))

    store.change(make, by="owner")
    with store.read() as work:
        spread = bench.history_of(work, "wiring")
        assert spread is not None
        assert bench.history_of(work, "paint") is None
    assert spread.jobs == 4  # one of twenty hours was forgotten to stop
    np.testing.assert_allclose(
        (spread.low_h, spread.middle_h, spread.high_h), np.quantile(hours[:4], (0.1, 0.5, 0.9)), atol=1e-5
    )


def picture(width: int = 2400, height: int = 1200, *, exif: bool = True) -> bytes:
    """Left half red, right half blue, said by EXIF to be turned, with a place in it."""
    image = Image.new("RGB", (width, height), "red")
    image.paste("blue", (width // 2, 0, width, height))
    tags = Image.Exif()
    if exif:
        tags[0x0112] = 6  # Exif 2.3, Orientation: 6 is a quarter turn clockwise to show
        tags[0x010E] = "taken at home"
        tags.get_ifd(0x8825)[2] = (52.0, 30.0, 0.0)  # GPSLatitude
    out = io.BytesIO()
    image.save(out, "JPEG", exif=tags)
    return out.getvalue()


def test_the_copy_to_show_is_upright_small_and_says_nothing_else(tmp_path: Path) -> None:
    original = picture()
    assert b"taken at home" in original
    files = FileStore(tmp_path)
    mark, size, copy = keep_photograph(files, original, name="door.jpg")
    assert files.path(mark).read_bytes() == original
    assert size == len(original)
    with Image.open(files.path(copy)) as image:
        assert image.size == (800, 1600)
        assert not image.getexif()
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert image.getpixel((400, 100))[0] > 200  # red is up, once turned as it was held
        assert image.getpixel((400, 1500))[2] > 200
    assert b"taken at home" not in files.path(copy).read_bytes()


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"GIF89a\x01\x00\x01\x00\x00\x00\x00;", "no photograph"), (b"", "no photograph"), (b"<svg xmlns='x'/>", "no photograph"),
     (picture(64, 64)[:300], "damaged|no photograph"), (b"\x89PNG\r\n\x1a\n" + b"\x00" * 40, "damaged|no photograph")],
)  # fmt: skip
def test_what_is_no_photograph_is_told(content: bytes, words: str) -> None:
    with pytest.raises(PersonError, match=words):
        shown(content, name="x.jpg")


def test_a_picture_that_would_fill_the_memory_is_refused() -> None:
    out = io.BytesIO()
    Image.new("1", (12_000, 12_000)).save(out, "PNG")
    assert len(out.getvalue()) < 1_000_000
    with pytest.raises(PersonError, match=r"pixels|megapixels"):
        shown(out.getvalue(), name="bomb.png")


def test_names_of_files_never_lead_anywhere(store: Store) -> None:
    files = FileStore(store.files)
    mark, size = files.put(b"hello")
    row = store.change(
        lambda work: keep_file(work, mark, size, job_id=job(work).id, kind="document", name="../../etc\\passwd\n"),
        by="x",
    )
    assert row.name == "passwd"
    for bad in ("../x", "A" * 64, "", "a" * 63):
        with pytest.raises(ValueError, match="not a mark"):
            files.path(bad)


def test_a_customer_is_told_all_and_erased(store: Store) -> None:
    files = FileStore(store.files)
    mark, size, copy = keep_photograph(files, picture(200, 100), name="dash.jpg")

    def make(work):  # type: ignore[no-untyped-def]
        here = job(work, name="Mara Invented")
        work.get_one(Car, here.car_id).mark = "AB-123"
        work.add(offer(here.id, "accepted"))
        jobs.note(work, here.id, "Mara likes it loud")
        keep_file(work, mark, size, job_id=here.id, kind="photograph", name="dash.jpg", shown=copy)
        add_user(work, name="MaraLooks", role="guest", password="kick panels of felt", customer_id=1)
        return here

    here = store.change(make, by="owner")
    device = store.change(lambda work: admitted(work, name="MaraLooks", password="kick panels of felt"), by="login")
    assert device is not None
    store.change(lambda work: allow(work, 1, count=1, photographs=True, named=True), by="owner")
    with store.read() as work:
        all_ = told(work, 1)
        assert "Mara likes it loud" in str(all_)
        assert "AB-123" in str(all_)
        assert all_["files"][0]["mark"] == mark
        assert [(user["name"], user["password"]) for user in all_["users"]] == [("MaraLooks", "kept")]
    with pytest.raises(RefusedError, match="still open"):
        store.change(lambda work: erased(work, 1, count=2), by="owner")
    store.change(lambda work: jobs.step(work, here.id, "called off", count=here.count), by="owner")
    _, free = store.change(lambda work: erased(work, 1, count=2), by="owner")
    assert set(free) == {mark, copy}
    files.drop(free)
    assert not list(files.marks())
    with store.read() as work:
        assert work.get_one(Customer, 1).name == "erased on request (1)"
        assert known(work, device[1]) is None
    for name in ("MaraLooks", "erased on request (guest 1)"):
        assert store.change(lambda work, n=name: admitted(work, name=n, password=""), by="login") is None  # type: ignore[misc]
    again = {"count": 3, "name": "Mara again", "contact": "", "note": ""}
    with pytest.raises(RefusedError, match="was erased"):
        store.change(lambda work: change_customer(work, 1, **again), by="owner")
    for call in (
        lambda work: change_car(work, 1, count=2, name="x", mark="AB-123", note=""),
        lambda work: add_car(work, customer_id=1, name="another"),
    ):
        with pytest.raises(RefusedError, match="was erased"):
            store.change(call, by="owner")  # type: ignore[arg-type]
    with store.read() as work:
        assert not list(work.scalars(select(Note))) + list(work.scalars(select(Kept)))
        assert found(work, "mara") == ()
        everything = [*told(work, 1).values(), [(row.before, row.after) for row in work.scalars(select(Trace))]]
        for personal in ("Mara", "AB-123", "invalid", "dash.jpg"):
            assert personal not in str(everything)


def test_consent_that_is_taken_back_takes_pictures_off_the_site(store: Store) -> None:
    files = FileStore(store.files)
    mark, size, copy = keep_photograph(files, picture(200, 100), name="dash.jpg")

    def make(work):  # type: ignore[no-untyped-def]
        row = keep_file(work, mark, size, job_id=job(work).id, kind="photograph", name="dash.jpg", shown=copy)
        row.public = True
        allow(work, 1, count=1, photographs=True, named=False)

    store.change(make, by="owner")
    store.change(lambda work: allow(work, 1, count=2, photographs=False, named=True), by="owner")
    with store.read() as work:
        assert not work.scalars(select(Kept)).one().public
        assert not work.get_one(Customer, 1).named


def test_planned_hours_are_exact(store: Store) -> None:
    here = store.change(job, by="x")
    store.change(
        lambda work: bench.add_task(work, job_id=here.id, name="wire", kind="wiring", planned_h=Decimal("1.25")), by="x"
    )
    with store.read() as work:
        assert work.scalars(select(Task.planned_h)).one() == Decimal("1.25")


def test_what_is_known_of_a_customer_is_set_right(store: Store) -> None:
    store.change(lambda work: job(work).id, by="owner")
    given = {"name": " Mara  Reed ", "contact": "by letter", "note": ""}
    row = store.change(lambda work: change_customer(work, 1, count=1, **given), by="owner")
    assert (row.name, row.contact, row.count) == ("Mara Reed", "by letter", 2)
    for name in ("", " ", "x" * 201):
        with pytest.raises(PersonError, match="1 to 200"):
            store.change(lambda work, n=name: change_customer(work, 1, count=2, **{**given, "name": n}), by="x")  # type: ignore[misc]
    with pytest.raises(MeanwhileError, match="Changed by owner") as caught:
        store.change(lambda work: change_customer(work, 1, count=1, **{**given, "note": " at noon "}), by="x")
    assert caught.value.mine == {"name": "Mara Reed", "contact": "by letter", "note": "at noon"}
    assert caught.value.theirs["note"] == ""


@pytest.fixture
def wide(full: str, tmp_path: Path) -> Iterator[Store]:
    """A shop of one job where two write side by side: on PostgreSQL."""
    opened = Store.open(full, files=tmp_path / "files")
    opened.change(lambda work: job(work).id, by="owner")
    yield opened
    opened.close()


@pytest.fixture
def _rows_stay() -> Iterator[None]:
    """Rows that were read stay in the session, as they do where something still names them."""
    rows: list[Any] = []

    def keep(work: Work, row: Any) -> None:
        rows.append(row)

    event.listen(Work, "loaded_as_persistent", keep)
    yield
    event.remove(Work, "loaded_as_persistent", keep)


def _meanwhile(monkeypatch: pytest.MonkeyPatch, module: ModuleType, store: Store, words: str) -> None:
    """Another bench's change, committed just before ``module`` takes the row that it changes."""

    def late(*given: Any, **named: Any) -> Any:
        with store.engine.begin() as other:
            other.execute(text(words))
        return held(*given, **named)

    monkeypatch.setattr(module, "held", late)


@pytest.mark.usefixtures("_rows_stay")
@pytest.mark.parametrize(
    ("module", "table", "change"),
    [
        (people, "customers", lambda work: change_customer(work, 1, count=1, name="Mara", contact="", note="mine")),
        (people, "cars", lambda work: change_car(work, 1, count=1, name="x", mark="", note="mine")),
        (jobs, "jobs", lambda work: jobs.change_job(work, 1, count=1, title="x", folder="", note="mine")),
    ],
)
def test_a_change_in_the_last_moment_shows_both_versions(
    module: ModuleType, table: str, change: Callable[[Work], Row], wide: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    _meanwhile(monkeypatch, module, wide, f"UPDATE {table} SET note = 'theirs', count = count + 1")
    with pytest.raises(MeanwhileError) as caught:
        wide.change(change, by="Ute")
    assert caught.value.theirs["note"] == "theirs" and caught.value.mine["note"] == "mine"


@pytest.mark.parametrize(
    "change",
    [
        lambda work: add_car(work, customer_id=1, name="another"),
        lambda work: change_car(work, 1, count=1, name="x", mark="AB-123", note=""),
    ],
)
def test_nobody_is_erased_while_a_car_of_theirs_is_written(change: Callable[[Work], Row], wide: Store) -> None:
    def make(work: Work) -> None:
        change(work)
        with wide.engine.connect() as other, pytest.raises(OperationalError, match="could not obtain lock"):
            other.execute(text("SELECT id FROM customers FOR NO KEY UPDATE NOWAIT"))  # as a change of the row takes it

    wide.change(make, by="Ute")


def test_what_is_known_of_a_car_is_set_right_and_found_again(store: Store) -> None:
    store.change(lambda work: job(work).id, by="owner")
    given = {"name": " blue  van ", "mark": " XY  123", "note": "two keys"}
    row = store.change(lambda work: change_car(work, 1, count=1, **given), by="Ute")
    assert (row.name, row.mark, row.note, row.count) == ("blue van", "XY 123", "two keys", 2)
    with store.read() as work:
        assert [hit.ref for hit in found(work, "xy 123", kind="car")] == [1] and not found(work, "grey", kind="car")
        last = work.scalars(select(Trace).where(Trace.subject == "cars").order_by(Trace.id.desc())).first()
        assert last is not None and (last.by, last.before["name"]) == ("Ute", "grey estate")
    for field, words, says in (("name", " ", "1 to 200"), ("mark", "x" * 41, "40 characters")):
        with pytest.raises(PersonError, match=says):
            store.change(lambda work, f=field, w=words: change_car(work, 1, count=2, **{**given, f: w}), by="x")  # type: ignore[misc]
    with pytest.raises(MeanwhileError, match="Changed by Ute") as caught:
        store.change(lambda work: change_car(work, 1, count=1, **{**given, "note": "one key"}), by="x")
    assert (caught.value.theirs["note"], caught.value.mine["note"]) == ("two keys", "one key")
    with pytest.raises(PersonError, match="no car 7"):
        store.change(lambda work: change_car(work, 7, count=1, **given), by="x")
