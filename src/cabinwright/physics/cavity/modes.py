"""Modes of the air in a closed shell, and sound from a small source in it.

The Helmholtz equation with locally reacting walls, ``dp/dn = -i k beta p`` (time factor ``exp(i omega t)``), is

    (K + i k B - k² M) p = rho Q psi

with the matrices of ``elements``, wall losses ``B``, the source's volume acceleration ``Q`` and the elements' functions at
its place, ``psi``. It is solved in the space of the modes of the rigid shell, walls coupling them as they do, together with
what all higher modes add at rest (static correction, as in structural dynamics: Craig & Kurdila). The mode at 0 Hz is the
cabin under pressure: in a sealed rigid one ``p = rho c² (volume displaced) / V``, which rises above free field as
frequency falls. A real cabin leaks: see ``leak_hz``.

Valid where few modes matter, below 200 Hz in a car: see ``crossfade`` in this package. Panels, trim that moves, seats that
sound passes through and doors that give way are not in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.linalg import LinearOperator, eigsh, splu

from .cells import cut_cells
from .elements import Elements, assemble, sample
from .pieces import divide
from .shell import HAIR_M, Shell, close_shell
from .walls import admittance

__all__ = ["Cavity", "Slice", "solve_cavity"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
CELL_M = (
    0.25  #: modes below 200 Hz within 0.05 % of their frequency, below 300 Hz within 0.2 %; beside a thin wall 1.5 %
)
SHIFT = 1.0  #: [1/m²] makes the matrix of the solver positive; near the lowest modes
TERMS = 3  #: of the series for modes that are not counted
WALL_STEP_M = 0.1  #: spacing of the points at which walls are sampled
NEAR_M = 0.05  #: how far outside the shell a point may lie and still be taken as on it
SEED = 20  #: start of the eigenvalue iteration: any will do, but always the same


@dataclass(frozen=True)
class Slice:
    """Level of one source on a plane through the cabin, for a map."""

    across: str  #: axis along ``u_m``: "x", "y" or "z"
    up: str  #: axis along ``v_m``
    u_m: Real  #: (columns,)
    v_m: Real  #: (rows,)
    level_db: Real  #: (rows, columns) re the same source in half space at 1 m; NaN outside the air


@dataclass(frozen=True)
class Cavity:
    """The air in a shell with its modes below some frequency. Arrays run over modes, lowest (0 Hz) first."""

    shell: Shell
    elements: Elements
    wavenumber: Real  #: (modes,) [1/m]
    vectors: Real  #: (unknowns, modes), each with ``integral of phi² = 1`` over the air
    walls: Real  #: (facets, modes, modes): integral of ``phi_m phi_n`` over each facet [1/m]
    absorption: Real  #: (facets, bands)
    bands_hz: Real  #: (bands,)
    speed_m_s: float
    density_kg_m3: float
    leak_hz: float

    @property
    def frequency_hz(self) -> Real:
        """Frequency of each mode [Hz], shape ``(modes,)``; the first is 0."""
        return self.wavenumber * self.speed_m_s / (2.0 * math.pi)

    @property
    def quality(self) -> Real:
        """Quality factor of each mode but the first from what the walls absorb, shape ``(modes - 1,)``; may be infinite."""
        losses = self._losses(self.frequency_hz[1:])
        mode = np.arange(len(losses))
        loss = losses[mode, mode + 1, mode + 1]
        return np.asarray(np.divide(self.wavenumber[1:], loss, out=np.full(len(loss), np.inf), where=loss > 0.0))

    def at(self, points_m: ArrayLike) -> Real:
        """Mode shapes at points ``(points, 3)``, shape ``(modes, points)`` [m^-1.5].

        Raises ``ValueError`` for a point that lies outside the shell.
        """
        return np.asarray((self._sample(points_m) @ self.vectors).T)

    def response(self, source_m: ArrayLike, receivers_m: ArrayLike, *, frequency_hz: ArrayLike) -> Complex:
        """Pressure [Pa] for each m³/s² of the source's volume acceleration, shape ``(frequencies, receivers)``.

        ``source_m`` has shape ``(3,)``, ``receivers_m`` ``(receivers, 3)``, ``frequency_hz`` ``(frequencies,)`` and lies
        above 0. A small source may lie in the air or on a wall; its level is then what its volume flow gives, wherever
        it points. Raises ``ValueError`` for a point outside the shell.
        """
        frequency = np.asarray(frequency_hz, dtype=np.float64)
        if not np.all(frequency > 0.0):
            raise ValueError("response is defined above 0 Hz")
        source = self._sample(np.reshape(source_m, (1, 3)))
        receivers = self._sample(receivers_m)
        start, end = self.vectors.T @ source.toarray()[0], receivers @ self.vectors
        k = 2.0 * math.pi * frequency / self.speed_m_s
        matrix = 1j * k[:, None, None] * self._losses(frequency)
        every = np.arange(len(self.wavenumber))
        matrix[:, every, every] += self.wavenumber**2 - k[:, None] ** 2
        amplitude = np.linalg.solve(matrix, np.broadcast_to(start[:, None], (len(k), len(start), 1)))[..., 0]
        return np.asarray(
            self.density_kg_m3 * (amplitude @ end.T + self._rest(source.toarray()[0], start, receivers, end, k))
        )

    def level_db(self, source_m: ArrayLike, receivers_m: ArrayLike, *, frequency_hz: ArrayLike) -> Real:
        """Cabin gain [dB], shape ``(frequencies, receivers)``: level re the same source in half space at 1 m."""
        free = self.density_kg_m3 / (2.0 * math.pi)
        pressure = np.abs(self.response(source_m, receivers_m, frequency_hz=frequency_hz))
        return np.asarray(20.0 * np.log10(np.maximum(pressure, 1e-12) / free))

    def slice(
        self, source_m: ArrayLike, *, frequency_hz: float, normal: str = "z", at_m: float, step_m: float = 0.05
    ) -> Slice:
        """Level of a source on the plane where the axis ``normal`` is ``at_m``, every ``step_m``.

        Raises ``ValueError`` where the plane misses the air.
        """
        axis = "xyz".index(normal)
        across, up = (i for i in range(3) if i != axis)
        low, high = self.shell.triangles_m.min(axis=(0, 1)), self.shell.triangles_m.max(axis=(0, 1))
        u, v = (np.arange(low[i] + 0.5 * step_m, high[i], step_m) for i in (across, up))
        points = np.empty((len(v), len(u), 3))
        points[..., across], points[..., up], points[..., axis] = u, v[:, None], at_m
        flat = points.reshape(-1, 3)
        air = self.shell.inside(flat)
        if not air.any():
            raise ValueError(f"the plane {normal} = {at_m} m does not pass through the cabin")
        level = np.full(len(flat), np.nan)
        level[air] = self.level_db(source_m, flat[air], frequency_hz=[frequency_hz])[0]
        return Slice("xyz"[across], "xyz"[up], u, v, level.reshape(len(v), len(u)))

    def _losses(self, frequency_hz: Real) -> Real:
        """What walls and leak take, in the space of the modes, shape ``(frequencies, modes, modes)`` [1/m]."""
        beta = admittance(self.absorption, bands_hz=self.bands_hz, frequency_hz=frequency_hz)
        losses = np.tensordot(beta.T, self.walls, axes=1)
        losses[:, 0, 0] += 2.0 * math.pi * self.leak_hz / self.speed_m_s
        return np.asarray(losses)

    def _rest(self, source: Real, start: Real, receivers: Any, end: Real, k: Real) -> Real:
        """What the modes that are not counted add, shape ``(frequencies, receivers)``.

        They lie above ``k``: the first terms of their series in ``k² + SHIFT``, each the whole answer of the elements
        less what the counted modes make of it.
        """
        total = np.zeros((len(k), len(end)))
        whole, square = source, self.wavenumber**2 + SHIFT
        for term in range(TERMS):
            whole = self._factor.solve(whole if term == 0 else self.elements.mass @ whole)
            beyond = receivers @ whole - end @ (start / square ** (term + 1))
            total += (k[:, None] ** 2 + SHIFT) ** term * beyond
        return total

    def _sample(self, points_m: ArrayLike) -> Any:
        """Values at points, from the unknowns; refuses points outside."""
        points = np.asarray(points_m, dtype=np.float64).reshape(-1, 3)
        outside = np.flatnonzero(~self.shell.inside(points))
        if len(outside):
            surface = self.shell.nearest(points[outside])
            far = surface.distance_m.argmax()
            if surface.distance_m[far] > NEAR_M:
                got = np.round(points[outside[far]], 3).tolist()
                raise ValueError(
                    f"a point must lie inside the cabin's shell, got {got}, {surface.distance_m[far]:.3f} m outside it"
                )
            points = points.copy()
            inward = surface.foot_m - points[outside]
            points[outside] = surface.foot_m + HAIR_M / np.maximum(surface.distance_m, 1e-9)[:, None] * inward
        return sample(self.elements, points)

    @cached_property
    def _factor(self) -> Any:
        return _factor(self.elements)

    def __getstate__(self) -> dict[str, Any]:
        """Without the factors, which cannot leave the process; they are made again where needed."""
        return {name: value for name, value in self.__dict__.items() if name != "_factor"}


def solve_cavity(
    facets_m: Sequence[ArrayLike],
    *,
    absorption: ArrayLike,
    bands_hz: ArrayLike = (125.0,),
    names: Sequence[str] | None = None,
    highest_hz: float = 300.0,
    cell_m: float = CELL_M,
    speed_m_s: float = 343.2,
    density_kg_m3: float = 1.204,
    leak_hz: float = 0.0,
) -> Cavity:
    """Modes up to ``highest_hz`` of the air within ``facets_m``, each ``(corners, 3)``.

    ``absorption`` is one coefficient, one for each facet, or ``(facets, bands)`` with octave bands ``bands_hz``; what is
    given beyond 250 Hz does no harm. ``leak_hz`` is the frequency below which the pressure of the cabin as a whole leaks
    away faster than a source builds it up; 0 is sealed. ``cell_m`` is the edge of an element. Raises ``OpenShellError``
    where the facets do not close, ``ValueError`` for values out of range.
    """
    shell = close_shell([np.asarray(facet, dtype=np.float64) for facet in facets_m], names=names)
    bands = np.atleast_1d(np.asarray(bands_hz, dtype=np.float64))
    table = np.asarray(absorption, dtype=np.float64)
    table = np.broadcast_to(table[:, None] if table.ndim == 1 else table, (shell.facets, len(bands)))
    if not np.all((table >= 0.0) & (table <= 1.0)):
        raise ValueError("absorption coefficients lie between 0 and 1")
    if not 0.0 < highest_hz < math.inf or not speed_m_s > 0.0 or not density_kg_m3 > 0.0 or not leak_hz >= 0.0:
        raise ValueError("highest_hz, speed_m_s and density_kg_m3 must be positive and leak_hz not negative")
    cells = cut_cells(shell, cell_m=cell_m)
    pieces = divide(cells, shell)
    if pieces.spaces > 1 and len(shell.sheets_m):
        shell = shell.without_sheets()  # they close off a part of the cabin
        pieces = divide(cells, shell)
    if pieces.spaces > 1:
        raise ValueError("the facets enclose two spaces with no way between them; leave one of them out")
    elements = assemble(pieces)
    wavenumber, vectors = _modes(elements, shell, 2.0 * math.pi * highest_hz / speed_m_s)
    walls = _walls(elements, shell, vectors)
    return Cavity(shell, elements, wavenumber, vectors, walls, table, bands, speed_m_s, density_kg_m3, leak_hz)


def _factor(elements: Elements) -> Any:
    """Sparse factors of ``K + SHIFT M``, which is symmetric and positive."""
    options = {"SymmetricMode": True}
    matrix = elements.stiffness + SHIFT * elements.mass
    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)


def _modes(elements: Elements, shell: Shell, highest: float) -> tuple[Real, Real]:
    """Wave numbers (modes,) up to ``highest`` [1/m] and vectors (unknowns, modes) of the rigid shell."""
    stiffness, mass = elements.stiffness, elements.mass
    unknowns = stiffness.shape[0]
    factor = _factor(elements)
    inverse = LinearOperator(stiffness.shape, matvec=factor.solve, dtype=np.float64)
    start = np.random.default_rng(SEED).standard_normal(unknowns)
    count = math.ceil(1.15 * _expected(shell, highest)) + 4
    while True:
        if count >= unknowns - 1:
            raise ValueError("cells are too large for so high a frequency; make them smaller")
        squares, vectors = eigsh(stiffness, k=count, M=mass, sigma=-SHIFT, OPinv=inverse, v0=start)
        if squares.max() > highest**2:
            break
        count = math.ceil(1.5 * count)
    order = np.argsort(squares)
    order = order[squares[order] <= highest**2]
    wavenumber, vectors = np.sqrt(np.maximum(squares[order], 0.0)), vectors[:, order]
    wavenumber[0] = 0.0
    vectors[:, 0] = 1.0 / math.sqrt(elements.pieces.cells.volume_m3)
    return wavenumber, vectors


def _expected(shell: Shell, highest: float) -> float:
    """About how many modes lie below ``highest`` [1/m]: volume and surface terms (Kuttruff, *Room Acoustics*)."""
    return shell.volume_m3 * highest**3 / (6.0 * math.pi**2) + float(shell.area_m2.sum()) * highest**2 / (
        16.0 * math.pi
    )


def _walls(elements: Elements, shell: Shell, vectors: Real) -> Real:
    """Integral of ``phi_m phi_n`` over each facet, shape (facets, modes, modes)."""
    points, area, facet = shell.samples(step_m=WALL_STEP_M)
    values: Real = np.asarray(sample(elements, points) @ vectors)
    result = np.zeros((shell.facets, vectors.shape[1], vectors.shape[1]))
    for number in np.unique(facet):
        here = facet == number
        result[number] = (values[here] * area[here, None]).T @ values[here]
    return result
