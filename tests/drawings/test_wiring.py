"""The wiring diagram, read back from its lines: any wiring comes out as it went in, and nothing lies over anything."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.drawings.diagram import Box, Line, Sheet, Text
from cabinwright.drawings.diagram_text import CAPITAL
from cabinwright.drawings.symbols import SYMBOLS, glyph
from cabinwright.drawings.wiring import Part, node_order, placings, units
from cabinwright.drawings.wiring_frame import AREA, CAUTIONS, Titles, frame_items, zone
from cabinwright.drawings.wiring_sheets import wiring_sheets
from drawings.diagram_check import (
    lines_over_texts,
    lines_through_symbols,
    nets,
    outside,
    over,
    segments,
    symbols_over_symbols,
    text_box,
    texts_over_texts,
)

TITLES = Titles("An invented car", "Wiring diagram")
Netlist = Counter[tuple[str, str, tuple[tuple[str, str], ...]]]


def netlist(sheets: Sequence[Sheet]) -> Netlist:
    """(kind, mark, ((terminal, node), ...)) of every part, read from the lines of the drawing."""
    found: Netlist = Counter()
    for sheet in sheets:
        at: dict[int, dict[str, str]] = {}
        named = [replace(symbol, name=str(k)) for k, symbol in enumerate(sheet.symbols)]
        for net in nets(sheet, named):
            nodes = {sheet.symbols[int(name)].name for kind, name, _ in net if kind == "node"}
            assert len(nodes) == 1, f"a line joins {sorted(nodes)}"
            for kind, name, pin in net:
                if kind != "node":
                    at.setdefault(int(name), {})[pin] = next(iter(nodes))
        for k, symbol in enumerate(sheet.symbols):
            if symbol.kind != "node":
                found[symbol.kind, symbol.name, tuple(sorted(at[k].items()))] += 1
    return found


def wanted(parts: Sequence[Part]) -> Netlist:
    found: Netlist = Counter()
    for part in parts:
        pins = [("a", part.ends[0]), ("b", part.ends[1])] + ([("turn-on", part.turn_on)] if part.turn_on else [])
        found[part.kind, part.mark or part.name, tuple(sorted(pins))] += 1
    return found


def clean(sheet: Sheet) -> None:
    """Nothing over anything, all of it on the paper and large enough to read."""
    assert texts_over_texts(sheet) == []
    assert symbols_over_symbols(sheet) == []
    assert lines_through_symbols(sheet) == []
    assert lines_over_texts(sheet, ["conductor", "wire", "lead", "frame"]) == []
    assert outside(sheet) == []
    assert (sheet.width_mm, sheet.height_mm) == (420.0, 297.0)
    assert all(item.size_mm * CAPITAL >= 2.2 for item in sheet.items if isinstance(item, Text))
    for symbol in sheet.symbols:
        box = symbol.box
        assert AREA.left <= box.left and box.right <= AREA.right and AREA.top <= box.top and box.bottom <= AREA.bottom


def words_in_boxes(sheet: Sheet) -> None:
    """Every word of the diagram lies in the box of one part only, so that nobody reads it as another's."""
    for item in sheet.items:
        if isinstance(item, Text):
            box = text_box(item)
            if over(box, AREA):
                assert sum(over(box, symbol.box) for symbol in sheet.symbols) == 1, item.text


def wires_drawn(sheet: Sheet) -> None:
    """The line of each wire runs from one of its pins to the other."""
    lines = Counter(segments(sheet, "wire"))
    for symbol in sheet.symbols:
        if symbol.kind == "wire":
            (x0, y0), (x1, y1) = sorted(pin.at for pin in symbol.pins)
            assert lines[x0, y0, x1, y1] == 1
    assert sum(lines.values()) == sum(symbol.kind == "wire" for symbol in sheet.symbols)


FEW = [
    Part("battery", "", "battery", ("battery plus", "chassis"), ("80 Ah",)),
    Part("alternator", "", "alternator", ("battery plus", "chassis")),
    Part("wire", "W1", "feed", ("battery plus", "block"), ("4 AWG", "red", "61 A peak")),
    Part("fuse", "F1", "amplifier", ("block", "fuse out"), ("60 A",)),
    Part("amplifier", "", "amplifier", ("fuse out", "chassis"), ("400 W",), "switched"),
    Part("contact", "S1", "radio", ("switched", "block"), ("closed when radio = on",)),
    Part("break contact", "K1", "relay", ("block", "lamp plus")),
    Part("coil", "K1", "relay", ("switched", "chassis")),
    Part("lamp", "", "lamp", ("lamp plus", "lamp minus"), ("18 W",)),
    Part("wire", "W2", "return", ("chassis", "lamp minus"), ("14 AWG", "black")),
]


def test_a_small_wiring_is_drawn_as_it_is() -> None:
    sheets = wiring_sheets(FEW, TITLES)
    assert len(sheets) == 1
    clean(sheets[0])
    words_in_boxes(sheets[0])
    wires_drawn(sheets[0])
    assert netlist(sheets) == wanted(FEW)
    assert sheets == wiring_sheets(FEW, TITLES)


def test_what_must_be_read_is_written() -> None:
    sheet = wiring_sheets(FEW, TITLES)[0]
    lines = [item.text for item in sheet.items if isinstance(item, Text)]
    written = " ".join(lines)
    for word in ("W1 4 AWG", "red", "61 A peak", "F1 60 A", "block", "S1", "sheet 1 of 1", "An invented car"):
        assert word in written.replace("  ", " ")
    assert "coil: 1/" in written and "contact: 1/" in written
    assert all(sentence.split()[0] in written for sentence in CAUTIONS)
    names = {word for kind, (_, word) in SYMBOLS.items() if kind in {part.kind for part in FEW}}
    assert names <= set(lines), "the legend has each symbol that is used"


def test_the_reference_leads_to_the_other_half() -> None:
    """A contact says where its coil is; there it is."""
    sheet = wiring_sheets(FEW, TITLES)[0]
    coil = next(symbol for symbol in sheet.symbols if symbol.kind == "coil")
    at = zone(coil.box.left, min(pin.at[1] for pin in coil.pins))
    assert f"coil: 1/{at}" in [item.text for item in sheet.items if isinstance(item, Text)]


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_wiring_can_be_read_back(data: st.DataObject) -> None:
    """Loops, floating parts, parallel wires, shorts: whatever is joined comes out as it went in."""
    nodes = ["battery plus", "chassis", *(f"node {k}" for k in range(data.draw(st.integers(1, 7))))]
    pair = st.lists(st.sampled_from(nodes), min_size=2, max_size=2, unique=True)
    kinds = st.sampled_from(["wire", "fuse", "contact", "break contact", "coil", "lamp", "load", "amplifier"])
    parts = [FEW[0]] if data.draw(st.booleans()) else []
    for k in range(data.draw(st.integers(1, 14))):
        kind, (a, b) = data.draw(kinds), data.draw(pair)
        third = data.draw(st.sampled_from([None, *nodes])) if kind in ("load", "amplifier") else None
        parts.append(Part(kind, f"X{k}", f"part {k}", (a, b), ("1 A",), third))
    sheets = wiring_sheets(parts, TITLES)
    assert netlist(sheets) == wanted(parts)
    for sheet in sheets:
        assert texts_over_texts(sheet) == [] and symbols_over_symbols(sheet) == []
        assert lines_through_symbols(sheet) == [] and lines_over_texts(sheet, ["conductor", "wire", "lead"]) == []
        wires_drawn(sheet)


def test_a_chain_longer_than_a_sheet_is_cut_and_led_on() -> None:
    parts = [FEW[0], Part("wire", "W1", "1", ("battery plus", "joint 1"), ("4 AWG", "red"))]
    parts += [Part("wire", f"W{k}", str(k), (f"joint {k - 1}", f"joint {k}"), ("4 AWG", "red")) for k in range(2, 120)]
    sheets = wiring_sheets(parts, TITLES)
    assert len(sheets) > 1
    for number, sheet in enumerate(sheets, 1):
        clean(sheet)
        assert f"sheet {number} of {len(sheets)}" in [item.text for item in sheet.items if isinstance(item, Text)]
    assert netlist(sheets) == wanted(parts)
    _follow_references(sheets)


def _follow_references(sheets: Sequence[Sheet]) -> None:
    """Whoever follows ``see 2/C4`` finds a node of that name there; every node drawn twice says so."""
    places: dict[str, list[tuple[int, str]]] = {}
    for number, sheet in enumerate(sheets, 1):
        for symbol in sheet.symbols:
            if symbol.kind == "node" and symbol.name != "chassis":
                at = symbol.box.left, symbol.pins[0].at[1]
                places.setdefault(symbol.name, []).append((number, zone(*at)))
    for number, sheet in enumerate(sheets, 1):
        for symbol in sheet.symbols:
            if symbol.kind == "node" and symbol.name != "chassis":
                seen = sorted(_references(sheet, symbol.box))
                here = (number, zone(symbol.box.left, symbol.pins[0].at[1]))
                others = list(places[symbol.name])
                others.remove(here)
                assert seen == sorted(f"see {sheet_number}/{where}" for sheet_number, where in others)


def _references(sheet: Sheet, box: Box) -> list[str]:
    texts = [item for item in sheet.items if isinstance(item, Text) and item.text.startswith("see ")]
    return [item.text for item in texts if over(text_box(item), box)]


def test_long_names_and_many_branches_stay_apart() -> None:
    long = "a name that somebody wrote at length, with-hyphens/and_more " * 2
    parts = [FEW[0], Part("fuse", "F1", long, ("battery plus", long), ("60 A",))]
    parts += [Part("load", "", f"{long} {k}", (long, "chassis"), ("1 A", long), "battery plus") for k in range(6)]
    parts += [Part("wire", "W1", long, (long, "unbroken" * 15), ("4 AWG", long))]
    sheets = wiring_sheets(parts, Titles(long * 5, "Wiring diagram"))
    for sheet in sheets:
        clean(sheet)
        words_in_boxes(sheet)
    assert netlist(sheets) == wanted(parts)


def test_a_wrong_line_would_be_noticed() -> None:
    """The reader of the drawing is no rubber stamp: a line moved, lost, or joined to its neighbour shows."""
    sheet = wiring_sheets(FEW, TITLES)[0]
    conductors = [item for item in sheet.items if isinstance(item, Line) and item.style == "conductor"]
    for line in conductors:
        without = replace(sheet, items=tuple(item for item in sheet.items if item is not line))
        shifted = replace(line, points=tuple((x, y + 1.0) for x, y in line.points))
        moved = replace(sheet, items=tuple(shifted if item is line else item for item in sheet.items))
        for broken in (without, moved):
            try:
                read = netlist([broken])
            except (AssertionError, KeyError):
                continue
            assert read != wanted(FEW)
    label = next(item for item in sheet.items if isinstance(item, Text) and item.text == "block")
    crossed = replace(sheet, items=(*sheet.items, replace(label, text="over it")))
    assert texts_over_texts(crossed) != []


def test_loads_are_right_of_the_supply_and_sources_first() -> None:
    order = node_order(FEW)
    assert order["battery plus"] < order["block"] < order["fuse out"] < order["lamp minus"] < order["chassis"]
    sides = {item.part.mark or item.part.name: item for item in placings(FEW)}
    assert sides["W2"].left == (("b", "lamp minus"),) and sides["W2"].right == (("a", "chassis"),)
    assert sides["battery"].left == (("b", "chassis"),)
    assert [node for _, node in sides["amplifier"].left] == ["fuse out", "switched"]
    stretches = units(placings(FEW))
    assert sorted(item.key for stretch in stretches for item in stretch) == sorted(f"part {k}" for k in range(len(FEW)))
    assert stretches[0][0].part.kind == "battery"


@pytest.mark.parametrize("kind", sorted(SYMBOLS))
def test_each_symbol_fills_its_room_and_meets_its_line(kind: str) -> None:
    """Strokes stay in the room that is kept free; something begins at the left end of the line, at height 0."""
    shape = glyph(kind)
    points = [point for item in shape.items if isinstance(item, Line) for point in item.points]
    assert all(-1e-9 <= x <= shape.width_mm + 1e-9 and -shape.above_mm <= y <= shape.below_mm for x, y in points)
    assert (0.0, 0.0) in points
    assert kind == "frame" or (shape.width_mm, 0.0) in points


def test_every_sheet_of_frames_is_clean() -> None:
    """Legend, cautions and title block with every symbol in use and a title of any length."""
    kinds = list(SYMBOLS)
    for title in ("Short", "A very long title indeed, " * 20):
        items = frame_items(Titles(title, "Wiring diagram", ("A note that is rather long, " * 2,)), 11, 12, kinds)
        sheet = Sheet("", 420.0, 297.0, tuple(items))
        assert texts_over_texts(sheet) == [] and outside(sheet) == []
        assert lines_over_texts(sheet, ["frame", "rule"]) == []
    assert zone(21.0, 11.0) == "A1" and zone(409.0, 286.0) == "F8" and zone(215.0, 150.0) == "D5"


def test_no_parts_no_sheets() -> None:
    assert wiring_sheets([], TITLES) == ()
