"""A block diagram: what is joined is what was asked for, and nothing lies over anything."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.drawings.blocks import Block, Join, block_diagram
from cabinwright.drawings.diagram import Line, Sheet, Text
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.drawings.diagram_text import CAPITAL
from drawings.diagram_check import (
    lines_over_texts,
    lines_through_symbols,
    nets,
    outside,
    symbols_over_symbols,
    texts_over_texts,
)


def chain(outputs: int = 7) -> tuple[list[Block], list[Join]]:
    blocks = [Block("radio", "Factory radio", ("clips at 4.1 V", "noise −92 dBV")), Block("dsp", "Processor")]
    joins = [Join("radio", "dsp", f"{side} {end}\n2.1 V at most") for side in ("left", "right") for end in "fr"]
    for k in range(outputs):
        blocks += [Block(f"amp {k // 4}", f"Amplifier {k // 4}", ("gain 24 dB",))] if k % 4 == 0 else []
        blocks.append(Block(f"speaker {k}", f"Loudspeaker {k}", ("4 Ω", "60 W")))
        joins += [Join("dsp", f"amp {k // 4}", f"out {k}"), Join(f"amp {k // 4}", f"speaker {k}", "15 V")]
    return blocks, joins


def clean(sheet: Sheet) -> None:
    assert texts_over_texts(sheet) == []
    assert symbols_over_symbols(sheet) == []
    assert lines_through_symbols(sheet) == []
    assert lines_over_texts(sheet, ["conductor", "wire"]) == []
    assert outside(sheet) == []
    assert all(item.size_mm * CAPITAL >= 2.2 for item in sheet.items if isinstance(item, Text))


def ends(sheet: Sheet) -> list[tuple[str, str]]:
    """(start, end) of every join, read back from the lines."""
    found: dict[str, dict[str, str]] = {}
    for number, net in enumerate(nets(sheet)):
        blocks = [name for kind, name, _ in net if kind == "block"]
        labels = [(name, pin) for kind, name, pin in net if kind == "join"]
        assert len(net) == 2 and len(blocks) == len(labels) == 1, f"net {number}: {net}"
        pin = next(pin for kind, _, pin in net if kind == "block")
        assert pin.startswith("out" if labels[0][1] == "start" else "in")
        found.setdefault(labels[0][0], {})[labels[0][1]] = blocks[0]
    return sorted((item["start"], item["end"]) for item in found.values())


def test_what_was_asked_for_is_drawn() -> None:
    blocks, joins = chain()
    distinct = {(join.start, join.end): join for join in joins}
    sheet = block_diagram(blocks, list(distinct.values()), title="Chain")
    clean(sheet)
    assert ends(sheet) == sorted(distinct)
    written = " ".join(item.text for item in sheet.items if isinstance(item, Text))
    for word in ("Chain", "Factory radio", "clips at 4.1 V", "2.1 V at most", "Loudspeaker 6"):
        assert word in written


def test_parallel_joins_and_many_outputs_stay_apart() -> None:
    blocks, joins = chain(24)
    notes = ["One sentence.", "Another one " * 40]
    sheet = block_diagram(blocks, joins, title="Chain", notes=notes)
    clean(sheet)
    assert len(nets(sheet)) == 2 * len(joins)
    assert sheet.width_mm > sheet.height_mm
    assert sheet_svg(sheet) == sheet_svg(block_diagram(blocks, joins, title="Chain", notes=notes))


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_any_chain_can_be_read_back(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 9))
    pairs = [(a, b) for a in range(count) for b in range(a + 1, count)]
    chosen = data.draw(st.lists(st.sampled_from(pairs), unique=True, max_size=14)) if pairs else []
    label = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z", "M")), max_size=30)
    blocks = [Block(str(k), f"block {k}", (data.draw(label),)) for k in range(count)]
    joins = [Join(str(a), str(b), data.draw(label)) for a, b in chosen]
    sheet = block_diagram(blocks, joins, title="any")
    assert symbols_over_symbols(sheet) == []
    assert lines_through_symbols(sheet) == []
    assert ends(sheet) == sorted((str(a), str(b)) for a, b in chosen)


def test_a_moved_line_would_be_noticed() -> None:
    """The reader of the drawing is no rubber stamp."""
    blocks, joins = chain(3)
    sheet = block_diagram(blocks, joins, title="Chain")
    line = next(item for item in sheet.items if isinstance(item, Line) and item.style == "conductor")
    shifted = replace(line, points=tuple((x, y + 3.0) for x, y in line.points))
    broken = replace(sheet, items=tuple(shifted if item is line else item for item in sheet.items))
    with pytest.raises(AssertionError, match=r"on 0 lines|without a dot|net"):
        ends(broken)


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one block"):
        block_diagram([], [], title="")
    with pytest.raises(KeyError, match="b"):
        block_diagram([Block("a", "a")], [Join("a", "b")], title="")
    with pytest.raises(ValueError, match="circle through a, b"):
        block_diagram([Block("a", "a"), Block("b", "b")], [Join("a", "b"), Join("b", "a")], title="")
    with pytest.raises(ValueError, match="one name"):
        block_diagram([Block("a", "a"), Block("a", "b")], [], title="")
