"""What the signal stage gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from cabinwright.findings import Finding
from cabinwright.stages.signal.factory.result import FactoryResult

__all__ = ["NOT_YET", "SignalResult"]

NOT_YET = "presets, gain structure and amplifier loads are not part of this version"


@dataclass(frozen=True)
class SignalResult:
    """The signal chain as far as it is worked out."""

    factory: FactoryResult | None
    not_yet: str = NOT_YET  #: what this stage does not do yet
    findings: tuple[Finding, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """Its part of ``plan.json``."""
        return {
            "factory": self.factory.to_dict() if self.factory else None,
            "not_yet": self.not_yet,
            "findings": [item.to_dict() for item in self.findings],
        }
