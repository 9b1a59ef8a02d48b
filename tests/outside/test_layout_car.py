"""An invented car as pyroomacoustics records it, beside what the comparison of places predicted for it.

The simulator is independent of the code: its own images (twice our order), octave filters, air and sampling. The car is the
slanted cabin of the tests without its seat back; speakers radiate alike all round (pyroomacoustics knows no piston), so
directivity is checked elsewhere. What a real car adds (curved panes, small parts, seats that scatter) is in neither, so
these figures say how well the paths are found, not how well any car is known.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pyroomacoustics as pra
import pytest
from numpy.typing import NDArray
from scipy.signal import butter, hilbert, sosfiltfilt

from cabinwright.build.document import Build
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.layout import LayoutResult, run
from cabinwright.stages.layout.meets import meet
from cabinwright.tables import OCTAVES_HZ, absorption
from physics.polyhedra import outward
from stages.cabin_build import PLACES, cabin_build, shell

Real = NDArray[np.float64]
RATE = 48000
ORDER = 6  #: twice what the comparison follows
FRONT = ("left pillar", "right pillar", "left dash corner", "right dash corner", "left door", "right door")
SPEAKERS = "".join(
    f'[[speakers]]\nname = "{name} speaker"\nrole = "coaxial"\nside = "{name.split()[0]}"\nposition_m = {at}\n'
    f'[[channels]]\nname = "{name}"\nspeakers = ["{name} speaker"]\n'
    for name, at in (
        (row.split("name = ")[1].split('"')[1], row.split("position_m = ")[1].split("\n")[0])
        for row in PLACES.split("[[places]]")[1:7]
    )
)
POSITION = '[[microphone_positions]]\nname = "head"\nat_m = [1.3, 0.36, 0.95]\nseat = "driver"\n'


@cache
def _build() -> Build:
    """Cones of 2 mm: they radiate alike all round."""
    places = PLACES.replace("radius_m = 0.035", "radius_m = 0.002")
    return cabin_build(places=places, surfaces=shell(seat_back=False), extra="[layout]\ndraws = 0\n")


@cache
def _predicted() -> LayoutResult:
    got = run(_build())
    assert got is not None
    return got


@cache
def recording(place: str) -> Real:
    """Impulse response at the driver's head centre, time zero at emission."""
    build = _build()
    assert build.cabin is not None
    corners = [np.asarray(wall.corners_m, dtype=np.float64) for wall in build.cabin.surfaces]
    lift = -np.concatenate(corners).min(axis=0)
    walls = []
    for wall, outline in zip(build.cabin.surfaces, outward(corners), strict=True):
        stuff = {
            "description": wall.material,
            "coeffs": list(absorption(wall.material)),
            "center_freqs": list(OCTAVES_HZ),
        }
        walls.append((outline + lift, stuff))
    pra.constants.set("rir_hpf_enable", False)
    pra.constants.set("num_threads", 1)
    pra.constants.set("c", _predicted().speed_of_sound_m_s)
    bands = pra.acoustics.OctaveBandsFactory(base_frequency=125.0, fs=RATE, n_fft=512)
    made = []
    for outline, stuff in walls:
        material = pra.Material(stuff)
        material.resample(bands)
        made.append(pra.wall_factory(outline.T, material.energy_absorption["coeffs"], np.zeros(bands.n_bands)))
    room = pra.Room(made, fs=RATE, max_order=ORDER, air_absorption=True)
    at = next(item.position_m for item in build.places if item.name == place)
    room.add_source(np.asarray(at) + lift)
    room.add_microphone_array((np.array([[1.3, 0.36, 0.95]]) + lift).T)
    room.compute_rir()
    late = pra.constants.get("frac_delay_length") // 2
    return np.asarray(room.rir[0][0], dtype=np.float64)[late:]


BAND = butter(4, (500.0, 8000.0), "bandpass", fs=RATE, output="sos")


def _envelope(impulse: Real) -> Real:
    return np.asarray(np.abs(hilbert(sosfiltfilt(BAND, impulse))))


def _pulses(place: str, samples: int) -> Real:
    """The plan's arrivals as an impulse response: each octave of each path filtered by itself, direct sound at its distance."""
    got = _predicted()
    heard = got.places[place].seats["driver"]
    frequency = np.fft.rfftfreq(samples, 1.0 / RATE)
    log_f, octaves = np.log(np.maximum(frequency, 20.0)), np.log(got.bands_hz)
    first = heard.distance_m / got.speed_of_sound_m_s
    total = np.exp(-2j * np.pi * frequency * first)
    for row in heard.reflections:
        gain = 10.0 ** (np.interp(log_f, octaves, row.bands_db) / 20.0)
        total = total + gain * np.exp(-2j * np.pi * frequency * (first + row.delay_s))
    return np.asarray(np.fft.irfft(total, n=samples))


def _first_5_ms(place: str) -> tuple[Real, Real]:
    theirs = recording(place)
    samples = 4096
    theirs = np.pad(theirs, (0, max(samples - len(theirs), 0)))[:samples]
    first = round(_predicted().places[place].seats["driver"].distance_m / _predicted().speed_of_sound_m_s * RATE)
    part = slice(first - 24, first + round(0.005 * RATE))
    return _envelope(theirs)[part], _envelope(_pulses(place, samples))[part]


def _thirds_db(impulse: Real, first: int) -> Real:
    """Third octaves from 500 Hz to 8 kHz of the first 10 ms, mean removed."""
    part = np.zeros(8192)
    length = round(0.010 * RATE)
    part[:length] = impulse[first - 24 : first - 24 + length] * np.minimum(1.0, np.arange(length, 0, -1) / 96.0)
    power, frequency = np.abs(np.fft.rfft(part)) ** 2, np.fft.rfftfreq(8192, 1.0 / RATE)
    centres = 1000.0 * 2.0 ** (np.arange(-3, 10) / 3.0)
    edge = 2.0 ** (1.0 / 6.0)
    level = [10.0 * np.log10(power[(frequency >= f / edge) & (frequency < f * edge)].mean()) for f in centres]
    return np.asarray(level) - np.mean(level)


def _correlation(one: Real, other: Real) -> float:
    return float(np.corrcoef(one, other)[0, 1])


def figures() -> dict[str, tuple[float, float, float]]:
    """Per place: correlation of the first 5 ms, of third-octave levels, and root mean square of their difference in dB."""
    out = {}
    for place in FRONT:
        heard = _predicted().places[place].seats["driver"]
        first = round(heard.distance_m / _predicted().speed_of_sound_m_s * RATE)
        one, two = _thirds_db(recording(place), first), _thirds_db(_pulses(place, 4096), first)
        rms = float(np.sqrt(np.mean((one - two) ** 2)))
        out[place] = _correlation(*_first_5_ms(place)), _correlation(one, two), rms
    return out


def test_prediction_meets_the_simulators_recording() -> None:
    got = figures()  # as measured: correlation 0.98 to 1.00 and 0.93 to 0.99, apart by 0.3 to 1.4 dB
    early, thirds, apart = (np.asarray(column) for column in zip(*got.values(), strict=True))
    assert early.min() > 0.9
    assert thirds.min() > 0.9
    assert apart.max() < 1.5


def test_the_bounds_can_fail() -> None:
    """The recording of one place beside the prediction of another, or reflections left out, stays far below."""
    crossed = _correlation(_first_5_ms("left dash corner")[0], _first_5_ms("left pillar")[1])
    assert crossed < 0.8
    theirs, ours = _first_5_ms("left dash corner")
    alone = np.zeros_like(ours)
    alone[24 - 8 : 24 + 8] = ours.max()
    assert _correlation(theirs, alone) < 0.8


def _recorded(impulses: Real) -> RecordedResponses:
    shape = (len(FRONT), 1)
    bands = 1000.0 * 2.0 ** (np.arange(-17, 14) / 3.0)
    return RecordedResponses(
        sample_rate_hz=float(RATE),
        channels=FRONT,
        positions=("head",),
        impulse=impulses[:, None],
        zero_sample=0,
        present=np.ones(shape, dtype=bool),
        band_centres_hz=bands,
        noise_power=np.full((*shape, len(bands)), 1e-12),
        snr_db=np.full((*shape, len(bands)), 60.0),
        clock_drift_ppm=np.zeros(shape),
        absolute_time=True,
    )


def test_the_reports_own_comparison_says_the_same() -> None:
    """What the report shows where a predicted place was recorded: as good as the figures above, and bad where it should be."""
    build = cabin_build(places="", surfaces=shell(seat_back=False), extra=SPEAKERS + POSITION)
    longest = max(len(recording(place)) for place in FRONT)
    every = np.stack([np.pad(recording(place), (0, max(longest, 8192) - len(recording(place)))) for place in FRONT])
    met = {item.channel: item for item in meet(build, _recorded(every))}
    assert set(met) == set(FRONT)
    for item in met.values():
        assert item.correlation > 0.9 and item.band_correlation > 0.9 and item.apart_db < 1.5
    swapped = meet(build, _recorded(every[[2, 3, 4, 5, 0, 1]]))
    assert np.mean([item.correlation for item in swapped]) < 0.75
    assert np.mean([item.apart_db for item in swapped]) > 2.0
    late = np.pad(every, ((0, 0), (137, 0)))
    again = {item.channel: item for item in meet(build, _recorded(late))}  # what is late as a whole changes nothing
    assert all(again[name].correlation == pytest.approx(met[name].correlation, abs=1e-6) for name in FRONT)
