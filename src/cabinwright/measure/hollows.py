"""Files that boxes' shapes name: outlines as DXF or SVG, hollows as STL, whoever made them.

An STL from a stranger is bounded before anything is made of it: its size, its number of triangles, which in a binary file has
to be what its length says, and the size of what it shows.
"""

from __future__ import annotations

import re
import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.measure.audio import inside
from cabinwright.measure.outline_units import UNITS_M
from cabinwright.measure.outlines import parse_drawing
from cabinwright.physics.outline import Drawn
from cabinwright.physics.solid import Mesh

__all__ = ["LIMIT_BYTES", "MOST_TRIANGLES", "parse_stl", "read_hollows"]

LIMIT_BYTES = 20_000_000
MOST_TRIANGLES = 200_000
HEADER, TRIANGLE = 84, 50  #: bytes of a binary STL's header with its count, and of one triangle
SAME_M = 1e-6  #: corners nearer than this are one
SMALLEST_M, LARGEST_M = 0.05, 5.0
FARTHEST_M = 1000.0
VERTEX = re.compile(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)")


def read_hollows(build: Build, folder: Path) -> dict[str, Drawn | Mesh | str]:
    """Every file that a box's shape or its opening names, or the reason why it was not taken."""
    wanted: dict[str, str | None] = {}
    for item in build.boxes:
        if item.shape is None:
            continue
        if item.shape.file is not None:
            wanted[item.shape.file] = item.shape.file_units
        gate = item.shape.opening
        if gate is not None and gate.file is not None:
            wanted[gate.file] = gate.file_units
    found: dict[str, Drawn | Mesh | str] = {}
    for file, units in wanted.items():
        try:
            path = inside(folder, file)
            with path.open("rb") as stream:
                content = stream.read(LIMIT_BYTES + 1)
            solid = file.lower().endswith(".stl")
            found[file] = (
                parse_stl(content, file=file, units=units) if solid else parse_drawing(content, file=file, units=units)
            )
        except RecordingError as error:
            found[file] = str(error)
        except OSError as error:
            found[file] = f"{file}: cannot be read ({error.strerror or error}). Check its name and rights."
    return found


def parse_stl(content: bytes, *, file: str, units: str | None) -> Mesh:
    """The solid in ``content`` in metres, its corners joined, its faces looking outwards; closed or not.

    Raises ``RecordingError``, naming the file, what is wrong and the cure.
    """
    if len(content) > LIMIT_BYTES:
        raise RecordingError(
            f"{file}: larger than {LIMIT_BYTES // 1_000_000} MB. Reduce its triangles before saving it."
        )
    if units is None:
        raise RecordingError(f'{file}: an STL does not say its unit. Write file_units = "mm" or "in" beside file.')
    corners = _binary(content, file) if _is_binary(content) else _text(content, file)
    if not len(corners):
        raise RecordingError(f"{file}: no triangle is in it. Save the hollow as an STL again.")
    if not np.isfinite(corners).all():
        raise RecordingError(f"{file}: it holds numbers that are none. Save the hollow as an STL again.")
    points = corners.reshape(-1, 3) * UNITS_M[units]
    if np.abs(points).max() > FARTHEST_M:
        raise RecordingError(
            f"{file}: it lies more than {FARTHEST_M:.0f} m from its origin in {units!r}. Check file_units, or move it there."
        )
    size = float((points.max(axis=0) - points.min(axis=0)).max())
    if not SMALLEST_M <= size <= LARGEST_M:
        raise RecordingError(f"{file}: {size:.3g} m across in {units!r} is no hollow of a car. Check file_units.")
    grid = np.round(points / SAME_M).astype(np.int64)
    _, first, row = np.unique(grid, axis=0, return_index=True, return_inverse=True)
    faces = row.reshape(-1, 3)
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    mesh = Mesh(points[first], faces[whole].astype(np.int64))
    return mesh if mesh.volume_m3 >= 0.0 else Mesh(mesh.vertices, mesh.faces[:, ::-1])


def _is_binary(content: bytes) -> bool:
    """A text begins with ``solid`` and soon names a facet; what else begins so is binary all the same."""
    return not (content[:5].lower() == b"solid" and b"facet" in content[:2000].lower())


def _binary(content: bytes, file: str) -> NDArray[np.float64]:
    if len(content) < HEADER:
        raise RecordingError(f"{file}: too short to be an STL. Save the hollow as an STL again.")
    (count,) = struct.unpack_from("<I", content, HEADER - 4)
    held = (len(content) - HEADER) // TRIANGLE
    if count != held or len(content) != HEADER + count * TRIANGLE:
        raise RecordingError(
            f"{file}: its header promises {count} triangles and the file holds {held}. It is cut short or no STL; save it again."
        )
    _few(count, file)
    rows = np.frombuffer(
        content, dtype=np.dtype([("normal", "<f4", 3), ("at", "<f4", (3, 3)), ("rest", "<u2")]), offset=HEADER
    )
    return np.asarray(rows["at"], dtype=float).reshape(-1, 9)


def _text(content: bytes, file: str) -> NDArray[np.float64]:
    if max(content.count(b"facet normal"), content.count(b"vertex") / 3) > MOST_TRIANGLES:
        _few(MOST_TRIANGLES + 1, file)
    rows = VERTEX.findall(content)
    try:
        numbers = np.array([[float(word) for word in row] for row in rows], dtype=float)
    except ValueError:
        raise RecordingError(f"{file}: a corner is no number. Save the hollow as an STL again.") from None
    if len(numbers) % 3:
        raise RecordingError(f"{file}: a triangle has not three corners. It is cut short; save it again.")
    _few(len(numbers) // 3, file)
    return numbers.reshape(-1, 9)


def _few(count: int, file: str) -> None:
    if count > MOST_TRIANGLES:
        raise RecordingError(
            f"{file}: more than {MOST_TRIANGLES} triangles. Reduce them; a hollow needs some thousands."
        )
