"""What a build has to keep to because somebody asked for it. No physics, no disk."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from cabinwright.build.base import Model
from cabinwright.build.fields import Name, Number, Quantity

__all__ = ["Limits"]


class Limits(Model):
    """What whoever the build is for does not want passed; every stage that can tell holds it against the build."""

    boxes_m3: Annotated[float, Quantity("m3", gt=0.0, le=20.0)] | None = None
    """Room that all boxes together may take, walls included."""
    budget: Annotated[Number, Field(gt=0.0, le=1e9)] | None = None
    """What all of it may cost, with tax, in the shop's currency; proposals are held against it, or against a lower wish."""
    stock: Annotated[tuple[Name, ...], Field(strict=False, max_length=20)] = ()
    """Parts that must stay as they are, in the words that places use for what is cut: `["door cards"]`."""
    reversible: bool = False
    """Whether everything must go back as it was: nothing may be cut for good."""
