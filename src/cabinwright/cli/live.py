"""``cabinwright live``: what the microphone hears, in a terminal or on the build's screen."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from cabinwright.cli.terminal import rewrite, say, tell
from cabinwright.errors import CardError, PersonError

if TYPE_CHECKING:
    from collections.abc import Callable

    from cabinwright.desk.live import Live
    from cabinwright.measure.live import Frame

__all__ = ["add_live", "watched"]

EVERY_S = 0.25
BARS = " ▁▂▃▄▅▆▇█"
SPAN_DB = 64.0  #: of the bars
CAUTIONS = (
    "Noise is played. Protect your hearing, begin with the volume down, and let nobody sit in the car unprotected.",
    "A tweeter keeps its protective high-pass. Never run the engine in a closed room. Ctrl-C ends the noise.",
)


def add_live(add: Callable[..., argparse.ArgumentParser]) -> None:
    """The command and its options."""
    command = add(
        "live", _live, "show what the microphone hears: third octaves, levels, and what the car does to noise"
    )
    command.add_argument(
        "build",
        type=Path,
        metavar="BUILD",
        nargs="?",
        help="build folder: opens its screen; without one, in this window",
    )
    command.add_argument("--text", action="store_true", help="in this window, with a build too")
    command.add_argument("--port", type=int, metavar="PORT", help="port of the screen; 7717 if it is free")
    command.add_argument("--no-browser", action="store_true", help="only say the screen's address")
    command.add_argument("--seconds", type=float, metavar="S", help="end by itself; without it until Ctrl-C")
    command.add_argument(
        "--average", action="store_true", help="average while the microphone is moved, and say how sure the average is"
    )
    command.add_argument(
        "--noise", type=float, metavar="DB", help="play pink noise of this rms, in dB of full scale, for example -40"
    )
    command.add_argument("--channel", metavar="NAME", help="keep the noise to the safe band of this channel of BUILD")
    command.add_argument(
        "--band", type=float, nargs=2, metavar=("LOW", "HIGH"), help="keep the noise between two frequencies in Hz"
    )
    command.add_argument("--csv", type=Path, metavar="FILE", help="write the third octaves there at the end")


def _live(options: argparse.Namespace) -> int:
    text_only = (options.average, options.noise is not None, options.csv is not None, options.seconds is not None)
    if options.build is not None and not options.text and not any(text_only):
        return _screen(options)
    from cabinwright.desk import Desk
    from cabinwright.desk.live import Live
    from cabinwright.measure.sound_card import load_settings, open_card

    desk = Desk.open(options.build) if options.build is not None else None
    live = Live(desk, open_card(), load_settings())
    if not live.chosen:
        tell(
            "No sound card was chosen on this computer; the system's usual one is taken. Choose: cabinwright record --card"
        )
    return watched(live, options)


def _screen(options: argparse.Namespace) -> int:
    from cabinwright.desk import Desk

    desk = Desk.open(options.build)
    from cabinwright.web.serve import serve

    serve(desk, say=say, port=options.port, browser=not options.no_browser, start="live")
    return 0


def watched(live: Live, options: argparse.Namespace) -> int:
    """Listen until the time is over or Ctrl-C is pressed, then say what was heard."""
    low_high = _band(live, options)
    if options.noise is not None:
        for words in CAUTIONS:
            tell(words)
    view = live.view
    view.begin()
    try:
        if options.noise is not None:
            view.noise_on(level_db=options.noise, low_hz=low_high[0], high_hz=low_high[1])
        if options.average:
            live.begin_average()
        _watch(live, options.seconds)
    except KeyboardInterrupt:  # how one ends it where no time was said
        if sys.stderr.isatty():
            rewrite("")
    finally:
        frame = live.view.frame()
        view.end()
    running = view.running
    _sum_up(live, frame)
    if options.csv is not None:
        _write(options.csv, live, frame)
        say(f"wrote {options.csv}")
    if running.lost:
        tell(
            f"Samples were lost {running.lost} times in {running.blocks} blocks: the computer was too slow, or other work ran."
        )
    if running.remark and options.seconds is not None:
        raise CardError(running.remark)
    return 0


def _band(live: Live, options: argparse.Namespace) -> tuple[float, float]:
    from cabinwright.desk.live import EVERYTHING

    if options.band is not None:
        return float(options.band[0]), float(options.band[1])
    name = options.channel or EVERYTHING
    if name not in live.noise_bands():
        raise PersonError(f"{name}: no channel is called so; there are {', '.join(live.noise_bands()[1:]) or 'none'}.")
    return live.band_hz(name)


def _watch(live: Live, seconds: float | None) -> None:
    terminal = sys.stderr.isatty()
    said = ""
    end = None if seconds is None else time.monotonic() + seconds
    next_line = time.monotonic()
    while live.view.running.on and (end is None or time.monotonic() < end):
        time.sleep(EVERY_S if end is None else max(0.0, min(EVERY_S, end - time.monotonic())))
        frame, remark = live.view.frame(), live.view.running.remark
        if remark != said:
            said = remark
            tell(f"\n{remark}" if terminal else remark)
        if terminal:
            rewrite("  " + _line(live, frame))
        elif time.monotonic() >= next_line:
            say(_line(live, frame))
            next_line += 1.0
    if terminal:
        rewrite("")


def _line(live: Live, frame: Frame) -> str:
    from cabinwright.desk.live_picture import level_unit

    unit = level_unit(live.view.running.calibrated)
    levels = frame.levels_db
    top = float(frame.thirds_db.max())
    shares = [max(0.0, 1.0 - (top - value) / SPAN_DB) if value > top - SPAN_DB else 0.0 for value in frame.thirds_db]
    bars = "".join(BARS[round((len(BARS) - 1) * share)] for share in shares)
    return f"{levels['AF']:6.1f} {unit}(A)  mean {levels['A mean']:6.1f}  most {levels['AF max']:6.1f}  20 Hz [{bars}] 20 kHz"


def _sum_up(live: Live, frame: Frame) -> None:
    from cabinwright.desk.live_picture import level_unit, told

    unit = level_unit(live.view.running.calibrated)
    say(f"heard {frame.time_s:.1f} s at {live.settings.sample_rate_hz} Hz; levels in {unit}")
    if unit == "dBFS":
        say("  the microphone's level was never calibrated: levels count from full scale, not from 20 µPa")
    for name in ("A", "C", "Z"):
        at = frame.levels_db
        say(
            f"  {name}  mean {at[f'{name} mean']:6.1f}  F most {at[f'{name}F max']:6.1f}  S most {at[f'{name}S max']:6.1f}"
        )
    if told(frame):
        say(f"  {told(frame)}")
    heads, rows = live.figures(frame)
    for row in (heads, *rows):
        say("  " + "  ".join(f"{cell:>8}" for cell in row))


def _write(file: Path, live: Live, frame: Frame) -> None:
    from cabinwright.files import write_all

    heads, rows = live.figures(frame)
    text = "\n".join(",".join(row) for row in (heads, *rows)) + "\n"
    write_all(file.parent, {file.name: text})
