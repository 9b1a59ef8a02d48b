"""What a build needs, counted from the build, and the parts of the library that are meant.

A part of the library stands for a row of the build where its ``data`` says so (every entry has to agree), or else by its name
or number. Of several the one whose ``data`` says most is taken, then the first by number. What has no part is named, not guessed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_UP, Decimal
from typing import Any

from sqlalchemy import select

from cabinwright.build.checking import folded
from cabinwright.build.document import Build
from cabinwright.handover.goods import goods
from cabinwright.handover.lists import lists
from cabinwright.handover.workshop_page import length_words
from cabinwright.pipeline import Results
from cabinwright.shop.rows import Part
from cabinwright.shop.trail import Work

__all__ = ["Wanted", "matched", "wanted"]

KINDS = {"wire": "wire", "signal cables": "wire", "fuses": "fuse", "amplifiers": "amplifier"}
"""Group of the installer's list -> kind in the library; every other group is "other"."""
STEP = Decimal("0.01")
SOLD = {"g": ("kg", 1e-3), "ml": ("l", 1e-3)}  #: unit of the workshop's list -> that of the library


@dataclass(frozen=True)
class Wanted:
    """One thing that a build needs."""

    kind: str
    what: str
    amounts: Mapping[str, Decimal]  #: unit -> how much, in each unit that it may be sold by
    data: Mapping[str, Any] = field(default_factory=dict)
    used_for: str = ""

    @property
    def shown(self) -> str:
        """``2 piece wire, red``."""
        unit, much = next(iter(self.amounts.items()))
        much = much.normalize()
        return f"{much:f} {unit} of {self.what}" if unit != "piece" else f"{much:f} × {self.what}"


def wanted(build: Build, results: Results) -> tuple[Wanted, ...]:
    """Loudspeakers, sheets, glue and fixings, wire, terminals, fuses, amplifiers and devices, in this order."""
    return (*_speakers(build), *_sheets(results), *_fixings(build, results), *_electrical(build, results))


def _speakers(build: Build) -> Iterator[Wanted]:
    models = {name: box.model for box in build.boxes for name in box.speakers}
    counts = Counter(speaker.model or models.get(speaker.name) or "" for speaker in build.speakers)
    counts.update(box.model for box in build.boxes if box.model and not box.speakers)
    nameless = counts.pop("", 0)
    for model, count in counts.items():
        yield Wanted("loudspeaker model", str(model), {"piece": Decimal(count)}, {"model": model})
    if nameless:
        yield Wanted("loudspeaker model", "loudspeaker whose model is not chosen yet", {"piece": Decimal(nameless)})


def _sheets(results: Results) -> Iterator[Wanted]:
    sheets = results.workshop.nesting if results.workshop is not None else ()
    for name in dict.fromkeys(item.sheet for item in sheets):
        mine = [item for item in sheets if item.sheet == name]
        area = sum((_up(item.length_m * item.width_m) for item in mine), Decimal(0))
        yield Wanted("sheet", name, {"piece": Decimal(len(mine)), "m2": area}, {"sheet": name})


def _fixings(build: Build, results: Results) -> Iterator[Wanted]:
    """Glue, sealant, screws and bolts of the workshop's list, each once."""
    rows = goods(build, results.workshop, length_words(build)) if results.workshop is not None else ()
    for what, unit in dict.fromkeys((item.what, item.unit) for item in rows):
        mine = [item for item in rows if (item.what, item.unit) == (what, unit)]
        sold, share = SOLD.get(unit, (unit, 1.0))
        much = sum((_up(share * item.quantity) for item in mine), Decimal(0))
        data = {"group": "workshop", "what": what}
        yield Wanted("fixing", what, {sold: much}, data, ", ".join(dict.fromkeys(item.used_for for item in mine)))


def _electrical(build: Build, results: Results) -> Iterator[Wanted]:
    if results.power is None:
        return
    found = lists(build, results.power)
    cuts = iter(found.harness.cuts)
    for part in found.parts:
        kind = KINDS.get(part.group, "other")
        data: dict[str, Any] = {"group": part.group, "what": part.what}
        if part.group == "wire":
            cut = next(cuts)
            data |= {"size": cut.size, "colour": cut.colour, "insulation": cut.insulation}
        if part.group == "fuses":
            data |= {"rating_a": float(part.what.split()[-2]), "holder": "holder" in part.what}
        if part.group in ("amplifiers", "loads"):
            data |= {"load": part.used_for.split(" ", 1)[-1]}
        unit = "m" if part.unit == "m" else "piece"
        yield Wanted(kind, part.what, {unit: _up(part.quantity)}, data, part.used_for)


def _up(quantity: float) -> Decimal:
    """To the hundredth above: a centimetre of wire; what is whole stays whole."""
    return Decimal(repr(round(quantity, 6))).quantize(STEP, ROUND_UP)


def matched(work: Work, things: Iterable[Wanted]) -> tuple[list[tuple[Wanted, Part]], list[Wanted]]:
    """Each thing with its part, and things that the library does not hold in a unit that fits."""
    things = list(things)
    by_data, by_name = _library(work, {thing.kind for thing in things})
    best: list[tuple[Wanted, int]] = []
    missing: list[Wanted] = []
    for thing in things:
        near = (*by_data.get(thing.kind, ()), *by_name.get((thing.kind, folded(thing.what)), ()))
        fits = [(-weight, place, row.id) for place, row in near if (weight := _fit(thing, row)) > 0]
        if fits:
            best.append((thing, min(fits)[2]))  # the first by number of those that say as much
        else:
            missing.append(thing)
    parts = {part.id: part for part in work.scalars(select(Part).where(Part.id.in_({number for _, number in best})))}
    return [(thing, parts[number]) for thing, number in best], missing


def _library(
    work: Work, kinds: Collection[str]
) -> tuple[dict[str, list[tuple[int, Any]]], dict[tuple[str, str], list[tuple[int, Any]]]]:
    """Parts of some kinds that can be had, with their place by number: those that say what they stand for, and others by name."""
    by_data: dict[str, list[tuple[int, Any]]] = {}
    by_name: dict[tuple[str, str], list[tuple[int, Any]]] = {}
    columns = (
        Part.id,
        Part.kind,
        Part.unit,
        Part.number,
        Part.name,
        Part.data,
    )  # whole rows of a large library take seconds
    rows = work.execute(select(*columns).where(Part.kind.in_(kinds), ~Part.gone).order_by(Part.number))
    for item in enumerate(rows):
        part = item[1]
        if part.data:
            by_data.setdefault(part.kind, []).append(item)
            continue
        for words in {folded(part.name), folded(part.number)}:
            by_name.setdefault((part.kind, words), []).append(item)
    return by_data, by_name


def _fit(thing: Wanted, part: Any) -> int:
    """How much a part of the same kind says that it stands for a thing, and one without data by its name; 0: it does not."""
    if part.unit not in thing.amounts:
        return 0
    agrees = all(key in thing.data and _alike(thing.data[key], value) for key, value in part.data.items())
    return 1 + len(part.data) if agrees else 0


def _alike(one: Any, other: Any) -> bool:
    if isinstance(one, str) and isinstance(other, str):
        return folded(one) == folded(other)
    numbers = isinstance(one, int | float) and isinstance(other, int | float)
    return bool(one == other) and (numbers or type(one) is type(other) or one is None)
