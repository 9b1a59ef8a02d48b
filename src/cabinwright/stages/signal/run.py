"""The signal stage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.physics.factory import FactoryResponses
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal import gains, loads
from cabinwright.stages.signal.chain import chain_of
from cabinwright.stages.signal.factory.undo import undo
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["run"]

_GRAVITY = {"stop": 0, "caution": 1, "note": 2}


def run(
    build: Build,
    captured: FactoryResponses | None = None,
    *,
    tuned: TuningResult | None = None,
    power: PowerResult | None = None,
    programmes: Mapping[str, float] | None = None,
) -> SignalResult | None:
    """The chain from source to loudspeaker; None where the build has no source, no amplifier and no capture.

    Args:
        captured: captures of the car's own radio.
        tuned: the tune, whose crossovers say what each channel carries.
        power: the electrical system, which says what is on when.
        programmes: by source, the loudness [LUFS] of the recording of its programme.
    """
    if captured is None and not build.sources and not build.amplifiers:
        return None
    factory = undo(build, captured) if captured else None
    loaded = loads.work_out(build, settings=tuned.settings if tuned else None, power=power)
    set_up = gains.work_out(build, chain_of(build), loaded)
    result = SignalResult(factory=factory, gains=set_up, loads=loaded)
    return replace(result, findings=_all_findings(result, captured))


def _all_findings(result: SignalResult, captured: FactoryResponses | None) -> tuple[Finding, ...]:
    parts = (result.factory, result.presets, result.turn_on, result.service_bypasses, result.gains, result.loads)
    found = [*(captured.findings if captured else ()), *(item for part in parts if part for item in part.findings)]
    return tuple(sorted(found, key=lambda item: _GRAVITY[item.severity]))
