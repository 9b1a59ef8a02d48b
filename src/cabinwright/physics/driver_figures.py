"""From whatever figures are stated for a drive unit to its lumped parts, and which of the figures disagree.

Every relation between the figures but one is a sum in logarithms, so a set of figures is a linear system in the
logarithms of the six parts. A set of rows that depend on each other, and on fewer of them no more, is a statement that
was made twice: where its sum is not nought, those figures disagree. Nothing is averaged: the parts come from as many
independent figures as are needed, those first that are measured most directly, and the rest are held against them.

The one relation that is no sum, 1/Qts = 1/Qes + 1/Qms, yields a missing Q or is checked by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import exp, log, pi

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.driver import AIR_STIFFNESS_PA, Driver

__all__ = ["FIGURES", "Completed", "Disagreement", "complete"]

PARTS = ("mms_kg", "cms_m_per_n", "rms_kg_s", "bl_t_m", "re_ohm", "sd_m2")
# figure: constant, then the exponent of each part; in the order in which they are trusted
RELATIONS: dict[str, tuple[float, tuple[float, ...]]] = {
    "re_ohm": (0.0, (0, 0, 0, 0, 1, 0)),
    "sd_m2": (0.0, (0, 0, 0, 0, 0, 1)),
    "fs_hz": (-log(2.0 * pi), (-0.5, -0.5, 0, 0, 0, 0)),
    "qes": (0.0, (0.5, -0.5, 0, -2, 1, 0)),
    "qms": (0.0, (0.5, -0.5, -1, 0, 0, 0)),
    "vas_m3": (log(AIR_STIFFNESS_PA), (0, 1, 0, 0, 0, 2)),
    "mms_kg": (0.0, (1, 0, 0, 0, 0, 0)),
    "bl_t_m": (0.0, (0, 0, 0, 1, 0, 0)),
    "cms_m_per_n": (0.0, (0, 1, 0, 0, 0, 0)),
}
FIGURES = (*RELATIONS, "qts")
TOLERANCE = 0.02  #: figures are quoted to two or three digits and for slightly different air
ROUND_OFF = 1e-9


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A figure that says other than those it was checked with."""

    figure: str
    stated: float
    implied: float  #: what ``others`` make it
    others: tuple[str, ...]

    @property
    def share(self) -> float:
        """How far the stated figure lies from the implied one, as a part of the latter."""
        return self.stated / self.implied - 1.0


@dataclass(frozen=True, slots=True)
class Completed:
    """What a set of figures amounts to."""

    driver: Driver | None  #: None where the figures leave something open
    missing: tuple[str, ...]  #: figures any one of which would help, where the driver is None
    disagreements: tuple[Disagreement, ...]
    suspects: tuple[Disagreement, ...]  #: figures without any one of which all others agree, and what these make them
    used: tuple[str, ...]
    impossible: str | None = None  #: why no such drive unit can exist


def complete(stated: Mapping[str, float], *, le_h: float = 0.0, tolerance: float = TOLERANCE) -> Completed:
    """Lumped parts from the ``stated`` figures (keys of ``FIGURES``, SI, above 0), and where these disagree."""
    given = {key: float(stated[key]) for key in FIGURES if key in stated}
    impossible = _impossible(given)
    filled = given if impossible else _with_q(given)
    linear = {key: value for key, value in filled.items() if key in RELATIONS}
    used = _independent(linear)
    parts = _solve({key: linear[key] for key in used})
    wrong = [] if impossible else _disagreements(given, linear, used, tolerance)
    absent = tuple(part for part, value in parts.items() if value is None)
    driver = None if absent or impossible else Driver(**{k: float(v or 0.0) for k, v in parts.items()}, le_h=le_h)
    suspects = tuple(_suspects(given, tolerance)) if wrong else ()
    known = tuple(key for key in (*used, "qts") if key in given and (key in used or key == "qts"))
    return Completed(driver, _helpful(filled) if absent else (), tuple(wrong), suspects, known, impossible)


def _impossible(given: Mapping[str, float]) -> str | None:
    """The total Q lies below both of its parts."""
    for key in ("qes", "qms"):
        if "qts" in given and key in given and given["qts"] >= given[key] and not {"qes", "qms"} <= set(given):
            return f"qts {given['qts']:g} is not below {key} {given[key]:g}"
    return None


def _with_q(given: Mapping[str, float]) -> dict[str, float]:
    """With the Q that follows from the total and the other one, which may itself follow from the parts."""
    filled = dict(given)
    if "qts" not in given:
        return filled
    for have, want in (("qes", "qms"), ("qms", "qes")):
        if want in given:
            continue
        value = given.get(have) or _implied(have, {key: given[key] for key in given if key in RELATIONS})
        if value is not None and value > given["qts"]:
            already = _implied(want, {key: filled[key] for key in filled if key in RELATIONS})
            if already is None:
                filled[want] = 1.0 / (1.0 / given["qts"] - 1.0 / value)
                return filled
    return filled


def _system(keys: tuple[str, ...] | list[str]) -> NDArray[np.float64]:
    return np.asarray([RELATIONS[key][1] for key in keys], dtype=np.float64).reshape(-1, len(PARTS))


def _rank(matrix: NDArray[np.float64]) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=ROUND_OFF)) if matrix.size else 0


def _independent(linear: Mapping[str, float]) -> tuple[str, ...]:
    kept: list[str] = []
    for key in RELATIONS:
        if key in linear and _rank(_system([*kept, key])) > len(kept):
            kept.append(key)
    return tuple(kept)


def _solve(linear: Mapping[str, float]) -> dict[str, float | None]:
    """Each part, or None where the figures leave it open."""
    return {part: _implied(part, linear, goal=np.eye(len(PARTS))[number]) for number, part in enumerate(PARTS)}


def _weights(keys: list[str], goal: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Exponents of the figures whose product is the goal; None where they leave it open."""
    if not keys:
        return None
    matrix = _system(keys)
    weights: NDArray[np.float64] = np.asarray(np.linalg.lstsq(matrix.T, goal, rcond=None)[0], dtype=np.float64)
    return weights if np.allclose(matrix.T @ weights, goal, atol=ROUND_OFF) else None


def _implied(figure: str, linear: Mapping[str, float], goal: NDArray[np.float64] | None = None) -> float | None:
    """What the other figures make of one, by independent ones alone."""
    constant, row = RELATIONS.get(figure, (0.0, ()))
    keys = list(_independent(linear))
    weights = _weights(keys, np.asarray(row, dtype=np.float64) if goal is None else goal)
    if weights is None:
        return None
    total = sum(w * (log(linear[key]) - RELATIONS[key][0]) for key, w in zip(keys, weights, strict=True))
    return exp(total + (constant if goal is None else 0.0))


def _disagreements(
    given: Mapping[str, float], linear: Mapping[str, float], used: tuple[str, ...], tolerance: float
) -> list[Disagreement]:
    """Figures beyond the independent ones, against what those make of them; then the total Q."""
    found = []
    base = {key: linear[key] for key in used}
    for key in linear:
        if key in used:
            continue
        weights = _weights(list(used), np.asarray(RELATIONS[key][1], dtype=np.float64))
        implied = _implied(key, base)
        if weights is not None and implied is not None:
            others = tuple(name for name, w in zip(used, weights, strict=True) if abs(w) > ROUND_OFF)
            found.append(Disagreement(key, linear[key], implied, others))
    qes, qms = _implied("qes", base), _implied("qms", base)
    if "qts" in given and qes is not None and qms is not None:
        others = tuple(key for key in ("qes", "qms") if key in given)
        found.append(Disagreement("qts", given["qts"], qes * qms / (qes + qms), others))
    return [item for item in found if abs(item.share) > tolerance]


def _suspects(given: Mapping[str, float], tolerance: float) -> Iterator[Disagreement]:
    """Each figure that, left out, leaves a set that agrees and still holds something to be checked by."""
    for key in given:
        rest = {name: value for name, value in given.items() if name != key}
        if _impossible(rest):
            continue
        filled = _with_q(rest)
        linear = {name: value for name, value in filled.items() if name in RELATIONS}
        used = _independent(linear)
        checked = len(used) < len(linear) or ("qts" in rest and {"qes", "qms"} <= set(rest))
        if not checked or _disagreements(rest, linear, used, tolerance):
            continue
        qes, qms = _implied("qes", linear), _implied("qms", linear)
        total = qes * qms / (qes + qms) if qes and qms else None
        implied = total if key == "qts" else _implied(key, linear)
        if implied is not None:
            yield Disagreement(key, given[key], implied, tuple(rest))


def _helpful(filled: Mapping[str, float]) -> tuple[str, ...]:
    """Figures that would add something to what there is."""
    linear = [key for key in filled if key in RELATIONS]
    rank = _rank(_system(linear))
    more = [key for key in RELATIONS if key not in filled and _rank(_system([*linear, key])) > rank]
    return (*more, "qts") if "qts" not in filled and {"qes", "qms"} & set(more) else tuple(more)
