"""What every table of a build has in common: strict models, and rules in plain words."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict
from pydantic_core import PydanticCustomError

from cabinwright.build.fields import Quantity

__all__ = ["Hertz", "Model", "Sigma", "require"]

Hertz = Annotated[float, Quantity("hz", gt=0.0, le=192_000.0)]
Sigma = Annotated[float, Quantity("m", gt=0.0, le=0.5)]


class Model(BaseModel):
    """Strict and frozen; unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, use_attribute_docstrings=True)


def require(holds: bool, key: str, reason: str) -> None:
    """Refuse ``key`` with a reason in plain words; ``faults`` and ``codec`` give it a line and a place."""
    if not holds:
        raise PydanticCustomError("rule", "{reason}", {"reason": reason, "key": key})
