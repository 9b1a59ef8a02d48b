"""Rules that join the tables of the signal chain: names that exist and are unique, no rings, routes that lead somewhere.

What is merely doubtful (a source that no preset can hear, a channel without an amplifier) is a finding of the signal stage.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from cabinwright.build.checking import Fault, did_you_mean, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.locate import Path
from cabinwright.build.power_checks import conditions_check, values_of_states

__all__ = ["chain_check"]

PROCESSOR = "processor"
_RADIO = "factory radio"
_NAMED = {
    "sources": "source", "converters": "converter", "inputs": "input", "amplifiers": "amplifier", "presets": "preset",
    "service_bypasses": "service bypass",
}  # fmt: skip
_FEEDS = {"sources": "source", "factory_outputs": "factory output", "converters": "converter"}
_NODES = ("from", "to", "coil_from", "coil_to", "remote")


def chain_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between the tables of the signal chain."""
    for table, kind in _NAMED.items():
        yield from repeated(rows_of(data, table), (table,), kind)
    yield from _one_name_each(data)
    yield from _feeds(data)
    yield from _rings(data)
    yield from _amplifiers(data)
    yield from _presets(data)
    yield from _turn_on(data)
    yield from _bypasses(data)
    wishes = data.get("chain")
    if isinstance(wishes, Mapping):
        yield from conditions_check(wishes.get("warns_when"), ("chain", "warns_when"), values_of_states(data))


def _one_name_each(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Sources, factory outputs, converters, amplifiers and the processor are named by one another."""
    owner = {PROCESSOR: "the processor itself"}
    for table, kind in (*_FEEDS.items(), ("amplifiers", "amplifier")):
        mine = dict[str, str]()
        for number, row in rows_of(data, table):
            word = row.get("name")
            if isinstance(word, str) and word in owner:
                rule = f"this is also the name of {owner[word]}, and whatever names it could mean either"
                yield Fault((table, number, "name"), rule, shown(word), "Give one of the two another name.")
            elif isinstance(word, str):
                mine[word] = f"a {kind}" if kind != "amplifier" else "an amplifier"
        owner |= mine
    radios = [number for number, row in rows_of(data, "sources") if row.get("kind") == _RADIO]
    for number in radios[1:]:
        rule = "only one source is the factory radio: the factory outputs are its own"
        cure = 'Write kind = "analogue", "optical" or what else it is for the other one.'
        yield Fault(("sources", number, "kind"), rule, shown(_RADIO), cure)


def _feeds(data: Mapping[str, Any]) -> Iterator[Fault]:
    """What converters and inputs are joined to, and inputs fed in a way that cannot be."""
    known = [name for table in _FEEDS for name in names_of(data, table)]
    for number, row in rows_of(data, "converters"):
        word = row.get("from")
        if isinstance(word, str) and word not in known:
            yield _unknown_feed(("converters", number, "from"), word, known)
    for number, row in rows_of(data, "inputs"):
        listed = row.get("from")
        words = [listed] if isinstance(listed, str) else listed if isinstance(listed, list) else []
        for index, word in enumerate(words):
            path: Path = ("inputs", number, "from", index) if isinstance(listed, list) else ("inputs", number, "from")
            if not isinstance(word, str):
                continue
            if word not in known:
                yield _unknown_feed(path, word, known)
            elif word in words[:index]:
                yield Fault(path, "this input is fed twice by the same", shown(word), "Name it once.")
        if len(words) > 1 and row.get("sample_rate_hz") is not None:
            rule = "a digital input takes one stream, and this one is fed twice"
            cure = "Put a switch or a converter between, or use another input."
            yield Fault(("inputs", number, "from"), rule, shown(words), cure)


def _unknown_feed(path: Path, word: str, known: list[str]) -> Fault:
    return unknown(path, word, known, "source, converter or factory output", "sources")


def _rings(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Converters that feed each other in a ring, and devices that wake each other."""
    for table, name, key, cure in (
        ("converters", "name", "from", "Let one of them be fed by a source."),
        ("turn_on", "device", "by", "Let the car itself wake one of them: leave its by out."),
    ):
        ahead = {
            row[name]: row[key]
            for _, row in rows_of(data, table)
            if isinstance(row.get(name), str) and isinstance(row.get(key), str)
        }
        for number, row in rows_of(data, table):
            word = row.get(name)
            ring = _ring(ahead, word) if isinstance(word, str) else None
            if ring and word == min(ring):  # one fault for each ring
                rule = "these go round in a ring, so nothing ever begins"
                yield Fault((table, number, key), rule, " → ".join(shown(part, 24) for part in (*ring, ring[0])), cure)


def _ring(ahead: Mapping[str, str], start: str) -> list[str] | None:
    """The names from ``start`` round to itself again; None where that never happens."""
    way, here = [start], ahead.get(start)
    while here is not None and here not in way:
        way.append(here)
        here = ahead.get(here)
    return way if here == start else None


def _amplifiers(data: Mapping[str, Any]) -> Iterator[Fault]:
    drives = {
        row["name"]: [word for word in row["speakers"] if isinstance(word, str)]
        for _, row in rows_of(data, "channels")
        if isinstance(row.get("name"), str) and isinstance(row.get("speakers"), list)
    }
    channels, speakers, loads = names_of(data, "channels"), names_of(data, "speakers"), names_of(data, "loads")
    for number, row in rows_of(data, "amplifiers"):
        load = row.get("load")
        if isinstance(load, str) and load not in loads:
            yield unknown(("amplifiers", number, "load"), load, loads, "load", "loads")
        lines = rows_of(row, "channels")
        yield from repeated(lines, ("amplifiers", number, "channels"), "amplifier channel")
        for index, line in lines:
            yield from _line(("amplifiers", number, "channels", index), line, channels, speakers, drives)


def _line(
    path: Path, line: Mapping[str, Any], channels: list[str], speakers: list[str], drives: Mapping[str, list[str]]
) -> Iterator[Fault]:
    """One channel of an amplifier: the processor's channel before it, and the loudspeakers behind."""
    feed, listed = line.get("from"), line.get("speakers")
    if isinstance(feed, str) and feed not in channels:
        yield unknown((*path, "from"), feed, channels, "channel", "channels")
    words = listed if isinstance(listed, list) else []
    for index, word in enumerate(words):
        if not isinstance(word, str):
            continue
        here: Path = (*path, "speakers", index)
        if word not in speakers:
            yield unknown(here, word, speakers, "speaker", "speakers")
        elif word in words[:index]:
            yield Fault(here, "this speaker is named twice here", shown(word), "Name it once.")
        elif isinstance(feed, str) and feed in drives and word not in drives[feed]:
            rule = f"the channel {shown(feed)} that feeds this amplifier's channel does not drive this speaker"
            cure = f"Write it into speakers of the channel {shown(feed)}, or feed this one from another channel."
            yield Fault(here, rule, shown(word), cure)


@dataclass(frozen=True)
class _Reach:
    """Which sources get to an input of the processor."""

    sources: list[str]
    arrive: set[str]

    def fault(self, path: Path, word: Any) -> Iterator[Fault]:
        if not isinstance(word, str):
            return
        if word not in self.sources:
            yield unknown(path, word, self.sources, "source", "sources")
        elif word not in self.arrive:
            cure = "Name it, or what it plays through, in the from of one of the [[inputs]]."
            yield Fault(path, "this source reaches no input of the processor", shown(word), cure)


def _reach(data: Mapping[str, Any]) -> _Reach:
    ahead = {row["name"]: row.get("from") for _, row in rows_of(data, "converters") if isinstance(row.get("name"), str)}
    outputs = set(names_of(data, "factory_outputs"))
    radios = [row for _, row in rows_of(data, "sources") if row.get("kind") == _RADIO]
    radio = names_of({"sources": radios}, "sources")
    arrive: set[str] = set()
    for _, row in rows_of(data, "inputs"):
        listed = row.get("from")
        for word in [listed] if isinstance(listed, str) else listed if isinstance(listed, list) else []:
            seen: set[str] = set()
            while isinstance(word, str) and word in ahead and word not in seen:
                seen.add(word)
                word = ahead[word]
            if isinstance(word, str):
                arrive |= {word, *radio} if word in outputs else {word}
    return _Reach(names_of(data, "sources"), arrive)


def _presets(data: Mapping[str, Any]) -> Iterator[Fault]:
    reach, channels = _reach(data), names_of(data, "channels")
    for number, row in rows_of(data, "presets"):
        here: Path = ("presets", number)
        yield from reach.fault((*here, "source"), row.get("source"))
        seen: set[str] = set()
        for index, route in rows_of(row, "routes"):
            word = route.get("channel")
            if not isinstance(word, str):
                continue
            if word not in channels:
                yield unknown((*here, "routes", index, "channel"), word, channels, "channel", "channels")
            elif word in seen:
                rule = "this channel has two routes in one preset"
                cure = "Write left_db and right_db into one of them."
                yield Fault((*here, "routes", index, "channel"), rule, shown(word), cure)
            seen.add(word)
        extras = [row["also"]] if isinstance(row.get("also"), Mapping) else row.get("also")
        names = [extra.get("source") if isinstance(extra, Mapping) else None for extra in _list(extras)]
        for index, word in enumerate(names):
            at: Path = (
                (*here, "also", index, "source") if isinstance(row.get("also"), list) else (*here, "also", "source")
            )
            yield from reach.fault(at, word)
            if isinstance(word, str) and (word == row.get("source") or word in names[:index]):
                yield Fault(at, "this source is in the preset already", shown(word), "Take it out here.")


def _list(value: Any) -> Iterable[Any]:
    return value if isinstance(value, list) else ()


def _turn_on(data: Mapping[str, Any]) -> Iterator[Fault]:
    devices = [
        *(name for table in ("sources", "converters", "amplifiers") for name in names_of(data, table)),
        PROCESSOR,
    ]
    count = Counter[str]()
    for number, row in rows_of(data, "turn_on"):
        for key in ("device", "by"):
            word = row.get(key)
            if isinstance(word, str) and word not in devices:
                yield unknown(("turn_on", number, key), word, devices, "source, converter or amplifier", "sources")
        word = row.get("device")
        if isinstance(word, str):
            count[word] += 1
            if count[word] == 2:
                cure = "Put both into one table."
                yield Fault(("turn_on", number, "device"), "this device has two tables", shown(word), cure)


def _bypasses(data: Mapping[str, Any]) -> Iterator[Fault]:
    values, loads = values_of_states(data), names_of(data, "loads")
    nodes = _nodes(data)
    for number, row in rows_of(data, "service_bypasses"):
        here: Path = ("service_bypasses", number)
        yield from conditions_check(row.get("when"), (*here, "when"), values)
        for index, word in enumerate(_list(row.get("silent"))):
            if isinstance(word, str) and word not in loads:
                yield unknown((*here, "silent", index), word, loads, "load", "loads")
        for key in ("from", "to"):
            word = row.get(key)
            if isinstance(word, str) and word not in nodes:
                near = did_you_mean(word, sorted(nodes))
                cure = f"Did you mean {shown(near)}?" if near else "Lead a wire, a switch or a relay to it."
                yield Fault((*here, key), "no wire, fuse, switch or relay has this node", shown(word), cure)
        if isinstance(row.get("from"), str) and row.get("from") == row.get("to"):
            yield Fault((*here, "to"), "from and to are the same node", shown(row["to"]), "Name the scan tool's side.")


def _nodes(data: Mapping[str, Any]) -> set[str]:
    return {
        row[key]
        for table in ("wires", "fuses", "switches", "relays")
        for _, row in rows_of(data, table)
        for key in _NODES[: 4 if table == "relays" else 2]
        if isinstance(row.get(key), str)
    }
