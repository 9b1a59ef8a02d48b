"""One field edited on the desk to new results of a stage, beside the whole demo designed anew.

python benchmarks/desk.py [--rounds 5]

Each row edits one field of a copy of demo/build, to and fro, with the writing, the checks and the history in it, and asks for
the stages of one page. What counts is the processor's own time. Aims: 200 ms for survey, layout, power and enclosure, 3 s for a
tune. The ratio is to the whole design.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import common
from cabinwright.build.codec import load
from cabinwright.desk import Desk
from cabinwright.measure.folder import FolderFiles
from cabinwright.pipeline import Line

CASES = (
    ("a tape", "survey", "survey.tapes[0].distance_m", (0.482, 0.481)),
    ("a place moved", "layout", 'places["left dash corner"].position_m', ([0.48, -0.6, 0.86], [0.47, -0.61, 0.86])),
    ("a seat's head", "layout", 'seats["passenger"].head_m', ([1.27, -0.36, 0.98], [1.28, -0.36, 0.98])),
    ("a length of wire", "power", 'wires["main feed"].length_m', (5.0, 5.2)),
    ("power of a box", "enclosure", "boxes[0].power_w", (120, 130)),
    ("the house curve", "tuning", "tuning.house_curve[0][1]", (8.5, 9.0)),
    ("units of drawings", "workshop", "workshop.units", ("US", "metric")),
)


def unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


def whole(folder: Path) -> None:
    """Every stage, with nothing remembered."""
    build = load(folder)
    Line(build, FolderFiles(build, folder, unwatched), unwatched).results()


def edits(desk: Desk, path: str, values: tuple[object, object], stage: str, rounds: int) -> Iterator[float]:
    """Seconds of the processor's own time of each edit, until the stage has its answer."""
    desk.result(stage)
    for number in range(rounds):
        start = time.process_time()
        desk.edit(path, values[number % 2])
        desk.result(stage)
        yield time.process_time() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5, help="edits of each field; the median counts")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "demo"
        shutil.copytree(common.ROOT / "demo" / "build", folder, ignore=shutil.ignore_patterns("out"))
        whole(folder)  # first use of libraries
        start = time.process_time()
        whole(folder)
        all_s = time.process_time() - start
        print(f"the whole demo designed: {all_s:.2f} s of the processor's own time; {common.load()}")
        print(f"{'edited':<22}{'asked for':<12}{'ms':>8}{'part of the whole':>20}")
        desk = Desk.open(folder)
        for words, stage, path, values in CASES:
            took = statistics.median(edits(desk, path, values, stage, arguments.rounds))
            print(f"{words:<22}{stage:<12}{1e3 * took:8.0f}{took / all_s:20.3f}")


if __name__ == "__main__":
    main()
