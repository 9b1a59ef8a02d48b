"""The study of spots: the comparison's own figure, the same bits anywhere, and the outcome against brute force."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from cabinwright.errors import RefusedError
from cabinwright.stages.layout.errors import drawn_aims, drawn_positions_m, sound_of
from cabinwright.stages.layout.heard import Source
from cabinwright.stages.layout.pose import aim_of, radius_of
from cabinwright.stages.layout.wide import SCALES, Figures, Grid, Spot, Wide, batch, spots_of
from cabinwright.studies.keep import StudyFolder
from cabinwright.studies.places import batches, outcome, table
from cabinwright.studies.run import processes, worked
from stages.cabin_build import cabin_build

GRID = Grid(reach_m=0.04, step_m=0.02, turn_deg=15.0, heads=9, draws=5)
unwatched = lambda what, share: None  # noqa: E731


@pytest.fixture(scope="module")
def study() -> Wide:
    build = cabin_build()
    names = [place.name for place in build.places]
    survey = dict.fromkeys(names, (0.006, 0.004, 0.005))
    return Wide(build, GRID, dict.fromkeys(names, 0.003), survey, {}).ready()


@pytest.fixture(scope="module")
def spots(study: Wide) -> tuple[Spot, ...]:
    return spots_of(study.build, GRID, role="coaxial")


def test_the_figure_is_that_of_the_comparison(study: Wide, spots: tuple[Spot, ...]) -> None:
    """``errors.sound_of``, which is held against pyroomacoustics elsewhere, one head and one aim at a time."""
    spot = spots[5]
    place = next(item for item in study.build.places if item.name == spot.place)
    source = Source(np.asarray(spot.position_m), aim_of(study.build, place), radius_of(place), None)
    found = study.figures(spot)
    survey, mount, turns = study.normal_draws
    for scale, s in ((1.0, 0), (0.25, 2)):
        moves = scale * survey * np.array([0.006, 0.004, 0.005]) + mount * 0.003
        positions = np.vstack([source.position_m, drawn_positions_m(study.room.facets, source.position_m, moves)])
        for a in (0, 7, len(found.aims) - 1):
            aims = np.vstack([found.aims[a], drawn_aims(found.aims[a], turns * np.radians(place.aim_sigma_deg))])
            each = []
            for head in study.heads_m:
                images = type(study.images)(study.room.facets, head[None], most_order=study.images.most_order)
                each.append(
                    sound_of(study.room, images, source, "coaxial", positions_m=positions, aims=aims, screen_db=5.0)
                )
            heard = np.stack(each)  # (H, 1 + D)
            np.testing.assert_allclose(found.stated_db[a], heard[:, 0], atol=1e-9)
            np.testing.assert_allclose(found.drawn_db[a, s], heard[:, 1:].mean(axis=0), atol=1e-9)
            if s == 0:
                np.testing.assert_allclose(found.mean_db[a], heard[:, 1:].mean(axis=1), atol=1e-9)


def test_spots_lie_in_the_panel_and_round_the_place(study: Wide, spots: tuple[Spot, ...]) -> None:
    for spot in spots:
        place = next(item for item in study.build.places if item.name == spot.place)
        away = np.linalg.norm(np.subtract(spot.position_m, place.position_m))
        assert away == pytest.approx(GRID.step_m * np.hypot(*spot.cell), abs=1e-9)
        assert away <= GRID.reach_m + 1e-9
        if spot.cell == (0, 0):
            assert spot.position_m == tuple(place.position_m)


def test_any_cut_into_batches_and_any_process_gives_the_same_bits(
    study: Wide, spots: tuple[Spot, ...], tmp_path: Path
) -> None:
    few = spots[:6]
    one, other = StudyFolder(tmp_path, {"cut": 2}), StudyFolder(tmp_path, {"cut": 3})
    worked(batch, study, batches(few, 2), one, unwatched)
    worked(batch, study, batches(few, 3), other, unwatched, where=partial(processes, 2))
    for name in ("aims", "stated_db", "mean_db", "low_db", "drawn_db"):
        mine = np.concatenate([(one.get(number) or {})[name] for number in range(3)])
        theirs = np.concatenate([(other.get(number) or {})[name] for number in range(2)])
        assert mine.tobytes() == theirs.tobytes()


def test_the_outcome_against_brute_force(study: Wide, spots: tuple[Spot, ...], tmp_path: Path) -> None:
    kept, items = StudyFolder(tmp_path, {}), batches(spots[::5], 4)
    worked(batch, study, items, kept, unwatched)
    places = {place.name: place for place in study.build.places}
    found = outcome(kept, spots, items, places)
    flat = [spot for part in items for spot in part]
    kept_rows = [kept.get(number) or {} for number in range(len(items))]
    figures = [
        Figures(**{name: rows[name][k] for name in Figures._fields})
        for rows in kept_rows
        for k in range(len(rows["aims"]))
    ]
    for choice in found.choices:
        mine = [
            k
            for k, spot in enumerate(flat)
            if (places[spot.place].role, places[spot.place].side) == (choice.role, choice.side)
        ]
        everything = {(k, a): figures[k].mean_db[a].mean() for k in mine for a in range(len(figures[k].aims))}
        (best, aim), value = max(everything.items(), key=lambda row: row[1])
        assert choice.mean_db == pytest.approx(value, abs=1e-9)
        assert choice.position_m == flat[best].position_m
        np.testing.assert_allclose(choice.aim, figures[best].aims[aim])
        stated = {(k, a): figures[k].stated_db[a].mean() for k in mine for a in range(len(figures[k].aims))}
        chosen = max(stated, key=lambda row: stated[row])
        for s in range(len(SCALES)):
            drawn = np.stack([figures[k].drawn_db[a, s] for k, a in everything])
            short = drawn.max(axis=0) - figures[chosen[0]].drawn_db[chosen[1], s]
            assert choice.regret_db[s] == pytest.approx(short.mean(), abs=1e-4)  # draws are kept in single precision
        assert choice.tried == 9 * len(everything)
    rows = "".join(table(kept, items)).splitlines()
    assert len(rows) == 1 + sum(choice.tried for choice in found.choices)


def test_without_errors_nothing_falls_short() -> None:
    build = cabin_build()
    exact = Wide(build, Grid(0.02, 0.02, 0.0, 1, 3), {}, {}, {})
    spot = spots_of(build, exact.grid, role="coaxial")[0]
    place = next(item for item in build.places if item.name == spot.place)
    quiet = build.model_copy(
        update={
            "places": tuple(
                item.model_copy(update={"aim_sigma_deg": 0.0}) if item.name == place.name else item
                for item in build.places
            )
        }
    )
    found = Wide(quiet, exact.grid, {}, {}, {}).figures(spot)
    np.testing.assert_allclose(
        found.drawn_db, np.broadcast_to(found.stated_db.mean(axis=1)[:, None, None], found.drawn_db.shape), atol=1e-9
    )


@pytest.mark.parametrize(
    ("grid", "role", "words"),
    [(GRID, "subwoofer", "modes"), (GRID, "organ", "no"), (Grid(0.5, 0.001), "coaxial", "larger step")],
)
def test_what_cannot_be_studied_is_told(grid: Grid, role: str, words: str) -> None:
    with pytest.raises(RefusedError, match=words):
        spots_of(cabin_build(), grid, role=role)
