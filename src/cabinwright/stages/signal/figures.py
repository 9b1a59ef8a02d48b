"""Figures as they are quoted in findings."""

from __future__ import annotations

__all__ = ["quoted"]


def quoted(value: float, digits: int = 3) -> float:
    """Rounded to so many decimals, a whole number without any."""
    near = round(value, digits)
    return int(near) if near == int(near) else near
