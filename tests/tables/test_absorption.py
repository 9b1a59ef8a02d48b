"""Absorption of surface materials against the open table that pyroomacoustics ships (Vorländer 2008)."""

from __future__ import annotations

import numpy as np
import pytest
from pyroomacoustics.parameters import materials_data

from cabinwright.build.cabin import MATERIALS
from cabinwright.tables import OCTAVES_HZ, absorption, rows

THEIRS = {
    "glass": "glass_3mm",
    "carpet": "carpet_1.35_kg_m2",
    "leather": "chairs_upholstered_leather",
    "cloth seat": "chairs_upholstered_cloth",
    "headliner": "fibre_absorber_2",
    "wood": "wood_16mm",
}


def _theirs(name: str) -> list[float]:
    """At 125 Hz to 8 kHz; where their row ends at 4 kHz the last value holds, as our source column says."""
    (row,) = [group[name] for group in materials_data["absorption"].values() if name in group]
    coefficients = list(row["coeffs"])
    return coefficients + coefficients[-1:] * (len(OCTAVES_HZ) - len(coefficients))


@pytest.mark.parametrize("material", THEIRS)
def test_cited_rows_are_the_published_ones(material: str) -> None:
    assert tuple(materials_data["center_freqs"]) == OCTAVES_HZ
    assert absorption(material) == pytest.approx(_theirs(THEIRS[material]), abs=1e-12)
    others = [_theirs(name) for word, name in THEIRS.items() if word != material]
    assert all(absorption(material) != pytest.approx(other, abs=1e-3) for other in others)


def test_every_row_that_cites_it_is_checked_and_every_estimate_says_so() -> None:
    for row in rows("absorption"):
        cited = row["source"].startswith("Vorländer 2008")
        assert cited == (row["material"] in THEIRS)
        assert cited or "estimate, no source" in row["source"]


def test_every_material_word_has_one_row_that_makes_sense() -> None:
    assert sorted(row["material"] for row in rows("absorption")) == sorted(MATERIALS)
    for word in MATERIALS:
        assert all(0.0 < part < 1.0 for part in absorption(word))
    speech = {word: float(np.mean(absorption(word)[2:6])) for word in MATERIALS}
    assert max(speech["glass"], speech["metal"]) < speech["plastic"] + 0.01 < speech["trim"] < speech["carpet"]
    with pytest.raises(KeyError, match="velvet"):
        absorption("velvet")
