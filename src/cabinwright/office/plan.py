"""Tasks of a job and their order, from the build: what comes out, what is cut before what, joined, fitted, proved, closed up.

The order of trims is the service graph's. That a jig is cut before what is set by it is fitted, that a box is cut before it is
glued and glued before it is fitted, and that power comes on only when every joint is made, is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cabinwright.build.document import Build
from cabinwright.handover.harness import harness
from cabinwright.pipeline import Results

__all__ = ["CLOSING", "COMMISSIONING", "KINDS", "Planned", "planned"]

CLOSING, COMMISSIONING = "closing up", "commissioning"
KINDS = ("taking out", "cutting", "assembling", "fitting", "wiring", COMMISSIONING, CLOSING, "tuning", "handing over")
"""Kinds of work, by which the shop's hours are compared."""
PHASES = ("Before power", "First power", "Under load")


@dataclass(frozen=True)
class Planned:
    """One task."""

    name: str
    kind: str
    after: tuple[str, ...] = ()  #: names of tasks that have to be done before it
    hidden: bool = False  #: nobody sees it once the car is closed: a photograph has to be kept
    minutes: float | None = None  #: as the build says


def planned(build: Build, results: Results) -> tuple[Planned, ...]:
    """Every task, each after those that it waits for."""
    groups = _groups(build, results)
    out = tuple(_out(build, results))
    cut = tuple(Planned(f"Cut {name}", "cutting") for name in groups)
    made = tuple(_assembling(build, groups))
    fitted = tuple(_fitting(build, results, out, (*cut, *made)))
    wired = tuple(_wiring(build, results, out, fitted))
    built = (*cut, *made, *fitted, *wired)
    proved = tuple(_commissioning(results, _ends(built) or _ends(out)))
    closed = tuple(_closing(out, _ends((*built, *proved))))
    tuned = tuple(_tuning(build, _ends((*out, *built, *proved, *closed))))
    so_far = (*out, *built, *proved, *closed, *tuned)
    return (*so_far, Planned("Hand over with the book", "handing over", _ends(so_far)))


def _ends(rows: tuple[Planned, ...]) -> tuple[str, ...]:
    """Tasks that nothing else of these waits for."""
    waited = {name for row in rows for name in row.after}
    return tuple(row.name for row in rows if row.name not in waited)


def _out(build: Build, results: Results) -> Iterator[Planned]:
    """What is the car's own and stands in the way, in the order of the service graph."""
    service = results.workshop.service if results.workshop is not None else None
    parts = service.parts if service is not None else {}
    ours = _ours(build)
    car = [name for name, part in parts.items() if part.kind == "part" and not ours & {name, *part.of}]
    for name in car:
        after = tuple(f"Take out {before}" for before in parts[name].first if before in car)
        yield Planned(f"Take out {name}", "taking out", after, minutes=parts[name].minutes)


def _ours(build: Build) -> set[str]:
    """Names of what the build itself brings into the car."""
    rows = (build.boxes, build.panels, build.rings, build.pods, build.floors, build.amplifiers, build.loads)
    more = (build.fuses, build.speakers, build.switches, build.relays, build.connectors)
    return {item.name for table in (*rows, *more) for item in table}


def _groups(build: Build, results: Results) -> dict[str, int]:
    """What is made of flat parts, and of how many: a box, ring, pod or jig by its name, or a panel by itself."""
    stems = [item.name for table in (build.boxes, build.rings, build.pods, build.jigs) for item in table]
    groups: dict[str, int] = {}
    for name, panel in (results.workshop.panels if results.workshop is not None else {}).items():
        whole = max((stem for stem in stems if name == stem or name.startswith(f"{stem}, ")), key=len, default=name)
        groups[whole] = groups.get(whole, 0) + len(panel.parts)
    return groups


def _assembling(build: Build, groups: dict[str, int]) -> Iterator[Planned]:
    """Whatever is made of several parts; what lies inside a box is seen by nobody afterwards."""
    boxes, jigs = {box.name for box in build.boxes}, {jig.name for jig in build.jigs}
    for name, count in groups.items():
        if name not in jigs and (count > 1 or name in boxes):
            yield Planned(f"Put together {name}", "assembling", (f"Cut {name}",), hidden=name in boxes)


def _fitting(build: Build, results: Results, out: tuple[Planned, ...], made: tuple[Planned, ...]) -> Iterator[Planned]:
    """Boxes, mounts and panels go in once the trims are out and their jigs are there; then what holds them, then loudspeakers."""
    names = {row.name for row in made}
    clear = _ends(out)
    jigs = {jig.name for jig in build.jigs}
    holds: dict[str, str] = {}
    wholes = [row.name.removeprefix("Cut ") for row in made if row.kind == "cutting"]
    for name in (item for item in wholes if item not in jigs):
        ready = f"Put together {name}" if f"Put together {name}" in names else f"Cut {name}"
        by = tuple(f"Cut {jig.name}" for jig in build.jigs if jig.of == name and f"Cut {jig.name}" in names)
        holds[name] = f"Fit {name}"
        yield Planned(f"Fit {name}", "fitting", (*clear, ready, *by))
    for fixing in build.fixings:
        fits = tuple(holds[name] for name in fixing.holds if name in holds)
        yield Planned(f"Fix {fixing.name}", "fitting", fits or clear, hidden=True)
    for speaker in build.speakers:
        mounts = [item.name for item in (*build.rings, *build.pods) if speaker.name in (item.speaker, item.name)]
        boxes = [box.name for box in build.boxes if speaker.name in box.speakers]
        fits = tuple(holds[name] for name in (*mounts, *boxes) if name in holds)
        yield Planned(f"Fit loudspeaker {speaker.name}", "fitting", fits or clear)


def _wiring(build: Build, results: Results, out: tuple[Planned, ...], fitted: tuple[Planned, ...]) -> Iterator[Planned]:
    """The harness is made on the bench, laid while the trims are out, joined, and only then hung on what it feeds."""
    if results.power is None:
        return
    rows = harness(build, results.power)
    yield Planned("Cut and crimp the harness", "wiring")
    yield Planned("Lay the harness", "wiring", (*_ends(out), "Cut and crimp the harness"), hidden=True)
    joints = tuple(f"Join at {joint.node}" for joint in rows.joints)
    for name in joints:
        yield Planned(name, "wiring", ("Lay the harness",), hidden=True)
    yield Planned("Connect what the harness feeds", "wiring", (*(joints or ("Lay the harness",)), *_ends(fitted)))


def _commissioning(results: Results, after: tuple[str, ...]) -> Iterator[Planned]:
    """The phases of the sheet, one after the other."""
    if results.power is None:
        return
    for phase in PHASES:
        name = f"Commissioning: {phase.lower()}"
        yield Planned(name, COMMISSIONING, after)
        after = (name,)


def _closing(out: tuple[Planned, ...], after: tuple[str, ...]) -> Iterator[Planned]:
    """Everything goes back the other way round, once all is proved; one task where the build lists no trims."""
    if not out:
        yield Planned("Close up", CLOSING, after)
    waits = {row.name: [later.name for later in out if row.name in later.after] for row in out}
    for row in reversed(out):
        before = tuple(_back(name) for name in waits[row.name])
        yield Planned(_back(row.name), CLOSING, before or after, minutes=row.minutes)


def _back(name: str) -> str:
    return f"Put back {name.removeprefix('Take out ')}"


def _tuning(build: Build, after: tuple[str, ...]) -> Iterator[Planned]:
    if not build.channels:
        return
    yield Planned("Record and tune", "tuning", after)
    yield Planned("Load the settings, record again and verify", "tuning", ("Record and tune",))
