"""How what was read from a file is called: the same file may be an outline in one unit and a motif in another panel."""

from __future__ import annotations

__all__ = ["drawn_key"]


def drawn_key(file: str, *, units: str | None = None, motif: bool = False) -> str:
    """Name under which a drawing is handed to the stage."""
    return f"{file} (motif)" if motif else file if units is None else f"{file} ({units})"
