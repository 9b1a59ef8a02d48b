"""Factory outputs and their captures in a build: names that exist, one capture for each output and volume."""

from __future__ import annotations

import pytest

from build.samples import MINIMAL
from cabinwright.build.codec import parse
from cabinwright.errors import BuildError

FACTORY = (
    MINIMAL
    + """
[[factory_outputs]]
name = "front left low"
[[factory_outputs]]
name = "front left high"
[[factory_recordings]]
output = "front left low"
volume = 20
file = "recordings/front-left-low_20.wav"
[[factory_recordings]]
output = "front left high"
file = "recordings/front-left-high.wav"
"""
)


def test_the_promised_tables_are_read() -> None:
    build = parse(FACTORY.encode())
    assert [item.name for item in build.factory_outputs] == ["front left low", "front left high"]
    assert [item.volume for item in build.factory_recordings] == [20, None]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('output = "front left high"', 'output = "front left hihg"', 'mean "front left high"'),
        ('name = "front left high"', 'name = "front left low"', "two factory outputs have the same name"),
        ("volume = 20", "volume = -1", "volume"),
        ("volume = 20", "volume = 20.5", "volume"),
        ('output = "front left high"\n', 'output = "front left low"\nvolume = 20\n', "captured twice at this volume"),
    ],
)
def test_mistakes_are_named(old: str, new: str, words: str) -> None:
    with pytest.raises(BuildError, match=words):
        parse(FACTORY.replace(old, new, 1).encode())
