"""Survey, cabin and places in a build: names in place of coordinates, and what joins the tables."""

from __future__ import annotations

import math

import pytest

from build.samples import MINIMAL
from cabinwright.build.codec import parse
from cabinwright.build.fields import NamedPoint
from cabinwright.errors import BuildError

CABIN = (
    MINIMAL
    + """
[[seats]]
name = "driver"
head_m = "head"
[[survey.points]]
name = "head"
[[survey.points]]
name = "hinge"
at_m = [0, -0.7, "3 cm"]
[[survey.tapes]]
from = "head"
to = "hinge"
distance_m = "1.2 m"
[[survey.heights]]
point = "head"
above = "hinge"
height_m = 0.4
[[cabin.materials]]
name = "felt"
absorption = [[125, 0.1], ["1 kHz", 0.4]]
[[cabin.surfaces]]
name = "windscreen"
material = "glass"
corners_m = [[0, 0, 0], "hinge", [1, 1, 1]]
[[cabin.surfaces]]
name = "floor"
material = "felt"
corners_m = [[0, 0, 0], [1, 0, 0], [1, 1, 0]]
[[cabin.pillars]]
name = "left pillar"
side = "left"
corners_m = ["hinge", [0, 0, 1], [0, 1, 0], [1, 0, 0]]
[[places]]
name = "pillar pod"
role = "coaxial"
side = "left"
position_m = "hinge"
aim = "driver"
aim_limit_deg = "20°"
volume_m3 = "1.5 ft^3"
pillar = "left pillar"
[[places]]
name = "dash"
role = "coaxial"
side = "left"
position_m = [0, 0.5, "8 in"]
aim = [1, 0, 0]
"""
)


def test_the_name_of_a_surveyed_point_stands_for_a_position() -> None:
    build = parse(CABIN)
    head = build.seats[0].head_m
    assert isinstance(head, NamedPoint) and head.name == "head" and all(map(math.isnan, head))
    assert head == NamedPoint("head") != NamedPoint("hinge") and head != (math.nan,) * 3
    assert build.cabin is not None and build.cabin.surfaces[0].corners_m[1] == NamedPoint("hinge")
    pod, dash = build.places
    assert (pod.aim, pod.aim_limit_deg, dash.aim) == ("driver", 20.0, (1.0, 0.0, 0.0))
    assert pod.volume_m3 == pytest.approx(1.5 * 0.3048**3, rel=1e-12)
    assert dash.position_m == (0.0, 0.5, pytest.approx(0.2032))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'head_m = "head"',
            'head_m = "haed"',
            r'head_m: no surveyed point has this name, got "haed". Did you mean "head"',
        ),
        ('to = "hinge"', 'to = "head"', "a tape runs between two different points"),
        ('to = "hinge"', 'to = "hing"', r"tapes\[0\].to: no surveyed point has this name"),
        ('above = "hinge"', 'above = "hing"', r"heights\[0\].above: no surveyed point has this name"),
        ('"glass"', '"glas"', 'no material has this name, got "glas". Did you mean "glass"'),
        ('"hinge", [1, 1, 1]', '"hing", [1, 1, 1]', r"corners_m\[1\]: no surveyed point has this name"),
        ('"hinge", [1, 1, 1]', "[1, 1, 1]", "fewer|at least|cannot be"),
        ('aim = "driver"', 'aim = "drivr"', 'aim: no seat has this name, got "drivr". Did you mean "driver"'),
        ("aim = [1, 0, 0]", "aim = [0, 0, 0]", "aim cannot be all zeros"),
        ("aim = [1, 0, 0]", "aim = [1, 0]", "three numbers"),
        ("aim = [1, 0, 0]", "aim = [1e308, 1e308, 0]", "must be at most"),
        ('pillar = "left pillar"', 'pillar = "pillar"', "no pillar has this name"),
        ('name = "dash"', 'name = "pillar pod"', "two places have the same name"),
        ("[[125, 0.1]", "[[2000, 0.1]", "absorption frequencies must rise"),
        ("[[125, 0.1]", "[[125, 1.1]", "must be at most 1"),
        ("at_m = [0,", "near_m = [0, 0, 0]\nat_m = [0,", "needs no guess"),
        ('distance_m = "1.2 m"', 'distance_m = "-1 m"', "must be above 0"),
    ],
)
def test_what_does_not_fit_is_named_with_its_place(old: str, new: str, message: str) -> None:
    assert old in CABIN
    with pytest.raises(BuildError, match=message):
        parse(CABIN.replace(old, new, 1))
