"""What was found about every recording, and how it is told: verdicts, findings, and the refusal where too little is good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.findings import Finding, finding
from cabinwright.measure import faults
from cabinwright.measure.enough import missing
from cabinwright.measure.faults import Fault
from cabinwright.measure.roles import core_band_hz, speakers_of
from cabinwright.measure.shape import Kept
from cabinwright.measure.take import Take
from cabinwright.physics.response import Verdict
from cabinwright.stages.tuning.sides import SUM_NAMES

__all__ = ["Ledger", "Place"]

Place = tuple[int, int]


class Ledger:
    """Faults by entry of the recordings, and the words for them."""

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
        #: one fault of several entries, and the words that open its finding
        self.shared: list[tuple[Fault, list[int], str]] = []

    @property
    def free_zero(self) -> bool:
        """Whether time zero rests on markers."""
        marked = self.build.tuning is not None and self.build.tuning.timing == "marker"
        return marked and any(take.recording.kind == "sweep" for take in self.takes)

    def add(self, found: Mapping[int, Fault]) -> None:
        """Faults by entry; the first one of an entry stays."""
        for index, fault in found.items():
            self.fault.setdefault(index, fault)

    def core_hz(self, channel: str) -> tuple[float, float]:
        """The band in which a recording of ``channel`` must be sound; of all speakers for what sounds together."""
        return core_band_hz(speakers_of(self.build, channel) or self.build.speakers)

    def told(self, index: int) -> tuple[Finding, ...]:
        """What was found about one entry, the reason for leaving it out first."""
        fault = self.fault.get(index)
        found = [fault] if fault is not None else []
        return tuple(self._finding(item, index) for item in (*found, *self.remarks.get(index, [])))

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

    def _verdict(self, take: Take, item: Kept | None, seats: Mapping[Place, int]) -> Verdict:
        row = take.recording
        fault = self.fault.get(take.index)
        figures: dict[str, float] = {}
        if item is not None:
            core = faults.core_bands(self.core_hz(row.channel))
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
        grouped = {index for _, indices, _ in self.shared for index in indices}
        for take in self.takes:
            fault = self.fault.get(take.index)
            if fault is not None and take.index not in grouped:
                out.append(self._finding(fault, take.index))
            out += [self._finding(remark, take.index) for remark in self.remarks.get(take.index, [])]
            if fault is None and seats.get(self._place(take)) != take.index:
                out.append(finding("recording-spare", where=self._where(take.index)))
        out += [self._shared_finding(*one) for one in self.shared if one[1]]
        if not self.verifying:
            out += self._missing()
        if self.latency_removed_s:
            late = round(1e3 * self.latency_removed_s, 1)
            out.append(finding("recording-late", where=f"[[{self.table}]]", value=late, unit="ms"))
        return tuple(out)

    def _shared_finding(self, fault: Fault, indices: list[int], lead: str) -> Finding:
        rows = [self.takes[index].recording for index in indices]
        channels, places = (
            list(dict.fromkeys(names)) for names in zip(*((r.channel, r.position) for r in rows), strict=True)
        )
        return finding(
            fault.code, where=lead + ", ".join(self._where(index) for index in indices), value=fault.value,
            limit=fault.limit, unit=fault.unit, reason=fault.reason,
            channel=" and ".join(channels) if len(channels) < 3 else "every channel",
            position=places[0] if len(places) == 1 else "every position", file="the same files", figures=dict(fault.figures),
        )  # fmt: skip

    def _finding(self, fault: Fault, index: int) -> Finding:
        row = self.takes[index].recording
        return finding(
            fault.code, where=self._where(index), value=fault.value, limit=fault.limit, unit=fault.unit,
            severity=None if fault.fatal else "note", reason=fault.reason, channel=row.channel, position=row.position,
            file=row.file, figures=dict(fault.figures),
        )  # fmt: skip

    def _missing(self) -> list[Finding]:
        """Pairs that nobody recorded: by channel, and positions without any recording in one."""
        there = {(take.recording.channel, take.recording.position) for take in self.takes}
        out = []
        for channel in self.channels:
            gone = [position for position in self.positions if (channel, position) not in there]
            if gone:
                listed = ", ".join(gone)
                out.append(finding("recording-missing", where=channel, value=listed, channel=channel, position=listed))
        empty = [item.name for item in self.build.microphone_positions if item.name not in self.positions]
        if empty:
            listed, whole = ", ".join(empty), "every channel"
            out.append(finding("recording-missing", where=whole, value=listed, channel=whole, position=listed))
        return out

    def _enough(self, present: NDArray[np.bool_], findings: tuple[Finding, ...]) -> None:
        """Refuse where too little is good, with what is wrong with each recording."""
        why = missing(present, self.channels, table=self.table, verifying=self.verifying)
        if why is None:
            return
        entries: dict[str, list[int]] = {}
        for index, fault in sorted(self.fault.items()):
            entries.setdefault(fault.reason, []).append(index)
        cures = [item.remedy for item in findings if item.code == "recording-exchanged"]
        reasons = [f"{', '.join(map(self._where, indices))}: {reason}" for reason, indices in entries.items()]
        raise RefusedError("\n  ".join([f"build.toml: {why}", *reasons, *dict.fromkeys(cures)]), findings=findings)
