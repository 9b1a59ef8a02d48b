"""How fast a fuse opens: the gates that ISO 8820-3 sets for high-current links (type E), from a data sheet that quotes them.

At a percentage of its rating a fuse opens no sooner than the least and no later than the greatest time. Between two gates
times lie on a straight line over logarithms; beyond the last one the heat is constant, ``t ∝ 1/I²``.
"""

from __future__ import annotations

import math

__all__ = ["GATES", "NON_FUSING", "least_melting_a2s", "may_open", "opening_times_s"]

GATES: tuple[tuple[float, float, float], ...] = (
    (1.00, 360_000.0, math.inf),
    (1.35, 60.0, 1800.0),
    (2.00, 2.0, 50.0),
    (3.50, 0.2, 7.0),
    (6.00, 0.04, 1.0),
)
"""Multiple of the rating, least and greatest time [s]."""
NON_FUSING = 1.35  #: below this multiple no greatest time is promised


def opening_times_s(*, current_a: float, rating_a: float) -> tuple[float, float]:
    """Least and greatest time [s] until the fuse opens; infinite where it need not.

    >>> opening_times_s(current_a=200.0, rating_a=100.0)
    (2.0, 50.0)
    """
    x = current_a / rating_a
    if x <= 1.0:
        return math.inf, math.inf
    last, least, most = GATES[-1]
    if x >= last:
        return least * (last / x) ** 2, most * (last / x) ** 2
    upper = next(i for i, gate in enumerate(GATES) if gate[0] > x)
    (x0, least0, most0), (x1, least1, most1) = GATES[upper - 1], GATES[upper]
    part = math.log(x / x0) / math.log(x1 / x0)
    greatest = math.inf if math.isinf(most0) else most0 * (most1 / most0) ** part
    return least0 * (least1 / least0) ** part, greatest


def least_melting_a2s(rating_a: float) -> float:
    """Least I²t [A²s] that melts a fuse in a hard pulse: the last gate's, which is of constant heat.

    >>> round(least_melting_a2s(10.0), 6)
    144.0
    """
    multiple, least, _ = GATES[-1]
    return (multiple * rating_a) ** 2 * least


def may_open(*, peak_a: float, i2t_a2s: float, rating_a: float, melting_a2s: float | None = None) -> bool:
    """Whether a pulse may open a fuse: by its maker's I²t, else by the least time of the gates.

    For the gates the pulse counts as a rectangle of its peak and its I²t.
    """
    if melting_a2s is not None:
        return i2t_a2s >= melting_a2s
    return peak_a > 0.0 and i2t_a2s / peak_a**2 >= opening_times_s(current_a=peak_a, rating_a=rating_a)[0]
