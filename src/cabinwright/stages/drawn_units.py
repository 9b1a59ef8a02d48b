"""Whether an outline that others drew was read in the unit it was drawn in: by what its file says, and by its size."""

from __future__ import annotations

from cabinwright.findings import Finding, finding
from cabinwright.physics.outline import Drawn

__all__ = ["HOLLOWS_M", "PARTS_M", "unit_doubt"]

HOLLOWS_M = (0.1, 2.5)  #: hollows and openings of cars are so large over all. Common practice, no source
PARTS_M = (0.05, 2.5)  #: parts that are cut


def unit_doubt(code: str, drawn: Drawn, *, where: str, file: str, usual_m: tuple[float, float]) -> Finding | None:
    """A word where the file does not settle its unit and the other one gives a usual size too, or where only that one does."""
    known = drawn.read_in
    if known is None:
        return None
    left, low, right, high = drawn.closed[0].bounds
    size = max(right - left, high - low)
    if not usual_m[0] <= size * known.times <= usual_m[1]:
        return None
    doubt = known.doubt
    if not doubt and not usual_m[0] <= size <= usual_m[1]:
        doubt = f"the file says {known.unit}, and nothing of its kind is so {'small' if size < usual_m[0] else 'large'}"
    if not doubt:
        return None
    read, would = (f"{1e3 * t * (right - left):.0f} × {1e3 * t * (high - low):.0f}" for t in (1.0, known.times))
    return finding(
        code,
        where=where,
        value=read,
        limit=would,
        unit="mm",
        file=file,
        read=known.unit,
        other=known.other,
        doubt=doubt,
    )
