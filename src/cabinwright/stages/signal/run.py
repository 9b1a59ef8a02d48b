"""The signal stage."""

from __future__ import annotations

from cabinwright.build.document import Build
from cabinwright.physics.factory import FactoryResponses
from cabinwright.stages.signal.factory.undo import undo
from cabinwright.stages.signal.result import SignalResult

__all__ = ["run"]


def run(build: Build, captured: FactoryResponses) -> SignalResult:
    """What the car's own radio does, and the sums that undo it."""
    factory = undo(build, captured)
    return SignalResult(factory=factory, findings=(*captured.findings, *factory.findings))
