"""The takes of a round, in the order that spares walking.

The microphone is what has to be carried, so every channel is recorded at a position before it moves on. Positions follow one
another on the shortest way from the first; channels run to and fro, so that the channel last heard at one position is the
first at the next and nothing is switched in between.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import Literal

import numpy as np

from cabinwright.build.document import Build
from cabinwright.measure.roles import core_band_hz, speakers_of
from cabinwright.measure.sweep_list import care_of, plain_name
from cabinwright.stages.tuning.sides import SUM_NAMES, sounding_channels

__all__ = ["KINDS", "Item", "Kind", "channel_band_hz", "plan_of", "shortest_way"]

Kind = Literal["tuning", "verification", "factory"]
KINDS: tuple[Kind, ...] = ("tuning", "verification", "factory")
TRIED_OUT = 7  #: up to so many positions every order is tried


@dataclass(frozen=True, slots=True)
class Item:
    """One take that is to be made. ``done`` is the file that the build lists for it; nothing: none yet."""

    kind: Kind
    channel: str  #: of the processor, or what sounds together, or the radio's output
    position: str  #: of the microphone, or nothing
    volume: int | None = None  #: the radio's step
    care: str = ""  #: what must be on meanwhile
    band_hz: tuple[float, float] = (125.0, 8000.0)  #: in which it has to be sound
    done: str = ""

    @property
    def name(self) -> str:
        """How it is called on a screen."""
        if self.kind == "factory":
            return self.channel if self.volume is None else f"{self.channel} at volume {self.volume}"
        return f"{self.channel} at {self.position}"

    @property
    def stem(self) -> str:
        """File name in the build folder, without its ending."""
        folder = "verification" if self.kind == "verification" else "recordings"
        last = self.position if self.kind != "factory" else "" if self.volume is None else str(self.volume)
        parts = ["factory", self.channel, last] if self.kind == "factory" else [self.channel, last]
        return f"{folder}/" + "_".join(plain_name(part) for part in parts if part)


def plan_of(build: Build, kind: Kind = "tuning", *, volumes: Sequence[int] = ()) -> tuple[Item, ...]:
    """Every take of one kind. ``volumes``: the radio's steps to capture, for the factory's outputs.

    A round without channels, positions or outputs has no takes.
    """
    if kind == "factory":
        return _factory(build, volumes)
    rows = build.recordings if kind == "tuning" else build.verification_recordings
    listed = {(row.channel, row.position): row.file for row in reversed(rows)}  # the first of a pair counts
    names = [item.name for item in build.channels] if kind == "tuning" else list(_sums(build))
    there = {item.name: item.at_m for item in build.microphone_positions}
    found: list[Item] = []
    for number, position in enumerate(shortest_way(there)):
        for name in names if number % 2 == 0 else names[::-1]:
            care = _care(build, name) if kind == "tuning" else "the loaded settings on, nothing else changed"
            band = channel_band_hz(build, name)
            done = listed.get((name, position), "")
            found.append(Item(kind, name, position, care=care, band_hz=band, done=done))
    return tuple(found)


def _care(build: Build, name: str) -> str:
    return next(care_of(build, item) for item in build.channels if item.name == name)


def _sums(build: Build) -> tuple[str, ...]:
    """What is verified: the sums that hold a channel, or everything alone where the sides do not differ."""
    heard = {name: frozenset(sounding_channels(build, name)) for name in SUM_NAMES}
    return tuple(
        name for name in SUM_NAMES if heard[name] and (name == SUM_NAMES[-1] or heard[name] != heard[SUM_NAMES[-1]])
    )


def _factory(build: Build, volumes: Sequence[int]) -> tuple[Item, ...]:
    """The radio's volume is turned once for all outputs: it is what would be forgotten."""
    listed = {(row.output, row.volume): row.file for row in build.factory_recordings}
    steps: list[int | None] = [*dict.fromkeys([*volumes, *(row.volume for row in build.factory_recordings)])] or [None]
    care = "loudspeakers unplugged where the maker allows it; an isolated line-level adaptor between"
    return tuple(
        Item("factory", output.name, "", volume=step, care=care, done=listed.get((output.name, step), ""))
        for step in steps
        for output in build.factory_outputs
    )


def channel_band_hz(build: Build, name: str) -> tuple[float, float]:
    """Where a channel, or what sounds together, has to be sound [Hz]."""
    channels = [name] if name not in SUM_NAMES else list(sounding_channels(build, name))
    found = tuple(speaker for channel in channels for speaker in speakers_of(build, channel))
    return core_band_hz(found or build.speakers) if found or build.speakers else (125.0, 8000.0)


def shortest_way(places: Mapping[str, Sequence[float]]) -> tuple[str, ...]:
    """Names of ``places`` [m] in the order of a short way from the first: every order is tried for a few, else the nearest next.

    A place that is not known (named in a survey that has no answer) stays where the build lists it.
    """
    names = list(places)
    at = np.asarray([places[name] for name in names], dtype=np.float64).reshape(len(names), 3)
    if len(names) < 3 or not np.isfinite(at).all():
        return tuple(names)
    apart = np.linalg.norm(at[:, None] - at[None], axis=-1)
    if len(names) <= TRIED_OUT:
        orders = ((0, *rest) for rest in permutations(range(1, len(names))))
        best = min(orders, key=lambda order: sum(apart[a, b] for a, b in pairwise(order)))
        return tuple(names[number] for number in best)
    way, left = [0], set(range(1, len(names)))
    while left:
        way.append(min(left, key=lambda number: (apart[way[-1], number], number)))
        left.discard(way[-1])
    return tuple(names[number] for number in way)
