"""A shop on each of the two databases, as the shop's own tests have it; and one on SQLite where no row is in question."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinwright.shop.store import Store
from shop.conftest import address, full, server, store

__all__ = ["address", "full", "lite", "server", "store"]


@pytest.fixture
def lite(tmp_path: Path) -> Iterator[Store]:
    """An open, empty shop on SQLite."""
    opened = Store.open(str(tmp_path / "lite"))
    yield opened
    opened.close()
