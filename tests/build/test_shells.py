"""Generic cabins: closed, flat, of the size that the tapes say, and with everything where it may be.

Edges are counted here one by one, without the project's own shell; flatness is judged by a singular value.
"""

from __future__ import annotations

from collections import Counter
from itertools import product
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.codec import load, parse
from cabinwright.build.document import Build
from cabinwright.build.shells import KINDS, LIMITS_M, make_shell
from cabinwright.build.starter import starter_text
from cabinwright.cli.main import SHELLS, main
from cabinwright.errors import PersonError
from cabinwright.physics.cavity.shell import close_shell
from cabinwright.stages.layout.keep_outs import keep_out_findings
from cabinwright.stages.layout.pose import surface_under
from cabinwright.stages.layout.view import driver_view

INNER = 2  #: seat backs of every kind; some have a third
Driver = Literal["left", "right"]


def build_of(kind: str, side: Driver = "left", **tapes: float) -> Build:
    return parse(starter_text(shell=make_shell(kind, **tapes), driving_side=side))


def surfaces(build: Build) -> dict[str, np.ndarray]:
    assert build.cabin is not None
    return {item.name: np.array(item.corners_m) for item in build.cabin.surfaces}


def edges(facets: list[np.ndarray]) -> Counter[frozenset[tuple[float, ...]]]:
    return Counter(
        frozenset((tuple(a), tuple(b)))
        for facet in facets
        for a, b in zip(facet, np.roll(facet, -1, axis=0), strict=True)
    )


@pytest.mark.parametrize("kind", KINDS)
def test_every_edge_is_shared_by_exactly_two_pieces(kind: str) -> None:
    shell = make_shell(kind)
    facets = [np.round(corners, 3) for _, _, corners in shell.facets()]
    assert set(edges(facets).values()) == {2}
    assert set(edges(facets[1:]).values()) == {1, 2}  # the count sees a missing piece
    written = list(surfaces(build_of(kind)).values())[: len(facets)]
    assert all(np.allclose(a, b, atol=1.1e-3) for a, b in zip(facets, written, strict=True))
    assert set(edges(written).values()) == {2}


tapes = st.fixed_dictionaries({f"{name}_m": st.floats(low, high) for name, (low, high) in LIMITS_M.items()})


@given(kind=st.sampled_from(KINDS), tapes=tapes, side=st.sampled_from(["left", "right"]))
def test_any_tapes_give_a_sound_build(kind: str, tapes: dict[str, float], side: Driver) -> None:
    build = build_of(kind, side, **tapes)
    count = len(list(make_shell(kind).facets()))
    corners = list(surfaces(build).values())
    assert set(edges(corners[:count]).values()) == {2}
    for facet in corners:
        assert np.linalg.svd(facet - facet.mean(axis=0), compute_uv=False)[-1] < 0.0015
    every = np.vstack(corners[:count])
    assert np.ptp(every[:, 2]) == pytest.approx(tapes["height_m"], abs=0.001)
    assert np.ptp(every[:, 1]) == pytest.approx(tapes["width_m"], abs=0.001)
    assert every[:, 0].max() == pytest.approx(0.45 + tapes["length_m"], abs=0.001)


@pytest.mark.parametrize(("kind", "side"), list(product(KINDS, ("left", "right"))))
def test_everything_stands_where_it_may(kind: str, side: Driver) -> None:
    build = build_of(kind, side)
    assert build.cabin is not None
    shell = close_shell(list(surfaces(build).values()), names=list(surfaces(build)))
    assert 2.0 < shell.volume_m3 < 6.0 and shell.ignored == ()
    assert len({*shell.sheet.tolist()}) in (INNER, INNER + 1)  # seat backs stand free
    points = [seat.head_m for seat in build.seats] + [item.at_m for item in build.microphone_positions]
    points += [item.position_m for item in build.speakers if item.position_m] + [build.places[0].position_m]
    assert shell.inside(np.array(points, dtype=float)).all()
    sign = {"left": -1.0, "right": 1.0}
    assert (
        build.seats[0].name == "driver"
        and build.seats[0].head_m[1] * sign[side] > 0 > build.seats[1].head_m[1] * sign[side]
    )
    wheel = next(item for item in build.cabin.keep_outs if item.name == "steering wheel airbag")
    assert np.mean([corner[1] for corner in wheel.corners_m]) == pytest.approx(build.seats[0].head_m[1], abs=0.01)
    door = next(place for place in build.places if place.name == "left door")
    under = surface_under(build, door)
    assert under is not None and under.name == "left front door"
    assert [item for item in keep_out_findings(build) if item.severity == "stop"] == []
    view = driver_view(build)
    assert view is not None and len(view.pillars) == 2 and len(view.pods) == 2
    assert {item.code for item in view.findings} <= {"layout.view_pod"}


def test_airbags_are_marked_as_typical() -> None:
    text = starter_text(shell=make_shell("saloon"))
    volumes = text.split("[[cabin.keep_outs]]")[1:]
    for volume in volumes:
        assert ("typical, not your car's" in volume.splitlines()[0]) is ('"airbag' in volume)
    assert "NOT those of your car" in text and "invented" in text and "survey" in text and "licensed" in text
    assert max(map(len, text.splitlines())) <= 130


def test_the_starter_without_a_shell_has_none() -> None:
    assert parse(starter_text()).cabin is None


@pytest.mark.parametrize(
    ("tapes", "message"),
    [
        ({"length_m": 52.0}, "the length of a cabin lies between 1 and 4.5 m, got 52 m"),
        ({"width_m": 0.5}, "the width of a cabin lies between"),
        ({"height_m": float("nan")}, "the height of a cabin"),
    ],
)
def test_tapes_of_no_car_are_refused(tapes: dict[str, float], message: str) -> None:
    with pytest.raises(PersonError, match=message):
        make_shell("estate", **tapes)
    with pytest.raises(PersonError, match="no shell is called"):
        make_shell("coupe")


def test_the_command_takes_tapes_in_any_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert SHELLS == KINDS
    words = [
        "new",
        str(tmp_path / "van"),
        "--shell",
        "crew van",
        "--length",
        "7 ft",
        "--width",
        "1.6",
        "--height",
        "140cm",
    ]
    assert main(words) == 0
    assert "its maker's data say where airbags unfold" in capsys.readouterr().out
    every = np.vstack(list(surfaces(load(tmp_path / "van")).values()))
    assert np.ptp(every, axis=0) == pytest.approx([0.45 + 7 * 0.3048, 1.6, 1.4], abs=0.001)


@pytest.mark.parametrize(
    ("words", "message"),
    [(["--length", "2"], "Add --shell"), (["--shell", "saloon", "--length", "52"], "between 1 and 4.5 m")],
)
def test_the_command_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    assert main(["new", str(tmp_path / "x"), *words]) == 2
    assert message in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


def test_a_tape_without_a_known_unit_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["new", str(tmp_path / "x"), "--shell", "saloon", "--length", "2 furlongs"])
    assert ended.value.code == 2 and "not a unit" in capsys.readouterr().err


def test_the_documented_tapes_are_the_ones_used() -> None:
    page = (Path(__file__).parents[2] / "docs" / "cabin.md").read_text(encoding="utf-8")
    for kind in KINDS:
        shell = make_shell(kind)
        assert f"| {kind} | {shell.length_m:g} m | {shell.width_m:g} m | {shell.height_m:g} m |" in page
