"""What the models refuse, said for a person: rule, what was got, cure. No pydantic word gets out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from cabinwright.build.checking import Fault, did_you_mean, shown
from cabinwright.build.document import Build
from cabinwright.build.fields import Quantity
from cabinwright.build.locate import Path
from cabinwright.build.shape import field_at, header, is_list, is_pair, keys_of, marker_in, model_at, nested_model
from cabinwright.units import UNITS

__all__ = ["faults_of"]

_LIMITS = {
    "greater_than": "must be above {gt:.12g}",
    "greater_than_equal": "must be at least {ge:.12g}",
    "less_than": "must be below {lt:.12g}",
    "less_than_equal": "must be at most {le:.12g}",
}
_TYPES = {
    "float_type": ("a number is wanted", "Write a number, for example 0.35, without quotes."),
    "int_type": ("a whole number is wanted", "Write a whole number, for example 10, without quotes."),
    "int_from_float": ("a whole number is wanted", "Write a whole number, for example 10."),
    "string_type": ("text is wanted", 'Put it in double quotes, for example "left tweeter".'),
    "string_too_short": ("a text cannot be empty", "Write something between the quotes."),
    "string_pattern_mismatch": (
        "a name is one line of visible signs and neither begins nor ends with a blank",
        "Take the blank, tab, line break or unseen sign out.",
    ),
    "finite_number": ("a number must be finite", "Write the measured value; nan and inf mean nothing here."),
}
_EXAMPLES = {
    "m3": '0.034, "34 L" or "1.2 ft^3"',
    "m2": '0.048 or "480 cm²"',
    "kg": '0.11 or "110 g"',
    "h": '0.0012 or "1.2 mH"',
    "t_m": '14.5 or "14.5 T·m"',
    "m_per_n": '0.0003 or "0.3 mm/N"',
    "m_s": '17 or "17 m/s"',
    "deg": '20 or "20°"',
    "m": '0.35, "35 cm" or "14 3/8 in"',
    "s": '0.0012, "1.2 ms" or "20.8 µs"',
    "hz": '2500 or "2.5 kHz"',
    "v": '13.8 or "13.8 V"',
    "a": '0.15 or "150 mA"',
    "ah": '80 or "80 Ah"',
    "f": '0.022 or "22 mF"',
    "ohm": '0.006 or "6 mΩ"',
    "w": '18 or "18 W"',
    "db": '-3 or "-3 dB"',
    "db_per_octave": '24 or "24 dB/octave"',
}


def faults_of(error: ValidationError) -> Iterator[Fault]:
    """Each thing that ``Build`` refused."""
    for detail in error.errors(include_url=False):
        if fault := _fault(detail):
            yield fault


def _fault(detail: ErrorDetails) -> Fault | None:
    path: Path = tuple(part for part in detail["loc"])
    kind, context, value = detail["type"], detail.get("ctx", {}), detail["input"]
    got = shown(value)
    if kind == "extra_forbidden":
        return _unknown_key(path)
    if kind == "missing":
        return _missing(path)
    if kind in ("model_type", "model_attributes_type", "tuple_type", "dict_type"):
        return _wrong_shape(path, value)
    if kind == "literal_error":
        return _literal(path, value, str(context.get("expected", "")))
    if kind in ("quantity", "path", "rule"):
        return _own(path, kind, context, value)
    if kind == "wording":
        return Fault(path, str(context["reason"]), got, str(context["cure"]))
    if kind in _LIMITS:
        return Fault(path, _LIMITS[kind].format(**context), got, _limit_cure(path))
    if kind in ("too_short", "too_long"):
        return _length(path, kind, context, value)
    if kind == "string_too_long":
        return Fault(path, f"at most {context['max_length']} letters", got, "Write less.")
    if kind in _TYPES:
        rule, cure = _TYPES[kind]
        quantity = _quantity_at(path)
        if quantity and kind in ("float_type", "int_type"):
            cure = f"Write {_EXAMPLES[quantity.suffix]}."
        return Fault(path, rule, got, cure)
    return Fault(path, detail["msg"], got, "Compare with docs/build_reference.md.")


def _unknown_key(path: Path) -> Fault:
    key, table = str(path[-1]), path[:-1]
    model = model_at(table)
    known = list(keys_of(model)) if model else []
    near = did_you_mean(key, known)
    if near:
        cure = f"Did you mean `{near}`?"
    elif table and key in keys_of(Build):
        cure = f"`{key}` belongs at {header(())}."
    else:
        cure = f"Remove it, or write one of {', '.join(known)}."
    return Fault(path, f"unknown key `{shown(key)[1:-1]}`", "", cure)


def _missing(path: Path) -> Fault:
    key = path[-1]
    if isinstance(key, int):  # a list that is too short for its fixed number of elements
        return Fault(path[:-1], f"wanted: {_elements(path)}", "fewer", "Add what is missing.")
    rule = f"required key `{key}` is missing"
    if key == "schema":
        return Fault(path, rule, "", "Write schema = 1 on the first line.")
    if _nested_at(path):
        return Fault(path, rule, "", f"Add a [{key}] table.")
    return Fault(path, rule, "", f"Add `{key} = …` to {header(path[:-1])}.")


def _elements(path: Path) -> str:
    if "house_curve" in path:
        return "a pair of frequency and level"
    if "absorption" in path:
        return "a pair of frequency and absorption"
    field = field_at(path)
    if field is not None and is_pair(field.annotation):
        return "two numbers"
    return "three numbers (x, y, z)"


def _nested_at(path: Path) -> type[BaseModel] | None:
    field = field_at(path)
    return nested_model(field.annotation) if field else None


def _wrong_shape(path: Path, value: Any) -> Fault:
    model, got, field = model_at(path), shown(value), field_at(path)
    single = field is not None and not is_list(field.annotation)
    name = ".".join(part for part in path if isinstance(part, str))
    if model and single:
        return Fault(path, "one table is wanted", got, f"Write [{name}] with single brackets, once.")
    if model:
        return Fault(path, "a list of tables is wanted", got, f"Write [[{name}]] with double brackets, once for each.")
    if name == "tuning.house_curve":
        return Fault(path, "pairs of frequency and level are wanted", got, "Write [[20, 8.0], [100, 4.0], [1000, 0]].")
    if name == "cabin.materials.absorption":
        return Fault(path, "pairs of frequency and absorption are wanted", got, "Write [[125, 0.1], [1000, 0.4]].")
    if nested := _quantity_at(path):
        numbers = "[0.36, 0.98]" if field is not None and is_pair(field.annotation) else "[1.28, 0.36, 0.98]"
        example = f"Write for example {numbers}; numbers count in {UNITS[nested.suffix][0].symbol}."
        return Fault(path, "a list in square brackets is wanted", got, example)
    return Fault(path, "a list in square brackets is wanted", got, 'Write for example ["left tweeter"] or [1, 0, 0].')


def _literal(path: Path, value: Any, expected: str) -> Fault:
    choices = [part.strip("' ") for part in expected.replace(" or ", ", ").split(",")]
    listed = ", ".join(choices)
    near = did_you_mean(value, choices) if isinstance(value, str) else None
    cure = f"Did you mean {shown(near)}?" if near else "Write one of these."
    return Fault(path, f"must be one of {listed}" if len(choices) > 1 else f"must be {listed}", shown(value), cure)


def _own(path: Path, kind: str, context: Mapping[str, Any], value: Any) -> Fault:
    """What our own validators refuse: the reason is theirs, in plain words."""
    reason = str(context["reason"])
    if kind == "rule":
        return Fault((*path, str(context["key"])), reason, "", "Correct the value, or the one it is compared with.")
    if kind == "path":
        return Fault(path, reason, shown(value), 'Write for example "recordings/left-tweeter_p1.wav".')
    quantity = _quantity_at(path)
    examples = "12 dB" if quantity is None else _EXAMPLES[quantity.suffix]
    return Fault(path, reason, "", f"Write for example {examples}.")


def _length(path: Path, kind: str, context: Mapping[str, Any], value: Any) -> Fault | None:
    if kind == "too_short":
        # pydantic counts only elements that are right; those that are not have been reported themselves
        if not value:
            return Fault(path, "a list cannot be empty", "[]", "Name at least one, or leave it out.")
        least = context["min_length"]
        short = len(value) < least
        return Fault(path, f"at least {least} are wanted", str(len(value)), "Add what is missing.") if short else None
    if _nested_at(path) is None and context["max_length"] in (2, 3):
        return Fault(path, f"wanted: {_elements(path)}", shown(value), "Take out what is too much.")
    return Fault(path, f"at most {context['max_length']} are allowed", shown(value), "Remove some.")


def _quantity_at(path: Path) -> Quantity | None:
    """The quantity a field holds; for a pair of the house curve, that of the element."""
    field = field_at(path)
    if field is None or nested_model(field.annotation):
        return None
    if path[:2] == ("tuning", "house_curve"):
        return Quantity("db" if path[3:] == (1,) else "hz")
    return marker_in(Quantity, field.annotation, field.metadata)


def _limit_cure(path: Path) -> str:
    quantity = _quantity_at(path)
    if quantity is None:
        return "Correct the value."
    symbol = UNITS[quantity.suffix][0].symbol
    return f"A bare number counts in {symbol}; write for example {_EXAMPLES[quantity.suffix]}."
