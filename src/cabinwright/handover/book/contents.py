"""The order of the book: two parts for two readers, chapters that are always there, numbers that labels may rely on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from cabinwright.handover.book.blocks import Chapter
from cabinwright.handover.book.electrical import coded
from cabinwright.handover.book.given import Given

__all__ = ["CHAPTERS", "OWNER", "PARTS", "TECHNICIAN", "Numbered", "contents", "numbered"]

Maker = Callable[[Given], Chapter]


@dataclass(frozen=True)
class Part:
    """One reader's part."""

    key: str
    title: str
    says: str


OWNER = Part(
    "owner",
    "For the owner",
    "What was built and why, how to use it, what to do when something goes silent, what never to do, and how to care for it.",
)
TECHNICIAN = Part(
    "technician",
    "For the next technician",
    "How to reach each part, how it is wired, fused and set, how the car is put back, and what was measured.",
)
PARTS = (OWNER, TECHNICIAN)


@dataclass(frozen=True)
class Numbered:
    """The chapters of one part as the template takes them."""

    part: Part
    chapters: tuple[dict[str, Any], ...]


def _chapters() -> tuple[tuple[Part, tuple[Maker, ...]], ...]:
    from cabinwright.handover.book import electrical, factory, log, owner, owner_care, reach, record, sound, tune

    return (
        (OWNER, (owner.system, owner.presets, owner.controls, owner_care.silent, owner_care.never, owner_care.care)),
        (
            TECHNICIAN,
            (
                reach.first,
                reach.reaching,
                electrical.diagram,
                electrical.fuses,
                electrical.harness,
                tune.chain,
                tune.settings,
                sound.loudspeakers,
                electrical.parts,
                factory.configuration,
                factory.bypass,
                record.verification,
                record.measured,
                record.open_findings,
                electrical.tags,
                log.log,
            ),
        ),
    )


CHAPTERS = (
    "system", "presets", "controls", "silent", "never", "care",
    "first", "reaching", "wiring", "fuses", "harness", "chain", "settings", "loudspeakers", "parts", "factory", "bypass",
    "verification", "measured", "findings", "labels", "log",
)  # fmt: skip
"""Keys of the chapters in their order; every book has all of them, so that a number means the same in each."""


def contents(given: Given) -> tuple[Numbered, ...]:
    """Both parts, every chapter and section numbered and every reference turned into a number."""
    made = [(part, [maker(given) for maker in makers]) for part, makers in _chapters()]
    order = [chapter for _, chapters in made for chapter in chapters]
    if tuple(chapter.key for chapter in order) != CHAPTERS:
        raise RuntimeError("the book's chapters are not in the order that labels count on")
    numbers = {key: word for number, chapter in enumerate(order, start=1) for key, word in _keys(number, chapter)}
    found, number = [], 0
    for part, chapters in made:
        rows = []
        for chapter in chapters:
            number += 1
            rows.append(_plain(number, chapter, numbers))
        found.append(Numbered(part, tuple(rows)))
    return tuple(found)


def _keys(number: int, chapter: Chapter) -> Iterator[tuple[str, str]]:
    yield chapter.key, f"chapter {number}"
    for count, section in enumerate(chapter.sections, start=1):
        yield section.key, f"section {number}.{count}"


def _plain(number: int, chapter: Chapter, numbers: dict[str, str]) -> dict[str, Any]:
    """One chapter in JSON's own types."""
    sections = [
        {
            "key": section.key,
            "number": f"{number}.{count}",
            "title": section.title,
            "blocks": numbered(section.blocks, numbers),
        }
        for count, section in enumerate(chapter.sections, start=1)
    ]
    head = {"key": chapter.key, "number": str(number), "title": chapter.title}
    return {**head, "blocks": numbered(chapter.blocks, numbers), "sections": sections}


def numbered(value: Any, numbers: dict[str, str]) -> Any:
    """The same with the number beside every reference. Raises ``KeyError`` for one that leads nowhere."""
    if isinstance(value, dict):
        row = {key: numbered(item, numbers) for key, item in value.items()}
        row |= {"word": numbers[row["to"]]} if "to" in row else {}
        return coded(row) if "code" in row else row
    if isinstance(value, list | tuple):
        return [numbered(item, numbers) for item in value]
    return value
