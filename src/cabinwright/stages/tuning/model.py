"""The unknowns of the tune as one vector, and every channel's response with exact derivatives.

Vector layout, for C channels, K peaking filters each, M crossover edges and T all-pass filters:

    gain_db (C) | delay_s x 1000 (C) | ln edge frequency (M) | peaking (C, K, 3): ln f, gain_db, ln Q | all-pass (T, 2)

An edge is one high-pass or low-pass corner. Left and right of a pair share their edges, so that both sides keep the same
phase and the image does not smear. Families, slopes and polarities are choices made outside (``crossovers``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.filters import Family, crossover_qs
from cabinwright.physics.prototypes import LN10, all_pass, high_pass, low_pass, peaking, warp

__all__ = ["DELAY_SCALE", "Corner", "Edge", "Layout", "Model"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Corner = Literal["high-pass", "low-pass"]
DELAY_SCALE = 1000.0  #: delays are kept in milliseconds so that all unknowns are of order one


@dataclass(frozen=True)
class Edge:
    """One crossover corner shared by ``channels`` (indices)."""

    kind: Corner
    channels: tuple[int, ...]
    family: Family
    slope_db_per_octave: int
    frequency_hz: float  #: first guess
    low_hz: float  #: never below
    high_hz: float  #: never above
    free: bool = True
    pair: int | None = None  #: number of the crossover it belongs to, None for a protective filter

    @property
    def qs(self) -> list[float | None]:
        """Section Qs."""
        return crossover_qs(self.family, self.slope_db_per_octave)


@dataclass(frozen=True)
class Layout:
    """What is fixed while the solver runs."""

    channels: int
    peaks: int
    edges: tuple[Edge, ...]
    polarity: Real  #: (C,) +1 or -1
    sample_rate_hz: float
    all_passes: tuple[int, ...] = ()  #: the channel of each all-pass filter

    @property
    def size(self) -> int:
        """Length of the vector."""
        return self.at_all_pass + 2 * len(self.all_passes)

    @property
    def at_delay(self) -> int:
        """Where the delays begin."""
        return self.channels

    @property
    def at_edge(self) -> int:
        """Where the edges begin."""
        return 2 * self.channels

    @property
    def at_peak(self) -> int:
        """Where the peaking filters begin."""
        return self.at_edge + len(self.edges)

    @property
    def at_all_pass(self) -> int:
        """Where the all-pass filters begin."""
        return self.at_peak + 3 * self.channels * self.peaks

    def split(self, vector: Real) -> tuple[Real, Real, Real, Real, Real]:
        """Views: gain_db (C,), delay_s (C,), ln f of edges (M,), peaking (C, K, 3), all-pass (T, 2)."""
        peaks = vector[self.at_peak : self.at_all_pass].reshape(self.channels, self.peaks, 3)
        turns = vector[self.at_all_pass : self.size].reshape(-1, 2)
        delay = vector[self.at_delay : self.at_edge] / DELAY_SCALE
        return vector[: self.channels], delay, vector[self.at_edge : self.at_peak], peaks, turns

    def turned(self, polarity: Real) -> Layout:
        """The same with other polarities."""
        return replace(self, polarity=polarity)


class Model:
    """Responses of all channels on a fixed frequency axis."""

    def __init__(self, layout: Layout, frequency_hz: Real) -> None:
        self.layout = layout
        self.frequency_hz = frequency_hz
        self._omega_ms = 2.0 * np.pi * frequency_hz / DELAY_SCALE
        self.columns = [self._columns_of(channel) for channel in range(layout.channels)]

    def _columns_of(self, channel: int) -> NDArray[np.int_]:
        """Indices in the vector that move ``channel``, in the order in which ``respond`` gives derivatives."""
        lay = self.layout
        edges = [lay.at_edge + k for k, edge in enumerate(lay.edges) if channel in edge.channels]
        peaks = np.arange(3 * lay.peaks).reshape(lay.peaks, 3).T.ravel() + lay.at_peak + 3 * lay.peaks * channel
        mine = [k for k, owner in enumerate(lay.all_passes) if owner == channel]
        turns = [lay.at_all_pass + 2 * k + part for part in (0, 1) for k in mine]
        return np.concatenate([[channel, lay.at_delay + channel], edges, peaks, turns]).astype(int)

    def peak_columns(self, channel: int) -> slice:
        """Where among ``columns[channel]`` the peaking filters stand."""
        first = 2 + sum(channel in edge.channels for edge in self.layout.edges)
        return slice(first, first + 3 * self.layout.peaks)

    def responses(self, vector: Real) -> Complex:
        """(C, F) without derivatives."""
        return self.evaluate(vector, derivatives=False)[0]

    def evaluate(self, vector: Real, *, derivatives: bool) -> tuple[Complex, Complex, list[Complex]]:
        """(C, F) responses, (C, F) of the peaking filters alone, and per channel the derivatives of ln response, (n, F).

        The derivatives are by the entries ``columns[channel]`` of the vector; without ``derivatives`` there are none.
        """
        lay, freq = self.layout, self.frequency_hz
        gain_db, delay_s, edge_ln, peaks, turns = lay.split(vector)
        level = lay.polarity * 10.0 ** (gain_db / 20.0)
        total = level[:, None] * np.exp(-1j * np.outer(delay_s * DELAY_SCALE, self._omega_ms))
        corners = [self._edge(edge, float(np.exp(ln))) for edge, ln in zip(lay.edges, edge_ln, strict=True)]
        for edge, (response, _) in zip(lay.edges, corners, strict=True):
            total[list(edge.channels)] *= response
        peaked = np.ones_like(total)
        by_peak: list[Complex] = []
        by_turn: list[Complex] = []
        if lay.peaks:
            x, slope = self._warp(np.exp(peaks[..., :1]))
            bank, *by_peak = peaking(x, slope, gain_db=peaks[..., 1:2], q=np.exp(peaks[..., 2:3]))
            peaked = bank.prod(axis=1)
            total *= peaked
        if lay.all_passes:
            x, slope = self._warp(np.exp(turns[:, :1]))
            bank, *by_turn = all_pass(x, slope, q=np.exp(turns[:, 1:]))
            for owner, response in zip(lay.all_passes, bank, strict=True):
                total[owner] *= response
        if not derivatives:
            return total, peaked, []
        logs = []
        by_delay = np.asarray(-1j * self._omega_ms, dtype=np.complex128)
        for channel in range(lay.channels):
            rows = [np.full((1, len(freq)), LN10 / 20.0, dtype=np.complex128), by_delay[None]]
            rows += [by[None] for edge, (_, by) in zip(lay.edges, corners, strict=True) if channel in edge.channels]
            rows += [by[channel] for by in by_peak]
            mine = [k for k, owner in enumerate(lay.all_passes) if owner == channel]
            rows += [by[mine] for by in by_turn] if mine else []
            logs.append(np.concatenate(rows))
        return total, peaked, logs

    def _warp(self, corner_hz: Real) -> tuple[Real, Real]:
        return warp(frequency_hz=self.frequency_hz, corner_hz=corner_hz, sample_rate_hz=self.layout.sample_rate_hz)

    def _edge(self, edge: Edge, corner_hz: float) -> tuple[Complex, Complex]:
        x, slope = self._warp(np.asarray(corner_hz))
        return (high_pass if edge.kind == "high-pass" else low_pass)(x, slope, qs=edge.qs)
