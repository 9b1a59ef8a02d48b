"""From candidates to the branches of one side, and both sides brought to one level and one moment."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Processor
from cabinwright.physics.filters import Filter
from cabinwright.stages.signal.factory.align import aligned
from cabinwright.stages.signal.factory.choose import Candidate, choices
from cabinwright.stages.signal.factory.facts import level_db
from cabinwright.stages.signal.factory.flatten import flattened, snapped
from cabinwright.stages.signal.factory.model import Sum, ripple_db
from cabinwright.stages.signal.factory.result import Branch

__all__ = ["Side", "levelled", "make_side", "phase_apart_deg"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

IN_STEP_HZ = (100.0, 4000.0)  #: where the ear places sounds by what arrives when
SIZE_DB, OTHER_DB = 0.3, 0.1  #: ripple that an output less, or a dB less of the other side, is worth
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
        at = self.sum
        rows = []
        for number, item in enumerate(self.group):
            filters = [
                Filter("peaking", bell.frequency_hz, gain_db=bell.gain_db, q=bell.q)
                for bell in sorted(at.bells, key=lambda bell: bell.frequency_hz)
                if bell.on[number]
            ]
            turn = at.turns[number] if at.turns else None
            if turn is not None:
                filters.append(Filter("all-pass", turn[0], q=turn[1]))
            rows.append(
                Branch(
                    output=item.name,
                    gain_db=float(np.round(at.gain_db[number], 6)) + 0.0,
                    polarity="inverted" if at.inverted[number] else "normal",
                    delay_s=float(at.delay_s[number]),
                    filters=tuple(filters),
                )
            )
        return tuple(rows)


def make_side(
    candidates: list[Candidate], frequency_hz: Real, processor: Processor, *, sample_rate_hz: float
) -> Side | None:
    """The best of the most promising sets; None where no set carries the whole band."""
    best: tuple[float, Side] | None = None
    for group in choices(candidates):
        start = Sum(
            frequency_hz=frequency_hz,
            sample_rate_hz=sample_rate_hz,
            own=np.stack([item.own for item in group]),
            gain_db=np.array([-item.passband_db for item in group]),
            even_db=np.array([-item.passband_db for item in group]),
            inverted=tuple(item.inverted for item in group),
            delay_s=np.array([max(other.delay_s for other in group) - item.delay_s for item in group]),
        )
        fitted = snapped(flattened(aligned(start, all_passes=processor.all_pass_filters), processor), processor)
        side = Side(group, fitted)
        other = float(np.mean(np.maximum(side.other_side_db() + FREE_DB, 0.0)))
        cost = side.ripple_db + SIZE_DB * len(group) + OTHER_DB * other
        if best is None or cost < best[0]:
            best = (cost, side)
    return best[1] if best else None


def levelled(sides: dict[str, Side], processor: Processor) -> dict[str, Side]:
    """Left and right equally loud, arriving together, of one polarity, and no gain above what the processor allows."""
    level = {name: float(np.mean(side.sum.level_db())) for name, side in sides.items()}
    step = processor.gain_step_db
    gains = {name: side.sum.gain_db + np.round(-level[name] / step) * step for name, side in sides.items()}
    room = min(processor.gain_max_db, 0.0) - max(float(gain.max()) for gain in gains.values())
    shift = np.floor(room / step + 1e-9) * step
    late, opposed = _late_s(sides["left"], sides["right"])
    inverted = {name: side.sum.inverted for name, side in sides.items()}
    if opposed:
        inverted["right"] = tuple(not item for item in inverted["right"])
    delays = {name: side.sum.delay_s for name, side in sides.items()}
    early = "right" if late > 0.0 else "left"
    delays[early] = delays[early] + round(abs(late) / processor.delay_step_s) * processor.delay_step_s
    least = min(float(delay.min()) for delay in delays.values())
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
    frequency = left.sum.frequency_hz
    cross = left.total() * right.total().conj()
    best, reach = 0.0, 0.06
    for step in (1e-5, 2e-7):
        tried = best + np.arange(-reach, reach + step, step)
        best = float(tried[int(np.argmax(np.abs((np.exp(2j * np.pi * tried[:, None] * frequency) @ cross).real)))])
        reach = 2e-5
    return best, bool(np.sum(cross * np.exp(2j * np.pi * frequency * best)).real < 0.0)


def phase_apart_deg(sides: dict[str, Side]) -> float:
    """Largest angle between both sums where the ear places sounds."""
    frequency = sides["left"].sum.frequency_hz
    angle = np.degrees(np.angle(sides["left"].total() * sides["right"].total().conj()))
    here = (frequency >= IN_STEP_HZ[0]) & (frequency <= IN_STEP_HZ[1])
    return float(np.max(np.abs(angle[here])))
