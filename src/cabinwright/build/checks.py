"""Rules that join the tables of a build: names that must exist, be unique, or fit what the processor offers.

They run on the plain data as TOML gives it, so that a wrong number in one table never hides a wrong name in another.
Whatever has the wrong type is passed over here; the models speak about it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import ceil, floor
from typing import Any, get_args

from cabinwright.build.chain_checks import chain_check
from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.connectors import connector_check
from cabinwright.build.document import Build, Processor
from cabinwright.build.factory import factory_check
from cabinwright.build.fields import Role
from cabinwright.build.floor_checks import floor_check
from cabinwright.build.locate import Path
from cabinwright.build.loudspeaker_checks import loudspeaker_check
from cabinwright.build.place_checks import place_check
from cabinwright.build.power_checks import power_check
from cabinwright.build.service_checks import service_check
from cabinwright.build.workshop_checks import workshop_check

__all__ = ["HIGHEST", "SIDES", "cross_check", "fit_check"]

SIDES = ("left side", "right side", "everything")
"""What a verification recording may name instead of a channel."""
HIGHEST = 0.49
"""Where a sweep ends at the latest, as a part of the sample rate."""
_NAMED = {"seats": "seat", "speakers": "speaker", "channels": "channel", "microphone_positions": "microphone position"}
_ROLES: tuple[str, ...] = get_args(Role)


def cross_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between the tables of ``data`` (plain TOML data), one after another."""
    schema = data.get("schema")
    if schema == 1 and type(schema) is not int:  # true and 1.0 pass for 1 in Python
        yield Fault(("schema",), "must be 1", shown(schema), "Write schema = 1.")
    for table, kind in _NAMED.items():
        yield from repeated(rows_of(data, table), (table,), kind)
    yield from _reserved(data)
    yield from _channel_speakers(data)
    yield from _references(data)
    yield from _timing(data)
    yield from _crossovers(data)
    yield from place_check(data)
    yield from factory_check(data)
    yield from power_check(data)
    yield from loudspeaker_check(data)
    yield from connector_check(data)
    yield from workshop_check(data)
    yield from floor_check(data)
    yield from service_check(data)
    yield from chain_check(data)


def _reserved(data: Mapping[str, Any]) -> Iterator[Fault]:
    for number, row in rows_of(data, "channels"):
        if row.get("name") in SIDES:
            rule = "this name means several channels together and cannot be one channel's"
            yield Fault(("channels", number, "name"), rule, shown(row["name"]), 'Call it for example "left front".')


def _channel_speakers(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Each speaker exists and hangs on one channel only: two outputs on one voice coil destroy amplifiers."""
    speakers = names_of(data, "speakers")
    known, driven = set(speakers), dict[str, str]()
    for number, row in rows_of(data, "channels"):
        listed = row.get("speakers")
        for index, word in enumerate(listed if isinstance(listed, list) else []):
            if not isinstance(word, str):
                continue
            path: Path = ("channels", number, "speakers", index)
            if word not in known:
                yield unknown(path, word, speakers, "speaker", "speakers")
            elif word in driven:
                rule = f"this speaker is already driven by channel {driven[word]}"
                yield Fault(path, rule, shown(word), "Let one channel drive it and take it out of the other.")
            else:
                driven[word] = shown(row.get("name", "without a name"))


def _references(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Names that one table takes from another."""
    channels, seats = names_of(data, "channels"), names_of(data, "seats")
    positions = names_of(data, "microphone_positions")
    tuning = data.get("tuning")
    singles: list[tuple[int, Mapping[str, Any]]] = [(-1, tuning)] if isinstance(tuning, Mapping) else []
    wanted = [
        ("microphone_positions", "seat", seats, "seat", "seats"),
        ("tuning", "seat", seats, "seat", "seats"),
        ("tuning", "marker_channel", channels, "channel", "channels"),
        ("recordings", "channel", channels, "channel", "channels"),
        ("recordings", "position", positions, "microphone position", "microphone_positions"),
        ("verification_recordings", "channel", [*channels, *SIDES], "channel", "channels"),
        ("verification_recordings", "position", positions, "microphone position", "microphone_positions"),
    ]
    for table, key, choices, kind, source in wanted:
        known = set(choices)
        for number, row in singles if table == "tuning" else rows_of(data, table):
            word = row.get(key)
            if isinstance(word, str) and word not in known:
                path: Path = (table, key) if number < 0 else (table, number, key)
                yield unknown(path, word, choices, kind, source)


def _timing(data: Mapping[str, Any]) -> Iterator[Fault]:
    tuning = data.get("tuning")
    if not isinstance(tuning, Mapping) or "timing" in tuning:
        return
    rows = [*rows_of(data, "recordings"), *rows_of(data, "verification_recordings")]
    if any(row.get("kind") == "sweep" for _, row in rows):
        cure = 'Write timing = "loopback" (an electrical copy in channel 2) or timing = "marker".'
        yield Fault(("tuning", "timing"), "sweep recordings need to say how they keep time", "", cure)


def _crossovers(data: Mapping[str, Any]) -> Iterator[Fault]:
    """A wish names channels or roles that exist."""
    channels = names_of(data, "channels")
    known = {*channels, *_ROLES}
    for number, row in rows_of(data, "tuning", "crossovers"):
        for key in ("lower", "upper"):
            word = row.get(key)
            if isinstance(word, str) and word not in known:
                path: Path = ("tuning", "crossovers", number, key)
                yield unknown(path, word, [*channels, *_ROLES], "channel or role", "channels")


def fit_check(build: Build) -> Iterator[Fault]:
    """Wishes that the processor of a build, otherwise sound, cannot grant."""
    offered = build.processor or Processor()
    yield from _empty_grids(offered)
    yield from _sweep_fits(build, offered)
    yield from _rates(build, offered)
    families, slopes = offered.crossover_families, offered.crossover_slopes_db_per_octave
    for number, wish in enumerate(build.tuning.crossovers if build.tuning else ()):
        path: Path = ("tuning", "crossovers", number)
        slope = wish.slope_db_per_octave
        if wish.family and wish.family not in families:
            yield _not_offered((*path, "family"), wish.family, ", ".join(families))
        if slope is not None and slope not in slopes:
            yield _not_offered((*path, "slope_db_per_octave"), slope, ", ".join(map(str, slopes)))
        elif wish.family == "Linkwitz-Riley" and slope is not None and slope % 12:
            rule = "a Linkwitz-Riley slope is a multiple of 12 dB per octave"
            yield Fault((*path, "slope_db_per_octave"), rule, shown(slope), "Write 12, 24, 36 or 48, or Butterworth.")


def _empty_grids(offered: Processor) -> Iterator[Fault]:
    """A range that holds no multiple of its step leaves nothing to set. Ranges that hold zero cannot be empty."""
    for low, high, step in (
        ("gain_min_db", "gain_max_db", "gain_step_db"),
        ("peaking_q_min", "peaking_q_max", "peaking_q_step"),
    ):
        bottom, top, width = (float(getattr(offered, key)) for key in (low, high, step))
        if width < 1e-6 * max(abs(bottom), abs(top)):
            rule = f"a step is at least a millionth of {low} and {high}, or no processor shows it"
            yield Fault(("processor", step), rule, f"{width:g}", "Write the step as the processor's manual has it.")
        elif ceil(bottom / width - 1e-9) > floor(top / width + 1e-9):
            rule = f"no multiple of {step} lies between {low} and {high}, so there is nothing to set"
            got = f"{bottom:g} to {top:g} in steps of {width:g}"
            yield Fault(
                ("processor", step), rule, got, "Write the range and the step as the processor's manual has them."
            )


def _sweep_fits(build: Build, offered: Processor) -> Iterator[Fault]:
    """Two octaves of sweep are left below the end of what the sample rate carries."""
    if build.tuning is None:
        return
    sweep, rate = build.tuning.sweep, float(round(offered.sample_rate_hz))
    top = min(sweep.high_hz, HIGHEST * rate)
    if top < 4.0 * sweep.low_hz:
        rule = f"the sweep begins at a quarter of where it ends or below, and at {rate:g} Hz it ends at {top:.0f} Hz"
        cure = f"Write low_hz = {floor(top / 4.0)} or less, or correct sample_rate_hz in [processor]."
        yield Fault(("tuning", "sweep", "low_hz"), rule, f"{sweep.low_hz:g} Hz", cure)


def _rates(build: Build, offered: Processor) -> Iterator[Fault]:
    """The sample rate is a whole number, and a filter that was on while recording lies below half of it."""
    rate = offered.sample_rate_hz
    if abs(rate - round(rate)) > 1e-6:
        cure = f"Write {round(rate)}, or what the processor's manual says; 44100, 48000 and 96000 are usual."
        yield Fault(("processor", "sample_rate_hz"), "a sample rate is a whole number of hertz", f"{rate:.10g}", cure)
    for number, channel in enumerate(build.channels):
        for index, item in enumerate(channel.recorded_with):
            if item.frequency_hz >= 0.5 * rate:
                path: Path = ("channels", number, "recorded_with", index, "frequency_hz")
                rule = f"the filter's corner lies below half the processor's sample rate, {0.5 * rate:g} Hz"
                cure = "Write the corner as the processor shows it; a bare number counts in Hz."
                yield Fault(path, rule, f"{item.frequency_hz:g} Hz", cure)


def _not_offered(path: Path, wish: str | int, listed: str) -> Fault:
    cure = "Ask for one it offers, or correct [processor]."
    return Fault(path, f"the processor does not offer this (it has {listed})", shown(wish), cure)
