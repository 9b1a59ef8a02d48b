"""What walls take from the sound of a small room: from absorption in a table to admittance.

Tables give the absorption coefficient for sound from all sides. For a wall whose specific impedance ``1/beta`` is real and
that reacts locally it is the average over all directions (Paris 1928, Phil. Mag. 5, 489; Kuttruff, *Room Acoustics*, on
random incidence)

    alpha = 8 beta (1 + beta / (1 + beta) - 2 beta ln((1 + beta) / beta))

which rises to 0.951 at ``beta`` = 0.638; for little absorption it is ``8 beta``. Here it is turned round. Measured
coefficients say nothing of the imaginary part, so a wall's spring and mass are not in it, and below 125 Hz, where tables
end, the lowest band's value is held: what thin panels take there is not known without measuring. Loss in the air itself
is below a thousandth of that in this range and is left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["admittance", "random_absorption"]

Real = NDArray[np.float64]
MOST_BETA = 0.638  #: where absorption is greatest
GRID = np.concatenate([[0.0], np.geomspace(1e-6, MOST_BETA, 800)])


def random_absorption(beta: Real) -> Real:
    """Absorption coefficient for sound from all sides of a wall of real specific admittance ``beta``, same shape."""
    safe = np.maximum(beta, 1e-300)
    return np.asarray(8.0 * beta * (1.0 + beta / (1.0 + beta) - 2.0 * beta * np.log((1.0 + safe) / safe)))


def admittance(absorption: Real, *, bands_hz: Real, frequency_hz: Real) -> Real:
    """Real specific admittance ``(facets, frequencies)`` of walls whose absorption ``(facets, bands)`` is known by band.

    Between bands absorption runs straight over the logarithm of frequency; beyond them it is held. More than 0.951 is
    taken as 0.951, the most that this kind of wall can do.
    """
    pitch = np.log(frequency_hz)
    alpha = np.vstack([np.interp(pitch, np.log(bands_hz), row) for row in absorption])
    return np.asarray(np.interp(alpha, random_absorption(GRID), GRID), dtype=np.float64)
