"""What two builds differ in as results: arrivals, levels, boxes, currents, masses, settings, findings; by name, with units.

Only figures that a person acts on, each to the digits that matter at the car; ``plan.json`` holds the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from cabinwright.findings import Finding
from cabinwright.history.design import Difference
from cabinwright.pipeline import STAGES, Results
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.voice.result import VoiceResult
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["result_differences", "settings_differences"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a result: a number shown in ``scale`` units to ``digits`` decimals, or words."""

    where: str
    value: float | str | None
    unit: str = ""
    scale: float = 1.0
    digits: int = 2

    @property
    def shown(self) -> str:
        """As it is compared and read: what differs only beyond its digits does not differ."""
        if self.value is None or self.value != self.value:
            return "none"
        if isinstance(self.value, str):
            return self.value
        number = f"{self.value * self.scale:.{self.digits}f}"
        number = number.lstrip("-") if float(number) == 0.0 else number
        return f"{number}{self.unit}" if self.unit == "°" else f"{number} {self.unit}".rstrip()


def result_differences(before: Results, after: Results) -> tuple[Difference, ...]:
    """Every figure that differs, stage by stage, and findings that came or went."""
    return tuple(_differences(before, after))


def settings_differences(before: Settings, after: Settings) -> tuple[Difference, ...]:
    """Everything to key in that differs between two tunes."""
    old, new = ({item.where: item for row in tune.channels for item in _channel(row)} for tune in (before, after))
    names = [*new, *(name for name in old if name not in new)]
    return tuple(item for name in names for item in _one(name, old.get(name), new.get(name)))


def _differences(before: Results, after: Results) -> Iterator[Difference]:
    for stage in STAGES:
        old, new = ({item.where: item for item in _figures(getattr(results, stage))} for results in (before, after))
        if (getattr(before, stage) is None) != (getattr(after, stage) is None):
            there = getattr(after, stage) is not None
            words = f"{stage}: " + ("worked out now" if there else f"no answer any more ({_why(after, stage)})")
            yield Difference(stage, "added" if there else "removed", None, None, "", words)
        for where in [*new, *(name for name in old if name not in new)]:
            yield from _one(f"{stage}: {where}", old.get(where), new.get(where))
        yield from _found(stage, before, after)


def _one(where: str, old: Figure | None, new: Figure | None) -> Iterator[Difference]:
    if old is None or new is None:
        known = new or old
        if known is not None and known.value is not None:
            what = "added" if old is None else "removed"
            was, now = (None, known.value) if old is None else (known.value, None)
            yield Difference(where, what, was, now, known.unit, f"{where}: {what}, {known.shown}")
    elif old.shown != new.shown:
        yield Difference(where, "changed", old.value, new.value, new.unit, f"{where}: {old.shown} → {new.shown}")


def _found(stage: str, before: Results, after: Results) -> Iterator[Difference]:
    old, new = ({(item.code, item.where): item for item in _findings(results, stage)} for results in (before, after))
    for key in new.keys() - old.keys():
        word = f"{stage}: new {new[key].severity}: {new[key].message}"
        yield Difference(f"{stage}: {key[1]}", "added", None, key[0], "", word)
    for key in old.keys() - new.keys():
        word = f"{stage}: gone: {old[key].severity}: {old[key].message}"
        yield Difference(f"{stage}: {key[1]}", "removed", key[0], None, "", word)


def _findings(results: Results, stage: str) -> tuple[Finding, ...]:
    answer = getattr(results, stage)
    return (*(answer.findings if answer is not None else ()), *results.stopped.get(stage, ()))


def _why(results: Results, stage: str) -> str:
    stopped = results.stopped.get(stage, ())
    return stopped[-1].message if stopped else results.skipped.get(stage, "")


def _figures(result: Any) -> Iterator[Figure]:
    for kind, read in _READERS.items():
        if isinstance(result, kind):
            yield from read(result)


def _survey(result: SurveyResult) -> Iterator[Figure]:
    for name, point in result.points.items():
        yield from (Figure(f"{name}, {axis}", at, "m", digits=3) for axis, at in zip("xyz", point.at_m, strict=True))
    yield Figure("suspect tapes", len(result.suspect_tapes), digits=0)


def _layout(result: LayoutResult) -> Iterator[Figure]:
    speed = result.speed_of_sound_m_s
    for name, place in result.places.items():
        for seat, heard in place.seats.items():
            at = f"{name}, {seat}"
            yield Figure(f"{at}, arrival", heard.distance_m / speed, "ms", 1e3)
            yield Figure(f"{at}, off axis", heard.off_axis_deg, "°", digits=0)
            yield Figure(f"{at}, reflections against direct sound", heard.early_db, "dB", digits=1)
            yield Figure(f"{at}, comparing figure", heard.sound_db, "dB", digits=1)
        for seat, gain in (place.low.gain_db if place.low else {}).items():
            yield Figure(f"{name}, {seat}, level 25 to 80 Hz", gain, "dB", digits=1)
    for pair in result.pairs:
        for seat, both in pair.seats.items():
            at = f"{pair.left} and {pair.right}, {seat}"
            yield Figure(f"{at}, delay on the {both.delay_on}", both.delay_s, "ms", 1e3)
            yield Figure(f"{at}, level left minus right", both.level_difference_db, "dB", digits=1)
    for role in dict.fromkeys(row.role for row in result.ranking):
        first = next(row for row in result.ranking if row.role == role)
        yield Figure(f"{role}, first choice", "none" if first.barred else " and ".join(first.places))


def _enclosure(result: EnclosureResult) -> Iterator[Figure]:
    for name, box in result.boxes.items():
        yield Figure(f"{name}, net volume", box.net_volume_m3, "L", 1e3, 1)
        yield Figure(f"{name}, f3", box.f3_hz, "Hz", digits=1)
        yield Figure(f"{name}, tuned to", box.tuning_hz, "Hz", digits=1)
        yield Figure(f"{name}, Qtc", box.q_tc)
        yield Figure(f"{name}, port length", box.port.length_m if box.port else None, "mm", 1e3, 0)
        yield Figure(f"{name}, port velocity", box.port.peak_velocity_m_s if box.port else None, "m/s", digits=1)
        yield Figure(f"{name}, power within xmax", box.linear_power_w, "W", digits=0)


def _power(result: PowerResult) -> Iterator[Figure]:
    for name, wire in result.wires.items():
        yield Figure(f"wire {name}, size", wire.gauge)
        yield Figure(f"wire {name}, current", wire.current_a, "A")
        yield Figure(f"wire {name}, drop", wire.drop_v, "V", digits=3)
    for name, fuse in result.fuses.items():
        yield Figure(f"fuse {name}, rating", fuse.rating_a, "A")
        yield Figure(f"fuse {name}, current", fuse.load_a, "A")
    for name, load in result.loads.items():
        yield Figure(f"load {name}, least voltage", load.voltage_v, "V")
    for promise in result.promises:
        yield Figure(f"promise “{promise.text}”", "holds" if promise.holds else "does not hold")


def _workshop(result: WorkshopResult) -> Iterator[Figure]:
    for sheet in dict.fromkeys(item.sheet for item in result.nesting):
        yield Figure(f"sheets of {sheet}", sum(item.sheet == sheet for item in result.nesting), digits=0)
    for row in result.cut_list:
        size = f"{1e3 * row['width_m']:.1f} by {1e3 * row['height_m']:.1f} mm, {row['count']} times"
        yield Figure(f"part {row['part']}", size)
    if result.mass is not None:
        yield Figure("mass added", result.mass.added_kg, "kg", digits=1)


def _tuning(result: TuningResult) -> Iterator[Figure]:
    for channel in result.settings.channels:
        yield from _channel(channel)
    for name, error in result.metrics.error_after_db.items():
        yield Figure(f"{name}, off the house curve", error, "dB", digits=1)
    yield Figure("sides arrive apart", result.metrics.arrival_difference_s, "µs", 1e6, 0)


def _channel(channel: ChannelSettings) -> Iterator[Figure]:
    yield Figure(f"{channel.name}, gain", channel.gain_db, "dB", digits=1)
    yield Figure(f"{channel.name}, polarity", channel.polarity)
    yield Figure(f"{channel.name}, delay", channel.delay_s, "ms", 1e3, 3)
    counts: dict[str, int] = {}
    for item in channel.filters:
        counts[item.kind] = counts.get(item.kind, 0) + 1
        many = "" if item.kind in ("high-pass", "low-pass") and counts[item.kind] == 1 else f" {counts[item.kind]}"
        words = [f"{item.frequency_hz:g} Hz"]
        words += [f"{item.gain_db:+.1f} dB"] if item.gain_db is not None else []
        words += [f"Q {item.q:.2f}"] if item.q is not None else []
        words += [f"{item.family} {item.slope_db_per_octave} dB/octave"] if item.family else []
        yield Figure(f"{channel.name}, {item.kind}{many}", ", ".join(words))


def _signal(result: SignalResult) -> Iterator[Figure]:
    for name, channel in (result.gains.channels if result.gains else {}).items():
        yield Figure(f"{name}, set the amplifier to", channel.aim_v, "V")
        yield Figure(f"{name}, input sensitivity", channel.sensitivity_v, "V")


def _voice(result: VoiceResult) -> Iterator[Figure]:
    for item in result.seats:
        image = item.image("proposed")
        if image is not None:
            yield Figure(f"{item.seat}, a voice in the middle, right of straight ahead", image.at_deg, "°", digits=0)
            yield Figure(f"{item.seat}, spread of its bands", image.spread_deg, "°", digits=0)


_READERS: dict[type, Any] = {
    SurveyResult: _survey,
    LayoutResult: _layout,
    SignalResult: _signal,
    EnclosureResult: _enclosure,
    PowerResult: _power,
    WorkshopResult: _workshop,
    TuningResult: _tuning,
    VoiceResult: _voice,
}
