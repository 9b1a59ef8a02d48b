"""``signal.html``: nothing of the diagram is cut off or too small, a bypass with its steps, findings said once."""

from __future__ import annotations

import re

import pytest

from cabinwright.build.document import Build
from cabinwright.drawings.blocks import Block, Join, block_diagram
from cabinwright.drawings.diagram import Line, Sheet, Text
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.findings import Finding, finding
from cabinwright.handover.signal_blocks import chain_blocks, chain_parts
from cabinwright.handover.signal_documents import signal_documents
from cabinwright.handover.signal_findings import merged
from cabinwright.handover.signal_page import cropped
from cabinwright.stages.signal import SignalResult, run
from stages.chains import chained

BYPASS = """\
[supply]
nominal_v = 13.8
[[states]]
name = "service"
values = ["off", "on"]
[[switches]]
name = "bypass"
from = "bus a"
to = "bus b"
closed_when = {service = "on"}
[[service_bypasses]]
name = "scan tool"
bus = "body bus"
from = "bus a"
to = "bus b"
when = {service = "on"}
steps = ["Turn the <switch> to on.", "Work."]
"""


def worked(extra: str = "") -> tuple[Build, SignalResult]:
    build = chained(extra=extra)
    result = run(build)
    assert result is not None
    return build, result


def page(extra: str = "") -> str:
    return str(signal_documents(*worked(extra))["signal.html"])


def view(svg: str) -> tuple[float, float, float, float]:
    left, top, width, height = (float(part) for part in re.findall(r'viewBox="([^"]*)"', svg)[0].split())
    return left, top, left + width, top + height


def sheets() -> list[Sheet]:
    """The halves of a chain, and one whose lines run round a block that stands in their way."""
    blocks = [Block(name, name) for name in "abcdef"]
    joins = [Join("a", "b"), Join("b", "c"), Join("c", "d"), Join("d", "e"), Join("e", "f"), Join("a", "f", "far")]
    return [sheet for _, sheet in chain_parts(*worked())] + [block_diagram(blocks, joins, title="round")]


@pytest.mark.parametrize("number", range(3))
def test_nothing_drawn_is_cut_off(number: int) -> None:
    sheet = sheets()[number]
    left, top, right, bottom = view(cropped(sheet_svg(sheet), sheet))
    points = [point for item in sheet.items if isinstance(item, Line) for point in item.points]
    points += [(box.left, box.top) for box in (item.box for item in sheet.symbols)]
    points += [(box.right, box.bottom) for box in (item.box for item in sheet.symbols)]
    assert all(left < x < right and top < y < bottom for x, y in points)
    assert right - left < sheet.width_mm  # and the paper's margins are gone


def test_letters_are_at_least_nine_pixels_high() -> None:
    """By the page's own least width: below it the drawing scrolls."""
    html = page()
    widths = [int(text) for text in re.findall(r"min-width: (\d+)px", html)]
    assert len(widths) == 2
    drawings = [part for part in re.findall(r"<svg.*?</svg>", html, re.S) if "processor" in part]
    for least, drawing in zip(widths, drawings, strict=True):
        left, _, right, _ = view(drawing)
        letters = min(float(size) for size in re.findall(r'font-size="([\d.]+)"', drawing))
        assert letters * least / (right - left) >= 9.0
        assert least <= 1100  # so a usual screen needs no scrolling at all


def test_both_halves_hold_the_whole_chain() -> None:
    build, result = worked()
    blocks, joins = chain_blocks(build, result)
    drawn = {item.text for _, sheet in chain_parts(build, result) for item in sheet.items if isinstance(item, Text)}
    assert all(any(word in drawn for word in (block.title, block.title.split()[0])) for block in blocks)
    assert sum(len([s for s in sheet.symbols if s.kind == "join"]) for _, sheet in chain_parts(build, result)) == len(
        joins
    )


def test_a_service_bypass_stands_there_with_its_steps() -> None:
    html = page(BYPASS)
    assert "Service bypass" in html and "body bus" in html and "service on" in html
    assert "Turn the &lt;switch&gt; to on." in html and "<switch>" not in html
    assert "Proved by the wiring in the one combination" in html
    broken = page(BYPASS.replace('closed_when = {service = "on"}', 'closed_when = {service = "off"}'))
    assert "The wiring breaks it, with service on" in broken
    assert "Service bypass" not in page()


def sagging(where: str, value: float, limit: float = 16.2) -> Finding:
    return finding("signal.meter_sags", where=where, value=value, limit=limit, unit="V", lower=f"{value - limit:.1f}")


def test_what_is_alike_is_said_once() -> None:
    found = merged(
        [sagging(f"front: {k}", 16.7) for k in (1, 2, 3)] + [sagging("rear: 1", 16.7), sagging("bass: 1", 30.0)]
    )
    assert found[0].message.startswith("front: 1, 2 and 3 and rear: 1: 16.7 V cannot be set")
    assert len(found) == 2  # the last has another cure
    assert "30.0 V" in found[1].message


def test_other_figures_stand_behind_the_first() -> None:
    def short(where: str, value: float) -> Finding:
        by = f"{105 - value:.1f}"
        return finding("signal.headroom_short", where=where, value=value, limit=105, unit="dB", by=by)

    (found,) = merged([short("front: 1", 101.0), short("front: 2", 99.0)])
    assert found.message.startswith("front: 1: 101.0 dB of peak level") and found.message.endswith("front: 2 (99.0 dB)")


def test_different_loudspeakers_are_never_merged() -> None:
    def burns(where: str, speaker: str) -> Finding:
        return finding(
            "signal.sine_burns", where=where, value=70, limit=30, unit="W", speaker=speaker, music="9", crest="12"
        )

    assert len(merged([burns("a: 1", "left"), burns("a: 2", "right")])) == 2
    assert merged([]) == []


def test_sounds_that_a_preset_loses_stand_together() -> None:
    html = page('[[presets]]\nname = "Bare"\nsource = "player"\n')
    assert html.count("preset “Bare” loses") == 1
    assert "preset “Bare” loses what a driver must hear (warnings, navigation and parking)" in html
