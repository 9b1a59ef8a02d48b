"""Will it hold? Switches for every state of the car, which loads then are live, and every single fault in turn."""

from __future__ import annotations

from cabinwright.drawings.diagram_svg import sheets_svg
from cabinwright.handover.power_page import fault_words, power_html
from cabinwright.handover.wiring_documents import wiring_diagram
from cabinwright.stages.power.result import PowerResult
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, button, choice, html, table, text
from cabinwright.web.words import _

__all__ = ["PAGE"]


def body(view: View) -> None:
    """Promises, switches and loads, faults, diagram; then the page for the bench."""
    result: PowerResult | None = view.result("power")
    if view.why_not("power") or result is None:
        view.findings("power")
        return
    view.findings("power")
    if result.promises:
        kept = [
            (item.text, _("✓ holds") if item.holds else _("✗ broken: ") + _words(item.counterexample))
            for item in result.promises
        ]
        table((_("Promise"), _("In every state of the car")), kept, caption=_("What was promised"))
    with box("section") as held:
        _by_hand(view, result)
    held.props["aria-live"] = "polite"
    _faults(view, result)
    text("h2", _("Wiring diagram"))
    html(view.kept("wiring", lambda: sheets_svg(wiring_diagram(view.desk.build, result))), "drawing")
    paper(view, "power", _("The figures behind it"), lambda: power_html(view.desk.build, result))


def _by_hand(view: View, result: PowerResult) -> None:
    """The states as switches, and what each load then does: as the stage worked it out for that combination."""
    chosen: dict[str, str] = view.state.setdefault("car", result.states.assignment(0))
    for item in result.states.variables:  # the build may have changed meanwhile
        if chosen.get(item.name) not in item.values:
            chosen[item.name] = item.values[0]
    names = {item.name for item in result.states.variables}
    at = result.states.where({name: value for name, value in chosen.items() if name in names}).argmax()
    text("h2", _("Switch the car by hand"))
    for item in result.states.variables:

        async def turn(value: str, name: str = item.name) -> None:
            chosen[name] = value
            await view.draw()

        choice(item.name, item.values, chosen[item.name], turn)
    with box("div", "tiles"):
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
    number = min(view.state.setdefault("fault", 0), len(told) - 1)
    ways = {False: range(number)[-1:], True: range(len(told))[number:][1:2]}

    async def step(forward: bool) -> None:
        view.state["fault"] = next(iter(ways[forward]), number)
        await view.draw()

    with box("div", "key"):
        text("p", f"{list(range(len(told) + 1))[1:][number]} / {len(told)}", "soft")
        text("p", told[number][0], "figure")
        text("p", told[number][1])
    with box("div", "row"):
        button(_("◀ Fault before"), lambda: step(False))
        button(_("Next fault ▶"), lambda: step(True))


def _words(assignment: dict[str, str] | None) -> str:
    return ", ".join(f"{name} = {value}" for name, value in (assignment or {}).items()) or _("always")


PAGE = Page(
    "/power", _("Power"), _("Will it hold?"), body, ("power",),
    ("supply", "wires", "fuses", "loads", "switches", "relays", "promises", "states"),
)  # fmt: skip
