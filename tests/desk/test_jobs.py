"""Long work in a process of its own: progress, an answer, a refusal in words, and a cancel that leaves nothing behind."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinwright.desk import Desk, jobs
from cabinwright.desk import desk as module
from cabinwright.errors import RefusedError
from cabinwright.session import Session
from desk.cars import TEXT


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    (tmp_path / "build.toml").write_text(TEXT, encoding="utf-8", newline="\n")
    yield Desk.open(tmp_path)
    module._OPEN.clear()


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.rglob("*")}


def test_it_writes_what_the_command_writes(desk: Desk) -> None:
    job = desk.start("plan")
    assert job.wait() == "done" and job.error == ""
    assert desk.folder / "out" / "plan.json" in job.answer and all(path.is_file() for path in job.answer)
    told = json.loads((desk.folder / "out" / "plan.json").read_text(encoding="utf-8"))
    assert set(told["layout"]["places"]) == set(desk.rows("places"))
    assert job.progress[0] == "writing"


def test_a_refusal_comes_back_in_words(desk: Desk) -> None:
    job = desk.start("tune")
    assert job.wait() == "failed" and "there are no [[recordings]]" in job.error
    with pytest.raises(RefusedError, match="no such work"):
        desk.start("open")


def test_cancel_leaves_nothing(desk: Desk) -> None:
    before = names(desk.folder)
    job = desk.start("layout")
    job.cancel()
    assert job.wait() == "cancelled" and job.answer == () and job.error == ""
    assert names(desk.folder) == before


def test_a_process_that_dies_is_told(desk: Desk) -> None:
    job = desk.start("layout")
    job._process.kill()
    assert job.wait() == "failed" and "stopped from outside" in job.error


@pytest.fixture
def ready(monkeypatch: pytest.MonkeyPatch) -> Iterator[jobs._Ready]:
    kept = jobs._Ready()
    monkeypatch.setattr(jobs, "_READY", kept)
    monkeypatch.setattr(jobs, "PAUSE_S", 0.0)
    yield kept
    kept._kept = False
    if kept._spare is not None:
        kept._spare.process.kill()
        kept._spare.process.join()


def waiting(ready: jobs._Ready) -> jobs._Worker:
    """The process that waits for its order, once it is there."""
    for thread in threading.enumerate():
        if isinstance(thread, threading.Timer):
            thread.join(60)
    assert ready._spare is not None
    return ready._spare


def test_a_process_that_did_well_takes_the_next_order_and_knows_what_changed(ready: jobs._Ready, desk: Desk) -> None:
    """What it remembers gives the same bytes as work that remembers nothing."""
    jobs.keep_ready()
    spare = waiting(ready)
    for metres in (0.5, 0.6):
        desk.edit('places["left pillar"].position_m', [metres, -0.7, 0.9])
        job = desk.start("plan")
        assert job._process is spare.process and job.wait() == "done"
        assert ready._spare is spare and spare.process.is_alive()
        job.cancel()  # too late: it stops nothing, and nothing that comes after it
        plan = (desk.folder / "out" / "plan.json").read_bytes()
        Session.open(desk.folder).plan()
        assert (desk.folder / "out" / "plan.json").read_bytes() == plan


def test_a_process_whose_work_was_refused_ends_and_another_takes_its_place(ready: jobs._Ready, desk: Desk) -> None:
    jobs.keep_ready()
    spare = waiting(ready)
    job = desk.start("tune")
    assert job._process is spare.process and ready._spare is None
    assert job.wait() == "failed" and "there are no [[recordings]]" in job.error
    assert waiting(ready).process.pid != spare.process.pid and not spare.process.is_alive()


def test_a_process_that_died_while_it_waited_is_replaced(ready: jobs._Ready, desk: Desk) -> None:
    jobs.keep_ready()
    spare = waiting(ready)
    spare.process.kill()
    spare.process.join()
    job = desk.start("tune")
    assert job._process is not spare.process
    assert job.wait() == "failed" and "there are no [[recordings]]" in job.error


def test_nothing_waits_for_a_program_that_is_gone(ready: jobs._Ready) -> None:
    jobs.keep_ready()
    spare = waiting(ready)
    spare.orders.close()  # what the system does when the program is killed
    spare.process.join(60)
    assert spare.process.exitcode == 0
