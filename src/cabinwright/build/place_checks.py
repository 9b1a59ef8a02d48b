"""Rules that join the tables of survey, cabin and places to the rest: names that must exist and be unique.

Like ``checks`` they run on the plain data as TOML gives it and pass over whatever has the wrong type.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cabinwright.build.cabin import MATERIALS
from cabinwright.build.checking import Fault, names_of, repeated, rows_of, unknown
from cabinwright.build.locate import Path

__all__ = ["place_check"]

_SPOTS = (
    (("seats",), "head_m"),
    (("seats",), "eyes_m"),
    (("speakers",), "position_m"),
    (("microphone_positions",), "at_m"),
    (("places",), "position_m"),
    (("cabin", "surfaces"), "corners_m"),
    (("cabin", "keep_outs"), "corners_m"),
    (("cabin", "pillars"), "corners_m"),
)
"""Where the name of a surveyed point may stand in place of coordinates."""
_LISTS = ("corners_m", "points")
_NAMED = (
    (("survey", "points"), "surveyed point"),
    (("cabin", "surfaces"), "surface"),
    (("cabin", "materials"), "material"),
    (("cabin", "keep_outs"), "volume to keep free"),
    (("cabin", "pillars"), "pillar"),
    (("places",), "place"),
)


def place_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between survey, cabin, places and the other tables."""
    for tables, kind in _NAMED:
        yield from repeated(rows_of(data, *tables), tables, kind)
    points = names_of(data, "survey", "points")
    yield from _survey(data, points)
    yield from _spots(data, points)
    yield from _materials(data)
    yield from _places(data)
    yield from _further_seats(data)


def _survey(data: Mapping[str, Any], points: list[str]) -> Iterator[Fault]:
    """Names of points inside the survey's own tables."""
    wanted = [
        ("points", ("mirror_of",)),
        ("tapes", ("from", "to")),
        ("heights", ("point", "above")),
        ("offsets", ("point",)),
        ("flat_surfaces", ("points",)),
    ]
    for table, keys in wanted:
        for number, row in rows_of(data, "survey", table):
            for key in keys:
                yield from _point(row.get(key), ("survey", table, number, key), points)
    survey = data.get("survey")
    frame = survey.get("frame") if isinstance(survey, Mapping) else None
    for key in ("origin", "right", "behind"):
        if isinstance(frame, Mapping):
            yield from _point(frame.get(key), ("survey", "frame", key), points)


def _spots(data: Mapping[str, Any], points: list[str]) -> Iterator[Fault]:
    """Names of points wherever a position is wanted."""
    for tables, key in _SPOTS:
        for number, row in rows_of(data, *tables):
            yield from _point(row.get(key), (*tables, number, key), points)


def _point(value: Any, path: Path, points: list[str]) -> Iterator[Fault]:
    """A name, or each name in a list of them; numbers and their units are the models' own matter."""
    if isinstance(value, list) and path[-1] in _LISTS:
        for index, item in enumerate(value):
            if isinstance(item, str):
                yield from _point(item, (*path, index), points)
    elif isinstance(value, str) and value not in points:
        yield unknown(path, value, points, "surveyed point", "survey.points")


def _materials(data: Mapping[str, Any]) -> Iterator[Fault]:
    choices = [*names_of(data, "cabin", "materials"), *MATERIALS]
    for number, row in rows_of(data, "cabin", "surfaces"):
        word = row.get("material")
        if isinstance(word, str) and word not in choices:
            yield unknown(("cabin", "surfaces", number, "material"), word, choices, "material", "cabin.materials")


def _places(data: Mapping[str, Any]) -> Iterator[Fault]:
    seats, pillars = names_of(data, "seats"), names_of(data, "cabin", "pillars")
    for number, row in rows_of(data, "places"):
        for key, choices, kind, table in (
            ("aim", seats, "seat", "seats"),
            ("pillar", pillars, "pillar", "cabin.pillars"),
        ):
            word = row.get(key)
            if isinstance(word, str) and word not in choices:
                yield unknown(("places", number, key), word, choices, kind, table)


def _further_seats(data: Mapping[str, Any]) -> Iterator[Fault]:
    seats, layout = names_of(data, "seats"), data.get("layout")
    listed = layout.get("further_seats") if isinstance(layout, Mapping) else None
    for number, word in enumerate(listed if isinstance(listed, list) else ()):
        if isinstance(word, str) and word not in seats:
            yield unknown(("layout", "further_seats", number), word, seats, "seat", "seats")
