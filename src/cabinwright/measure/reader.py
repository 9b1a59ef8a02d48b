"""Reading a round of recordings: every file to a response on one time zero, or out with a reason.

Files are read side by side on threads (the transforms release Python's lock). What one recording shows by itself comes
first, then what it shows beside the others; whatever is left out is named with what to record again, and where too
little is left nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from dataclasses import replace
from pathlib import Path
from typing import Literal, TypeVar

from cabinwright.build.document import Build, Processor, Recording
from cabinwright.errors import RecordingError, RefusedError
from cabinwright.measure.calibration import read_calibration, uncovered
from cabinwright.measure.judge import Judge
from cabinwright.measure.recorded_with import undo_filters
from cabinwright.measure.shape import KEPT_S, ZERO_S, Kept, keep
from cabinwright.measure.signal import make_sweep
from cabinwright.measure.take import EARLY_S, Take, read_take
from cabinwright.measure.zero import common_latency_s, marker_shifts, odd_clocks
from cabinwright.physics.response import RecordedResponses

__all__ = ["read_recordings", "shifts_of"]

Kind = Literal["tuning", "verification"]
Progress = Callable[[str, float], None]
Item = TypeVar("Item")
Result = TypeVar("Result")


def read_recordings(
    build: Build, folder: Path, *, kind: Kind = "tuning", progress: Progress | None = None, workers: int = 2
) -> RecordedResponses:
    """Responses of every channel (or, verifying, of every name recorded) at every position.

    Raises ``RecordingError`` naming every file that cannot be read at all, and ``RefusedError`` where what is good is
    too little for an answer.
    """
    rows = build.recordings if kind == "tuning" else build.verification_recordings
    table = "recordings" if kind == "tuning" else "verification_recordings"
    _check_rows(build, rows, table)
    rate = float(round((build.processor or Processor()).sample_rate_hz))
    wish = build.tuning.microphone_calibration if build.tuning else None
    calibration = read_calibration(folder, wish) if wish else None
    signal = make_sweep(build)
    tell = progress or (lambda _text, _share: None)

    def read(index: int) -> Take:
        try:
            return read_take(build, folder, index, rows[index], signal, sample_rate_hz=rate)
        except RecordingError as error:
            row = rows[index]
            raise RecordingError(f"{table}[{index}] ({row.channel} at {row.position}): {error}") from error

    takes = _side_by_side(read, range(len(rows)), workers, lambda share: tell("reading recordings", 0.9 * share))
    judge = Judge(build, takes, table=table)
    shifts = shifts_of(build, judge, rate)

    def shape(take: Take) -> Kept:
        return keep(take, shift_s=shifts.get(take.index, 0.0), calibration=calibration, sample_rate_hz=rate)

    usable = [take for take in takes if len(take.raw)]
    kept = _side_by_side(shape, usable, workers, lambda share: tell("judging recordings", 0.9 + 0.08 * share))
    responses = judge.decide(
        {take.index: item for take, item in zip(usable, kept, strict=True)},
        sample_rate_hz=rate,
        zero_sample=round(ZERO_S * rate),
        samples=round(KEPT_S * rate),
    )
    tell("judging recordings", 1.0)
    if calibration is not None and wish is not None:
        responses = replace(responses, findings=(*responses.findings, *uncovered(build, calibration, file=wish)))
    return undo_filters(build, responses) if kind == "tuning" else responses


def _check_rows(build: Build, rows: Sequence[Recording], table: str) -> None:
    if not rows:
        raise RefusedError(
            f"build.toml: there are no [[{table}]], so nothing can be heard. Write sweep.wav with `cabinwright sweep`, record "
            f"each channel at each position, and name each file in a [[{table}]]."
        )
    kinds = {row.kind for row in rows}
    if len(kinds) == 2 and build.tuning is not None and build.tuning.timing == "marker":
        raise RefusedError(
            f"build.toml: [[{table}]] mixes impulses with sweeps kept in time by markers; they share no time zero. Use one "
            "kind for all."
        )


def shifts_of(build: Build, judge: Judge, rate: float) -> dict[int, float]:
    """Seconds to add to each take's own times; what markers say against one another goes to the judge."""
    if judge.free_zero:
        marks = make_sweep(build).markers
        shifts, odd = marker_shifts(build, judge.takes, channel=marks.channel if marks else "")
        judge.add(odd)
        if marks is not None:
            judge.add(odd_clocks(judge.takes, apart_s=marks.last_s - marks.first_s))
        return shifts
    late = common_latency_s(judge.takes, early_s=EARLY_S, sample_rate_hz=rate)
    judge.latency_removed_s = late
    return {take.index: -late for take in judge.takes}


def _side_by_side(
    work: Callable[[Item], Result], items: Iterable[Item], workers: int, told: Callable[[float], None]
) -> list[Result]:
    """``work`` on every item, in order; stops at once when interrupted; collects unreadable files into one error."""
    queue = list(items)
    pool = ThreadPoolExecutor(max_workers=max(1, workers))
    try:
        futures = [pool.submit(work, item) for item in queue]
        pending = set(futures)
        while pending:
            done, pending = wait(pending, timeout=0.2, return_when=FIRST_COMPLETED)
            if done:
                told(1.0 - len(pending) / len(queue))
            if any(not isinstance(one.exception(), RecordingError | None) for one in done):
                break
        unreadable = [error for one in futures if one.done() and (error := one.exception()) is not None]
        stray = next((error for error in unreadable if not isinstance(error, RecordingError)), None)
        if stray is not None:
            raise stray
        if unreadable:
            raise RecordingError("\n".join(dict.fromkeys(str(error) for error in unreadable)))
        return [one.result() for one in futures]
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
