"""Speed of sound against pyfar's published models, as copied with their sources into tests/references/measuring.toml."""

from __future__ import annotations

import pyfar
import pytest

from cabinwright.physics.air import speed_of_sound_m_s

from .test_bands import ENTRIES


@pytest.mark.parametrize("key", ["A.air.c_cramer", "A.air.c_ideal_humid"])
def test_against_published_models(key: str) -> None:
    entry = ENTRIES[key]
    # Two models that differ from one another by 0.16 m/s: an ideal gas lies within 0.2 m/s of both.
    for temperature_c, expected in zip(entry["inputs"]["temp_C"], entry["expected"], strict=True):
        got = speed_of_sound_m_s(temperature_c=temperature_c, relative_humidity=entry["inputs"]["rh"])
        assert got == pytest.approx(expected, abs=0.2)
        assert speed_of_sound_m_s(temperature_c=temperature_c + 1.0) != pytest.approx(expected, abs=0.2)


def test_dry_air_against_pyfar() -> None:
    expected = pyfar.constants.speed_of_sound_cramer(20.0, 0.0)
    assert speed_of_sound_m_s(temperature_c=20.0, relative_humidity=0.0) == pytest.approx(float(expected), abs=0.2)


@pytest.mark.parametrize(("temperature_c", "humidity"), [(-300.0, 0.5), (20.0, -0.1), (20.0, 1.1), (float("nan"), 0.5)])
def test_impossible_air(temperature_c: float, humidity: float) -> None:
    with pytest.raises(ValueError, match="temperature must lie"):
        speed_of_sound_m_s(temperature_c=temperature_c, relative_humidity=humidity)
