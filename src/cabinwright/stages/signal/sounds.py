"""Whether the car's own sounds are heard in every preset: the way of each, how loud it is, and in which state it is not.

A sound may come on either side and lie anywhere between 500 Hz and 4 kHz; its weaker side and its weakest pitch count.
Its level is held against a preset of its own source with the default routes and every amplifier on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.chain import Preset, Route, Sound
from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.power.states import words
from cabinwright.stages.signal.arrivals import Arrival
from cabinwright.stages.signal.chain import ChainGraph, carriers
from cabinwright.stages.signal.routes import CarriedBy, carried_by, default_routes, gains_of
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["SOUND_HZ", "Heard", "Listener", "listener", "remarks"]

Real = NDArray[np.float64]

SOUND_HZ = 500.0 * 2.0 ** (np.arange(7) / 2.0)  #: half octaves from 500 Hz to 4 kHz
OWN_DB = -30.0  #: a pitch that its own preset carries weaker than this against its strongest does not count
HEARD_DB = -40.0  #: a loudspeaker weaker than this against the strongest is not named


@dataclass(frozen=True)
class Heard:
    """One sound in one preset."""

    reaches: bool  #: whether a loudspeaker gets it at a usable level in every state that matters
    level_db: float | None  #: against a preset of its own source, in the worst state; None where nothing of it is heard
    speakers: tuple[str, ...]  #: in that state
    source: str | None  #: the source it comes from here
    state: dict[str, str] | None = None  #: the worst state, where amplifiers are off in some
    reason: str = ""  #: why it does not reach

    def to_dict(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in ("reaches", "level_db", "speakers", "source", "state", "reason")}


@dataclass(frozen=True)
class Listener:
    """What is the same for every preset."""

    build: Build
    carried: list[CarriedBy]  #: at ``SOUND_HZ``
    sides: dict[str, tuple[str, ...]]  #: by source: the sides on which it arrives
    offs: tuple[tuple[frozenset[str], dict[str, str] | None], ...]  #: amplifiers that are off together, and a state

    def heard(self, preset: Preset, routes: tuple[Route, ...], sound: Sound, own_db: dict[str, float]) -> Heard:
        """The strongest way of a sound in a preset. ``own_db``: how far a source's own trim is below equal loudness."""
        levels = {preset.source: 0.0} | {row.source: row.level_db for row in preset.also}
        here = [row.name for row in carriers(self.build, sound) if row.name in levels]
        if not here and not carriers(self.build, sound):
            return Heard(False, None, (), None, reason="no source carries it")
        if not here:
            others = " or ".join(f"“{row.name}”" for row in carriers(self.build, sound))
            return Heard(False, None, (), None, reason=f"only {others} carries it, which this preset leaves out")
        found = [self._from(name, levels[name] + own_db.get(name, 0.0), routes) for name in here]
        return max(found, key=lambda item: float("-inf") if item.level_db is None else item.level_db)

    def _from(self, source: str, level_db: float, routes: tuple[Route, ...]) -> Heard:
        worst: Heard | None = None
        for off, state in self.offs:
            change, speakers = self._change_db(source, routes, off)
            if change is None or not np.isfinite(change + level_db):
                at = f"with {words(state)} " if state else ""
                why = f"{at}no loudspeaker that carries 500 Hz to 4 kHz gets it on every side it may come on"
                return Heard(False, None, speakers, source, state, why)
            level = round(change + level_db, 2) + 0.0
            if worst is None or worst.level_db is None or level < worst.level_db:
                worst = Heard(True, level, speakers, source, state)
        assert worst is not None and worst.level_db is not None
        usable = self.build.chain.usable_db
        if worst.level_db < usable:
            return replace(worst, reaches=False, reason=f"{worst.level_db:g} dB, where {usable:g} dB are usable")
        return worst

    def _change_db(
        self, source: str, routes: tuple[Route, ...], off: frozenset[str]
    ) -> tuple[float | None, tuple[str, ...]]:
        """Level against the default routes with everything on, at the weakest pitch of the weaker side; who sounds."""
        given, usual = gains_of(routes), gains_of(default_routes(self.build))
        worst, strong = float("inf"), dict[str, float]()
        for side in self.sides.get(source, ()):
            column = 0 if side == "left" else 1
            wanted, got = np.zeros(len(SOUND_HZ)), np.zeros(len(SOUND_HZ))
            for item in self.carried:
                wanted += item.power * usual[item.channel][column] ** 2
                if item.amplifier in off:
                    continue
                part = item.power * given.get(item.channel, (0.0, 0.0))[column] ** 2
                got += part
                for name in item.speakers:
                    strong[name] = max(strong.get(name, 0.0), float(part.max()))
            counts = wanted > wanted.max(initial=0.0) * 10.0 ** (OWN_DB / 10.0)
            if not counts.any():
                return None, ()
            worst = min(worst, float(np.min(got[counts] / wanted[counts])))
        limit = max(strong.values(), default=0.0) * 10.0 ** (HEARD_DB / 10.0)
        speakers = tuple(name for name, power in strong.items() if power > limit)
        return (None if not np.isfinite(worst) or worst <= 0.0 else float(10.0 * np.log10(worst))), speakers


def listener(
    build: Build,
    graph: ChainGraph,
    arrived: dict[str, tuple[Arrival, ...]],
    tuned: TuningResult | None,
    power: PowerResult | None,
) -> Listener:
    """Prepare to listen to presets; ``arrived`` holds the ways of each source into the processor."""
    sides = dict[str, tuple[str, ...]]()
    for name, found in arrived.items():
        on = {item.side for item in found}
        sides[name] = ("left", "right") if "both" in on else tuple(side for side in ("left", "right") if side in on)
    carried = carried_by(build, graph, tuned, SOUND_HZ, sounds=True)
    return Listener(build, carried, sides, tuple(_offs(build, power)))


def _offs(build: Build, power: PowerResult | None) -> Iterator[tuple[frozenset[str], dict[str, str] | None]]:
    """Sets of amplifiers that are off together while the car sounds something, each with the first state that has it."""
    loads = {row.name: row.load or row.name for row in build.amplifiers}
    known = {name: power.loads[load].on for name, load in loads.items() if power and load in power.loads}
    if power is None or not known:
        yield frozenset(), None
        return
    on = np.array(list(known.values()))
    stated = build.chain.warns_when
    rows = np.flatnonzero(power.states.where_any(stated) if stated else on.any(axis=0))
    seen: set[frozenset[str]] = set()
    for row in rows:
        off = frozenset(name for name, flag in zip(known, on[:, row], strict=True) if not flag)
        if off not in seen:
            seen.add(off)
            yield off, power.states.assignment(int(row))
    if not seen:
        yield frozenset(), None


def remarks(build: Build, heard: Mapping[str, Mapping[Sound, Heard]]) -> Iterator[Finding]:
    """A ``stop`` for every sound that a preset loses, and what no source carries. ``heard`` is by preset and sound."""
    for preset, sounds in heard.items():
        for sound, item in sounds.items():
            if item.reaches or not carriers(build, sound):
                continue
            yield finding(
                "signal.sound_lost", where=preset, value=item.level_db, limit=build.chain.usable_db, unit="dB",
                sound=sound, reason=item.reason, cure=_cure(build, item, sound),
            )  # fmt: skip
    for sound in dict.fromkeys(build.chain.must_hear):
        if build.sources and not carriers(build, sound):
            yield finding("signal.sound_undeclared", where=sound)


def _cure(build: Build, item: Heard, sound: Sound) -> str:
    if item.source is None:
        first = carriers(build, sound)[0].name
        return f'Mix it in: write also = {{source = "{first}"}} into this preset.'
    if item.state is not None and item.level_db is None:
        return "Keep the amplifier of a midrange, midbass or tweeter on in that state, or route it to one that is."
    if item.level_db is None:
        return "Route both sides to a channel with a midbass, midrange or tweeter, at a level that is heard."
    return f"Raise its level_db or its routes in this preset until it is at least {build.chain.usable_db:g} dB."
