"""What the signal stage gives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Protocol

from cabinwright.findings import Finding
from cabinwright.stages.signal.bypass import BypassesResult
from cabinwright.stages.signal.factory.result import FactoryResult
from cabinwright.stages.signal.gains import Gains
from cabinwright.stages.signal.loads import Loads
from cabinwright.stages.signal.presets import PresetsResult
from cabinwright.stages.signal.turn_on import TurnOnResult

__all__ = ["Part", "SignalResult"]


class Part(Protocol):
    """One part of the result: what it puts into ``plan.json``, and its findings."""

    @property
    def findings(self) -> tuple[Finding, ...]: ...

    def to_dict(self) -> Any: ...


@dataclass(frozen=True)
class SignalResult:
    """The signal chain as far as it is worked out; a part without its tables is None."""

    factory: FactoryResult | None = None
    presets: PresetsResult | None = None
    turn_on: TurnOnResult | None = None
    service_bypasses: BypassesResult | None = None
    gains: Gains | None = None
    loads: Loads | None = None
    findings: tuple[Finding, ...] = field(default=())  #: those of every part

    def of_parts(self) -> Iterator[Finding]:
        """The findings of every part, one part after another."""
        for part in self._parts().values():
            yield from part.findings if part else ()

    def to_dict(self) -> dict[str, Any]:
        """Its part of ``plan.json``; see ``docs/plan.md``."""
        return {name: part.to_dict() if part else None for name, part in self._parts().items()} | {
            "inputs": self.gains.inputs_dict() if self.gains else None,
            "amplifiers": self.loads.whole() if self.loads else None,
            "findings": [item.to_dict() for item in self.findings],
        }

    def _parts(self) -> dict[str, Part | None]:
        names = ("factory", "presets", "turn_on", "service_bypasses", "gains", "loads")
        return {name: getattr(self, name) for name in names}
