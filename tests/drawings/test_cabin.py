"""The cabin on paper: right is right, up is up, to scale, and whatever is seen on edge does no harm."""

from __future__ import annotations

import numpy as np
import pytest

from cabinwright.drawings.cabin import VIEWS, View, cabin_picture, project
from cabinwright.drawings.picture import Disc, Picture, Stroke, Words
from cabinwright.drawings.picture_svg import draw
from stages.cabin_build import cabin_build

BUILD = cabin_build()
NUMBERS = {place.name: k for k, place in enumerate(BUILD.places, start=1)}
AIMS = {place.name: (1.0, 0.0, 0.0) for place in BUILD.places}
FLAT = '\n[[cabin.keep_outs]]\nname = "{name}"\nkind = "airbag"\ncorners_m = {corners}\n'


def picture(view: View, **wishes: object) -> Picture:
    return cabin_picture(BUILD, view, numbers=NUMBERS, aims=AIMS, **wishes)  # type: ignore[arg-type]


def label(drawn: Picture, text: str) -> tuple[float, float]:
    return next(item.at for item in drawn.shapes if isinstance(item, Words) and item.text == text)


@pytest.mark.parametrize(
    ("view", "behind", "right", "above"),
    [
        ("plan", (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)),  # nose to the left: the car's right lies at the top
        ("side", (1.0, 0.0), (0.0, 0.0), (0.0, 1.0)),
        ("rear", (0.0, 0.0), (1.0, 0.0), (0.0, 1.0)),  # from behind the car's right is on the right
    ],
)
def test_axes_of_the_car_on_paper(
    view: View, behind: tuple[float, float], right: tuple[float, float], above: tuple[float, float]
) -> None:
    """Vehicle axes after ISO 4130: x rearward, y right, z up; paper: right and up."""
    np.testing.assert_array_equal(project(np.eye(3), view), [behind, right, above])


def test_the_drivers_head_is_where_he_sits() -> None:
    plan, rear = picture("plan"), picture("rear")
    driver, passenger = label(plan, "driver"), label(plan, "passenger")
    assert driver[1] > passenger[1]  # he sits on the right, and the nose points to the left
    assert label(rear, "driver")[0] > label(rear, "passenger")[0]
    svg = draw(rear)
    assert float(svg.split(">driver<")[0].rsplit('x="', 1)[1].split('"')[0]) > float(
        svg.split(">passenger<")[0].rsplit('x="', 1)[1].split('"')[0]
    )


def test_whatever_falls_on_one_another_shares_its_label() -> None:
    side = picture("side")
    assert label(side, "driver, passenger")
    assert label(side, "1, 2")
    assert not any(isinstance(item, Words) and item.text == "1" for item in side.shapes)
    assert label(picture("plan"), "1")


def test_no_number_lies_on_another_or_on_a_disc() -> None:
    """Four places within a few centimetres, as in a corner of a dash: figures of 8 point are about 1.7 by 2.6 mm."""
    close = [
        place.model_copy(update={"position_m": (0.5 + 0.035 * k, -0.6, 0.8)})
        for k, place in enumerate(BUILD.places[:4])
    ]
    build = BUILD.model_copy(update={"places": tuple(close)})
    drawn = cabin_picture(build, "plan", numbers=NUMBERS, aims={})
    words = [item for item in drawn.shapes if isinstance(item, Words) and item.bold]
    discs = [item for item in drawn.shapes if isinstance(item, Disc) and item.look.startswith("place")]
    assert len(words) == len(discs) == 4
    at = [np.asarray(item.at) * drawn.mm_per_m + item.shift_mm for item in words]
    for k, one in enumerate(at):
        for other in at[k + 1 :]:
            assert (np.abs(one - other) >= [1.6, 2.5]).any()
        middle = one + np.array([0.0, 1.0])
        for disc in discs:
            apart = np.linalg.norm(middle - np.asarray(disc.centre) * drawn.mm_per_m)
            assert apart > disc.radius_m * drawn.mm_per_m


def test_everything_lies_inside_the_frame_and_to_scale() -> None:
    for view in VIEWS:
        drawn = picture(view)
        for shape in drawn.shapes:
            points = shape.points if isinstance(shape, Stroke) else [shape.centre] if isinstance(shape, Disc) else []
            for point in points:
                assert (np.asarray(point) >= np.asarray(drawn.low) - 0.2).all()
                assert (np.asarray(point) <= np.asarray(drawn.high) + 0.2).all()
    plan = picture("plan", width_mm=100.0)
    assert plan.mm_per_m * (plan.high[0] - plan.low[0]) == pytest.approx(92.0)  # 100 mm less two borders of 4 mm


def test_nearer_surfaces_are_drawn_over_farther_ones() -> None:
    """Seen from above, the floor lies under the roof."""
    surfaces = [
        item for item in picture("plan").shapes if isinstance(item, Stroke) and item.look in ("surface", "glass")
    ]
    wanted = {name: next(s for s in BUILD.cabin.surfaces if s.name == name) for name in ("floor", "roof")}  # type: ignore[union-attr]
    at = {
        name: next(
            k for k, item in enumerate(surfaces) if np.array_equal(item.points, project(surface.corners_m, "plan"))
        )
        for name, surface in wanted.items()
    }
    assert at["floor"] < at["roof"]


@pytest.mark.parametrize(
    ("corners", "shown"),
    [
        ([[0.5, 0.1, 0.6], [0.9, 0.1, 0.6], [0.9, 0.1, 0.9], [0.5, 0.1, 0.9]], {"side"}),  # upright, along the car
        ([[0.5, 0.1, 0.6], [0.9, 0.1, 0.6], [0.9, 0.5, 0.6], [0.5, 0.5, 0.6]], {"plan"}),  # level
        ([[0.5, 0.1, 0.6], [0.5, 0.1, 0.6], [0.5, 0.1, 0.6], [0.5, 0.1, 0.6]], set()),  # a point
        ([[0.5, 0.1, 0.6], [0.9, 0.1, 0.6], [0.9, 0.5, 0.9], [0.5, 0.5, 0.9]], {"plan", "side"}),
    ],
)
def test_keep_outs_seen_on_edge_are_left_out(corners: list[list[float]], shown: set[View]) -> None:
    build = cabin_build(extra=FLAT.format(name="bag", corners=corners))
    seen = set()
    for view in VIEWS:
        drawn = cabin_picture(build, view, numbers=NUMBERS, aims=AIMS)
        if any(isinstance(item, Stroke) and item.look == "keep out" for item in drawn.shapes):
            seen.add(view)
        draw(drawn)
    assert seen == shown


def test_first_choices_are_filled_and_rays_end_at_the_head() -> None:
    head = BUILD.seats[0].head_m
    path = [BUILD.places[0].position_m, (0.9, -0.3, 1.15), head]
    drawn = picture("plan", first=["left pillar"], rays=[path, [path[0], head]])
    assert sum(isinstance(item, Disc) and item.look == "place first" for item in drawn.shapes) == 1
    bent = next(item for item in drawn.shapes if isinstance(item, Stroke) and item.look == "ray")
    straight = next(item for item in drawn.shapes if isinstance(item, Stroke) and item.look == "direct")
    np.testing.assert_allclose(bent.points[-1], head[:2])
    assert len(straight.points) == 2
    assert sum(isinstance(item, Disc) and item.look == "bounce" for item in drawn.shapes) == 1


def test_names_are_escaped_and_bytes_stay_the_same() -> None:
    text = '<b>"x"</b>'
    seats = tuple(seat.model_copy(update={"name": text}) for seat in BUILD.seats[:1])
    build = BUILD.model_copy(update={"seats": seats})
    once = draw(cabin_picture(build, "plan", numbers=NUMBERS, aims=AIMS))
    assert text not in once
    assert "&lt;b&gt;" in once
    assert once == draw(cabin_picture(build, "plan", numbers=NUMBERS, aims=AIMS))


def test_without_a_cabin_heads_and_places_are_drawn() -> None:
    build = BUILD.model_copy(update={"cabin": None})
    drawn = cabin_picture(build, "side", numbers=NUMBERS, aims={})
    assert sum(isinstance(item, Disc) and item.look == "head" for item in drawn.shapes) == len(BUILD.seats)
    assert not any(isinstance(item, Stroke) and item.look == "axis" for item in drawn.shapes)
