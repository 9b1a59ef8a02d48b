"""The plain page beside ``sweep.wav``: how to play and record it without harm."""

from __future__ import annotations

import math
from html import escape

from cabinwright.build.document import Build
from cabinwright.measure.roles import speakers_of
from cabinwright.measure.signal import SweepSignal

__all__ = ["sweep_page"]

STYLE = """body{font:16px/1.5 system-ui,sans-serif;max-width:44rem;margin:2rem auto;padding:0 1rem;color:#1b1b1b}
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:1.6rem}table{border-collapse:collapse;width:100%}
td,th{border-bottom:1px solid #bbb;padding:.25rem .5rem;text-align:left;vertical-align:top}
.warn{border:2px solid #8a1c1c;padding:.5rem 1rem;margin:1rem 0}code{font-size:.95em}
@media print{body{margin:0;max-width:none}tr,.warn{break-inside:avoid}}"""

WARNINGS = (
    "The sweep is loud and reaches frequencies you may not notice until they hurt. Wear hearing protection, or"
    " stay out of the car while it plays, and let nobody sit in it.",
    "Start with the volume all the way down, play the first seconds, and raise it until speech in the car would be"
    " hard to follow. Stop at any rattle, buzz or smell.",
    "A tweeter is destroyed by bass: never play the sweep into one without protection. Best is a capacitor that stays in"
    " the wire. A high-pass in the processor serves too (by common practice not below 2 kHz at 24 dB per octave, unless its"
    " maker says otherwise), but it is heard as part of the tweeter: take it off only to key in the tune's own high-pass in"
    " its place, and verify the hand-over afterwards. Keep a subwoofer's own subsonic filter on as well.",
    "Do not measure while driving, and not with the engine running in a closed room.",
)

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


def sweep_page(build: Build, signal: SweepSignal) -> str:
    """The whole page as HTML that needs nothing else."""
    marker = signal.markers.channel if signal.markers else ""
    how = [line.format(marker=f"“{marker}”" if marker else "one fixed tweeter") for line in HOW[signal.timing]]
    parts = [
        f"<h1>Recording the sweep: {escape(build.title)}</h1>",
        f"<p>{escape(_facts(signal))}</p>",
        '<div class="warn"><strong>Before you play it</strong>',
        _list(WARNINGS, "ul"),
        "</div><h2>Playing and recording</h2>",
        _list(how, "ol"),
        "<h2>In the car</h2>",
        _list(_car(signal), "ul"),
        "<h2>What to record in which file</h2>",
        _table(build),
    ]
    head = f'<meta charset="utf-8"><title>Recording the sweep</title><style>{STYLE}</style>'
    return f'<!doctype html>\n<html lang="en"><head>{head}</head><body>\n' + "\n".join(parts) + "\n</body></html>\n"


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


def _table(build: Build) -> str:
    """Every channel at every position: the file the build names, or one to name."""
    named = {(row.channel, row.position): row.file for row in build.recordings if row.kind == "sweep"}
    rows = []
    for place in build.microphone_positions:
        for channel in build.channels:
            suggestion = f"recordings/{_plain(channel.name)}_{_plain(place.name)}.wav"
            file = named.get((channel.name, place.name), f"{suggestion} (not in build.toml yet)")
            roles = {speaker.role for speaker in speakers_of(build, channel.name)}
            care = "protective high-pass on" if "tweeter" in roles else ""
            cells = (place.name, channel.name, file, care, "☐")
            rows.append("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>")
    if not rows:
        return "<p>Name channels and microphone positions in build.toml, and this table lists every file to record.</p>"
    head = "".join(f"<th>{word}</th>" for word in ("Position", "Channel", "File", "Care", "Done"))
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def _plain(name: str) -> str:
    """A name as part of a file name that every system accepts."""
    kept = "".join(letter if letter.isalnum() else "-" for letter in name)
    return kept.strip("-") or "channel"
