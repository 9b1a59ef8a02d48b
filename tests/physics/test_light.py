"""Edge lighting against Poisson's sum, ray by ray, and against plane geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cabinwright.physics.arcs import Segment
from cabinwright.physics.light import edge_light, evenness, hard_bends, pitch_for, strip_length_m


@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.5])
def test_ripple_in_air_is_poissons(ratio: float) -> None:
    # Fourier transform of (1 + u²)⁻² is (π/2)(1 + ω) e^−ω; its first harmonic is the ripple.
    omega = 2.0 * math.pi * ratio
    ripple = 2.0 * (1.0 + omega) * math.exp(-omega)
    second = 2.0 * (1.0 + 2.0 * omega) * math.exp(-2.0 * omega)
    got = edge_light(pitch_m=0.01, distance_m=0.01 * ratio, along_m=np.array([0.0, 0.005]), medium="air", emitter_m=0.0)
    assert got == pytest.approx([1.0 + ripple + second, 1.0 - ripple + second], abs=2e-4)
    if ratio < 1.2:  # beyond, a tenth of the ripple is less than the tolerance
        assert got != pytest.approx([1.0 + 1.1 * ripple + second, 1.0 - 1.1 * ripple + second], abs=2e-4)
    wanted = (1.0 - ripple + second) / (1.0 + ripple + second)
    assert evenness(pitch_m=0.01, distance_m=0.01 * ratio, medium="air", emitter_m=0.0) == pytest.approx(
        wanted, abs=2e-4
    )


def test_light_in_acrylic_ray_by_ray() -> None:
    # Rays of a Lambert source in the plane (sines evenly spread), bent by Snell, weighed by Fresnel, counted.
    n, h, p = 1.49, 0.008, 0.01
    sine = (np.arange(2_000_000) + 0.5) / 1_000_000 - 1.0
    outer, inner = np.sqrt(1.0 - sine**2), np.sqrt(1.0 - (sine / n) ** 2)
    kept = (
        1.0
        - (((outer - n * inner) / (outer + n * inner)) ** 2 + ((n * outer - inner) / (n * outer + inner)) ** 2) / 2.0
    )
    landed = (h * (sine / n) / inner + p / 2.0) % p
    counted, edges = np.histogram(landed, bins=50, range=(0.0, p), weights=kept)
    along = (edges[:-1] + edges[1:]) / 2.0 - p / 2.0
    got = edge_light(pitch_m=p, distance_m=h, along_m=along, emitter_m=0.0)
    close = np.sort(np.abs(got - counted / counted.mean()))
    assert close[-3] < 0.01  # in the two bins where a fan of rays ends, the mean is not the middle
    wrong = edge_light(pitch_m=p, distance_m=1.1 * h, along_m=along, emitter_m=0.0)
    assert np.sort(np.abs(wrong - counted / counted.mean()))[-3] > 0.02


def test_a_narrower_pitch_is_more_even() -> None:
    values = [evenness(pitch_m=0.0166 / k, distance_m=0.01) for k in (1, 2, 4)]
    assert values == sorted(values)
    widest = pitch_for(distance_m=0.01)
    assert evenness(pitch_m=widest, distance_m=0.01) >= 0.9
    assert all(evenness(pitch_m=share * widest, distance_m=0.01) < 0.9 for share in (1.05, 1.2, 1.5, 2.0))


def test_bends_of_a_strip() -> None:
    chain = (
        Segment(0, 0.1),
        Segment(0.1, 0.12 + 0.02j, math.tan(math.pi / 8)),
        Segment(0.12 + 0.02j, 0.12 + 0.1j),
        Segment(0.12 + 0.1j, 0.2 + 0.1j),
    )
    assert strip_length_m(chain) == pytest.approx(0.1 + 0.01 * math.pi + 0.08 + 0.08)
    assert [radius for _, radius in hard_bends(chain, least_radius_m=0.03)] == pytest.approx([0.02, 0.0])
    assert [at for at, _ in hard_bends(chain, least_radius_m=0.01)] == [0.12 + 0.1j]
