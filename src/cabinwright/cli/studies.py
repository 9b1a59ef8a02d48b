"""The command ``study``: very many spots and aims, or every build of a folder tuned anew, on all cores or a cluster."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from cabinwright.cli.terminal import say, with_progress
from cabinwright.errors import PersonError

if TYPE_CHECKING:
    from cabinwright.office.studies import Where

__all__ = ["add_studies"]

Add = Callable[[str, Callable[[argparse.Namespace], int], str], argparse.ArgumentParser]


def add_studies(add: Add) -> None:
    """Make it known to the parser."""
    study = add("study", _study, "try very many spots and aims round the places of a build, or tune many builds anew")
    study.add_argument(
        "build", type=Path, metavar="BUILD", help="build folder; with --retune the folder that holds builds"
    )
    study.add_argument(
        "--role", default="", metavar="ROLE", help="only places of this role; all that rays decide if not given"
    )
    study.add_argument(
        "--reach", default="10 cm", metavar="TAPE", help="how far from each place, along its panel; 10 cm"
    )
    study.add_argument("--step", default="2 cm", metavar="TAPE", help="distance between spots; 2 cm")
    study.add_argument(
        "--turn", type=float, default=20.0, metavar="DEGREES", help="how far aims turn where no limit is stated; 20"
    )
    study.add_argument("--draws", type=int, default=32, metavar="N", help="draws of survey, mounting and aim; 32")
    study.add_argument("--heads", type=int, choices=(1, 9), default=9, help="points of the head box: 1 or 9; 9")
    study.add_argument(
        "--batch", type=int, default=8, metavar="N", help="spots that are worked out and kept together; 8"
    )
    place = study.add_mutually_exclusive_group()
    place.add_argument("--workers", type=int, metavar="N", help="processes; one for each core if not given")
    place.add_argument(
        "--scheduler", metavar="ADDRESS", help="of a Dask cluster, tcp://host:8786; needs the extra cluster"
    )
    study.add_argument(
        "--retune", action="store_true", help="tune every build below the folder with today's defaults, change none"
    )


def _study(options: argparse.Namespace) -> int:
    from cabinwright.office.studies import where_to_work

    for name, low, high in (("workers", 1, 512), ("draws", 1, 4096), ("batch", 1, 10_000)):
        value = getattr(options, name)
        if value is not None and not low <= value <= high:
            raise PersonError(f"--{name}: {value} is not between {low} and {high}.")
    where = where_to_work(workers=options.workers, scheduler=options.scheduler)
    return _retune(options, where) if options.retune else _places(options, where)


def _places(options: argparse.Namespace, where: Where | None) -> int:
    from cabinwright.office.studies import study_places
    from cabinwright.stages.layout.wide import Grid

    reach, step = _tape(options.reach, "reach"), _tape(options.step, "step")
    if not 0.001 <= step <= reach <= 1.0:
        raise PersonError("--reach and --step: a step is at least 1 mm, a reach at least a step and at most 1 m.")
    if not 0.0 <= options.turn <= 90.0:
        raise PersonError(f"--turn: {options.turn:g} is not between 0 and 90 degrees.")
    grid = Grid(reach, step, options.turn, options.heads, options.draws)
    result, paths = with_progress(
        lambda progress: study_places(
            options.build, grid, role=options.role, size=options.batch, where=where, progress=progress
        )
    )
    for choice in result.choices:
        x, y, z = choice.position_m
        gain = "" if choice.stated_db is None else f", {choice.mean_db - choice.stated_db:+.1f} dB over as stated"
        at = f"[{x:.3f}, {y:.3f}, {z:.3f}]"
        say(f"  {choice.role}, {choice.side}: round {choice.place}, at {at}{gain} (of {choice.tried} tried)")
    say(f"open {paths[0]}")
    say(f"wrote {paths[1]}")
    return 0


def _retune(options: argparse.Namespace, where: Where | None) -> int:
    from cabinwright.office.studies import retuned

    rows, path = with_progress(lambda progress: retuned(options.build, where=where, progress=progress))
    for row in rows:
        if row.refused:
            say(f"  {row.build}: no settings: {row.refused.splitlines()[0]}")
            continue
        figures = ", ".join(f"{name} {row.error_now_db[name]:.1f} dB" for name in sorted(row.error_now_db))
        same = "as they are" if row.was == row.now else f"{row.was or 'none'} to {row.now}"
        say(f"  {row.build}: settings {same}; off the house curve now: {figures}")
    say(f"wrote {path}")
    say("No build was changed. Tune one with: cabinwright tune BUILD")
    return 0


def _tape(text: str, name: str) -> float:
    from cabinwright.units import UnitError, to_si

    try:
        return to_si(f"{text} m" if text.replace(".", "", 1).isdecimal() else text, suffix="m")
    except UnitError as error:
        raise PersonError(f"--{name}: {error}") from None
