"""What to measure in a car before anybody has been there: points, and tapes enough to check one another.

Six points that a tape reaches from everywhere (hubs) are joined to one another; every other point gets four tapes from
hubs that see it from different sides (five where it lies beside or behind them, as a door and the rear do), and one to each
other point of its group. A car that was surveyed already shows its own points.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.fields import NamedPoint
from cabinwright.build.shells import KINDS
from cabinwright.errors import RefusedError
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.survey.run import run
from cabinwright.tables import rows

__all__ = ["KINDS", "Sheet", "SheetPoint", "SheetTape", "generic_sheet", "own_sheet"]

FRAME = ("left dash corner", "right dash corner", "left belt bolt")
HUBS_PER_POINT = 4  #: and one more for a point that lies beside or behind most of them
NEAR_HUBS = ("head", "seat bolt")
Triple = tuple[float, float, float]


@dataclass(frozen=True)
class SheetPoint:
    """One point to hold the tape to."""

    name: str
    at_m: Triple | None  #: where it is, or about where; None where nobody knows
    where: str = ""  #: where to find it, in words


@dataclass(frozen=True)
class SheetTape:
    """One tape to take, or taken."""

    from_: str
    to: str
    distance_m: float | None = None  #: what it read; None where it is still to be taken
    remark: str = ""


@dataclass(frozen=True)
class Sheet:
    """What the field sheet shows."""

    title: str
    kind: str  #: kind of car; empty for a car's own points
    points: tuple[SheetPoint, ...]
    groups: tuple[tuple[str, tuple[SheetTape, ...]], ...]  #: heading, tapes; numbers run on
    frame: tuple[str, str, str] | None  #: origin, right, behind
    origin_m: Triple | None = None  #: the origin in the axes of the cabin that the build holds; None: it is 0, 0, 0
    remarks: tuple[str, ...] = ()


def generic_sheet(kind: str, build: Build | None = None) -> Sheet:
    """The sheet for a kind of car (one of ``KINDS``), in the axes of the cabin of ``build``. Raises ``KeyError`` for another."""
    if kind not in KINDS:
        raise KeyError(kind)
    origin = None if build is None else _dash_corner(build)
    shift = np.zeros(3) if origin is None else np.asarray(origin)
    table = [row for row in rows("survey_points") if row["kind"] in ("all", kind)]
    places = {row["name"]: (float(row["x_m"]), float(row["y_m"]), float(row["z_m"])) for row in table}
    hubs = [row["name"] for row in table if row["hub"] == "1"]
    others = [row["name"] for row in table if row["hub"] != "1"]
    groups = [("The frame and what everything hangs on", [SheetTape(a, b) for a, b in combinations(hubs, 2)])]
    for heading, names in _grouped(others, [row["name"] for row in table if row["kind"] == kind]):
        tapes = [SheetTape(hub, name) for name in names for hub in _best_hubs(places, hubs, name)]
        between = [SheetTape(a, b) for a, b in combinations(names, 2)]
        groups.append((heading, tapes + between))
    return Sheet(
        title=f"Survey sheet: {kind}",
        kind=kind,
        points=tuple(SheetPoint(row["name"], _moved(places[row["name"]], shift), row["where"]) for row in table),
        groups=tuple((heading, tuple(tapes)) for heading, tapes in groups),
        frame=FRAME,
        origin_m=origin,
    )


def _moved(point: Triple, shift: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Triple:
    x, y, z = (float(value) for value in np.asarray(point) + shift)
    return x, y, z


def _dash_corner(build: Build) -> Triple | None:
    """Where the frame's origin lies in the cabin's own axes: the foot of the windscreen on the left."""
    screens = [item for item in (build.cabin.surfaces if build.cabin else ()) if "windscreen" in item.name]
    corners = [corner for item in screens for corner in item.corners_m if not isinstance(corner, NamedPoint)]
    if not corners:
        return None
    lowest = min(corner[2] for corner in corners)
    return min((corner for corner in corners if corner[2] < lowest + 0.05), key=lambda corner: corner[1])


def own_sheet(build: Build) -> Sheet:
    """The sheet for the survey that a build holds: its own tapes, and those that are missing or come next."""
    survey = build.survey
    assert survey is not None
    result: SurveyResult | None = None
    remarks: list[str] = []
    try:
        result = run(build)
    except RefusedError as error:
        remarks.append(str(error))
    rough = {point.name: point.at_m or point.near_m for point in survey.points}
    suspects = {} if result is None else {(t.from_, t.to, t.distance_m): t.excess_m for t in result.suspect_tapes}
    taken = tuple(
        SheetTape(tape.from_, tape.to, tape.distance_m, _suspect(suspects.get((tape.from_, tape.to, tape.distance_m))))
        for tape in survey.tapes
    )
    again = tuple(SheetTape(tape.from_, tape.to, None, "again: it was suspect") for tape in taken if tape.remark)
    following = () if result is None else result.next_tapes
    new = tuple(
        SheetTape(
            tape.from_,
            tape.to,
            None,
            f"{tape.point}: {1000 * tape.sigma_before_m:.0f} mm becomes {1000 * tape.sigma_after_m:.0f} mm",
        )
        for tape in following
        if {tape.from_, tape.to} not in [{other.from_, other.to} for other in again]
    )
    frame = survey.frame
    return Sheet(
        title=f"Survey sheet: {build.title}",
        kind="",
        points=tuple(
            SheetPoint(name, result.points[name].at_m if result is not None else rough[name]) for name in rough
        ),
        groups=tuple(
            (heading, tapes)
            for heading, tapes in (("To take next", (*again, *new)), ("Taken so far", taken))
            if tapes or heading.startswith("To")
        ),
        frame=None if frame is None else (frame.origin, frame.right, frame.behind),
        remarks=tuple(remarks),
    )


def _suspect(excess_m: float | None) -> str:
    return "" if excess_m is None else f"suspect: {1000.0 * excess_m:+.0f} mm"


def _grouped(others: list[str], rear: list[str]) -> list[tuple[str, list[str]]]:
    front = [name for name in others if name not in rear]
    return [
        ("Heads", [name for name in front if "head" in name]),
        ("Doors", [name for name in front if "door" in name]),
        ("Seat bolts", [name for name in front if "bolt" in name]),
        ("The rear", rear),
    ]


def _best_hubs(places: dict[str, Triple], hubs: list[str], name: str) -> tuple[str, ...]:
    """The hubs whose tapes place a point most exactly: least trace of the inverse of the normal matrix."""
    best: tuple[str, ...] = ()
    least = np.inf
    for chosen in combinations(hubs, HUBS_PER_POINT + (not any(word in name for word in NEAR_HUBS))):
        gap = np.array([places[name]]) - np.array([places[hub] for hub in chosen])
        unit = gap / np.linalg.norm(gap, axis=1, keepdims=True)
        cost = float(np.trace(np.linalg.inv(unit.T @ unit + 1e-9 * np.eye(3))))
        if cost < least - 1e-12:
            best, least = chosen, cost
    return best
