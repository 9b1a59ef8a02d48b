"""Tasks and their order from the build; the commissioning sheet filled in; the car closed up only when all is done and shown."""

from __future__ import annotations

import io
import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.sparse.csgraph import shortest_path

from cabinwright.errors import PersonError, RefusedError
from cabinwright.office import bench, showcase
from cabinwright.office.plan import Planned, planned
from cabinwright.office.worked import worked_out
from cabinwright.shop.bench import add_task
from cabinwright.shop.rows import Job
from cabinwright.shop.store import Store
from office import invented

DEMO = Path(__file__).parents[2] / "demo" / "build"


def opened(store: Store, tmp_path: Path, text: str = invented.TEXT) -> int:
    job_id = invented.opened(store, invented.folder(tmp_path / "build", text))
    store.change(lambda work: setattr(work.get(Job, job_id), "state", "building"), by="olga")
    return job_id


class Ways:
    """What has to be done before what, through any number of tasks, by SciPy's shortest paths."""

    def __init__(self, rows: tuple[Planned, ...]) -> None:
        self.place = {row.name: number for number, row in enumerate(rows)}
        steps = np.zeros((len(rows), len(rows)))
        for row in rows:
            for before in row.after:
                steps[self.place[before], self.place[row.name]] = 1.0
        self.far = shortest_path(steps, unweighted=True)

    @property
    def circle(self) -> bool:
        """Whether two tasks wait for each other."""
        there = np.isfinite(self.far) & (self.far > 0)
        return bool((there & there.T).any())

    def lead(self, one: str, other: str) -> bool:
        return bool(np.isfinite(self.far[self.place[one], self.place[other]]))


def photograph() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(out, "JPEG")
    return out.getvalue()


def test_the_order_is_one_that_can_be_worked(tmp_path: Path) -> None:
    """Held against SciPy's paths through the same graph, and against what anyone at a bench knows."""
    found = worked_out(invented.folder(tmp_path / "build"))
    rows = planned(found.build, found.results)
    ways = Ways(rows)
    assert not ways.circle
    assert len({row.name for row in rows}) == len(rows)
    order = [
        "Take out boot carpet",
        "Take out boot lining",
        "Lay the harness",
        "Join at main out",
        "Connect what the harness feeds",
        "Commissioning: before power",
        "Commissioning: first power",
        "Commissioning: under load",
        "Put back boot lining",
        "Put back boot carpet",
        "Hand over with the book",
    ]
    for one, other in pairwise(order):
        assert ways.lead(one, other), (one, other)
    assert ways.lead("Cut cover", "Fit cover") and ways.lead("Fit cover", "Put back boot lining")
    assert not ways.lead("Take out boot carpet", "Cut cover")  # cut while the car is still whole


def test_jigs_boxes_and_mounts_of_the_demo(tmp_path: Path) -> None:
    found = worked_out(invented.folder(tmp_path / "demo", _demo()))
    tasks = planned(found.build, found.results)
    rows, ways = {row.name: row for row in tasks}, Ways(tasks)
    assert not ways.circle
    for one, other in (
        ("Cut drill for midbass", "Fit left midbass ring"),
        ("Cut spare-wheel bay", "Put together spare-wheel bay"),
        ("Put together spare-wheel bay", "Fit spare-wheel bay"),
        ("Fit spare-wheel bay", "Fix bay box to the floor"),
        ("Fit spare-wheel bay", "Fit loudspeaker subwoofer"),
    ):
        assert ways.lead(one, other), (one, other)
    hidden = {name for name, row in rows.items() if row.hidden}
    assert {"Put together spare-wheel bay", "Lay the harness", "Fix bay box to the floor"} <= hidden


def _demo() -> str:
    """The demo without what is slow and makes no task: recordings, places and captures."""
    text = (DEMO / "build.toml").read_text(encoding="utf-8")
    tables = re.split(r"(?m)^(?=\[)", text)
    gone = ("[[recordings]]", "[[verification_recordings]]", "[[factory_recordings]]", "[[impedance_curves]]")
    named = tuple(f'[[places]]\nname = "{name}"\n' for name in ("left midbass", "left tweeter"))
    kept = (table for table in tables if not table.startswith("[[places]]") or table.startswith(named))
    return "".join(table for table in kept if not table.startswith(gone))


def test_tasks_are_added_once_and_a_persons_own_stay(store: Store, tmp_path: Path) -> None:
    job_id = opened(store, tmp_path)
    own = store.change(lambda work: add_task(work, job_id=job_id, name="Wash the car", kind="other").id, by="bo")
    first = bench.plan_tasks(store, job_id, by="bo")
    assert bench.plan_tasks(store, job_id, by="bo") == first and own in {row.id for row in first}
    assert first == bench.tasks(store, job_id)
    done: set[str] = set()
    for row in first:
        assert set(row.after) <= done
        done.add(row.name)
    now = {row.name for row in bench.today(store)}
    assert {"Wash the car", "Take out boot carpet", "Cut cover", "Cut and crimp the harness"} <= now
    assert not now & {"Take out boot lining", "Fit cover", "Put back boot lining"}
    carpet = next(row for row in first if row.name == "Take out boot carpet")
    assert str(carpet.planned_h) in ("0.05", "0.0500")  # 3 minutes
    bench.finish(store, carpet.id, count=carpet.count, by="bo")
    assert "Take out boot lining" in {row.name for row in bench.today(store)}
    fit = next(row for row in first if row.name == "Fit cover")
    with pytest.raises(RefusedError, match="comes after"):
        bench.finish(store, fit.id, count=fit.count, by="bo")


def test_readings_pass_or_fail_by_the_sheets_own_bounds(store: Store, tmp_path: Path) -> None:
    job_id = opened(store, tmp_path)
    rows = bench.sheet(store, job_id)
    assert (
        rows
        and all(row.ok is None and row.reading == "" for row in rows)
        and len({row.key for row in rows}) == len(rows)
    )
    volts = next(row for row in rows if row.unit == "V" and " to " in row.passes)
    low, high = (float(word.split()[0]) for word in volts.passes.split(" to "))
    for value, ok in (
        (f"{(low + high) / 2}", True),
        (f"{high + 0.1:.2f} V", False),
        (f"{low:.2f}".replace(".", ","), True),
    ):
        read = bench.read_off(store, job_id, volts.key, value, by="bo")
        assert (read.ok, read.by) == (ok, "bo")
    assert next(row for row in bench.sheet(store, job_id) if row.key == volts.key).ok is True  # the last counts
    assert sum("V" in row.words for row in showcase.diary(store, job_id)) == 3  # none is lost
    seen = next(row for row in rows if not row.unit)
    assert bench.read_off(store, job_id, seen.key, "not  seen", by="bo").ok is False
    for key, value, words in (
        (seen.key, "12 V", "has to be seen"),
        (volts.key, "seen", "a number in V"),
        (volts.key, "nan", "a number"),
        (volts.key, "1e300", "a number"),
        ("0" * 12, "1", "no line"),
    ):
        with pytest.raises(PersonError, match=words):
            bench.read_off(store, job_id, key, value, by="bo")


def test_the_car_is_closed_up_only_when_all_is_done_and_shown(store: Store, tmp_path: Path) -> None:
    job_id = opened(store, tmp_path)
    rows = bench.plan_tasks(store, job_id, by="bo")
    last = next(row for row in rows if row.name == "Put back boot lining")
    left = bench.closing(store, job_id)
    assert not left.ready and left.unread and left.unphotographed and left.undone and not left.stops
    with pytest.raises(RefusedError, match="may not be closed up"):
        bench.finish(store, last.id, count=last.count, by="bo")
    for row in bench.tasks(store, job_id):
        if row.kind not in ("closing up", "tuning", "handing over"):
            fresh = next(item for item in bench.tasks(store, job_id) if item.id == row.id)
            bench.finish(store, row.id, count=fresh.count, by="bo")
    for line in bench.sheet(store, job_id):
        value = "seen"
        if line.unit:
            first, _, second = line.passes.partition(" to ")
            value = (second or first).removeprefix("up to ").removeprefix("at least ").split()[0]
            scale = 1000.0 if "kΩ" in line.passes else 0.001 if "mΩ" in line.passes else 1.0
            value = f"{float(value) * scale:g}"
        assert bench.read_off(store, job_id, line.key, value, by="bo").ok, (line, value)
    left = bench.closing(store, job_id)
    assert not left.ready and set(left.unphotographed) == {row.name for row in rows if row.hidden}
    assert not (left.unread or left.failed or left.undone or left.stops)
    for row in rows:
        if row.hidden:
            showcase.add_photograph(
                store, job_id, photograph(), name="p.jpg", by="bo", task_id=row.id, words="as it lies"
            )
    assert bench.closing(store, job_id).ready
    fresh = next(item for item in bench.tasks(store, job_id) if item.id == last.id)
    assert bench.finish(store, last.id, count=fresh.count, by="bo").done_by == "bo"


def test_an_open_stop_keeps_the_car_open(lite: Store, tmp_path: Path) -> None:
    """A fuse far too large for its wire is a stop of the power stage; a place without a loudspeaker stops nobody."""
    text = invented.TEXT.replace("rating_a = 100", "rating_a = 400")
    assert bench.closing(lite, opened(lite, tmp_path, text)).stops
    airbag = """
[[cabin.keep_outs]]
name = "curtain airbag"
kind = "airbag path"
corners_m = [[0.4, -0.8, 0.7], [0.8, -0.8, 0.7], [0.4, -0.4, 0.7], [0.4, -0.8, 1.1], [0.8, -0.4, 1.1]]
"""
    path = invented.folder(tmp_path / "airbag", invented.TEXT + airbag)
    (stop,) = bench.closing(lite, 1, path).stops
    assert "curtain airbag" in stop
    spare = invented.TEXT.replace('[[speakers]]\nname = "left pillar"', '[[speakers]]\nname = "another"')
    spare = spare.replace('side = "left"\nposition_m = [0.6, -0.6, 0.9]\nmodel', 'side = "left"\nmodel')
    assert bench.closing(lite, 1, invented.folder(tmp_path / "spare", spare + airbag)).stops == ()


def test_missing_parts_are_what_the_shelf_lacks(store: Store, tmp_path: Path) -> None:
    from decimal import Decimal

    from cabinwright.shop.parts import move
    from cabinwright.shop.rows import Need

    job_id = opened(store, tmp_path)

    def need(work: object) -> None:
        for part_id, quantity in ((1, "2"), (4, "3.5")):
            work.add(Need(job_id=job_id, part_id=part_id, quantity=Decimal(quantity)))  # type: ignore[attr-defined]
        move(work, 1, Decimal(2), "received")  # type: ignore[arg-type]
        move(work, 4, Decimal("1.5"), "received")  # type: ignore[arg-type]

    store.change(need, by="bo")
    (row,) = bench.missing_parts(store, job_id)
    assert (row.number, row.needed, row.there, row.unit) == ("W-4", Decimal("3.5"), Decimal("1.5"), "m")


@pytest.mark.parametrize(
    ("words", "kept"),
    [("10k", "10000 Ω"), ("0,2", "0.2 Ω"), ("200 mΩ", "0.2 Ω"), ("1.5 MΩ", "1.5e+06 Ω"), ("50 Ω", "50 Ω")],
)
def test_a_reading_is_taken_as_the_meter_shows_it(lite: Store, tmp_path: Path, words: str, kept: str) -> None:
    """Prefixes as the SI brochure has them."""
    job_id = opened(lite, tmp_path)
    line = next(row for row in bench.sheet(lite, job_id) if row.unit == "Ω")
    assert bench.read_off(lite, job_id, line.key, words, by="olga").reading == kept
    for wrong in ("k", "m", "10 kV", "ten", "1 k k"):
        with pytest.raises(PersonError, match="a number in Ω is wanted"):
            bench.read_off(lite, job_id, line.key, wrong, by="olga")
