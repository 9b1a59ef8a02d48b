"""Labels to print: both ends of each wire, every fuse and every device, each with a QR code that needs no network."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from cabinwright.build.connectors import Connector
from cabinwright.build.designations import designations
from cabinwright.build.document import Build
from cabinwright.handover.harness import End, Harness, HarnessWire
from cabinwright.stages.power.result import PowerResult

__all__ = ["LONGEST", "Label", "label_sheets", "labels", "qr_svg"]

PER_SHEET = 33
"""Labels of 62 by 22 mm on one sheet: three beside one another and eleven rows fit both A4 and Letter."""
LONGEST = 30  #: signs of one name on a label
LONGEST_LINE = 48  #: bytes of one line in its code; more would make that too fine for a camera
MASK = 2
"""Mask of every code. Trying all eight takes five times as long; on words like these this one's penalty by ISO/IEC 18004 is
least on average, within a twentieth of the best of eight."""
QUIET = 4  #: modules of white round the code, ISO/IEC 18004


@dataclass(frozen=True)
class Label:
    """One label; its QR code says ``text``, lines of plain words."""

    number: str
    name: str
    lines: tuple[str, ...]  #: what is printed under the name
    text: str


def labels(build: Build, result: PowerResult, rows: Harness) -> tuple[Label, ...]:
    """Every label, in the order in which a harness is built: wires, fuses, contacts, devices, connectors."""
    numbers = designations(build)
    found = [label for wire in rows.wires for label in _wire(wire)]
    for name, fuse in result.fuses.items():
        feeds = ", ".join(numbers["wire", wire] for wire in fuse.protects) or "no wire of its own"
        rating = f"{fuse.rating_a:g} A"
        found.append(_label(numbers["fuse", name], name, (f"fuse {rating}", f"protects {feeds}")))
    for switch in build.switches:
        joins = f"joins {_short(switch.from_)} and {_short(switch.to)}"
        found.append(_label(numbers["switch", switch.name], switch.name, ("switch", joins)))
    for relay in build.relays:
        coil = f"coil {_short(relay.coil_from)} to {_short(relay.coil_to)}"
        contact = f"contact {_short(relay.from_)} to {_short(relay.to)}"
        found.append(_label(numbers["relay", relay.name], relay.name, (f"relay, {coil}", contact)))
    for load in build.loads:
        ends = (f"plus {_short(load.from_)}", f"minus {_short(load.to)}")
        found.append(_label(numbers["load", load.name], load.name, ends))
    found += [_connector(connector, numbers["connector", connector.name]) for connector in build.connectors]
    return tuple(found)


def _wire(wire: HarnessWire) -> Iterator[Label]:
    size = f"{wire.size}, {_short(wire.colour)}" if wire.colour else wire.size
    fuse = f"fuse {wire.fuse}" if wire.fuse else "before the first fuse"
    brief = ", ".join(fuse.split(", ", 2)[:2])
    first, second = wire.ends
    for here, there in ((first, second), (second, first)):
        text = (
            _head(wire.number, wire.name),
            f"from {first.node}",
            f"to {second.node}",
            wire.size,
            *([wire.colour] if wire.colour else []),
            fuse,
            f"this end: {here.node}",
        )
        lines = (f"here {_place(here)}", f"from {_place(there)}" if here is second else f"to {_place(there)}")
        yield Label(wire.number, wire.name, (*lines, size, brief), _coded(text))


def _place(end: End) -> str:
    return f"{_short(end.node)}, {end.pin}" if end.pin else _short(end.node)


def _connector(connector: Connector, number: str) -> Label:
    where = (_short(connector.where),) if connector.where else ()
    filled = sum(pin.wire is not None for pin in connector.pins)
    return _label(number, connector.name, ("connector", *where, f"{filled} wires"))


def _label(number: str, name: str, lines: tuple[str, ...]) -> Label:
    return Label(number, name, lines, _coded((_head(number, name), *lines)))


def _head(number: str, name: str) -> str:
    return f"{number} {_short(name)}"


def _coded(lines: tuple[str, ...]) -> str:
    """The words of the code: a line each, none longer than a camera can take."""
    return "\n".join(line.encode("utf-8")[:LONGEST_LINE].decode("utf-8", "ignore") for line in lines)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1].rstrip()}…"


def label_sheets(found: Sequence[Label]) -> list[list[dict[str, Any]]]:
    """Labels as the templates take them, by sheet."""
    from markupsafe import Markup

    rows = [
        {"number": item.number, "name": item.name, "lines": item.lines, "qr": Markup(qr_svg(item.text))}
        for item in found
    ]
    return [rows[start : start + PER_SHEET] for start in range(0, len(rows), PER_SHEET)]


@lru_cache(maxsize=4096)  # a page and two papers take the same codes
def qr_svg(text: str) -> str:
    """The text as one ``<svg>`` of a QR code (ISO/IEC 18004, level M, UTF-8) with its quiet zone; the same bytes each time."""
    import segno

    code = segno.make_qr(text, error="m", mode="byte", encoding="utf-8", boost_error=False, mask=MASK)
    size = len(code.matrix) + 2 * QUIET
    runs = "".join(_runs(number + QUIET, row) for number, row in enumerate(code.matrix))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" shape-rendering="crispEdges">'
        f'<path fill="#000" d="{runs}"/></svg>'
    )


def _runs(line: int, row: bytearray) -> str:
    """The dark modules of one row as rectangles."""
    found, start = [], None
    for at, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = at
        elif not dark and start is not None:
            found.append(f"M{start + QUIET} {line}h{at - start}v1h{start - at}z")
            start = None
    return "".join(found)
