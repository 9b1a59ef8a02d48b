"""Chains of facets in shells that are open, lie in one plane, or are bent inward, against a plain search over every chain."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.physics.facets import Facet
from cabinwright.physics.image_sources import Images, Paths
from cabinwright.physics.image_tree import Walls, grow
from physics.polyhedra import L_PROFILE, box, frustum, plain_paths, points_inside

Real = NDArray[np.float64]
NOTCHED = np.array(
    [(0, 0), (1, 0), (1, 1), (0.7, 1), (0.7, 0.2), (0.5, 0.5), (0.2, 0.2), (0.2, 1), (0, 1)], dtype=float
)


def _paths(facets: list[Real], sources: Real, heads: Real, order: int) -> Paths:
    return Images([Facet.of(corners) for corners in facets], heads, most_order=order).paths(sources)


def _ways(paths: Paths, source: int, head: int) -> dict[tuple[int, ...], float]:
    rows = paths.of(source, head)
    return {tuple(int(k) for k in paths.facets[i] if k >= 0): float(paths.length_m[i]) for i in rows}


def _loose(rng: np.random.Generator, count: int) -> list[Real]:
    """Facets that hang anywhere, some of them bent inward; no shell at all."""
    out = []
    for _ in range(count):
        first, second = np.linalg.qr(rng.normal(size=(3, 2)))[0].T
        outline = (np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float), L_PROFILE, NOTCHED)[int(rng.integers(3))]
        out.append(rng.uniform(-1.0, 0.6, 3) + outline[:, :1] * first + outline[:, 1:] * second)
    return out


@pytest.mark.parametrize("seed", range(12))
def test_loose_facets(seed: int) -> None:
    """Each may hide, also those that all others lie on one side of, from sources beyond them."""
    rng = np.random.default_rng(seed)
    facets = _loose(rng, 6)
    sources, heads = rng.uniform(-1.5, 1.5, (6, 3)), rng.uniform(-1.0, 1.0, (2, 3))
    paths = _paths(facets, sources, heads, 2)
    for s in range(6):
        for r in range(2):
            expected = plain_paths(facets, sources[s], heads[r], 2)
            got = _ways(paths, s, r)
            assert got.keys() == expected.keys()
            assert all(abs(got[way] - length) < 1e-9 for way, length in expected.items())


def test_an_outer_facet_hides_what_lies_behind_it() -> None:
    """A pane and a seat back, parallel: from behind the back nothing reaches the head; from between, four ways do."""
    pane, back = (np.array([(x, -1, 0), (x, 1, 0), (x, 1, 2), (x, -1, 2)], dtype=float) for x in (0.0, 1.0))
    paths = _paths([pane, back], np.array([(1.5, 0.1, 1.0), (0.7, 0.0, 1.0)]), np.array([(0.5, 0.0, 1.0)]), 2)
    assert not len(paths.of(0, 0))
    assert set(_ways(paths, 1, 0)) == {(0,), (1,), (0, 1), (1, 0)}


def test_a_split_screen_on_the_centre_line_tells_nothing_twice() -> None:
    """Speaker and head on the centre line, every wall across it split there: equally long ways left and right, each once."""
    whole = box(2.4, 1.4, 1.2)
    halves = [
        np.column_stack([c[:, 0], np.where(c[:, 1] > 0.7, high, low), c[:, 2]])
        for c in whole[2:]
        for low, high in ((0.0, 0.7), (0.7, 1.4))
    ]
    spots = np.array([(0.5, 0.7, 0.8)]), np.array([(1.7, 0.7, 0.9)])
    plain, split = _paths(whole, *spots, 3), _paths(whole[:2] + halves, *spots, 3)
    assert len(plain.source) == len(split.source) == 62
    assert np.allclose(np.sort(plain.length_m), np.sort(split.length_m), atol=1e-12)


def test_points_and_directions_agree() -> None:
    """Leaving, points, arriving and length are found each in its own way, and tell of the same line."""
    facets = frustum(L_PROFILE, 1.2)
    rng = np.random.default_rng(3)
    sources, heads = points_inside(facets, 40, rng), points_inside(facets, 3, rng)
    paths = _paths(facets, sources, heads, 3)
    start, end = sources[paths.source], heads[paths.receiver]
    last = paths.points_m[np.arange(len(start)), paths.order - 1]
    assert len(start) > 1000
    for told, line in ((paths.leaving, paths.points_m[:, 0] - start), (paths.arriving, last - end)):
        assert np.allclose(told, line / np.linalg.norm(line, axis=1)[:, None], atol=1e-9)
    chain = np.concatenate(
        [start[:, None], np.where(np.isnan(paths.points_m), end[:, None], paths.points_m), end[:, None]], 1
    )
    assert np.allclose(np.linalg.norm(np.diff(chain, axis=1), axis=2).sum(axis=1), paths.length_m, atol=1e-9)


def test_images_and_paths_travel() -> None:
    """Workers get and give them as they are."""
    facets = [Facet.of(corners) for corners in frustum(L_PROFILE, 1.2)]
    images = Images(facets, np.array([(0.6, 0.5, 0.8)]), most_order=2)
    source = np.array([(1.5, 0.4, 0.3)])
    paths = images.paths(source)
    again = pickle.loads(pickle.dumps(pickle.loads(pickle.dumps(images)).paths(source)))
    for name in ("facets", "length_m", "leaving", "arriving", "points_m"):
        assert np.array_equal(getattr(paths, name), getattr(again, name), equal_nan=True)


def test_what_is_followed_grows_with_what_is_heard() -> None:
    """A round room of ever more walls: chains of the third order grow far slower than their number to the power of three."""
    counts = []
    for walls in (10, 40):
        turn = 2.0 * np.pi * np.arange(walls) / walls
        room = frustum(np.stack([np.cos(turn), 0.6 * np.sin(turn)], axis=1), 1.2)
        counts.append(
            len(grow(Walls(tuple(Facet.of(c) for c in room)), np.array([[0.2, 0.5, 0.1]]), most_order=3).receiver)
        )
    assert 42 * 41 * 41 / (12 * 11 * 11) > 45 and counts[1] < 20 * counts[0]
