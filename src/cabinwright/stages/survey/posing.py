"""From the tables of a survey to a network on plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cabinwright.build.survey import Survey
from cabinwright.physics.network.equations import Array, Indices, Network

__all__ = ["Posed", "pose", "quoted"]

LEAST_KNOWN = 3


@dataclass(frozen=True)
class Posed:
    """The network of a survey and what its rows are called."""

    names: tuple[str, ...]
    network: Network
    labels: tuple[str, ...]  #: (rows,) words for each row, for messages
    groups: Indices  #: (rows,) rows of one reading have one number
    frame_used: bool

    def listed(self, points: tuple[int, ...] | list[int], most: int = 6) -> str:
        """Names of points as words."""
        words = [quoted(self.names[point]) for point in points[:most]]
        more = len(points) - most
        return ", ".join(words) + (f" and {more} more" if more > 0 else "")


@dataclass
class _Linear:
    """Rows that are linear in the coordinates, as they come in."""

    factors: list[Array]
    values_m: list[float]
    sigmas_m: list[float]
    labels: list[str]
    readings: list[int]


def quoted(name: str) -> str:
    """A name as it stands in messages."""
    return f"“{name}”"


def pose(survey: Survey) -> Posed:
    """The network of ``survey``. Its names are known to exist (the build was checked)."""
    names = tuple(point.name for point in survey.points)
    number = {name: index for index, name in enumerate(names)}
    known = [point.at_m is not None for point in survey.points]
    blank = (np.nan, np.nan, np.nan)
    network = Network(
        fixed_m=np.array([point.at_m or blank for point in survey.points], dtype=float).reshape(-1, 3),
        near_m=np.array([point.near_m or blank for point in survey.points], dtype=float).reshape(-1, 3),
        ground=np.array(known, dtype=bool),
        tape_ends=np.array([(number[t.from_], number[t.to]) for t in survey.tapes], dtype=np.intp).reshape(-1, 2),
        tape_m=np.array([tape.distance_m for tape in survey.tapes], dtype=float),
        tape_sigma_m=np.array([tape.sigma_m for tape in survey.tapes], dtype=float),
        linear=np.zeros((0, 3 * len(names) + 1)),
        linear_m=np.zeros(0),
        linear_sigma_m=np.zeros(0),
        planes=tuple(
            (np.array(sorted({number[name] for name in flat.points}), dtype=np.intp), flat.sigma_m)
            for flat in survey.flat_surfaces
        ),
    )
    framed = survey.frame is not None and sum(known) < LEAST_KNOWN
    if framed:
        network = _framed(network, survey, number)
    rows = _linear(survey, number)
    network = replace(
        network,
        linear=np.array(rows.factors).reshape(-1, 3 * len(names) + 1),
        linear_m=np.array(rows.values_m, dtype=float),
        linear_sigma_m=np.array(rows.sigmas_m, dtype=float),
    )
    labels = [f"{quoted(tape.from_)} to {quoted(tape.to)}" for tape in survey.tapes] + rows.labels
    groups = [*range(len(survey.tapes)), *(len(survey.tapes) + reading for reading in rows.readings)]
    for members, _ in network.planes:
        labels += [f"flat surface through {quoted(names[point])}" for point in members]
        groups += [max(groups, default=-1) + 1 + k for k in range(len(members))]
    return Posed(names, network, tuple(labels), np.array(groups, dtype=np.intp), framed)


def _framed(network: Network, survey: Survey, number: dict[str, int]) -> Network:
    """The network in axes that three of its points give."""
    frame = survey.frame
    assert frame is not None
    origin, right, behind = (number[name] for name in (frame.origin, frame.right, frame.behind))
    fixed, ground = network.fixed_m.copy(), network.ground.copy()
    ground[[origin, right, behind]] = True
    known_origin = not np.isnan(fixed[origin]).any()
    if not known_origin:
        fixed[origin] = 0.0
    if np.isnan(fixed[right]).any():
        fixed[right, [0, 2]] = fixed[origin, [0, 2]]
    if np.isnan(fixed[behind]).any() and not any(row.point == frame.behind for row in survey.heights):
        fixed[behind, 2] = fixed[origin, 2]
    pairs = [{point.name, point.mirror_of} for point in survey.points if point.mirror_of is not None]
    # An origin that has a mirror image is beside the centre line, so where that line runs must be found.
    beside = not known_origin and any(frame.origin in pair for pair in pairs)
    ahead = ((right, 1, origin), (behind, 0, origin))
    return replace(network, fixed_m=fixed, ground=ground, centre_free=beside, ahead=ahead)


def _linear(survey: Survey, number: dict[str, int]) -> _Linear:
    rows = _Linear([], [], [], [], [])
    width = 3 * len(number) + 1

    def add(terms: dict[int, float], value_m: float, sigma_m: float, label: str, reading: int) -> None:
        factors = np.zeros(width)
        for column, factor in terms.items():
            factors[column] += factor
        rows.factors.append(factors)
        rows.values_m.append(value_m)
        rows.sigmas_m.append(sigma_m)
        rows.labels.append(label)
        rows.readings.append(reading)

    reading = 0
    for height in survey.heights:
        terms = {3 * number[height.point] + 2: 1.0}
        above = f" above {quoted(height.above)}" if height.above else ""
        if height.above and height.above != height.point:
            terms[3 * number[height.above] + 2] = -1.0
        add(terms, height.height_m, height.sigma_m, f"height of {quoted(height.point)}{above}", reading)
        reading += 1
    for offset in survey.offsets:
        terms = {3 * number[offset.point] + 1: 1.0, width - 1: -1.0}
        add(terms, offset.offset_m, offset.sigma_m, f"offset of {quoted(offset.point)}", reading)
        reading += 1
    seen: set[frozenset[str]] = set()
    for point in survey.points:
        if point.mirror_of is None or (pair := frozenset((point.name, point.mirror_of))) in seen:
            continue
        seen.add(pair)
        one, other = 3 * number[point.name], 3 * number[point.mirror_of]
        label = f"{quoted(point.name)} as the mirror image of {quoted(point.mirror_of)}"
        for axis, factor in enumerate((-1.0, 1.0, -1.0)):
            terms = {one + axis: 1.0, other + axis: factor}
            if axis == 1:
                terms[width - 1] = -2.0
            add(terms, 0.0, point.mirror_sigma_m, label, reading)
        reading += 1
    return rows
