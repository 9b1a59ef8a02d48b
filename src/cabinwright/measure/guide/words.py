"""What is said at each step: short, so that it can be read from the driver's seat."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from cabinwright.measure.guide.plan import Item

if TYPE_CHECKING:
    from cabinwright.measure.guide.engine import Guide, Step

__all__ = ["CAUTIONS", "LOST", "NOTHING_CAME", "TOO_HIGH", "headline", "keys", "lines", "too_high", "unheard"]

TOO_HIGH = 0.9  #: of full scale
CAUTIONS = (
    "Hearing: leave the car while a sweep plays, or wear protection; nobody else sits in it.",
    "Loudspeakers: never sweep a tweeter without its protective high-pass. Stop at any rattle, buzz or smell.",
    "Engine off, and never on in a closed room: exhaust gas kills.",
)
LOST = "stopped: samples were lost: the computer was too slow. Close other programs; choose a larger block or latency."
NOTHING_CAME = (
    "stopped: the sweep was not heard within a minute. Play sweep.wav from its beginning, louder, with the markers to their "
    "loudspeaker."
)
HEADLINES = {
    "countdown": "Out, doors shut",
    "ambient": "Quiet, please",
    "ramp": "Finding the level",
    "noisy": "Too noisy",
    "waiting": "Play the sweep now",
    "sweep": "Recording",
    "judging": "One moment",
    "verdict": "Not good",
    "stopped": "Stopped",
    "finished": "All recorded",
}


def headline(step: Step, item: Item | None) -> str:
    """The one thing that is read from afar."""
    return item.name if step == "ready" and item is not None else HEADLINES.get(step, "")


def keys(step: Step, *, again: bool) -> Mapping[str, str]:
    """What may be pressed, and what it does; the first is the sensible one."""
    if step == "ready":
        found = {"go": "record", "again": "the last one again", "skip": "later"}
        return found if again else {"go": "record", "skip": "later"}
    if step == "noisy":
        return {"again": "listen again", "go": "record all the same", "skip": "later"}
    if step == "verdict":
        return {"go": "record again", "keep": "keep it all the same", "skip": "later"}
    if step == "stopped":
        return {"go": "try again", "skip": "later"}
    return {} if step in ("judging", "finished") else {"stop": "stop"}


def lines(guide: Guide, reason: str, why: str) -> tuple[str, ...]:
    """What is read from near by."""
    item, step = guide.item, guide.step
    if step == "finished":
        return ("Every take of this round is good and stands in build.toml.",)
    assert item is not None
    if step == "ready":
        return _ready(guide, item, reason)
    if step == "noisy":
        return _noisy(guide)
    if step == "verdict" and guide.last is not None:
        return (
            guide.last.verdict.reason + ".",
            guide.last.cure or "Record it again.",
            f"Kept as {guide.last.verdict.file}.",
        )
    if step == "stopped":
        return (why,)
    return (item.name,)


def _ready(guide: Guide, item: Item, reason: str) -> tuple[str, ...]:
    found = []
    if item.kind != "factory" and guide.moved:
        found.append(f"Microphone to {item.position}.")
    if item.kind == "tuning":
        found.append(f"Unmute {item.channel} alone.")
    elif item.kind == "verification":
        found.append(f"Let {item.channel} play, through the loaded settings.")
    else:
        found.append(f"Channel 1: {item.channel}. Channel 2: the reference output.")
        found += [f"Radio at volume {item.volume}."] if item.volume is not None else []
    if item.care:
        found.append(item.care[0].upper() + item.care[1:] + ".")
    if reason:
        found.append(f"Once more: {reason}.")
    return tuple(found)


def _noisy(guide: Guide) -> tuple[str, ...]:
    found = guide.forecast
    if found is None or found.short_hz is None:
        return ("The car is too noisy.",)
    low, high = found.short_hz
    return (
        f"Noise leaves {found.short_db:.0f} dB too little between {low:.0f} and {high:.0f} Hz.",
        "Fans and blower off, wait for traffic, turn the volume up, or lengthen the sweep (twice the length gains 3 dB).",
    )


def unheard(item: Item) -> str:
    """Nothing came back."""
    return (
        f"stopped: nothing of {item.channel} was heard. Unmute it, turn the volume up, wait for quiet, and check that output "
        "and microphone are connected."
    )


def too_high(peak: float) -> str:
    """A marker round is played at one level, so the volume has to be turned."""
    return (
        f"stopped: the sweep would reach {peak:.1f} times full scale. Turn the microphone's input down, before "
        "the first take of a "
        "round: all of its takes need one setting."
    )
