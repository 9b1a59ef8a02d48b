"""The tables of the trade: every row is whole, cites its source, and makes sense beside its neighbours."""

from __future__ import annotations

from typing import get_args

import pytest

from cabinwright.build.fields import Role
from cabinwright.tables import crossover_range, role_row, rows

ROLES = get_args(Role)
STAGE = [role for role in ROLES if role not in ("rear fill", "centre")]


@pytest.mark.parametrize("table", ["roles", "crossovers", "survey_points"])
def test_every_cell_is_filled_and_sourced(table: str) -> None:
    for row in rows(table):
        assert all(value and value.strip() for value in row.values()), row
        assert row["source"]
    with pytest.raises(FileNotFoundError):
        rows("nothing")


@pytest.mark.parametrize("role", ROLES)
def test_every_role_has_a_safe_range(role: str) -> None:
    rank, low, high = role_row(role)
    assert 20.0 <= low < high <= 20000.0
    assert 0 <= rank < 10


def test_no_role_twice_and_none_unknown() -> None:
    assert sorted(row["role"] for row in rows("roles")) == sorted(ROLES)
    with pytest.raises(KeyError, match="supertweeter"):
        role_row("supertweeter")


@pytest.mark.parametrize("lower", STAGE)
@pytest.mark.parametrize("upper", STAGE)
def test_neighbours_hand_over_inside_what_both_stand(lower: str, upper: str) -> None:
    """Wherever two roles meet, low to high, there is a range, it holds the usual, and the upper one is safe at its top."""
    if role_row(lower)[0] >= role_row(upper)[0]:
        return
    low, usual, high = crossover_range(lower, upper)
    assert low <= usual <= high
    if role_row(upper)[0] == role_row(lower)[0] + 1:
        assert high >= role_row(upper)[1]


def test_first_row_that_fits() -> None:
    """Midbass to tweeter has a row of its own, above the one for midbass to anything."""
    assert crossover_range("midbass", "tweeter")[0] > crossover_range("midbass", "midrange")[2]
    with pytest.raises(KeyError):
        crossover_range("tweeter", "subwoofer")
