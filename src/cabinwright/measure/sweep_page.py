"""The plain page beside ``sweep.wav``: how to play and record it without harm."""

from __future__ import annotations

import math
from html import escape

from cabinwright.build.document import Build
from cabinwright.measure.signal import SweepSignal
from cabinwright.measure.sweep_list import all_impulses, recording_list

__all__ = ["sweep_page"]

STYLE = """body{font:16px/1.5 system-ui,sans-serif;max-width:44rem;margin:2rem auto;padding:0 1rem;color:#1b1b1b}
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:1.6rem}table{border-collapse:collapse;width:100%}
td,th{border-bottom:1px solid #bbb;padding:.25rem .5rem;text-align:left;vertical-align:top}
.warn{border:2px solid #8a1c1c;padding:.5rem 1rem;margin:1rem 0}code{font-size:.95em}
.paste{border:1px solid #bbb;padding:.5rem 1rem;max-height:24rem;overflow:auto;user-select:all}
@media print{body{margin:0;max-width:none}tr,.warn{break-inside:avoid}.paste{max-height:none}}"""

WARNINGS = (
    "The sweep is loud and reaches frequencies you may not notice until they hurt. Wear hearing protection, or"
    " stay out of the car while it plays, and let nobody sit in it.",
    "Start with the volume all the way down, play the first seconds, and raise it until speech in the car would be"
    " hard to follow. Stop at any rattle, buzz or smell.",
    "Do not measure while driving, and not with the engine running in a closed room.",
)

CARE = {
    "tweeter": "A tweeter is destroyed by bass: never play the sweep into one without protection. Best is a capacitor that"
    " stays in the wire. A high-pass in the processor serves too (by common practice not below 2 kHz at 24 dB per octave,"
    " unless its maker says otherwise). Keep it on for every recording of that channel and write it into build.toml as"
    " recorded_with of the channel; the tune divides it out again. It goes only when the tune's own high-pass takes its"
    " place, while everything is muted.",
    "subwoofer": "Keep a subwoofer's own subsonic filter on. If the processor makes it, write it into build.toml as"
    " recorded_with of the channel.",
}
"""What loudspeakers of one role need besides."""

HOW = {
    "loopback": (
        "Play sweep.wav from the sound card that records: left output to the processor's input, right output by a"
        " cable straight into the card's second input. Both file channels carry the sweep; make sure that only the"
        " left one reaches the car.",
        "Microphone into the first input. Record both inputs as one stereo file: the microphone in channel 1, the"
        " electrical copy in channel 2.",
        "Leave levels, volume and processor settings alone between recordings.",
    ),
    "marker": (
        "Play sweep.wav in the car by any means (stick, streamer, telephone by cable). Route file channel 1 (the"
        " sweep) to the one processor channel that is measured, and file channel 2 (the markers) always to"
        " {marker}, for every recording and in its own as well. Use a lossless path; no Bluetooth.",
        "Record the microphone alone, as a mono file, on any recorder. Start before the first chirp and stop after"
        " the second one has died away.",
        "Leave levels, volume and processor settings (above all those of {marker}) alone between recordings.",
    ),
}


NO_SWEEP = (
    "This build goes by impulse responses (kind = “impulse”), and those need no sweep. This page is for recordings of"
    " kind = “sweep” only."
)


def sweep_page(build: Build, signal: SweepSignal) -> str:
    """The whole page as HTML that needs nothing else."""
    marker = signal.markers.channel if signal.markers else ""
    how = [line.format(marker=f"“{marker}”" if marker else "one fixed tweeter") for line in HOW[signal.timing]]
    parts = [
        f"<h1>Recording the sweep: {escape(build.title)}</h1>",
        f"<p>{escape(_facts(signal))}</p>",
        *([f"<p><strong>{escape(NO_SWEEP)}</strong></p>"] if all_impulses(build) else []),
        '<div class="warn"><strong>Before you play it</strong>',
        _list(_warnings(build), "ul"),
        "</div><h2>Playing and recording</h2>",
        _list(how, "ol"),
        "<h2>In the car</h2>",
        _list(_car(signal), "ul"),
        *_places(build),
        "<h2>What to record in which file</h2>",
        recording_list(build),
    ]
    head = f'<meta charset="utf-8"><title>Recording the sweep</title><style>{STYLE}</style>'
    return f'<!doctype html>\n<html lang="en"><head>{head}</head><body>\n' + "\n".join(parts) + "\n</body></html>\n"


def _warnings(build: Build) -> list[str]:
    """What everybody must heed, and what the loudspeakers of this build need; all of it while none are named."""
    driven = {name for channel in build.channels for name in channel.speakers}
    roles = {speaker.role for speaker in build.speakers if speaker.name in driven}
    return [*WARNINGS[:-1], *(words for role, words in CARE.items() if role in roles or not roles), WARNINGS[-1]]


def _places(build: Build) -> list[str]:
    """Where the microphone is to stand, from the seat's head: what is measured in the car."""
    heads = {seat.name: seat.head_m for seat in build.seats}
    rows = []
    for item in build.microphone_positions:
        if item.seat not in heads or any(map(math.isnan, (*item.at_m, *heads[item.seat]))):
            continue
        x, y, z = (100.0 * (a - b) for a, b in zip(item.at_m, heads[item.seat], strict=True))
        steps = [
            f"{abs(value):.0f} cm {words[value > 0.0]}"
            for value, words in ((x, ("forward", "back")), (y, ("left", "right")), (z, ("down", "up")))
            if abs(value) >= 0.5
        ]
        at = ", ".join(f"{value:.2f}" for value in item.at_m)
        rows.append(f"{item.name}: {', '.join(steps) or 'there itself'} (x, y, z = {at} m)".replace("-", "\u2212"))
    return (
        ["<h2>Where the microphone stands</h2>", "<p>From the head centre of its seat:</p>", _list(rows, "ul")]
        if rows
        else []
    )


def _facts(signal: SweepSignal) -> str:
    sweep = signal.sweep
    text = (
        f"sweep.wav: {signal.length_s:.1f} s at {signal.sample_rate_hz} Hz, 24 bit, 2 channels,"
        f" {signal.timing} timing. The sweep runs from {sweep.low_hz:g} to"
        f" {sweep.high_hz:g} Hz in {sweep.length_s:g} s, starts {signal.sweep_s:g} s into the file and peaks at"
        f" {-20.0 * math.log10(signal.level):.1f} dB below full scale."
    )
    if signal.markers:
        low, high = sorted((signal.markers.first.start_hz, signal.markers.first.end_hz))
        text += (
            f" Channel 2 holds a rising and a falling chirp from {low:g} to {high:g} Hz at"
            f" {signal.markers.first_s:g} s and {signal.markers.last_s:g} s."
        )
    return text


def _car(signal: SweepSignal) -> tuple[str, ...]:
    return (
        "Engine, blower and every fan off; doors, windows and roof closed; telephone silent. Wait for passing"
        " traffic: one slam or one lorry spoils a recording.",
        "Seats and head restraints as the listener has them; nobody in the seat that is measured, and nothing on"
        " it that was not there before.",
        "Listen to a few seconds of the recording. If the noise between the sweeps is easy to hear, play louder,"
        f" wait for quiet, or lengthen the sweep (now {signal.sweep.length_s:g} s) in [tuning.sweep]; twice the"
        " length gains 3 dB.",
        "Peaks of the recording belong between a tenth and a half of full scale. Turn off automatic gain, noise"
        " suppression and equalising in the recorder.",
        "Write down where the microphone stands (x rearward, y right, z up) to a centimetre, and record every"
        " channel at one position before moving on.",
        "One loudspeaker at a time: mute all other channels in the processor.",
    )


def _list(lines: tuple[str, ...] | list[str], tag: str) -> str:
    return f"<{tag}>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + f"</{tag}>"
