"""Bending round the inner edges of a shell that juts into the cabin: the shortest way by SciPy's optimiser, the loss by the
exact rigid wedge.

Exact: Biot & Tolstoy 1957 in the form of Svensson, Fred & Vanderkooy 1999, at one frequency: an integral over
``eta``, taken along a line below the real axis on which it does not swing. The half plane of ``test_edges`` checks it.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import minimize

from cabinwright.physics.edges import MOST_LOSS_DB, bending_edges, detour_m, screen_loss_db
from cabinwright.physics.facets import Facet
from physics.polyhedra import box, frustum, points_inside
from physics.test_edges import SETUPS, SPEED_M_S, exact_loss_db

Real = NDArray[np.float64]
FOOTWELL = np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 1.1), (0.8, 1.15), (0.75, 0.6), (0.0, 0.55)])
SHELL = frustum(FOOTWELL, 1.4, scale=0.95, shift=(0.03, 0.02))  # the edge of the dash slants


def _facets(corners: list[Real]) -> list[Facet]:
    return [Facet.of(facet) for facet in corners]


def _shortest(edges: list[Real], source: Real, receiver: Real) -> float:
    """Over given edges (2, 3) in turn, less the straight way."""

    def length(parts: Real) -> float:
        points = [edge[0] + part * (edge[1] - edge[0]) for part, edge in zip(parts, edges, strict=True)]
        chain = [source, *points, receiver]
        return float(sum(np.linalg.norm(b - a) for a, b in pairwise(chain)))

    best = minimize(
        length, [0.5] * len(edges), bounds=[(0.0, 1.0)] * len(edges), options={"ftol": 1e-15, "gtol": 1e-12}
    )
    return float(best.fun - np.linalg.norm(receiver - source))


@pytest.mark.parametrize(("y", "h"), [(0.2, 0.9), (0.7, 0.7), (1.1, 0.3)])
def test_out_of_the_footwell(y: float, h: float) -> None:
    """A speaker under the dash: its sound bends round the slanting lower edge of the dash, at the closest point."""
    source, receiver = np.array([0.3, y, 0.4]), np.array([1.0, h, 1.05])
    edge = SHELL[2 + 4][[0, 3]]  # of the dash's underside, from side to side
    got = detour_m(_facets(SHELL), source, receiver)
    assert got == pytest.approx(_shortest([edge], source, receiver), abs=1e-7)
    assert got != pytest.approx(_shortest([edge + np.array([0.005, 0.0, 0.0])], source, receiver), abs=1e-7)


def test_over_a_console() -> None:
    """A box from side to side stands on the floor, of three facets: over its two upper edges in turn."""
    room = box(2.0, 1.4, 1.1)
    a, b = ((0.9, 0.5), (1.1, 0.45))  # upper edges, x and z
    across = [[(x, y, z) for y in (0.0, 1.4)] for x, z in ((0.9, 0.0), a, b, (1.1, 0.0))]
    console = [np.array([p[0], p[1], q[1], q[0]]) for p, q in pairwise(across)]
    source, receiver = np.array([0.5, 0.3, 0.1]), np.array([1.6, 1.0, 0.1])
    got = detour_m(_facets(room + console), source, receiver)
    assert got == pytest.approx(_shortest([np.array(across[1]), np.array(across[2])], source, receiver), abs=1e-5)
    assert got > _shortest([np.array(across[1])], source, receiver) + 1e-3


def test_from_within_only_what_juts_in_is_an_edge() -> None:
    """Every seam of a shell is an edge from without; from anywhere within a box none is, under a dash its lower edge is."""
    rng = np.random.default_rng(2)
    plain, bent = (bending_edges(_facets(shell)) for shell in (box(2.0, 1.4, 1.1), SHELL))
    assert len(plain.ends_m) == 12 and len(bent.ends_m) == 18
    assert not any(plain.face(point).any() for point in points_inside(box(2.0, 1.4, 1.1), 60, rng))
    assert plain.face(np.array([2.1, 0.7, 1.2])).sum() > 0
    dash = np.flatnonzero(
        np.isclose(bent.ends_m[:, :, 1].sum(axis=1), 1.4) & np.isclose(bent.ends_m[:, 0, 0], 0.75, atol=0.01)
    )
    assert len(dash) == 1
    assert all(bent.face(point)[dash[0]] for point in points_inside(SHELL, 60, rng))


def test_a_seat_rests_on_the_floor_and_a_pane_goes_on() -> None:
    """Neither the foot of a seat back nor the seam of two panes in one plane is an edge; lifted by 2 cm the foot is one."""
    floor = np.array([(-2.0, -2.0, 0.0), (2.0, -2.0, 0.0), (2.0, 2.0, 0.0), (-2.0, 2.0, 0.0)])

    def feet(low: float) -> int:
        back = np.array([(0.0, -0.6, low), (0.0, 0.6, low), (0.0, 0.6, 1.0), (0.0, -0.6, 1.0)])
        ends = bending_edges(_facets([floor, back])).ends_m
        return int((np.abs(ends[..., 2]).max(axis=1) < 0.1).sum()) - 4  # the floor's own four

    assert feet(0.0) == feet(0.003) == 0
    assert feet(0.02) == 1
    halves = [
        [*floor[[0, 1]].tolist(), (2.0, 0.0, 0.0), (-2.0, 0.0, 0.0)],
        [(-2.0, 0.0, 0.0), (2.0, 0.0, 0.0), *floor[[2, 3]].tolist()],
    ]
    assert len(bending_edges([Facet.of(half) for half in halves]).ends_m) == 6


def wedge_loss_db(
    open_rad: float, source: tuple[float, float], receiver: tuple[float, float], frequency_hz: float
) -> float:
    """Loss behind a rigid wedge; source and receiver as distance from the edge and angle from the face by the source."""
    (near, turn), (far, other), nu = source, receiver, np.pi / open_rad
    angles = [np.pi + a * turn + b * other for a, b in product((1.0, -1.0), repeat=2)]

    def value(x: float) -> complex:
        eta, slope = x - 0.5j * np.tanh(x), 1.0 - 0.5j / np.cosh(x) ** 2
        late = np.sqrt(near**2 + far**2 + 2.0 * near * far * np.cosh(eta)) / SPEED_M_S
        beta = sum(np.sin(nu * angle) / (np.cosh(nu * eta) - np.cos(nu * angle)) for angle in angles)
        return complex(beta * np.exp(-2j * np.pi * frequency_hz * late) / late * slope)

    real, _ = quad(lambda x: value(x).real, 0.0, 25.0, limit=800)
    imaginary, _ = quad(lambda x: value(x).imag, 0.0, 25.0, limit=800)
    straight = np.sqrt(near**2 + far**2 - 2.0 * near * far * np.cos(other - turn))
    return float(-20.0 * np.log10(nu / (2.0 * np.pi * SPEED_M_S) * np.hypot(real, imaginary) * straight))


def test_a_wedge_without_thickness_is_the_half_plane() -> None:
    """Two exact solutions, found in different ways."""
    for x, z, y, h, f in SETUPS[:12]:
        one, other = ((float(np.hypot(a, b)), float(np.arctan2(-a, -b) % (2.0 * np.pi))) for a, b in ((x, z), (y, h)))
        assert wedge_loss_db(2.0 * np.pi, one, other, f) == pytest.approx(exact_loss_db((x, z), (y, h), f), abs=1e-6)


def test_error_against_the_exact_right_angle() -> None:
    """As stated: 2.6 dB more loss on average, 4.3 dB more at worst, 1 dB less at most; over a car's distances."""
    apart = []
    for near, far, turn, other, f in product(
        (0.3, 0.9), (0.3, 0.9), (20.0, 50.0), (215.0, 240.0, 260.0), (500.0, 1000.0, 2000.0, 4000.0)
    ):
        one, two = (near, float(np.radians(turn))), (far, float(np.radians(other)))
        detour = near + far - float(np.sqrt(near**2 + far**2 - 2.0 * near * far * np.cos(two[1] - one[1])))
        got = float(screen_loss_db(detour_m=detour, frequency_hz=f, speed_m_s=SPEED_M_S))
        if other - turn > 181.0 and got < MOST_LOSS_DB and 2.0 * detour * f / SPEED_M_S > 0.1:
            apart.append(got - wedge_loss_db(1.5 * np.pi, one, two, f))
    assert len(apart) > 40
    assert np.mean(apart) == pytest.approx(2.6, abs=0.2)
    assert -1.0 < min(apart) < -0.5 and 4.0 < max(apart) < 4.3
