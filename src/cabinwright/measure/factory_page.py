"""The plain page beside ``factory-signal.wav``: how to play and capture it without harm."""

from __future__ import annotations

import re
from html import escape

from cabinwright.build.codec import toml_string
from cabinwright.build.document import Build
from cabinwright.measure.factory_signal import FactorySignal
from cabinwright.measure.sweep_page import STYLE

__all__ = ["factory_page"]

WARNINGS = (
    "Many car amplifiers are bridged: both wires of a loudspeaker output carry signal, and neither is ground. Never join"
    " such a wire to ground, to the car's body, or to the shield of a sound card: it destroys the output. Use a"
    " transformer-isolated or true differential line-level adaptor, or an isolated probe, for each of the two channels.",
    "A loudspeaker output reaches tens of volts, a sound card takes about one or two. Measure with a meter at the lowest"
    " volume first, and put an adaptor with enough attenuation in between, the same for every capture.",
    "The ladder ends almost at full scale and reaches frequencies that hurt before you notice. Disconnect the loudspeakers,"
    " or stay out of the car; most amplifiers run without a load, but what their maker says decides. An output that tests"
    " for its loudspeaker wants a resistor in its place, hot at full power.",
    "Start at the lowest volume step that you will use. Stop at any smell, or when the radio says protection.",
    "Let a charger hold the battery, in the open. Not while driving, and not with the engine running in a closed room.",
    "Leave airbag wiring and its yellow connectors alone. Where the wires are not known for sure, the car maker's diagram"
    " decides, and licensed practice where it asks for that.",
)

STEPS = (
    "Copy factory-signal.wav to what the radio plays without loss: a stick, a disc, a cable. No wireless link, no"
    " conversion. Tone controls flat, balance and fader in the middle, speed-dependent volume, surround and every"
    " “enhancement” off; they stay so for good.",
    "Record two channels at once, as one stereo WAV or FLAC, 24 bit, 44.1 kHz or more: channel 1 the output to be captured,"
    " channel 2 always the reference output ({reference}). The reference itself is captured with itself: the same output in"
    " both channels.",
    "Set the recorder's level so that the loudest sweep at the loudest volume peaks at half of full scale, then never touch"
    " it again. Automatic gain, noise suppression and equalising off.",
    "Start recording, play the file from its beginning, stop some seconds after its end. The moment of starting does not"
    " matter, and the clocks of radio and recorder may differ by 200 ppm.",
    "Capture every output at one volume before you turn to the next. Useful volumes: a quiet one, the one you would tune at,"
    " and the highest you will ever use.",
)


def factory_page(build: Build, signal: FactorySignal) -> str:
    """The whole page as HTML that needs nothing else."""
    names = [item.name for item in build.factory_outputs]
    reference = f"“{names[0]}”" if names else "the first of [[factory_outputs]]"
    parts = [
        f"<h1>Capturing the car's own radio: {escape(build.title)}</h1>",
        f"<p>{escape(_facts(signal))}</p>",
        '<div class="warn"><strong>Before you connect anything</strong>',
        _list(WARNINGS, "ul"),
        "</div><h2>Playing and capturing</h2>",
        _list([step.format(reference=reference) for step in STEPS], "ol"),
        "<h2>What the file holds</h2>",
        _segments(signal),
        "<h2>To paste into build.toml</h2>",
        _paste(build),
        "<p>Then run <code>cabinwright plan</code>.</p>",
    ]
    head = f'<meta charset="utf-8"><title>Capturing the radio</title><style>{STYLE}</style>'
    return f'<!doctype html>\n<html lang="en"><head>{head}</head><body>\n' + "\n".join(parts) + "\n</body></html>\n"


def _facts(signal: FactorySignal) -> str:
    return (
        f"factory-signal.wav: {signal.length_s:.1f} s at {signal.sample_rate_hz} Hz, 24 bit, 2 channels. It tells what each"
        " output of the radio does to left and right, and whether that changes with level."
    )


def _segments(signal: FactorySignal) -> str:
    words = {(1.0, 0.0): "left", (0.0, 1.0): "right", (1.0, 1.0): "both"}
    rows = "".join(
        f"<tr><td>{part.start_s:.2f} s</td><td>{words[part.left, part.right]}</td><td>{part.level_db:g} dB</td>"
        f"<td>{part.sweep.low_hz:g} to {part.sweep.high_hz:g} Hz in {part.sweep.length_s:g} s</td></tr>"
        for part in signal.segments
    )
    head = "<tr><th>starts at</th><th>side</th><th>peak, full scale is 0 dB</th><th>sweep</th></tr>"
    return f"<table>{head}{rows}</table>"


def _paste(build: Build) -> str:
    """Tables for every output that has no capture yet."""
    done = {item.output for item in build.factory_recordings}
    if not build.factory_outputs:
        text = '[[factory_outputs]]\nname = "front left"\n\n[[factory_outputs]]\nname = "front right"\n'
        return f'<pre class="paste">{escape(text)}</pre>'
    rows = [
        f"[[factory_recordings]]\noutput = {toml_string(item.name)}\nvolume = 20\n"
        f'file = "recordings/{re.sub(r"[^a-z0-9]+", "-", item.name.casefold()).strip("-") or "output"}_20.wav"\n'
        for item in build.factory_outputs
        if item.name not in done
    ]
    if not rows:
        return "<p>Every output has a capture already.</p>"
    return f'<pre class="paste">{escape(chr(10).join(rows))}</pre>'


def _list(lines: tuple[str, ...] | list[str], tag: str) -> str:
    return f"<{tag}>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + f"</{tag}>"
