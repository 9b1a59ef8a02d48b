"""A job at a glance, through every state; what was worked out is kept until a file changes; long work in a process of its own."""

from __future__ import annotations

import json
import pickle
from collections import OrderedDict
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from cabinwright.errors import MeanwhileError, PersonError
from cabinwright.office import bench, offers, overview, worked
from cabinwright.office.apart import apart, taken_over
from cabinwright.office.pricing import read_hours
from cabinwright.office.wishes import keep_wishes, read_wishes
from cabinwright.shop.bench import start, stop
from cabinwright.shop.jobs import FOLLOWS, step
from cabinwright.shop.rows import Hours
from cabinwright.shop.store import Store
from office import invented


def job_step(store: Store, job_id: int, to: str) -> None:
    count = overview.overview(store, job_id).count
    store.change(lambda work: step(work, job_id, to, count=count).id, by="olga")


def test_what_comes_next_from_the_first_word_to_the_closed_job(lite: Store, tmp_path: Path) -> None:
    """Each ``to`` is a state that the state machine lets follow."""
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"))

    def due() -> str:
        seen = overview.overview(lite, job_id)
        assert not seen.next.to or seen.next.to in FOLLOWS[seen.state]
        assert set(seen.follows) <= set(FOLLOWS[seen.state])
        json.dumps(seen.to_dict())
        return seen.next.key

    assert due() == "ask"
    keep_wishes(lite, job_id, {"taste": "fuller"}, count=overview.overview(lite, job_id).count, by="olga")
    assert due() == "draw up"
    hours = {kind: Decimal(2) for kind in ("wiring", "cutting", "tuning")}
    made = offers.draw_up(lite, job_id, {"as it is": tmp_path / "build"}, by="olga", hours=hours)
    assert due() == "offer"
    made = offers.offer(lite, made.id, count=made.count, by="olga")
    assert due() == "sign" and overview.overview(lite, job_id).agreed is None
    made = offers.accept(lite, made.id, "as it is", signed_by="Mara Invented", count=made.count, by="olga")
    seen = overview.overview(lite, job_id)
    assert (seen.next.key, seen.agreed) == ("begin", made.variants[0].total.gross)
    job_step(lite, job_id, "building")
    assert due() == "plan"
    rows = bench.plan_tasks(lite, job_id, by="olga")
    assert due() == "work" and overview.overview(lite, job_id).next.about["tasks"] == str(len(rows))
    for row in rows:
        if row.kind not in ("tuning", "handing over"):
            lite.change(
                lambda work, task=row.id: setattr(work.get(bench.Task, task), "done_at", bench_now()), by="olga"
            )
    assert due() == "prove"
    job_step(lite, job_id, "proving")
    for row in rows:
        lite.change(lambda work, task=row.id: setattr(work.get(bench.Task, task), "done_at", bench_now()), by="olga")
    assert due() == "verify"
    job_step(lite, job_id, "handed over")
    assert due() == "close"
    job_step(lite, job_id, "closed")
    assert due() == "over"


def bench_now() -> object:
    from cabinwright.shop.kinds import now

    return now()


def test_an_offer_that_ran_out_has_to_be_drawn_up_again(lite: Store, tmp_path: Path) -> None:
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"))
    made = offers.draw_up(lite, job_id, {"one": tmp_path / "build"}, by="olga", hours={"wiring": Decimal(1)})
    offers.offer(lite, made.id, count=made.count, by="olga")
    past = date.today() - timedelta(days=2)
    lite.change(lambda work: setattr(work.get(offers.Offer, made.id), "valid_until", past), by="olga")
    assert overview.overview(lite, job_id).next.key == "offer again"


def test_hours_by_kind_add_up_with_what_runs(lite: Store, tmp_path: Path) -> None:
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"))
    rows = bench.plan_tasks(lite, job_id, by="olga")
    task = next(row for row in rows if row.kind == "wiring")
    lite.change(lambda work: start(work, task.id).id, by="olga")

    def an_hour_ago(work: object) -> None:
        row = work.scalars(overview.select(Hours)).one()  # type: ignore[attr-defined]
        row.began_at -= timedelta(minutes=90)

    lite.change(an_hour_ago, by="olga")
    line = next(row for row in overview.overview(lite, job_id).hours if row.kind == "wiring")
    assert line.running == ("olga",) and line.spent_h == Decimal("1.50")
    lite.change(lambda work: bool(stop(work)), by="olga")
    line = next(row for row in overview.overview(lite, job_id).hours if row.kind == "wiring")
    assert line.running == () and line.spent_h == Decimal("1.50")
    planned = sum(row.planned_h for row in rows if row.kind == "taking out" and row.planned_h is not None)
    told = next(row for row in overview.overview(lite, job_id).hours if row.kind == "taking out")
    assert told.planned_h == planned


def test_a_job_is_changed_only_as_it_was_seen_and_only_to_a_real_build(lite: Store, tmp_path: Path) -> None:
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"))
    seen = overview.overview(lite, job_id)
    given = {"title": "Bay box alone", "promised_on": date(2027, 2, 1), "note": "keys in the drawer", "by": "olga"}
    with pytest.raises(PersonError, match=r"there is no build\.toml in it"):
        overview.set_job(lite, job_id, count=seen.count, folder=str(tmp_path), **given)
    overview.set_job(lite, job_id, count=seen.count, folder=str(tmp_path / "build"), **given)
    now = overview.overview(lite, job_id)
    assert (now.title, now.promised_on, now.note) == ("Bay box alone", date(2027, 2, 1), "keys in the drawer")
    with pytest.raises(MeanwhileError):
        overview.set_job(lite, job_id, count=seen.count, folder="", **given)


def test_what_was_worked_out_is_kept_until_something_it_read_changes(tmp_path: Path) -> None:
    place = invented.folder(tmp_path / "build")
    assert worked.known(place) is None
    found = worked.worked_out(place)
    assert worked.worked_out(place) is found and worked.known(place) is found
    (place / "out").mkdir()
    (place / "out" / "settings.json").write_text("{}", encoding="utf-8")
    assert worked.known(place) is None, "settings that are read were written"
    again = worked.worked_out(place)
    invented.folder(place, invented.TEXT.replace('volume_m3 = "25 L"', 'volume_m3 = "30 L"'))
    assert worked.known(place) is None and worked.worked_out(place) is not again
    for number in range(worked.MOST_KEPT):
        worked.remember({("other", number): found})
    assert len(worked._kept) == worked.MOST_KEPT and worked.known(place) is None


def test_long_work_can_be_sent_to_another_process_and_taken_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Through pickle both ways, as a process is given it; the journey in the browser has the processes themselves."""
    monkeypatch.setattr(bench, "worked_out", worked.worked_out)
    address, place = str(tmp_path / "shop"), invented.folder(tmp_path / "build")
    store = Store.open(address)
    job_id = invented.opened(store, place)
    sent = pickle.dumps(apart(address, [place], bench.plan_tasks, job_id, by="olga"))
    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(worked, "_kept", OrderedDict())
        told = pickle.dumps(pickle.loads(sent)(worked.unwatched))
    assert worked.known(place) is None
    rows = taken_over(pickle.loads(told))
    assert rows == bench.tasks(store, job_id) and rows
    found = worked.known(place)
    assert found is not None and found.content == (place / "build.toml").read_bytes()
    sent = pickle.dumps(apart(address, [place], bench.closing, job_id))
    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(worked, "_kept", OrderedDict())
        make = pickle.loads(sent)
        elsewhere.setattr(worked, "Line", None)  # nothing is worked out there: what is known here went along
        told = pickle.dumps(make(worked.unwatched))
    assert taken_over(pickle.loads(told)) == bench.closing(store, job_id)
    store.close()


@pytest.mark.parametrize(
    ("words", "told"),
    [("wiring 6.5\n\nclosing up: 2", {"wiring": Decimal("6.5"), "closing up": Decimal(2)}), ("", {})],
)
def test_hours_are_read_as_they_are_listed(words: str, told: dict[str, Decimal]) -> None:
    assert read_hours(words) == told


@pytest.mark.parametrize("words", ["wiring", "6.5", "wiring x", "wiring 1\nwiring 2", " 4"])
def test_hours_that_are_none_are_refused(words: str) -> None:
    with pytest.raises(PersonError):
        read_hours(words)


def test_what_is_kept_free_may_be_typed() -> None:
    """The oracle is the same volume as numbers."""
    typed = read_wishes({"keep_free": "pram: 2.9, -0.4, 0.3 to 3.6, 0.4, 0.9"})
    assert typed == read_wishes({"keep_free": [{"name": "pram", "low_m": [2.9, -0.4, 0.3], "high_m": [3.6, 0.4, 0.9]}]})
    with pytest.raises(PersonError, match="pram: 2"):
        read_wishes({"keep_free": "pram: 2.9 to 3.6"})


def test_a_bench_is_given_no_price(lite: Store, tmp_path: Path) -> None:
    """Every word of JSON is searched: no price, sum, tax or cost by name, and none of the figures."""
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"), wishes={"budget": "1234"})
    made = offers.draw_up(lite, job_id, {"one": tmp_path / "build"}, by="olga", hours={"wiring": Decimal(1)})
    told = json.dumps(made.to_dict(prices=False))
    for word in ("price", "gross", "net", "cost", "margin", "1234", "78", "210", str(made.variants[0].total.gross)):
        assert f'"{word}"' not in told, word
    owner = made.to_dict(costs=True)["variants"][0]
    parts = [line for line in made.variants[0].lines if line.cost is not None]
    paid = sum(line.quantity * line.cost for line in parts)
    assert abs(Decimal(owner["cost"]) - paid) <= Decimal("0.005"), "to the cent"
    assert Decimal(owner["margin"]) == made.variants[0].total.net - Decimal(owner["cost"])
