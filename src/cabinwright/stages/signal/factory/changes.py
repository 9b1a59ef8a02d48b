"""What changes with level and volume: a limiter shows on the ladder, a loudness contour between volumes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.factory import PER_OCTAVE, FactoryCapture
from cabinwright.stages.signal.factory.facts import Content, level_db
from cabinwright.stages.signal.factory.result import Change

__all__ = ["Ladder", "change", "climb"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LINEAR_DB = 0.7  #: a rung that departs so far is not linear any more
CLEAR_DB = 15.0  #: a third octave of a rung is judged where it is so far above its noise
NEAR_DB = 20.0  #: and no further below the passband
NOTHING_DB = (
    25.0  #: an output that carries so little of both together (a difference of the sides) tells nothing on the ladder
)
BAND = PER_OCTAVE // 3


@dataclass(frozen=True)
class Ladder:
    """How one capture answers to level: ``ratio`` (rungs, F) against its own small signal, 1 where it is linear."""

    ratio: Complex
    linear: tuple[bool, ...]  #: by rung; all that lie above a bent one count as bent
    always: bool  #: bent even at the lowest levels
    worst_db: float  #: largest departure at the top
    worst_hz: float | None

    def linear_to_db(self, ladder_db: tuple[float, ...]) -> float | None:
        """The highest rung that is still linear, dB below full scale; None where none is."""
        good = [level for level, fine in zip(ladder_db, self.linear, strict=True) if fine]
        return good[-1] if good else None


def climb(capture: FactoryCapture, facts: Content, frequency_hz: Real) -> Ladder:
    """Compare every rung with the small signal on both sides, third octave by third octave."""
    kernel = np.ones(BAND + 1)
    base = capture.both

    def spread(values: Real | Complex) -> Complex:
        return np.asarray(np.convolve(values, kernel, mode="same"), dtype=np.complex128)

    power = np.maximum(spread(np.abs(base) ** 2).real, 1e-30)
    level = level_db(base)
    worth = (level > facts.passband_db - NEAR_DB) & (level > capture.noise_db + CLEAR_DB)
    if level[facts.passband].max(initial=-300.0) < facts.passband_db - NOTHING_DB:
        worth[:] = False
    together = spread((capture.left + capture.right) * base.conj()) / power
    ratios: list[Complex] = []
    linear: list[bool] = []
    worst_db, worst_hz = 0.0, None
    # Each side alone plays as loud as both together do: where they do not add up, not even that is small.
    always = bool(np.any(worth & (np.abs(level_db(together)) > LINEAR_DB)))
    for number, rung in enumerate(capture.ladder):
        ratio = spread(rung * base.conj()) / power
        clear = worth & (level_db(rung) > capture.ladder_noise_db[number] + CLEAR_DB)
        departs = np.where(worth, level_db(ratio), 0.0)
        # Where noise rules, a rung can still be found weaker than it should be by much.
        unsure = worth & ~clear & (departs > -6.0)
        departs = np.where(unsure, 0.0, departs)
        fine = bool(np.all(np.abs(departs) <= LINEAR_DB))
        if number < 2 and not fine:
            always = True
        linear.append(fine and not always and all(linear))
        ratios.append(np.where(departs == 0.0, 1.0 + 0j, ratio))
        at = int(np.argmax(np.abs(departs)))
        worst_db = float(departs[at])
        worst_hz = float(frequency_hz[at]) if abs(worst_db) > LINEAR_DB else None
    return Ladder(np.stack(ratios), tuple(linear), always, worst_db, worst_hz)


def change(
    capture: FactoryCapture,
    facts: Content,
    ladder: Ladder,
    base: FactoryCapture | None,
    frequency_hz: Real,
    ladder_db: tuple[float, ...],
) -> Change:
    """One volume of one output against the volume ``base`` that the repair is made for."""
    gain = contour = where = None
    if base is not None:
        first = np.abs(base.left) ** 2 + np.abs(base.right) ** 2
        now = np.abs(capture.left) ** 2 + np.abs(capture.right) ** 2
        apart = 10.0 * np.log10(now / first)
        smooth = np.convolve(apart, np.ones(5) / 5.0, mode="same")
        gain = float(np.median(apart[facts.passband]))
        inner = np.flatnonzero(facts.passband)
        at = int(inner[np.argmax(np.abs(smooth[inner] - gain))])
        contour = float(smooth[at] - gain)
        where = float(frequency_hz[at])
    top = float(capture.distortion[-1])
    return Change(
        volume=capture.volume,
        gain_db=gain,
        contour_db=contour,
        contour_hz=where,
        linear_to_db=ladder.linear_to_db(ladder_db),
        limited_db=ladder.worst_db,
        limited_hz=ladder.worst_hz,
        distortion=top if np.isfinite(top) else None,
    )
