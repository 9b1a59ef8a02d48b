"""The order in which a tune is made."""

from __future__ import annotations

import numpy as np

from cabinwright.build.document import Build
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.align import match_pair_polarity
from cabinwright.stages.tuning.arrivals import find_arrivals
from cabinwright.stages.tuning.house import house_curve_db
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.choices import choose_crossovers, choose_size
from cabinwright.stages.tuning.rounding import on_grid, to_settings
from cabinwright.stages.tuning.spectra import band_cross_spectra
from cabinwright.stages.tuning.ways import find_crossovers, find_ways
from cabinwright.stages.tuning.sides import EVERYTHING


def prepare(build, responses):
    c0 = 343.2
    names = responses.channels
    ways = find_ways(build, names)
    cross = find_crossovers(build, ways)
    speakers = {s.name: s for s in build.speakers}
    pos = np.asarray([speakers[next(c.speakers for c in build.channels if c.name == n)[0]].position_m for n in names])
    mic = {m.name: m.at_m for m in build.microphone_positions}
    at = np.asarray([mic[p] for p in responses.positions])
    head = np.asarray(build.seats[0].head_m)
    dist = np.linalg.norm(pos[:, None] - at[None], axis=-1)
    hd = np.linalg.norm(pos - head, axis=-1)
    bands = []
    for n in range(len(names)):
        w = next(w for w in ways if n in w.channels)
        lo, hi = max(w.low_hz * 1.5, 30), min(w.high_hz, 16000)
        bands.append((lo, hi))
    arr = find_arrivals(responses.impulse, responses.present, sample_rate_hz=responses.sample_rate_hz, zero_sample=responses.zero_sample,
                        bands_hz=bands, distance_m=dist, head_distance_m=hd, sound_speed_m_s=c0)
    spectra = band_cross_spectra(responses, shift_s=arr.at_head_s)
    target, src = house_curve_db(build, spectra.group_hz)
    ones = {n: np.where((spectra.group_hz > 28) & (spectra.group_hz < 17000), 1.0, 0.0) for n in ("left side", "right side", "everything")}
    pol = np.ones(len(names))
    conf = {}
    for way in ways:
        lo, hi = max(way.low_hz * 1.2, 25.0), min(way.high_hz, 4000.0 if way.role != "tweeter" else 8000.0)
        for ch, (s, cf) in match_pair_polarity(responses, arr, way, (lo, hi)).items():
            pol[ch] = s
            conf[names[ch]] = (s, round(cf, 2))
    prob = Problem(build, build.processor, names, spectra, responses.present, arr, ways, target, ones, {k: np.ones_like(target) for k in ones})
    return prob, cross, pol, conf, dist, hd


def run(build: Build, responses: RecordedResponses, progress=lambda s, f: None):
    import time
    t = time.time()
    prob, cross, pol, conf, dist, hd = prepare(build, responses)
    print("prep", time.time() - t); t = time.time()
    crossed = choose_crossovers(prob, cross, pol, progress)
    print("xo", time.time() - t, [(c.family, c.slope_db_per_octave) for c in crossed.crossovers], crossed.state.cost, [(a,b[0],c,round(d,1)) for a,b,c,d in crossed.tried]); t = time.time()
    sized = choose_size(prob, crossed, progress)
    print("size", time.time() - t, sized.state.layout.peaks, sized.weights.cut_db, [(a,b,round(c,3)) for a,b,c in sized.table], sized.expected_db, sized.state.cost); t = time.time()
    from dataclasses import replace
    prob = replace(prob, weights=sized.weights)
    state = on_grid(prob, sized.state)
    print("grid", time.time() - t)
    return prob, state, to_settings(prob, state)
