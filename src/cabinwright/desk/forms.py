"""What a form shows of each field: label, unit, limits, default, help, choices, and the findings that stand beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from cabinwright.build.codec import place_of
from cabinwright.build.described import accepts, bounds_of, choices_of, default_words, leaves, states_in, words_of
from cabinwright.build.document import Build
from cabinwright.build.fields import NamedPoint, OrName, PathRule, Quantity
from cabinwright.build.paths import value_at
from cabinwright.build.rewrite import literal
from cabinwright.build.shape import is_list, keys_of, marker_in, model_at, nested_model
from cabinwright.errors import RefusedError
from cabinwright.findings import Finding
from cabinwright.units import UNITS, suffix_of

__all__ = ["FieldView", "field_views", "row_names", "row_words", "spelt_out"]

Path = tuple[str | int, ...]
FIRST = 3  #: values that tell a row without a name


@dataclass(frozen=True, slots=True)
class FieldView:
    """One key of one table, written or not."""

    path: str  #: for ``Desk.edit``
    key: str
    label: str  #: the key without its unit, as words
    kind: str
    """One of "number" "whole" "text" "yes/no" "choice" "word or whole" "list" "point" "file" "states" "table" "rows"."""
    unit: str  #: symbol that a bare number counts in; "" without
    units: tuple[str, ...]  #: symbols that text may use
    low: float | None
    high: float | None
    default: str  #: in words
    help: str
    accepts: str  #: in words
    choices: tuple[Any, ...]
    written: Any  #: as it stands in the file; None: not written
    value: Any  #: what holds now, in the SI unit of the key
    required: bool
    findings: tuple[Finding, ...]


def field_views(path: Path, build: Build, data: Any, found: tuple[Finding, ...]) -> tuple[FieldView, ...]:
    """Every key of the table at ``path``. Raises ``RefusedError`` where there is no table."""
    model, here = model_at(path), _model_in(build, path)
    row = value_at(path, data)
    rows = (
        path and isinstance(path[-1], str) and _listed(path) and not isinstance(row, Mapping)
    )  # or one, for a list of one
    if model is None or rows:
        raise RefusedError(
            f"{place_of(path, data)}: there is no table here. Name a table, or a row by its number or name."
        )
    row = _full(row, model)
    near = _near(path, data, found)
    views = []
    for key, field in keys_of(model).items():
        name = next(name for name, item in model.model_fields.items() if item is field)
        written = row.get(key) if isinstance(row, Mapping) else None
        value = getattr(here, name) if here is not None else None
        views.append(_view((*path, key), key, field, written, value, data, near))
    return tuple(views)


def row_names(path: Path, data: Any) -> tuple[str, ...]:
    """Names of the rows at ``path``."""
    rows = value_at(path, data)
    if not isinstance(rows, list):
        return ()
    return tuple(str(row.get("name", "")) if isinstance(row, Mapping) else "" for row in rows)


def row_words(path: Path, data: Any) -> tuple[str, ...]:
    """What tells the rows at ``path`` apart: the name of each, or the first of what it says."""
    rows = value_at(path, data)
    return tuple(map(_row_words, rows)) if isinstance(rows, list) else ()


def _row_words(row: Any) -> str:
    if not isinstance(row, Mapping):
        return literal(row)
    told = (value if isinstance(value, str) else literal(value) for value in row.values())
    return str(row.get("name") or ", ".join(islice(told, FIRST)))


def spelt_out(path: Path, value: Any, data: Any) -> tuple[Path, Any]:
    """Where ``value`` goes and how: a key of a row that stands as its first value alone makes a table of the row."""
    model, row = model_at(path[:-1]), value_at(path[:-1], data)
    in_row = len(path) > 1 and isinstance(path[-2], int) and isinstance(path[-1], str)
    if model is None or not in_row or not isinstance(row, list):
        return path, value
    full = {**_full(row, model), path[-1]: value}
    return path[:-1], {key: item for key, item in full.items() if item is not None}


def _full(row: Any, model: type[BaseModel]) -> Any:
    """A bare ``[x, y]`` stands for a table with its first key alone."""
    return {next(iter(keys_of(model))): row} if isinstance(row, list) else row


def _view(
    path: Path, key: str, field: FieldInfo, written: Any, value: Any, data: Any, near: tuple[Finding, ...]
) -> FieldView:
    quantity = marker_in(Quantity, field.annotation, field.metadata)
    suffix = quantity.suffix if quantity else None
    units = tuple(unit.symbol for unit in UNITS[suffix]) if suffix else ()
    above, least, most = (quantity.gt, quantity.ge, quantity.le) if quantity else bounds_of(field)
    place = place_of(path, data)
    return FieldView(
        path=place,
        key=key,
        label=_label(key),
        kind=_kind(field, quantity),
        unit=units[0] if units else "°C" if key.endswith("_c") else "",
        units=units,
        low=least if least is not None else above,
        high=most,
        default="" if nested_model(field.annotation) else default_words(field).strip("`*"),
        help=" ".join((field.description or "").split()),
        accepts=accepts(key, field).replace("`", ""),
        choices=choices_of(field.annotation) if _kind(field, quantity) == "choice" else (),
        written=written,
        value=value.name if isinstance(value, NamedPoint) else value,
        required=field.is_required(),
        findings=tuple(item for item in near if _about(item, key, place)),
    )


def _label(key: str) -> str:
    suffix = suffix_of(key)
    return key.removesuffix(f"_{suffix}" if suffix else "_c").replace("_", " ")


def _kind(field: FieldInfo, quantity: Quantity | None) -> str:
    listed = is_list(field.annotation)
    if nested_model(field.annotation) is not None:
        return "rows" if listed else "table"
    if marker_in(OrName, field.annotation, field.metadata) is not None:
        return "point"
    if marker_in(PathRule, field.annotation, field.metadata) is not None:
        return "list" if listed else "file"
    if states_in(field.annotation):
        return "states"
    if listed:
        return "list"
    if choices_of(field.annotation):
        return "choice"
    if words_of(field.annotation):
        return "word or whole"
    kinds = leaves(field.annotation)
    if quantity is not None:
        return "whole" if quantity.whole else "number"
    return "yes/no" if bool in kinds else "whole" if int in kinds else "number" if float in kinds else "text"


def _listed(path: Path) -> bool:
    parent = model_at(path[:-1])
    field = keys_of(parent).get(str(path[-1])) if parent else None
    return field is not None and is_list(field.annotation)


def _model_in(build: Build, path: Path) -> BaseModel | None:
    here: Any = build
    for part in path:
        if isinstance(part, int):
            here = here[part] if isinstance(here, tuple) and part < len(here) else None
        elif isinstance(here, BaseModel):
            named = {key: name for name, item in type(here).model_fields.items() for key in [item.alias or name]}
            here = getattr(here, named[part], None) if part in named else None
        else:
            return None
    return here if isinstance(here, BaseModel) else None


def _near(path: Path, data: Any, found: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings about the table: its path stands in their ``where``, or the name of the row does."""
    place = place_of(path, data)
    row = value_at(path, data)
    name = row.get("name") if isinstance(row, Mapping) else None
    return tuple(
        item
        for item in found
        if (place and item.where.startswith(place))
        or (isinstance(name, str) and (item.where in (name, f"“{name}”") or f"“{name}”" in item.where))
        or (isinstance(name, str) and name in item.where.replace(" and ", ", ").split(", "))
    )


def _about(item: Finding, key: str, place: str) -> bool:
    """Beside which key of its row a finding stands: the one that it names, else the name."""
    if item.where.startswith(place):
        return True
    told = f"{item.where} {item.value} {item.remedy}"
    return key in told.replace("`", " ").split() or key == "name"
