"""Batches wherever they run: the same bits, nothing lost but what was under way, and taken up again."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from cabinwright.errors import PersonError
from cabinwright.studies.keep import StudyFolder
from cabinwright.studies.run import cluster, processes, worked
from studies.kinds import dies_always, dies_once, roots, slow

ITEMS = [tuple(float(3 * number + k) for k in range(3)) for number in range(8)]
TRUTH = np.sqrt(np.arange(24.0)).reshape(8, 3)
unwatched = lambda what, share: None  # noqa: E731


def folder(path: Path, **asked: object) -> StudyFolder:
    return StudyFolder(path, {"kind": "test", **asked})


def rows(kept: StudyFolder) -> np.ndarray:
    return np.stack([(kept.get(number) or {})["root"] for number in range(len(ITEMS))])


def test_here_and_in_processes_give_the_same_bits(tmp_path: Path) -> None:
    one, other = folder(tmp_path / "a"), folder(tmp_path / "b")
    assert worked(roots, 1.0, ITEMS, one, unwatched) == 8
    assert worked(roots, 1.0, ITEMS, other, unwatched, where=partial(processes, 2)) == 8
    assert rows(one).tobytes() == rows(other).tobytes() == TRUTH.tobytes()
    assert int((other.get(0) or {})["by"]) != os.getpid()


def test_a_batch_that_is_torn_or_of_another_study_is_worked_out_again(tmp_path: Path) -> None:
    kept, strange = folder(tmp_path), folder(tmp_path, grid=2)
    worked(roots, 1.0, ITEMS, kept, unwatched)
    worked(roots, 2.0, ITEMS, strange, unwatched)
    kept.path(1).write_bytes(kept.path(1).read_bytes()[:-30])
    kept.path(2).write_bytes(b"")
    kept.path(3).unlink()
    kept.path(4).write_bytes(strange.path(4).read_bytes())
    np.savez(kept.path(5), root=np.array([{"a": 1}], dtype=object), study=np.array(kept.mark))  # a pickle: never opened
    assert kept.done(8) == {0, 6, 7}
    assert worked(roots, 1.0, ITEMS, kept, unwatched) == 5
    assert np.array_equal(rows(kept), TRUTH)


def test_no_changed_byte_of_a_batch_is_taken_for_good(tmp_path: Path) -> None:
    """Any damage makes it missing; what is whole can be read as plain NPZ by others."""
    kept = folder(tmp_path)
    kept.begin()
    kept.put(0, {"root": np.sqrt(np.arange(50.0))})
    with np.load(kept.path(0), allow_pickle=False) as plain:
        assert np.array_equal(plain["root"], np.sqrt(np.arange(50.0)))
    content = kept.path(0).read_bytes()
    for at in range(0, len(content), 7):
        kept.path(0).write_bytes(content[:at] + bytes([content[at] ^ 0x20]) + content[at + 1 :])
        assert kept.get(0) is None, at
    kept.path(0).write_bytes(content)
    assert kept.get(0) is not None


def test_an_edited_study_is_not_taken_up(tmp_path: Path) -> None:
    kept = folder(tmp_path)
    worked(roots, 1.0, ITEMS[:1], kept, unwatched)
    (kept.folder / "study.json").write_text("{}")
    with pytest.raises(PersonError, match="changed since the study was begun"):
        worked(roots, 1.0, ITEMS, kept, unwatched)


@pytest.mark.parametrize("where", [None, partial(processes, 2)])
def test_interrupted_it_goes_on_where_it_was(tmp_path: Path, where: object) -> None:
    kept, seen = folder(tmp_path), []

    def stop(what: str, share: float) -> None:
        seen.append(share)
        if len(seen) == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        worked(roots, 1.0, ITEMS, kept, stop, where=where)  # type: ignore[arg-type]
    assert len(kept.done(8)) == 3
    assert worked(roots, 1.0, ITEMS, kept, unwatched) == 5
    assert np.array_equal(rows(kept), TRUTH)


def test_a_process_that_dies_costs_nothing(tmp_path: Path) -> None:
    kept = folder(tmp_path)
    worked(dies_once, str(tmp_path), ITEMS, kept, unwatched, where=partial(processes, 2))
    assert (tmp_path / "died").exists()
    assert np.array_equal(rows(kept), TRUTH)


def test_processes_that_die_always_are_given_up(tmp_path: Path) -> None:
    with pytest.raises(PersonError, match=r"stop again and again.*same command"):
        worked(dies_always, None, ITEMS, folder(tmp_path), unwatched, where=partial(processes, 1))


def test_a_cluster_that_is_not_there_is_told() -> None:
    with pytest.raises(PersonError, match="no scheduler answers"), cluster("nonsense://x"):
        pass


@pytest.mark.filterwarnings("ignore")  # what distributed says of its own sockets is not ours
def test_a_killed_worker_of_a_real_cluster_changes_nothing(tmp_path: Path) -> None:
    """Dask's LocalCluster, two workers, one killed by the system while it works."""
    from distributed import LocalCluster

    kept, killed = folder(tmp_path), []
    options = {
        "n_workers": 2,
        "threads_per_worker": 1,
        "processes": True,
        "dashboard_address": None,
        "host": "127.0.0.1",
    }
    with LocalCluster(**options) as local, contextlib.suppress(TimeoutError):

        def kill_one(what: str, share: float) -> None:
            by = [arrays["by"] for number in kept.done(8) if (arrays := kept.get(number))]
            if by and not killed:
                killed.append(int(by[0]))
                os.kill(killed[0], getattr(signal, "SIGKILL", signal.SIGTERM))

        start = time.monotonic()
        assert worked(slow, 0.15, ITEMS, kept, kill_one, where=partial(cluster, local.scheduler_address)) == 8
        assert time.monotonic() - start < 60
    assert killed
    assert rows(kept).tobytes() == TRUTH.tobytes()


@pytest.mark.filterwarnings("ignore")
def test_a_killed_scheduler_costs_one_batch_a_worker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The scheduler is killed by the system; what came back is kept, the cure is named, and it goes on elsewhere."""
    from distributed import Client

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    surroundings = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])}
    options = {"env": surroundings, "stderr": subprocess.DEVNULL}
    command = [sys.executable, "-m"]
    scheduler = subprocess.Popen(
        [*command, "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"],
        **options,  # type: ignore[call-overload]
    )
    worker = subprocess.Popen(
        [*command, "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--death-timeout", "2"],
        **options,  # type: ignore[call-overload]
    )
    kept = folder(tmp_path)
    try:
        with Client(address, timeout=30) as client:  # type: ignore[no-untyped-call]
            client.wait_for_workers(1)

        def kill(what: str, share: float) -> None:
            if len(kept.done(8)) == 2:
                scheduler.kill()

        monkeypatch.setattr("cabinwright.studies.run.ANSWERS_S", 1.5)
        with pytest.raises(PersonError, match=r"no scheduler answers there.*same command"):
            worked(slow, 0.1, ITEMS, kept, kill, where=partial(cluster, address))
    finally:
        for process in (scheduler, worker):
            process.kill()
            process.wait(20)
    before = kept.done(8)
    assert before >= {0, 1}
    assert worked(roots, 1.0, ITEMS, kept, unwatched) == 8 - len(before)
    assert rows(kept).tobytes() == TRUTH.tobytes()
