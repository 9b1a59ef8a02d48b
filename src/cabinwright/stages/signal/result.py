"""What the signal stage gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol

from cabinwright.findings import Finding
from cabinwright.stages.signal.factory.result import FactoryResult
from cabinwright.stages.signal.gains import Gains
from cabinwright.stages.signal.loads import Loads

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
    presets: Part | None = None
    turn_on: Part | None = None
    service_bypasses: Part | None = None
    gains: Gains | None = None
    loads: Loads | None = None
    findings: tuple[Finding, ...] = field(default=())  #: those of every part

    def to_dict(self) -> dict[str, Any]:
        """Its part of ``plan.json``; see ``docs/plan.md``."""
        names = ("factory", "presets", "turn_on", "service_bypasses", "gains", "loads")
        parts: dict[str, Part | None] = {name: getattr(self, name) for name in names}
        return {name: part.to_dict() if part else None for name, part in parts.items()} | {
            "inputs": self.gains.inputs_dict() if self.gains else None,
            "amplifiers": self.loads.whole() if self.loads else None,
            "findings": [item.to_dict() for item in self.findings]
        }
