"""Outlines, curves and sizes as people write them in tables of flat parts and shapes. No geometry, no disk."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Quantity

__all__ = ["Curve", "Flat", "Offset", "OutlinePoint", "Pair", "Points", "Radius", "Size", "Small", "Thin", "Units"]

Planar = Annotated[float, Quantity("m", ge=-5.0, le=5.0)]
Flat = Annotated[tuple[Planar, Planar], Field(strict=False)]
Size = Annotated[float, Quantity("m", gt=0.0, le=5.0)]
Pair = Annotated[tuple[Size, Size], Field(strict=False)]
Small = Annotated[float, Quantity("m", gt=0.0, le=0.2)]
Radius = Annotated[float, Quantity("m", ge=0.0, le=2.0)]
Offset = Annotated[float, Quantity("m", ge=-0.5, le=0.5)]
Thin = Annotated[float, Quantity("m", gt=0.0, le=0.1)]
Units = Literal["mm", "cm", "m", "in", "ft"]


class OutlinePoint(Model):
    """A point of an outline or curve. A bare `[x, y]` stands for `{at_m = [x, y]}`."""

    at_m: Flat
    """Where it lies: x to the right, y up, seen from the front."""
    via_m: Flat | None = None
    """A point of the arc that leads here from the point before; absent: see `sagitta_m`."""
    sagitta_m: Annotated[float, Quantity("m", ge=-2.0, le=2.0)] | None = None
    """Height of that arc over its chord, positive to the right of the way; absent: the way is straight."""
    fillet_m: Radius | None = None
    """Rounding here; 0: a hard corner is wanted; absent: as the whole outline."""

    @model_validator(mode="before")
    @classmethod
    def _bare(cls, value: Any) -> Any:
        return {"at_m": value} if isinstance(value, list | tuple) else value

    @model_validator(mode="after")
    def _one_arc(self) -> Self:
        require(
            self.via_m is None or self.sagitta_m is None, "via_m", "an arc is told by via_m or by sagitta_m, not both"
        )
        return self

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        table = handler(schema)
        pair = handler.resolve_ref_schema(table)["properties"]["at_m"]
        bare = {key: value for key, value in pair.items() if key not in ("description", "title")}
        return {"anyOf": [bare, table]}


Curve = Annotated[tuple[OutlinePoint, ...], Field(strict=False, min_length=2, max_length=400)]
Points = Annotated[tuple[OutlinePoint, ...], Field(strict=False, min_length=3, max_length=400)]
