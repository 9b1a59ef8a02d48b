"""Pictures to show: whole on a page, true to the solid, and looking the right way; projection held against SciPy's rotations."""

from __future__ import annotations

import re

import numpy as np
from scipy.spatial.transform import Rotation

from cabinwright.build.codec import parse
from cabinwright.drawings.box_solid import RISE, _Eye
from cabinwright.handover.shown import pieces
from cabinwright.stages import enclosure
from stages.boxed import HEAD, MODEL, box

CASE = """[boxes.shape]
outline = [[0.0, 0.0], [0.5, 0.0], [0.5, 0.42], [0.0, 0.42]]
offset_m = "6 mm"
height_m = "260 mm"
sheet = "board"
cover_gap_m = "30 mm"
[[sheets]]
name = "board"
material = "MDF"
thickness_m = "18 mm"
length_m = 2.4
width_m = 1.2
"""
BUILD = HEAD + MODEL + box() + CASE


def test_paper_is_the_plane_across_the_view() -> None:
    eye = _Eye(complex(np.exp(0.7j)))
    points = np.random.default_rng(1).uniform(-1.0, 1.0, (40, 3))
    turned = Rotation.from_euler("z", 0.7).apply(points)
    seen = Rotation.from_euler("x", -(np.pi / 2.0 - RISE)).apply(turned)  # extrinsic: tips the view's axis upright
    for (x, y, z), want in zip(points, seen, strict=True):
        np.testing.assert_allclose(eye.at(complex(x, y), z), (1e3 * want[0], -1e3 * want[1]), atol=1e-9)
        a, b, c, d, e, f = map(float, re.findall(r"-?[\d.]+", eye.plane(z)))
        u, v = 1e3 * x, -1e3 * y
        np.testing.assert_allclose((a * u + c * v + e, b * u + d * v + f), eye.at(complex(x, y), z), atol=0.05)


def test_a_box_is_shown_whole_and_the_same_each_time() -> None:
    build = parse(BUILD)
    result = enclosure.run(build)
    (piece,) = pieces(build, result, None)
    (caption, picture), = piece.pictures  # fmt: skip
    assert "30.0 mm" in picture and "6.0 mm" in caption
    assert picture == pieces(build, result, None)[0].pictures[0][1]
    assert {"outside", "air behind the cone", "boards"} <= {words for words, _ in piece.figures}


def test_a_box_without_a_shape_is_not_shown() -> None:
    build = parse(HEAD + MODEL + box())
    assert pieces(build, enclosure.run(build), None) == []
