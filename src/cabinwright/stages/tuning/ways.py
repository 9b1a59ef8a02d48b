"""How the channels divide the spectrum among themselves: ways, their crossovers, and every loudspeaker's safe range."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from cabinwright.build.document import Build, Processor
from cabinwright.build.document import Crossover as Wish
from cabinwright.physics.filters import Family
from cabinwright.stages.tuning.model import Corner, Edge
from cabinwright.stages.tuning.sides import channel_side
from cabinwright.tables import crossover_range, role_row

__all__ = [
    "FILL_ROLES",
    "Crossover",
    "Way",
    "channel_role",
    "crossover_kinds",
    "edges_for",
    "find_crossovers",
    "find_ways",
    "safe_range",
]

FILL_ROLES = ("rear fill", "centre")
GENTLE_MARGIN = 1.4
HIGHEST_SHARE = 0.45  #: of the sample rate: no corner lies above


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
    family: Family = "Linkwitz-Riley"
    slope_db_per_octave: int = 24
    kind_kept: bool = False  #: family and slope are the person's wish
    wished_hz: float | None = None  #: the frequency is the person's wish


def channel_role(build: Build, channel: str) -> str:
    """The role of the channel's lowest speaker: it sets what the channel may be given."""
    roles = {speaker.name: speaker.role for speaker in build.speakers}
    members = {item.name: item.speakers for item in build.channels}[channel]
    return min((roles[name] for name in members), key=lambda role: role_row(role)[0])


def safe_range(build: Build, channel: str) -> tuple[float, float, str]:
    """Lowest and highest frequency in Hz the channel may be given, and where that comes from.

    Where speakers of several roles hang on one channel, a passive network hands the lows to the largest of them: the
    channel's lower limit is that speaker's, its upper limit the highest of all.
    """
    speakers = {speaker.name: speaker for speaker in build.speakers}
    members = [speakers[name] for name in {item.name: item.speakers for item in build.channels}[channel]]
    role = channel_role(build, channel)
    lows = [s.safe_low_hz or role_row(s.role)[1] for s in members if s.role == role]
    highs = [s.safe_high_hz or role_row(s.role)[2] for s in members]
    stated = any(s.safe_low_hz for s in members if s.role == role)  # the end at which a loudspeaker is harmed
    return max(lows), max(highs), "the build" if stated else "common practice for its role, no source"


def find_ways(build: Build, channels: tuple[str, ...]) -> list[Way]:
    """Ways from low to high; fills last. Channels of like role and rank form one way, whatever their side."""
    sides = {channel: channel_side(build, channel) for channel in channels}
    roles = {channel: channel_role(build, channel) for channel in channels}
    ranks = {channel: role_row(role)[0] for channel, role in roles.items()}
    main = [c for c in channels if roles[c] not in FILL_ROLES and ranks[c] >= role_row("midbass")[0]]
    sided = any(sides[c] != "centre" and roles[c] not in FILL_ROLES for c in channels)
    # Beside a stage of their own kind these fill; alone, or with nothing but bass, they are the stage.
    fills = set(FILL_ROLES) if main or sided else {"rear fill"} if "centre" in roles.values() else set()
    groups: dict[tuple[int, str, bool], list[int]] = {}
    for index, channel in enumerate(channels):
        role, rank = roles[channel], ranks[channel]
        # With a left and a right on stage, a centre loudspeaker of any treble role fills between them.
        fill = role in fills or (sided and sides[channel] == "centre" and rank >= role_row("midrange")[0])
        groups.setdefault((rank + 10 * fill, role, fill), []).append(index)
    ways = []
    for (_, role, fill), members in sorted(groups.items()):
        ranges = [safe_range(build, channels[index]) for index in members]
        ways.append(Way(role, tuple(members), max(r[0] for r in ranges), min(r[1] for r in ranges), fill))
    return ways


def find_crossovers(build: Build, ways: list[Way], channels: tuple[str, ...]) -> list[Crossover]:
    """Hand-overs between neighbouring ways of the front stage, with the range each may lie in; wishes are kept."""
    stage = [index for index, way in enumerate(ways) if not way.fill]
    found = []
    for lower, upper in pairwise(stage):
        low, usual, high = crossover_range(ways[lower].role, ways[upper].role)
        low, high = max(low, ways[upper].low_hz), min(high, ways[lower].high_hz)
        if low > high:  # the safe ranges leave a gap: the loudspeaker that could be harmed wins
            low = high = ways[upper].low_hz
        item = Crossover(lower, upper, low, min(max(usual, low), high), high)
        found.append(_wished(build, item, ways, channels))
    return found


def _wished(build: Build, item: Crossover, ways: list[Way], channels: tuple[str, ...]) -> Crossover:
    """The crossover with what the person asked for, by role or by channel."""

    for wish in build.tuning.crossovers if build.tuning else ():
        if not wish_means(wish, item, ways, channels):
            continue
        if wish.frequency_hz is not None:
            hertz = wish.frequency_hz
            item = replace(item, low_hz=hertz, usual_hz=hertz, high_hz=hertz, wished_hz=hertz)
        if wish.family is not None or wish.slope_db_per_octave is not None:
            family, slope = _kind_wished(build.processor or Processor(), wish.family, wish.slope_db_per_octave)
            item = replace(item, family=family, slope_db_per_octave=slope, kind_kept=True)
    return item


def wish_means(wish: Wish, item: Crossover, ways: list[Way], channels: tuple[str, ...]) -> bool:
    """Whether a wish of the build speaks of this crossover, by role or by channel."""

    def named(name: str, way: Way) -> bool:
        return name == way.role or any(channels[index] == name for index in way.channels)

    return named(wish.lower, ways[item.lower]) and named(wish.upper, ways[item.upper])


def _kind_wished(processor: Processor, family: Family | None, slope: int | None) -> tuple[Family, int]:
    """What was asked for, the rest from what the processor has: Linkwitz-Riley of 24 dB per octave where it may be."""
    wanted = slope or 24
    usual: tuple[Family, int] = (family or ("Butterworth" if wanted % 12 else "Linkwitz-Riley"), wanted)
    kinds = crossover_kinds(processor, gentlest_db_per_octave=6)
    fits = [kind for kind in kinds if family in (None, kind[0]) and slope in (None, kind[1])]
    return usual if usual in fits or not fits else fits[-1]


def edges_for(processor: Processor, ways: list[Way], crossovers: list[Crossover]) -> tuple[Edge, ...]:
    """All corners: two for each crossover, and a protective one wherever a loudspeaker would go without."""
    edges: list[Edge] = []
    for pair, item in enumerate(crossovers):
        upper = ways[item.upper]
        floor = _floor_hz(upper, item.slope_db_per_octave)
        high = max(item.high_hz, floor)
        low = max(item.low_hz, floor)
        guess = min(max(item.usual_hz, low), high)
        family, slope = item.family, item.slope_db_per_octave
        below = ways[item.lower].channels
        lowest = low if item.low_hz == item.high_hz else item.low_hz  # what is given holds for both corners
        edges.append(Edge("low-pass", below, family, slope, guess, lowest, high, pair=pair))
        edges.append(Edge("high-pass", upper.channels, family, slope, guess, low, high, pair=pair))
    guarded, capped = {item.upper for item in crossovers}, {item.lower for item in crossovers}
    family, slope = _protective_kind(processor)
    for index, way in enumerate(ways):
        ends: list[tuple[Corner, float]] = [] if index in guarded else [("high-pass", _floor_hz(way, slope))]
        if index not in capped and way.high_hz < 15000.0:
            ends.append(("low-pass", way.high_hz))
        edges += [
            Edge(end, way.channels, family, slope, hertz, low_hz=hertz, high_hz=hertz, free=False)
            for end, hertz in ends
        ]
    top = HIGHEST_SHARE * processor.sample_rate_hz
    return tuple(
        replace(e, frequency_hz=min(e.frequency_hz, top), low_hz=min(e.low_hz, top), high_hz=min(e.high_hz, top))
        for e in edges
    )


def _floor_hz(way: Way, slope_db_per_octave: int) -> float:
    """Lowest corner of a way's high-pass. A gentle slope lets more through: it stays further from a tweeter's limit."""
    gentle = slope_db_per_octave < 18 and way.role == "tweeter"
    return way.low_hz * (GENTLE_MARGIN if gentle else 1.0)


def crossover_kinds(processor: Processor, *, gentlest_db_per_octave: int = 12) -> list[tuple[Family, int]]:
    """Families and slopes the processor has, none gentler than asked for unless it has no other; never empty."""
    kinds: list[tuple[Family, int]] = [
        (family, slope)
        for family in processor.crossover_families
        for slope in sorted(processor.crossover_slopes_db_per_octave)
        if not (family == "Linkwitz-Riley" and slope % 12)
    ]
    return [kind for kind in kinds if kind[1] >= gentlest_db_per_octave] or kinds[-1:]


def _protective_kind(processor: Processor) -> tuple[Family, int]:
    """The gentlest slope of at least 12 dB per octave that the processor has, without overshoot where it has the choice."""
    return min(crossover_kinds(processor), key=lambda kind: (kind[0] != "Butterworth", kind[1]))
