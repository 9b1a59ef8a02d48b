"""Floors, fixings, masses and payload: what the tables accept, and how slips are named."""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from stages.fitted import FIXED, FLOOR, HEAD


def test_both_are_read() -> None:
    build = parse(HEAD + FLOOR + FIXED)
    assert build.floors[0].loads[1].size_m == (0.12, 0.12)
    assert (build.fixings[0].along_g, build.fixings[0].property_class) == (20.0, "8.8")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('panel = "lid"', 'panel = "lod"', 'Did you mean "lid"?'),
        ('panel = "lid"', 'panel = "lid"\nlayer = "carrier"', "no layer has this name"),
        ('panel = "lid"', 'panel = "lid"\nedge = false', "supports"),
        ('panel = "lid"', 'panel = "lid"\nabove_m = 0.3', "above_m goes with how = hinged"),
        ('name = "knee"', 'name = "suitcases"', "two loads have the same name"),
        ("mass_kg = 50", "mass_kg = 0", "loads"),
        ("count = 4", "count = 5", "even"),
        ("count = 4", "at_m = [[0, 0], [0.1, 0]]", "at_m stands in place of"),
        ('size = "M8"', 'size = "M7"', "size"),
        ("mass_kg = 20", 'holds = ["sub"]', "no part with a mass has this name"),
        ("mass_kg = 20", "normal = [0, 0, 0]\nmass_kg = 20", "cannot be all zeros"),
        ("mass_kg = 20\n", "", "it says what it holds"),
    ],
)
def test_slips_are_named(old: str, new: str, words: str) -> None:
    text = FLOOR + FIXED
    assert old in text
    with pytest.raises(BuildError) as refused:
        parse(HEAD + text.replace(old, new))
    assert words in str(refused.value)


def test_a_part_without_mass_needs_a_part_that_is_weighed() -> None:
    parse(HEAD + FLOOR + '[[masses]]\nname = "lid"\nat_m = [3, 0, 0.4]\n')
    with pytest.raises(BuildError, match="its mass must be written"):
        parse(HEAD + FLOOR + '[[masses]]\nname = "spare wheel"\n')
    with pytest.raises(BuildError, match="what is removed needs its mass_kg"):
        parse(HEAD + FLOOR + '[[masses]]\nname = "lid"\nremoved = true\n')
    with pytest.raises(BuildError, match="go together"):
        parse(HEAD + "[payload]\nlimit_kg = 500\nwheelbase_m = 2.7\n")
