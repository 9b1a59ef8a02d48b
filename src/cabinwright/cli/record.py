"""``cabinwright record``: the guide in a terminal. One key for each answer; what is said can be read from the driver's seat."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cabinwright.cli.keys import ENDED, Keys
from cabinwright.cli.terminal import rewrite, say
from cabinwright.errors import CardError, PersonError, RefusedError

if TYPE_CHECKING:
    from cabinwright.desk import Desk, Recorder
    from cabinwright.measure.guide import View
    from cabinwright.measure.guide.plan import Kind
    from cabinwright.measure.sound_card import Card, CardSettings, Device

__all__ = ["add_record"]

SIGNS = {"go": "Enter", "again": "a", "skip": "s", "keep": "k", "stop": "any key"}
WAIT_S = 0.2
QUIT = "q"


def add_record(add: Callable[..., argparse.ArgumentParser]) -> None:
    """The command and its options."""
    command = add(
        "record", _record, "lead through every recording at the car, judge each at once, and join it to the build"
    )
    command.add_argument("build", type=Path, metavar="BUILD", nargs="?", help="build folder; not needed with --card")
    kinds = command.add_mutually_exclusive_group()
    kinds.add_argument("--verification", action="store_true", help="record again through the loaded settings")
    kinds.add_argument("--factory", action="store_true", help="capture the outputs of the car's own radio")
    kinds.add_argument("--polarity", metavar="CHANNEL", help="pulses: which way this channel's loudspeaker moves first")
    kinds.add_argument(
        "--impedance", metavar="MODEL", help="measure this speaker model's impedance by a resistor in series"
    )
    command.add_argument(
        "--resistor", type=float, metavar="OHM", help="that resistor, as measured; 10 to 50 ohm serve well"
    )
    command.add_argument(
        "--added-mass", default="", metavar="MASS", help='mass stuck to the cone meanwhile, as in "12 g"'
    )
    command.add_argument("--box-volume", default="", metavar="VOLUME", help='closed test box meanwhile, as in "8 L"')
    command.add_argument(
        "--by-car", action="store_true", help="the car plays sweep.wav by itself, from a stick or a disc"
    )
    command.add_argument(
        "--volume",
        type=int,
        action="append",
        default=[],
        metavar="STEP",
        help="radio's volume for --factory; may be repeated",
    )
    command.add_argument(
        "--countdown", type=float, default=5.0, metavar="SECONDS", help="time to leave the car; 5 if not given"
    )
    command.add_argument("--card", action="store_true", help="choose and test the sound card of this computer")
    command.add_argument(
        "--calibrate", type=float, nargs="?", const=94.0, metavar="DB",
        help="calibrate the microphone's level with a sound calibrator (IEC 60942) of 94 dB, or another level",
    )  # fmt: skip


def _record(options: argparse.Namespace) -> int:
    from cabinwright.measure.sound_card import load_settings, open_card

    card = open_card()
    if options.card or options.calibrate is not None:
        _set_up(card, options)
        return 0
    if options.build is None:
        raise PersonError("Name the build folder: cabinwright record BUILD")
    from cabinwright.desk import Desk, Recorder

    desk = Desk.open(options.build)
    settings = load_settings()
    if settings is None:
        raise RefusedError("No sound card was chosen on this computer yet. Run: cabinwright record --card")
    if options.polarity is not None or options.impedance is not None:
        return _bench(desk, card, settings, options)
    kind: Kind = "verification" if options.verification else "factory" if options.factory else "tuning"
    recorder = Recorder(
        desk, card, settings, kind=kind, by_car=options.by_car,
        countdown_s=max(0.0, options.countdown), volumes=options.volume,
    )  # fmt: skip
    return guided(recorder)


def _bench(desk: Desk, card: Card, settings: CardSettings, options: argparse.Namespace) -> int:
    """Polarity by pulses, or impedance by a resistor in series."""
    from cabinwright.desk.bench import ByResistor, polarity_of_channel
    from cabinwright.measure.guide.words import CAUTIONS
    from cabinwright.measure.series_resistor import CAUTIONS as BENCH_CAUTIONS

    if options.polarity is not None:
        for words in CAUTIONS:
            say(words)
        _ask(f"Unmute {options.polarity} alone, the microphone near its loudspeaker, and press Enter", "")
        heard = polarity_of_channel(desk, card, settings, options.polarity)
        say(f"{options.polarity} {heard.words}")
        return 0
    if options.resistor is None:
        raise PersonError("Name the resistor in series, as measured: --resistor 22")
    for words in BENCH_CAUTIONS:
        say(words)
    measured = ByResistor(
        desk, card, settings, model=options.impedance, resistor_ohm=options.resistor,
        added_mass=options.added_mass, box_volume=options.box_volume,
    )  # fmt: skip
    file = ""
    while not file:
        _ask(f"{measured.wanted}, and press Enter", "")
        file = measured.take()
    say(f"wrote {desk.folder / file} and its [[impedance_curves]]")
    return 0


def guided(recorder: Recorder) -> int:
    """One round, to its end or until it is left; whatever is recorded stays."""
    from cabinwright.measure.guide.words import CAUTIONS

    for words in (*CAUTIONS, *recorder.notes):
        say(words)
    try:
        with Keys() as keys:
            while recorder.view.step != "finished":
                _show(recorder.view)
                pressed = _pressed(recorder, keys)
                if pressed == QUIT:
                    break
                recorder.press(pressed)
                _work(recorder, keys)
    finally:
        recorder.close()
    view = recorder.view
    if view.step == "finished":
        _show(view)
    say(f"{view.done} of {view.total} recorded. The same command goes on from here.")
    return 0


def _pressed(recorder: Recorder, keys: Keys) -> str:
    """What the person wants next, of what is offered."""
    offered = recorder.view.keys
    while True:
        sign = keys.read(WAIT_S) if keys.live else keys.line()
        if sign in (QUIT, ENDED):
            return QUIT
        found = [key for key in offered if SIGNS[key][0] == sign or (key == "go" and sign in ("\n", " "))]
        if found:
            return found[0]
        if not keys.live and sign:
            raise PersonError(f"{sign}: nothing is done by this key now. There are: {_offer(recorder.view)}.")


def _work(recorder: Recorder, keys: Keys) -> None:
    """Until the next question; any key stops what plays."""
    step = ""
    live = sys.stderr.isatty()
    while recorder.turn():
        view = recorder.view
        if view.step != step:
            step = view.step
            say(f"  {view.headline}")
        if live:
            left = f"{view.seconds} s" if view.step == "countdown" else f"{100.0 * view.share:3.0f} %"
            rewrite(f"  {left}  {view.level_db:.0f} {view.level_unit}")
        if keys.live and keys.read(0.0):
            recorder.press("stop")
    if live:
        rewrite("")


def _show(view: View) -> None:
    from cabinwright.cli.large import bars, large

    last = view.last
    if last is not None and view.step in ("ready", "finished", "verdict"):
        say(
            f"{'✓ good' if last.verdict.good else '✗ not good'}: {last.verdict.channel} {last.verdict.position}: "
            f"{last.verdict.reason}"
        )
        if last.picture is not None:
            for line in bars(last.picture):
                say(f"  {line}")
        for words in (
            *last.remarks,
            *(f"not good any more: {bad.channel} at {bad.position}: {bad.reason}" for bad in last.others),
        ):
            say(f"  {words}")
    say("")
    say(large(view.headline) if sys.stdout.isatty() else view.headline)
    say(f"  {view.done} of {view.total} recorded" + (f", now number {view.number}" if view.item else ""))
    for line in view.lines:
        say(f"  {line}")
    if view.keys:
        say(f"  {_offer(view)}, q to end for today")


def _offer(view: View) -> str:
    return ", ".join(
        f"{SIGNS[key]} to {words}" if key == "go" else f"{SIGNS[key]}: {words}" for key, words in view.keys.items()
    )


# The sound card


def _set_up(card: Card, options: argparse.Namespace) -> None:
    """Choose, test, and calibrate where that is asked for."""
    from cabinwright.measure.sound_card import load_settings, save_settings
    from cabinwright.measure.sound_card.check import calibrated, try_out

    try:
        settings = load_settings()
    except CardError:
        if not options.card:
            raise
        settings = None  # damaged: chosen anew
    if options.card:
        settings = _chosen(card, settings)
    if settings is None:
        raise RefusedError("No sound card was chosen on this computer yet. Run: cabinwright record --card")
    if options.card:
        found = try_out(card, settings)
        late = f", the copy comes {1e3 * found.delay_s:.1f} ms later" if found.delay_s is not None else ""
        say(f"tested: noise of the microphone {found.noise_db:.0f} dB of full scale{late}")
        for words in (found.remark, "Samples were lost: choose larger blocks." if found.lost else ""):
            if words:
                say(f"  {words}")
    if options.calibrate is not None:
        _ask("Put the calibrator onto the microphone, switch it on, and press Enter", "")
        settings = calibrated(card, settings, level_db=options.calibrate)
        say(f"calibrated: an rms of full scale is {settings.unit_level_db:.1f} dB (re 20 µPa)")
    say(f"wrote {save_settings(settings)}")


def _chosen(card: Card, before: CardSettings | None) -> CardSettings:
    from cabinwright.measure.sound_card.choose import settings_of, timings_of

    devices = card.devices()
    into = _device([item for item in devices if item.inputs], "Microphone", lambda item: item.inputs)
    outs = [item for item in devices if item.outputs and (into is None or item.host == into.host)]
    out = _device(outs, "Output to the car", lambda item: item.outputs, none="none: the car plays by itself")
    assert into is not None
    ways = timings_of(into, out)
    timing = _ask("Timing, loopback or marker", ways[0]) if len(ways) > 1 else ways[0]
    rate = _number("Rate in Hz", round(into.sample_rate_hz))
    microphone = _number("Input of the microphone", 1)
    file = _ask("The microphone's calibration file; none", "")
    return settings_of(
        into, out, timing=timing, sample_rate_hz=rate, microphone_channel=microphone, calibration=file, before=before
    )


def _device(found: Sequence[Device], what: str, channels: Callable[[Device], int], *, none: str = "") -> Device | None:
    if not found and not none:
        raise RefusedError(f"{what}: this computer has no such device. Plug one in, or allow this program to use it.")
    for number, item in enumerate(found, start=1):
        usual = ", usual" if item.usual_input or item.usual_output else ""
        say(f"  {number}  {item.name}  ({item.host}, {channels(item)} channels, {item.sample_rate_hz:.0f} Hz{usual})")
    if none:
        say(f"  0  {none}")
    usual_number = next(
        (n for n, item in enumerate(found, start=1) if item.usual_input or item.usual_output), min(1, len(found))
    )
    number = _number(f"{what}, by number", usual_number)
    if not (0 if none else 1) <= number <= len(found):
        raise PersonError(f"{number}: there is no such number. Run the command again.")
    return found[number - 1] if number else None


def _number(question: str, usual: int) -> int:
    text = _ask(question, str(usual))
    if not text.isdecimal():
        raise PersonError(f"{text}: a whole number is wanted. Run the command again; nothing was written.")
    return int(text)


def _ask(question: str, usual: str) -> str:
    """An answer in a line; Enter takes the usual one."""
    say(question + (f" [{usual}]:" if usual else ":"))
    text = sys.stdin.readline() if sys.stdin is not None else ""
    if not text:
        raise PersonError("The input ended before everything was answered. Nothing was written.")
    return text.strip() or usual
