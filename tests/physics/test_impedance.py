"""Fits to impedance sweeps recover an invented drive unit under noise, with an error that is honest."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.physics.driver import AIR_STIFFNESS_PA, Driver
from cabinwright.physics.impedance import Sweep, coil_impedance, fit

REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "enclosure.toml").read_text(encoding="utf-8"))[
        "entry"
    ]
}
UNIT = Driver(0.11, 0.0003, 2.5, 11.0, 3.4, 0.033, 0.0008)
GRID = np.geomspace(8.0, 1000.0, 220)
MASS_KG, BOX_M3 = 0.03, 0.02


def measured(*, mass_kg: float = 0.0, box_m3: float | None = None) -> NDArray[np.complex128]:
    """Impedance from mass, spring and force factor, not by the formula that is fitted."""
    omega = 2.0 * np.pi * GRID
    stiffness = 1.0 / UNIT.cms_m_per_n + (0.0 if box_m3 is None else AIR_STIFFNESS_PA * UNIT.sd_m2**2 / box_m3)
    motion = UNIT.rms_kg_s + 1j * omega * (UNIT.mms_kg + mass_kg) + stiffness / (1j * omega)
    return np.asarray(UNIT.re_ohm + 1j * omega * UNIT.le_h + UNIT.bl_t_m**2 / motion)


def sweeps(seed: int, noise: float, *, phase: bool) -> list[Sweep]:
    rng = np.random.default_rng(seed)
    made = []
    for mass, box in ((None, None), (MASS_KG, None), (None, BOX_M3)):
        true = measured(mass_kg=mass or 0.0, box_m3=box)
        size = np.abs(true) * np.exp(noise * rng.standard_normal(GRID.size))
        turn = np.angle(true) + noise * rng.standard_normal(GRID.size)
        made.append(Sweep(GRID, size, turn if phase else None, mass, box))
    return made


def truth(key: str) -> float:
    return float(getattr(UNIT, key))


def test_free_air_figures_of_the_reference() -> None:
    """Small 1972: peak, and Q from the frequencies at √r0 Re."""
    told = REFERENCE["B.imp.free_air"]["expected"]
    curve = coil_impedance(frequency_hz=np.asarray([UNIT.fs_hz, told[2], told[3]]), re_ohm=3.4, le_h=0.0,
                           fs_hz=UNIT.fs_hz, qes=UNIT.qes, qms=UNIT.qms)  # fmt: skip
    assert np.abs(curve) == pytest.approx([told[0], np.sqrt(told[1]) * 3.4, np.sqrt(told[1]) * 3.4], rel=1e-5)


@pytest.mark.parametrize("phase", [False, True])
def test_added_mass_and_known_box_without_noise(phase: bool) -> None:
    """Exact data give the unit back, its cone's area too."""
    found = fit(sweeps(0, 0.0, phase=phase))
    for key in ("re_ohm", "le_h", "fs_hz", "qes", "qms", "qts", "mms_kg", "vas_m3", "cms_m_per_n", "bl_t_m", "sd_m2"):
        assert found.figures[key] == pytest.approx(truth(key), rel=1e-4), key


@pytest.mark.parametrize(
    ("rows", "keys"),
    [
        ((0,), ("re_ohm", "fs_hz", "qes", "qms", "qts")),
        ((0, 1), ("mms_kg", "cms_m_per_n", "bl_t_m", "vas_m3")),
        ((0, 2), ("mms_kg", "cms_m_per_n", "bl_t_m", "vas_m3")),
        ((0, 1, 2), ("mms_kg", "vas_m3", "sd_m2", "bl_t_m")),
    ],
)
def test_invented_figures_come_back_under_noise(rows: tuple[int, ...], keys: tuple[str, ...]) -> None:
    """40 draws of 2 % noise: the stated errors are those that occur, and the mean is right."""
    area = None if len(rows) == 3 else UNIT.sd_m2
    pulls: dict[str, list[float]] = {key: [] for key in keys}
    for seed in range(40):
        made = sweeps(seed, 0.02, phase=False)
        found = fit([made[row] for row in rows], sd_m2=area)
        for key in keys:
            pulls[key].append(float(np.log(found.figures[key] / truth(key))) / found.errors[key])
            assert found.errors[key] < 0.02
    for key, values in pulls.items():
        assert 0.6 < float(np.std(values)) < 1.5, key
        assert abs(float(np.mean(values))) < 0.6, key


def test_a_wrong_mass_shows_in_the_result() -> None:
    """Told 40 g where 30 g were on the cone, the mass comes out a third too high: the test above can fail."""
    made = sweeps(1, 0.0, phase=False)[:2]
    made[1] = Sweep(GRID, made[1].magnitude_ohm, None, 0.04)
    assert fit(made, sd_m2=UNIT.sd_m2).figures["mms_kg"] == pytest.approx(UNIT.mms_kg * 4.0 / 3.0, rel=1e-3)


def test_too_few_points_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 12 points"):
        fit([Sweep(GRID[:8], np.abs(measured())[:8])])


def test_a_gross_outlier_moves_little() -> None:
    made = sweeps(2, 0.01, phase=False)
    size = made[0].magnitude_ohm.copy()
    size[60] *= 4.0
    spoiled = fit([Sweep(GRID, size), *made[1:]])
    assert spoiled.figures["fs_hz"] == pytest.approx(UNIT.fs_hz, rel=0.01)
    assert spoiled.figures["qes"] == pytest.approx(UNIT.qes, rel=0.04)
