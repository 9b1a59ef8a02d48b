"""Plain data as JSON that a person can read: short lists of numbers stay on one line."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from cabinwright.findings import Finding

__all__ = ["json_text", "plain"]

DIGITS = 6  #: significant digits of a number in plan.json: far beyond what any of them is known to
EXACT = ("sections",)  #: filters, as lists of floats: a bass filter with coefficients of six digits is another filter


def json_text(data: Any) -> str:
    """``data`` as strict JSON (no NaN, no infinity: ``ValueError``), ending in a newline."""
    return _text(data, "") + "\n"


def _text(data: Any, indent: str) -> str:
    kind = type(data)
    if kind is str:
        return _quoted(data)
    if kind is float and math.isfinite(data):
        return repr(data)  # as json writes it: the shortest digits that read back the same
    if isinstance(data, Mapping) and data:
        inner = indent + "  "
        rows = [f"{inner}{_quoted(str(key))}: {_text(value, inner)}" for key, value in data.items()]
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    if isinstance(data, list | tuple) and any(isinstance(item, Mapping | list | tuple) for item in data):
        inner = indent + "  "
        return "[\n" + ",\n".join(inner + _text(item, inner) for item in data) + f"\n{indent}]"
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


@lru_cache(maxsize=4096)  # keys, and the values of states, stand in it thousands of times
def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def plain(value: Any) -> Any:
    """JSON's own types for a result of any stage: numbers rounded, NaN and infinity as ``None``."""
    kind = type(value)  # most are one of these, and asking for an exact type is much quicker than for a subclass
    if kind is str or kind is int or kind is bool or value is None:
        return value
    if kind is float:
        return _rounded(value)
    if kind is dict:
        return {str(key): item if key in EXACT else plain(item) for key, item in value.items()}
    if isinstance(value, Finding):
        return plain(value.to_dict())
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(key): item if key in EXACT else plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in (sorted(value, key=str) if isinstance(value, set | frozenset) else value)]
    if isinstance(value, float):
        return _rounded(value)
    if isinstance(value, complex):
        return [_rounded(value.real), _rounded(value.imag)]
    if value is None or isinstance(value, str | int):
        return value
    if hasattr(value, "model_dump"):
        return plain(value.model_dump())
    return str(value)


def _rounded(value: float) -> float | None:
    return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
