"""How the channels divide the spectrum among themselves: ways, their crossovers, and every loudspeaker's safe range."""

from __future__ import annotations

from dataclasses import dataclass

from cabinwright.build.document import Build
from cabinwright.stages.tuning.model import Edge
from cabinwright.stages.tuning.sides import channel_side
from cabinwright.tables import crossover_range, role_row

__all__ = ["FILL_ROLES", "Crossover", "Way", "channel_role", "edges_for", "find_crossovers", "find_ways", "safe_range"]

FILL_ROLES = ("rear fill", "centre")
PROTECTIVE_SLOPE = 12


@dataclass(frozen=True)
class Way:
    """Channels that play the same part of the spectrum: usually one on the left and one on the right."""

    role: str
    channels: tuple[int, ...]
    low_hz: float  #: safe range
    high_hz: float
    fill: bool  #: plays beside the front stage (rear fill, centre beside a left and a right)


@dataclass(frozen=True)
class Crossover:
    """Where one way hands over to the next."""

    lower: int  #: index of the way
    upper: int
    low_hz: float
    usual_hz: float
    high_hz: float
    family: str
    slope_db_per_octave: int


def channel_role(build: Build, channel: str) -> str:
    """The role of the channel's lowest speaker: it sets what the channel may be given."""
    roles = {speaker.name: speaker.role for speaker in build.speakers}
    members = {item.name: item.speakers for item in build.channels}[channel]
    return min((roles[name] for name in members), key=lambda role: role_row(role)[0])


def safe_range(build: Build, channel: str) -> tuple[float, float, str]:
    """Lowest and highest frequency in Hz that every speaker of the channel may be given, and where that comes from."""
    speakers = {speaker.name: speaker for speaker in build.speakers}
    low, high, source = 0.0, 0.0, "common practice for its role, no source"
    for name in {item.name: item.speakers for item in build.channels}[channel]:
        speaker = speakers[name]
        _, role_low, role_high = role_row(speaker.role)
        if speaker.safe_low_hz is not None or speaker.safe_high_hz is not None:
            source = "the build"
        low = max(low, speaker.safe_low_hz if speaker.safe_low_hz is not None else role_low)
        high = max(high, speaker.safe_high_hz if speaker.safe_high_hz is not None else role_high)
    roles = {speakers[name].role for name in {item.name: item.speakers for item in build.channels}[channel]}
    if len(roles) > 1:  # a passive network hands the lows to the larger speaker: its limit protects the channel
        role = channel_role(build, channel)
        lows = [speakers[n] for n in {item.name: item.speakers for item in build.channels}[channel]]
        low = next(s.safe_low_hz or role_row(role)[1] for s in lows if s.role == role)
    return low, high, source


def find_ways(build: Build, channels: tuple[str, ...]) -> list[Way]:
    """Ways from low to high; fills last. Channels of like role and rank form one way, whatever their side."""
    sides = {channel: channel_side(build, channel) for channel in channels}
    front = any(
        sides[channel] != "centre" and channel_role(build, channel) not in FILL_ROLES for channel in channels
    )
    groups: dict[tuple[int, str, bool], list[int]] = {}
    for index, channel in enumerate(channels):
        role = channel_role(build, channel)
        rank = role_row(role)[0]
        # With a left and a right on stage, a centre loudspeaker of any treble role fills between them.
        fill = front and (role in FILL_ROLES or (sides[channel] == "centre" and rank >= role_row("midrange")[0]))
        groups.setdefault((rank + 10 * fill, role, fill), []).append(index)
    ways = []
    for (_, role, fill), members in sorted(groups.items()):
        ranges = [safe_range(build, channels[index]) for index in members]
        ways.append(Way(role, tuple(members), max(r[0] for r in ranges), min(r[1] for r in ranges), fill))
    return ways


def find_crossovers(build: Build, ways: list[Way]) -> list[Crossover]:
    """Hand-overs between neighbouring ways of the front stage, with the range each may lie in."""
    stage = [index for index, way in enumerate(ways) if not way.fill]
    found = []
    for lower, upper in zip(stage, stage[1:], strict=False):
        try:
            low, usual, high = crossover_range(ways[lower].role, ways[upper].role)
        except KeyError:
            low, high = ways[upper].low_hz, ways[lower].high_hz
            usual = (low * high) ** 0.5
        low, high = max(low, ways[upper].low_hz), min(high, ways[lower].high_hz)
        if low > high:  # the ranges leave a gap: the protected loudspeaker wins
            low = high = ways[upper].low_hz
        found.append(Crossover(lower, upper, low, min(max(usual, low), high), high, "Linkwitz-Riley", 24))
    return found


def edges_for(build: Build, ways: list[Way], crossovers: list[Crossover]) -> tuple[Edge, ...]:
    """All corners: two for each crossover, and a protective one wherever a loudspeaker would go without."""
    assert build.processor is not None
    edges: list[Edge] = []
    guarded, capped = set(), set()
    for pair, item in enumerate(crossovers):
        low_way, high_way = ways[item.lower], ways[item.upper]
        # A gentle slope lets more through below its corner: keep it further from the loudspeaker's limit.
        floor = high_way.low_hz * (1.4 if item.slope_db_per_octave < 18 and high_way.role == "tweeter" else 1.0)
        low, high = max(item.low_hz, floor), max(item.high_hz, floor)
        guess = min(max(item.usual_hz, low), high)
        family, slope = item.family, item.slope_db_per_octave
        edges.append(Edge("low-pass", low_way.channels, family, slope, guess, item.low_hz, high, pair=pair))  # type: ignore[arg-type]
        edges.append(Edge("high-pass", high_way.channels, family, slope, guess, low, high, pair=pair))  # type: ignore[arg-type]
        guarded.add(item.upper)
        capped.add(item.lower)
    slopes = sorted(build.processor.crossover_slopes_db_per_octave)
    family = "Butterworth" if "Butterworth" in build.processor.crossover_families else "Linkwitz-Riley"
    slope = next((s for s in slopes if s >= PROTECTIVE_SLOPE and (family == "Butterworth" or s % 12 == 0)), 12)
    for index, way in enumerate(ways):
        if index not in guarded:
            edges.append(
                Edge("high-pass", way.channels, family, slope, way.low_hz, way.low_hz, way.low_hz, free=False)
            )
        if index not in capped and way.high_hz < 15000.0:
            edges.append(
                Edge("low-pass", way.channels, family, slope, way.high_hz, way.high_hz, way.high_hz, free=False)
            )
    return tuple(edges)
