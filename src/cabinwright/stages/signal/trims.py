"""Trims that make presets equally loud, on the processor's grid and never above 0 dB."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil, isfinite

from cabinwright.build.document import Processor
from cabinwright.findings import Finding, finding

__all__ = ["Trim", "trims"]

HEARD_DB = 1.0  #: a difference in loudness that a person notices from preset to preset, common practice
QUIET_DB = 12.0  #: a source so much quieter than another spoils it


@dataclass(frozen=True, slots=True)
class Trim:
    """The trim of one preset."""

    trim_db: float
    given: bool  #: whether the build states it
    loudness_lufs: float | None  #: at the loudspeakers, against the processor's full scale; None where nothing sounds
    left_over_db: float | None  #: louder than the presets are to be
    quieter_db: float = 0.0  #: how much quieter its source is than the loudest, before any trim

    def doubts(self, preset: str) -> Iterator[Finding]:
        """What is doubtful about it."""
        if self.left_over_db is not None and abs(self.left_over_db) > HEARD_DB:
            why = "its trim is stated" if self.given else "the processor's range of gain ends"
            yield finding(
                "signal.unequal", where=preset, value=round(self.left_over_db, 1), limit=HEARD_DB, unit="dB", why=why
            )
        if self.quieter_db > QUIET_DB:
            yield finding(
                "signal.quiet_source", where=preset, value=round(self.quieter_db, 1), limit=QUIET_DB, unit="dB"
            )


def trims(loud: Mapping[str, float], given: Mapping[str, float | None], offered: Processor) -> dict[str, Trim]:
    """The trim of every preset.

    Args:
        loud: by preset, its loudness [LUFS] without a trim; -inf where it is silent.
        given: by preset, a trim [dB] that the build states, or None.
        offered: whose grid and range of gain trims lie on.

    All presets are brought down to the quietest, so that no trim is above 0 dB; one whose trim is stated counts with it.
    """
    sounding = {name: level + (given[name] or 0.0) for name, level in loud.items() if isfinite(level)}
    target, loudest = min(sounding.values(), default=0.0), max(loud.values(), default=0.0)
    found = {}
    for name, level in loud.items():
        stated = given[name]
        trim = stated if stated is not None else _on_grid(target - level, offered) if name in sounding else 0.0
        after = level + trim if name in sounding else None
        found[name] = Trim(
            trim_db=trim,
            given=stated is not None,
            loudness_lufs=after,
            left_over_db=None if after is None else round(after - target, 9) + 0.0,
            quieter_db=loudest - level if name in sounding else 0.0,
        )
    return found


def _on_grid(wish_db: float, offered: Processor) -> float:
    step = offered.gain_step_db
    lowest = ceil(offered.gain_min_db / step - 1e-9) * step
    return round(min(0.0, max(lowest, round(wish_db / step) * step)), 9) + 0.0
