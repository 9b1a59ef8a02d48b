"""Microphones put back elsewhere: one small move per position, shared by all its recordings, as a nuisance of the fit.

A microphone that moves by ``d`` hears the first sound of a loudspeaker in the direction ``u`` (from loudspeaker to
microphone) later by ``u·d / c``. The unknowns of a position are the three components of ``d`` and one more for each
loudspeaker: what reaches it by reflections comes from elsewhere. All are Gaussian around zero; what they cost is their
negative log-likelihood, in the unit of the misfit. They are found by Gauss-Newton steps on the misfit as the fitter
weighs it. A loudspeaker whose place is not stated, or several on one channel, has only its own unknown, in full.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cabinwright.build.document import Build
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.stages.tuning.verify.bench import Array, Bench, Complex, State
from cabinwright.stages.tuning.verify.fitting import Fit
from cabinwright.stages.tuning.verify.repeatability import PLACED_SIGMA_M, REFLECTED_SHARE

__all__ = ["Moves", "Replaced"]


@dataclass(frozen=True)
class Moves:
    """Where the microphones seem to stand now."""

    unknowns_m: Array  #: (positions, unknowns)
    recorded: Complex  #: (channels, positions, bins) what was recorded, as it arrives there
    cost: float  #: of log-likelihood


class Replaced:
    """Finds the moves that suit a guess."""

    def __init__(self, build: Build, bench: Bench) -> None:
        self.bench = bench
        self.turn = -2j * np.pi * bench.frequency_hz
        self.lever = _lever(build, bench) / speed_of_sound_m_s()  # (positions, channels, unknowns) s/m

    def moved(self, unknowns_m: Array) -> Moves:
        """What is heard after these moves."""
        late_s = np.einsum("pck,pk->cp", self.lever, unknowns_m)
        cost = 0.5 * float((unknowns_m**2).sum()) / PLACED_SIGMA_M**2
        return Moves(unknowns_m, self.bench.recorded * np.exp(self.turn * late_s[..., None]), cost)

    def better(self, state: State, fit: Fit, moves: Moves | None) -> Moves:
        """One Gauss-Newton step from ``moves``; the position's latency may follow, but is left to the fitter."""
        bench = self.bench
        old = np.zeros(self.lever.shape[::2]) if moves is None else moves.unknowns_m
        order = np.argsort(state.out)  # whose output feeds each loudspeaker
        recorded = bench.recorded if moves is None else moves.recorded
        each = fit.level * state.drive[order][:, None, :] * recorded * np.exp(self.turn * fit.delay_s[:, None])
        weight = bench.weight * np.repeat(1.0 / (1.0 + fit.residual), bench.sizes, axis=-1)[:, None, :]
        feed = state.feed[:, order]
        unknowns = np.zeros_like(old)
        for place in range(len(bench.positions)):
            parts = feed[:, :, None] * each[None, :, place]  # (recordings, channels, bins)
            error = bench.measured[:, place] - parts.sum(axis=1)
            slope = (self.turn * parts).transpose(1, 0, 2).reshape(len(order), -1)
            heavy = weight[:, place].ravel()
            gram = ((slope.conj() * heavy) @ slope.T).real
            pull = ((slope.conj() * heavy) @ error.ravel()).real
            lever = np.hstack([self.lever[place], np.ones((len(order), 1))])
            prior = np.append(np.full(old.shape[1], PLACED_SIGMA_M**-2), 1e-6 * max(float(gram.max()), 1.0))
            right = 2.0 * lever.T @ pull - prior * np.append(old[place], 0.0)
            step = np.linalg.solve(2.0 * lever.T @ gram @ lever + np.diag(prior), right)
            unknowns[place] = old[place] + step[:-1]
        return self.moved(unknowns)


def _lever(build: Build, bench: Bench) -> Array:
    """How much later every channel arrives per metre of each unknown, as travel: ``(positions, channels, unknowns)``."""
    at = {item.name: np.asarray(item.at_m, dtype=np.float64) for item in build.microphone_positions}
    places = {item.name: item.position_m for item in build.speakers}
    fed = {item.name: item.speakers for item in build.channels}
    count = len(bench.channels)
    lever = np.zeros((len(bench.positions), count, 3 + count))
    for channel, name in enumerate(bench.channels):
        spots = {places[speaker] for speaker in fed[name]}
        spot = spots.pop() if len(spots) == 1 else None
        lever[:, channel, 3 + channel] = REFLECTED_SHARE if spot is not None else 1.0
        for place, position in enumerate(bench.positions):
            if spot is not None and position in at:
                away = at[position] - np.asarray(spot, dtype=np.float64)
                lever[place, channel, :3] = away / max(float(np.linalg.norm(away)), 1e-3)
    return lever
