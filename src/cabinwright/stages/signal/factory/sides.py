"""From candidates to the branches of one side, and both sides brought to one level and one moment."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Processor
from cabinwright.physics.filters import Filter
from cabinwright.stages.signal.factory.align import aligned, matched
from cabinwright.stages.signal.factory.choose import Candidate, Member, choices
from cabinwright.stages.signal.factory.delay import best_delay
from cabinwright.stages.signal.factory.facts import level_db
from cabinwright.stages.signal.factory.flatten import fitted, flattened, snapped
from cabinwright.stages.signal.factory.model import Sum, ripple_db
from cabinwright.stages.signal.factory.result import Branch
from cabinwright.stages.signal.factory.turn import turned

__all__ = ["Side", "levelled", "make_sides", "phase_apart_deg"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

IN_STEP_HZ = (100.0, 4000.0)  #: where the ear places sounds by what arrives when
SIZE_DB, OTHER_DB = 0.3, 0.1  #: ripple that an output less, or a dB less of the other side, is worth
POOR_DB, POOR = 0.5, 3.0  #: ripple above this counts for so much more
APART_DB = 0.02  #: ripple that a degree less between the sides is worth
LATE_S = 0.06  #: one side against the other
FAR_S, TURNED_S, NEAR_S = 0.03, 2e-3, 0.3e-3  #: how far a delay is looked for, before and after filters
FREE_DB = 30.0


@dataclass(frozen=True)
class Side:
    """One side's sum, fitted and on the processor's grid."""

    group: tuple[Candidate, ...]
    sum: Sum

    @property
    def ripple_db(self) -> float:
        """Deviation from flat."""
        return ripple_db(self.sum.level_db())

    def total(self, carried: Complex | None = None) -> Complex:
        """The sum (F,), of the wanted side or of ``carried`` (J, F)."""
        return np.asarray(np.sum(self.sum.parts(carried), axis=0))

    def other_side_db(self) -> Real:
        """The other side in this sum against its own (F,)."""
        return level_db(self.total(np.stack([item.cross for item in self.group]))) - level_db(self.total())

    def branches(self) -> tuple[Branch, ...]:
        """What to key in."""
        return tuple(self._branch(number, part) for number, item in enumerate(self.group) for part in item.members)

    def _branch(self, number: int, part: Member) -> Branch:
        at = self.sum
        bells = [*part.bells, *(bell for bell in at.bells if bell.on[number])]
        filters = [
            Filter("peaking", bell.frequency_hz, gain_db=bell.gain_db, q=bell.q)
            for bell in sorted(bells, key=lambda bell: bell.frequency_hz)
        ]
        turn = at.turns[number] if at.turns else None
        if turn is not None:
            filters.append(Filter("all-pass", turn[0], q=turn[1]))
        return Branch(
            output=part.output,
            gain_db=float(np.round(at.gain_db[number] + part.gain_db, 6)) + 0.0,
            polarity="inverted" if at.inverted[number] != part.inverted else "normal",
            delay_s=float(at.delay_s[number] + part.delay_s),
            filters=tuple(filters),
        )

    @property
    def highest_db(self) -> float:
        """The largest gain of its branches."""
        return max(
            float(self.sum.gain_db[k]) + part.gain_db for k, item in enumerate(self.group) for part in item.members
        )


@dataclass(frozen=True)
class _Way:
    """One set of outputs, aligned and flattened, and what is wrong with it."""

    cost: float
    side: Side


def make_sides(
    candidates: dict[str, list[Candidate]], frequency_hz: Real, processor: Processor, *, sample_rate_hz: float
) -> dict[str, Side] | str:
    """Left and right, each flat and both of one phase; or the name of a side that no set carries.

    Each side is made by itself. Then either one follows the other: its outputs are laid to the phase of the other's sum.
    """
    starts = {
        name: [_start(group, frequency_hz, sample_rate_hz) for group in choices(rows)]
        for name, rows in candidates.items()
    }
    for name, rows in starts.items():
        if not rows:
            return name
    alone = {name: [_alone(start, processor) for start in rows] for name, rows in starts.items()}
    best = {name: min(rows, key=lambda way: way.cost) for name, rows in alone.items()}
    found = [_both(best["left"].side, best["right"].side)]
    for lead, other in (("left", "right"), ("right", "left")):
        for start in starts[other]:
            follower = _following(start, best[lead].side, processor)
            found.append(_both(*((best[lead].side, follower) if lead == "left" else (follower, best[lead].side))))
    return min(found, key=lambda row: row[0])[1]


def _start(group: tuple[Candidate, ...], frequency_hz: Real, rate: float) -> Side:
    level = np.array([-item.passband_db for item in group])
    return Side(
        group,
        Sum(
            frequency_hz=frequency_hz,
            sample_rate_hz=rate,
            own=np.stack([item.own for item in group]),
            gain_db=level,
            even_db=level,
            inverted=tuple(item.inverted for item in group),
            delay_s=np.array([max(other.delay_s for other in group) - item.delay_s for item in group]),
            taken=tuple(max(len(part.bells) for part in item.members) for item in group),
        ),
    )


def _alone(start: Side, processor: Processor) -> _Way:
    at = snapped(flattened(aligned(start.sum, all_passes=processor.all_pass_filters), processor), processor)
    side = replace(start, sum=at)
    return _Way(_cost(side), side)


def _following(start: Side, lead: Side, processor: Processor) -> Side:
    """Laid to the phase of ``lead``, flattened, laid to it once more with its filters on."""
    follow = lead.total()
    at = flattened(matched(start.sum, follow, reach_s=FAR_S), processor, follow)
    if processor.all_pass_filters and (turn := turned(at, follow)) is not at:
        at = flattened(matched(replace(turn, bells=()), follow, reach_s=TURNED_S), processor, follow)
    at = fitted(matched(at, follow, reach_s=NEAR_S), processor, follow)
    return replace(start, sum=snapped(at, processor, follow))


def _cost(side: Side) -> float:
    other = float(np.mean(np.maximum(side.other_side_db() + FREE_DB, 0.0)))
    outputs = sum(len(item.members) for item in side.group)
    return side.ripple_db + POOR * max(side.ripple_db - POOR_DB, 0.0) + SIZE_DB * outputs + OTHER_DB * other


def _both(left: Side, right: Side) -> tuple[float, dict[str, Side]]:
    """Both sides in time, and what is wrong with them."""
    late, opposed = _late_s(left, right)
    turn = np.exp(2j * np.pi * left.sum.frequency_hz * late) * (-1.0 if opposed else 1.0)
    angle = np.degrees(np.angle(left.total() * right.total().conj() * turn))
    here = (left.sum.frequency_hz >= IN_STEP_HZ[0]) & (left.sum.frequency_hz <= IN_STEP_HZ[1])
    apart = float(np.max(np.abs(angle[here])))
    return _cost(left) + _cost(right) + APART_DB * apart, {"left": left, "right": right}


def levelled(sides: dict[str, Side], processor: Processor) -> dict[str, Side]:
    """Left and right equally loud, arriving together, of one polarity, and no gain above what the processor allows."""
    level = {name: float(np.mean(side.sum.level_db())) for name, side in sides.items()}
    step = processor.gain_step_db
    gains = {name: side.sum.gain_db + np.round(-level[name] / step) * step for name, side in sides.items()}
    sides = {name: replace(side, sum=replace(side.sum, gain_db=gains[name])) for name, side in sides.items()}
    room = min(processor.gain_max_db, 0.0) - max(side.highest_db for side in sides.values())
    shift = np.floor(room / step + 1e-9) * step
    late, opposed = _late_s(sides["left"], sides["right"])
    inverted = {name: side.sum.inverted for name, side in sides.items()}
    if opposed:
        inverted["right"] = tuple(not item for item in inverted["right"])
    delays = {name: side.sum.delay_s for name, side in sides.items()}
    early = "right" if late > 0.0 else "left"
    delays[early] = delays[early] + round(abs(late) / processor.delay_step_s) * processor.delay_step_s
    least = min(
        float(delays[name][k]) + part.delay_s
        for name, side in sides.items()
        for k, item in enumerate(side.group)
        for part in item.members
    )
    delays = {name: np.minimum(delay - least, processor.delay_max_s) for name, delay in delays.items()}
    return {
        name: replace(
            side,
            sum=replace(
                side.sum,
                gain_db=np.maximum(gains[name] + shift, processor.gain_min_db),
                delay_s=delays[name],
                inverted=inverted[name],
            ),
        )
        for name, side in sides.items()
    }


def _late_s(left: Side, right: Side) -> tuple[float, bool]:
    """By how much the left sum comes later, and whether the two are of opposite polarity."""
    cross = left.total() * right.total().conj()
    late, agree = best_delay(cross, left.sum.frequency_hz, reach_s=LATE_S)
    return late, agree < 0.0


def phase_apart_deg(sides: dict[str, Side]) -> float:
    """Largest angle between both sums where the ear places sounds."""
    frequency = sides["left"].sum.frequency_hz
    angle = np.degrees(np.angle(sides["left"].total() * sides["right"].total().conj()))
    here = (frequency >= IN_STEP_HZ[0]) & (frequency <= IN_STEP_HZ[1])
    return float(np.max(np.abs(angle[here])))
