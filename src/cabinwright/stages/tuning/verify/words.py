"""Causes in words."""

from __future__ import annotations

from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.verify.bench import Bench
from cabinwright.stages.tuning.verify.causes import Guess, moved_filter
from cabinwright.stages.tuning.verify.result import Cause, Confidence

__all__ = ["describe", "in_words"]

#: kind: (sentence, remedy)
WORDS: dict[str, tuple[str, str]] = {
    "polarity": (
        "the polarity of {one} is the opposite of the settings",
        "Set it to {polarity}, and check the speaker's plus and minus.",
    ),
    "silent": ("{one} does not sound", "Check that it is not muted, its wiring and its amplifier."),
    "gain": ("the gain of {one} is {amount:+.1f} dB off", "Set it to {gain:.1f} dB, and check its amplifier's level."),
    "delay": ("the delay of {one} is {amount_ms:+.3f} ms off", "Set it to {delay_ms:.3f} ms; {delay_found}."),
    "filter missing": ("{filter} of {one} is missing", "Key it in."),
    "filter sign": ("{filter} of {one} has the opposite sign", "Set its gain to {filter_gain:+.1f} dB."),
    "peaking missing": ("all peaking filters of {one} are missing", "Key them in, and check for a bypass."),
    "filters missing": ("all filters of {one} are missing, its crossovers too", "Mute it until they are keyed in."),
    "crossover moved": ("{filter} of {one} works at {found_hz:.0f} Hz instead", "Set it to {filter_hz:.0f} Hz."),
    "settings swapped": ("the settings of {one} and {other} are exchanged", "Exchange them."),
    "outputs swapped": ("the outputs of {one} and {other} are exchanged", "Exchange their cables."),
    "sides exchanged": ("the settings of the left and the right side are exchanged", "Exchange them."),
    "side outputs exchanged": ("the outputs of the left and the right side are exchanged", "Exchange their cables."),
    "inputs crossed": (
        "left and right are exchanged before the processor, or the recordings carry each other's name",
        "Check the source's plugs and the names of the recordings.",
    ),
    "nothing loaded": ("none of the settings is loaded", "Load them, or choose the preset that holds them."),
    "no delays": ("no delay is loaded", "Key in the delays."),
    "no gains": ("no gain is loaded", "Key in the gains."),
}
UNITS = {"gain": "dB", "delay": "s", "crossover moved": "Hz"}


def in_words(item: Filter) -> str:
    """``the peaking filter at 63 Hz (-9.0 dB, Q 4.32)``."""
    if item.kind in ("peaking", "all-pass"):
        level = f"{item.gain_db:+.1f} dB, " if item.kind == "peaking" else ""
        return f"the {item.kind} filter at {item.frequency_hz:.0f} Hz ({level}Q {item.q:.2f})"
    return f"the {item.kind} at {item.frequency_hz:.0f} Hz ({item.family}, {item.slope_db_per_octave} dB per octave)"


def describe(guess: Guess, bench: Bench, *, delay_step_s: float, confidence: Confidence) -> Cause:
    """The cause that a guess stands for."""
    own = bench.settings.channels[bench.channels.index(guess.channels[0]) if guess.channels[0] in bench.channels else 0]
    amount: float | None = guess.amount if guess.range is not None else None
    words: dict[str, object] = {
        "one": guess.channels[0],
        "other": guess.channels[-1],
        "polarity": own.polarity,
        "gain": own.gain_db,
        "delay_ms": own.delay_s * 1e3,
        "amount": guess.amount,
        "amount_ms": guess.amount * 1e3,
        "delay_found": _delay_found(own.delay_s + guess.amount, delay_step_s),
    }
    if guess.filter is not None:
        found = moved_filter(guess.filter, guess.amount, sample_rate_hz=bench.sample_rate_hz).frequency_hz
        words |= {"filter": in_words(guess.filter), "filter_hz": guess.filter.frequency_hz, "found_hz": found}
        words["filter_gain"] = guess.filter.gain_db or 0.0
        amount = found if guess.kind == "crossover moved" else amount
    sentence, remedy = WORDS[guess.kind]
    return Cause(
        kind=guess.kind,
        channels=guess.channels,
        amount=amount,
        unit=UNITS.get(guess.kind, ""),
        text=sentence.format(**words),
        remedy=remedy.format(**words),
        confidence=confidence,
        filter_index=None if guess.filter is None else own.filters.index(guess.filter),
    )


def _delay_found(found_s: float, step_s: float) -> str:
    if abs(found_s) < step_s:
        return "it seems not to be entered at all"
    return f"{max(found_s, 0.0) * 1e3:.3f} ms seems to be set"
