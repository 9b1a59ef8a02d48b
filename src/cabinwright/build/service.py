"""The table of what comes out of the car, in which order, with what and how fast. No graph, no disk."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from cabinwright.build.base import Model
from cabinwright.build.fields import Name, Number

__all__ = ["ServiceStep"]

Minutes = Annotated[Number, Field(ge=0.0, le=1440.0)]


class ServiceStep(Model):
    """One part that comes out, or that somebody has to get at: a trim, a box, an amplifier, a fuse, a control."""

    name: Name
    """What comes out, or is reached."""
    kind: Literal["part", "fuse", "battery", "control"] = "part"
    """What it is; fuses, batteries and controls must be reached in two steps at most."""
    of: Annotated[tuple[Name, ...], Field(strict=False, max_length=40)] = ()
    """Names that it has elsewhere in the build, of fuses, amplifiers, boxes, panels and the like; absent: the same name."""
    after: Annotated[tuple[Name, ...], Field(strict=False, max_length=40)] = ()
    """Names of the steps that must be done before it, each directly; what those need follows by itself."""
    how: Annotated[str, Field(max_length=300, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")] = ""
    """How it comes out: fasteners and clips, what to mind."""
    tools: Annotated[tuple[Name, ...], Field(strict=False, max_length=20)] = ()
    """Tools that it takes."""
    minutes: Minutes = 0.0
    """Time to take it out."""
    minutes_back: Minutes | None = None
    """Time to put it back; absent: as long."""

    @property
    def back(self) -> float:
        """Minutes to put it back."""
        return self.minutes if self.minutes_back is None else self.minutes_back
