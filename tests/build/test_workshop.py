"""Tables of panels, sheets and lights: what they accept, and how slips are named."""

from __future__ import annotations

import json
import tomllib

import jsonschema
import pytest

from cabinwright.build.codec import parse
from cabinwright.build.reference import schema_json
from cabinwright.errors import BuildError

HEAD = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "car"\ndriving_side = "left"\n'
SHEET = (
    '[[sheets]]\nname = "6 mm ply"\nmaterial = "birch plywood"\nthickness_m = "6.3 mm"\nlength_m = 1.2\nwidth_m = 0.6\n'
)
COVER = """
[[panels]]
name = "cover"
sheet = "6 mm ply"
outline = [[0, 0], ["40 cm", 0], {at_m = [0.4, 0.3], fillet_m = 0}, {at_m = [0, 0.3], via_m = [0.2, 0.35]}]
[[panels.slots]]
name = "sweep"
curve = [[0.05, 0.1], [0.35, 0.1]]
width_m = "4 mm"
[[lights]]
name = "glow"
panel = "cover"
along = "sweep"
distance_m = 0.01
pitch_m = 0.008
watts_per_metre = 9.6
"""


def problems(text: str) -> str:
    with pytest.raises(BuildError) as refused:
        parse(HEAD + text)
    return str(refused.value)


def test_points_are_pairs_or_tables() -> None:
    build = parse(HEAD + SHEET + COVER)
    (panel,) = build.panels
    assert panel.outline is not None
    assert [point.at_m for point in panel.outline] == [(0.0, 0.0), (0.4, 0.0), (0.4, 0.3), (0.0, 0.3)]
    assert [point.fillet_m for point in panel.outline] == [None, None, 0.0, None]
    assert panel.outline[3].via_m == (0.2, 0.35)
    jsonschema.validate(tomllib.loads(HEAD + SHEET + COVER), json.loads(schema_json()))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('sheet = "6 mm ply"\noutline', 'sheet = "6 mm pli"\noutline'), 'Did you mean "6 mm ply"?'),
        (('along = "sweep"', 'along = "sweeps"'), 'Did you mean "sweep"?'),
        (('panel = "cover"', 'panel = "lid"'), "no panel has this name"),
        (('name = "sweep"', 'name = "outline"'), "means the panel's own outline"),
        (("[0, 0], [", "[0, 0, 0], ["), "two numbers"),
        (("via_m = [0.2, 0.35]", "via_m = [0.2, 0.35], sagitta_m = 0.01"), "by via_m or by sagitta_m, not both"),
        (('name = "cover"\nsheet', 'name = "cover"\nsize_m = [0.1, 0.1]\nsheet'), "exactly one of outline"),
        (('sheet = "6 mm ply"\noutline', "outline"), "names the sheet it is cut from, or has layers"),
        (("watts_per_metre = 9.6", "watts_per_metre = 9.6\ntarget_xy = [0.3, 0.3]"), "needs the strip's primaries"),
        (('width_m = "4 mm"', 'width_m = "4 furlong"'), "width_m"),
    ],
)
def test_slips_are_named(change: tuple[str, str], said: str) -> None:
    text = SHEET + COVER
    assert change[0] in text
    assert said in problems(text.replace(*change))


def test_a_graded_pitch_belongs_to_concentric_rows() -> None:
    holes = '[[panels.perforations]]\nname = "field"\ndiameter_m = 0.003\npitch_m = 0.006\npitch_far_m = 0.009\n'
    text = SHEET + COVER.replace("[[lights]]", holes + "[[lights]]")
    assert "a graded pitch needs rows = concentric" in problems(text)
    assert parse(HEAD + text.replace("pitch_far_m = 0.009", 'pitch_far_m = 0.009\nrows = "concentric"'))
    assert "the web must be less than the pitch" in problems(text.replace("pitch_far_m = 0.009", "least_web_m = 0.006"))
    assert "as wide as their pitch would meet" in problems(
        text.replace("pitch_far_m = 0.009", "diameter_far_m = 0.006")
    )


RING = """
[[speaker_models]]
name = "unit"
cut_out_m = "143 mm"
[[places]]
name = "door"
role = "midbass"
side = "left"
position_m = [0.8, -0.6, 0.4]
[[rings]]
name = "ring"
place = "door"
model = "unit"
sheet = "6 mm ply"
trim = {sheet = "6 mm ply"}
[[jigs]]
name = "guide"
kind = "angle"
of = "ring"
sheet = "6 mm ply"
"""


def test_rings_and_jigs_are_taken() -> None:
    build = parse(HEAD + SHEET + RING)
    assert build.rings[0].least_m == 0.006 and build.rings[0].trim is not None
    jsonschema.validate(tomllib.loads(HEAD + SHEET + RING), json.loads(schema_json()))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('place = "door"', 'place = "dor"'), 'Did you mean "door"?'),
        (('place = "door"\nmodel', "model"), "one place or one speaker"),
        (('trim = {sheet = "6 mm ply"}', 'trim = {sheet = "6 mm"}'), "no sheet has this name"),
        (('of = "ring"', 'of = "rang"'), "no ring or pod has this name"),
        (('kind = "angle"\nof = "ring"', 'kind = "angle"\nmodel = "unit"'), "only a drill jig"),
        (('cut_out_m = "143 mm"\n', ""), "does not say how large its hole is"),
        (('model = "unit"\nsheet', 'model = "unit"\nsurface = "wall"\nsheet'), "no surface has this name"),
        (
            ("[[jigs]]", '[[pods]]\nname = "ring"\nplace = "door"\nmodel = "unit"\nsheet = "6 mm ply"\n[[jigs]]'),
            "could not tell which",
        ),
    ],
)
def test_slips_of_rings_are_named(change: tuple[str, str], said: str) -> None:
    assert said in problems(SHEET + RING.replace(*change))
