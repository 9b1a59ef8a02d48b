"""A car comes back: what was done, what drifted between two verifications, what is still to be had.

Drift is decided here a second time by plain Python over the bands.
"""

from __future__ import annotations

import itertools
import json
import math
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.errors import PersonError, RefusedError
from cabinwright.office import bench, offers, returns
from cabinwright.office.returns import Verified
from cabinwright.shop.files import FileStore, keep_file
from cabinwright.shop.parts import move
from cabinwright.shop.rows import Job, Part
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from office import invented

BANDS = tuple(float(value) for value in 1000.0 * 2.0 ** (np.arange(-12, 13) / 3.0))


def outcome(change: dict[int, float] | None = None, *, causes: tuple[str, ...] = ()) -> Verified:
    measured = tuple((change or {}).get(number, 0.0) for number in range(len(BANDS)))
    return Verified(
        "", not change, "as predicted", causes, BANDS, {"left side": measured}, {"left side": (1.5,) * len(BANDS)}
    )


def keep(store: Store, job_id: int, found: Verified) -> None:
    content = json.dumps(found.to_dict()).encode("utf-8")
    mark, size = FileStore(store.files).put(content)
    store.change(
        lambda work: keep_file(
            work, mark, size, job_id=job_id, kind="document", name="verification.json", pinned="verification"
        ),
        by="olga",
    )


def home(store: Store, job_id: int) -> None:
    store.change(lambda work: setattr(work.get(Job, job_id), "state", "handed over"), by="olga")


def test_what_was_done_and_what_is_to_be_had(store: Store, tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    first = invented.opened(store, path)
    made = offers.draw_up(store, first, {"One": path}, by="olga", hours={"cutting": Decimal(2)})
    made = offers.offer(store, made.id, count=made.count, by="olga")
    offers.accept(store, made.id, "One", signed_by="Mara Invented", count=made.count, by="olga")
    task = bench.plan_tasks(store, first, by="bo")[0]
    bench.finish(store, task.id, count=task.count, by="bo")
    with pytest.raises(RefusedError, match="has not gone home"):
        returns.come_back(store, first, title="A rattle", by="olga")
    home(store, first)

    def meanwhile(work: Work) -> None:
        bass = work.get(Part, 1)
        assert bass is not None and bass.number == "S-1"
        bass.gone = True
        again = {
            "number": "S-9",
            "name": "ten inch bass, newer",
            "kind": bass.kind,
            "currency": "EUR",
            "data": bass.data,
        }
        fresh = Part(price=Decimal(230), cost=None, unit="piece", tax="standard", **again)
        work.add(fresh)
        work.flush()
        move(work, fresh.id, Decimal(2), "received")

    store.change(meanwhile, by="olga")
    (path / "build.toml").write_text(invented.TEXT.replace('"25 L"', '"27 L"'), encoding="utf-8")
    back = returns.come_back(store, first, title="A rattle", by="olga")
    found = returns.looked_back(store, back)
    (done,) = found.done
    assert (done.job_id, done.tasks) == (first, (task.name,)) and "1 piece ten inch bass" in done.agreed
    bass = next(row for row in found.replaceable if row.number == "S-1")
    assert bass.gone and bass.instead == ("S-9 ten inch bass, newer",)
    assert not next(row for row in found.replaceable if row.number == "A-1").gone
    assert len(found.differs) == 1 and "27" in found.differs[0]
    assert "No verification was kept" in found.undrifted and found.drifted == ()
    json.dumps(found.to_dict(), allow_nan=False)


def test_drift_is_told_from_two_verifications(store: Store, tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    first = invented.opened(store, path)
    assert "Before the car goes home" in returns.looked_back(store, first).undrifted
    keep(store, first, outcome({3: 9.0}))  # an earlier try in the same job does not count
    keep(store, first, outcome(causes=("an old one",)))
    home(store, first)
    assert returns.looked_back(store, first).undrifted == ""  # its own first and last
    back = returns.come_back(store, first, title="Two years on", by="olga")
    assert "Record the second round again" in returns.looked_back(store, back).undrifted
    keep(store, back, outcome({6: -3.0, 7: -2.5}, causes=("an old one", "left tweeter: quieter")))
    found = returns.looked_back(store, back)
    (drift,) = found.drifted
    assert (
        not drift.agrees
        and (drift.worst_db, drift.at_hz) == (-3.0, BANDS[6])
        and found.new_causes == ("left tweeter: quieter",)
    )
    assert drift.allowed_db == pytest.approx(1.5 * math.sqrt(2), abs=0.01) and "has drifted" in drift.says
    keep(store, back, outcome({6: -3.0}))  # one band alone is no drift
    assert returns.looked_back(store, back).drifted[0].agrees


@given(
    st.lists(st.floats(-5, 5) | st.just(math.nan), min_size=len(BANDS), max_size=len(BANDS)),
    st.floats(0.1, 3.0),
)
def test_two_neighbours_beyond_both_tolerances_are_drift(change: list[float], tolerance: float) -> None:
    flat = Verified("", True, "", (), BANDS, {"a": (0.0,) * len(BANDS)}, {"a": (tolerance,) * len(BANDS)})
    now = Verified("", True, "", (), BANDS, {"a": tuple(change)}, {"a": (tolerance,) * len(BANDS)})
    rows = returns._drifts(flat, now)
    over = [abs(value) > math.hypot(tolerance, tolerance) for value in change]
    expected = not any(one and other for one, other in itertools.pairwise(over))
    assert [row.agrees for row in rows] == ([expected] if any(value == value for value in change) else [])


def test_a_kept_verification_that_is_damaged_is_named(lite: Store, tmp_path: Path) -> None:
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"))
    for content in (b"{}", b"[]", b"\xff", b'{"measured_db": 3}'):
        with pytest.raises(PersonError, match="cannot be read"):
            Verified.read(content, "2026-01-01")
    with pytest.raises(RefusedError, match="verification_recordings"):
        returns.keep_verification(lite, job_id, by="olga")
    with pytest.raises(PersonError, match="no job 77"):
        returns.looked_back(lite, 77)
