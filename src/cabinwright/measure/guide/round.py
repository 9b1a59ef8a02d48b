"""What a take is worth, at once: the verdict of the tune's own judge, over this take and all that were recorded before it.

Reading and deconvolving a file is most of the work, so each is read once and kept as long as the build lists it; the judge
then hears all of them together, as it does for the tune. One take more or less costs the same late in a session as early in
it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Processor, Recording
from cabinwright.build.factory import FactoryRecording
from cabinwright.errors import RecordingError
from cabinwright.measure.calibration import Calibration, read_calibration
from cabinwright.measure.deconvolve import THIRDS
from cabinwright.measure.factory import unfit
from cabinwright.measure.faults import SNR_LIMIT_DB, core_bands
from cabinwright.measure.guide.plan import Item
from cabinwright.measure.judge import Judge
from cabinwright.measure.reader import shifts_of
from cabinwright.measure.shape import KEPT_S, ZERO_S, Kept, keep
from cabinwright.measure.signal import SweepSignal, make_sweep
from cabinwright.measure.take import Take, read_take
from cabinwright.physics.response import Verdict

__all__ = ["Heard", "Picture", "Round"]

Real = NDArray[np.float64]
Stamp = tuple[int, int, SweepSignal]


@dataclass(frozen=True)
class Picture:
    """What a take holds, by third octave: its response, its noise, and what it is needed for."""

    frequency_hz: Real
    level_db: Real  #: of the response [dB re 1]
    noise_db: Real  #: of what is left of the noise in it
    needed: NDArray[np.bool_]  #: bands in which it has to stand ``limit_db`` over the noise
    limit_db: float = SNR_LIMIT_DB


@dataclass(frozen=True)
class Heard:
    """One take, judged."""

    verdict: Verdict
    cure: str = ""  #: what to do, where it is not good
    remarks: tuple[str, ...] = ()  #: what is worth knowing though it is good
    picture: Picture | None = None
    others: tuple[Verdict, ...] = ()  #: takes of before that are not good, as it turns out beside this one


class Round:
    """All takes of one kind in a build folder."""

    def __init__(self, folder: Path, *, verifying: bool = False) -> None:
        self.folder = folder
        self.table = "verification_recordings" if verifying else "recordings"
        self._takes: dict[str, tuple[Stamp, Take]] = {}
        self._kept: dict[str, tuple[tuple[object, ...], Kept]] = {}

    def hear(self, build: Build, item: Item, file: str) -> Heard:
        """The verdict on ``file`` as the take of ``item``, in place of the one that the build lists for it."""
        rows: Sequence[Recording] = getattr(build, self.table)
        others = [row for row in rows if (row.channel, row.position) != (item.channel, item.position)]
        mine = Recording(channel=item.channel, position=item.position, kind="sweep", file=file)
        signal = make_sweep(build)
        takes: list[Take] = []
        broken: list[Verdict] = []
        for row in (*others, mine):
            try:
                takes.append(replace(self._read(build, row, signal), index=len(takes), recording=row))
            except RecordingError as error:
                if row is mine:
                    return Heard(Verdict(row.channel, row.position, file, False, str(error)), cure="Record it again.")
                broken.append(Verdict(row.channel, row.position, row.file, False, str(error)))
        self._forget({row.file for row in (*rows, mine)})
        return self._judged(build, takes, tuple(broken))

    def hear_capture(self, build: Build, item: Item, file: str) -> Heard:
        """The verdict on ``file`` as a capture of the radio's output."""
        row = FactoryRecording(output=item.channel, volume=item.volume, file=file)
        reason = unfit(build, self.folder, row)
        verdict = Verdict(item.channel, "", file, not reason, reason or "every sweep is there, on both channels")
        return Heard(verdict, cure="Capture it again." if reason else "")

    def _judged(self, build: Build, takes: list[Take], broken: tuple[Verdict, ...]) -> Heard:
        rate = float(round((build.processor or Processor()).sample_rate_hz))
        wish = build.tuning.microphone_calibration if build.tuning else None
        calibration: Calibration | None = read_calibration(self.folder, wish) if wish else None
        judge = Judge(build, takes, table=self.table)
        shifts = shifts_of(build, judge, rate)
        kept = {
            take.index: self._shaped(take, shifts.get(take.index, 0.0), calibration, rate)
            for take in takes
            if len(take.raw)
        }
        zero, count = round(ZERO_S * rate), round(KEPT_S * rate)
        found = judge.decide(kept, sample_rate_hz=rate, zero_sample=zero, samples=count, complete=False)
        last = len(takes) - 1
        told = judge.told(last)
        verdict = found.verdicts[last]
        bad = tuple(other for other in found.verdicts[:last] if not other.good)
        return Heard(
            verdict,
            cure="" if verdict.good else next((item.remedy for item in told), ""),
            remarks=tuple(item.message for item in told) if verdict.good else (),
            picture=_picture(kept[last], takes[last], judge) if last in kept else None,
            others=(*broken, *bad),
        )

    def _read(self, build: Build, row: Recording, signal: SweepSignal) -> Take:
        """A take as it was read before, where its file is the same."""
        rate = float(round((build.processor or Processor()).sample_rate_hz))
        try:
            found = (self.folder / row.file).stat()
            stamp: Stamp = (found.st_size, found.st_mtime_ns, signal)
        except OSError:
            return read_take(build, self.folder, 0, row, signal, sample_rate_hz=rate)  # it says why
        known = self._takes.get(row.file)
        if known is not None and known[0] == stamp:
            return known[1]
        take = read_take(build, self.folder, 0, row, signal, sample_rate_hz=rate)
        self._takes[row.file] = (stamp, take)
        return take

    def _shaped(self, take: Take, shift_s: float, calibration: Calibration | None, rate: float) -> Kept:
        """A response as it was shaped before, where nothing that it depends on has changed."""
        corrected = (
            None if calibration is None else (calibration.frequency_hz.tobytes(), calibration.level_db.tobytes())
        )
        key = (take.digest, shift_s, corrected, rate, len(take.raw))
        known = self._kept.get(take.recording.file)
        if known is None or known[0] != key:
            known = (key, keep(take, shift_s=shift_s, calibration=calibration, sample_rate_hz=rate))
            self._kept[take.recording.file] = known
        return known[1]

    def _forget(self, listed: set[str]) -> None:
        self._takes = {file: kept for file, kept in self._takes.items() if file in listed}
        self._kept = {file: kept for file, kept in self._kept.items() if file in listed}


def _picture(kept: Kept, take: Take, judge: Judge) -> Picture:
    noise = 10.0 * np.log10(np.maximum(kept.noise_power, 1e-30))
    return Picture(THIRDS.centres_hz, noise + kept.snr_db, noise, core_bands(judge.core_hz(take.recording.channel)))
