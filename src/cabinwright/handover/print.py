"""What is printed and cut: labels, the fuse card and the commissioning sheet as PDF.

Fixed markup takes the words as data (``sys.inputs``), so that no name of anybody's is ever read as markup.
"""

from __future__ import annotations

import json
from typing import Any

from cabinwright.drawings.pdf import page_size_mm, pdf_from_typst
from cabinwright.handover.labels import qr_svg
from cabinwright.handover.lists import Lists
from cabinwright.handover.pages import template_text

__all__ = ["CARE", "COMMON_MM", "print_files", "typst_pdf"]

COMMON_MM = (210.0, 279.4)
"""What A4 and Letter have in common: such a page prints at actual size on both."""
CARE = (
    "Battery minus off while wiring. High direct current burns and starts fires: rings off, tools insulated, main fuse in last.",
    "Batteries give off explosive gas, and lithium ones burn when abused: no sparks, no shorts, the maker's charger.",
    "Airbag wiring is never probed, tapped or moved. The makers' instructions, local codes and licensed practice go before "
    "this page.",
)


def print_files(title: str, found: Lists, shown: dict[str, Any]) -> dict[str, bytes]:
    """``labels-a4.pdf``, ``labels-letter.pdf``, ``commissioning.pdf``, and ``fuse-chart.pdf`` where there are fuses.

    ``shown`` are the rows that the pages take. The same lists give the same bytes.
    """
    rows = [
        {"number": item.number, "name": item.name, "lines": item.lines, "qr": qr_svg(item.text)}
        for item in found.labels
    ]
    about = "Print at actual size: 62 by 22 mm each."
    files = {
        f"labels-{paper.lower()}.pdf": typst_pdf("labels", page_size_mm(paper), title=title, about=about, labels=rows)
        for paper in ("A4", "Letter")
        if rows
    }
    if shown["fuses"]:
        files["fuse-chart.pdf"] = typst_pdf("fuse_card", COMMON_MM, title=title, fuses=shown["fuses"])
    files["commissioning.pdf"] = typst_pdf("commissioning", COMMON_MM, title=title, care=CARE, phases=shown["phases"])
    return files


def typst_pdf(template: str, size_mm: tuple[float, float], **data: Any) -> bytes:
    """The PDF that a template of ``templates`` makes of ``data`` on paper of that size."""
    width, height = size_mm
    words = json.dumps({"width": width, "height": height, **data}, ensure_ascii=False)
    return pdf_from_typst(template_text(f"{template}.typ"), {"data": words})
