"""SVG to PDF: one page a drawing, fonts embedded, no date and no random name, so that the same drawing gives the same bytes.

Set by Typst, which needs neither network nor files; pages are the SVG at its own size, or fitted onto a named paper.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import unescape
from typing import Literal

from cabinwright.drawings.diagram import PAGES_MM
from cabinwright.drawings.diagram_text import FONT, font_folder, in_font

__all__ = ["Standard", "page_size_mm", "pdf_from_svg", "pdf_from_typst"]


Standard = Literal["ua-1"]
SUSPECTS = b"/Suspects false"  #: what ISO 32000-1 table 321 takes for granted; blanks, as some readers warn of it


def page_size_mm(paper: str, *, landscape: bool = False) -> tuple[float, float]:
    """Width and height of A4, A3, A2, A1, A0, Letter or Tabloid paper."""
    width, height = PAGES_MM[paper]
    return (height, width) if landscape else (width, height)


def pdf_from_svg(
    pages: Sequence[str], *, paper: str = "A3", landscape: bool = True, margin_mm: float = 0.0, title: str = ""
) -> bytes:
    """One PDF page for each SVG document.

    Args:
        pages: each one ``<svg>`` element with a ``viewBox``.
        paper: key of ``PAGES_MM``.
        margin_mm: kept free all round; the drawing is made as large as the rest allows, its shape kept.
        title: of the document, for whoever lists or reads it aloud.

    Raises:
        KeyError: no such paper.
        ValueError: no page, or what is given is no SVG.
    """
    if not pages:
        raise ValueError("a PDF needs at least one page")
    width, height = page_size_mm(paper, landscape=landscape)
    lines = [
        f'#set document(title: sys.inputs.at("title"), date: none)\n#set text(font: "{FONT}")',
        f"#set page(width: {width}mm, height: {height}mm, margin: {margin_mm}mm)",
    ]
    for number in range(len(pages)):
        size = f"width: {width - 2 * margin_mm}mm, height: {height - 2 * margin_mm}mm"
        drawing = f'image(bytes(sys.inputs.at("page{number}")), format: "svg", fit: "contain", {size}'
        lines.append(f'#align(center + horizon, {drawing}, alt: sys.inputs.at("says{number}")))')
        if number + 1 < len(pages):
            lines.append("#pagebreak()")
    inputs = {"title": title} | {f"page{number}": svg for number, svg in enumerate(pages)}
    inputs |= {f"says{number}": _says(svg) for number, svg in enumerate(pages)}
    return pdf_from_typst("\n".join(lines), inputs)


def pdf_from_typst(
    markup: str, inputs: dict[str, str] | None = None, *, standard: Standard | None = None, text_faces: bool = False
) -> bytes:
    """A PDF from Typst markup, which finds each text of ``inputs`` as ``sys.inputs``: no text from a person need be markup.

    The fonts are those that come with Matplotlib; only where a text has signs that they lack is the machine asked for more.

    Args:
        standard: what the PDF shall hold to, such as ``ua-1`` for PDF/UA-1.
        text_faces: whether the text faces that Typst carries may be used too, Libertinus Serif among them.
    """
    import typst

    texts = inputs or {}
    at_home = in_font("".join((markup, *texts.values())))
    fonts = typst.Fonts(
        include_system_fonts=not at_home, include_embedded_fonts=text_faces, font_paths=[str(font_folder())]
    )
    made: bytes = typst.compile(
        markup.encode("utf-8"), font_paths=fonts, format="pdf", sys_inputs=texts, timestamp=0, pdf_standards=standard
    )
    return made.replace(SUSPECTS, b" " * len(SUSPECTS))


def _says(svg: str) -> str:
    if "<svg" not in svg:
        raise ValueError("no SVG")
    found = re.search(r'aria-label="([^"]*)"', svg)
    return unescape(found[1]) if found else "drawing"
