"""Modes and response of closed rooms against closed forms, published values and another way of solving.

Values copied with their sources into tests/references/cavity.toml.
"""

from __future__ import annotations

import math
import pickle
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import splu

from cabinwright.physics.cavity import Cavity, crossfade, evenness_db, gain_crossing_hz, solve_cavity
from cabinwright.physics.cavity.elements import sample
from cabinwright.physics.cavity.walls import admittance, random_absorption

from .cavity_rooms import back_hz, box, box_hz, cabin, prism, turned, with_back

TABLE = Path(__file__).parents[1] / "references" / "cavity.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}
C = 343.2
RHO = 1.204
SOURCE = (0.3, -0.7, 0.1)
HEADS = np.array([[1.5, 0.35, 1.0], [1.5, -0.35, 1.0], [1.6, -0.3, 1.05], [2.3, 0.3, 0.9]])


@pytest.fixture(scope="module")
def damped() -> Cavity:
    return solve_cavity(cabin(), absorption=0.1)


def worst(got: np.ndarray, expected: np.ndarray) -> float:
    """Greatest relative error; infinite where the numbers of modes differ."""
    if len(got) < len(expected):
        return math.inf
    return float(np.max(np.abs(got[: len(expected)] / expected - 1.0)))


@pytest.mark.parametrize("facets", [box(), turned(box())], ids=["along the grid", "awry"])
def test_box(facets: list[np.ndarray]) -> None:
    expected = box_hz()[1:]
    got = solve_cavity(facets, absorption=0.0, highest_hz=301.0).frequency_hz
    assert got[0] == 0.0
    assert worst(got[1:], expected) < 0.005
    assert worst(got[1:][expected < 200.0], expected[expected < 200.0]) < 0.0005
    assert np.sum(got < 295.0) == len(box_hz(below=295.0))
    assert worst(1.006 * got[1:], expected) > 0.005


def test_error_falls_with_the_cells() -> None:
    expected = box_hz()[1:]
    cells = np.array([0.4, 0.3, 0.2])
    errors = []
    for cell_m in cells:
        got = solve_cavity(turned(box()), absorption=0.0, highest_hz=305.0, cell_m=cell_m).frequency_hz[1:]
        errors.append(worst(got, expected))
    order = np.polyfit(np.log(cells), np.log(errors), 1)[0]
    assert order > 2.0, errors


def test_cylinder() -> None:
    entry = ENTRIES["A.modes.cylinder"]
    around = np.arange(48) * 2.0 * np.pi / 48
    outline = np.column_stack([np.cos(around), np.sin(around)])
    outline *= entry["inputs"]["a_m"] * math.sqrt(np.pi / (24.0 * math.sin(2.0 * np.pi / 48)))  # the circle's area
    facets = prism(outline, entry["inputs"]["L_m"])
    got = solve_cavity(facets, absorption=0.0, highest_hz=450.0, cell_m=0.17).frequency_hz
    for name, expected in zip(entry["inputs"]["names"], entry["expected"], strict=True):
        near = int(np.sum(np.abs(got / expected - 1.0) < 0.005))
        assert near >= (2 if "azimuthal" in name else 1), name
        assert not np.any(np.abs(1.03 * got / expected - 1.0) < 0.005), name


def test_equilateral_prism() -> None:
    entry = ENTRIES["A.modes.equilateral_prism"]
    outline = np.array([[0.0, 0.0], [1.0, 0.0], [0.5, math.sqrt(0.75)]]) * entry["inputs"]["side_m"]
    got = solve_cavity(turned(prism(outline, 0.25)), absorption=0.0, highest_hz=620.0, cell_m=0.12).frequency_hz[1:]
    assert worst(got, np.asarray(entry["expected"])) < 0.005
    assert worst(1.006 * got, np.asarray(entry["expected"])) > 0.005


def test_concave_room() -> None:
    """An L, with the re-entrant edge where sound is least smooth; another mesh that fits the walls gives the same."""
    entry = ENTRIES["dauge.l_shape.neumann"]
    expected = np.asarray(entry["expected"])
    assert expected == pytest.approx(_l_shape_by_fitted_mesh(len(expected)), rel=0.003)
    outline = np.array([[-1, -1], [0, -1], [0, 0], [1, 0], [1, 1], [-1, 1]], dtype=float)
    facets = turned(prism(outline, 0.4))
    got = solve_cavity(facets, absorption=0.0, highest_hz=3.5 * C / (2.0 * np.pi), cell_m=0.15).wavenumber[1:] ** 2
    assert worst(got, expected) < entry["tol_rel"]
    assert worst(1.02 * got, expected) > entry["tol_rel"]


@pytest.mark.parametrize("thick_m", [0.02, 0.12, 0.3])
def test_sound_goes_round_a_seat_back(thick_m: float) -> None:
    """A wall thinner than the cells lowers the first mode by a quarter; another mesh that fits it says the same."""
    expected = back_hz(thick_m)[1:]
    got = solve_cavity(with_back(thick_m), absorption=0.0).frequency_hz[1:]
    assert worst(got, expected) < 0.015
    assert worst(box_hz()[1:], expected) > 0.2


def test_a_sheet_is_a_thin_wall() -> None:
    """Drawn as one facet, with or without the floor's corners: as a wall without thickness."""
    sheet = np.array([[1.31, 0.0, 0.0], [1.31, 1.4, 0.0], [1.31, 1.4, 0.63], [1.31, 0.0, 0.63]])
    cavity = solve_cavity([*box(), sheet], absorption=0.1)
    assert cavity.shell.ignored == ()
    assert worst(cavity.frequency_hz[1:], back_hz(0.002)[1:]) < 0.02
    assert cavity.walls[6, 0, 0] == pytest.approx(2.0 * 1.4 * 0.63 / cavity.shell.volume_m3, rel=1e-3)  # both its sides
    ahead, behind = cavity.at([[1.30, 0.7, 0.02], [1.32, 0.7, 0.02]])[1:4].T
    assert ahead[0] * behind[0] < 0.0  # in antiphase on its two sides, 2 cm apart
    higher = cavity.at([[1.30, 0.7, 0.9], [1.32, 0.7, 0.9]])[1]
    assert higher[0] == pytest.approx(higher[1], abs=0.05)
    # A sheet that closes off a part of the cabin is let through: the cabin stays one space.
    across = np.array([[1.31, 0.0, 0.0], [1.31, 1.4, 0.0], [1.31, 1.4, 1.1], [1.31, 0.0, 1.1]]) * 0.999
    whole = solve_cavity([*box(), across], absorption=0.0)
    assert whole.shell.ignored == (6,)
    assert worst(whole.frequency_hz[1:], box_hz()[1:]) < 0.005


def _l_shape_by_fitted_mesh(count: int) -> np.ndarray:
    from scipy.sparse.linalg import eigsh
    from skfem import Basis, ElementTriP2, MeshTri, asm
    from skfem.models.poisson import laplace, mass

    basis = Basis(MeshTri.init_lshaped().refined(4), ElementTriP2())
    return np.sort(eigsh(asm(laplace, basis), k=count + 1, M=asm(mass, basis), sigma=-0.5)[0])[1:]


@pytest.mark.parametrize("absorption", [0.02, 0.1, 0.4])
def test_modes_together_are_the_direct_answer(absorption: float) -> None:
    cavity = solve_cavity(cabin(), absorption=absorption)
    frequency = np.array([20.0, 64.1, 117.0, 177.0, 200.0])
    got = cavity.response(SOURCE, HEADS, frequency_hz=frequency)
    expected = np.array([_direct(cavity, one) for one in frequency])
    assert np.max(np.abs(20.0 * np.log10(np.abs(got / expected)))) < 0.4
    assert np.max(np.abs(got - expected)) < 0.02 * np.max(np.abs(expected))
    # Without what higher modes add, the same limit is broken.
    few = replace(
        cavity, wavenumber=cavity.wavenumber[:8], vectors=cavity.vectors[:, :8], walls=cavity.walls[:, :8, :8]
    )
    assert np.max(np.abs(20.0 * np.log10(np.abs(few.response(SOURCE, HEADS, frequency_hz=frequency) / expected)))) > 0.4


def _direct(cavity: Cavity, frequency_hz: float) -> np.ndarray:
    """All unknowns at once, walls sampled twice as densely."""
    k = 2.0 * np.pi * frequency_hz / C
    points, area, facet = cavity.shell.samples(step_m=0.05)
    at_wall = sample(cavity.elements, points)
    beta = admittance(cavity.absorption, bands_hz=cavity.bands_hz, frequency_hz=np.array([frequency_hz]))[facet, 0]
    matrix = (
        cavity.elements.stiffness
        - k**2 * cavity.elements.mass
        + 1j * k * at_wall.T @ diags_array(area * beta) @ at_wall
    )
    load = RHO * sample(cavity.elements, np.array([SOURCE])).toarray()[0]
    return np.asarray(
        sample(cavity.elements, HEADS) @ splu(csc_array(matrix), permc_spec="MMD_AT_PLUS_A").solve(load.astype(complex))
    )


def test_source_and_listener_may_change_places(damped: Cavity) -> None:
    frequency = np.geomspace(20.0, 250.0, 12)
    there = damped.response(SOURCE, HEADS, frequency_hz=frequency)
    for i, head in enumerate(HEADS):
        back = damped.response(head, [SOURCE], frequency_hz=frequency)[:, 0]
        assert back == pytest.approx(there[:, i], rel=1e-9)
    assert there[:, 0] != pytest.approx(there[:, 3], rel=0.05)


def test_what_the_source_gives_the_walls_take() -> None:
    """Conservation of energy: ``1/2 Re(p U*)`` at the source is the sum of ``beta |p|² / (2 rho c)`` over the walls.

    What modes that are not counted lose is the difference, so they are counted to 450 Hz here.
    """
    damped = solve_cavity(cabin(), absorption=0.1, highest_hz=450.0)
    points, area, facet = damped.shell.samples(step_m=0.06)
    for frequency_hz in (30.0, 64.0, 120.0, 190.0):
        at = np.array([frequency_hz])
        flow = 1.0 / (2j * np.pi * frequency_hz)
        given = 0.5 * np.real(damped.response(SOURCE, [SOURCE], frequency_hz=at)[0, 0] * np.conj(flow))
        pressure = np.abs(damped.response(SOURCE, points, frequency_hz=at)[0])
        beta = admittance(damped.absorption, bands_hz=damped.bands_hz, frequency_hz=at)[facet, 0]
        taken = float(np.sum(area * beta * pressure**2) / (2.0 * RHO * C))
        assert given == pytest.approx(taken, rel=0.02)


def test_sealed_cabin_at_rest() -> None:
    """``p = rho c² (volume displaced) / V``; the volume here is that of the outline times the width."""
    cavity = solve_cavity(cabin(), absorption=0.0)
    volume_m3 = (3.0 * 1.2 - 0.5 * 0.9 * 0.7 - 0.5 * 0.6 * 0.6) * 1.5
    assert cavity.shell.volume_m3 == pytest.approx(volume_m3, rel=1e-12)
    frequency = np.array([1.0])
    displaced = -1.0 / (2.0 * np.pi * frequency) ** 2
    got = cavity.response(SOURCE, HEADS, frequency_hz=frequency)[0]
    assert got == pytest.approx(np.full(4, RHO * C**2 * displaced[0] / volume_m3), rel=0.001)
    assert got != pytest.approx(np.full(4, RHO * C**2 * displaced[0] / (1.01 * volume_m3)), rel=0.001)


def test_where_cabin_gain_begins() -> None:
    entry = ENTRIES["A.cabin.crossover"]
    inputs = entry["inputs"]
    c = math.sqrt(1.4 * 101_325.0 / inputs["rho"])
    got = gain_crossing_hz(volume_m3=inputs["V_m3"], distance_m=inputs["r_m"], speed_m_s=c)
    assert got == pytest.approx(entry["expected"], rel=entry["tol_rel"])
    assert gain_crossing_hz(volume_m3=1.001 * inputs["V_m3"], speed_m_s=c) != pytest.approx(got, rel=entry["tol_rel"])
    room = solve_cavity(box(2.0, 1.5, 1.0), absorption=0.0, speed_m_s=c, density_kg_m3=inputs["rho"])
    below, above = room.level_db([0.1, 0.1, 0.1], [[1.0, 0.75, 0.5]], frequency_hz=[10.0, 20.0])[:, 0]
    assert below == pytest.approx(40.0 * math.log10(entry["expected"] / 10.0), abs=0.2)
    assert below - above == pytest.approx(12.0, abs=0.3)
    with pytest.raises(ValueError, match="must be positive"):
        gain_crossing_hz(volume_m3=0.0)


def test_a_leak_ends_the_gain() -> None:
    sealed = solve_cavity(box(), absorption=0.0)
    leaky = replace(sealed, leak_hz=12.0)
    where = ([0.2, 0.2, 0.2], [[1.2, 0.7, 0.55]])
    lost = [
        float((sealed.level_db(*where, frequency_hz=[f]) - leaky.level_db(*where, frequency_hz=[f]))[0, 0])
        for f in (3, 12, 48)
    ]
    # A first-order leak: |1 + f_leak / (i f)|.
    assert lost == pytest.approx([10.0 * math.log10(1.0 + (12.0 / f) ** 2) for f in (3, 12, 48)], abs=0.2)


def test_decay_is_sabines_for_oblique_modes() -> None:
    """With little absorption, alike everywhere, a mode oblique to all walls decays as Sabine's diffuse field does."""
    entry = ENTRIES["A.rt.sabine_eyring"]
    alpha = 0.01
    sabine_s = entry["expected"][0] * entry["inputs"]["alpha"] / alpha
    cavity = solve_cavity(box(), absorption=alpha)
    decay_s = 6.0 * math.log(10.0) * cavity.quality / (2.0 * np.pi * cavity.frequency_hz[1:])
    oblique = 0.5 * C * np.linalg.norm(1.0 / np.array(entry["inputs"]["L_m"]))
    number = int(np.argmin(np.abs(cavity.frequency_hz[1:] - oblique)))
    assert decay_s[number] == pytest.approx(sabine_s, rel=0.03)
    assert decay_s[0] > 1.2 * sabine_s  # along the cabin only the ends and half of the sides take part


def test_absorption_is_the_average_over_directions() -> None:
    """Paris 1928: ``2 x integral of alpha(theta) sin cos``, each direction a plane wave on a real admittance."""
    for beta in (0.001, 0.02, 0.2, 0.6):

        def one(angle: float, beta: float = beta) -> float:
            return 8.0 * beta * math.cos(angle) ** 2 * math.sin(angle) / (math.cos(angle) + beta) ** 2

        expected = quad(one, 0.0, 0.5 * np.pi)[0]
        alpha = float(random_absorption(np.array([beta]))[0])
        assert alpha == pytest.approx(expected, rel=1e-6)
        back = admittance(
            np.array([[alpha, 0.0]]), bands_hz=np.array([125.0, 250.0]), frequency_hz=np.array([50.0, 250.0])
        )
        assert back[0] == pytest.approx([beta, 0.0], rel=1e-3)


def test_modes_are_of_unit_size_and_the_factors_stay_behind(damped: Cavity) -> None:
    square = damped.vectors.T @ (damped.elements.mass @ damped.vectors)
    assert square == pytest.approx(np.eye(len(square)), abs=2e-3)
    first = damped.response(SOURCE, HEADS, frequency_hz=[50.0])
    again = pickle.loads(pickle.dumps(damped)).response(SOURCE, HEADS, frequency_hz=[50.0])
    assert again == pytest.approx(first, rel=1e-12)


def test_slice_shows_the_air_and_nothing_else(damped: Cavity) -> None:
    got = damped.slice(SOURCE, frequency_hz=64.0, normal="y", at_m=0.0)
    assert (got.across, got.up) == ("x", "z")
    air = np.isfinite(got.level_db)
    assert air.mean() * 3.0 * 1.2 == pytest.approx(damped.shell.volume_m3 / 1.5, rel=0.02)
    assert not air[-1, 0]  # ahead of the windscreen
    row, column = 10, 30
    point = [got.u_m[column], 0.0, got.v_m[row]]
    assert got.level_db[row, column] == pytest.approx(damped.level_db(SOURCE, [point], frequency_hz=[64.0])[0, 0])
    # At the first mode pressure is least somewhere in the middle and greatest at the ends.
    middle = got.level_db[5]
    assert 15 < int(np.nanargmin(middle)) < 45
    with pytest.raises(ValueError, match="does not pass through"):
        damped.slice(SOURCE, frequency_hz=64.0, at_m=2.0)


def test_points_outside_are_refused_and_those_on_a_wall_are_not(damped: Cavity) -> None:
    with pytest.raises(ValueError, match=r"inside the cabin's shell, got \[-0.2, 0.0, 0.1\], 0.200 m outside"):
        damped.at([[-0.2, 0.0, 0.1]])
    on, beyond = damped.at([[0.0, 0.1, 0.3], [-0.03, 0.1, 0.3]]).T
    assert on == pytest.approx(beyond, abs=1e-3)  # a point beyond is taken to the wall, a hair inside it
    with pytest.raises(ValueError, match="above 0 Hz"):
        damped.response(SOURCE, HEADS, frequency_hz=[0.0])


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"absorption": 1.2}, "between 0 and 1"),
        ({"highest_hz": -1.0}, "must be positive"),
        ({"cell_m": 0.001}, "too small"),
        ({"cell_m": 3.0, "highest_hz": 500.0}, "too large"),
    ],
)
def test_values_out_of_range(change: dict[str, float], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        solve_cavity(box(), **{"absorption": 0.1, **change})  # type: ignore[arg-type]


def test_crossfade() -> None:
    share = crossfade([20.0, 160.0, 160.0 * math.sqrt(2.0), 320.0, 20e3])
    assert share == pytest.approx([1.0, 1.0, 0.5, 0.0, 0.0], abs=1e-12)
    assert np.all(np.diff(crossfade(np.geomspace(100.0, 400.0, 50))) <= 0.0)
    with pytest.raises(ValueError, match="below high_hz"):
        crossfade([100.0], low_hz=300.0, high_hz=200.0)


def test_evenness() -> None:
    frequency = np.geomspace(40.0, 160.0, 200)
    bands, same = evenness_db(np.zeros((200, 3)), frequency_hz=frequency)
    assert same == pytest.approx(np.zeros(len(bands)))
    _, apart = evenness_db(np.tile([0.0, 6.0], (200, 1)), frequency_hz=frequency)
    assert apart == pytest.approx(np.full(len(bands), 3.0))
    with pytest.raises(ValueError, match="two points or more"):
        evenness_db(np.zeros((200, 1)), frequency_hz=frequency)
