"""Digital filters as second-order sections, in the words a person keys into a processor.

Peaking and all-pass sections follow the published audio-EQ cookbook (R. Bristow-Johnson, "Cookbook formulae for audio
EQ biquad filter coefficients", later W3C note "Audio EQ Cookbook", 2021). Butterworth and Linkwitz-Riley crossovers are
the classic analogue prototypes taken through the bilinear transform with the corner pre-warped (Linkwitz 1976,
"Active crossover networks for noncoincident drivers", J. Audio Eng. Soc. 24(1)).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Filter", "Kind", "crossover_qs", "filter_sections", "sections_response"]

Kind = Literal["high-pass", "low-pass", "peaking", "all-pass"]
Family = Literal["Linkwitz-Riley", "Butterworth"]


@dataclass(frozen=True, slots=True)
class Filter:
    """One filter as a person would key it in.

    ``high-pass`` and ``low-pass`` use ``family`` and ``slope_db_per_octave``; ``peaking`` uses ``gain_db`` and ``q``;
    ``all-pass`` is second order and uses ``q``.
    """

    kind: Kind
    frequency_hz: float
    gain_db: float | None = None
    q: float | None = None
    family: Family | None = None
    slope_db_per_octave: int | None = None
    reason: str = ""  #: why it is there, in plain words

    def to_dict(self) -> dict[str, Any]:
        """The words of ``settings.json``: only the keys that apply."""
        row: dict[str, Any] = {"kind": self.kind, "frequency_hz": self.frequency_hz}
        for key in ("gain_db", "q", "family", "slope_db_per_octave", "reason"):
            value = getattr(self, key)
            if value not in (None, ""):
                row[key] = value
        return row


def crossover_qs(family: Family, slope_db_per_octave: int) -> list[float | None]:
    """Section Qs of a crossover slope; ``None`` is one first-order section.

    Slopes are multiples of 6 dB per octave; Linkwitz-Riley exists for multiples of 12 (a Butterworth of half the order,
    squared). Raises ``ValueError`` for anything else.
    """
    order, rest = divmod(slope_db_per_octave, 6)
    if rest or not 1 <= order <= 8:
        raise ValueError(f"slope must be a multiple of 6 dB per octave from 6 to 48, got {slope_db_per_octave}")
    if family == "Butterworth":
        # Poles lie on a circle, pi / order apart: beside the real axis for an even order, one upon it for an odd one.
        angles = [np.pi * (2 * k + 1 + order % 2) / (2 * order) for k in range(order // 2)]
        qs: list[float | None] = [float(1.0 / (2.0 * np.cos(angle))) for angle in angles]
        return qs + ([None] if order % 2 else [])
    if order % 2:
        raise ValueError(f"Linkwitz-Riley needs a multiple of 12 dB per octave, got {slope_db_per_octave}")
    half = crossover_qs("Butterworth", slope_db_per_octave // 2)
    if half[-1] is None:  # two equal first-order sections make one section of Q 0.5
        return [*half[:-1], *half[:-1], 0.5]
    return half + half


def filter_sections(item: Filter, *, sample_rate_hz: float) -> NDArray[np.float64]:
    """Sections ``[b0, b1, b2, a0, a1, a2]`` with ``a0 = 1``, shape ``(sections, 6)``."""
    w0 = 2.0 * np.pi * item.frequency_hz / sample_rate_hz
    if not 0.0 < w0 < np.pi:
        raise ValueError(f"frequency must lie between 0 and half the sample rate, got {item.frequency_hz} Hz")
    cos, sin = np.cos(w0), np.sin(w0)
    if item.kind in ("peaking", "all-pass"):
        if item.q is None or item.q <= 0.0:
            raise ValueError(f"{item.kind} needs a positive q, got {item.q}")
        alpha = sin / (2.0 * item.q)
        if item.kind == "all-pass":
            row = [1.0 - alpha, -2.0 * cos, 1.0 + alpha, 1.0 + alpha, -2.0 * cos, 1.0 - alpha]
        else:
            amp = 10.0 ** ((item.gain_db or 0.0) / 40.0)
            row = [1 + alpha * amp, -2 * cos, 1 - alpha * amp, 1 + alpha / amp, -2 * cos, 1 - alpha / amp]
        return np.asarray([row], dtype=np.float64) / float(row[3])
    if item.family is None or item.slope_db_per_octave is None:
        raise ValueError(f"{item.kind} needs a family and a slope")
    rows = []
    for q in crossover_qs(item.family, item.slope_db_per_octave):
        sign = 1.0 if item.kind == "low-pass" else -1.0
        if q is None:
            k = np.tan(w0 / 2.0)
            b = [k, k] if item.kind == "low-pass" else [1.0, -1.0]
            row = [*b, 0.0, 1.0 + k, k - 1.0, 0.0]
        else:
            alpha = sin / (2.0 * q)
            edge = (1.0 - sign * cos) / 2.0
            row = [edge, sign * 2.0 * edge, edge, 1.0 + alpha, -2.0 * cos, 1.0 - alpha]
        rows.append(np.asarray(row) / row[3])
    return np.asarray(rows)


def sections_response(
    sections: NDArray[np.float64], *, frequency_hz: NDArray[np.float64], sample_rate_hz: float
) -> NDArray[np.complex128]:
    """Complex response of sections in series, shape of ``frequency_hz``; an empty bank is 1."""
    z1: NDArray[np.complex128] = np.exp(-2j * np.pi * np.asarray(frequency_hz) / sample_rate_hz)
    total: NDArray[np.complex128] = np.ones_like(z1)
    for b0, b1, b2, a0, a1, a2 in np.asarray(sections).reshape(-1, 6):
        total = total * (b0 + z1 * (b1 + z1 * b2)) / (a0 + z1 * (a1 + z1 * a2))
    return total
