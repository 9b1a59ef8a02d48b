"""Rules that join rings, pods and jigs to the tables they name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.locate import Path

__all__ = ["mount_check"]


def mount_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between rings, pods, jigs and what they stand on, hold and are cut from."""
    for table, kind in (("rings", "ring"), ("pods", "pod"), ("jigs", "jig")):
        yield from repeated(rows_of(data, table), (table,), kind)
    yield from _apart(data)
    surfaces = names_of(data.get("cabin"), "surfaces")
    known = {
        "place": (names_of(data, "places"), "place", "places"),
        "speaker": (names_of(data, "speakers"), "speaker", "speakers"),
        "surface": (surfaces, "surface", "cabin.surfaces"),
        "sheet": (names_of(data, "sheets"), "sheet", "sheets"),
        "rib_sheet": (names_of(data, "sheets"), "sheet", "sheets"),
        "model": (names_of(data, "speaker_models"), "speaker model", "speaker_models"),
        "of": ([*names_of(data, "rings"), *names_of(data, "pods")], "ring or pod", "rings"),
    }
    for table in ("rings", "pods", "jigs"):
        for number, row in rows_of(data, table):
            for key, (choices, kind, source) in known.items():
                yield from _named((table, number, key), row.get(key), choices, kind, source)
            trim = row.get("trim")
            if isinstance(trim, Mapping):
                yield from _named((table, number, "trim", "sheet"), trim.get("sheet"), *known["sheet"])
    yield from _sizes(data)


def _apart(data: Mapping[str, Any]) -> Iterator[Fault]:
    """A jig names a ring or a pod by its name alone."""
    rings = set(names_of(data, "rings"))
    for number, row in rows_of(data, "pods"):
        if isinstance(row.get("name"), str) and row["name"] in rings:
            rule = "a ring has this name, and a jig could not tell which is meant"
            yield Fault(("pods", number, "name"), rule, shown(row["name"]), "Give each ring and pod a name of its own.")


def _sizes(data: Mapping[str, Any]) -> Iterator[Fault]:
    """A hole cannot be drawn for a loudspeaker whose hole is not known."""
    models = {row["name"]: row for _, row in rows_of(data, "speaker_models") if isinstance(row.get("name"), str)}
    for table in ("rings", "pods", "jigs"):
        for number, row in rows_of(data, table):
            model = row.get("model")
            if isinstance(model, str) and model in models and "cut_out_m" not in models[model]:
                cure = 'Give that [[speaker_models]] its cut_out_m, for example cut_out_m = "143 mm".'
                yield Fault(
                    (table, number, "model"), "this model does not say how large its hole is", shown(model), cure
                )


def _named(path: Path, word: Any, choices: list[str], kind: str, table: str) -> Iterator[Fault]:
    if isinstance(word, str) and word not in choices:
        yield unknown(path, word, choices, kind, table)
