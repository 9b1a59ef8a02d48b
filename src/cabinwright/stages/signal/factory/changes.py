"""What changes with level and volume: a limiter shows on the ladder, a loudness contour between volumes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.factory import PER_OCTAVE, FactoryCapture
from cabinwright.stages.signal.factory.facts import Content, level_db
from cabinwright.stages.signal.factory.result import Change

__all__ = ["Ladder", "change", "climb"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LINEAR_DB = 0.7  #: a rung that departs so far is not linear any more
SHAPE_TO_HZ = 17_000.0  #: above, recorders of unlike rates differ by themselves
CLEAR_DB = 15.0  #: a third octave of a rung is judged where it is so far above its noise
NEAR_DB = 20.0  #: and no further below the passband
NOTHING_DB = (
    25.0  #: an output that carries so little of both together (a difference of the sides) tells nothing on that ladder
)
BAND = PER_OCTAVE // 3


@dataclass(frozen=True)
class _Climb:
    """One ladder: rungs (rungs, F) and their noise, against the same sides at a small level."""

    base: Complex
    base_noise_db: Real
    rungs: Complex
    noise_db: Real


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
    """Every rung against the small signal of the same sides, by third octaves; the ladder that bends more counts."""
    heard = [way for way in _climbs(capture) if _carried(way, facts)]
    found = [_judged(way, capture, facts, frequency_hz) for way in heard]
    if not found:
        flat = np.ones_like(capture.ladder)
        return Ladder(flat, (True,) * len(flat), False, 0.0, None)
    worst = max(found, key=lambda item: abs(item.worst_db))
    linear = tuple(all(rungs) for rungs in zip(*(item.linear for item in found), strict=True))
    return replace(worst, linear=linear, always=any(item.always for item in found))


def _climbs(capture: FactoryCapture) -> Iterator[_Climb]:
    """Both sides, and each alone, which begins at its own small signal."""
    yield _Climb(capture.both, capture.noise_db, capture.ladder, capture.ladder_noise_db)
    for base, rungs, noise in (
        (capture.left, capture.left_ladder, capture.left_ladder_noise_db),
        (capture.right, capture.right_ladder, capture.right_ladder_noise_db),
    ):
        if rungs is not None and noise is not None:
            missing = len(capture.ladder) - len(rungs)
            yield _Climb(
                base,
                capture.noise_db,
                np.concatenate([np.tile(base, (missing, 1)), rungs]),
                np.concatenate([np.tile(capture.noise_db, (missing, 1)), noise]),
            )


def _carried(way: _Climb, facts: Content) -> bool:
    """Whether the output carries enough of these sides for the ladder to tell something."""
    return bool(level_db(way.base)[facts.passband].max(initial=-300.0) > facts.passband_db - NOTHING_DB)


def _judged(way: _Climb, capture: FactoryCapture, facts: Content, frequency_hz: Real) -> Ladder:
    base = way.base
    power = np.maximum(_thirds(np.abs(base) ** 2).real, 1e-30)
    level = level_db(base)
    worth = (level > facts.passband_db - NEAR_DB) & (level > way.base_noise_db + CLEAR_DB)
    worth &= frequency_hz < SHAPE_TO_HZ
    together = _thirds((capture.left + capture.right) * capture.both.conj())
    ratios: list[Complex] = []
    linear: list[bool] = []
    worst_db, worst_hz = 0.0, None
    # Each side alone plays as loud as both together do: where they do not add up, not even that is small.
    always = base is capture.both and bool(np.any(worth & (np.abs(level_db(together / power)) > LINEAR_DB)))
    for number, rung in enumerate(way.rungs):
        ratio = _thirds(rung * base.conj()) / power
        clear = worth & (level_db(rung) > way.noise_db[number] + CLEAR_DB)
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


def _thirds(values: Real | Complex) -> Complex:
    """Sums over a third octave around each frequency."""
    return np.asarray(np.convolve(values, np.ones(BAND + 1), mode="same"), dtype=np.complex128)


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
        smooth = np.convolve(np.pad(apart, 2, mode="edge"), np.ones(5) / 5.0, mode="valid")
        gain = float(np.median(apart[facts.passband]))
        inner = np.flatnonzero(facts.passband & (frequency_hz < SHAPE_TO_HZ))
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
