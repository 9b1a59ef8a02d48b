"""Reading ``settings.json`` back, strictly: a person may have edited it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from cabinwright.errors import PersonError, Problem
from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

__all__ = ["read_settings"]

AGAIN = "Undo the edit, or run the tune again to write the file anew."
SECTION_TOLERANCE = 1e-9  #: sections are written in full precision; only a different C library may round otherwise

Gain = Annotated[float, Field(ge=-120.0, le=60.0)]
Word = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class _FilterRow(_Model):
    kind: Literal["high-pass", "low-pass", "peaking", "all-pass"]
    frequency_hz: Annotated[float, Field(gt=0.0)]
    gain_db: Gain | None = None
    q: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    family: Literal["Linkwitz-Riley", "Butterworth"] | None = None
    slope_db_per_octave: int | None = None
    reason: str = ""


class _ChannelRow(_Model):
    name: Word
    gain_db: Gain
    polarity: Literal["normal", "inverted"]
    delay_s: Annotated[float, Field(ge=0.0, le=10.0)]
    sections: Annotated[list[Annotated[list[float], Field(min_length=6, max_length=6)]], Field(max_length=1000)]
    filters: Annotated[list[_FilterRow], Field(max_length=1000)]


class _SettingsRow(_Model):
    schema_number: Annotated[Literal[1], Field(alias="schema")] = 1
    title: Annotated[str, Field(max_length=1000)] = ""
    fingerprint: Annotated[str, Field(max_length=64)] = ""  #: for persons; what is played is counted anew
    sample_rate_hz: Annotated[float, Field(ge=8000.0, le=768000.0)]
    channels: Annotated[list[_ChannelRow], Field(min_length=1, max_length=1000)]


def read_settings(data: Mapping[str, Any], *, file: str) -> Settings:
    """``Settings`` from the plain types of JSON. Raises ``PersonError`` naming ``file``, place, rule and cure."""
    try:
        row = _SettingsRow.model_validate(data)
    except ValidationError as error:
        raise PersonError("\n".join(str(item) for item in _problems(error, file))) from None
    problems: list[Problem] = []
    channels = []
    for index, item in enumerate(row.channels):
        place = f"channels[{index}]"
        channels.append(_channel(item))
        if item.name in (other.name for other in row.channels[:index]):
            problems.append(Problem(file, None, f"{place}.name", "each channel stands once", repr(item.name), AGAIN))
        problems += _contradiction(channels[-1], item, row.sample_rate_hz, file, place)
    if problems:
        raise PersonError("\n".join(str(item) for item in problems))
    return Settings(row.sample_rate_hz, tuple(channels))


def _channel(row: _ChannelRow) -> ChannelSettings:
    filters = tuple(Filter(**item.model_dump()) for item in row.filters)
    return ChannelSettings(row.name, row.gain_db, row.polarity, row.delay_s, filters)


def _contradiction(
    channel: ChannelSettings, row: _ChannelRow, sample_rate_hz: float, file: str, place: str
) -> list[Problem]:
    """At most one problem: filters that cannot be, or that do not make the sections in the file."""
    try:
        made = channel.sections(sample_rate_hz)
    except ValueError as error:
        return [Problem(file, None, f"{place}.filters", str(error), "", AGAIN)]
    stated = np.asarray(row.sections, dtype=np.float64).reshape(-1, 6)
    if made.shape == stated.shape and np.allclose(made, stated, rtol=SECTION_TOLERANCE, atol=SECTION_TOLERANCE):
        return []
    got = f"{len(stated)} sections where the filters make {len(made)}"
    if made.shape == stated.shape:
        got = f"section {int(np.argmax(np.abs(made - stated).max(axis=1)))} is not what the filters make"
    rule = f"filters and sections of {channel.name!r} must say the same"
    cure = "One of them was edited by hand; the sections are what counts. " + AGAIN
    return [Problem(file, None, place, rule, got, cure)]


def _problems(error: ValidationError, file: str) -> list[Problem]:
    found = []
    for item in error.errors(include_url=False):
        place = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in item["loc"]).lstrip(".")
        got = "" if item["type"] == "missing" else repr(item["input"])[:60]
        rule = "must be a table of names and values" if item["type"] == "model_type" else item["msg"].lower()
        found.append(Problem(file, None, place, rule, got, AGAIN))
    return found
