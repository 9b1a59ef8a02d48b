"""What a key of a build accepts, in words and in parts, read off its model: for the reference page and for forms."""

from __future__ import annotations

import json
from itertools import chain
from typing import Any, Literal, get_args, get_origin

from annotated_types import BaseMetadata, Ge, Gt, Le, MaxLen, MinLen
from pydantic.fields import FieldInfo

from cabinwright.build.fields import PathRule, Quantity, Written
from cabinwright.build.shape import is_list, is_pair, marker_in
from cabinwright.units import UNITS, unit_names

__all__ = ["accepts", "bounds_of", "choices_of", "default_words", "leaves", "states_in", "words_of"]

_PAIRS = {
    "house_curve": "list of [frequency in Hz, level in dB]; text in Hz, kHz and dB",
    "absorption": "list of [frequency in Hz, part from 0 to 1]; text in Hz and kHz",
}


def default_words(field: FieldInfo) -> str:
    """What holds where the key is absent."""
    if field.is_required():
        return "**required**"
    if field.default is None or field.default == ():
        return "absent"
    value = field.default
    if isinstance(value, float):
        return f"`{value:.10g}`"
    return f"`{json.dumps(value, ensure_ascii=False)}`"


def accepts(key: str, field: FieldInfo) -> str:
    """What a person may write at the key, in words."""
    quantity = marker_in(Quantity, field.annotation, field.metadata)
    listed = is_list(field.annotation)
    written = marker_in(Written, field.annotation, field.metadata)
    if written:
        return written.accepts
    if key in _PAIRS:
        return _PAIRS[key]
    if marker_in(PathRule, field.annotation, field.metadata):
        return "path of a file"
    if quantity:
        unit = f"{UNITS[quantity.suffix][0].symbol}; text in {unit_names(quantity.suffix)}"
        limits = _limits(quantity.gt, quantity.ge, quantity.le)
        number = "whole number" if quantity.whole else "number"
        kind = _many(field, number) if listed else number
        return f"{kind} in {unit}{limits}"
    if states_in(field.annotation):
        return "table of states and values" + (", or a list of such tables" if listed else "")
    words = ", ".join(f"`{json.dumps(word, ensure_ascii=False)}`" for word in words_of(field.annotation))
    if words and not choices_of(field.annotation):
        inner = marker_in(FieldInfo, field.annotation)
        return f"{words} or a whole number{_bounds(inner) if inner else ''}"
    if words:
        return f"list of {words}" if listed else words
    if listed:
        return _many(field, "number" if float in leaves(field.annotation) else "name")
    bounds = _bounds(field)
    if bool in leaves(field.annotation):
        return "`true` or `false`"
    if int in leaves(field.annotation):
        return "whole number" + bounds
    if float in leaves(field.annotation):
        return "number" + bounds
    return "text"


def _many(field: FieldInfo, element: str) -> str:
    inner = field.annotation
    while get_origin(inner) is not tuple:
        inner = next(part for part in get_args(inner) if is_list(part))
    parts = get_args(inner)
    axes = "[x, y]" if is_pair(field.annotation) else "[x, y, z]"
    if Ellipsis not in parts:
        return f"{axes}, each a {element}"
    return f"list of {axes}, each a {element}" if is_list(parts[0]) else f"list of {element}s"


def _limits(gt: float | None, ge: float | None, le: float | None) -> str:
    words = [f"above {gt:.10g}"] if gt is not None else []
    words += [f"from {ge:.10g}"] if ge is not None else []
    words += [f"up to {le:.10g}"] if le is not None else []
    return "; " + " ".join(words) if words else ""


def _bounds(field: FieldInfo) -> str:
    return _limits(*bounds_of(field))


def bounds_of(field: FieldInfo) -> tuple[float | None, float | None, float | None]:
    """The limits of a plain number: above, from, up to."""
    found: dict[type, Any] = {}
    for item in chain(field.metadata, *(getattr(item, "metadata", ()) for item in field.metadata)):
        if isinstance(item, BaseMetadata) and not isinstance(item, MinLen | MaxLen):
            found[type(item)] = item
    gt, ge, le = found.get(Gt), found.get(Ge), found.get(Le)
    return (gt.gt if gt else None, ge.ge if ge else None, le.le if le else None)


def states_in(annotation: Any) -> bool:
    """Whether a value is a table with words of the person's own before the equals signs, as in ``{boot = "open"}``."""
    return get_origin(annotation) is dict or any(map(states_in, get_args(annotation)))


def leaves(annotation: Any) -> set[Any]:
    """The plain types in an annotation."""
    parts = get_args(annotation)
    return set().union(*(leaves(part) for part in parts)) if parts else {annotation}


def choices_of(annotation: Any) -> tuple[Any, ...]:
    """All that may stand there, where that is a few words; empty where a number may stand there besides."""
    return () if int in leaves(annotation) else words_of(annotation)


def words_of(annotation: Any) -> tuple[Any, ...]:
    """The words that may stand there; empty where they are not numbered."""
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((found for part in get_args(annotation) if (found := words_of(part))), ())
