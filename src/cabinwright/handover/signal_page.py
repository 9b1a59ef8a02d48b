"""``signal.html``: what to set with a meter, inputs, noise, loads, presets, order of waking, and the radio's repair."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from cabinwright.build.document import Build
from cabinwright.drawings.blocks import TEXT_MM
from cabinwright.drawings.diagram import Line, Sheet
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.handover.pages import page
from cabinwright.handover.report import finding_groups
from cabinwright.handover.signal_findings import merged
from cabinwright.handover.signal_order import bypass_rows, preset_rows, turn_on_rows
from cabinwright.handover.signal_repair import repair_part
from cabinwright.handover.signal_words import ohm, volts
from cabinwright.handover.wording import decibels, hertz
from cabinwright.physics.factory import FactoryResponses
from cabinwright.stages.signal.gains import Gains
from cabinwright.stages.signal.gains_channel import ChannelGain
from cabinwright.stages.signal.gains_way import InputSetting
from cabinwright.stages.signal.loads import AmplifierLoad, LineLoad, Loads
from cabinwright.stages.signal.result import SignalResult

__all__ = ["amplifier_rows", "cropped", "gain_rows", "input_rows", "signal_html"]

NONE = "–"
AIR_MM = 3.0
LEAST_PX, MOST_PX = (
    9.5,
    14.0,
)  #: height of the diagram's letters on a screen, on which it rather scrolls than shrinks further
UPRIGHT_MM = 270.0  #: a wider drawing stands on a page across: its letters would be less than 2.1 mm on an upright A4
PLAIN_METER_HZ = 400.0  #: up to here a plain meter reads alternating voltage truly; common practice


def signal_html(
    build: Build,
    result: SignalResult,
    *,
    parts: Sequence[tuple[str, Sheet]] = (),
    captured: FactoryResponses | None = None,
) -> str:
    """The whole page as HTML that needs nothing else. ``parts``: the block diagram in pieces that fit a page, with titles."""
    gains, loads = result.gains, result.loads
    return page(
        "signal",
        styles=("report", "signal"),
        title=build.title,
        findings=finding_groups(merged(result.findings)),
        settings=gain_rows(gains) if gains else [],
        tuned=_tuned(gains) if gains else False,
        high=_high(gains) if gains else "",
        master=_master(gains) if gains else "",
        inputs=input_rows(gains) if gains else [],
        noise=_noise(gains) if gains else [],
        amplifiers=amplifier_rows(loads) if loads else [],
        crest=f"{loads.crest_db:g}" if loads else "",
        wanted=f"{loads.wanted_db:g}" if loads else "",
        presets=preset_rows(result.presets.to_dict()) if result.presets else [],
        turn_on=turn_on_rows(result.turn_on.to_dict()) if result.turn_on else None,
        repair=repair_part(result.factory, captured) if result.factory else None,
        diagrams=[_diagram(title, sheet) for title, sheet in parts],
        lying=any(_lying(sheet) for _, sheet in parts),
        bypasses=bypass_rows(result.service_bypasses.to_dict()) if result.service_bypasses else [],
    )


def cropped(diagram: str, sheet: Sheet) -> str:
    """Without the paper's empty margins, title and foot: what a screen has no room for."""
    left, top, right, bottom = _extent(sheet)
    view = f'viewBox="{left:.1f} {top:.1f} {right - left:.1f} {bottom - top:.1f}"'
    head, _, body = diagram[diagram.index("<svg") :].partition(">")
    head = re.sub(r'viewBox="[^"]*"', view, re.sub(r' (width|height)="[^"]*"', "", head))
    return f"{head}>{body}"


def _extent(sheet: Sheet) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of all that is drawn, with some air; lines may run outside every block."""
    boxes = [item.box for item in sheet.symbols]
    points = [point for item in sheet.items if isinstance(item, Line) for point in item.points]
    points += [(box.left, box.top) for box in boxes] + [(box.right, box.bottom) for box in boxes]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs) - AIR_MM, min(ys) - AIR_MM, max(xs) + AIR_MM, max(ys) + AIR_MM


def _diagram(title: str, sheet: Sheet) -> dict[str, Any]:
    left, _, right, _ = _extent(sheet)
    return {
        "title": title,
        "svg": Markup(cropped(sheet_svg(sheet), sheet)),
        "least_px": math.ceil((right - left) * LEAST_PX / TEXT_MM),
        "most_px": math.ceil((right - left) * MOST_PX / TEXT_MM),
    }


def _lying(sheet: Sheet) -> bool:
    left, _, right, _ = _extent(sheet)
    return right - left > UPRIGHT_MM


def _tuned(gains: Gains) -> bool:
    return any(item.load.heard.channel is not None for item in gains.channels.values())


def _high(gains: Gains) -> str:
    """The highest frequency to be read, where a plain meter would be wrong there."""
    most = max((item.meter_hz for item in gains.channels.values()), default=0.0)
    return hertz(most) if most > PLAIN_METER_HZ else ""


def _master(gains: Gains) -> str:
    level = min((item.master_db for item in gains.channels.values()), default=0.0)
    return decibels(level) if level < -0.05 else ""


def gain_rows(gains: Gains) -> list[dict[str, Any]]:
    """What to set on each amplifier channel with a meter, in words."""
    return [_setting(item) for item in gains.channels.values()]


def _setting(item: ChannelGain) -> dict[str, Any]:
    heard = item.load.heard
    tune = ""
    if heard.channel is not None:
        filters = item.tune_db - heard.gain_db
        tune = f"gain {decibels(heard.gain_db)}, filters {decibels(filters)} there"
    return {
        "channel": item.channel,
        "amplifier": item.load.name,
        "hertz": hertz(item.meter_hz),
        "level": decibels(item.meter_db),
        "volts": volts(item.meter_v),
        "flat": volts(item.flat_v),
        "tune": tune,
        "mark": volts(item.sensitivity_v),
        "ends": abs(item.short_db) > 0.05,
        "short": decibels(abs(item.short_db)),
        "held": item.held_to == "loudspeaker",
        "clips": volts(item.load.clip_v or math.nan),
    }


def input_rows(gains: Gains) -> list[dict[str, Any]]:
    """Each input of the processor and what arrives there, in words."""
    return [_input(item) for item in gains.inputs.values() if item.arrivals]


def _input(item: InputSetting) -> dict[str, Any]:
    row, setting = item.row, item.sensitivity_v
    adjustable = row.input_min_v is not None
    return {
        "name": row.name,
        "set": volts(setting) if setting is not None and adjustable else "fixed" if setting is not None else "digital",
        "range": f"{volts(row.input_min_v or 0.0)} to {volts(row.input_v or 0.0)}" if adjustable else NONE,
        "sources": [
            {
                "name": arrival.source,
                "level": decibels(_level(arrival.level * min(1.0, arrival.usable))),
                "clips": ", ".join(stage.name for stage in arrival.stages if stage.margin_db < -0.05),
                "converters": ", ".join(
                    f"{name} {'to' if chosen else 'at'} {decibels(gain)}"
                    for name, (gain, chosen) in arrival.converter_db.items()
                ),
            }
            for arrival in item.arrivals
        ],
    }


def _level(ratio: float) -> float:
    return 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def _noise(gains: Gains) -> list[dict[str, str]]:
    rows = []
    for name, item in gains.channels.items():
        entry, worst = item.to_dict(), item.worst
        rows.append(
            {
                "channel": name,
                "loudest": volts(worst.loudest_v if worst else item.clip_v),
                "noise": volts(entry["noise_v"]) if entry["noise_v"] else NONE,
                "snr": NONE if entry["snr_db"] is None else f"{entry['snr_db']:.0f} dB",
                "range": NONE if entry["dynamic_range_db"] is None else f"{entry['dynamic_range_db']:.0f} dB",
                "source": worst.source if worst else NONE,
                "first": _first(item),
                "from": entry["noise_from"] or NONE,
                "hiss": NONE if item.hiss_db is None else f"{item.hiss_db:.0f} dB".replace("-", "−"),
            }
        )
    return rows


def _first(item: ChannelGain) -> str:
    worst = item.worst
    if worst is None:
        return NONE
    return "all together" if len(worst.clips_first) == len(worst.margins_db) else ", ".join(worst.clips_first)


def amplifier_rows(loads: Loads) -> list[dict[str, Any]]:
    """Each amplifier and what hangs on its channels, in words."""
    return [_amplifier(item, loads) for item in loads.amplifiers]


def _amplifier(item: AmplifierLoad, loads: Loads) -> dict[str, Any]:
    count = item.row.channel_count
    return {
        "name": item.row.name,
        "supply": f"{item.supply_v:.2f} V",
        "from": item.supply_from,
        "regulated": item.row.regulated,
        "used": f"{item.used} of {count}" if count else str(item.used),
        "lines": [_line(line, loads) for line in item.lines],
    }


def _line(line: LineLoad, loads: Loads) -> dict[str, Any]:
    chosen, reached = line.chosen, line.tuned_seat_db
    shares = chosen.each_w if chosen else ()
    return {
        "name": line.line.name,
        "channel": line.line.from_,
        "how": chosen.words if chosen else NONE,
        "reason": line.reason,
        "bridged": line.line.bridged,
        "load": ohm(chosen.nominal_ohm) if chosen else NONE,
        "power": f"{chosen.power_w:.0f} W" if chosen else NONE,
        "each": [
            {
                "name": unit.name,
                "gets": f"{each:.0f} W",
                "music": f"{each * line.music_share:.0f} W",
                "stands": NONE if unit.pe_w is None else f"{unit.pe_w:.0f} W",
            }
            for unit, each in zip(line.units, shares, strict=bool(chosen))
        ],
        "travel": ", ".join(
            f"{1e3 * item.peak_m:.1f} of {1e3 * item.xmax_m:.1f} mm at {item.at_hz:.0f} Hz" for item in line.travels
        )
        or NONE,
        "seat": NONE if reached is None else f"{reached:.0f} dB",
        "headroom": NONE if reached is None else decibels(reached - loads.wanted_db),
        "others": [
            {
                "how": other.words,
                "load": ohm(other.nominal_ohm),
                "power": f"{other.power_w:.0f} W",
                "verdict": other.verdict,
                "chosen": other is chosen,
            }
            for other in line.found
        ]
        if len(line.found) > 1
        else [],
    }
