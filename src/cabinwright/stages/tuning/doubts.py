"""Findings about the build itself: what it says can be read, and can hardly be meant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.stages.tuning.problem import Problem
from cabinwright.stages.tuning.reasons import hertz, listed
from cabinwright.stages.tuning.ways import HIGHEST_SHARE, channel_role, safe_range

__all__ = ["doubts"]

Point = NDArray[np.float64]
AT_SPEAKER_M = 0.05  #: a head so near a loudspeaker is a slip of the pen
ONE_POINT_M = 0.01  #: microphones within this stood at one place
LONGEST_M = 6.0  #: between any two points in the cabin of a car
OFF_CENTRE_M = 0.05  #: a seat sits to one side from here on


def doubts(problem: Problem, positions: Sequence[str]) -> Iterator[Finding]:
    """What is odd about outputs, safe ranges and places; ``positions`` are those that were recorded at the tuned seat."""
    build = problem.build
    yield from _one_output(build, problem.channels)
    yield from _out_of_reach(problem)
    yield from _head_at_speaker(build)
    yield from _one_point(build, positions)
    yield from _sides(build)
    yield from _far_apart(build)


def _one_output(build: Build, channels: Sequence[str]) -> Iterator[Finding]:
    """A tweeter that hangs on one output with a larger loudspeaker gets all that one gets."""
    roles = {speaker.name: speaker.role for speaker in build.speakers}
    members = {item.name: item.speakers for item in build.channels}
    for channel in channels:
        lowest = channel_role(build, channel)
        if lowest == "tweeter" or "tweeter" not in {roles[name] for name in members[channel]}:
            continue
        low = safe_range(build, channel)[0]
        yield finding(
            "build.passive_assumed",
            where=channel,
            value=low,
            unit="Hz",
            severity="caution" if lowest in ("subwoofer", "woofer") else "note",
            role=lowest,
            low=hertz(low),
        )


def _out_of_reach(problem: Problem) -> Iterator[Finding]:
    """A safe range that begins where nothing is left."""
    top = HIGHEST_SHARE * problem.processor.sample_rate_hz
    for way in problem.ways:
        limit = min(top, way.high_hz)
        if way.low_hz >= limit:
            yield finding(
                "build.safe_range_empty",
                where=listed([problem.channels[index] for index in way.channels]),
                value=way.low_hz,
                limit=limit,
                unit="Hz",
                low=hertz(way.low_hz),
                high=hertz(limit),
                why="the highest corner at this sample rate" if limit == top else "the highest it is meant to play",
            )


def _known(point: tuple[float, float, float] | None) -> Point | None:
    at = None if point is None else np.asarray(point, dtype=np.float64)
    return at if at is not None and np.isfinite(at).all() else None


def _points(build: Build) -> dict[str, Point]:
    """Every stated point by what a person calls it."""
    rows = [
        *((f'the head of "{item.name}"', item.head_m) for item in build.seats),
        *((f'"{item.name}"', item.position_m) for item in build.speakers),
        *((f'the microphone at "{item.name}"', item.at_m) for item in build.microphone_positions),
    ]
    return {name: at for name, point in rows if (at := _known(point)) is not None}


def _head_at_speaker(build: Build) -> Iterator[Finding]:
    for seat in build.seats:
        for speaker in build.speakers:
            head, place = _known(seat.head_m), _known(speaker.position_m)
            if head is not None and place is not None and np.linalg.norm(head - place) < AT_SPEAKER_M:
                gap = round(float(np.linalg.norm(head - place)), 3)
                yield finding(
                    "build.head_at_speaker", where=f'"{speaker.name}"', value=gap, limit=AT_SPEAKER_M, unit="m",
                    seat=seat.name,
                )  # fmt: skip


def _one_point(build: Build, positions: Sequence[str]) -> Iterator[Finding]:
    """Places that are one, so that nothing is learnt of the room between them."""
    at = {item.name: _known(item.at_m) for item in build.microphone_positions}
    known = [point for name in positions if (point := at.get(name)) is not None]
    if len(known) < 2:
        return
    span = max(float(np.linalg.norm(a - b)) for a, b in combinations(known, 2))
    if span < ONE_POINT_M:
        yield finding(
            "build.positions_at_one_point", where="microphone_positions", value=len(known), limit=ONE_POINT_M, unit="m"
        )


def _sides(build: Build) -> Iterator[Finding]:
    """Left and right by the loudspeakers' own words, since any origin may be chosen; then the driver's side by theirs."""
    across = {
        side: [at[1] for item in build.speakers if item.side == side and (at := _known(item.position_m)) is not None]
        for side in ("left", "right")
    }
    if not across["left"] or not across["right"]:
        return
    left, right = (float(np.mean(across[side])) for side in ("left", "right"))
    if left >= right:
        yield finding("build.sides_exchanged", where="speakers", value=round(left, 2), limit=round(right, 2), unit="m")
        return
    sign = 1.0 if build.vehicle.driving_side == "right" else -1.0
    heads = {
        item.name: sign * (at[1] - 0.5 * (left + right))
        for item in build.seats
        if (at := _known(item.head_m)) is not None
    }
    named = [name for name in heads if "driver" in name.casefold()] or [*heads]
    if heads and max(heads[name] for name in named) < -OFF_CENTRE_M:
        yield finding(
            "build.driver_on_other_side", where=listed(named), value=round(-max(heads[name] for name in named), 2),
            unit="m", side=build.vehicle.driving_side,
        )  # fmt: skip


def _far_apart(build: Build) -> Iterator[Finding]:
    points = _points(build)
    if len(points) < 2:
        return
    names, places = [*points], np.stack([*points.values()])
    gaps = np.linalg.norm(places[:, None] - places[None], axis=2)
    one, two = np.unravel_index(int(np.argmax(gaps)), gaps.shape)
    if gaps[one, two] > LONGEST_M:
        yield finding(
            "build.points_far_apart", where=f"{names[one]} and {names[two]}", value=round(float(gaps[one, two]), 1),
            limit=LONGEST_M, unit="m",
        )  # fmt: skip
