"""Below 200 Hz as the comparison gives it: a shoebox by hand, thirds, heads that stand outside, cabins that do not close."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.stages.layout import LayoutResult, run
from cabinwright.stages.layout.low import LOW_HZ
from stages.cabin_build import HEAD, PLACES, cabin_build, surface

SIDES_M = (2.4, 1.5, 1.2)
FAST = "[layout]\ndraws = 20\n"
SUB = '[[places]]\nname = "{name}"\nrole = "subwoofer"\nside = "centre"\nposition_m = {at}\nradius_m = 0.1\n'


def _box(material: str = "metal") -> str:
    """A shoebox from the origin, y from the left wall on."""
    x, y, z = SIDES_M
    walls = {
        "front": [(0, 0, 0), (0, y, 0), (0, y, z), (0, 0, z)],
        "tail": [(x, 0, 0), (x, y, 0), (x, y, z), (x, 0, z)],
        "left": [(0, 0, 0), (x, 0, 0), (x, 0, z), (0, 0, z)],
        "right": [(0, y, 0), (x, y, 0), (x, y, z), (0, y, z)],
        "floor": [(0, 0, 0), (x, 0, 0), (x, y, 0), (0, y, 0)],
        "roof": [(0, 0, z), (x, 0, z), (x, y, z), (0, y, z)],
    }
    return "".join(surface(name, corners, material) for name, corners in walls.items())


def _run(places: str, *, surfaces: str | None = None, extra: str = "") -> LayoutResult:
    got = run(cabin_build(places=places, surfaces=_box() if surfaces is None else surfaces, extra=extra + FAST))
    assert got is not None
    return got


def test_modes_of_a_shoebox() -> None:
    """Rigid-walled: f = c/2 sqrt(sum (n/l)^2), every one of them up to 200 Hz and no other."""
    result = _run(PLACES)
    low, speed = result.low_frequency, result.speed_of_sound_m_s
    assert low is not None
    by_hand = sorted(
        0.5 * speed * float(np.linalg.norm(np.divide(n, SIDES_M))) for n in product(range(6), repeat=3) if any(n)
    )
    got = [f for f in low.modes_hz if f < low.valid_to_hz]
    assert got == pytest.approx(by_hand[: len(got)], rel=0.005)
    assert by_hand[len(got)] > low.valid_to_hz * 0.995
    assert low.volume_m3 == pytest.approx(np.prod(SIDES_M))


def test_a_head_where_a_mode_is_still_hears_less_of_it() -> None:
    """At the middle of the length the first mode (71.5 Hz) is still; at the ends it is loudest."""
    ends = HEAD.replace("[1.3, 0.36, 0.95]", "[1.2, 0.5, 0.8]").replace("[1.3, -0.36, 0.95]", "[2.2, 0.5, 0.8]")
    got = run(parse(ends + _box() + SUB.format(name="foot", at=[0.05, 0.75, 0.05]) + FAST))
    assert got is not None
    low = got.places["foot"].low
    assert low is not None
    first = int(np.argmin(np.abs(low.frequency_hz - 0.5 * got.speed_of_sound_m_s / SIDES_M[0])))
    still, loud = (low.level_db[seat][0, first] for seat in ("driver", "passenger"))
    assert loud - still > 6.0


def test_thirds_keep_the_power() -> None:
    """Third octaves of the curve by hand: power mean over box and band; named after IEC 61260-1 in the whole range."""
    low = _run(SUB.format(name="tail", at=[2.2, 0.3, 0.1])).places["tail"].low
    assert low is not None
    nominal = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200]
    assert low.third_hz == pytest.approx(nominal, rel=0.01)
    for seat, level in low.level_db.items():
        power = np.mean(10.0 ** (level / 10.0), axis=0)
        for centre, third in zip(low.third_hz, low.third_db[seat], strict=True):
            here = np.abs(np.log2(LOW_HZ / centre)) < 1.0 / 6.0
            assert third == pytest.approx(10.0 * np.log10(power[here].mean()), abs=0.3)


def test_a_head_near_the_roof_keeps_its_place() -> None:
    """Corners of the head box above the roof give way to the centre; a head above the roof has no figures below 200 Hz."""
    sub = SUB.format(name="foot", at=[0.05, 0.0, 0.05])
    for height, there in ((1.17, True), (1.3, False)):
        text = HEAD.replace("[1.3, -0.36, 0.95]", f"[1.3, 0.4, {height}]").replace(
            "[1.3, 0.36, 0.95]", "[1.3, 1.0, 0.9]"
        )
        got = run(parse(text + _box() + sub + FAST))
        assert got is not None
        low = got.places["foot"].low
        assert low is not None
        assert ("passenger" in low.level_db) is there
        assert all(np.isfinite(level).all() for level in low.level_db.values())


def test_the_quieter_place_comes_after() -> None:
    """Both in the cabin's middle plane: one in the corner drives every mode, one amid the box the fewest."""
    got = _run(SUB.format(name="corner", at=[2.38, 0.02, 0.02]) + SUB.format(name="amid", at=[1.2, 0.75, 0.6]))
    corner, amid = got.places["corner"].low, got.places["amid"].low
    assert corner is not None and amid is not None
    upper = LOW_HZ > 60.0
    seat = got.listening_seat
    assert corner.level_db[seat][:, upper].mean() > amid.level_db[seat][:, upper].mean() + 3.0


def test_below_the_first_mode_the_cabin_is_a_box_of_air() -> None:
    """Well below the first mode and above the leak: rho c^2 / V over rho / 2 pi r at r = 1 m, by the compliance of air."""
    got = _run(SUB.format(name="foot", at=[0.3, 0.75, 0.1]))
    low = got.places["foot"].low
    assert low is not None and got.low_frequency is not None
    f, c, volume = 28.0, got.speed_of_sound_m_s, float(np.prod(SIDES_M))
    omega = 2.0 * np.pi * f
    sealed_db = 20.0 * np.log10(2.0 * np.pi * c**2 / (volume * omega**2))
    leak_db = 10.0 * np.log10(1.0 + (got.low_frequency.leak_hz / f) ** 2)
    here = int(np.argmin(np.abs(LOW_HZ - f)))
    assert low.level_db[got.listening_seat][0, here] == pytest.approx(sealed_db - leak_db, abs=2.0)
    assert abs(sealed_db) > 2.5
