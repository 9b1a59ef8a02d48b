"""What the benchmarks share: cars, timing, plots. Ratios count, not seconds: machines differ."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
ROOT = Path(__file__).resolve().parent.parent
OUT = ROOT / "benchmarks" / "out"
sys.path.insert(0, str(ROOT / "tests"))


def car(layout: str = "three-way+sub", positions: int = 7, seed: int = 41) -> Any:
    """An invented car that no test uses."""
    from cars import make_car

    return make_car(seed, layout=layout, positions=positions)


def seconds(work: Callable[[], Any], rounds: int) -> float:
    """Least wall time of ``rounds``: what the machine can do when nothing disturbs it."""
    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def load() -> str:
    """How busy the machine is, where the system tells."""
    got = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return f"{os.cpu_count()} cores, load {got:.1f}"


def save(figure: Any, name: str) -> None:
    """The plot as PNG under ``benchmarks/out``."""
    OUT.mkdir(parents=True, exist_ok=True)
    figure.savefig(OUT / f"{name}.png", dpi=130, bbox_inches="tight")
    print(f"plot: {OUT / name}.png")


def axes(width: float = 6.4, height: float = 4.0, columns: int = 1) -> tuple[Any, Any]:
    """A figure drawn without a screen."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    return pyplot.subplots(1, columns, figsize=(width, height))
