"""What clips, what hums? Levels from source to loudspeaker, gains to set with a meter, what the cables pick up."""

from __future__ import annotations

from cabinwright.handover.signal_blocks import chain_parts
from cabinwright.handover.signal_page import signal_html
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import table
from cabinwright.web.words import _

__all__ = ["PAGE"]


def body(view: View) -> None:
    """Findings, hum of each cable, then the signal page."""
    result: SignalResult | None = view.result("signal")
    power: PowerResult | None = view.result("power")
    if result is not None:
        view.verdict("signal", _("Nothing clips and nothing hums, as far as the build says."))
    view.findings("signal")
    if power is not None and power.signal_cables:
        rows = [
            (name, f"{item.hum.level_db:.0f} dB", f"{item.hum.target_db:.0f} dB", item.hum.disturber or "–")
            for name, item in power.signal_cables.items()
        ]
        heads = (_("Cable"), _("Hum, below full level"), _("Wanted"), _("Loudest cause"))
        table(heads, rows, caption=_("What the signal cables pick up"))
    if view.why_not("signal") or result is None:
        return
    view.state.setdefault("opened", {"signal"})
    paper(
        view,
        "signal",
        _("The chain and its figures"),
        lambda: signal_html(view.desk.build, result, parts=chain_parts(view.desk.build, result)),
    )


PAGE = Page(
    "/signal", _("Signal"), _("What clips, what hums?"), body, ("signal", "power"),
    ("sources", "speakers", "amplifiers", "channels", "inputs", "presets", "turn_on", "factory_outputs", "signal_cables",
     "converters", "factory_recordings", "chain"),
)  # fmt: skip
