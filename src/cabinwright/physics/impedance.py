"""A drive unit's figures from its measured impedance: in free air, with a mass on the cone, in a closed box of known volume.

The coil's impedance is Re + jωLe + Bl²/Zm. In free air it shows Re, Le, fs, Qes and Qms (Small 1972, appendix); a known
mass on the cone shows the moving mass, a known closed box the equivalent volume, and both together the cone's area. All
sweeps are fitted at once, in logarithms so that each point weighs by its relative error, by least squares with a
robust loss; the errors come from the curvature at the solution and from what is left over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.driver import AIR_STIFFNESS_PA

__all__ = ["Fitted", "Sweep", "coil_impedance", "fit"]

Real = NDArray[np.float64]
SHARED = ("re_ohm", "le_h", "fs_hz", "qes", "qms")
LEAST_POINTS = 12
SMALLEST_LE_H = 1e-7


@dataclass(frozen=True, slots=True)
class Sweep:
    """One measured sweep: magnitude [ohm] and, where it was measured, phase [rad] at rising frequencies [Hz]."""

    frequency_hz: Real
    magnitude_ohm: Real
    phase_rad: Real | None = None
    added_mass_kg: float | None = None
    box_volume_m3: float | None = None


@dataclass(frozen=True, slots=True)
class Fitted:
    """Figures with their standard errors, as one-sigma parts of each figure; ``misfit`` is the rms left over (relative)."""

    figures: Mapping[str, float]
    errors: Mapping[str, float]
    misfit: float
    points: int


def coil_impedance(
    *, frequency_hz: Real, re_ohm: float, le_h: float, fs_hz: float, qes: float, qms: float
) -> NDArray[np.complex128]:
    """Impedance [ohm] of a voice coil whose cone resonates at ``fs_hz`` [Hz]."""
    x = 1j * np.asarray(frequency_hz) / fs_hz
    motion = re_ohm * (qms / qes) * (x / qms) / (x * x + x / qms + 1.0)
    return np.asarray(re_ohm + 2j * np.pi * np.asarray(frequency_hz) * le_h + motion, dtype=np.complex128)


def fit(sweeps: Sequence[Sweep], *, sd_m2: float | None = None) -> Fitted:
    """Figures from sweeps of one drive unit, the first of them in free air.

    With an added mass come ``mms_kg``, ``cms_m_per_n`` and ``bl_t_m``; with a known box ``vas_m3``; the rest follows
    where ``sd_m2`` is known or both were measured. Raises ``ValueError`` where there are too few points.
    """
    from scipy.optimize import least_squares  # heavy, and wanted by few commands

    if sum(len(item.frequency_hz) for item in sweeps) < LEAST_POINTS or len(sweeps[0].frequency_hz) < LEAST_POINTS:
        raise ValueError(f"at least {LEAST_POINTS} points of each sweep are needed")
    keys = [*SHARED, *_extra(sweeps)]
    start = _start(sweeps, keys)

    def residuals(vector: Real) -> Real:
        return np.concatenate([_difference(item, dict(zip(keys, np.exp(vector), strict=True))) for item in sweeps])

    found = least_squares(residuals, start, loss="soft_l1", f_scale=0.05, x_scale=0.1, max_nfev=400)
    left: Real = residuals(found.x)
    freedom = max(1, left.size - len(keys))
    spread = float(left @ left) / freedom
    slope: Real = np.asarray(found.jac, dtype=np.float64)
    covariance: Real = np.asarray(spread * np.linalg.pinv(slope.T @ slope), dtype=np.float64)
    figures = dict(zip(keys, np.exp(found.x).tolist(), strict=True))
    errors = dict(zip(keys, np.sqrt(np.diag(covariance)).tolist(), strict=True))
    if figures["le_h"] < 10.0 * SMALLEST_LE_H:
        figures["le_h"], errors["le_h"] = 0.0, 0.0
    _derive(figures, errors, keys, covariance, sd_m2)
    return Fitted(figures, errors, float(np.sqrt(spread)), left.size)


def _extra(sweeps: Sequence[Sweep]) -> list[str]:
    extra = []
    if any(item.added_mass_kg is not None for item in sweeps):
        extra.append("mms_kg")
    if any(item.box_volume_m3 is not None for item in sweeps):
        extra.append("vas_m3")
    return extra


def _model(item: Sweep, figures: Mapping[str, float]) -> NDArray[np.complex128]:
    """Mass lowers the resonance and raises both Q, a box raises all three, each by the square root."""
    mass = 1.0 if item.added_mass_kg is None else 1.0 + item.added_mass_kg / figures["mms_kg"]
    stiff = 1.0 if item.box_volume_m3 is None else 1.0 + figures["vas_m3"] / item.box_volume_m3
    rise = np.sqrt(mass * stiff)
    return coil_impedance(
        frequency_hz=item.frequency_hz,
        re_ohm=figures["re_ohm"],
        le_h=figures["le_h"],
        fs_hz=figures["fs_hz"] * np.sqrt(stiff / mass),
        qes=figures["qes"] * rise,
        qms=figures["qms"] * rise,
    )


def _difference(item: Sweep, figures: Mapping[str, float]) -> Real:
    model = _model(item, figures)
    size: Real = np.log(np.abs(model) / item.magnitude_ohm)
    if item.phase_rad is None:
        return size
    turn = np.angle(model * np.exp(-1j * item.phase_rad))
    return np.concatenate([size, turn])


def _peak(item: Sweep) -> tuple[float, float, float]:
    """Frequency of the highest point below where the coil's inductance rules, its height, and the smallest magnitude."""
    size = item.magnitude_ohm
    inner = np.flatnonzero((size[1:-1] >= size[:-2]) & (size[1:-1] >= size[2:])) + 1
    at = int(inner[np.argmax(size[inner])]) if inner.size else int(np.argmax(size))
    return float(item.frequency_hz[at]), float(size[at]), float(size.min())


def _start(sweeps: Sequence[Sweep], keys: Sequence[str]) -> Real:
    """From the peaks, by the textbook's formulas of Small 1972."""
    free = sweeps[0]
    fs, top, least = _peak(free)
    re = 0.97 * least
    height = max(1.05, top / re)
    wide = free.frequency_hz[free.magnitude_ohm >= np.sqrt(height) * re]
    width = max(float(wide.max() - wide.min()), 0.02 * fs) if wide.size and wide.max() < 4.0 * fs else 0.5 * fs
    qms = fs * np.sqrt(height) / width
    last = float(free.magnitude_ohm[-1])
    le = np.sqrt(max(last**2 - re**2, (0.02 * re) ** 2)) / (2.0 * np.pi * float(free.frequency_hz[-1]))
    start = {"re_ohm": re, "le_h": le, "fs_hz": fs, "qes": qms / (height - 1.0), "qms": qms}
    for item in sweeps[1:]:
        moved = _peak(item)[0] / fs
        if item.added_mass_kg is not None:
            start["mms_kg"] = item.added_mass_kg / max(moved**-2 - 1.0, 0.02)
        if item.box_volume_m3 is not None:
            start["vas_m3"] = item.box_volume_m3 * max(moved**2 - 1.0, 0.02)
    return np.log(np.asarray([max(start[key], SMALLEST_LE_H) for key in keys], dtype=np.float64))


def _derive(
    figures: dict[str, float], errors: dict[str, float], keys: Sequence[str], covariance: Real, sd_m2: float | None
) -> None:
    """Add the figures that are products of the fitted ones: exponents add up errors with what they have in common."""
    index = {key: number for number, key in enumerate(keys)}

    def add(name: str, constant: float, **powers: float) -> None:
        if any(key not in index for key in powers) or name in figures:
            return
        row = np.zeros(len(keys))
        for key, power in powers.items():
            row[index[key]] = power
        figures[name] = constant * float(np.prod([figures[key] ** power for key, power in powers.items()]))
        errors[name] = float(np.sqrt(row @ covariance @ row))

    omega = 2.0 * np.pi
    add("cms_m_per_n", omega**-2, fs_hz=-2.0, mms_kg=-1.0)
    add("bl_t_m", omega**0.5, fs_hz=0.5, mms_kg=0.5, re_ohm=0.5, qes=-0.5)
    add("sd_m2", omega * AIR_STIFFNESS_PA**-0.5, fs_hz=1.0, mms_kg=0.5, vas_m3=0.5)
    if sd_m2 is not None:
        add("vas_m3", AIR_STIFFNESS_PA * sd_m2**2 * omega**-2, fs_hz=-2.0, mms_kg=-1.0)
        add("mms_kg", AIR_STIFFNESS_PA * sd_m2**2 * omega**-2, fs_hz=-2.0, vas_m3=-1.0)
        add("cms_m_per_n", 1.0 / (AIR_STIFFNESS_PA * sd_m2**2), vas_m3=1.0)
        k = AIR_STIFFNESS_PA**0.5 * sd_m2 * omega**-0.5
        add("bl_t_m", k, fs_hz=-0.5, vas_m3=-0.5, re_ohm=0.5, qes=-0.5)
    qes, qms = figures["qes"], figures["qms"]
    qts = qes * qms / (qes + qms)
    row = np.zeros(len(keys))
    row[index["qes"]], row[index["qms"]] = qts / qes, qts / qms
    figures["qts"], errors["qts"] = qts, float(np.sqrt(row @ covariance @ row))
