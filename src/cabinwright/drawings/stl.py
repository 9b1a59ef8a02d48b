"""Solids as binary STL, in millimetres as workshop programs take them. The same solid always gives the same bytes."""

from __future__ import annotations

import struct
import unicodedata

import numpy as np

from cabinwright.physics.solid import Mesh

__all__ = ["stl_bytes"]

HEADER = 80
MM = 1e3
ROW = np.dtype([("normal", "<f4", 3), ("at", "<f4", (3, 3)), ("rest", "<u2")])


def stl_bytes(mesh: Mesh, *, title: str) -> bytes:
    """The file; its header says the title and that the unit is the millimetre. The format itself has no unit."""
    words = unicodedata.normalize("NFKD", f"mm; {title}").encode("ascii", "ignore")[:HEADER].ljust(HEADER)
    corners = mesh.vertices[mesh.faces] * MM
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    rows = np.zeros(len(mesh.faces), dtype=ROW)
    rows["normal"] = normal / np.where(length > 0.0, length, 1.0)[:, None]
    rows["at"] = corners
    return words + struct.pack("<I", len(rows)) + rows.tobytes()
