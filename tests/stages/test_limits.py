"""What whoever a build is for does not want: held against places and boxes, and told where it is broken."""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from cabinwright.findings import Finding
from cabinwright.stages.layout import LayoutResult, run
from stages.boxed import box, planned
from stages.cabin_build import cabin_build, shell

OPEN = "[[cabin.surfaces]]".join(shell().split("[[cabin.surfaces]]")[:-2])  # no firewall: no modes to wait for


def place(name: str, x: float, y: float = 0.0, more: str = "reversible = true") -> str:
    return (
        f'[[places]]\nname = "{name}"\nrole = "coaxial"\nside = "centre"\nposition_m = [{x}, {y}, 0.78]\naim = "driver"\n'
        f"radius_m = 0.035\n{more}\n"
    )


def compared(places: str, extra: str) -> LayoutResult:
    got = run(cabin_build(places=places, surfaces=OPEN, extra=f"[layout]\ndraws = 10\n{extra}"))
    assert got is not None
    return got


def accepted(name: str) -> str:
    return f'\n[[speakers]]\nname = "{name}"\nrole = "coaxial"\nside = "centre"\nposition_m = [0.6, 0.0, 0.78]\n'


def found(result: LayoutResult) -> dict[str, Finding]:
    return {item.code: item for item in result.findings if item.code.startswith("layout.limit")}


CUT = place("nearer", 0.75, more='cut = "dash top"\nreversible = false\ncost = 400')
KEPT = place("farther", 0.55)


def test_what_is_cut_for_good_wins_unless_all_must_go_back() -> None:
    weights = "[layout.weights]\nsound = 9\nirreversible = 0\n"
    free = compared(CUT + KEPT, weights)
    assert free.ranking[0].places == ("nearer",) and free.ranking[0].first_share == 1.0
    bound = compared(CUT + KEPT, f"{weights}[limits]\nreversible = true\n")
    assert bound.ranking[0].places == ("farther",) and bound.ranking[0].first_share == 1.0
    barred = bound.ranking[1]
    assert barred.places == ("nearer",) and barred.first_share == 0.0
    assert "dash top" in str(barred.barred) and barred.reasons[0] == barred.barred


@pytest.mark.parametrize(
    ("stock", "barred"),
    [("Dash tops", True), ("NEARER", True), ("pillars", False), ("SS", False), ("ash", False), ("das", False)],
)
def test_a_part_that_must_stay_is_found_in_the_words_of_a_place(stock: str, barred: bool) -> None:
    got = compared(CUT + KEPT, f'[limits]\nstock = ["{stock}"]\n')
    rows = {row.places[0]: row.barred for row in got.ranking}
    assert (rows["nearer"] is not None) is barred and rows["farther"] is None


def test_a_place_that_was_accepted_against_a_limit_is_told() -> None:
    limits = '[limits]\nreversible = true\nstock = ["dash top"]\nbudget = 399.99\n'
    told = found(compared(CUT + KEPT, limits + accepted("nearer")))
    assert set(told) == {"layout.limit_cut", "layout.limit_stock", "layout.limit_budget"}
    assert all(item.severity == "caution" and item.remedy for item in told.values())
    assert not found(compared(CUT + KEPT, limits + accepted("farther")))
    assert not found(compared(CUT + KEPT, "[limits]\nbudget = 400\n" + accepted("nearer")))
    (unsaid,) = found(compared(CUT + place("mute", 0.5, more=""), limits + accepted("mute"))).values()
    assert (unsaid.code, unsaid.severity, unsaid.where) == ("layout.limit_unsaid", "note", "mute")


def test_a_further_seat_counts_and_counts_less_than_the_first() -> None:
    """Two mirrored places differ at the driver's head; with the passenger counted too they differ by less, the same way."""
    sides = (place("left", 0.6, -0.5) + place("right", 0.6, 0.5)).replace('"driver"', "[1.0, 0.0, 0.2]")

    def ahead(more: str) -> float:
        rows = {row.places[0]: row.criteria["sound"] for row in compared(sides, more).ranking}
        assert rows["left"] is not None and rows["right"] is not None
        return rows["left"] - rows["right"]

    alone, both = ahead(""), ahead('further_seats = ["passenger"]\n')
    assert abs(alone) > 1.0
    assert 0.15 < both / alone < 0.6


def test_a_further_seat_that_is_not_there_is_named() -> None:
    text = (
        'schema = 1\ntitle = "x"\n[vehicle]\nname = "x"\ndriving_side = "left"\n[layout]\nfurther_seats = ["bench"]\n'
    )
    with pytest.raises(BuildError, match=r"layout\.further_seats"):
        parse(text)


@pytest.mark.parametrize(("room", "told"), [("34.5 L", False), ("33.96 L", False), ("33 L", True)])
def test_boxes_that_take_more_room_than_they_may_are_told(room: str, told: bool) -> None:
    got = planned(box(), f'[limits]\nboxes_m3 = "{room}"\n')
    rows = [item for item in got.findings if item.code == "enclosure.limit_room"]
    assert bool(rows) is told
    assert all((item.value, item.limit, item.unit) == (34.0, 33.0, "L") for item in rows)
