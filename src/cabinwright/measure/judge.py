"""The verdict on every recording, and whether enough is left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.findings import Finding, finding
from cabinwright.measure import compare, faults
from cabinwright.measure.deconvolve import THIRDS
from cabinwright.measure.enough import missing
from cabinwright.measure.evidence import Evidence, collect
from cabinwright.measure.faults import Fault
from cabinwright.measure.roles import core_band_hz, speakers_of
from cabinwright.measure.shape import Kept
from cabinwright.measure.take import Take
from cabinwright.physics.response import RecordedResponses, Verdict
from cabinwright.stages.tuning.sides import SUM_NAMES

__all__ = ["Judge"]

Place = tuple[int, int]


class Judge:
    """Collects faults by entry. ``decide`` hears them in order: single files, then pairs, then positions."""

    def __init__(self, build: Build, takes: Sequence[Take], *, table: str) -> None:
        self.build, self.takes, self.table = build, tuple(takes), table
        self.verifying = table != "recordings"
        used = {take.recording.channel for take in takes}
        names: list[str] = [item.name for item in build.channels]
        sums: list[str] = [name for name in SUM_NAMES if name in used]
        self.channels = tuple([name for name in names if name in used] + sums if self.verifying else names)
        spots = {take.recording.position for take in takes}
        self.positions = tuple(item.name for item in build.microphone_positions if item.name in spots)
        self.latency_removed_s = 0.0
        self.fault: dict[int, Fault] = {take.index: take.fault for take in takes if take.fault is not None}
        self.remarks: dict[int, list[Fault]] = {}
        self.twins: list[tuple[int, int]] = []  #: entries that hold the same sound, sample for sample
        self.shared: list[tuple[Fault, list[int]]] = []  #: one fault of several entries

    @property
    def free_zero(self) -> bool:
        """Whether time zero rests on markers."""
        marked = self.build.tuning is not None and self.build.tuning.timing == "marker"
        return marked and any(take.recording.kind == "sweep" for take in self.takes)

    def add(self, found: Mapping[int, Fault]) -> None:
        """Faults by entry; the first one of an entry stays."""
        for index, fault in found.items():
            self.fault.setdefault(index, fault)

    def decide(
        self, kept: Mapping[int, Kept], *, sample_rate_hz: float, zero_sample: int, samples: int
    ) -> RecordedResponses:
        """Responses with verdicts and findings. Raises ``RefusedError`` where too little is good."""
        for take in self.takes:
            if take.index in kept:
                self._alone(take, kept[take.index])
        self._same_file()
        seats = self._seats()
        evidence = self._evidence(kept, seats, sample_rate_hz, zero_sample, samples)
        if not self.verifying:
            self._beside(evidence, seats)
        self._same_take(kept, evidence, seats)
        if not self.verifying:
            evidence = self._evidence(kept, self._seats(), sample_rate_hz, zero_sample, samples)
            self._places(evidence)
        seats = self._seats()
        impulse, noise, snr, present = self._tables(kept, seats, samples)
        drift = np.zeros(present.shape)
        for place, index in seats.items():
            drift[place] = 1e6 * self.takes[index].drift
        findings = self._findings(seats)
        self._enough(present, findings)
        return RecordedResponses(
            sample_rate_hz=sample_rate_hz, channels=self.channels, positions=self.positions, impulse=impulse,
            zero_sample=zero_sample, present=present, band_centres_hz=THIRDS.centres_hz, noise_power=noise, snr_db=snr,
            clock_drift_ppm=drift, absolute_time=not self.free_zero,
            verdicts=tuple(self._verdict(take, kept.get(take.index), seats) for take in self.takes), findings=findings,
        )  # fmt: skip

    # -- who sits where ---------------------------------------------------------------------------------------------

    def _place(self, take: Take) -> Place:
        return self.channels.index(take.recording.channel), self.positions.index(take.recording.position)

    def _seats(self) -> dict[Place, int]:
        """The first entry without a fatal fault of each channel and position."""
        seats: dict[Place, int] = {}
        for take in self.takes:
            if self._good(take.index):
                seats.setdefault(self._place(take), take.index)
        return seats

    def _good(self, index: int) -> bool:
        return index not in self.fault

    def _roles(self, channel: str) -> set[str]:
        return {item.role for item in speakers_of(self.build, channel)}

    def _tables(
        self, kept: Mapping[int, Kept], seats: Mapping[Place, int], samples: int
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
        shape = (len(self.channels), len(self.positions))
        impulse = np.zeros((*shape, samples))
        noise = np.zeros((*shape, len(THIRDS)))
        snr = np.full((*shape, len(THIRDS)), -30.0)
        present = np.zeros(shape, dtype=np.bool_)
        for place, index in seats.items():
            impulse[place], noise[place], snr[place] = kept[index].impulse, kept[index].noise_power, kept[index].snr_db
            present[place] = True
        return impulse, noise, snr, present

    def _evidence(
        self, kept: Mapping[int, Kept], seats: Mapping[Place, int], rate: float, zero: int, samples: int
    ) -> Evidence:
        impulse, noise, _, present = self._tables(kept, seats, samples)
        return collect(
            self.build, self.channels, self.positions, impulse, noise, present, zero_sample=zero, sample_rate_hz=rate
        )

    # -- hearings ---------------------------------------------------------------------------------------------------

    def _alone(self, take: Take, item: Kept) -> None:
        """Sound at all, and not distorted; bands are judged after the channel is known to be the right one."""
        speakers = speakers_of(self.build, take.recording.channel) or self.build.speakers
        core = core_band_hz(speakers)
        broken = take.index in self.fault and self.fault[take.index].code == "recording-gap"
        fault = faults.silent(item.snr_db, core, unexplained=take.unexplained, broken=broken)
        if fault is not None and broken:
            del self.fault[take.index]  # what is no sweep at all is full of breaks
        if take.index in self.fault:
            return
        if fault is None and take.distortion is not None:
            roles: set[str] = {speaker.role for speaker in speakers}
            level = item.snr_db + 10.0 * np.log10(np.maximum(item.noise_power, 1e-30))
            fault = faults.distorted(take.distortion, item.snr_db, level, core, roles)
        if fault is not None:
            self.fault[take.index] = fault

    def _same_file(self) -> None:
        """Entries with the same sound, sample for sample, are judged as one take twice (see ``_same_take``)."""
        for a, b in combinations(self.takes, 2):
            if a.digest == b.digest and self._good(a.index) and self._good(b.index):
                self.twins.append((a.index, b.index))

    def _beside(self, evidence: Evidence, seats: Mapping[Place, int]) -> None:
        """Another channel playing, then too little of the right one."""
        for (row, column), index in seats.items():
            fault = compare.odd_bands(evidence, row, column, self._roles(self.channels[row]))
            if fault is not None:
                self.fault[index] = fault
        for place, fault in compare.wrong_channels(evidence, self.channels).items():
            self.fault.setdefault(seats[place], fault)
        for (row, column), index in seats.items():
            if not self._good(index):
                continue
            weak = faults.quiet(evidence.snr_db[row, column], evidence.core_hz[row])
            if weak is not None and weak.fatal:
                self.fault[index] = weak
            elif weak is not None:
                self.remarks.setdefault(index, []).append(weak)

    def _same_take(self, kept: Mapping[int, Kept], evidence: Evidence, seats: Mapping[Place, int]) -> None:
        """Two entries of different channel or place that hold one take: the wrong one goes, or both."""
        pairs = list(self.twins)
        for (one, a), (two, b) in combinations(seats.items(), 2):
            related = one[0] == two[0] or one[1] == two[1]
            if (
                related
                and (a, b) not in pairs
                and self._good(a)
                and self._good(b)
                and compare.same_take(kept[a].impulse, kept[b].impulse)
            ):
                pairs.append((a, b))
        for a, b in pairs:
            if not (self._good(a) and self._good(b)):
                continue  # one of them is out already, and the other is the one it belongs to
            one, two = self._place(self.takes[a]), self._place(self.takes[b])
            if one == two:
                continue
            right = compare.fits_better(evidence, one, two) if not self.verifying else None
            for index, other in ((a, b), (b, a)):
                if right != self._place(self.takes[index]):
                    self.fault[index] = self._duplicate(index, other, decided=right is not None)

    def _duplicate(self, index: int, other: int, *, decided: bool) -> Fault:
        twin = self.takes[other].recording
        same = "the same file content" if self.takes[index].digest == self.takes[other].digest else "the same take"
        why = "whose place it fits" if decided else "and nothing tells which entry it belongs to"
        return Fault(
            "recording-duplicate",
            f"holds {same} as {self.table}[{other}] ({twin.channel} at {twin.position}), {why}",
        )

    def _places(self, evidence: Evidence) -> None:
        found = compare.wrong_positions(evidence, self.positions, free_zero=self.free_zero)
        for column, fault in found.items():
            name = self.positions[column]
            out = [take.index for take in self.takes if take.recording.position == name and self._good(take.index)]
            self.add(dict.fromkeys(out, fault))
            self.shared.append((fault, out))

    # -- words ------------------------------------------------------------------------------------------------------

    def _verdict(self, take: Take, item: Kept | None, seats: Mapping[Place, int]) -> Verdict:
        row = take.recording
        fault = self.fault.get(take.index)
        figures: dict[str, float] = {}
        if item is not None:
            core = faults.core_bands(core_band_hz(speakers_of(self.build, row.channel) or self.build.speakers))
            figures = {
                "median_snr_db": float(np.median(item.snr_db[core])),
                "worst_snr_db": float(item.snr_db[core].min()),
                "snr_a_db": item.snr_a_db,
                "clock_drift_ppm": 1e6 * take.drift,
            }
            if take.distortion is not None:
                figures["distortion_ratio"] = float(np.sqrt(np.mean(take.distortion[core] ** 2)))
        if fault is not None:
            return Verdict(row.channel, row.position, row.file, False, fault.reason, {**figures, **fault.figures})
        used = seats.get(self._place(take)) == take.index
        reason = f"{figures['median_snr_db']:.0f} dB over the noise in its band" if figures else "good"
        reason += "" if used else "; another recording of the same channel and position is used"
        return Verdict(row.channel, row.position, row.file, used, reason, figures)

    def _where(self, index: int) -> str:
        row = self.takes[index].recording
        return f"{self.table}[{index}] ({row.channel} at {row.position}, {row.file})"

    def _findings(self, seats: Mapping[Place, int]) -> tuple[Finding, ...]:
        out: list[Finding] = []
        grouped = {index for _, indices in self.shared for index in indices}
        for take in self.takes:
            fault = self.fault.get(take.index)
            if fault is not None and take.index not in grouped:
                out.append(self._finding(fault, take.index))
            out += [self._finding(remark, take.index) for remark in self.remarks.get(take.index, [])]
            if fault is None and seats.get(self._place(take)) != take.index:
                out.append(finding("recording-spare", where=self._where(take.index)))
        out += [self._shared_finding(fault, indices) for fault, indices in self.shared if indices]
        if not self.verifying:
            out += self._missing()
        if self.latency_removed_s:
            late = round(1e3 * self.latency_removed_s, 1)
            out.append(finding("recording-late", where=f"[[{self.table}]]", value=late, unit="ms"))
        return tuple(out)

    def _shared_finding(self, fault: Fault, indices: list[int]) -> Finding:
        place = self.takes[indices[0]].recording.position
        return finding(
            fault.code, where=f"{place}: " + ", ".join(self._where(index) for index in indices), value=fault.value,
            limit=fault.limit, unit=fault.unit, reason=fault.reason, channel="every channel", position=place,
            file="the same files", figures=dict(fault.figures),
        )  # fmt: skip

    def _finding(self, fault: Fault, index: int) -> Finding:
        row = self.takes[index].recording
        return finding(
            fault.code, where=self._where(index), value=fault.value, limit=fault.limit, unit=fault.unit,
            severity=None if fault.fatal else "note", reason=fault.reason, channel=row.channel, position=row.position,
            file=row.file, figures=dict(fault.figures),
        )  # fmt: skip

    def _missing(self) -> list[Finding]:
        """Pairs that nobody recorded."""
        there = {(take.recording.channel, take.recording.position) for take in self.takes}
        out = []
        for channel in self.channels:
            gone = [position for position in self.positions if (channel, position) not in there]
            if gone:
                listed = ", ".join(gone)
                out.append(finding("recording-missing", where=channel, value=listed, channel=channel, position=listed))
        return out

    def _enough(self, present: NDArray[np.bool_], findings: tuple[Finding, ...]) -> None:
        """Refuse where too little is good, with what is wrong with each recording."""
        why = missing(present, self.channels, table=self.table, verifying=self.verifying)
        if why is not None:
            reasons = [f"\n  {self._where(index)}: {fault.reason}" for index, fault in sorted(self.fault.items())]
            raise RefusedError(f"build.toml: {why}{''.join(reasons)}", findings=findings)
