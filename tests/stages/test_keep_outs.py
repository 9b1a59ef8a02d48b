"""Places against volumes to keep free, on boxes and balls whose gaps are plain arithmetic."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from build.samples import MINIMAL
from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.stages.layout.keep_outs import clearances, keep_out_findings

BOX = str([[x, y, z] for x in (0.5, 0.9) for y in (-0.5, 0.5) for z in (0, 1)])


def car(*, kind: str = "airbag path", place: str = "", at: str = "[0.3, 0, 0.5]", box: str = BOX) -> Build:
    return parse(
        MINIMAL
        + f'[[cabin.keep_outs]]\nname = "box"\nkind = "{kind}"\ncorners_m = {box}\n'
        + '[[cabin.pillars]]\nname = "A"\nside = "left"\ncorners_m = [[0,0,0],[0,0,1],[0,1,0],[1,0,0]]\n'
        + f'[[places]]\nname = "pod"\nrole = "tweeter"\nside = "left"\nposition_m = {at}\nradius_m = 0.02\n{place}\n'
    )


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        ("aim = [-1, 0, 0]", 0.2),  # the disc stands across x, at x = 0.3; the box begins at 0.5
        ("aim = [0, 0, 1]", 0.18),  # the disc lies flat: its edge reaches 20 mm towards the box
        ("aim = [-1, 0, 0]\ndepth_m = 0.15", 0.05),  # room behind it, towards the box
        ("aim = [1, 0, 0]\ndepth_m = 0.15", 0.2),  # room behind it, away from the box
        ("aim = [1, 0, 0]\nnormal = [-1, 0, 0]\ndepth_m = 0.15", 0.05),  # behind the panel, not behind the aim
        ("aim = [-1, 0, 0]\ndepth_m = 0.25", -0.05),
        ('aim = [-1, 0, 0]\npillar = "A"', 0.165),  # a pod of 20 + 15 mm
        ('aim = [-1, 0, 0]\npillar = "A"\npod_radius_m = 0.3', -0.1),
    ],
)
def test_gaps_are_those_of_boxes_and_balls(place: str, expected: float) -> None:
    (gap,) = clearances(car(place=place))
    assert gap.gap_m == pytest.approx(expected, abs=2e-4)  # the disc's polygon is 0.5 % of 20 mm too large
    assert (gap.place, gap.keep_out, gap.kind) == ("pod", "box", "airbag path")


@pytest.mark.parametrize(
    ("kind", "x", "code", "severity", "waivable"),
    [
        ("airbag", 0.6, "layout.airbag", "stop", False),
        ("airbag path", 0.6, "layout.airbag", "stop", False),
        ("airbag path", 0.49, "layout.airbag_margin", "stop", False),  # 10 mm, mounted within ±15 mm
        ("airbag path", 0.47, "layout.airbag_near", "caution", True),
        ("airbag path", 0.44, None, "", True),
        ("knees", 0.6, "layout.keep_out", "caution", True),
        ("window travel", 0.6, "layout.keep_out", "caution", True),
        ("knees", 0.49, None, "", True),
    ],
)
def test_what_is_said(kind: str, x: float, code: str | None, severity: str, waivable: bool) -> None:
    found = keep_out_findings(car(kind=kind, at=f"[{x}, 0, 0.5]", place="aim = [-1, 0, 0]"))
    assert [item.code for item in found] == ([code] if code else [])
    for item in found:
        assert (item.severity, item.waivable, item.unit) == (severity, waivable, "mm")
        expected: Any = {0.6: 100, 0.49: 10, 0.47: 30}[x]
        assert item.value == expected and f"{expected} mm" in item.message and "box" in item.message
        if kind.startswith("airbag"):
            assert "car maker" in item.remedy


def test_a_finer_mounting_frees_a_place() -> None:
    (found,) = keep_out_findings(car(at="[0.49, 0, 0.5]", place='aim = [-1, 0, 0]\nposition_sigma_m = "2 mm"'))
    assert found.code == "layout.airbag_near"


def test_a_flat_volume_is_named_and_still_counts() -> None:
    flat = "[[0.5, -0.5, 0], [0.5, -0.5, 1], [0.5, 0.5, 0], [0.5, 0.5, 1]]"
    found = keep_out_findings(car(box=flat, at="[0.5, 0, 0.5]", place="aim = [0, 1, 0]"))
    assert [item.code for item in found] == ["layout.keep_out_flat", "layout.airbag"]


def test_speakers_are_held_against_airbags_too() -> None:
    speaker = '[[speakers]]\nname = "{}"\nrole = "tweeter"\nside = "left"\nposition_m = [0.6, 0, 0.5]\n'
    found = keep_out_findings(car(place="aim = [-1, 0, 0]\n" + speaker.format("old one") + speaker.format("pod")))
    assert [(item.code, item.details["place"]) for item in found] == [("layout.airbag", "old one")]


def test_turning_and_moving_the_whole_car_changes_no_gap() -> None:
    """Corners, place, aim and panel turned together by random rotations (SciPy's)."""
    rng = np.random.default_rng(2)
    for turn in Rotation.random(20, rng=rng):
        shift, corners = rng.uniform(-1.0, 1.0, 3), rng.uniform(-0.4, 0.4, (9, 3))
        at, aim, normal = rng.uniform(-0.8, 0.8, 3), rng.normal(size=3), rng.normal(size=3)
        gaps = [
            clearances(
                car(
                    box=str((move.apply(corners) + by).tolist()),
                    at=str((move.apply(at) + by).tolist()),
                    place=f"aim = {move.apply(aim).tolist()}\nnormal = {move.apply(normal).tolist()}\ndepth_m = 0.1",
                )
            )[0].gap_m
            for move, by in ((Rotation.identity(), 0.0 * shift), (turn, shift))
        ]
        assert gaps[0] == pytest.approx(gaps[1], abs=3e-4)  # the disc's polygon turns too: 0.5 % of 20 mm


def test_nothing_to_hold_against_is_no_finding() -> None:
    assert keep_out_findings(parse(MINIMAL)) == ()
