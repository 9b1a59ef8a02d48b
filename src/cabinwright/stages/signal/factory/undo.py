"""From captures to facts and to the repair, or to the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Processor
from cabinwright.physics.factory import PER_OCTAVE, FactoryCapture, FactoryResponses
from cabinwright.stages.signal.factory.cancel import freed
from cabinwright.stages.signal.factory.changes import Ladder, change, climb
from cabinwright.stages.signal.factory.choose import BOOST_DB, Candidate, Member, uncovered
from cabinwright.stages.signal.factory.facts import Content, content, phase_of
from cabinwright.stages.signal.factory.holds import Held, holds
from cabinwright.stages.signal.factory.phase import ExcessPhase
from cabinwright.stages.signal.factory.remarks import remarks
from cabinwright.stages.signal.factory.result import FactoryResult, OutputFacts
from cabinwright.stages.signal.factory.sides import Side, levelled, make_sides, phase_apart_deg

__all__ = ["undo"]

Real = NDArray[np.float64]

FLAT_HZ = (29.0, 16_300.0)  #: the grid of the sums, a little more than what is promised
MUSIC_DB = -12.0  #: music's average peaks; a limiter that works there works always
HOPELESS_DB = 3.0  #: a sum with more ripple is no repair
MIXED_DB, MIXED_OCTAVES = -6.0, 1.5  #: a sum that carries so much of the other side, so far above mono bass, is mono
MONO_DB = -25.0  #: a sum that carries more of the other side is no longer left or right
MONO_TO_HZ = 200.0  #: up to here mono bass is usual


@dataclass(frozen=True)
class Known:
    """Everything read off one capture."""

    capture: FactoryCapture
    content: Content
    ladder: Ladder


def undo(build: Build, captured: FactoryResponses) -> FactoryResult:
    """What every output carries, and the sums that make left and right of it again."""
    frequency, rate = captured.frequency_hz, captured.sample_rate_hz
    known: dict[str, dict[int | None, Known]] = {}
    for capture in captured.captures:
        found = content(capture, frequency)
        known.setdefault(capture.output, {})[capture.volume] = Known(capture, found, climb(capture, found, frequency))
    processor = build.processor or Processor()
    bent = {name for name, rows in known.items() if _always_bent(rows, captured.ladder_db)}
    volume = _base_volume(known, bent)
    at_base = {name: rows[volume] for name, rows in known.items() if volume in rows}
    phases = {
        name: phase_of(item.capture, item.content, frequency, sample_rate_hz=rate) for name, item in at_base.items()
    }
    outputs = _facts(known, at_base, phases, captured)
    sides: dict[str, Side] = {}
    candidates = {side: _candidates(side, at_base, phases, frequency) for side in ("left", "right")}
    use = (frequency >= FLAT_HZ[0]) & (frequency <= FLAT_HZ[1])
    for rows in candidates.values():
        rows.extend(freed([item for item in rows if not item.names & bent], processor, frequency[use], rate))
    reasons = [_missing(side, rows, bent, frequency[use]) for side, rows in candidates.items()]
    refused = next((reason for reason in reasons if reason is not None), None)
    if refused is None:
        healthy = {
            side: [item for item in rows if item.serves and not item.names & bent] for side, rows in candidates.items()
        }
        made = make_sides(healthy, frequency[use], processor, sample_rate_hz=rate)
        if isinstance(made, str):
            refused = f"no four outputs together carry the {made} side from 30 Hz to 16 kHz"
        else:
            sides = made
    if refused is None:
        sides = levelled(sides, processor)
        worst = max(sides, key=lambda name: sides[name].ripple_db)
        if sides[worst].ripple_db > HOPELESS_DB:
            refused = _hopeless(worst, sides[worst])
        refused = refused or next((why for name, side in sides.items() if (why := _mixed(name, side, bent))), None)
    result = _result(outputs, {} if refused else sides, volume, refused, known, captured)
    return remarks(result, bent, known=set(known), named=[item.name for item in build.factory_outputs])


def _always_bent(rows: dict[int | None, Known], ladder_db: tuple[float, ...]) -> bool:
    """Whether a limiter works on music even at the lowest volume captured."""
    lowest = rows[min(rows, key=_order)]
    linear_to = lowest.ladder.linear_to_db(ladder_db)
    return lowest.ladder.always or linear_to is None or linear_to < MUSIC_DB


def _order(volume: int | None) -> int:
    return -1 if volume is None else volume


def _base_volume(known: dict[str, dict[int | None, Known]], bent: set[str]) -> int | None:
    """The highest volume at which everything that can be linear is, up to full scale; else the lowest of all outputs."""
    volumes = sorted({volume for rows in known.values() for volume in rows}, key=_order)
    most = max((sum(volume in rows for rows in known.values()) for volume in volumes), default=0)
    complete = [volume for volume in volumes if sum(volume in rows for rows in known.values()) == most]
    linear = [
        volume
        for volume in complete
        if all(rows[volume].ladder.linear[-1] for name, rows in known.items() if volume in rows and name not in bent)
    ]
    return linear[-1] if linear else next(iter(complete), None)


def _facts(
    known: dict[str, dict[int | None, Known]],
    at_base: dict[str, Known],
    phases: dict[str, ExcessPhase],
    captured: FactoryResponses,
) -> dict[str, OutputFacts]:
    """The figures of every output; delays count from the first one, the reference."""
    found = {}
    zero = next(iter(phases.values())).delay_s if phases else 0.0
    for name, item in at_base.items():
        phase, facts = phases[name], item.content
        changes = tuple(
            change(
                row.capture,
                facts,
                row.ladder,
                None if row is item else item.capture,
                captured.frequency_hz,
                captured.ladder_db,
            )
            for _, row in sorted(known[name].items(), key=lambda pair: _order(pair[0]))
        )
        found[name] = OutputFacts(
            low_hz=facts.low_hz,
            high_hz=facts.high_hz,
            delay_s=phase.delay_s - zero,
            polarity=phase.polarity,
            left_db=facts.left_db,
            right_db=facts.right_db,
            noise_db=facts.noise_db,
            equalisation_db=facts.equalisation_db,
            all_pass=phase.all_pass,
            phase_left_deg=phase.left_deg,
            clock_drift_ppm=item.capture.clock_drift_ppm,
            changes=changes,
        )
    return found


def _candidates(
    side: str, at_base: dict[str, Known], phases: dict[str, ExcessPhase], frequency: Real
) -> list[Candidate]:
    """Every output as one side sees it."""
    use = (frequency >= FLAT_HZ[0]) & (frequency <= FLAT_HZ[1])
    found = []
    for name, item in at_base.items():
        own, cross = item.capture.left, item.capture.right
        levels = (item.content.left_db, item.content.right_db)
        if side == "right":
            own, cross, levels = cross, own, levels[::-1]
        phase = phases[name]
        inverted = phase.polarity == "inverted"
        members = (Member(name, np.ones(int(use.sum()), dtype=np.complex128)),)
        found.append(Candidate(members, own[use], cross[use], *levels, phase.delay_s, inverted))
    return found


def _missing(side: str, candidates: list[Candidate], bent: set[str], frequency: Real) -> str | None:
    """Why there is no sum for one side; None where there may be one."""
    everyone = [item for item in candidates if item.serves]
    if not everyone:
        return f"no output carries the {side} side"
    missing = uncovered([item for item in everyone if not item.names & bent], frequency)
    if missing is None:
        return None
    carried = uncovered(everyone, frequency)
    if carried is None or carried != missing:
        names = ", ".join(f"“{name}”" for item in everyone for name in sorted(item.names & bent))
        return f"a limiter is always at work on {names}, even at the lowest volume captured: no filter undoes that"
    low, high = missing
    return (
        f"no output carries {_hz(low)} to {_hz(high)} of the {side} side: there it lies more than {BOOST_DB:g} dB"
        " below the rest, too far to be raised"
    )


def _hz(value: float) -> str:
    return f"{value / 1000.0:.3g} kHz" if value >= 1000.0 else f"{value:.0f} Hz"


def _hopeless(name: str, side: Side) -> str:
    level = side.sum.level_db()
    at = float(side.sum.frequency_hz[int(np.argmax(np.abs(level - np.median(level))))])
    return (
        f"the {name} side stays {side.ripple_db:.1f} dB off flat around {_hz(at)} with the filters that the processor has:"
        " outputs cancel there, or it needs more filters or more gain in [processor]"
    )


def _mixed(name: str, side: Side, bent: set[str]) -> str | None:
    """Why a sum is no side, where the other one stays in it almost as loud."""
    frequency, other = side.sum.frequency_hz, side.other_side_db()
    mixed = (other > MIXED_DB) & (frequency > MONO_TO_HZ)
    if np.sum(mixed) < MIXED_OCTAVES * PER_OCTAVE:
        return None
    left = float(np.median(other[mixed]))
    limited = ", ".join(f"“{item}”" for item in sorted(bent))
    why = (
        f"a limiter is always at work on {limited}"
        if bent
        else "no outputs carry both sides in two different ways there"
    )
    return f"the {name} side cannot be freed of the other, of which {left:.0f} dB stay: {why}"


def _result(
    outputs: dict[str, OutputFacts],
    sides: dict[str, Side],
    volume: int | None,
    refused: str | None,
    known: dict[str, dict[int | None, Known]],
    captured: FactoryResponses,
) -> FactoryResult:
    use = (captured.frequency_hz >= FLAT_HZ[0]) & (captured.frequency_hz <= FLAT_HZ[1])
    ladders = {name: {at: row.ladder.ratio[:, use] for at, row in rows.items()} for name, rows in known.items()}
    captures = {
        name: {at: (row.capture.left[use], row.capture.right[use]) for at, row in rows.items()}
        for name, rows in known.items()
    }
    held = holds(sides, captures, ladders, volume, captured.ladder_db) if sides else Held(None, None, None)
    mono = {name: _mono_below(side) for name, side in sides.items()}
    return FactoryResult(
        sample_rate_hz=captured.sample_rate_hz,
        outputs=outputs,
        repair={name: sides[name].branches() if name in sides else () for name in ("left", "right")},
        volume=volume,
        ripple_db=max(side.ripple_db for side in sides.values()) if sides else None,
        ripple_sides_db={name: side.ripple_db for name, side in sides.items()},
        other_side_db={name: _other(side, mono[name]) for name, side in sides.items()},
        mono_below_hz=mono,
        phase_apart_deg=phase_apart_deg(sides) if sides else None,
        holds_to_volume=held.to_volume,
        holds_from_volume=held.from_volume,
        holds_to_db=held.to_db,
        refused=refused,
    )


def _mono_below(side: Side) -> float | None:
    """Where the other side comes in from below, as far up as mono bass is usual."""
    frequency = side.sum.frequency_hz
    mixed = (side.other_side_db() > MONO_DB) & (frequency <= MONO_TO_HZ)
    return float(frequency[np.flatnonzero(mixed)[-1]]) if np.any(mixed) else None


def _other(side: Side, mono_hz: float | None) -> float:
    frequency = side.sum.frequency_hz
    above = frequency > 1.3 * (mono_hz or 1.0)
    power = np.convolve(10.0 ** (side.other_side_db() / 10.0), np.ones(8) / 8.0, mode="same")
    return float(10.0 * np.log10(np.max(power[above]) + 1e-30))
