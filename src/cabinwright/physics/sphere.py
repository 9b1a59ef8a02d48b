"""A rigid sphere in place of a head: what its surface hears of a source near or far, against the free field at its centre.

    H(rho, mu, theta) = -(rho/mu) e^(i mu rho) sum over m of (2m+1) P_m(cos theta) h_m(mu rho) / h'_m(mu)

with mu = 2 pi f a / c, rho = r / a, h_m the spherical Hankel functions (written here for a time factor e^(-i w t); what is
returned follows e^(+i w t), so that a later arrival has the more negative phase). The sum is built by recursion in m on
functions from which the exponential has been taken out.

Valid for a source outside the sphere. A head has ears, a nose and shoulders beside it: above some 3 kHz, and wherever height
or front and back are told apart, a sphere knows nothing.

Sources: R. O. Duda and W. L. Martens, J. Acoust. Soc. Am. 104(5), 3048–3058, 1998 (series and recursion); limits of the time
between ears: R. S. Woodworth 1938 (high frequencies), G. F. Kuhn, J. Acoust. Soc. Am. 62(1), 157–167, 1977 (low).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["HEAD_RADIUS_M", "kuhn_low_s", "sphere_response", "woodworth_s"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
HEAD_RADIUS_M = 0.0875  #: usual for a grown-up's head (Duda & Martens 1998)
CONVERGED = 1e-10  #: two terms in a row below this share of the sum end it
MOST_TERMS = 2000
LEAST_MU = 1e-3  #: below this a head does not disturb the field: the limit is taken here
LARGE = 1e100


def sphere_response(
    *,
    frequency_hz: ArrayLike,
    incidence_deg: ArrayLike,
    distance_m: float,
    radius_m: float = HEAD_RADIUS_M,
    speed_m_s: float,
) -> Complex:
    """Pressure at a point of the sphere over that at its centre without it, (angles, frequencies).

    Args:
        frequency_hz: (f,) [Hz].
        incidence_deg: (n,) angle at the centre between the source and the point [deg].
        distance_m: from the source to the centre [m].

    Raises ``ValueError`` where the source lies on the sphere or in it.
    """
    rho = distance_m / radius_m
    if not rho > 1.0:
        raise ValueError(f"the source must lie outside the sphere of {radius_m} m, got {distance_m} m")
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    x = np.cos(np.radians(np.atleast_1d(np.asarray(incidence_deg, dtype=np.float64))))[:, None]
    mu = np.maximum(2.0 * np.pi * frequency * radius_m / speed_m_s, LEAST_MU)[None, :]
    total = _series(x, mu, rho)
    return np.asarray(np.conj(rho * np.exp(-1j * mu) * total / (1j * mu)))


def _series(x: Real, mu: Real, rho: float) -> Complex:
    """The sum over m, (angles, frequencies), by the recursion of the source's appendix."""
    far, near = np.asarray(1.0 / (1j * mu * rho), dtype=np.complex128), np.asarray(1.0 / (1j * mu), dtype=np.complex128)
    far_2, far_1 = far, far * (1.0 - far)
    near_2, near_1 = near, near * (1.0 - near)
    p_2, p_1 = np.ones_like(x), x
    total: Complex = far / (near * (near - 1.0)) + 3.0 * x * far * (far - 1.0) / (
        near * (2.0 * near**2 - 2.0 * near + 1.0)
    )
    small = 0
    for m in range(2, MOST_TERMS):
        far_0 = far_2 - (2 * m - 1) * far * far_1
        near_0 = near_2 - (2 * m - 1) * near * near_1
        p_0: Real = ((2 * m - 1) * x * p_1 - (m - 1) * p_2) / m
        share = (2 * m + 1) * far_0 / ((m + 1) * near * near_0 - near_1)
        total = total + p_0 * share
        small = small + 1 if np.all(np.abs(share) < CONVERGED * np.abs(total).min(axis=0)) else 0
        if small == 2:
            break
        size = np.where(np.abs(near_0) > LARGE, LARGE, 1.0)  # only ratios count
        far_2, far_1 = far_1 / size, far_0 / size
        near_2, near_1 = near_1 / size, near_0 / size
        p_2, p_1 = p_1, p_0
    return np.asarray(total)


def woodworth_s(*, azimuth_deg: ArrayLike, radius_m: float = HEAD_RADIUS_M, speed_m_s: float) -> Real:
    """Time between the ears [s] of a far source at high frequencies, by the shortest way round; -90 to 90 deg."""
    angle = np.radians(np.asarray(azimuth_deg, dtype=np.float64))
    return np.asarray(radius_m / speed_m_s * (angle + np.sin(angle)))


def kuhn_low_s(*, azimuth_deg: ArrayLike, radius_m: float = HEAD_RADIUS_M, speed_m_s: float) -> Real:
    """Time between the ears [s] of a far source in the limit of low frequencies."""
    angle = np.radians(np.asarray(azimuth_deg, dtype=np.float64))
    return np.asarray(3.0 * radius_m / speed_m_s * np.sin(angle))
