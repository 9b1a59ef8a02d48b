"""From left and right to the loudspeakers: what each channel gets in a preset, and how much of it sounds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.chain import Preset, Route
from cabinwright.build.document import Build, Processor
from cabinwright.findings import Finding, finding
from cabinwright.physics.loudness import k_weighting_db
from cabinwright.stages.signal.chain import ChainGraph, Node, Way
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.tables import role_row

__all__ = [
    "MUTED_DB",
    "CarriedBy",
    "Sides",
    "carried_by",
    "default_routes",
    "doubts",
    "gains_of",
    "loudness_db",
    "routes_of",
]

Real = NDArray[np.float64]
Sides = dict[str, tuple[float, float]]  #: channel: factors of left and right

MUTED_DB = -90.0  #: at this level and below a route counts as muted
LOUD_HZ = 1000.0 * 2.0 ** (np.arange(-15, 13) / 3.0)  #: thirds of octaves from 31 Hz to 16 kHz
SPARE_DB = 0.5  #: over full scale, from which it is said: two sides at -6 dB come to 0.02 dB
SILENT_ROLES = ("subwoofer",)  #: roles that do not carry a warning, whatever range is stated


def default_routes(build: Build) -> tuple[Route, ...]:
    """Each channel gets the side of its speakers; one with speakers of both sides or in the centre gets both."""
    side = {row.name: row.side for row in build.speakers}
    found = []
    for channel in build.channels:
        sides = {side[name] for name in channel.speakers}
        alone = next(iter(sides)) if len(sides) == 1 else "centre"
        both = build.chain.centre_db
        left = 0.0 if alone == "left" else both if alone == "centre" else None
        right = 0.0 if alone == "right" else both if alone == "centre" else None
        found.append(Route(channel=channel.name, left_db=left, right_db=right))
    return tuple(found)


def routes_of(build: Build, preset: Preset | None) -> tuple[Route, ...]:
    """The routes of a preset: its own, or the default."""
    return preset.routes if preset is not None and preset.routes else default_routes(build)


def gains_of(routes: tuple[Route, ...]) -> Sides:
    """Linear factors by channel; what is muted or absent is nothing."""
    return {row.channel: (_factor(row.left_db), _factor(row.right_db)) for row in routes}


def _factor(level_db: float | None) -> float:
    return 0.0 if level_db is None or level_db <= MUTED_DB else float(10.0 ** (level_db / 20.0))


@dataclass(frozen=True)
class CarriedBy:
    """What one channel carries by one amplifier: power over frequency, and the loudspeakers at its end."""

    channel: str
    amplifier: str | None  #: None where the build has no amplifiers
    speakers: tuple[str, ...]
    power: Real  #: (frequencies,) what it passes, 1 where it passes all


def carried_by(
    build: Build, graph: ChainGraph, tuned: TuningResult | None, frequency_hz: Real, *, sounds: bool = False
) -> list[CarriedBy]:
    """What every channel carries, one entry for each amplifier behind it; of ``sounds`` a subwoofer carries nothing."""
    found = []
    for channel in graph.channels:
        passes = _filters(build, channel, tuned, frequency_hz)
        ways: dict[str | None, list[Way]] = {}
        for way in graph.ways_out(channel):
            ways.setdefault(way[1].amplifier if way[1].kind == "amplifier channel" else None, []).append(way)
        for amplifier, mine in ways.items():
            ends = [way[-1] for way in mine if not (sounds and graph.row(way[-1]).role in SILENT_ROLES)]
            band = np.zeros(len(frequency_hz), dtype=np.bool_)
            heard = []
            for end in dict.fromkeys(ends):
                low, high = _range(graph, end)
                inside = (frequency_hz >= low) & (frequency_hz <= high)
                band |= inside
                if inside.any():
                    heard.append(end.name)
            found.append(CarriedBy(channel.name, amplifier, tuple(heard), passes * band))
    return found


def _range(graph: ChainGraph, speaker: Node) -> tuple[float, float]:
    row = graph.row(speaker)
    _, low, high = role_row(row.role)
    return row.safe_low_hz or low, row.safe_high_hz or high


def _filters(build: Build, channel: Node, tuned: TuningResult | None, frequency_hz: Real) -> Real:
    """Power that the tuned filters of a channel pass, gain included; all of it where nothing is tuned."""
    settings = {row.name: row for row in tuned.settings.channels} if tuned else {}
    if channel.name not in settings:
        return np.ones(len(frequency_hz))
    rate = tuned.settings.sample_rate_hz if tuned else (build.processor or Processor()).sample_rate_hz
    return np.asarray(np.abs(settings[channel.name].response(frequency_hz, sample_rate_hz=rate)) ** 2)


def loudness_db(carried: list[CarriedBy], routes: tuple[Route, ...]) -> float:
    """How loud pink noise that differs between the sides is over these routes, K-weighted; -inf where nothing sounds.

    ``carried`` is at ``LOUD_HZ``. Only the difference between two routings means something: loudspeakers count as alike.
    """
    sides = gains_of(routes)
    weights = 10.0 ** (k_weighting_db(frequency_hz=LOUD_HZ) / 10.0)
    power = 0.0
    for item in carried:
        left, right = sides.get(item.channel, (0.0, 0.0))
        if item.speakers:
            power += 0.5 * (left**2 + right**2) * float(weights @ item.power)
    return float(10.0 * np.log10(power)) if power > 0.0 else float("-inf")


def doubts(
    build: Build, preset: str, routes: tuple[Route, ...], carried: list[CarriedBy], level_db: float
) -> Iterator[Finding]:
    """Routes that clip inside the processor, and those that give a side's loudspeakers the other side.

    ``level_db``: of the source at its full output against full scale, with the preset's trim. Bass is alike on both sides,
    so their levels add up.
    """
    side = {row.name: row.side for row in build.speakers}
    speakers = {row.name: row.speakers for row in build.channels}
    most = {item.channel: float(item.power.max(initial=0.0)) for item in carried}
    for channel, (left, right) in gains_of(routes).items():
        whole = (left + right) * float(np.sqrt(most.get(channel, 0.0)))
        over = level_db + 20.0 * float(np.log10(whole)) if whole > 0.0 else float("-inf")
        if over > SPARE_DB:
            yield finding("signal.route_clips", where=preset, value=round(over, 1), unit="dB", channel=channel)
        sides = {side[name] for name in speakers.get(channel, ()) if name in side}
        if (sides == {"left"} and right > left) or (sides == {"right"} and left > right):
            own = next(iter(sides))
            yield finding(
                "signal.sides_swapped", where=preset, channel=channel, side=own,
                other="right" if own == "left" else "left", speakers=" and ".join(f"“{name}”" for name in speakers[channel]),
            )  # fmt: skip
