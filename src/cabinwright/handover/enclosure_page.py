"""``enclosure.html``: every box with its curves, what holds it back, its port, and which other boxes would fit."""

from __future__ import annotations

from typing import Any

from cabinwright.build.document import Build
from cabinwright.drawings.chart import Chart
from cabinwright.handover.enclosure_charts import box_charts, trade_off_charts
from cabinwright.handover.enclosure_shape import box_shape
from cabinwright.handover.pages import page
from cabinwright.handover.report import drawn, finding_groups
from cabinwright.handover.shown import box_piece
from cabinwright.handover.wording import length, volume
from cabinwright.handover.workshop_page import length_words
from cabinwright.stages.enclosure.result import Alternative, BoxResult, EnclosureResult, ModelResult
from cabinwright.units import from_si

__all__ = ["box_figures", "enclosure_html"]

NONE = "–"
FIGURES = (  # key, words, factor, unit, digits
    ("fs_hz", "resonance", 1.0, "Hz", 1),
    ("qes", "electrical Q", 1.0, "", 3),
    ("qms", "mechanical Q", 1.0, "", 2),
    ("qts", "total Q", 1.0, "", 3),
    ("vas_m3", "equivalent volume", 1e3, "L", 1),
    ("mms_kg", "moving mass", 1e3, "g", 1),
    ("cms_m_per_n", "compliance", 1e3, "mm/N", 3),
    ("bl_t_m", "force factor", 1.0, "T·m", 2),
    ("re_ohm", "resistance", 1.0, "Ω", 2),
    ("le_h", "inductance", 1e3, "mH", 2),
    ("sd_m2", "cone area", 1e4, "cm²", 0),
)


def enclosure_html(build: Build, result: EnclosureResult) -> str:
    """The whole page as HTML that needs nothing else."""
    return page(
        "enclosure",
        styles=("report", "layout", "shown"),
        title=build.title,
        findings=finding_groups(list(result.findings)),
        boxes=[
            _box(number, name, box, build.workshop.units) | _shape(build, name, box, number)
            for number, (name, box) in enumerate(result.boxes.items())
        ],
        models=[(name, _model(model)) for name, model in result.models.items()],
        assumptions=result.assumptions,
    )


def _shape(build: Build, name: str, box: BoxResult, number: int) -> dict[str, Any]:
    """Pictures, drawing and figures of a box with a shape; of one without, nothing."""
    piece = box_piece(build, name, box, number)
    if piece is None or box.shape is None:
        return {"shape": None, "solid": None}
    return {"shape": box_shape(box.shape, length_words(build)), "solid": piece}


def _number(value: float | None, unit: str, *, factor: float = 1.0, digits: int = 1) -> str:
    if value is None:
        return NONE
    return f"{value * factor:.{digits}f} {unit}".strip().replace("-", "−")


def _box(number: int, name: str, box: BoxResult, units: str) -> dict[str, Any]:
    charts = [_drawn(chart, caption, f"box{number}-{k}") for k, (caption, chart) in enumerate(box_charts(name, box))]
    trades = [
        _drawn(chart, words, f"trade{number}-{k}") for k, (words, chart) in enumerate(trade_off_charts(name, box))
    ]
    search = box.search
    return {
        "name": name,
        "kind": box.kind,
        "model": box.model,
        "speakers": ", ".join(box.speakers),
        "figures": box_figures(box, units=units),
        "wide": charts[:2],
        "charts": charts[2:],
        "trades": trades,
        "tried": None if search is None else f"{search.tried:,}".replace(",", "\u202f"),
        "fitting": None if search is None else f"{search.fitting:,}".replace(",", "\u202f"),
        "room": None if search is None else _number(search.room_m3, "L", factor=1e3),
        "alternatives": [_alternative(item) for item in box.alternatives],
    }


def _drawn(chart: Chart, caption: str, name: str) -> dict[str, Any]:
    return drawn(chart, name) | {"caption": caption, "says": chart.says}


def _small(value_m: float | None, units: str) -> str:
    if value_m is None:
        return NONE
    return length(value_m, units=units) if units == "US" else f"{from_si(value_m, symbol='mm'):.0f} mm"


def box_figures(box: BoxResult, *, units: str = "metric") -> list[tuple[str, str]]:
    """Names and values of one box, in words. ``units``: metric or US."""
    rows = [
        ("net volume", NONE if box.net_volume_m3 is None else volume(box.net_volume_m3, units=units)),
        ("resonance" if box.tuning_hz is None else "tuning", _number(box.system_resonance_hz, "Hz")),
        ("Q in all", _number(box.q_tc, "", digits=2)),
        ("half power at", _number(box.f3_hz, "Hz")),
        ("level well above it, 1 m", _number(box.passband_db, "dB")),
        ("power stated", _number(box.power_w, "W", digits=0)),
        ("linear from 20 Hz up to", _number(box.linear_power_w, "W", digits=0)),
        ("least impedance", _number(box.minimum_impedance_ohm, "Ω", digits=2)),
    ]
    if len(box.speakers) > 1:
        rows.append(("speakers wired in", box.wiring))
    if box.port is not None:
        port = box.port
        across = [port.diameter_m] if port.diameter_m is not None else [port.width_m, port.height_m]
        size = " × ".join(_small(part, units) for part in across)
        several = f"{port.count} of " if port.count > 1 else ""
        rows += [
            (
                "port (proposed)" if port.chosen else "port",
                f"{several}{size}, {_small(port.length_m, units)} long",
            ),
            ("it lies in the box", _run(box, units)),
            ("its air moves at most", f"{_number(port.peak_velocity_m_s, 'm/s')} of {_number(port.limit_m_s, 'm/s')}"),
            ("it sounds as a pipe at", _number(port.pipe_resonance_hz, "Hz", digits=0)),
        ]
    return [(words, text) for words, text in rows if text != NONE]


def _run(box: BoxResult, units: str) -> str:
    """As the shape has it, or as long as a cube of the volume asks for."""
    assert box.port is not None
    if box.shape is None:
        return f"with {box.port.bends_wanted} right-angle bends, were it a cube"
    runs = [run for run in box.shape.port_runs if run is not None]
    if len(runs) < max(1, len(box.shape.port_runs)):
        return "in no run that was tried"
    most = max(runs, key=lambda run: len(run.legs_m))
    symbol = "in" if units == "US" else "cm"
    legs = " + ".join(f"{from_si(leg, symbol=symbol):.1f}" for leg in most.legs_m)
    return most.name if len(most.legs_m) == 1 else f"with {most.name}: {legs} {symbol} along its middle"


def _alternative(item: Alternative) -> list[str]:
    port = NONE
    if item.radiator is not None:
        part = item.radiator
        added = _number(part.added_mass_kg, "g", factor=1e3, digits=0)
        port = f"{part.count} of {_number(part.sd_m2, 'cm²', factor=1e4, digits=0)}, {added} added"
    if item.port_diameter_m is not None:
        length = _number(item.port_length_m, "cm", factor=100.0, digits=0)
        port = f"{_number(item.port_diameter_m, 'mm', factor=1e3, digits=0)}, {length}"
    return [
        item.kind,
        _number(item.volume_m3, "L", factor=1e3),
        _number(item.tuning_hz, "Hz"),
        port,
        _number(item.f3_hz, "Hz"),
        _number(item.level_db, "dB"),
        _number(item.group_delay_s, "ms", factor=1e3),
        f"± {item.spread_db:.1f} dB",
        f"{item.score:.2f}",
    ]


def _model(model: ModelResult) -> list[tuple[str, str, str, str]]:
    rows = []
    for key, words, factor, unit, digits in FIGURES:
        fitted = (model.fitted or {}).get(key)
        measured, error = NONE, NONE
        if fitted is not None:
            measured = _number(fitted["value"], unit, factor=factor, digits=digits)
            error = f"± {100.0 * fitted['error_share']:.1f} %"
        rows.append(
            (words, _number(float(getattr(model.driver, key)), unit, factor=factor, digits=digits), measured, error)
        )
    return rows
