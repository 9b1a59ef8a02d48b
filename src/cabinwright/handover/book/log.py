"""The log of the build: photographs of what nobody sees any more, and notes, by the stage or part that they belong to."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence

from cabinwright.handover.book.blocks import Block, Chapter, Section, bullets, figure, figures, lead, missing
from cabinwright.handover.book.given import Given, Logged

__all__ = ["log"]

WIDTH_MM = 80.0
UNPINNED = "The car as a whole"


def log(given: Given) -> Chapter:
    """Everything that was kept, in the order in which its stage or part first came up."""
    if not given.log:
        none = missing(
            "No photographs or notes were kept with this build; the shop's job log is where they would come from."
        )
        return Chapter("log", "How it was built", (none,))
    groups: dict[str, list[Logged]] = {}
    for item in given.log:
        groups.setdefault(item.pinned or UNPINNED, []).append(item)
    sections = [
        Section(f"log-{number}", name[:1].upper() + name[1:], tuple(_blocks(name, rows)))
        for number, (name, rows) in enumerate(groups.items(), start=1)
    ]
    first = lead(
        "Photographs and notes from the bench: what lies behind trims and in boxes, as it was before they were closed."
    )
    return Chapter("log", "How it was built", (first,), tuple(sections))


def _blocks(name: str, rows: Sequence[Logged]) -> list[Block]:
    shot = [item for item in rows if item.picture]
    said = [f"{item.on}: {item.words}" for item in rows if not item.picture]
    pairs = [_photograph(name, item) for item in shot]
    return [*([figures(pairs)] if pairs else []), *([bullets(said)] if said else [])]


def _photograph(name: str, item: Logged) -> Block:
    """A photograph within a drawing, which is what the template takes."""
    width, height = item.size_px
    data = b64encode(item.picture).decode("ascii")
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">'
        f'<image href="data:image/jpeg;base64,{data}" x="0" y="0" width="{width}" height="{height}"/></svg>'
    )
    words = item.words or f"{name}, photographed"
    return figure(svg, f"{item.on}: {words}", width_mm=WIDTH_MM, says=words)
