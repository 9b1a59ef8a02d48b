"""Surveyed points where a build names them: coordinates in place of names, everywhere."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot
from typing import Any, TypeVar

from pydantic import BaseModel

from cabinwright.build.cabin import Place
from cabinwright.build.document import Build
from cabinwright.build.fields import NamedPoint
from cabinwright.errors import RefusedError
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.survey.run import run

__all__ = ["has_names", "locate", "located", "named_places"]

Item = TypeVar("Item", bound=BaseModel)


def named_places(build: Build) -> dict[str, str]:
    """Where the build names a surveyed point, and which: ``{"speakers[0].position_m": "left pillar"}``."""
    return dict(_names(build, ""))


def has_names(build: Build) -> bool:
    """Whether any position of the build is a surveyed point's name."""
    return next(_names(build, ""), None) is not None


def located(build: Build, result: SurveyResult | None) -> Build:
    """The build with coordinates in place of every surveyed point's name; itself where it names none.

    Where a speaker could go is then known no better than its point: ``position_sigma_m`` holds both, mounting and survey
    along the point's weakest axis, so that whatever keeps clear of an airbag by it keeps clear of both.
    ``named_places`` of the build as it was, with ``result.points``, says how exactly each place is known. Raises
    ``RefusedError`` where there is no ``result`` to take them from.
    """
    if not has_names(build):
        return build
    if result is None:
        place, name = next(_names(build, ""))
        raise RefusedError(f"{place}: “{name}” is a surveyed point, and the survey gives no places yet.")
    return _located(build, result)


def locate(build: Build) -> Build:
    """The same, with the survey run for it where it is needed. Raises ``RefusedError`` where the survey gives no answer."""
    return located(build, run(build)) if has_names(build) else build


def _names(value: Any, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, NamedPoint):
        yield path, value.name
    elif isinstance(value, BaseModel):
        for key in type(value).model_fields:
            yield from _names(getattr(value, key), f"{path}.{key}" if path else key)
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _names(item, f"{path}[{index}]")


def _located(model: Item, result: SurveyResult) -> Item:
    update = {}
    for key in type(model).model_fields:
        value = getattr(model, key)
        placed = _placed(value, result)
        if placed is not value:
            update[key] = placed
    if isinstance(model, Place) and isinstance(model.position_m, NamedPoint):
        update["position_sigma_m"] = hypot(model.position_sigma_m, max(result.points[model.position_m.name].sigma_m))
    return model.model_copy(update=update) if update else model


def _placed(value: Any, result: SurveyResult) -> Any:
    if isinstance(value, NamedPoint):
        return result.points[value.name].at_m
    if isinstance(value, BaseModel):
        return _located(value, result)
    if isinstance(value, tuple):
        items = tuple(_placed(item, result) for item in value)
        return items if any(new is not old for new, old in zip(items, value, strict=True)) else value
    return value
