"""The wiring on as many sheets of A3 as it needs, with everything a person needs to find the way about them.

Parts fill bands: what is drawn together, from the left edge of a sheet to its right. Bands fill sheets from the top. A node
that several bands need is drawn in each and says where else it is.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram import Item, Sheet, Symbol, moved
from cabinwright.drawings.diagram_flow import Flow, flow
from cabinwright.drawings.diagram_layers import Cell
from cabinwright.drawings.wiring import Part, Placing, placings, units, wiring_nets
from cabinwright.drawings.wiring_cells import (
    draw_frame,
    draw_node,
    draw_part,
    frame_cell,
    node_cell,
    part_cell,
)
from cabinwright.drawings.wiring_frame import AREA, PAPER, Titles, frame_items, zone

__all__ = ["wiring_sheets"]

UNKNOWN = "99/W9"  #: as wide as any reference; stands in while places are not known
PAIRS = {"coil": ("contact", "break contact"), "contact": ("coil",), "break contact": ("coil",)}
SLACK_MM = (0.0, 8.0, 16.0, 32.0, 64.0)
"""Room kept when bands are filled, for references that only the finished division calls for; the least that does."""
BETWEEN_MM = 5.0  #: bands, at least
ROOM_MM = (AREA.right - AREA.left, AREA.bottom - AREA.top)

Counts = Mapping[str, int]


@dataclass(frozen=True)
class _Band:
    """Some parts, placed together."""

    items: tuple[Placing, ...]
    flow: Flow
    cells: Mapping[str, Cell]
    nodes: Mapping[str, str]
    frames: Mapping[str, bool]
    sides: Mapping[str, tuple[bool, bool]]

    def fits(self, slack_mm: float = 0.0) -> bool:
        """Whether one sheet holds it."""
        return self.flow.width_mm <= ROOM_MM[0] - slack_mm and self.flow.height_mm <= ROOM_MM[1] - slack_mm


@dataclass(frozen=True)
class _Laid:
    """A band on its sheet."""

    band: _Band
    number: int  #: of all bands
    sheet: int
    across_mm: float
    down_mm: float

    def at(self, key: str) -> tuple[float, float]:
        """Where the line of a box begins on paper."""
        return self.band.flow.left_mm[key] + self.across_mm, self.band.flow.axis_mm[key] + self.down_mm


def wiring_sheets(parts: Sequence[Part], titles: Titles) -> tuple[Sheet, ...]:
    """The sheets, A3 lying; the same parts give the same sheets. Every part is there once; no parts, no sheets."""
    placed = placings(parts)
    if not placed:
        return ()
    pairs = _pairs(placed)
    laid = _laid(_divided(placed, pairs))
    zones = _zones(laid)
    count = laid[-1].sheet
    sheets = []
    for number in range(1, count + 1):
        here = [item for item in laid if item.sheet == number]
        drawn = [_drawn(item, zones, pairs) for item in here]
        kinds = [item.part.kind for one in here for item in one.band.items]
        says = f"{titles.title}: {titles.subject}, sheet {number} of {count}, with {len(kinds)} parts."
        items = [item for one, _ in drawn for item in one]
        symbols = [symbol for _, some in drawn for symbol in some]
        frame = frame_items(titles, number, count, kinds)
        sheets.append(Sheet(says, PAPER.right, PAPER.bottom, (*frame, *items), tuple(symbols)))
    return tuple(sheets)


def _pairs(items: Sequence[Placing]) -> dict[str, str]:
    """Coil and contact of each relay, each with the key of the other."""
    by_mark: dict[tuple[str, str], str] = {(item.part.mark, item.part.kind): item.key for item in items}
    found = {}
    for item in items:
        for kind in PAIRS.get(item.part.kind, ()):
            if item.part.mark and (item.part.mark, kind) in by_mark:
                found[item.key] = by_mark[item.part.mark, kind]
    return found


def _divided(items: Sequence[Placing], pairs: Mapping[str, str]) -> list[_Band]:
    """All parts in bands, with room for every reference that the division makes necessary."""
    bands: list[_Band] = []
    for slack_mm in SLACK_MM:
        groups = _groups(units(items), pairs, slack_mm)
        counts = Counter(key for group in groups for key in wiring_nets(group)[0])
        bands = [_band(group, pairs, {key: count - 1 for key, count in counts.items()}) for group in groups]
        if all(band.fits() for band in bands):
            break
    return bands


def _laid(bands: Sequence[_Band]) -> list[_Laid]:
    """Bands on sheets: as many below one another as fit, evenly spread, their left ends in line."""
    sheets: list[list[int]] = []
    left_mm = 0.0
    for number, band in enumerate(bands):
        needed = band.flow.height_mm + BETWEEN_MM
        if not sheets or needed > left_mm:
            sheets.append([])
            left_mm = ROOM_MM[1] + BETWEEN_MM
        sheets[-1].append(number)
        left_mm -= needed
    found = []
    for sheet, numbers in enumerate(sheets, 1):
        across = AREA.left + (ROOM_MM[0] - max(bands[k].flow.width_mm for k in numbers)) / 2.0
        air = (ROOM_MM[1] - sum(bands[k].flow.height_mm for k in numbers)) / (len(numbers) + 1)
        down = AREA.top + air
        for number in numbers:
            found.append(_Laid(bands[number], number, sheet, across, down))
            down += bands[number].flow.height_mm + air
    return found


def _groups(stretches: Sequence[Sequence[Placing]], pairs: Mapping[str, str], slack_mm: float) -> list[list[Placing]]:
    """As many stretches in each band as fit, in their order; a stretch that fits in none is halved."""
    left = [list(stretch) for stretch in stretches]
    groups: list[list[Placing]] = []

    def fits(count: int) -> bool:
        return _band(_together(left[:count]), pairs, {}).fits(slack_mm)

    while left:
        most, step, growing = 0, 1, True
        while step:  # twice as many each time until they are too many, then half as many each time
            if most + step <= len(left) and fits(most + step):
                most += step
            else:
                growing = False
            step = 2 * step if growing else step // 2
        if most == 0 and len(left[0]) > 1:
            half = len(left[0]) // 2
            left[:1] = [left[0][:half], left[0][half:]]
            continue
        most = max(most, 1)  # one part alone is drawn whatever its size
        groups.append(_together(left[:most]))
        left = left[most:]
    return groups


def _together(stretches: Sequence[Sequence[Placing]]) -> list[Placing]:
    return [item for stretch in stretches for item in stretch]


def _band(items: Sequence[Placing], pairs: Mapping[str, str], references: Counts) -> _Band:
    """Those parts together. ``references``: in how many other bands each node is."""
    nodes, frames, nets = wiring_nets(items)
    cells = {item.key: part_cell(item, _lines(item, pairs, {})) for item in items}
    cells |= {key: node_cell(node, _see([UNKNOWN] * references.get(key, 0))) for key, node in nodes.items()}
    cells |= {key: frame_cell() for key in frames}
    into = {name for net in nets for name, _ in net.sinks}
    out = {name for net in nets for name, _ in net.sources}
    sides = {key: (key in into, key in out) for key in nodes}
    return _Band(tuple(items), flow(cells, nets), cells, nodes, frames, sides)


def _see(zones: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"see {where}" for where in zones)


def _lines(item: Placing, pairs: Mapping[str, str], zones: Mapping[str, str]) -> tuple[str, ...]:
    """The figures of a part, and where the other half of a relay is."""
    if item.key not in pairs:
        return item.part.lines
    other = "contact" if item.part.kind == "coil" else "coil"
    return *item.part.lines, f"{other}: {zones.get(pairs[item.key], UNKNOWN)}"


def _zones(laid: Sequence[_Laid]) -> dict[str, str]:
    """Where each part is: sheet and zone. Nodes by key and band: ``node NAME@2``."""
    found = {}
    for item in laid:
        for key in item.band.flow.left_mm:
            where = f"{item.sheet}/{zone(*item.at(key))}"
            found[f"{key}@{item.number}" if key in item.band.nodes else key] = where
    return found


def _drawn(laid: _Laid, zones: Mapping[str, str], pairs: Mapping[str, str]) -> tuple[list[Item], list[Symbol]]:
    """Lines, parts and nodes of one band on their places."""
    band = laid.band
    elsewhere: dict[str, list[str]] = defaultdict(list)
    for key, where in zones.items():
        name, _, number = key.rpartition("@")
        if name in band.nodes and number != str(laid.number):
            elsewhere[name].append(where)
    every = [
        draw_part(item, _lines(item, pairs, zones), band.cells[item.key], *laid.at(item.key)) for item in band.items
    ]
    for key, node in band.nodes.items():
        every.append(draw_node(node, _see(elsewhere[key]), band.cells[key], *laid.at(key), band.sides[key]))
    for key, mirrored in band.frames.items():
        every.append(draw_frame(band.cells[key], *laid.at(key), mirrored=mirrored))
    items = moved(band.flow.items(), laid.across_mm, laid.down_mm)
    return [*items, *(item for drawn in every for item in drawn.items)], [drawn.symbol for drawn in every]
