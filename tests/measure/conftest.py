"""Rounds of recordings, rendered once for each way of keeping time and copied for each test that spoils one."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from measure.rig import Rig, make

Fresh = Callable[[str], Rig]


@pytest.fixture(scope="session")
def rounds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Rig]:
    folder = tmp_path_factory.mktemp("rounds")
    drift = {"marker": 130.0}
    return {
        timing: make(folder / timing, timing, drift_ppm=drift.get(timing, 0.0))
        for timing in ("loopback", "marker", "impulse")
    }


@pytest.fixture
def fresh(rounds: dict[str, Rig], tmp_path: Path) -> Fresh:
    """A copy of a round that a test may spoil."""

    def copy(timing: str) -> Rig:
        source = rounds[timing]
        shutil.copytree(source.folder, tmp_path / timing)
        return Rig(tmp_path / timing, source.build, source.truth)

    return copy
