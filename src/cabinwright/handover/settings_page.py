"""What goes into the processor: ``settings.json`` for machines and ``settings.html`` to key in beside the car."""

from __future__ import annotations

from typing import Any

from cabinwright.build.document import Build
from cabinwright.handover.json_text import json_text
from cabinwright.handover.pages import css_string, page
from cabinwright.handover.wording import crossover_words, decibels, delay_words, hertz, ratio, signed
from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

__all__ = ["CAUTION", "STEPS", "channel_card", "settings_files", "settings_html", "settings_json"]

SCHEMA = 1  #: version of settings.json
ROWS_PER_COLUMN = 12  #: a longer list of filters stands in two columns

CAUTION = (
    "The instructions of the makers of the processor, amplifiers, loudspeakers and vehicle go before this page. "
    "Work on the vehicle's wiring and safety systems belongs to licensed practice."
)
STEPS = (
    "Save what the processor holds now, so that you can go back.",
    "Turn the main level right down and mute every output, or switch the amplifiers off.",
    "With everything still muted, clear every channel: no filters, no delay, polarity normal. A high-pass that protected "
    "a tweeter while recording goes as well: the next step puts the one of these settings in its place.",
    "Key in the high-pass and low-pass of every channel, tweeters first, and unmute nothing until all of them stand. "
    "No tweeter may play before its high-pass stands: it protects it.",
    "Then polarity, delay, gain and the peaking filters, channel by channel.",
    "Read each card back from the processor, tick it, and save.",
    "Unmute one channel at a time at low level. The right loudspeaker must play, and nothing else.",
    "Raise the level slowly. Stop at any distortion or smell, and spare your hearing: "
    "step out of the car or wear protection for loud tests.",
)


def settings_json(settings: Settings, *, title: str = "") -> str:
    """Text of ``settings.json``: what names it, then ``Settings.to_dict``."""
    named = {"schema": SCHEMA, **({"title": title} if title else {}), "fingerprint": settings.fingerprint}
    return json_text({**named, **settings.to_dict()})


def settings_html(build: Build, result: TuningResult) -> str:
    """Text of ``settings.html``."""
    settings, speed = result.settings, result.sound_speed_m_s
    notes = (
        f"cm and inches are the way that sound goes in the delay at {speed:.1f} m/s. Where the processor takes "
        "milliseconds, use those. Some processors ask for the distance from loudspeaker to listener instead; "
        "that is another number and is not on this page.",
        "Inverted polarity is called 180° or reverse by some processors. Change it there, never at the wires.",
        "Q belongs to a peaking filter whose bandwidth is counted at half its gain in decibels "
        "(the published audio-EQ cookbook). For a processor that takes a bandwidth of N octaves, "
        "Q = 1 / (2 sinh(0.3466 N)).",
        "Linkwitz-Riley crossovers lie 6 dB down at the frequency given, Butterworth crossovers 3 dB.",
    )
    return page(
        "settings",
        styles=("settings",),
        title=build.title,
        vehicle=build.vehicle.name,
        rate=hertz(settings.sample_rate_hz),
        fingerprint=settings.fingerprint,
        running=css_string(f"{build.title} · settings {settings.fingerprint}"),
        stops=[item for item in result.findings if item.severity == "stop"],
        steps=STEPS,
        caution=CAUTION,
        channels=[channel_card(item, speed) for item in settings.channels],
        notes=notes,
    )


def settings_files(build: Build, result: TuningResult) -> dict[str, str]:
    """Both files by name."""
    text = settings_json(result.settings, title=build.title)
    return {"settings.json": text, "settings.html": settings_html(build, result)}


def channel_card(channel: ChannelSettings, sound_speed_m_s: float) -> dict[str, Any]:
    """What the template shows of one channel."""
    edges = []
    for kind in ("high-pass", "low-pass"):
        items = [item for item in channel.filters if item.kind == kind]
        edges += [{"kind": kind.capitalize(), "value": hertz(item.frequency_hz), "words": crossover_words(item)}
                  for item in items] or [{"kind": kind.capitalize(), "value": "", "words": ""}]  # fmt: skip
    rising = sorted(channel.filters, key=lambda item: item.frequency_hz)
    groups = [
        _group(title, [item for item in rising if item.kind == kind], has_gain=kind == "peaking")
        for kind, title in (("peaking", "Peaking filters"), ("all-pass", "All-pass filters, second order"))
        if any(item.kind == kind for item in channel.filters)
    ]
    return {
        "name": channel.name,
        "edges": edges,
        "polarity": channel.polarity,
        "inverted": channel.polarity == "inverted",
        "delay": delay_words(channel.delay_s, sound_speed_m_s=sound_speed_m_s),
        "gain": decibels(channel.gain_db, decimals=_decimals(channel.gain_db)),
        "groups": groups,
    }


def _group(title: str, items: list[Filter], *, has_gain: bool) -> dict[str, Any]:
    rows = [
        {
            "number": number,
            "frequency": hertz(item.frequency_hz).removesuffix(" Hz"),
            "gain": signed(item.gain_db or 0.0, _decimals(item.gain_db or 0.0)),
            "q": ratio(item.q or 0.0),
        }
        for number, item in enumerate(items, start=1)
    ]
    columns = [rows]
    if len(rows) > ROWS_PER_COLUMN:
        half = (len(rows) + 1) // 2
        columns = [rows[:half], rows[half:]]
    return {"title": title, "columns": columns, "has_gain": has_gain}


def _decimals(value: float) -> int:
    """One decimal, or two where the processor's grid needs them."""
    return 1 if abs(value - round(value, 1)) < 1e-6 else 2
