"""The demo's box is sound and its measured drive unit is the stated one; a wrong figure is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from cabinwright.build.codec import parse
from cabinwright.measure.impedance import read_sweeps
from cabinwright.stages import enclosure
from cabinwright.stages.enclosure import EnclosureResult

FOLDER = Path(__file__).parents[2] / "demo" / "build"
TEXT = (FOLDER / "build.toml").read_text(encoding="utf-8")


def planned(old: str = "", new: str = "") -> EnclosureResult:
    assert old in TEXT
    build = parse(TEXT.replace(old, new, 1))
    sweeps, found = read_sweeps(build, FOLDER)
    result = enclosure.run(build, sweeps=sweeps, found=found)
    assert result is not None
    return result


def test_the_demo_is_sound_and_measured() -> None:
    """The sweeps were computed from 182 g, 0.175 mm/N and 15.2 T·m."""
    result = planned()
    assert result.findings == ()
    fitted = result.models["invented 10 inch"].fitted
    assert fitted is not None
    for key, true in (("mms_kg", 0.182), ("cms_m_per_n", 0.000175), ("bl_t_m", 15.2)):
        assert fitted[key]["value"] == pytest.approx(true, rel=4.0 * fitted[key]["error_share"])
    assert result.boxes["spare-wheel bay"].q_tc == pytest.approx(0.59, abs=0.01)


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("qes = 0.46", "qes = 0.6", "enclosure.fit_differs"),
        ("qes = 0.46", "qes = 0.46\nbl_t_m = 20", "enclosure.inconsistent"),
        ("power_w = 200\nwire", "power_w = 400\nwire", "enclosure.beyond_xmax"),
    ],
)
def test_a_wrong_figure_is_named(old: str, new: str, code: str) -> None:
    assert code in {item.code for item in planned(old, new).findings}
