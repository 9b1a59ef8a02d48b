"""The wiring diagram of a build: its tables and the power stage's figures turned into what the drawing knows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from cabinwright.build.designations import Designations, designations
from cabinwright.build.document import Build
from cabinwright.build.electrical import BATTERY_PLUS, CHASSIS, Load
from cabinwright.drawings.diagram import Sheet
from cabinwright.drawings.diagram_svg import sheet_svg, sheets_svg
from cabinwright.drawings.pdf import pdf_from_svg
from cabinwright.drawings.wiring import Part
from cabinwright.drawings.wiring_frame import Titles
from cabinwright.drawings.wiring_sheets import wiring_sheets
from cabinwright.stages.power.result import PowerResult

__all__ = ["wiring_diagram", "wiring_documents", "wiring_parts"]

LONGEST_RULE = 160  #: letters of a condition that are written out
LAMP_WORDS = {"lamp", "lamps", "light", "lights", "led", "leds", "lighting", "strip", "strips", "bulb", "bulbs"}


def wiring_documents(build: Build, result: PowerResult) -> dict[str, str | bytes]:
    """``wiring.svg`` (all sheets below one another) and ``wiring.pdf`` (a page each, A3 lying); nothing to draw, no files."""
    sheets = wiring_diagram(build, result)
    if not sheets:
        return {}
    pages = [sheet_svg(sheet) for sheet in sheets]
    title = f"{build.title}: wiring diagram"
    return {"wiring.svg": sheets_svg(sheets), "wiring.pdf": pdf_from_svg(pages, paper="A3", title=title)}


def wiring_diagram(build: Build, result: PowerResult) -> tuple[Sheet, ...]:
    """The sheets as neutral drawings."""
    notes = ("Wires are numbered as in the harness table. 2/C4 is sheet 2, zone C4.",)
    return wiring_sheets(wiring_parts(build, result), Titles(build.title, "Wiring diagram", notes))


def wiring_parts(build: Build, result: PowerResult) -> list[Part]:
    """Every part, sources first, each kind in the build's order."""
    marks = designations(build)
    return [
        *_sources(build),
        *_wires(build, result, marks),
        *_fuses(build, result, marks),
        *_contacts(build, marks),
        *_loads(build, result, marks),
    ]


def _sources(build: Build) -> Iterator[Part]:
    supply = build.supply
    if supply is None:
        return
    ends = (BATTERY_PLUS, CHASSIS)
    size = (f"{supply.battery.capacity_ah:g} Ah",) if supply.battery else ()
    yield Part("battery", "", "battery", ends, (*size, f"{supply.nominal_v:g} V running"))
    if supply.alternator:
        yield Part("alternator", "", "alternator", ends, (f"{supply.alternator.rated_a:g} A", "the car's own"))
    second = supply.second_battery
    if second:
        yield Part("battery", "", "second battery", (second.plus, CHASSIS), (f"{second.capacity_ah:g} Ah",))
    if second and supply.isolator:
        lines = ("isolator", *_closed(supply.isolator.closed_when))
        yield Part("contact", "", "isolator", (BATTERY_PLUS, second.plus), lines[1:])


def _wires(build: Build, result: PowerResult, marks: Designations) -> Iterator[Part]:
    for wire in build.wires:
        found = result.wires.get(wire.name)
        size = found.gauge if found else wire.gauge.text if wire.gauge else "size open"
        lines = [size.replace("mm2", "mm²"), wire.colour or "no colour"]
        lines += ["copper-clad aluminium"] if wire.material != "copper" else []
        lines += ["shield"] if wire.shield else []
        lines += [f"{_amperes(found.current_a)} peak"] if found else []
        yield Part("wire", marks["wire", wire.name], wire.name, (wire.from_, wire.to), tuple(lines))


def _fuses(build: Build, result: PowerResult, marks: Designations) -> Iterator[Part]:
    for fuse in build.fuses:
        found = result.fuses.get(fuse.name)
        rating = found.rating_a if found else fuse.rating_a
        lines = ["rating open" if rating is None else f"{rating:g} A"]
        lines += [f"{_amperes(found.load_a)} peak"] if found else []
        yield Part("fuse", marks["fuse", fuse.name], fuse.name, (fuse.from_, fuse.to), tuple(lines))


def _contacts(build: Build, marks: Designations) -> Iterator[Part]:
    for switch in build.switches:
        yield Part(
            "contact", marks["switch", switch.name], switch.name, (switch.from_, switch.to), _closed(switch.closed_when)
        )
    for relay in build.relays:
        kind = "contact" if relay.at_rest == "open" else "break contact"
        yield Part(kind, marks["relay", relay.name], relay.name, (relay.from_, relay.to))
        coil = (relay.coil_from, relay.coil_to)
        yield Part("coil", marks["relay", relay.name], relay.name, coil, (_amperes(relay.coil_a),))


def _closed(alternatives: tuple[Mapping[str, str], ...]) -> tuple[str, ...]:
    rules = [
        " and ".join(f"{name} =\N{NO-BREAK SPACE}{value}" for name, value in table.items()) for table in alternatives
    ]
    text = " or ".join(rules)
    return (f"closed when {text if len(text) <= LONGEST_RULE else f'{text[:LONGEST_RULE]} …, as the build says'}",)


def _loads(build: Build, result: PowerResult, marks: Designations) -> Iterator[Part]:
    for load in build.loads:
        found = result.loads.get(load.name)
        lines = []
        if load.amplifier:
            channels = load.amplifier.channels
            count = channels if isinstance(channels, int) else len(channels) if channels else None
            lines.append(f"{load.amplifier.output_w:g} W, class {load.amplifier.class_}")
            lines += [f"{count} channel{'s' if count > 1 else ''}"] if count else []
        elif load.power_w is not None:
            lines.append(f"{load.power_w:g} W")
        lines += [f"{_amperes(found.current_a)} peak"] if found else []
        yield Part(_kind(load), marks["load", load.name], load.name, (load.from_, load.to), tuple(lines), load.remote)


def _kind(load: Load) -> str:
    if load.amplifier:
        return "amplifier"
    lit = load.strip is not None or LAMP_WORDS & set(load.name.casefold().replace("-", " ").split())
    return "lamp" if lit and load.remote is None else "load"


def _amperes(value: float) -> str:
    if value < 0.1:
        return f"{1e3 * value:.0f} mA" if value >= 5e-4 else "0 A"
    return f"{value:.2f} A" if value < 10.0 else f"{value:.0f} A"
