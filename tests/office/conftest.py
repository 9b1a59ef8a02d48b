"""A shop on each of the two databases, as the shop's own tests have it; and one on SQLite where no row is in question."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from cabinwright.build.codec import source
from cabinwright.office import bench, offers, returns
from cabinwright.office.worked import Progress, Worked, unwatched, worked_out
from cabinwright.shop.store import Store
from shop.conftest import address, full, server, store

__all__ = ["address", "full", "lite", "server", "store"]

WORKED: dict[bytes, Worked] = {}


@pytest.fixture(autouse=True)
def _once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A build of the same bytes is worked out once for all of these tests; none of them has recordings."""

    def kept(path: Path, progress: Progress = unwatched) -> Worked:
        file, content = source(path)
        if content not in WORKED:
            WORKED[content] = worked_out(path, progress)
        return replace(WORKED[content], folder=file.parent)

    for module in (offers, bench, returns):
        monkeypatch.setattr(module, "worked_out", kept)


@pytest.fixture
def lite(tmp_path: Path) -> Iterator[Store]:
    """An open, empty shop on SQLite."""
    opened = Store.open(str(tmp_path / "lite"))
    yield opened
    opened.close()
