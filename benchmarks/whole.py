"""The whole command ``cabinwright tune`` from files to report: 7 channels at 7 positions, 10 s sweeps at 48 kHz.

    python benchmarks/whole.py [--rounds 3] [--timing loopback] [--keep FOLDER]

Recordings are made by the tests' invented cars from the project's own ``sweep.wav``. The command runs in fresh processes, as a
person runs it; the split (reading, solving, explaining, writing) and the solver alone are taken inside one. Limits of the
project: 15 s in all and 5 s for the solver on 2 cores, aim 6 s and 2 s; ``cabinwright --help`` in 0.4 s.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from common import axes, car, load, save, seconds

COMMAND = [sys.executable, "-m", "cabinwright"]


def recorded(folder: Path, timing: str) -> None:
    """``build.toml``, the sweep, and every recording."""
    from cabinwright.session import Session
    from cars import write_recordings

    the_car = car()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "build.toml").write_text(the_car.build_toml(timing), encoding="utf-8", newline="\n")
    Session.open(folder).sweep()
    write_recordings(the_car, folder, timing=timing, snr_db=35.0, drift_ppm=60.0 if timing == "marker" else 0.0)


def fresh(arguments: list[str], rounds: int) -> list[float]:
    """Wall time of the command in fresh processes."""
    took = []
    for _ in range(rounds):
        start = time.perf_counter()
        subprocess.run([*COMMAND, *arguments], check=True, capture_output=True)
        took.append(time.perf_counter() - start)
    return took


def split(folder: Path, rounds: int) -> dict[str, float]:
    """Parts of the command inside one process, the least of ``rounds`` each."""
    from cabinwright.files import write_all
    from cabinwright.handover.documents import tune_documents
    from cabinwright.session import Session
    from cabinwright.stages import tuning
    from cabinwright.stages.tuning.tune import _outcome, solve_tune

    session = Session.open(folder)
    heard = session.recordings()
    result, solved = tuning.run(session.build, heard), solve_tune(session.build, heard)
    parts = {
        "read and judge the recordings": lambda: session.recordings(),
        "solve": lambda: solve_tune(session.build, heard),
        "explain": lambda: _outcome(solved),
        "draw and write": lambda: write_all(session.out, tune_documents(session.build, result, heard)),
    }
    return {name: seconds(work, rounds) for name, work in parts.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--timing", choices=("loopback", "marker"), default="loopback")
    parser.add_argument("--keep", type=Path, default=None, help="folder for the recordings; absent: a temporary one")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = arguments.keep or Path(name)
        if not (folder / "build.toml").is_file():
            recorded(folder, arguments.timing)
        size = sum(file.stat().st_size for file in (folder / "recordings").iterdir())
        print(
            f"{len(list((folder / 'recordings').iterdir()))} recordings, {size / 1e6:.0f} MB, {arguments.timing}; {load()}"
        )
        whole = fresh(["tune", str(folder)], arguments.rounds)
        parts = split(folder, arguments.rounds)
    print(f"{'whole command, fresh process':32s} {min(whole):6.2f}s least, {statistics.median(whole):.2f}s median")
    for what, took in parts.items():
        print(f"  {what:30s} {took:6.2f}s")
    help_s = fresh(["--help"], 10)
    print(f"{'--help, median of 10':32s} {statistics.median(help_s):6.3f}s")

    figure, axis = axes(6.4, 1.8)
    bars = {"read": parts["read and judge the recordings"], "solve": parts["solve"], "explain": parts["explain"]}
    bars["write"] = parts["draw and write"]
    bars["start and rest"] = max(min(whole) - sum(bars.values()), 0.0)
    left = 0.0
    for label, width in bars.items():
        axis.barh([0], [width], left=left, label=f"{label} {width:.1f} s")
        left += width
    axis.set(xlabel="seconds", yticks=[])
    axis.legend(fontsize=7, ncols=5, loc="upper center", bbox_to_anchor=(0.5, 1.3))
    save(figure, f"whole-{arguments.timing}")


if __name__ == "__main__":
    main()
