"""The tables of a car's own radio: its outputs and what was captured of them, and the rules that join them. No disk."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from pydantic import Field

from cabinwright.build.base import Model
from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.fields import Name, RelativePath

__all__ = ["FactoryOutput", "FactoryRecording", "factory_check"]


class FactoryOutput(Model):
    """One pair of wires on which the car's own radio or amplifier hands out sound. The first one listed is the reference."""

    name: Name
    """What captures and the repair call this output."""


class FactoryRecording(Model):
    """One capture of factory-signal.wav at a factory output: channel 1 that output, channel 2 the reference output."""

    output: Name
    """The output in channel 1 of the file; the reference output is captured with itself."""
    volume: Annotated[int, Field(ge=0, le=1000)] | None = None
    """The radio's own volume step; absent: captured at one level only."""
    file: RelativePath
    """WAV or FLAC inside the build folder, with forward slashes."""


def factory_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Names of outputs that are unique and exist, and one capture for each output and volume."""
    yield from repeated(rows_of(data, "factory_outputs"), ("factory_outputs",), "factory output")
    outputs = names_of(data, "factory_outputs")
    seen: set[tuple[str, int | None]] = set()
    for number, row in rows_of(data, "factory_recordings"):
        word, volume = row.get("output"), row.get("volume")
        if not isinstance(word, str):
            continue
        if word not in outputs:
            yield unknown(("factory_recordings", number, "output"), word, outputs, "factory output", "factory_outputs")
        if volume is not None and type(volume) is not int:
            continue
        if (word, volume) in seen:
            rule = "this output is captured twice at this volume"
            cure = "Keep the better capture and take the other out, or write its own volume."
            yield Fault(("factory_recordings", number, "output"), rule, shown(word), cure)
        seen.add((word, volume))
