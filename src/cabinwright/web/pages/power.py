"""Will it hold? Switches for every state of the car, which loads then are live, and every single fault in turn."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nicegui import run, ui
from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from cabinwright.drawings.diagram_svg import sheets_svg
from cabinwright.handover.power_page import fault_words, power_html
from cabinwright.handover.wiring_documents import wiring_diagram
from cabinwright.stages.power.result import PowerResult
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, button, table, text
from cabinwright.web.words import _

__all__ = ["PAGE"]

LATER_S = 0.1


def body(view: View) -> None:
    """Promises, switches and loads, faults, diagram; then the page for the bench."""
    result: PowerResult | None = view.result("power")
    if view.why_not("power") or result is None:
        view.findings("power")
        return
    view.verdict("power", _("It holds in every state of the car."))
    view.findings("power")
    if result.promises:
        kept = [
            (item.text, _("✓ holds") if item.holds else _("✗ broken: ") + _words(item.counterexample))
            for item in result.promises
        ]
        table((_("Promise"), _("In every state of the car")), kept, caption=_("What was promised"))
    _by_hand(view, result)
    _faults(view, result)
    _diagram(view, result)
    paper(view, "power", _("The figures behind it"), lambda: power_html(view.desk.build, result))


def _diagram(view: View, result: PowerResult) -> None:
    """The drawing takes longer than an answer may: what was drawn before stands there, and says so, until it is done."""
    build, seen = view.desk.build, view.seen
    drawn_for, before = view.state.get("wiring", (None, ""))
    text("h2", _("Wiring diagram"))
    said = text("p", "", "soft")
    sheet = ui.html(before, sanitize=False).classes("drawing")
    sheet.props["tabindex"] = 0
    if drawn_for == seen:
        return
    said.text = _("Drawing …")

    async def draw() -> None:
        made = await run.io_bound(lambda: sheets_svg(wiring_diagram(build, result)))
        if made is None or sheet.is_deleted:  # the page was shown anew meanwhile, and draws it again
            return
        view.state["wiring"] = (seen, made)
        sheet.content, said.text = made, ""

    ui.timer(LATER_S, draw, once=True)


def _by_hand(view: View, result: PowerResult) -> None:
    """The states as switches, and what each load then does: as the stage worked it out for that combination."""
    chosen: dict[str, str] = view.state.setdefault("car", result.states.assignment(0))
    for item in result.states.variables:  # the build may have changed meanwhile
        if chosen.get(item.name) not in item.values:
            chosen[item.name] = item.values[0]
    text("h2", _("Switch the car by hand"))
    with box("div", "switches"):
        for item in result.states.variables:
            _switch(item.name, item.values, chosen, lambda: _loads(loads, result, chosen))
    loads = box("div", "tiles")
    loads.props["aria-live"] = "polite"
    _loads(loads, result, chosen)


def _switch(name: str, values: Sequence[str], chosen: dict[str, str], told: Callable[[], None]) -> None:
    """One state; the buttons stay where they are, so that quick hands and the keyboard's focus are not lost."""
    made: dict[str, TextElement] = {}

    def mark() -> None:
        for value, option in made.items():
            option.text = ("✓ " if value == chosen[name] else "") + value
            option.props["aria-pressed"] = str(value == chosen[name]).lower()
            option.update()

    def turn(value: str) -> None:
        chosen[name] = value
        mark()
        told()

    with box("fieldset", "choice"):
        text("legend", name)
        for value in values:
            made[value] = button(value, lambda value=value: turn(value), "option")
    mark()


def _loads(held: Element, result: PowerResult, chosen: dict[str, str]) -> None:
    names = {item.name for item in result.states.variables}
    at = result.states.where({name: value for name, value in chosen.items() if name in names}).argmax()
    held.clear()
    with held:
        for name, load in result.loads.items():
            live = bool(load.on[at])
            with box("div", "tile on" if live else "tile"):
                text("p", name)
                text("p", _("● ON") if live else _("○ off"), "figure")
                if live:
                    text("p", f"{load.by_voltage_v[at]:.2f} V, {load.current_a:.1f} A", "soft")


def _faults(view: View, result: PowerResult) -> None:
    told = [row for fault in result.faults if (row := fault_words(fault))]
    text("h2", _("One thing breaks"))
    if not told:
        text("p", _("No single fault does anything that was not meant."))
        return
    numbers = list(range(len(told)))
    if view.state.get("fault") not in numbers:
        view.state["fault"] = numbers[0]
    with box("div", "key") as key:
        count, title, words = text("p", "", "soft"), text("p", "", "figure"), text("p", "")
    key.props["aria-live"] = "polite"

    def tell() -> None:
        at = view.state["fault"]
        count.text = f"{len(told[: at + 1])} / {len(told)}"
        title.text, words.text = told[at]
        for made, near in ((before, numbers[:at]), (after, numbers[at:][1:])):
            made.props["aria-disabled"] = str(not near).lower()
            made.update()

    def step(near: Callable[[int], list[int]]) -> None:
        view.state["fault"] = next(iter(near(view.state["fault"])), view.state["fault"])
        tell()

    with box("div", "row"):
        before = button(_("◀ Fault before"), lambda: step(lambda at: numbers[:at][-1:]))
        after = button(_("Next fault ▶"), lambda: step(lambda at: numbers[at:][1:2]))
    tell()


def _words(assignment: dict[str, str] | None) -> str:
    return ", ".join(f"{name} = {value}" for name, value in (assignment or {}).items()) or _("always")


PAGE = Page(
    "/power", _("Power"), _("Will it hold?"), body, ("power",),
    ("supply", "wires", "connectors", "fuses", "loads", "switches", "relays", "promises", "states", "service_bypasses"),
)  # fmt: skip
