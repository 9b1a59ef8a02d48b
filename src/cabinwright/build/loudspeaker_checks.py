"""Rules that join drive units, speakers and boxes: names that exist and are unique, one box for each speaker."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.locate import Path

__all__ = ["loudspeaker_check"]


def loudspeaker_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between ``speaker_models``, ``speakers``, ``boxes`` and ``impedance_curves``."""
    for table, kind in (("speaker_models", "speaker model"), ("boxes", "enclosure")):
        yield from repeated(rows_of(data, table), (table,), kind)
    models = names_of(data, "speaker_models")
    for table in ("speakers", "boxes", "impedance_curves"):
        for number, row in rows_of(data, table):
            word = row.get("model")
            if isinstance(word, str) and word not in models:
                yield unknown((table, number, "model"), word, models, "speaker model", "speaker_models")
    sheets = names_of(data, "sheets")
    for number, row in rows_of(data, "boxes"):
        shape = row.get("shape")
        word = shape.get("sheet") if isinstance(shape, dict) else None
        if isinstance(word, str) and word not in sheets:
            yield unknown(("boxes", number, "shape", "sheet"), word, sheets, "sheet", "sheets")
    yield from _boxed(data)
    yield from _one_model(data)
    yield from _curves(data)


def _boxed(data: Mapping[str, Any]) -> Iterator[Fault]:
    """A box names speakers that exist, and each is in one box. A file without any speakers is about boxes alone."""
    speakers, inside = names_of(data, "speakers"), dict[str, str]()
    for number, row in rows_of(data, "boxes"):
        listed = row.get("speakers")
        for index, word in enumerate(listed if isinstance(listed, list) else []):
            path: Path = ("boxes", number, "speakers", index)
            if not isinstance(word, str):
                continue
            if speakers and word not in speakers:
                yield unknown(path, word, speakers, "speaker", "speakers")
            elif word in inside:
                rule = f"this speaker already sits in box {inside[word]}"
                yield Fault(path, rule, shown(word), "Name each speaker in one box, once.")
            inside[word] = shown(row.get("name", "without a name"))


def _one_model(data: Mapping[str, Any]) -> Iterator[Fault]:
    """The speakers of a box are alike, and the box knows which model they are."""
    own = {row["name"]: row.get("model") for _, row in rows_of(data, "speakers") if isinstance(row.get("name"), str)}
    for number, row in rows_of(data, "boxes"):
        listed, model = row.get("speakers"), row.get("model")
        words = [word for word in listed if isinstance(word, str)] if isinstance(listed, list) else []
        named = {own[word] for word in words if isinstance(own.get(word), str)}
        path: Path = ("boxes", number, "model")
        if isinstance(model, str):
            named.add(model)
        if not named and "model" not in row:
            cure = "Write `model`, or give its speakers one."
            yield Fault(path, "nothing says which speaker model is in the box", "", cure)
        elif len(named) > 1:
            got = ", ".join(shown(word) for word in sorted(map(str, named)))
            yield Fault(
                path,
                "the speakers of a box are of one model",
                got,
                "Give speakers of another model a box of their own.",
            )


def _curves(data: Mapping[str, Any]) -> Iterator[Fault]:
    """A mass or a box tells something only beside a sweep in free air."""
    rows = rows_of(data, "impedance_curves")
    free = [row.get("model") for _, row in rows if row.get("method", "free air") == "free air"]
    for number, row in rows:
        if row.get("method") in ("added mass", "known box") and row.get("model") not in free:
            rule = f"a sweep with {row['method']} is read beside one in free air of the same model"
            cure = 'Add an [[impedance_curves]] with method = "free air".'
            yield Fault(("impedance_curves", number, "method"), rule, shown(row.get("model")), cure)
