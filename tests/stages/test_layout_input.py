"""Builds that cannot be meant: named, with the cure, and everything else still compared. And runs side by side."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from cabinwright.findings import Finding
from cabinwright.stages.layout import LayoutResult, run
from stages.cabin_build import HEAD, PLACES, cabin_build, cabin_text, shell, surface

QUICK = "[layout]\ndraws = 5\n"


def _found(
    *, places: str = PLACES, surfaces: str | None = None, extra: str = ""
) -> tuple[LayoutResult, dict[str, Finding]]:
    got = run(cabin_build(places=places, surfaces=surfaces, extra=extra + QUICK))
    assert got is not None
    assert all(item.message and item.remedy for item in got.findings)
    return got, {item.code: item for item in got.findings}


def test_a_sound_build_has_nothing_to_say_of_itself() -> None:
    _, codes = _found()
    wrong = ("broken", "outside", "unlikely", "open", "in_surface", "far", "unusable")
    assert not [code for code in codes if code.endswith(wrong)]


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ([(0.8, -0.3, 0.2), (1.2, -0.3, 0.2), (1.2, 0.3, 0.3), (0.8, 0.3, 0.2)], "mm off the plane"),
        ([(0.8, -0.3, 0.2), (1.2, 0.3, 0.2), (1.2, -0.3, 0.2), (0.8, 0.35, 0.2)], "crosses itself"),
        ([(0.8, -0.3, 0.2), (1.2, -0.3, 0.2), (1.6, -0.3, 0.2)], "one line"),
        ([(0.8, -0.3, 0.2), (0.8, -0.3, 0.2), (1.2, 0.3, 0.2)], "same place"),
        ([(0.8, -0.3, 0.2), (1.2, -0.3, 0.2), (1.0, -0.3, 0.2), (1.0, 0.3, 0.2)], "touches itself"),
    ],
)
def test_a_facet_that_is_none(corners: list[tuple[float, float, float]], words: str) -> None:
    """Named, left out, and everything else is heard as if it were not there."""
    got, codes = _found(surfaces=shell() + surface("console", corners))
    broken = codes["layout.surface_broken"]
    assert broken.severity == "stop" and "console" in broken.message and words in broken.message
    plain, _ = _found()
    assert (
        got.places["left pillar"].seats["driver"].reflections == plain.places["left pillar"].seats["driver"].reflections
    )


@pytest.mark.parametrize("at", ["[0.72, -1.62, 0.9]", "[0.1, 0.0, 1.1]", "[-0.4, 0.0, 0.3]"])
def test_a_place_outside_the_shell(at: str) -> None:
    _, codes = _found(places=PLACES.replace("[0.72, -0.62, 0.9]", at))
    assert "left pillar" in codes["layout.place_outside"].message
    assert "cm" in codes["layout.place_outside"].message


def test_a_place_within_a_tapes_error_of_the_wall_is_not_outside() -> None:
    _, codes = _found(places=PLACES.replace("[0.8, -0.7, 0.3]", "[0.8, -0.724, 0.3]"))
    assert "layout.place_outside" not in codes


@pytest.mark.parametrize(("y", "told"), [("-0.72", False), ("-0.716", False), ("-0.71", True), ("-0.6", False)])
def test_a_place_just_before_a_surface_is_told_apart_from_one_in_it(y: str, told: bool) -> None:
    _, codes = _found(places=PLACES.replace("[0.8, -0.7, 0.3]", f"[0.8, {y}, 0.3]").replace("0.7, 0.3]", "0.72, 0.3]"))
    assert ("layout.near_surface" in codes) is told
    if told:
        assert "10 mm from the surface “left side”" in codes["layout.near_surface"].message


def test_a_crowd_of_free_panels_is_followed_less_far_and_said() -> None:
    crowd = "".join(
        surface(f"panel {k}", [(0.6 + 0.02 * k, 0.0, 0.1), (0.62 + 0.02 * k, 0.03, 0.1), (0.6 + 0.02 * k, 0.02, 0.13)])
        for k in range(61)
    )
    got, codes = _found(surfaces=shell() + crowd)
    assert "order 2" in codes["layout.crowded"].message
    assert max(row.order for row in got.places["left pillar"].seats["driver"].reflections) == 2


def _seated(head: str) -> Callable[[str], str]:
    return lambda text: text.replace("head_m = [1.3, 0.36, 0.95]", f"head_m = {head}")


def _from_text(change: Callable[[str], str], **given: str) -> dict[str, Finding]:
    got = run(parse(change(cabin_text(**given, extra=QUICK))))
    assert got is not None
    return {item.code: item for item in got.findings}


def test_a_head_outside_and_a_head_inside_the_seat_back() -> None:
    outside = _from_text(_seated("[1.3, 0.36, 1.6]"))
    assert "driver" in outside["layout.head_outside"].message
    inside = _from_text(_seated("[1.57, 0.36, 0.56]"))
    assert "driver" in inside["layout.head_in_surface"].message
    assert "seat back" in inside["layout.head_in_surface"].message


def test_a_head_inside_a_seat_back_that_is_a_box() -> None:
    """A thick seat back of six facets, and the head in the middle of it."""
    x0, x1, y0, y1, z0, z1 = 1.2, 1.45, 0.1, 0.62, 0.3, 1.05
    sides = {
        "front": [(x0, y0, z0), (x0, y1, z0), (x0, y1, z1), (x0, y0, z1)],
        "back": [(x1, y0, z0), (x1, y1, z0), (x1, y1, z1), (x1, y0, z1)],
        "top": [(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)],
        "bottom": [(x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0)],
        "inner": [(x0, y0, z0), (x1, y0, z0), (x1, y0, z1), (x0, y0, z1)],
        "outer": [(x0, y1, z0), (x1, y1, z0), (x1, y1, z1), (x0, y1, z1)],
    }
    extra = "".join(surface(f"seat {name}", corners, "cloth seat") for name, corners in sides.items())
    codes = _from_text(_seated("[1.325, 0.36, 0.7]"), surfaces=shell(seat_back=False) + extra)
    told = [codes[code].message for code in ("layout.head_outside", "layout.head_in_surface") if code in codes]
    assert any("driver" in words for words in told)


def test_units_mixed_up() -> None:
    """A dash 52 m before the driver is refused where it stands; a cabin of 9.5 m and a place in the next car are doubted."""
    with pytest.raises(BuildError, match=r"corners_m.*bare number counts in m"):
        cabin_build(surfaces=shell().replace("2.5", "52.0"))
    _, codes = _found(surfaces=shell().replace("2.5", "9.5"))
    assert "units" in codes["layout.size_unlikely"].message
    _, codes = _found(places=PLACES.replace("[0.72, -0.62, 0.9]", "[9.0, -0.62, 0.9]"))
    told = [codes[code].message for code in ("layout.place_far", "layout.place_outside") if code in codes]
    assert any("left pillar" in words for words in told)
    inches = shell().replace("2.5", "'98.4 in'").replace("2.15", "'84.6 in'")
    _, codes = _found(surfaces=inches)
    assert "layout.size_unlikely" not in codes and "layout.surface_broken" not in codes


def test_an_open_shell() -> None:
    got, codes = _found(surfaces="[[cabin.surfaces]]".join(shell().split("[[cabin.surfaces]]")[:-2]))
    assert codes["layout.shell_open"].severity == "note" and "close" in codes["layout.shell_open"].message
    assert got.low_frequency is None and got.places["seat base"].low is None
    assert len(got.places["left pillar"].seats["driver"].reflections) > 10
    assert {item.role for item in got.ranking} == {"coaxial", "subwoofer"}


def test_no_places_or_no_seats() -> None:
    assert run(cabin_build(places="", extra=QUICK)) is None
    text = "[[cabin.surfaces]]" + cabin_text(places="").split("[[cabin.surfaces]]", 1)[1]
    assert run(parse(HEAD.split("[[seats]]")[0] + text)) is None


def test_refused_before_anything_is_computed() -> None:
    """A material nobody knows and a corner that is no point of the survey: with the line and the cure."""
    with pytest.raises(BuildError, match=r"velvet"):
        cabin_build(surfaces=shell().replace('"carpet"', '"velvet"'))
    with pytest.raises(BuildError, match=r"aim"):
        cabin_build(places=PLACES.replace("aim = [1.0, 0.4, 0.6]", "aim = [0.0, 0.0, 0.0]"))
    with pytest.raises(BuildError, match=r"corners_m"):
        cabin_build(surfaces=surface("scrap", [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0)]))


def test_own_materials_count() -> None:
    """A wall of one's own stuff that takes all but a tenth of the power: 10 dB less off it."""
    hung = '[[cabin.materials]]\nname = "felt"\nabsorption = [[500.0, 0.9], [4000.0, 0.9]]\n'
    plain, _ = _found(surfaces=shell().replace('"headliner"', '"felt"'), extra=hung)
    mirror, _ = _found(surfaces=shell().replace('"headliner"', '"felt"'), extra=hung.replace("0.9]", "0.0]"))
    for soft, hard in zip(
        plain.places["left pillar"].seats["driver"].reflections,
        mirror.places["left pillar"].seats["driver"].reflections,
        strict=True,
    ):
        assert hard.level_db - soft.level_db == pytest.approx(10.0 * soft.surfaces.count("roof"), abs=1e-9)


Z = st.floats(-0.2, 1.4)


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(
    corners=st.lists(st.tuples(st.floats(0.0, 2.5), st.floats(-0.72, 0.72), Z), min_size=3, max_size=6),
    at=st.tuples(st.floats(-3.0, 5.0), st.floats(-2.0, 2.0), Z),
    head=st.tuples(st.floats(-1.0, 3.0), st.floats(-1.0, 1.0), Z),
)
def test_nothing_a_person_writes_crashes(
    corners: list[tuple[float, float, float]], at: tuple[float, float, float], head: tuple[float, float, float]
) -> None:
    """Any corners, places and heads, on walls and in corners, one in the other: a result or a refusal with words."""
    two = surface("floor", [(0.0, -0.72, 0.0), (2.5, -0.72, 0.0), (2.5, 0.72, 0.0), (0.0, 0.72, 0.0)], "carpet")
    place = f'[[places]]\nname = "odd"\nrole = "coaxial"\nside = "left"\nposition_m = {list(at)}\naim = "driver"\n'
    text = _seated(str(list(head)))(cabin_text(places=place, surfaces=two + surface("odd facet", corners), extra=QUICK))
    try:
        build = parse(text)
    except BuildError:
        return
    got = run(build)
    assert got is not None and "odd" in got.places


def test_side_by_side_is_the_same() -> None:
    """Threads and processes give what one after another gives, to the last digit."""
    build = cabin_build(places=PLACES.split('[[places]]\nname = "spare')[0], extra=QUICK)
    alone = run(build)
    assert alone is not None
    pools: list[Executor] = [
        ThreadPoolExecutor(2),
        ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")),
    ]
    for pool in pools:
        with pool:
            other = run(build, executor=pool)
        assert other is not None
        assert repr(other.to_dict()) == repr(alone.to_dict())


class Stopped(Exception):
    pass


def test_progress_is_told_and_may_interrupt() -> None:
    seen: list[float] = []

    def watch(what: str, share: float) -> None:
        seen.append(share)
        if share >= 0.5:
            raise Stopped

    with pytest.raises(Stopped):
        run(cabin_build(extra=QUICK), progress=watch)
    assert seen and seen == sorted(seen) and 0.0 <= seen[-1] <= 1.0
