"""Lists for spreadsheets: RFC 4180, UTF-8 with its mark in front, and no cell that a spreadsheet would run as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

__all__ = ["csv_text"]

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""First signs that make a spreadsheet take a text for a formula; the wide ones count too."""
MARK = "\ufeff"
"""Byte order mark: without it spreadsheets take UTF-8 for the machine's own code page."""

Cell = str | int | float


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """One header line and the rows. Texts stand in quotes, numbers bare with a decimal point; lines end in CR LF."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
    writer.writerow([_safe(cell) for cell in header])
    writer.writerows([_safe(cell) for cell in row] for row in rows)
    return MARK + out.getvalue()


def _safe(cell: Cell) -> Cell:
    """A text that begins like a formula gets an apostrophe in front, which spreadsheets take for "this is text"."""
    if isinstance(cell, str):
        return f"'{cell}" if cell.lstrip(" ").startswith(FORMULA) else cell
    return cell if isinstance(cell, int) else round(cell, 3)
