"""One time zero for all takes: by the marker loudspeaker's own response, and by its flight where its place is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cabinwright.build.document import Build
from cabinwright.measure.evidence import distances_m
from cabinwright.measure.faults import Fault
from cabinwright.measure.marker import delay_between, first_arrival_s
from cabinwright.measure.take import Take
from cabinwright.physics.air import speed_of_sound_m_s

__all__ = ["common_latency_s", "marker_shifts", "odd_clocks"]

LIKENESS = 0.7  #: marker responses at one position are nearly equal; ten centimetres away they are not
CLOCK_PPM = 30.0  #: one pair of clocks keeps its rate to a few ppm through a round
SAME_CLOCK_PPM = 10.0
LONG_S = 0.05  #: a delay that all recordings share beyond this is taken off


def marker_shifts(build: Build, takes: Sequence[Take], *, channel: str) -> tuple[dict[int, float], dict[int, Fault]]:
    """How much later than its own zero each take's common zero lies to be moved [s], by entry; and takes made elsewhere.

    Adding the shift to a response's times makes zero the moment at which the markers left (their loudspeaker's latency
    aside). Where that loudspeaker's place is not stated, zero is the moment at which they arrived.
    """
    shifts: dict[int, float] = {}
    odd: dict[int, Fault] = {}
    places = tuple(dict.fromkeys(take.recording.position for take in takes))
    flights = distances_m(build, (channel,), places)[0] / speed_of_sound_m_s() if channel else [np.nan] * len(places)
    for place, flight in zip(places, flights, strict=True):
        here = [take for take in takes if take.recording.position == place and take.marker is not None]
        if not here:
            continue
        pairs = {
            (a.index, b.index): delay_between(a.marker, b.marker)
            for a in here
            for b in here
            if a.marker is not None and b.marker is not None
        }
        typical = [float(np.median([pairs[a.index, b.index][1] for b in here])) for a in here]
        lead = here[int(np.argmax(np.asarray(typical) + 1e-4 * np.asarray([take.clarity for take in here]) / 1e4))]
        assert lead.marker is not None
        arrival = first_arrival_s(lead.marker)
        for take in here:
            late, likeness = pairs[lead.index, take.index]
            if likeness < LIKENESS and len(here) > 2 and take.clarity > 60.0:
                odd[take.index] = _elsewhere(place, likeness)
            shifts[take.index] = (float(flight) if np.isfinite(flight) else 0.0) - arrival - late
    return shifts, odd


def _elsewhere(place: str, likeness: float) -> Fault:
    return Fault(
        "recording-position",
        f"the microphone was not at {place}: the markers sound different there in the other recordings "
        f"(likeness {likeness:.2f})",
        value=round(likeness, 2),
        limit=LIKENESS,
        unit="",
        figures={"marker_likeness": likeness},
    )


def odd_clocks(takes: Sequence[Take], *, apart_s: float) -> dict[int, Fault]:
    """Takes whose clock seems to run unlike that of all others: a few samples were lost or doubled between their markers.

    ``apart_s`` is the time between the markers. Takes that two others agree with may come from another recorder.
    """
    marked = [take for take in takes if take.marker is not None and take.fault is None]
    if len(marked) < 5:
        return {}
    drift_ppm = 1e6 * np.asarray([take.drift for take in marked])
    odd = drift_ppm - np.median(drift_ppm)
    alike = (np.abs(drift_ppm[:, None] - drift_ppm) < SAME_CLOCK_PPM).sum(axis=1) - 1
    found: dict[int, Fault] = {}
    for take, ppm, others in zip(marked, odd.tolist(), alike.tolist(), strict=True):
        if abs(ppm) > CLOCK_PPM and others < 2:
            what = "lost" if ppm < 0.0 else "doubled"
            reason = (
                f"the markers are {ppm:+.0f} ppm from their distance in the other recordings: about "
                f"{1e-3 * abs(ppm) * apart_s:.1f} ms of sound were {what}"
            )
            found[take.index] = Fault("recording-gap", reason, round(ppm), CLOCK_PPM, "ppm", {"clock_apart_ppm": ppm})
    return found


def common_latency_s(takes: Sequence[Take], *, early_s: float, sample_rate_hz: float) -> float:
    """Whole samples of delay, in seconds, that the takes share and that would push responses out of what is kept.

    The earliest quarter of them decides, so one that was moved does not speak for all.
    """
    peaks = [int(np.argmax(np.abs(take.raw))) / sample_rate_hz - early_s for take in takes if len(take.raw)]
    least = float(np.quantile(peaks, 0.25, method="lower")) if peaks else 0.0
    return round((least - 0.01) * sample_rate_hz) / sample_rate_hz if least > LONG_S else 0.0
