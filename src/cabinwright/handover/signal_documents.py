"""``signal.html``, and the block diagram of the chain as ``signal.svg`` and ``signal.pdf``."""

from __future__ import annotations

from cabinwright.build.document import Build
from cabinwright.drawings.diagram import PAGES_MM
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.drawings.pdf import pdf_from_svg
from cabinwright.handover.signal_blocks import chain_parts, chain_sheet
from cabinwright.handover.signal_page import cropped, signal_html
from cabinwright.physics.factory import FactoryResponses
from cabinwright.stages.signal.result import SignalResult

__all__ = ["chain_svg", "signal_documents"]


def signal_documents(
    build: Build, result: SignalResult, captured: FactoryResponses | None = None
) -> dict[str, str | bytes]:
    """The page, and the diagram where there is a chain to draw. ``captured`` gives the charts of the radio's repair."""
    sheet = chain_sheet(build, result)
    drawn = sheet_svg(sheet) if sheet else None
    files: dict[str, str | bytes] = {
        "signal.html": signal_html(build, result, parts=chain_parts(build, result), captured=captured)
    }
    if sheet and drawn:
        paper = next((name for name, size in PAGES_MM.items() if size == (sheet.height_mm, sheet.width_mm)), "A0")
        files["signal.svg"] = drawn
        files["signal.pdf"] = pdf_from_svg([drawn], paper=paper, title=f"Signal chain: {build.title}")
    return files


def chain_svg(build: Build, result: SignalResult) -> str:
    """The block diagram for a page, without the paper's margins; empty where there is no chain to draw."""
    sheet = chain_sheet(build, result)
    return cropped(sheet_svg(sheet), sheet) if sheet else ""
