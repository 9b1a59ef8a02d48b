"""``cabinwright listen``: a track as it is heard before and after, and from candidate places, for headphones."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from cabinwright.cli.terminal import say, with_progress

if TYPE_CHECKING:
    from cabinwright.measure.listening import Rendered

__all__ = ["add_listen"]


def add_listen(add: Callable[..., argparse.ArgumentParser]) -> None:
    """The command and its options."""
    command = add("listen", _listen, "let a track be heard before and after the tune, for headphones, equally loud")
    command.add_argument("build", type=Path, metavar="BUILD", help="build folder")
    command.add_argument(
        "track", metavar="TRACK", help="a WAV or FLAC file of your own, or voice, noise or clicks, which are made here"
    )
    command.add_argument("--seat", metavar="NAME", help="whose ears; without it the seat that is tuned for")
    command.add_argument(
        "--place",
        metavar="NAME",
        action="append",
        default=[],
        help="also from this [[places]] of the build and its partner, as predicted; may be given several times",
    )
    command.add_argument(
        "--form", choices=("flac", "wav"), default="flac", help="of the files, 24 bit; flac if not given"
    )
    command.add_argument("--start", type=_seconds, default=0.0, metavar="T", help="begin there: 75 or 1:15")
    command.add_argument("--length", type=_seconds, metavar="T", help="take only so much: 30 or 0:30")


def _seconds(text: str) -> float:
    """As ``seconds_of``, told as argparse tells it."""
    from cabinwright.measure.listening import seconds_of

    try:
        return seconds_of(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no time. Write seconds, or minutes and seconds as 1:15."
        ) from None


def _listen(options: argparse.Namespace) -> int:
    from cabinwright.measure.listening import CAUTIONS, LIMITS
    from cabinwright.session import Session
    from cabinwright.stages.voice.result import BASES

    session = Session.open(options.build)
    made, stereo, paths = with_progress(
        lambda progress: session.listen(
            progress,
            track=options.track,
            seat=options.seat,
            places=options.place,
            form=options.form,
            start_s=options.start,
            length_s=options.length,
        )
    )
    say(f"{session.build.title}")
    say(f"  seat         {stereo.seat}: {BASES.get(stereo.basis, 'predicted by rays; the ears are a rigid sphere')}")
    _levels(made)
    for path in paths:
        say(f"wrote {path}")
    for words in CAUTIONS:
        say(words)
    say("What headphones cannot convey:")
    for words in LIMITS:
        say(f"  - {words}")
    say(f"To compare blind: cabinwright open {options.build}, page Listen")
    return 0


def _levels(made: Rendered) -> None:
    """The track, then each version: how loud it is, what brought it there, and its highest peak."""
    width = max(12, *(len(item.version) for item in made.versions))
    say(f"  {'track':<{width}} {made.track_lufs:6.1f} LUFS, {made.seconds:.1f} s")
    for item in made.versions:
        say(
            f"  {item.version:<{width}} {item.loudness_lufs:6.1f} LUFS after {item.gain_db:+.1f} dB, "
            f"true peak {item.true_peak_db:.1f} dB"
        )
