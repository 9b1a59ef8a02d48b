"""Which speaker a chosen place becomes, and whether it may. Nothing is written here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import dist
from typing import Any

from cabinwright.build.cabin import Place
from cabinwright.build.checking import rows_of, shown, unknown
from cabinwright.build.document import Build, Speaker
from cabinwright.errors import RefusedError
from cabinwright.findings import Finding
from cabinwright.stages.layout.keep_outs import keep_out_findings
from cabinwright.stages.layout.pose import aim_of

__all__ = ["Decision", "accepted_at", "decide"]

SAME_M = 0.001  #: speaker and place nearer than this are at one point
SAME_AIM = 0.01  #: and pointing the same way: difference of unit vectors, about half a degree
DIGITS = 4  #: of an aim written into the build: a hundredth of a degree


@dataclass(frozen=True)
class Decision:
    """One place that was chosen."""

    place: str
    row: Mapping[str, Any] | None  #: the ``[[speakers]]`` table to write; None where it stands there already
    moved: Mapping[str, Any]  #: keys of the speaker of this name to write anew, where it stood elsewhere
    findings: tuple[Finding, ...]  #: what the person should know beforehand; no stop among them


def decide(
    located: Build, data: Mapping[str, Any], names: Iterable[str], *, again: bool = False
) -> tuple[Decision, ...]:
    """The speakers that the places ``names`` become, each once. Nothing is decided unless all of them may be.

    ``located`` is the build with coordinates in place of surveyed names, ``data`` the plain TOML it was read from: a
    position stays as the person wrote it. ``again`` lets a place that was moved take its speaker along; recordings of it were
    made where it stood.

    Raises ``RefusedError`` for a name that no place has, one that another speaker bears, and a place that would put
    people in danger.
    """
    chosen = [_decide(located, data, name, again=again) for name in dict.fromkeys(names)]
    stops = [item for decision in chosen for item in decision.findings if item.severity == "stop"]
    if stops:
        said = "\n".join(f"{item.message.rstrip('.')}. {item.remedy}" for item in stops)
        raise RefusedError(f"{said}\nNothing was written.", findings=tuple(stops))
    return tuple(chosen)


def _decide(located: Build, data: Mapping[str, Any], name: str, *, again: bool) -> Decision:
    place = next((item for item in located.places if item.name == name), None)
    if place is None:
        fault = unknown(("places",), name, [item.name for item in located.places], "place", "places")
        raise RefusedError(f"{fault.rule}: {fault.got}. {fault.cure}")
    raw = next(row for _, row in rows_of(data, "places") if row.get("name") == name)
    aim = _aim(located, place, raw)
    speaker = next((item for item in located.speakers if item.name == name), None)
    if speaker is not None and again and (speaker.role, speaker.side) == (place.role, place.side):
        moved = {} if _is_here(speaker, place, aim) else {"position_m": raw["position_m"], "aim": aim}
        return Decision(name, None, moved, keep_out_findings(located, [place]) if moved else ())
    if speaker is not None:
        _same(speaker, place, aim)
        return Decision(name, None, {}, ())
    row = {"name": name, "role": place.role, "side": place.side, "position_m": raw["position_m"], "aim": aim}
    return Decision(name, row, {}, keep_out_findings(located, [place]))


def _aim(located: Build, place: Place, raw: Mapping[str, Any]) -> list[float]:
    """As written where it is a direction; else the direction of today's head, since a speaker does not turn with one."""
    if isinstance(place.aim, tuple):
        return list(raw["aim"])
    return [round(float(part), DIGITS) + 0.0 for part in aim_of(located, place)]


def accepted_at(located: Build, name: str) -> bool | None:
    """Whether the speaker of this name stands and points as the place does now; None: there is no such speaker."""
    speaker = next((item for item in located.speakers if item.name == name), None)
    place = next((item for item in located.places if item.name == name), None)
    if speaker is None or place is None:
        return None
    return _is_here(speaker, place, aim_of(located, place))


def _is_here(speaker: Speaker, place: Place, aim: Iterable[float]) -> bool:
    if speaker.position_m is None or dist(speaker.position_m, place.position_m) > SAME_M:
        return False
    return speaker.aim is None or dist(_unit(speaker.aim), _unit(aim)) <= SAME_AIM


def _same(speaker: Speaker, place: Place, aim: list[float]) -> None:
    """Passes over a speaker that is this place already; refuses any other of its name."""
    name = shown(place.name)
    cure = (
        "Give the place another name, or take that [[speakers]] out of build.toml first if the place is to replace it; "
        "recordings made of it then no longer count."
    )
    if speaker.position_m is None:
        raise RefusedError(f"there is a speaker {name} already, without a position. {cure}")
    apart_m = dist(speaker.position_m, place.position_m)
    if apart_m > SAME_M:
        raise RefusedError(f"there is a speaker {name} already, {1000 * apart_m:.0f} mm from this place. {cure}")
    if (speaker.role, speaker.side) != (place.role, place.side):
        raise RefusedError(f"there is a speaker {name} already, for another role or side. {cure}")
    if speaker.aim is not None and dist(_unit(speaker.aim), _unit(aim)) > SAME_AIM:
        raise RefusedError(f"there is a speaker {name} already, and it points another way. {cure}")


def _unit(way: Iterable[float]) -> list[float]:
    parts = [float(part) for part in way]
    length = dist(parts, (0.0,) * 3)
    return [part / length for part in parts]
