"""Places, heads and corners by the names of surveyed points: the same comparison, with the survey's doubt in its draws."""

from __future__ import annotations

from math import dist

import pytest

from cabinwright.build.codec import parse
from cabinwright.pipeline import compare_places, design
from cabinwright.stages import survey
from cabinwright.stages.layout import LayoutResult, run
from stages.cabin_build import cabin_text

KNOWN = {
    "a": (0.0, 0.0, 0.0),
    "b": (2.0, 0.0, 0.0),
    "c": (0.0, 0.7, 0.1),
    "d": (1.0, -0.7, 0.9),
    "e": (1.0, 0.6, 1.1),
}
NAMED = {"head": (1.3, 0.36, 0.95), "corner": (0.52, -0.56, 0.77), "rear left": (2.5, -0.72, 0.55)}


def _unwatched(what: str, share: float) -> None:
    pass


def _text(*, sigma_m: float, driving_side: str = "right") -> str:
    """The invented cabin with a head, a place and a surface's corner as points taped from five known ones, read exactly."""
    text = cabin_text().replace('driving_side = "right"', f'driving_side = "{driving_side}"')
    text = text.replace("head_m = [1.3, 0.36, 0.95]", 'head_m = "head"')
    text = text.replace("position_m = [0.52, -0.56, 0.77]", 'position_m = "corner"')
    text = text.replace("[2.5, -0.72, 0.55]", '"rear left"')
    assert text.count('"rear left"') == 3
    text += "".join(f'[[survey.points]]\nname = "{name}"\nat_m = {list(at)}\n' for name, at in KNOWN.items())
    for name, at in NAMED.items():
        text += f'[[survey.points]]\nname = "{name}"\n'
        for known, there in KNOWN.items():
            text += (
                f'[[survey.tapes]]\nfrom = "{known}"\nto = "{name}"\n'
                f"distance_m = {dist(at, there):.6f}\nsigma_m = {sigma_m}\n"
            )
    return text


def _compared(text: str) -> LayoutResult:
    build = parse(text)
    got = compare_places(build, survey.run(build), _unwatched)
    assert got is not None
    return got


def test_names_give_what_coordinates_give() -> None:
    by_name, by_number = _compared(_text(sigma_m=0.003)), run(parse(cabin_text()))
    assert by_number is not None and by_name.listening_seat == "driver"
    for name, place in by_number.places.items():
        for seat, heard in place.seats.items():
            got = by_name.places[name].seats[seat]
            assert got.distance_m == pytest.approx(heard.distance_m, abs=2e-5)
            if name != "seat base":  # its way off the tail runs through the seam to the rear window, to the micrometre
                assert {row.surfaces for row in got.reflections} == {row.surfaces for row in heard.reflections}
    assert by_name.low_frequency is not None and by_number.low_frequency is not None
    assert by_name.low_frequency.modes_hz == pytest.approx(by_number.low_frequency.modes_hz, rel=1e-3)


def test_the_surveys_doubt_travels_into_the_draws() -> None:
    """Tapes good to 3 cm in place of 3 mm, through the head into every place, named or not."""
    sure, unsure = (_compared(_text(sigma_m=sigma)) for sigma in (0.003, 0.03))
    for name in ("left dash corner", "right door"):
        one, other = sure.places[name].aimed, unsure.places[name].aimed
        assert one is not None and other is not None
        assert other.spread_db > one.spread_db


def test_the_driver_is_found_by_the_surveyed_head() -> None:
    """With the wheel on the left the other seat decides."""
    assert _compared(_text(sigma_m=0.003, driving_side="left")).listening_seat == "passenger"


def test_the_whole_design_takes_names() -> None:
    results = design(parse(_text(sigma_m=0.003)), None, _unwatched)
    assert results.layout is not None and "layout" not in results.stopped


def test_what_keeps_clear_of_an_airbag_keeps_clear_of_the_surveys_doubt_too() -> None:
    """Over the dash corner: 3 standard deviations of its 5 mm of mounting, and of a point known to 15 mm or more besides."""
    box = [[x, y, z] for x in (0.45, 0.6) for y in (-0.7, -0.45) for z in (0.85, 1.0)]
    airbag = f'[[cabin.keep_outs]]\nname = "bag"\nkind = "airbag"\ncorners_m = {box}\n'
    stops = []
    for sigma in (0.003, 0.03):
        got = _compared(_text(sigma_m=sigma) + airbag)
        (gap,) = [item for item in got.clearances if item.place == "left dash corner"]
        # By hand: 80 mm up to the bag, less how far a disc of 35 mm across [1, 0.4, 0.6] reaches up.
        assert gap.gap_m == pytest.approx(0.08 - 0.035 * (1.16 / 1.52) ** 0.5, abs=1e-3)
        stops.append([item.where for item in got.findings if item.code in ("layout.airbag", "layout.airbag_margin")])
    assert stops == [[], ["left dash corner and bag"]]
