"""The signal stage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.physics.factory import FactoryResponses
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal import gains, loads
from cabinwright.stages.signal.bypass import bypasses
from cabinwright.stages.signal.chain import chain_of
from cabinwright.stages.signal.factory.undo import undo
from cabinwright.stages.signal.presets import presets
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.signal.structure import structure
from cabinwright.stages.signal.turn_on import turn_on
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["run"]

_GRAVITY = {"stop": 0, "caution": 1, "note": 2}


def run(
    build: Build,
    captured: FactoryResponses | None = None,
    *,
    tuned: TuningResult | None = None,
    power: PowerResult | None = None,
    boxed: EnclosureResult | None = None,
    programmes: Mapping[str, float] | None = None,
    doubts: tuple[Finding, ...] = (),
) -> SignalResult | None:
    """The chain from source to loudspeaker; None where the build has no source, no amplifier and no capture.

    Args:
        captured: captures of the car's own radio.
        tuned: the tune, whose crossovers say what each channel carries.
        power: the electrical system, which says what is on when.
        boxed: the enclosures, for how far their cones move.
        programmes: by source, the loudness [LUFS] of the recording of its programme.
        doubts: what was found while reading those recordings.
    """
    if captured is None and not build.sources and not build.amplifiers:
        return None
    graph = chain_of(build)
    factory = undo(build, captured) if captured else None
    heard = presets(build, graph, factory, tuned=tuned, power=power, programmes=programmes)
    loaded = loads.work_out(build, settings=tuned.settings if tuned else None, power=power, boxed=boxed)
    set_up = gains.work_out(build, graph, loaded, trims_db=heard.trims_db() if heard else None)
    result = SignalResult(
        factory=factory,
        presets=heard,
        turn_on=turn_on(build, graph),
        service_bypasses=bypasses(build),
        gains=set_up,
        loads=loaded,
    )
    found = [*(captured.findings if captured else ()), *doubts, *structure(build, graph), *result.of_parts()]
    return replace(result, findings=tuple(sorted(found, key=lambda item: _GRAVITY[item.severity])))
