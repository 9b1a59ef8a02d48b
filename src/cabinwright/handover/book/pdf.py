"""From the book's contents to its PDF: tagged text after PDF/UA-1, bookmarks, fonts embedded, the same bytes each time."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from cabinwright.drawings.pdf import Standard, page_size_mm, pdf_from_typst
from cabinwright.handover.book.contents import Numbered, contents
from cabinwright.handover.book.given import Given
from cabinwright.handover.book.owner import cover_drawing
from cabinwright.handover.book.summary import summary

__all__ = ["PAPERS", "book_pdf", "summary_pdf"]

PAPERS = ("A4", "Letter")
LONG_TITLE = 60  #: letters; longer ones stand smaller on the cover
STANDARD: Standard = "ua-1"  #: ISO 14289-1: what a screen reader needs


def book_pdf(given: Given, *, paper: str = "A4") -> bytes:
    """The whole book. Raises ``KeyError`` for a paper that is not known."""
    build = given.build
    svg, says = cover_drawing(given)
    cover = {
        "kind": "Owner's and service book",
        "title": build.title,
        "size": 25 if len(build.title) <= LONG_TITLE else 18,
        "vehicle": build.vehicle.name,
        "svg": svg,
        "says": says,
        "lines": _cover_lines(given),
    }
    return _pdf(
        "book",
        paper,
        title=f"{build.title}: owner's and service book",
        about=f"Owner's and service book of the sound system in {build.vehicle.name}.",
        keywords=["owner's book", "service book", "wiring", "settings"],
        running=build.title,
        foot=_foot(given),
        cover=cover,
        parts=[_part(item) for item in contents(given)],
    )


def summary_pdf(given: Given, *, paper: str = "A4") -> bytes:
    """The page for the customer alone."""
    return _pdf("summary", paper, title=f"{given.build.title}: summary", foot=_foot(given), **summary(given))


def _part(item: Numbered) -> dict[str, Any]:
    return {"key": item.part.key, "title": item.part.title, "says": item.part.says, "chapters": list(item.chapters)}


def _foot(given: Given) -> str:
    """What names the state of the build that the book is of."""
    return f"Settings {given.tuning.settings.fingerprint}" if given.tuning else "No settings"


def _cover_lines(given: Given) -> list[str]:
    return [
        f"{_foot(given)}. A book with another mark is of another state of this build.",
        "The makers' instructions, local rules and licensed practice go before this book.",
    ]


def _pdf(template: str, paper: str, **data: Any) -> bytes:
    width, height = page_size_mm(paper)
    markup = files("cabinwright.handover.book").joinpath(f"{template}.typ").read_text(encoding="utf-8")
    words = json.dumps({"width": width, "height": height, **data}, ensure_ascii=False)
    return pdf_from_typst(markup, {"data": words}, standard=STANDARD, text_faces=True)
