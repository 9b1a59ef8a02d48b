"""The verdict on every recording, and whether enough is left."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure import compare, faults, levels, timing
from cabinwright.measure.deconvolve import THIRDS
from cabinwright.measure.evidence import Evidence, collect
from cabinwright.measure.faults import Fault
from cabinwright.measure.ledger import Ledger, Place
from cabinwright.measure.roles import speakers_of
from cabinwright.measure.shape import KEPT_S, ZERO_S, Kept
from cabinwright.measure.take import EARLY_S, LATE_S, Take
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.response import RecordedResponses

__all__ = ["Judge"]


class Judge(Ledger):
    """Collects faults by entry. ``decide`` hears them in order: single files, then pairs, then positions."""

    def decide(
        self, kept: Mapping[int, Kept], *, sample_rate_hz: float, zero_sample: int, samples: int, complete: bool = True
    ) -> RecordedResponses:
        """Responses with verdicts and findings. Raises ``RefusedError`` where too little is good, unless more is to come."""
        for take in self.takes:
            if take.index in kept:
                self._alone(take, kept[take.index])
        self._same_file()
        for _ in self.takes:  # a second take that steps in for a bad one is heard as well
            seats = self._seats()
            self._hear(kept, seats, lambda: self._evidence(kept, self._seats(), sample_rate_hz, zero_sample, samples))
            if set(self._seats().values()) <= set(seats.values()):
                break
        seats = self._seats()
        impulse, noise, snr, present = self._tables(kept, seats, samples)
        drift = np.zeros(present.shape)
        for place, index in seats.items():
            drift[place] = 1e6 * self.takes[index].drift
        findings = self._findings(seats)
        if complete:
            self._enough(present, findings)
        return RecordedResponses(
            sample_rate_hz=sample_rate_hz, channels=self.channels, positions=self.positions, impulse=impulse,
            zero_sample=zero_sample, present=present, band_centres_hz=THIRDS.centres_hz, noise_power=noise, snr_db=snr,
            clock_drift_ppm=drift, absolute_time=not self.free_zero,
            verdicts=tuple(self._verdict(take, kept.get(take.index), seats) for take in self.takes), findings=findings,
        )  # fmt: skip

    # -- who sits where ---------------------------------------------------------------------------------------------

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

    def _hear(self, kept: Mapping[int, Kept], seats: Mapping[Place, int], collected: Callable[[], Evidence]) -> None:
        """What the recordings that hold the ``seats`` say about one another."""
        evidence = collected()
        if not self.verifying:
            self._beside(evidence, seats)
        self._same_take(kept, evidence, seats)
        if not self.verifying:
            seats = self._seats()
            self._times(collected(), seats)

    def _still(self, evidence: Evidence, seats: Mapping[Place, int]) -> Evidence:
        """``evidence`` without what was found to be bad by now."""
        return evidence.without([place for place, index in seats.items() if not self._good(index)])

    def _alone(self, take: Take, item: Kept) -> None:
        """Sound at all, and not distorted; bands are judged after the channel is known to be the right one."""
        speakers = speakers_of(self.build, take.recording.channel) or self.build.speakers
        core = self.core_hz(take.recording.channel)
        broken = take.index in self.fault and self.fault[take.index].code == "recording-gap"
        fault = faults.silent(item.snr_db, core, unexplained=take.unexplained, broken=broken)
        if fault is not None and not broken and not self.free_zero:
            fault = self._unheard(take) or fault
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

    def _unheard(self, take: Take) -> Fault | None:
        """Nothing is heard in the time that is looked at because it comes before or after that."""
        rate, before = len(take.raw) / (EARLY_S + LATE_S), EARLY_S + self.latency_removed_s
        at_s = int(np.argmax(np.abs(take.raw))) / rate - before
        near = take.raw[max(0, round((at_s + before - 0.05) * rate)) : round((at_s + before + 0.15) * rate)]
        if -0.75 * ZERO_S < at_s < KEPT_S - 3.0 * ZERO_S or near @ near < 0.5 * (take.raw @ take.raw):
            return None
        limit_s = -ZERO_S if at_s < 0.0 else KEPT_S - ZERO_S
        return faults.elsewhere_in_time(at_s, limit_s=limit_s, against="the signal that it is the sound of")

    def _same_file(self) -> None:
        """Entries with the same sound, sample for sample, are judged as one take twice (see ``_same_take``)."""
        for a, b in combinations(self.takes, 2):
            if a.digest == b.digest and self._good(a.index) and self._good(b.index):
                self.twins.append((a.index, b.index))

    def _beside(self, evidence: Evidence, seats: Mapping[Place, int]) -> None:
        """Another level, two channels exchanged, another channel playing, too little of the right one."""
        self._levels(evidence, seats)
        evidence = self._still(evidence, seats)
        self._exchanged(evidence, seats)
        evidence = self._still(evidence, seats)
        for (row, column), index in seats.items():
            roles = self._roles(self.channels[row])
            if self._good(index) and (fault := compare.odd_bands(evidence, row, column, roles)) is not None:
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
                self.remarks[index] = [weak]

    def _levels(self, evidence: Evidence, seats: Mapping[Place, int]) -> None:
        """Levels turned between recordings, and as one finding where that is so of all that was recorded at a position."""
        found: dict[int, Fault] = {}
        for (row, column), fault in levels.odd_levels(evidence, self.positions).items():
            weak = faults.quiet(evidence.snr_db[row, column], evidence.core_hz[row])
            if weak is None or not weak.fatal:  # that says more about a recording than its level does
                found[seats[row, column]] = fault
        for index, fault in levels.odd_markers(self.takes).items():
            if self._good(index):
                found.setdefault(index, fault)
        self.add(found)
        for name in self.positions:
            here = [index for (_, column), index in seats.items() if self.positions[column] == name]
            if len(here) > 1 and all(index in found for index in here):
                self.shared.append((found[here[0]], here, f"{name}: "))

    def _exchanged(self, evidence: Evidence, seats: Mapping[Place, int]) -> None:
        for a, b, fault in timing.exchanged_channels(evidence, self.channels):
            both = [index for (row, _), index in seats.items() if row in (a, b) and self._good(index)]
            self.add(dict.fromkeys(both, fault))
            self.shared.append((fault, both, ""))

    def _times(self, evidence: Evidence, seats: Mapping[Place, int]) -> None:
        """The least that explains an arrival first: two files exchanged, one recording moved, a position, what is left."""
        at = {item.name: np.asarray(item.at_m) for item in self.build.microphone_positions}
        places = np.asarray([at[name] for name in self.positions], dtype=np.float64)
        apart_s = np.linalg.norm(places[:, None] - places[None], axis=-1) / speed_of_sound_m_s()

        def blame(found: Mapping[Place, Fault]) -> Evidence:
            self.add({seats[place]: fault for place, fault in found.items()})
            return self._still(evidence, seats)

        if not self.free_zero:
            evidence = blame(timing.exchanged_files(evidence, self.positions))
        evidence = blame(timing.odd_times(evidence, apart_s, free_zero=self.free_zero, alone=True))
        self._places(evidence)
        blame(timing.odd_times(blame({}), apart_s, free_zero=self.free_zero))

    def _same_take(self, kept: Mapping[int, Kept], evidence: Evidence, seats: Mapping[Place, int]) -> None:
        """Two entries of different channel or place that hold one take: the wrong one goes, or both."""
        pairs = list(self.twins)
        shapes = {index: compare.shape_of(kept[index].impulse) for index in seats.values() if self._good(index)}
        for (one, a), (two, b) in combinations(seats.items(), 2):
            related = one[0] == two[0] or one[1] == two[1]
            if (
                related
                and (a, b) not in pairs
                and self._good(a)
                and self._good(b)
                and compare.may_be_one(shapes[a], shapes[b])
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
            self.shared.append((fault, out, f"{name}: "))
