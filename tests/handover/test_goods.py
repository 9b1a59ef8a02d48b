"""What is needed besides boards, against counts by hand on a box whose sizes are round."""

from __future__ import annotations

from collections import defaultdict
from math import ceil, pi

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.goods import goods, goods_csv
from cabinwright.handover.workshop_page import millimetres
from cabinwright.office.takeoff import wanted
from cabinwright.pipeline import design
from stages.fitted import FIXED, HEAD

BOX = """
[[sheets]]
name = "MDF 18 mm"
material = "MDF"
thickness_m = 0.018
length_m = 2.44
width_m = 1.22
cutter = "router"
[[speaker_models]]
name = "invented 8 inch"
fs_hz = 35
qes = 0.5
qms = 5
vas_m3 = 0.02
re_ohm = 3.4
sd_m2 = 0.022
cut_out_m = 0.18
outer_diameter_m = 0.2
mounting_circle_m = 0.19
screws = 6
[[boxes]]
name = "bay"
model = "invented 8 inch"
kind = "vented"
port = {diameter_m = 0.07, length_m = 0.2}
[boxes.shape]
size_m = [0.6, 0.4]
height_m = 0.4
sheet = "MDF 18 mm"
double_baffle = true
joint = "dowel"
cable_holes = [{at_m = [0.06, 0.06], diameter_m = 0.016}]
"""


def test_what_a_box_takes_is_what_a_hand_counts() -> None:
    build = parse(HEAD + BOX + FIXED)
    results = design(build, None, lambda what, share: None)
    assert results.workshop is not None
    rows = goods(build, results.workshop, millimetres)
    found = defaultdict(float)
    for item in rows:
        found[item.what, item.unit] += item.quantity
    inside = 2 * (0.564 + 0.364)
    high = 0.4 - 3 * 0.018
    assert found["sealant bead", "m"] == pytest.approx(ceil(10 * (2 * inside + 4 * high)) / 10)
    assert found["gasket tape", "m"] == pytest.approx(ceil(10 * pi * 0.2) / 10)
    assert found["wood screw 5 mm", "piece"] == 6
    assert found["port tube 76.0 mm", "m"] == pytest.approx(0.2)
    pegs = sum(len(part.joinery.edge_bores) * part.count for part in results.workshop.parts.values())
    assert pegs > 8 and found["dowel 8.0 mm", "piece"] == pegs
    # boards joined by their edges, as a hand adds them up: 18 mm wide; and the two boards of the baffle face on face
    edges = 2 * 2 * (0.6 + 0.4) + 2 * (2 * (0.6 + high)) + 2 * (2 * (0.364 + high))
    face = 0.6 * 0.4 - pi * (0.09**2 + 0.038**2 + 0.008**2)
    assert found["wood glue", "g"] == pytest.approx(200 * (0.018 * edges + face), abs=60)
    assert found["bolt M8, property class 8.8", "piece"] == found["locking nut M8", "piece"] == 4
    assert goods_csv(rows).count("\r\n") == len(rows) + 1
    thought = {item.what: item for item in wanted(build, results) if item.kind == "fixing"}
    assert {item.what for item in rows} == set(thought)
    assert float(thought["wood glue"].amounts["kg"]) == pytest.approx(found["wood glue", "g"] / 1000)


def test_passive_radiators_want_gaskets_and_screws_too() -> None:
    part = "{mms_kg = 0.2, cms_m_per_n = 2e-4, sd_m2 = 0.01, count = 2, cut_out_m = 0.12, outer_diameter_m = 0.15, screws = 4}"
    box = BOX.replace('"vented"', '"passive radiator"').replace(
        "port = {diameter_m = 0.07, length_m = 0.2}", f"radiator = {part}"
    )
    build = parse(HEAD + box + FIXED)
    results = design(build, None, lambda what, share: None)
    assert results.workshop is not None
    found = defaultdict(float)
    for item in goods(build, results.workshop, millimetres):
        found[item.what, item.unit] += item.quantity
    assert found["wood screw 5 mm", "piece"] == 6 + 2 * 4
    assert found["gasket tape", "m"] == pytest.approx(ceil(10 * pi * 0.2) / 10 + ceil(10 * 2 * pi * 0.15) / 10)
