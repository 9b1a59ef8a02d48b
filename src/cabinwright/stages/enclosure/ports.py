"""The port of a vented box: as stated, or chosen so that its air stays slow and it still lies in the box."""

from __future__ import annotations

from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.loudspeaker import Box, PortShape
from cabinwright.physics.port import Port
from cabinwright.stages.enclosure.result import PortResult

__all__ = ["LONGEST_EDGES", "SPEED_LIMIT_M_S", "chosen_port", "finished", "shaped"]

Real = NDArray[np.float64]
SPEED_LIMIT_M_S = 17.0
"""Peak speed of a port's air, a twentieth of the speed of sound: above it sharp rims are heard. Common practice."""
LONGEST_EDGES = 2.0  #: a chosen port is no longer than so many edges of a cube of the box's volume: one or two bends
STEP_M = 0.005
SMALLEST_M = 0.03
PLAYS_FROM_HZ = 20.0


def shaped(port: PortShape) -> Port:
    """The geometry of a stated port."""
    width = port.diameter_m if port.diameter_m is not None else port.width_m
    assert width is not None
    return Port(width, port.height_m, port.count, port.flare_radius_m, port.ends)


def chosen_port(*, flow_m3_s: float, tuning_hz: float, volume_m3: float, limit_m_s: float = SPEED_LIMIT_M_S) -> Port:
    """A round port that carries the peak ``flow_m3_s`` at the limit's speed, or the widest that is short enough."""
    wanted = sqrt(4.0 / pi * flow_m3_s / limit_m_s)
    port = Port(max(SMALLEST_M, ceil(wanted / STEP_M - 1e-9) * STEP_M))
    longest = LONGEST_EDGES * volume_m3 ** (1.0 / 3.0)
    while port.width_m > SMALLEST_M and port.length_for_m(tuning_hz=tuning_hz, volume_m3=volume_m3) > longest:
        port = Port(port.width_m - STEP_M)
    while port.length_for_m(tuning_hz=tuning_hz, volume_m3=volume_m3) < 0.01:
        port = Port(port.width_m + STEP_M)
    return port


def finished(
    box: Box, port: Port, *, length_m: float, volume_m3: float, frequency_hz: Real, velocity_m_s: Real
) -> PortResult:
    """The port with its length and with what its air does at the stated power."""
    stated = box.port
    plays = frequency_hz >= PLAYS_FROM_HZ
    at = int(np.argmax(velocity_m_s[plays]))
    edge = volume_m3 ** (1.0 / 3.0)
    limit = stated.speed_limit_m_s if stated is not None else None
    return PortResult(
        diameter_m=port.width_m if port.height_m is None else None,
        width_m=None if port.height_m is None else port.width_m,
        height_m=port.height_m,
        count=port.count,
        length_m=length_m,
        end_correction_m=port.end_correction_m,
        area_m2=port.total_area_m2,
        volume_m3=port.total_area_m2 * max(length_m, 0.0),
        peak_velocity_m_s=float(velocity_m_s[plays][at]),
        peak_velocity_hz=float(frequency_hz[plays][at]),
        limit_m_s=limit or SPEED_LIMIT_M_S,
        pipe_resonance_hz=port.pipe_resonance_hz(length_m=length_m),
        bends=stated.bends if stated is not None else 0,
        bends_wanted=max(0, ceil(length_m / edge) - 1),
        chosen=stated is None,
        flare_radius_m=port.flare_radius_m,
    )
