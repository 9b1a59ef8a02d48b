"""The kinds of value that fields of a build hold, each with its limits, its units and its words for the schema."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import nan
from typing import Annotated, Any, Literal, get_args

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from cabinwright.units import UnitError, to_si, unit_names

__all__ = [
    "Coordinate",
    "Direction",
    "Family",
    "Level",
    "Name",
    "NamedPoint",
    "Number",
    "OneOrMore",
    "OrName",
    "PathRule",
    "Point",
    "Quantity",
    "RelativePath",
    "Role",
    "Side",
    "Spot",
    "Written",
    "wording",
]

Role = Literal["tweeter", "midrange", "coaxial", "fullrange", "midbass", "woofer", "subwoofer", "rear fill", "centre"]
Side = Literal["left", "right", "centre"]
Family = Literal["Linkwitz-Riley", "Butterworth"]
Number = Annotated[float, Field(allow_inf_nan=False)]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A finite number in the field's own unit, or text with a unit. ``suffix`` is a key of ``units.UNITS``."""

    suffix: str
    gt: float | None = None
    ge: float | None = None
    le: float | None = None
    whole: bool = False  #: only whole numbers (a slope)

    @property
    def bounds(self) -> dict[str, float]:
        """The limits that are set, by pydantic's names."""
        return {key: value for key in ("gt", "ge", "le") if (value := getattr(self, key)) is not None}

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        bounds: dict[str, Any] = self.bounds
        inner: core_schema.CoreSchema
        if self.whole:
            inner = core_schema.int_schema(strict=True, **bounds)
        else:
            inner = core_schema.float_schema(strict=True, allow_inf_nan=False, **bounds)
        return core_schema.no_info_before_validator_function(self._read, inner)

    def _read(self, value: Any) -> Any:
        if not isinstance(value, str):
            return value
        try:
            number = to_si(value, suffix=self.suffix)
        except UnitError as error:
            raise PydanticCustomError("quantity", "{reason}", {"reason": str(error)}) from None
        return int(number) if self.whole and number.is_integer() else number

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        number: dict[str, Any] = {"type": "integer" if self.whole else "number"}
        words = {"gt": "exclusiveMinimum", "ge": "minimum", "le": "maximum"}
        number.update({words[key]: value for key, value in self.bounds.items()})
        text = {
            "type": "string",
            "pattern": "[0-9]",
            "description": f"a number with its unit: {unit_names(self.suffix)}",
        }
        return {"anyOf": [number, text]}


@dataclass(frozen=True, slots=True)
class OneOrMore:
    """A list of tables, or a single table that stands for a list of one."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self._read, handler(source))

    def _read(self, value: Any) -> Any:
        return [value] if isinstance(value, dict) else value

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        several = handler(schema)
        return {"anyOf": [several["items"], several]}


@dataclass(frozen=True, slots=True, eq=False)
class Written:
    """A value that a function reads from what a person wrote, with its words for the reference page and the schema."""

    read: Callable[[Any], Any]  #: raises ``wording``
    accepts: str
    schema: dict[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(self.schema)


def wording(reason: str, cure: str) -> PydanticCustomError:
    """What a reader of ``Written`` raises: the rule that was broken and its cure, in plain words."""
    return PydanticCustomError("wording", "{reason}", {"reason": reason, "cure": cure})


Coordinate = Annotated[float, Quantity("m", ge=-12.0, le=12.0)]
Point = Annotated[tuple[Coordinate, Coordinate, Coordinate], Field(strict=False)]
Part = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
Direction = Annotated[tuple[Part, Part, Part], Field(strict=False)]
Level = Annotated[float, Quantity("db", ge=-60.0, le=60.0)]

# A name is one line of visible text: it stands in tables and messages, and never begins or ends with a blank. Signs that
# part lines or turn the order of what follows ("62 mm" read backwards) are no text: Unicode Standard Annex 9, table 1.
_UNSEEN = r"\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufeff"
Name = Annotated[
    str,
    Field(
        min_length=1,
        max_length=120,
        pattern=rf"^[^\s{_UNSEEN}](?:[^{_UNSEEN}]*[^\s{_UNSEEN}])?$",
    ),
]


class NamedPoint(tuple[float, float, float]):
    """A surveyed point's name in place of coordinates: three NaN until the survey has located it.

    ``stages.survey.located`` replaces every one of them before any other stage sees the build.
    """

    name: str

    def __new__(cls, name: str) -> NamedPoint:
        point = super().__new__(cls, (nan, nan, nan))
        point.name = name
        return point

    def __eq__(self, other: object) -> bool:
        return isinstance(other, NamedPoint) and self.name == other.name

    def __ne__(self, other: object) -> bool:  # a tuple has its own
        return not self == other

    def __hash__(self) -> int:
        return hash(self.name)

    def __repr__(self) -> str:
        return f"NamedPoint({self.name!r})"


@dataclass(frozen=True, slots=True)
class OrName:
    """Three numbers, or a name that ``named`` turns into what stands in their place; ``whose`` says whose name."""

    whose: str
    named: Callable[[str], Any] = str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        parts = get_args(source)  # `numbers | str` for a name that stays text
        numbers = handler.generate_schema(parts[0]) if str in parts else handler(source)
        return core_schema.no_info_wrap_validator_function(self._read, numbers)

    def _read(self, value: Any, numbers: core_schema.ValidatorFunctionWrapHandler) -> Any:
        return self.named(value) if isinstance(value, str) else numbers(value)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [handler(schema), {"type": "string", "description": f"the name of a {self.whose}"}]}


Spot = Annotated[Point, OrName("surveyed point", NamedPoint)]

_DRIVE = re.compile(r"^[A-Za-z]:")


@dataclass(frozen=True, slots=True)
class PathRule:
    """A path written with forward slashes that stays inside the build folder on every system."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        inner = core_schema.str_schema(strict=True, min_length=1, max_length=400)
        return core_schema.no_info_after_validator_function(self._check, inner)

    def _check(self, value: str) -> str:
        def refuse(reason: str) -> PydanticCustomError:
            return PydanticCustomError("path", "{reason}", {"reason": reason})

        if any(ord(letter) < 32 or ord(letter) == 127 for letter in value):
            raise refuse("a path holds no control characters")
        if "\\" in value:
            raise refuse('a path is written with forward slashes ("recordings/left.wav"), on Windows too')
        if value.startswith("/") or _DRIVE.match(value):
            raise refuse("a path is relative to the build folder and starts with neither a slash nor a drive letter")
        if ".." in value.split("/"):
            raise refuse('a path stays inside the build folder and has no ".."')
        if value.endswith("/") or value.strip("./") == "":
            raise refuse("a path names a file, not a folder")
        return value


RelativePath = Annotated[str, PathRule()]
