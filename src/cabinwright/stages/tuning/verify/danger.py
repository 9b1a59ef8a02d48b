"""Which loudspeakers a story leaves with less high-pass than they need: told from what it changes, not from its words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from cabinwright.build.document import Build
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.verify.result import Cause
from cabinwright.stages.tuning.ways import safe_range

__all__ = ["exposed", "with_exposed"]

BARE = {"nothing loaded", "filters missing"}  #: no filter at all: never safe, whatever the settings hold
SETTINGS_MOVED = {"settings swapped", "sides exchanged"}
OUTPUTS_MOVED = {"outputs swapped", "side outputs exchanged"}


def with_exposed(build: Build, settings: Settings, story: tuple[Cause, ...]) -> tuple[Cause, ...]:
    """The same causes, each with the channels that it leaves unprotected, alone or together with the others."""
    whole = exposed(build, settings, story)
    marked = []
    for index, cause in enumerate(story):
        others = exposed(build, settings, (*story[:index], *story[index + 1 :]))
        alone = exposed(build, settings, (cause,))
        names = tuple(name for name in whole if name in alone or name not in others)
        marked.append(replace(cause, exposes=names))
    return tuple(marked)


def exposed(build: Build, settings: Settings, story: tuple[Cause, ...]) -> tuple[str, ...]:
    """Channels whose loudspeakers play below their safe limit if ``story`` is true, and would not by ``settings``.

    A high-pass that the settings themselves put below the limit is a wish of the build, and the tune has remarked on it.
    """
    should = {item.name: _corner_hz(settings, item.name) for item in settings.channels}
    seems = _after(settings, story)
    bare = {name for cause in story if cause.kind in BARE for name in cause.channels}
    return tuple(
        name
        for name, hertz in seems.items()
        if hertz < safe_range(build, name)[0] and (hertz < should[name] or name in bare)
    )


def _after(settings: Settings, story: tuple[Cause, ...]) -> dict[str, float]:
    """Highest high-pass in Hz (0 where there is none) that reaches the loudspeakers of every channel.

    Filters first, then what was exchanged: a filter is a channel's own wherever its settings went.
    """
    names = [item.name for item in settings.channels]
    lost = {name for cause in story if cause.kind in BARE for name in cause.channels}
    moved: dict[str, dict[int, float]] = {}
    for cause in story:
        if cause.filter_index is not None and cause.kind in ("filter missing", "crossover moved"):
            found_hz = cause.amount if cause.kind == "crossover moved" and cause.amount is not None else 0.0
            moved.setdefault(cause.channels[0], {})[cause.filter_index] = found_hz
    corners = {name: 0.0 if name in lost else _corner_hz(settings, name, moved.get(name, {})) for name in names}
    speakers = {name: name for name in names}
    for cause in story:
        other = _partners(cause)
        if cause.kind in SETTINGS_MOVED:
            corners = {name: corners[other.get(name, name)] for name in names}
        if cause.kind in OUTPUTS_MOVED:
            speakers = {name: speakers[other.get(name, name)] for name in names}
    return {speakers[name]: corners[name] for name in names}


def _corner_hz(settings: Settings, name: str, moved: Mapping[int, float] | None = None) -> float:
    """Highest high-pass of a channel in Hz, those in ``moved`` (by index) where they were found; 0 where there is none."""
    rows = enumerate(settings.channel(name).filters)
    return max(((moved or {}).get(i, row.frequency_hz) for i, row in rows if row.kind == "high-pass"), default=0.0)


def _partners(cause: Cause) -> dict[str, str]:
    """Each channel of an exchange with the one it changed places with; sides are listed pair by pair."""
    pairs = list(zip(cause.channels[::2], cause.channels[1::2], strict=True)) if len(cause.channels) % 2 == 0 else []
    return {one: other for pair in pairs for one, other in (pair, pair[::-1])}
