"""How sure it is in which unit a drawing was drawn."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ReadIn"]


@dataclass(frozen=True)
class ReadIn:
    """The unit that a drawing was read in, and the one that it may have been drawn in."""

    unit: str
    other: str
    times: float  #: how much larger it would be in the other
    doubt: str = ""  #: why the file does not settle it; empty: it does
