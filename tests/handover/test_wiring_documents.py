"""The wiring diagram of whole builds: read back from its lines, it is the build's own netlist, and it can be read on A3."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.drawings.diagram import Sheet, Text
from cabinwright.handover.documents import plan_documents
from cabinwright.handover.power_page import power_html
from cabinwright.handover.wiring_documents import wiring_diagram, wiring_documents
from cabinwright.pipeline import Results
from cabinwright.stages import power
from cabinwright.stages.power.result import PowerResult
from drawings.diagram_check import over, text_box
from drawings.invented_wiring import invented_wiring
from drawings.test_wiring import Netlist, clean, netlist, wires_drawn, words_in_boxes
from handover.html_check import Page
from stages.wired import CAR

DEMO = Path(__file__).parents[2] / "demo" / "build" / "build.toml"
SIZES = [(40, 20), (40, 12), (25, 20), (8, 3), (40, 6)]


def solved(text: str) -> tuple[Build, PowerResult]:
    build = parse(text)
    result = power.run(build)
    assert result is not None
    return build, result


def wanted(build: Build) -> Netlist:
    """What the build's own tables say is joined to what."""
    found: Netlist = Counter()

    def add(kind: str, mark: str, **ends: str | None) -> None:
        found[kind, mark, tuple(sorted((pin.replace("_", "-"), node) for pin, node in ends.items() if node))] += 1

    assert build.supply is not None
    for kind, there in (("battery", build.supply.battery), ("alternator", build.supply.alternator)):
        if there:
            add(kind, kind, a="battery plus", b="chassis")
    for kind, letter, rows in (
        ("wire", "W", build.wires),
        ("fuse", "F", build.fuses),
        ("contact", "S", build.switches),
    ):
        for number, row in enumerate(rows, 1):
            add(kind, f"{letter}{number}", a=row.from_, b=row.to)
    for number, relay in enumerate(build.relays, 1):
        add("contact" if relay.at_rest == "open" else "break contact", f"K{number}", a=relay.from_, b=relay.to)
        add("coil", f"K{number}", a=relay.coil_from, b=relay.coil_to)
    counted = {"A": 0, "E": 0}
    for load in build.loads:
        letter = "A" if load.amplifier else "E"
        counted[letter] += 1
        lit = ("lamp" in load.name or "light" in load.name) and not load.remote
        kind = "amplifier" if load.amplifier else "lamp" if lit else "load"
        add(kind, f"{letter}{counted[letter]}", a=load.from_, b=load.to, turn_on=load.remote)
    return found


def checked(text: str) -> tuple[Build, PowerResult, tuple[Sheet, ...]]:
    build, result = solved(text)
    sheets = wiring_diagram(build, result)
    for sheet in sheets:
        clean(sheet)
        words_in_boxes(sheet)
        wires_drawn(sheet)
    assert netlist(sheets) == wanted(build)
    return build, result, sheets


def labels(sheets: tuple[Sheet, ...], mark: str) -> str:
    """The words in the box of the part with this mark, as one line."""
    found = []
    for sheet in sheets:
        for symbol in sheet.symbols:
            if symbol.name == mark:
                texts = [item for item in sheet.items if isinstance(item, Text) and over(text_box(item), symbol.box)]
                found.append(" ".join(item.text for item in sorted(texts, key=lambda item: item.at[1])))
    assert len(found) == 1, f"{mark} is there {len(found)} times"
    return re.sub(r"\s+", " ", found[0])


def test_the_demo_can_be_wired_from_its_diagram() -> None:
    build, result, sheets = checked(DEMO.read_text(encoding="utf-8"))
    assert len(sheets) == 1, "the demo is one A3"
    for number, wire in enumerate(build.wires, 1):
        words = labels(sheets, f"W{number}")
        found = result.wires[wire.name]
        assert words.startswith(f"W{number} {found.gauge.replace('mm2', 'mm²')} {wire.colour}")
        assert float(words.split()[-3]) == pytest.approx(found.current_a, rel=0.02)
    for number, fuse in enumerate(build.fuses, 1):
        assert labels(sheets, f"F{number}").startswith(f"F{number} {fuse.rating_a:g} A {fuse.name}")
    assert "closed when boot = open" in labels(sheets, "S2")
    assert labels(sheets, "A1").startswith("+ − turn-on A1 front amplifier 500 W, class D")


@pytest.mark.parametrize(("number", "size"), list(enumerate(SIZES)))
def test_builds_of_every_size_can_be_wired_from(number: int, size: tuple[int, int]) -> None:
    wires, loads = size
    build, _, sheets = checked(invented_wiring(number, wires=wires, loads=loads))
    assert (len(build.wires), len(build.loads)) == size
    for row in range(1, wires + 1):
        assert labels(sheets, f"W{row}").startswith(f"W{row} ")


def test_numbers_are_those_of_the_harness_table() -> None:
    build, result, sheets = checked(CAR)
    text = Page(power_html(build, result)).text
    for number, wire in enumerate(build.wires, 1):
        assert re.search(rf"W{number}\s+{re.escape(wire.name)}", text)
        assert labels(sheets, f"W{number}")


def test_a_second_battery_and_its_isolator_are_on_it() -> None:
    text = CAR.replace(
        "[supply]",
        '[supply]\nsecond_battery = {capacity_ah = 60, resistance_ohm = 0.008}\nisolator = {closed_when = {key = "on"}}',
    )
    build, result = solved(text)
    sheets = wiring_diagram(build, result)
    found = netlist(sheets)
    assert found["battery", "second battery", (("a", "second battery plus"), ("b", "chassis"))] == 1
    assert found["contact", "isolator", (("a", "battery plus"), ("b", "second battery plus"))] == 1
    assert "closed when key = on" in labels(sheets, "isolator")


def test_the_plan_writes_both_files_and_they_are_the_same_each_time() -> None:
    build, result = solved(CAR)
    first = wiring_documents(build, result)
    assert first == wiring_documents(build, result)
    assert set(first) == {"wiring.svg", "wiring.pdf"}
    svg, pdf = first["wiring.svg"], first["wiring.pdf"]
    assert isinstance(svg, str) and svg.startswith("<svg ") and isinstance(pdf, bytes) and pdf.startswith(b"%PDF")
    plan = plan_documents(build, Results(power=result))
    assert plan["wiring.svg"] == first["wiring.svg"] and plan["wiring.pdf"] == first["wiring.pdf"]
    assert "wiring.svg" not in plan_documents(build, Results())


def test_names_are_escaped_and_rules_without_end_are_cut() -> None:
    evil = "<b>x</b> & \"$y$\" 'z'"
    rules = ", ".join('{boot = "open"}' for _ in range(60))
    text = CAR.replace('closed_when = {boot = "open"}', f"closed_when = [{rules}]")
    build, result = solved(text.replace("An invented car", evil.replace('"', '\\"')))
    svg = str(wiring_documents(build, result)["wiring.svg"])
    assert "<b>" not in svg and "&lt;b&gt;" in svg
    assert "as the build says" in " ".join(re.findall(r">([^<]+)</text>", svg))
    for sheet in wiring_diagram(build, result):
        clean(sheet)
