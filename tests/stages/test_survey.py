"""The survey as a stage: from the tables of a build to coordinates, findings and refusals with their cure."""

from __future__ import annotations

import json
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.build.fields import NamedPoint
from cabinwright.errors import BuildError, RefusedError
from cabinwright.handover.plan import plan_json
from cabinwright.pipeline import design
from cabinwright.stages import survey
from cabinwright.stages.survey.remarks import slip
from cabinwright.stages.survey.result import SurveyResult

HEAD = 'schema = 1\ntitle = "Invented"\n[vehicle]\nname = "an invented car"\ndriving_side = "left"\n'
CAR: dict[str, tuple[float, float, float]] = {
    "left hinge": (0.0, -0.7, 0.9),
    "right hinge": (0.0, 0.7, 0.9),
    "left buckle": (1.2, -0.25, 0.3),
    "roof": (0.9, 0.05, 1.4),
    "left dash": (0.3, -0.5, 1.0),
    "right dash": (0.3, 0.5, 1.0),
    "driver head": (1.3, -0.38, 1.15),
    "passenger head": (1.32, 0.36, 1.1),
    "left door": (0.6, -0.72, 0.5),
}
KNOWN = ("left hinge", "right hinge", "left buckle", "roof")
NAMES = tuple(CAR)


def written(
    points: dict[str, str],
    *,
    errors_m: dict[tuple[str, str], float] | None = None,
    without: tuple[str, ...] = (),
    extra: str = "",
    seed: int = 1,
) -> str:
    """A build whose points carry these lines; every pair is taped but those of ``without`` (``a|b``), 3 mm exact."""
    rng = np.random.default_rng(seed)
    text = HEAD + extra
    for name, lines in points.items():
        text += f'[[survey.points]]\nname = "{name}"\n{lines}\n'
    for a, b in combinations(points, 2):
        length_m = float(np.linalg.norm(np.subtract(CAR[a], CAR[b]))) + float(rng.normal(0.0, 0.003))
        length_m += (errors_m or {}).get((a, b), 0.0)
        if f"{a}|{b}" not in without and not ("at_m" in points[a] and "at_m" in points[b]):
            text += f'[[survey.tapes]]\nfrom = "{a}"\nto = "{b}"\ndistance_m = {length_m:.5f}\n'
    return text


def known(*names: str, rest: tuple[str, ...] = NAMES) -> dict[str, str]:
    return {name: f"at_m = {list(CAR[name])}" if name in names else "" for name in rest}


def surveyed(text: str) -> SurveyResult:
    result = survey.run(parse(text))
    assert result is not None
    return result


def worst_m(result: SurveyResult, shift_m: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> float:
    return max(
        float(np.abs(np.subtract(point.at_m, CAR[name]) + shift_m).max()) for name, point in result.points.items()
    )


def test_four_known_points_and_names_alone() -> None:
    result = surveyed(written(known(*KNOWN)))
    assert worst_m(result) < 0.015
    for name, point in result.points.items():
        assert point.fixed == (name in KNOWN)
        assert (max(point.sigma_m) == 0.0) == point.fixed
        assert max(point.sigma_m) < 0.01
    off = [
        (value - true) / sigma
        for name, point in result.points.items()
        if not point.fixed
        for value, true, sigma in zip(point.at_m, CAR[name], point.sigma_m, strict=True)
    ]
    assert 0.5 < np.sqrt(np.mean(np.square(off))) < 1.6  # errors are of the size that is stated
    assert result.global_test.degrees_of_freedom == 30 - 3 * 5
    assert 0.001 < result.global_test.p < 0.999
    assert result.suspect_tapes == ()
    heads = result.covariance_of("driver head", "left hinge")
    assert np.sqrt(np.diag(heads)) == pytest.approx([*result.points["driver head"].sigma_m, 0, 0, 0])


@pytest.mark.parametrize("error_m", [0.1, -0.1, 0.03, 12.0])
def test_a_misread_tape_is_named_with_its_error(error_m: float) -> None:
    pair = ("left dash", "driver head")
    result = surveyed(written(known(*KNOWN), errors_m={pair: error_m}))
    (tape,) = result.suspect_tapes
    assert {tape.from_, tape.to} == set(pair)
    assert tape.excess_m == pytest.approx(error_m, abs=0.015)
    assert worst_m(result) < 0.02
    clean = surveyed(written(known(*KNOWN), without=("left dash|driver head",)))
    for name, point in result.points.items():
        assert point.at_m == pytest.approx(clean.points[name].at_m, abs=0.012)
    found = [item for item in result.findings if item.code == "survey.suspect_tape"]
    assert [item.severity for item in found] == ["caution"]
    assert "left dash" in found[0].message
    assert ("long" if error_m > 0.0 else "short") in found[0].message
    assert result.global_test_all.statistic > result.global_test.statistic


@pytest.mark.parametrize(
    ("distance_m", "excess_m", "words"),
    [
        (12.3, 12.3 - 0.123, "centimetres"),
        (0.0123, 0.0123 - 1.23, "centimetres"),
        (12.0, 12.0 - 1.2, "decimal place"),
        (1.30, 0.1, "100 mm"),
        (2.26, 1.001, "1.00 m"),
        (1.234 / 2.54, 1.234 / 2.54 - 1.234, "inches"),
        (1.2, 0.017, ""),
    ],
)
def test_slips_are_recognised(distance_m: float, excess_m: float, words: str) -> None:
    assert words in slip(distance_m, excess_m)
    assert bool(words) == bool(slip(distance_m, excess_m))


FRAME = '[survey.frame]\norigin = "left hinge"\nright = "right hinge"\nbehind = "left buckle"\n'


def test_a_frame_needs_one_thing_that_tells_up_from_down() -> None:
    with pytest.raises(RefusedError, match=r"could be in two places.*near_m"):
        surveyed(written(known(), extra=FRAME))
    guessed = known() | {"roof": "near_m = [1.0, 0.6, 0.9]"}
    result = surveyed(written(guessed, extra=FRAME))
    assert result.points["left hinge"].at_m == (0.0, 0.0, 0.0)
    assert result.points["left hinge"].fixed
    right, behind = result.points["right hinge"], result.points["left buckle"]
    assert (right.at_m[0], right.at_m[2], behind.at_m[2]) == (0.0, 0.0, 0.0)
    assert right.at_m[1] > 0.0
    assert behind.at_m[0] > 0.0
    assert right.sigma_m[0] == right.sigma_m[2] == behind.sigma_m[2] == 0.0
    assert not right.fixed
    # Lengths and handedness are those of the car: the same body, turned.
    place = np.array([point.at_m for point in result.points.values()])
    true = np.array([CAR[name] for name in result.points])
    turn = np.linalg.svd((place - place.mean(0)).T @ (true - true.mean(0)))
    assert np.linalg.det(turn[0] @ turn[2]) > 0.0
    gap = np.linalg.norm(place[:, None] - place[None], axis=2) - np.linalg.norm(true[:, None] - true[None], axis=2)
    assert np.abs(gap).max() < 0.015


def test_heights_level_the_frame() -> None:
    levels = "".join(
        f'[[survey.heights]]\npoint = "{name}"\nheight_m = {CAR[name][2] - 0.9:.4f}\n'
        for name in ("left buckle", "driver head")
    )
    result = surveyed(written(known(), extra=FRAME + levels))
    assert worst_m(result, (0.0, -0.7, 0.9)) < 0.02
    assert result.points["left buckle"].sigma_m[2] > 0.0


def test_mirrored_hinges_put_the_centre_line_between_them() -> None:
    points = known() | {"roof": "near_m = [1.0, 0.6, 0.9]", "right hinge": 'mirror_of = "left hinge"'}
    result = surveyed(written(points, extra=FRAME))
    assert result.centre_m == pytest.approx(0.7, abs=0.006)
    plain = surveyed(written(known() | {"roof": "near_m = [1.0, 0.6, 0.9]"}, extra=FRAME))
    assert plain.centre_m == 0.0


@pytest.mark.parametrize("kind", ["flat", "offset", "mirror"])
def test_what_else_is_easy_helps(kind: str) -> None:
    extra = {
        "flat": '[[survey.flat_surfaces]]\npoints = ["left hinge", "right hinge", "left dash", "right dash"]\n',
        "offset": '[[survey.offsets]]\npoint = "left dash"\noffset_m = -0.5\nsigma_m = 0.001\n',
        "mirror": "",
    }[kind]
    points = known(*KNOWN)
    if kind == "mirror":
        points["right dash"] = 'mirror_of = "left dash"\nmirror_sigma_m = 0.001'
    with_it, without = surveyed(written(points, extra=extra)), surveyed(written(known(*KNOWN)))
    assert worst_m(with_it) < 0.015
    assert sum(with_it.points["left dash"].sigma_m) < 0.99 * sum(without.points["left dash"].sigma_m)


@pytest.mark.parametrize(
    ("points", "without", "words"),
    [
        (known(), (), r"no point is known.*at_m.*survey\.frame"),
        (known("roof"), (), r"only “roof” is known.*survey\.frame"),
        (known("roof", "left hinge"), (), r"whole network can still move.*axes themselves.*survey\.frame"),
        (
            known(*KNOWN),
            tuple(f"{name}|left door" for name in NAMES[2:]),
            r"“left door” can still move.*Take “[^”]+” to “left door”",
        ),
        (known(*KNOWN), tuple(f"{name}|left door" for name in NAMES), r"“left door”: no tape leads there"),
        (
            known(*KNOWN),
            tuple(f"{name}|left door" for name in NAMES[3:]),
            r"“left door” could be in two places.*“left door” a rough guess \(near_m\).*one more tape from “",
        ),
        (known(*KNOWN[:3]), (), r"could be in two places"),
    ],
)
def test_what_cannot_be_answered_names_its_cure(points: dict[str, str], without: tuple[str, ...], words: str) -> None:
    with pytest.raises(RefusedError, match=words):
        surveyed(written(points, without=without))


def test_contradicting_tapes_are_refused_by_name() -> None:
    rng = np.random.default_rng(8)
    errors = {pair: float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.4)) for pair in combinations(NAMES, 2)}
    with pytest.raises(RefusedError, match=r"contradict one another.*“.*” to “.*” off by [+-]\d+ mm"):
        surveyed(written(known(*KNOWN), errors_m=errors))


def test_weak_points_and_the_next_tape() -> None:
    thin = tuple(f"{name}|left door" for name in NAMES[4:])
    lines = known(*KNOWN) | {"left door": "near_m = [0.6, -0.8, 0.4]"}
    result = surveyed(written(lines, without=thin))
    following = result.next_tapes[0]
    assert following.point == "left door"
    assert "left door" in (following.from_, following.to)
    assert following.sigma_after_m < following.sigma_before_m
    sigma = result.points["left door"].sigma_m
    assert following.sigma_before_m == pytest.approx(np.sqrt(np.sum(np.square(sigma))))


def test_every_named_place_is_located_and_nothing_else_changes() -> None:
    seats = '[[seats]]\nname = "driver"\nhead_m = "driver head"\n'
    panes = '[[cabin.surfaces]]\nname = "pane"\nmaterial = "glass"\ncorners_m = ["left dash", "right dash", [0.9, 0, 1.4]]\n'
    build = parse(written(known(*KNOWN), extra=seats + panes))
    result = survey.run(build)
    assert result is not None
    placed = survey.located(build, result)
    assert placed.seats[0].head_m == result.points["driver head"].at_m
    assert placed.cabin is not None
    assert placed.cabin.surfaces[0].corners_m[0] == result.points["left dash"].at_m
    assert placed.cabin.surfaces[0].corners_m[2] == (0.9, 0.0, 1.4)
    assert not survey.has_names(placed)
    assert isinstance(build.seats[0].head_m, NamedPoint)
    assert survey.named_places(build) == {
        "seats[0].head_m": "driver head",
        "cabin.surfaces[0].corners_m[0]": "left dash",
        "cabin.surfaces[0].corners_m[1]": "right dash",
    }
    assert survey.located(placed, None) is placed
    with pytest.raises(RefusedError, match=r"seats\[0\]\.head_m.*driver head"):
        survey.located(build, None)


def test_plan_has_the_fixed_names() -> None:
    missing = ("left hinge|left door", "left buckle|passenger head")
    build = parse(written(known(*KNOWN), errors_m={("left dash", "driver head"): 0.1}, without=missing))
    data: dict[str, Any] = json.loads(plan_json(build, design(build, None, lambda what, share: None)))["survey"]
    assert set(data["points"]["roof"]) == {"at_m", "sigma_m", "fixed"}
    assert data["points"]["roof"] == {"at_m": [0.9, 0.05, 1.4], "sigma_m": [0.0, 0.0, 0.0], "fixed": True}
    (suspect,) = data["suspect_tapes"]
    assert suspect["excess_m"] == pytest.approx(0.1, abs=0.015)
    assert {"from", "to", "distance_m", "excess_m"} <= set(suspect)
    assert set(data["global_test"]) == {"statistic", "degrees_of_freedom", "p"}
    assert {"from", "to", "point", "sigma_before_m", "sigma_after_m"} <= set(data["next_tapes"][0])
    assert data["findings"][0]["code"] == "survey.suspect_tape"


def test_a_refusal_is_a_stop_in_the_plan_and_without_a_survey_it_is_skipped() -> None:
    results = design(parse(written(known())), None, lambda what, share: None)
    (found,) = results.stopped["survey"]
    assert (found.code, found.severity) == ("stage.refused", "stop")
    bare = parse(HEAD)
    assert survey.run(bare) is None
    assert "survey.points" in design(bare, None, lambda what, share: None).skipped["survey"]
    assert survey.locate(bare) is bare


DISTANCES = st.one_of(
    st.floats(0.001, 25.0),
    st.sampled_from(["1.2 m", "123 cm", "987 mm", "48 in", "4 ft"]),
    st.sampled_from(["", "52", "1,2 m", "-1", "inf", "long"]),
)


@settings(max_examples=60)
@given(st.data())
def test_whatever_is_read_off_a_tape_is_answered(data: st.DataObject) -> None:
    """Any tapes between a few points: a result that is finite, or a refusal in words; never anything else."""
    names = data.draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=6, unique=True))
    text = HEAD + (data.draw(st.sampled_from(["", FRAME])) if set(NAMES[:3]) <= set(names) else "")
    for name in names:
        line = data.draw(st.sampled_from(["", f"at_m = {list(CAR[name])}", "near_m = [1, 0, 1]"]))
        text += f"[[survey.points]]\nname = {json.dumps(name)}\n{line}\n"
    for a, b in combinations(names, 2):
        if data.draw(st.booleans()):
            distance = data.draw(st.one_of(DISTANCES, st.just(float(np.linalg.norm(np.subtract(CAR[a], CAR[b]))))))
            text += f'[[survey.tapes]]\nfrom = "{a}"\nto = "{b}"\ndistance_m = {json.dumps(distance)}\n'
    try:
        build: Build = parse(text)
    except BuildError as error:
        assert "distance_m" in str(error) or "survey" in str(error)
        return
    try:
        result = survey.run(build)
    except RefusedError as error:
        assert str(error).endswith((".", "[survey.frame]."))
        return
    assert result is not None
    assert np.isfinite([point.at_m for point in result.points.values()]).all()
    assert np.isfinite([point.sigma_m for point in result.points.values()]).all()
    assert json.loads(plan_json(build, design(build, None, lambda what, share: None)))["survey"]["points"]


def test_a_wrong_height_is_left_out_and_no_tape_is_blamed() -> None:
    text = written(known(*KNOWN)) + '[[survey.heights]]\npoint = "left door"\nheight_m = 1.5\n'
    result = surveyed(text)
    assert result.suspect_tapes == ()
    assert [item.code for item in result.findings] == ["survey.suspect_reading"]
    assert "left door" in result.findings[0].message
    assert worst_m(result) < 0.015


def test_where_three_good_tapes_are_left_the_wrong_one_still_tells_the_side() -> None:
    """Four tapes from known points, one 10 cm long: which one stays open, but the point does not flip to its image."""
    thin = tuple(f"{a}|{b}" for a, b in combinations(NAMES, 2) if a not in KNOWN)
    result = surveyed(written(known(*KNOWN), without=thin, errors_m={("left hinge", "left door"): 0.1}))
    (tape,) = result.suspect_tapes
    assert "left door" in (tape.from_, tape.to)
    assert len(tape.or_else) == 3
    assert {"survey.suspect_undecided"} <= {item.code for item in result.findings}
    assert np.linalg.norm(np.subtract(result.points["left door"].at_m, CAR["left door"])) < 0.5


def test_a_point_hung_on_four_points_of_one_plane_is_refused_with_both_places() -> None:
    """Corners of a rectangle and four tapes from them: the mirror is as good, and the message says how to tell."""
    corners = {
        "a": (0.0, 0.0, 0.0),
        "b": (0.0, 1.4, 0.0),
        "c": (1.5, 0.0, 0.0),
        "d": (1.5, 1.4, 0.0),
        "top": (0.2, 0.3, 1.0),
    }
    text = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "v"\ndriving_side = "right"\n'
    for name, at in corners.items():
        text += f'[[survey.points]]\nname = "{name}"\nat_m = {list(at)}\n'
    text += '[[survey.points]]\nname = "hung"\n'
    for name in "abcd":
        apart = np.linalg.norm(np.subtract(corners[name], (0.5, 0.5, 0.5)))
        text += f'[[survey.tapes]]\nfrom = "{name}"\nto = "hung"\ndistance_m = {apart:.4f}\n'
    with pytest.raises(RefusedError, match=r"“hung” could be in two places.*one more tape from “top”"):
        survey.run(parse(text))
