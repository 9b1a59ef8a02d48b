"""``study.html``: where round each place it sounds best, how sure that is, and what a sharper survey would be worth."""

from __future__ import annotations

from typing import Any

import numpy as np

from cabinwright.build.document import Build
from cabinwright.drawings.chart import Axis, Chart, Line
from cabinwright.drawings.picture import Cells, Disc, Picture, Shape, Stroke, Words
from cabinwright.drawings.picture_svg import draw, shade_key
from cabinwright.handover.pages import page
from cabinwright.handover.report import drawn
from cabinwright.stages.layout.pose import normal_of
from cabinwright.stages.layout.wide import SCALES, Grid, grid_axes
from cabinwright.studies.places import Choice, Outcome

__all__ = ["study_html"]

STEPS_DB = (-6.0, -3.0, -2.0, -1.0, -0.5, -0.2)
INKS = ("after", "right", "target", "before", "filters", "trace")
LIMITS = (
    "Rays and a piston, as in the comparison of places (docs/theory/layout.md); differences between spots mean something, the "
    "figures themselves do not.",
    "Low notes by the cabin's modes, the driver's view, looks, room behind the panel and cost are not in it: compare the spot "
    "you choose with cabinwright layout before anything is cut.",
    "All spots are drawn with the same errors, so that what the survey missed moves them together.",
)


def study_html(build: Build, result: Outcome, grid: Grid, *, seat: str) -> str:
    """The whole page. ``build`` is located."""
    from markupsafe import Markup

    best = {(choice.role, choice.side): choice for choice in result.choices}
    maps = []
    for place in build.places:
        if place.name in result.maps and (place.role, place.side) in best:
            choice = best[place.role, place.side]
            picture = _map(build, place.name, result, grid, choice)
            maps.append(
                {
                    "name": place.name,
                    "role": place.role,
                    "svg": Markup(draw(picture)),
                    "words": _axes(build, place.name),
                }
            )
    rows = sum(choice.tried for choice in result.choices)
    return page(
        "study",
        styles=("report", "layout", "study"),
        title=build.title,
        seat=seat,
        rows=f"{rows:,}".replace(",", "\u202f"),
        grid=f"{grid.reach_m * 100:g} cm round each place in steps of {grid.step_m * 100:g} cm, {grid.heads} points of the head, "
        f"{grid.draws} draws of error",
        choices=[_choice(choice) for choice in result.choices],
        maps=maps,
        key=Markup(shade_key(STEPS_DB, "dB to the best")),
        regret=drawn(_regret(result), "regret"),
        sharper=[_sharper(choice) for choice in result.choices],
        limits=LIMITS,
    )


def _choice(choice: Choice) -> dict[str, Any]:
    gain = None if choice.stated_db is None else choice.mean_db - choice.stated_db
    return {
        "role": choice.role,
        "side": choice.side,
        "place": choice.place,
        "position": ", ".join(f"{value:.3f}" for value in choice.position_m),
        "aim": ", ".join(f"{value:.2f}" for value in choice.aim).replace("-", "−"),
        "mean": f"{choice.mean_db:.1f} dB".replace("-", "−"),
        "low": f"{choice.low_db:.1f} dB".replace("-", "−"),
        "gain": "" if gain is None else f"{gain:+.1f} dB".replace("-", "−"),
        "barred": choice.barred,
        "paste": [
            f'name = "{choice.place}, best of the study"',
            f'role = "{choice.role}"',
            f'side = "{choice.side}"',
            f"position_m = [{', '.join(f'{value:.3f}' for value in choice.position_m)}]",
            f"aim = [{', '.join(f'{value:.3f}' for value in choice.aim)}]",
        ],
    }


def _sharper(choice: Choice) -> str:
    now, none = choice.regret_db[0], choice.regret_db[-1]
    worth = now - none
    words = (
        f"{choice.role}, {choice.side}: choosing by today's survey falls short of the best by {now:.2f} dB on average"
    )
    if worth < 0.1:
        return f"{words}; a sharper survey would gain nothing worth the time."
    return f"{words}; a perfect one would save {worth:.2f} dB of that. The rest is mounting and aim."


def _map(build: Build, name: str, result: Outcome, grid: Grid, choice: Choice) -> Picture:
    cells = result.maps[name]
    first = sorted({cell[0] for cell in cells})
    second = sorted({cell[1] for cell in cells})
    x = np.arange(first[0], first[-1] + 2, dtype=np.float64) * grid.step_m
    y = np.arange(second[0], second[-1] + 2, dtype=np.float64) * grid.step_m
    value = np.full((len(y), len(x)), np.nan)
    shapes: list[Shape] = []
    half = 0.5 * grid.step_m
    for (i, j), figure in cells.items():
        at = (i * grid.step_m, j * grid.step_m)
        if figure is None:
            for sign in (-1.0, 1.0):
                cross = np.array([[at[0] - half, at[1] - sign * half], [at[0] + half, at[1] + sign * half]]) * 1.0
                shapes.append(Stroke(cross, "keep out"))
        else:
            value[j - second[0], i - first[0]] = figure - choice.mean_db
    shapes.insert(0, Cells(x, y, value, STEPS_DB))
    shapes.append(Disc((0.0, 0.0), 0.3 * grid.step_m, "head", 1.2))
    mine = choice.place == name
    if mine:
        here = next(cell for cell, figure in cells.items() if figure == choice.mean_db)
        at = (here[0] * grid.step_m, here[1] * grid.step_m)
        shapes.append(Disc(at, 0.3 * grid.step_m, "place first", 1.4))
        shapes.append(Words(at, "best", (0.0, 2.4), bold=True))
    most = max((figure for figure in cells.values() if figure is not None), default=None)
    says = f"Round {name}: " + (
        "nothing may be here." if most is None else f"best {most - choice.mean_db:.1f} dB to the best of all."
    )
    edge = grid.reach_m + grid.step_m
    return Picture(says, tuple(shapes), (-edge, -edge), (edge, edge), width_mm=70.0, scale_bar_m=0.05)


def _axes(build: Build, name: str) -> str:
    """Where right and up of the map lead in the car."""
    place = next(item for item in build.places if item.name == name)
    words = []
    for axis in grid_axes(normal_of(build, place)):
        k = int(np.abs(axis).argmax())
        words.append((("forward", "rearward"), ("to the left", "to the right"), ("down", "up"))[k][int(axis[k] > 0)])
    return f"right in the map is {words[0]} in the car, up is {words[1]}"


def _regret(result: Outcome) -> Chart:
    x = np.asarray(SCALES) * 100.0
    most = max((max(choice.regret_db) for choice in result.choices), default=0.0)
    lines = tuple(
        Line(x[::-1], np.asarray(choice.regret_db)[::-1], f"{choice.role}, {choice.side}", INKS[k % len(INKS)])
        for k, choice in enumerate(result.choices)
    )
    return Chart(
        "What the choice made by today's figures falls short of the best, against the survey's errors.",
        Axis("errors of the survey, % of today's", 0.0, 100.0, step=25.0),
        Axis("short of the best, dB", 0.0, max(0.5, float(np.ceil(most * 2.0) / 2.0)), step=0.5 if most < 3.0 else 1.0),
        lines=lines,
    )
