"""The shape of the document, read off its models: which table holds which keys, and what each key accepts."""

from __future__ import annotations

import types
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from cabinwright.build.document import Build
from cabinwright.build.locate import Path

__all__ = ["field_at", "header", "is_list", "is_pair", "keys_of", "marker_in", "model_at", "nested_model"]

Marker = TypeVar("Marker")


def nested_model(annotation: Any) -> type[BaseModel] | None:
    """The model inside an annotation, through ``| None``, ``Annotated`` and ``tuple``; ``None`` if there is none."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for part in get_args(annotation) if (model := nested_model(part))), None)


def marker_in(kind: type[Marker], annotation: Any, metadata: Any = ()) -> Marker | None:
    """The first object of this kind in an annotation or its metadata, a ``Quantity`` for example."""
    for item in (*metadata, *get_args(annotation)):
        found = item if isinstance(item, kind) else marker_in(kind, item)
        if found is not None:
            return found
    return None


def is_list(annotation: Any) -> bool:
    """Whether a field holds a list (a tuple in Python)."""
    if get_origin(annotation) in (Union, types.UnionType):
        return any(is_list(part) for part in get_args(annotation))
    if hasattr(annotation, "__metadata__"):
        return is_list(get_args(annotation)[0])
    return get_origin(annotation) is tuple


def is_pair(annotation: Any) -> bool:
    """Whether a field holds two values, or a list of such pairs."""
    parts = get_args(annotation)
    if get_origin(annotation) is tuple:
        return is_pair(parts[0]) if Ellipsis in parts else len(parts) == 2
    return any(is_pair(part) for part in parts if is_list(part))


def keys_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """The keys a table may hold, as written in TOML, with their fields."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def model_at(path: Path) -> type[BaseModel] | None:
    """The model of the table at ``path``; ``None`` where there is no table."""
    model: type[BaseModel] | None = Build
    for part in path:
        if isinstance(part, str) and model is not None:
            field = keys_of(model).get(part)
            model = nested_model(field.annotation) if field else None
    return model


def field_at(path: Path) -> FieldInfo | None:
    """The field at ``path`` or, for an element of a list, the field that holds the list."""
    words = tuple(part for part in path if isinstance(part, str))
    model = model_at(words[:-1]) if words else None
    return keys_of(model).get(words[-1]) if model else None


def header(path: Path) -> str:
    """How a person writes the head of the table at ``path``: ``[vehicle]``, ``[[seats]]``."""
    dotted = ".".join(part for part in path if isinstance(part, str))
    if not dotted:
        return "the top of the file, before the first [table]"
    return f"[[{dotted}]]" if isinstance(path[-1], int) else f"[{dotted}]"
