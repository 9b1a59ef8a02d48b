"""The stage: every front seat, every set of settings, every place of the microphone; then one image each, and what to say."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Seat
from cabinwright.errors import RefusedError
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.erb import cams_hz
from cabinwright.physics.interaural import Cues, cues
from cabinwright.physics.localise import lateral_deg, placed
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.prepare import tuned_seat
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.voice.dashboard import across, dashboard
from cabinwright.stages.voice.ears import Ears, ears_at, front_seats, unplaced
from cabinwright.stages.voice.remarks import remarks
from cabinwright.stages.voice.result import Dashboard, SeatVoice, VoiceImage, VoiceResult

__all__ = ["NOT_YET", "run", "versions"]

Real = NDArray[np.float64]
NOT_YET = (
    "needs a tune with a left and a right side, [[seats]], and position_m of every loudspeaker whose direction is heard"
)
BANDS_HZ = cams_hz(low_hz=200.0, high_hz=8000.0)
LENGTH_S = 0.080  #: of each response; what comes later decides no direction
HEARD_S = 0.115  #: of what is heard: the responses, and what the processor rings after them


def run(
    build: Build, recorded: RecordedResponses | None, tuned: TuningResult | None, loaded: Settings | None = None
) -> VoiceResult | None:
    """Where a voice stands in a located build. ``loaded``: settings that were keyed in before; None where nobody knows.

    None without a tune or without two sides. Raises ``RefusedError`` where loudspeakers have no place.
    """
    if recorded is None or tuned is None or "left side" not in tuned.sums or not build.seats:
        return None
    lost = unplaced(build)
    if lost:
        raise RefusedError(
            f"where a voice stands cannot be told: position_m is missing of {', '.join(lost)}. Measure where they sit."
        )
    line = dashboard(build)
    sets = versions(tuned, loaded)
    seats = [found for seat in front_seats(build) if (found := _seat(build, recorded, seat, sets, line)) is not None]
    if not seats:
        return None
    return VoiceResult(BANDS_HZ, line, tuple(seats), tuple(remarks(seats)))


def versions(tuned: TuningResult, loaded: Settings | None) -> dict[str, Settings]:
    """Settings to compare. What is the same as proposed, or belongs to other channels, does not stand twice."""
    names = {item.name for item in tuned.settings.channels}
    found = {} if tuned.before is None else {"before": tuned.before}
    if (
        loaded is not None
        and loaded.fingerprint != tuned.settings.fingerprint
        and {item.name for item in loaded.channels} == names
    ):
        found["now"] = loaded
    return {**found, "proposed": tuned.settings}


def _seat(
    build: Build, recorded: RecordedResponses, seat: Seat, sets: dict[str, Settings], line: Dashboard
) -> SeatVoice | None:
    speed = speed_of_sound_m_s()
    ears = ears_at(build, recorded, seat, lends=tuned_seat(build), length_s=LENGTH_S, speed_m_s=speed)
    if ears is None:
        return None
    x, y, z = (float(part) for part in seat.head_m)
    wanted = 0.0 if seat.name == tuned_seat(build) else float("nan")
    if line.wanted_m is not None:
        wanted = float(np.degrees(np.arctan2(line.wanted_m - y, max(x - line.at_m, 0.05))))
    images = [_image(ears, name, settings, seat, line, speed) for name, settings in sets.items()]
    return SeatVoice(seat.name, (x, y, z), ears.basis, ears.places, wanted, tuple(images))


def _image(ears: Ears, version: str, settings: Settings, seat: Seat, line: Dashboard, speed_m_s: float) -> VoiceImage:
    gains, share = ears.gains(settings), np.ones(len(ears.channels))
    found: list[Cues] = []
    for place in range(len(ears.places)):
        left, right = ears.heard(gains, place, share)[:, : round(HEARD_S * ears.sample_rate_hz)]
        found.append(cues(left, right, sample_rate_hz=ears.sample_rate_hz, centres_hz=BANDS_HZ))
    lateral = np.array(
        [
            lateral_deg(item, sample_rate_hz=ears.sample_rate_hz, centres_hz=BANDS_HZ, speed_m_s=speed_m_s)
            for item in found
        ]
    )
    likeness = np.median([item.likeness for item in found], axis=0)
    each = [placed(row, item.likeness, centres_hz=BANDS_HZ) for row, item in zip(lateral, found, strict=True)]
    known = [item.at_deg for item in each if item is not None]
    middle = np.median(lateral, axis=0)
    whole = placed(middle, likeness, centres_hz=BANDS_HZ)
    nan = float("nan")
    at, low, high = (nan, nan, nan) if whole is None else (whole.at_deg, whole.low_deg, whole.high_deg)
    ends = [across(seat.head_m, line, angle) for angle in (low, high)]
    return VoiceImage(
        version=version,
        settings=settings.fingerprint,
        time_s=np.median([item.time_s for item in found], axis=0),
        level_db=np.median([item.level_db for item in found], axis=0),
        lateral_deg=middle,
        low_deg=lateral.min(axis=0),
        high_deg=lateral.max(axis=0),
        at_deg=at,
        spread_deg=0.5 * (high - low),
        wander_deg=float(np.std(known)) if len(known) > 1 else nan,
        across_m=across(seat.head_m, line, at),
        spread_m=0.5 * (ends[1] - ends[0]),
    )
