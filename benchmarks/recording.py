"""How soon a take is judged, late in a session as early, and what a session of four hours does to memory.

    python benchmarks/recording.py

Aim: the verdict within 1 s of a 10 s take, beside all that were recorded before it; no growth of memory over four hours on the
simulated sound card's clock.
"""

from __future__ import annotations

import gc
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from cabinwright.desk import Recorder
from common import load
from measure.simulated_car import Car, press, sit_down, text

HOURS = 4.0


class Timed(Recorder):
    """Tells how long the verdict took."""

    took: list[float]

    def _heard(self, *what: object) -> object:  # type: ignore[override]
        start = time.perf_counter()
        found = super()._heard(*what)  # type: ignore[arg-type]
        self.took.append(time.perf_counter() - start)
        return found


def verdicts(folder: Path) -> None:
    """A whole round of 25 takes of 10 s."""
    car = Car()
    desk = sit_down(folder, car, text(sweep_s=10.0)).desk
    made = Timed(desk, car, car.settings(timing=car.timing), countdown_s=0.1)
    made.took, car.recorder = [], made
    while press(made, "go") != "finished":
        pass
    first, last = made.took[:5], made.took[-5:]
    print(f"verdict on a 10 s take ({load()}): first five {max(first):.2f} s at most, last five of {len(made.took)} "
          f"{max(last):.2f} s at most, {max(made.took):.2f} s in all")  # fmt: skip


def resident_mb() -> float:
    """Memory of this process, where the system tells."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return float("nan")
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def hours(folder: Path) -> None:
    """One take again and again, ten minutes between two of them, blocks coming in all the while."""
    car = Car()
    recorder = sit_down(folder, car, text(places=2, channels=2, sweep_s=10.0), card={"block_frames": 16_384})
    for _ in range(3):
        press(recorder, "go")
    recorder.guide.countdown_s = 600.0
    told: list[tuple[float, float, int]] = []
    while car.clock_s < HOURS * 3600.0:
        step = press(recorder, "again")
        assert step == "ready", recorder.view.lines
        gc.collect()
        told.append((car.clock_s, resident_mb(), len(gc.get_objects())))
    for at, resident, objects in (told[1], told[len(told) // 2], told[-1]):
        print(f"after {at / 3600.0:.1f} h: {resident:.0f} MB of the process, {objects} Python objects")


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        verdicts(Path(place) / "round")
        hours(Path(place) / "hours")


if __name__ == "__main__":
    main()
