"""Which channels sound in "left side", "right side" and "everything". The rule stands here and nowhere else."""

from __future__ import annotations

from cabinwright.build.document import Build

__all__ = ["EVERYTHING", "LEFT_SIDE", "RIGHT_SIDE", "SUM_NAMES", "channel_side", "sounding_channels"]

LEFT_SIDE = "left side"
RIGHT_SIDE = "right side"
EVERYTHING = "everything"
SUM_NAMES = (LEFT_SIDE, RIGHT_SIDE, EVERYTHING)


def channel_side(build: Build, channel: str) -> str:
    """``"left"`` or ``"right"`` where every speaker of the channel stands there, otherwise ``"centre"``.

    A channel that feeds both sides (one output for both rear fills, a subwoofer, a centre speaker) belongs to both.
    Raises ``KeyError`` for a channel that the build does not have.
    """
    side_of = {speaker.name: speaker.side for speaker in build.speakers}
    members = {item.name: item.speakers for item in build.channels}[channel]
    sides = {side_of[name] for name in members}
    return sides.pop() if len(sides) == 1 else "centre"


def sounding_channels(build: Build, name: str) -> tuple[str, ...]:
    """Channels that sound in the sum ``name``, in the build's order; a single channel sounds alone.

    A side is what a listener hears of a stereo signal with only that side playing: its own channels plus those that
    belong to both. Raises ``KeyError`` for a name that is neither a sum nor a channel.
    """
    names = tuple(item.name for item in build.channels)
    if name in names:
        return (name,)
    if name == EVERYTHING:
        return names
    if name not in (LEFT_SIDE, RIGHT_SIDE):
        raise KeyError(name)
    other = "right" if name == LEFT_SIDE else "left"
    return tuple(channel for channel in names if channel_side(build, channel) != other)
