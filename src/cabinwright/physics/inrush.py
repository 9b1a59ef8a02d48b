"""What capacitors take when they are first connected.

An empty capacitor behind a resistance draws ``V/R`` at first and ``I²t = C V²/2R`` in all: the source gives ``C V²``, the
capacitor keeps half, the resistance turns the other half into heat. Inductance of the wires lowers the peak and leaves
I²t as it is, so that the peak is an upper bound and I²t is not.
"""

from __future__ import annotations

__all__ = ["charging", "precharge_s"]


def charging(*, voltage_v: float, resistance_ohm: float, capacitance_f: float) -> tuple[float, float]:
    """Greatest current [A] and I²t [A²s] of a capacitor charged through a resistance.

    >>> charging(voltage_v=12.0, resistance_ohm=0.1, capacitance_f=0.01)
    (120.0, 7.2)
    """
    return voltage_v / resistance_ohm, capacitance_f * voltage_v**2 / (2.0 * resistance_ohm)


def precharge_s(*, resistance_ohm: float, capacitance_f: float) -> float:
    """Time [s] to charge through a resistance to within 1 %: five time constants."""
    return 5.0 * resistance_ohm * capacitance_f
