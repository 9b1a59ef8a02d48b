"""From a build and its recordings to a problem: which positions count, where sound arrives, what can be reached."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Processor
from cabinwright.errors import RefusedError
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.align import match_pair_polarity
from cabinwright.stages.tuning.arrivals import Arrivals, find_arrivals
from cabinwright.stages.tuning.house import house_curve_db
from cabinwright.stages.tuning.problem import Problem
from cabinwright.stages.tuning.sides import EVERYTHING, LEFT_SIDE, RIGHT_SIDE
from cabinwright.stages.tuning.spectra import band_cross_spectra, octave_mean
from cabinwright.stages.tuning.start import first_gains, plain_layout
from cabinwright.stages.tuning.ways import Crossover, Way, find_crossovers, find_ways

__all__ = ["Prepared", "prepare", "tuned_seat"]

Real = NDArray[np.float64]

LOW_HZ, HIGH_HZ = 25.0, 16000.0  #: the house curve is judged inside these
DIRECT_BAND_HZ = (300.0, 8000.0)  #: where first sounds are told apart from reflections
REACH_SLACK_DB, REACH_FADE_DB = 6.0, 8.0


@dataclass(frozen=True)
class Prepared:
    """The problem, and what was learnt on the way to it."""

    problem: Problem
    responses: RecordedResponses  #: positions of the tuned seat only
    crossovers: list[Crossover]
    polarity: Real  #: (channels,) left and right of each way agree
    pair_confidence: dict[int, float]  #: channel: correlation of its first sound with its partner's
    move_s: Real  #: (channels, positions) arrival at the microphone after that at the head centre, direct path
    distance_m: Real  #: (channels, positions), NaN without a stated place
    head_distance_m: Real  #: (channels,)
    nearest: int  #: position nearest the head centre
    head_gap_m: float  #: how far that one is from it
    house_source: str
    sound_speed_m_s: float
    other_seats: tuple[str, ...]  #: positions that belong to other seats


def tuned_seat(build: Build) -> str | None:
    """The seat to tune for: as stated, the only one, or the one furthest to the driving side."""
    if build.tuning and build.tuning.seat:
        return build.tuning.seat
    if not build.seats:
        return None
    sign = 1.0 if build.vehicle.driving_side == "right" else -1.0
    return max(build.seats, key=lambda seat: (sign * seat.head_m[1], -seat.head_m[0])).name


def prepare(build: Build, recorded: RecordedResponses) -> Prepared:
    """Pose the problem. Raises ``RefusedError`` where too little was recorded to pose it."""
    responses, others = _at_seat(build, recorded)
    channels = responses.channels
    sound_speed = speed_of_sound_m_s()
    distance, head_distance, gaps = _geometry(build, responses)
    ways = find_ways(build, channels)
    bands = [_direct_band(next(way for way in ways if c in way.channels)) for c in range(len(channels))]
    arrivals = find_arrivals(
        responses.impulse,
        responses.present,
        sample_rate_hz=responses.sample_rate_hz,
        zero_sample=responses.zero_sample,
        bands_hz=bands,
        distance_m=distance,
        head_distance_m=head_distance,
        sound_speed_m_s=sound_speed,
    )
    spectra = band_cross_spectra(responses, shift_s=arrivals.at_head_s)
    target, source = house_curve_db(build, spectra.group_hz)
    flat = {name: np.ones_like(target) for name in (LEFT_SIDE, RIGHT_SIDE, EVERYTHING)}
    processor = build.processor or Processor()
    problem = Problem(
        build,
        processor,
        channels,
        spectra,
        responses.present,
        arrivals,
        ways,
        target,
        np.zeros(len(channels)),
        flat,
        flat,
    )
    _refuse_gaps(problem, responses)
    polarity, confidence = _pair_polarity(responses, arrivals, ways, bands)
    problem = replace(problem, reach={name: _reach(problem, name) for name in problem.sum_names})
    crossovers = find_crossovers(build, ways, channels)
    layout, vector = plain_layout(problem, crossovers, polarity)
    problem = replace(problem, usual_gain_db=first_gains(problem, layout, vector))
    return Prepared(
        problem=problem,
        responses=responses,
        crossovers=crossovers,
        polarity=polarity,
        pair_confidence=confidence,
        move_s=_moves_to_head(arrivals, distance, head_distance, sound_speed),
        distance_m=distance,
        head_distance_m=head_distance,
        nearest=int(np.argmin(gaps)),
        head_gap_m=float(gaps.min()),
        house_source=source,
        sound_speed_m_s=sound_speed,
        other_seats=others,
    )


def _at_seat(build: Build, recorded: RecordedResponses) -> tuple[RecordedResponses, tuple[str, ...]]:
    """Only the positions of the tuned seat (all of them where none is said to be there)."""
    seat = tuned_seat(build)
    seat_of = {item.name: item.seat for item in build.microphone_positions}
    mine = [k for k, name in enumerate(recorded.positions) if seat_of.get(name) == seat]
    if not mine:
        raise RefusedError(
            f'no recording was made at the seat "{seat}". Record every channel at positions around that head, '
            "or name another seat in [tuning]."
        )
    others = tuple(name for k, name in enumerate(recorded.positions) if k not in mine)
    kept = replace(
        recorded,
        positions=tuple(recorded.positions[k] for k in mine),
        impulse=recorded.impulse[:, mine],
        present=recorded.present[:, mine],
        noise_power=recorded.noise_power[:, mine],
        snr_db=recorded.snr_db[:, mine],
        clock_drift_ppm=recorded.clock_drift_ppm[:, mine],
    )
    return kept, others


def _geometry(build: Build, responses: RecordedResponses) -> tuple[Real, Real, Real]:
    """Distances (channels, positions) and to the head (channels,), NaN where no place is stated; of positions to the head."""
    speakers = {item.name: item for item in build.speakers}
    members = {item.name: item.speakers for item in build.channels}
    place_of = {item.name: item.at_m for item in build.microphone_positions}
    at = np.asarray([place_of[name] for name in responses.positions], dtype=np.float64)
    seat = tuned_seat(build)
    head = np.asarray(next(item.head_m for item in build.seats if item.name == seat), dtype=np.float64)
    distance = np.full((len(responses.channels), len(at)), np.nan)
    head_distance = np.full(len(responses.channels), np.nan)
    for c, channel in enumerate(responses.channels):
        places = [speakers[name].position_m for name in members[channel]]
        known = [place for place in places if place is not None]
        if len(known) == len(places):
            # Of several speakers on one output the nearest is heard first.
            each = np.linalg.norm(np.asarray(known)[:, None] - np.vstack([at, head])[None], axis=-1).min(axis=0)
            distance[c], head_distance[c] = each[:-1], each[-1]
    return distance, head_distance, np.linalg.norm(at - head, axis=1)


def _direct_band(way: Way) -> tuple[float, float]:
    """The part of a way's range in which its first sound is sharpest."""
    low = max(1.2 * way.low_hz, DIRECT_BAND_HZ[0])
    high = min(way.high_hz, 2.0 * DIRECT_BAND_HZ[1])
    if high < 2.0 * low:  # a bass loudspeaker has nothing up there
        return max(way.low_hz, 20.0), way.high_hz
    return low, high


def _pair_polarity(
    responses: RecordedResponses, arrivals: Arrivals, ways: list[Way], bands: list[tuple[float, float]]
) -> tuple[Real, dict[int, float]]:
    """Polarity of every channel such that pairs agree, and how plainly they do."""
    polarity = np.ones(len(responses.channels))
    confidence: dict[int, float] = {}
    for way in ways:
        for channel, (sign, plain) in match_pair_polarity(responses, arrivals, way, bands[way.channels[0]]).items():
            polarity[channel] = sign
            if channel != way.channels[0]:
                confidence[channel] = plain
    return polarity, confidence


def _refuse_gaps(problem: Problem, responses: RecordedResponses) -> None:
    """Every sum needs one position at least at which all its channels were recorded well."""
    for name in problem.sum_names:
        if len(problem.positions_of(name)):
            continue
        members = problem.members(name)
        best = int(np.argmax(responses.present[members].sum(axis=0)))
        gaps = [responses.channels[c] for c in members if not responses.present[c, best]]
        raise RefusedError(
            f"{name}: there is no position at which every channel of it was recorded well. At "
            f'"{responses.positions[best]}" these are missing: {", ".join(gaps)}. Record them again and run the tune again.'
        )


def _reach(problem: Problem, name: str) -> Real:
    """0 to 1 per group: where loudspeakers fall far below the wanted curve, the curve is not chased.

    Each channel is taken inside its safe range at the level that puts it on the curve; what the strongest of them lacks,
    smoothed over an octave, is forgiven from 6 dB on and ignored from 14 dB on.
    """
    freq = problem.spectra.group_hz
    best = np.full(len(freq), -np.inf)
    cross = problem.cross_of(name)
    for k, channel in enumerate(problem.members(name)):
        way = problem.way_of(int(channel))
        power = cross[:, k, k].real.reshape(len(freq), -1).mean(axis=1)
        level = octave_mean(10.0 * np.log10(np.maximum(power, 1e-30)) - problem.target_db)
        inside = (freq >= way.low_hz) & (freq <= way.high_hz)
        if not inside.any():
            continue
        roll = 12.0 * np.maximum(np.log2(way.low_hz / freq), 0.0) + 12.0 * np.maximum(np.log2(freq / way.high_hz), 0.0)
        best = np.maximum(best, level - np.median(level[inside]) - roll)
    reach = np.clip(1.0 - (-best - REACH_SLACK_DB) / REACH_FADE_DB, 0.0, 1.0)
    ends = np.clip(np.log2(freq / LOW_HZ) * 3.0 + 1.0, 0.0, 1.0) * np.clip(
        np.log2(HIGH_HZ / freq) * 3.0 + 1.0, 0.0, 1.0
    )
    return np.asarray(reach * ends)


def _moves_to_head(arrivals: Arrivals, distance: Real, head_distance: Real, sound_speed: float) -> Real:
    """(channels, positions): how much later each response arrives at its microphone than it would at the head centre."""
    move = (distance - head_distance[:, None]) / sound_speed
    own = arrivals.at_positions_s - arrivals.at_head_s[:, None]
    return np.nan_to_num(np.where(np.isfinite(head_distance)[:, None], move, own))
