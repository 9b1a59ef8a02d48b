"""Reflections against pyroomacoustics, against Allen & Berkley's shoebox, and against a plain search of our own.

pyroomacoustics works in single precision: where a path meets a wall within a tenth of a millimetre of its edge, the two may
rightly differ. No room here has such a path; ``test_the_comparison_can_fail`` shows what a millimetre does.
"""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import numpy as np
import pyroomacoustics as pra
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from scipy.spatial.transform import Rotation

from cabinwright.physics.facets import Facet
from cabinwright.physics.image_sources import Images, hidden
from physics.polyhedra import L_PROFILE, box, closed_room, frustum, outward, plain_chains, plain_paths, points_inside

Real = NDArray[np.float64]
REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "layout.toml").read_text("utf-8"))["entry"]
}
SPEED_M_S = 343.2
WITHIN_S = 5e-6
BOX = box(2.4, 1.4, 1.2)
CABIN = frustum(np.array([(0.0, 0.0), (2.4, 0.0), (2.4, 0.7), (2.1, 1.1), (0.9, 1.15), (0.45, 0.75), (0.1, 0.7)]), 1.4)
FREE = [  # a seat back, a tray, a flap: facets that stand in the room
    np.array([(1.5, 0.05, 0.0), (1.5, 1.35, 0.0), (1.65, 1.35, 0.6), (1.65, 0.05, 0.6)]),
    np.array([(1.0, 0.8, 0.3), (1.4, 0.8, 0.3), (1.4, 1.3, 0.3), (1.0, 1.3, 0.3)]),
    np.array([(0.2, 0.1, 0.5), (0.6, 0.1, 0.3), (0.6, 0.4, 0.3)]),
]


def _ours(facets: list[Real], sources: Real, heads: Real, order: int) -> list[list[dict[tuple[int, ...], float]]]:
    """Per source and head: facets met and length."""
    paths = Images([Facet.of(corners) for corners in facets], heads, most_order=order).paths(sources)
    out: list[list[dict[tuple[int, ...], float]]] = []
    for s in range(len(sources)):
        out.append([])
        for r in range(len(heads)):
            rows = paths.of(s, r)
            ways = [tuple(int(k) for k in paths.facets[i] if k >= 0) for i in rows]
            assert len(set(ways)) == len(ways)
            out[-1].append(dict(zip(ways, (float(paths.length_m[i]) for i in rows), strict=True)))
    return out


def _image_points(facets: list[Real], source: Real, heads: Real, order: int) -> list[Real]:
    """Per head, where each path seems to come from: the image of the source, the source itself first if it is seen."""
    every = [Facet.of(corners) for corners in facets]
    paths = Images(every, heads, most_order=order).paths(source[None])
    unseen = hidden(every, source[None], heads)[0]
    out = []
    for r, head in enumerate(heads):
        rows = paths.of(0, r)
        images = head + paths.arriving[rows] * paths.length_m[rows, None]
        out.append(images if unseen[r] else np.vstack([source, images]))
    return out


def _theirs(facets: list[Real], source: Real, heads: Real, order: int) -> list[Real]:
    """The same from pyroomacoustics."""
    stuff = pra.Material(0.1)
    walls = [pra.wall_factory(corners.T, stuff.energy_absorption["coeffs"], [0.0]) for corners in outward(facets)]
    room = pra.Room(walls, fs=48000, max_order=order)
    room.add_source(source)
    room.add_microphone_array(heads.T)
    room.image_source_model()
    images = np.asarray(room.sources[0].images, dtype=np.float64).T
    return [images[np.asarray(room.visibility[0][r], dtype=bool)] for r in range(len(heads))]


def _same_paths(ours: Real, theirs: Real, head: Real) -> bool:
    """Equally many, each beside its own (1 mm), and alike in delay."""
    if len(ours) != len(theirs):
        return False
    apart = cdist(ours, theirs)
    mate = apart.argmin(axis=1)
    late = np.linalg.norm(ours - head, axis=1) - np.linalg.norm(theirs[mate] - head, axis=1)
    return bool(
        len(set(mate)) == len(mate) and apart.min(axis=1).max() < 1e-3 and np.abs(late).max() / SPEED_M_S < WITHIN_S
    )


@pytest.mark.parametrize("seed", range(45))
def test_paths_are_pyroomacoustics(seed: int) -> None:
    facets = closed_room(seed)
    rng = np.random.default_rng(1000 + seed)
    points = points_inside(facets, 5, rng)
    source, heads = points[0], points[1:]
    for ours, theirs, head in zip(
        _image_points(facets, source, heads, 2), _theirs(facets, source, heads, 2), heads, strict=True
    ):
        assert _same_paths(ours, theirs, head)


def test_the_comparison_can_fail() -> None:
    """Two millimetres of the source are six microseconds; a wall left out leaves paths out."""
    facets = closed_room(2)
    points = points_inside(facets, 2, np.random.default_rng(5))
    source, heads = points[0], points[1:]
    theirs = _theirs(facets, source, heads, 2)[0]
    toward = 0.002 * (heads[0] - source) / np.linalg.norm(heads[0] - source)
    assert _same_paths(_image_points(facets, source, heads, 2)[0], theirs, heads[0])
    assert not _same_paths(_image_points(facets, source + toward, heads, 2)[0], theirs, heads[0])
    assert not _same_paths(_image_points(facets[:-1], source, heads, 2)[0], theirs, heads[0])


@pytest.mark.parametrize(("order", "count"), [(1, 6), (2, 6 + 18), (3, 6 + 18 + 38)])
def test_shoebox_has_the_images_of_allen_and_berkley(order: int, count: int) -> None:
    """Images at ``2 m L ± x`` along each axis (Allen & Berkley 1979), of order ``sum |2 m - q|``."""
    sizes, source, head = np.array([2.4, 1.4, 1.2]), np.array([0.37, 0.91, 0.44]), np.array([1.31, 0.36, 0.95])
    expected = []
    for parity in product((0, 1), repeat=3):
        for period in product(range(-2, 3), repeat=3):
            met = sum(abs(2 * m - q) for m, q in zip(period, parity, strict=True))
            if 1 <= met <= order:
                image = (1 - 2 * np.array(parity)) * source + 2 * np.array(period) * sizes
                expected.append(float(np.linalg.norm(image - head)))
    got = sorted(_ours(BOX, source[None], head[None], order)[0][0].values())
    assert len(got) == count == len(expected)
    assert np.allclose(got, sorted(expected), rtol=0.0, atol=1e-9)
    assert not np.allclose(got, sorted(np.asarray(expected) + 1e-6), rtol=0.0, atol=1e-9)


def test_published_shoebox() -> None:
    row = REFERENCE["A.image.box_first_order"]
    size, source, head = (np.asarray(row["inputs"][key]) for key in ("box", "source", "mic"))
    got = _ours(box(*size), source[None], head[None], 1)[0][0]
    straight = float(np.linalg.norm(source - head))
    lengths = np.array(sorted([straight, *got.values()]))
    assert np.abs(lengths - row["expected"]).max() <= row["tol_abs"]
    levels = REFERENCE["A.image.box_levels"]
    assert np.abs(20.0 * np.log10(lengths[0] / lengths) - levels["expected"]).max() <= levels["tol_abs"]
    delays = REFERENCE["A.image.box_delays"]
    late_ms = 1000.0 * (lengths - lengths[0]) / delays["inputs"]["c"]
    assert np.abs(late_ms - delays["expected"]).max() <= delays["tol_abs"]
    assert np.abs(lengths * 1.0001 - row["expected"]).max() > row["tol_abs"]


@pytest.mark.parametrize(
    ("name", "facets", "order"),
    [
        ("cabin with free facets", CABIN + FREE, 3),
        ("open cabin", CABIN[2:5] + FREE, 3),
        ("L", frustum(L_PROFILE, 1.3), 3),
    ],
)
def test_a_plain_search_finds_the_same(name: str, facets: list[Real], order: int) -> None:
    shell = CABIN if "cabin" in name else facets
    rng = np.random.default_rng(len(name))
    sources, heads = points_inside(shell, 2, rng, from_wall_m=0.01), points_inside(shell, 2, rng, from_wall_m=0.01)
    got = _ours(facets, sources, heads, order)
    met = 0
    for s, r in product(range(2), range(2)):
        expected = plain_paths(facets, sources[s], heads[r], order)
        assert got[s][r].keys() == expected.keys()
        assert all(abs(got[s][r][way] - length) < 1e-9 for way, length in expected.items())
        met += len(expected)
    assert met > 10


@pytest.mark.parametrize("seed", range(24))
def test_a_plain_search_finds_the_same_among_facets_that_stand_anyhow(seed: int) -> None:
    """Panels through one another and through the walls, every third shell full of holes, every fifth place in a wall."""
    rng = np.random.default_rng(seed)
    shell = closed_room(500 + seed)
    every = np.concatenate(shell)
    panels = []
    for _ in range(rng.integers(1, 4)):
        corner = rng.uniform(every.min(axis=0), every.max(axis=0))
        along, across = rng.normal(scale=0.3, size=(2, 3))
        panels.append(np.array([corner, corner + along, corner + along + across, corner + across][: 3 + seed % 2]))
    facets = [wall for wall in [*shell, *panels] if seed % 3 or rng.random() > 0.3]
    source, head = points_inside(shell, 2, rng, from_wall_m=0.006)
    if seed % 5 == 0:
        source = shell[1][:3].mean(axis=0)
    order = 2 if len(facets) > 10 else 3
    expected = plain_paths(facets, source, head, order)
    got = _ours(facets, source[None], head[None], order)[0][0]
    assert got.keys() == expected.keys()
    assert all(abs(got[way] - length) < 1e-9 for way, length in expected.items())
    seen = hidden([Facet.of(corners) for corners in facets], source[None], head[None])[0, 0]
    assert seen == (() not in plain_chains(facets, source, head, 0))


def test_free_facets_hide_and_reflect_on_both_sides() -> None:
    screen = np.array([(1.0, 0.0, 0.0), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0), (1.0, 0.0, 1.0)])
    here, there = np.array([[0.5, 0.5, 0.5]]), np.array([[1.5, 0.5, 0.6]])
    aside, higher = np.array([0.0, 0.1, 0.2]), np.array([0.0, 0.0, 1.2])
    for corners in (screen, screen[::-1].copy()):
        for a, b in ((here, here + aside), (there, there + aside)):
            assert list(_ours([corners], a, b, 2)[0][0]) == [(0,)]
            assert not hidden([Facet.of(corners)], a, b)[0, 0]
        assert _ours([corners], here, there, 2)[0][0] == {}
        assert hidden([Facet.of(corners)], here, there)[0, 0]
    assert not hidden([Facet.of(screen)], here, there + higher)[0, 0]


@settings(max_examples=25)
@given(
    turn=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
    shift=st.tuples(*[st.floats(-5.0, 5.0)] * 3),
    wind=st.lists(st.booleans(), min_size=len(CABIN) + len(FREE), max_size=len(CABIN) + len(FREE)),
    first=st.integers(0, 6),
)
def test_neither_frame_nor_winding_matter(
    turn: tuple[float, float, float], shift: tuple[float, float, float], wind: list[bool], first: int
) -> None:
    facets = CABIN + FREE
    source, head = np.array([[0.7, 0.2, 0.45]]), np.array([[1.23, 1.01, 0.81]])
    plain = _ours(facets, source, head, 2)[0][0]
    moved = Rotation.from_rotvec(np.asarray(turn))

    def carried(points: Real) -> Real:
        return np.asarray(moved.apply(points) + np.asarray(shift))

    other = [carried(np.roll(c[::-1] if back else c, first, axis=0)) for c, back in zip(facets, wind, strict=True)]
    got = _ours(other, carried(source), carried(head), 2)[0][0]
    assert got.keys() == plain.keys()
    assert all(abs(got[way] - length) < 1e-9 for way, length in plain.items())


@settings(max_examples=30)
@given(
    along=st.floats(0.05, 0.95),
    up=st.floats(0.05, 0.95),
    wall=st.integers(0, len(CABIN) - 1),
    deep=st.floats(-4e-3, 4e-3),
)
def test_a_flush_place_does_not_reflect_off_its_own_wall(along: float, up: float, wall: int, deep: float) -> None:
    facet = Facet.of(CABIN[wall])
    a, b, c = CABIN[wall][:3]
    at = a + up * (along * (b - a) + (1.0 - along) * (c - a)) + deep * facet.normal
    head = np.array([1.23, 0.93, 0.81])
    every = [Facet.of(corners) for corners in CABIN]
    assert not hidden(every, at[None], head[None])[0, 0]
    got = _ours(CABIN, at[None], head[None], 2)[0][0]
    assert got.keys() == plain_paths(CABIN, at, head, 2).keys()
    assert all(way[0] != wall for way in got)
    if wall < 3:  # both sides and the floor: later on it is a wall like any other
        assert any(wall in way for way in got)


def test_a_wall_in_two_pieces_is_one_wall() -> None:
    """No path is lost or doubled at the seam, not even one that meets it exactly."""
    x0, y0 = 1.1, 0.6
    floor = 2  # of box(): y = 0, y = width, floor, ...
    assert np.ptp(BOX[floor][:, 2]) == 0.0
    halves = [
        np.array([(0.0, 0.0, 0.0), (x0, 0.0, 0.0), (x0, 1.4, 0.0), (0.0, 1.4, 0.0)]),
        np.array([(2.4, 0.0, 0.0), (x0, 0.0, 0.0), (x0, 1.4, 0.0), (2.4, 1.4, 0.0)]),
    ]
    split = [*BOX[:floor], *BOX[floor + 1 :], *halves]
    rng = np.random.default_rng(4)
    sources = np.vstack([points_inside(BOX, 6, rng), [[x0 - 0.3, y0 - 0.1, 0.5], [x0, y0, 0.3]]])
    heads = np.vstack([points_inside(BOX, 2, rng), [[x0 + 0.3, y0 + 0.1, 0.5]]])
    whole, pieces = _ours(BOX, sources, heads, 3), _ours(split, sources, heads, 3)
    for s, r in product(range(len(sources)), range(len(heads))):
        assert len(whole[s][r]) == 62
        assert np.allclose(sorted(whole[s][r].values()), sorted(pieces[s][r].values()), rtol=0.0, atol=1e-9)


def test_places_and_heads_on_planes_break_nothing() -> None:
    """On a wall, on its continuation, in a corner, in one place together: finite, and no path off the plane they lie in."""
    facets = CABIN + FREE
    spots = np.array(
        [
            (0.5, 0.0, 0.3), (0.0, 0.0, 0.0), (1.5, 0.7, 0.0), (1.5, 0.7, 0.9), (1.0, 0.3, 0.3), (1.2, 1.0, 0.3),
            (1.23, 0.9, 0.8),
        ]
    )  # fmt: skip
    paths = Images([Facet.of(corners) for corners in facets], spots, most_order=2).paths(spots)
    assert np.isfinite(paths.length_m).all() and np.isfinite(paths.arriving).all() and np.isfinite(paths.leaving).all()
    assert len(paths.of(6, 6)) > 5  # a head at the speaker hears every wall straight across
    table = [Facet.of(FREE[1])]
    assert not len(Images(table, spots[[4]], most_order=2).paths(spots[[5]]).source)


def test_batches_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    sources, heads = points_inside(CABIN, 30, rng), points_inside(CABIN, 2, rng)
    images = Images([Facet.of(corners) for corners in CABIN], heads)
    whole = images.paths(sources)
    monkeypatch.setattr("cabinwright.physics.image_sources.BATCH", 7)
    pieces = images.paths(sources)
    for name in ("source", "receiver", "facets", "length_m", "leaving", "arriving", "points_m"):
        assert np.array_equal(getattr(whole, name), getattr(pieces, name), equal_nan=True)
