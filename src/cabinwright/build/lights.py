"""The tables of strips of lights in panels. No physics, no disk."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Number, Quantity

__all__ = ["Light", "Primary"]

Small = Annotated[float, Quantity("m", gt=0.0, le=0.2)]
Radius = Annotated[float, Quantity("m", ge=0.0, le=2.0)]
Share = Annotated[Number, Field(ge=0.0, le=1.0)]
Positive = Annotated[Number, Field(gt=0.0, le=1e6)]
Chromaticity = Annotated[tuple[Share, Share], Field(strict=False)]
Patch = Annotated[
    tuple[
        Annotated[int, Field(ge=0, le=255)],
        Annotated[int, Field(ge=0, le=255)],
        Annotated[int, Field(ge=0, le=255)],
    ],
    Field(strict=False),
]


class Primary(Model):
    """One colour of a strip at full drive."""

    name: Name
    """What the drive values call it."""
    xy: Chromaticity
    """CIE 1931 chromaticity, from its maker's sheet."""
    lumens_per_metre: Positive
    """Light at full drive; any unit, the same for all."""


class Light(Model):
    """A strip of lights behind an edge or a slot of a panel."""

    name: Name
    """What lists call it."""
    panel: Name
    """Name of the panel it lights."""
    along: Name = "outline"
    """`outline`, or the name of a slot of that panel."""
    distance_m: Small
    """From the emitters to the edge that is seen."""
    pitch_m: Small
    """From emitter to emitter along the strip."""
    medium: Literal["acrylic", "air"] = "acrylic"
    """What the light crosses on the way."""
    strip_m: Annotated[tuple[Small, Small], Field(strict=False)] | None = None
    """Width and thickness of the strip; absent: it is not held against its channel."""
    least_bend_m: Radius = 0.02
    """Tightest radius the strip may be bent to."""
    watts_per_metre: Positive
    """Power of a metre at full drive."""
    load: Name | None = None
    """Name of the load that stands for it in the wiring; absent: one is proposed."""
    primaries: Annotated[tuple[Primary, ...], Field(strict=False, max_length=8)] = ()
    """Its colours; absent: no hue is worked out."""
    target_xy: Chromaticity | None = None
    """CIE 1931 chromaticity of the dash's own hue."""
    target_rgb: Patch | None = None
    """The same hue as a photographed patch, sRGB 0 to 255, in place of `target_xy`."""
    white_rgb: Patch | None = None
    """A grey card in the same photograph; absent: the photograph's white is taken as it is."""
    steps: Annotated[int, Field(ge=1, le=65_535)] = 255
    """Full scale of the controller's drive values."""

    @model_validator(mode="after")
    def _one_target(self) -> Self:
        targets = (self.target_xy, self.target_rgb)
        require(None in targets, "target_xy", "a hue is told by target_xy or by target_rgb, not both")
        require(self.white_rgb is None or self.target_rgb is not None, "white_rgb", "white_rgb goes with target_rgb")
        seen = any(target is not None for target in targets)
        require(not seen or bool(self.primaries), "primaries", "a hue needs the strip's primaries")
        x, y = self.target_xy or (0.3, 0.3)
        require(y > 0.0 and x + y <= 1.0, "target_xy", "a chromaticity has y above 0 and x + y up to 1")
        sound = all(p.xy[1] > 0.0 and sum(p.xy) <= 1.0 for p in self.primaries)
        require(sound, "primaries", "a chromaticity has y above 0 and x + y up to 1")
        return self
