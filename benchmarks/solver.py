"""Our solver beside SciPy's general-purpose optimisers, on the same objective from the same start, in one run.

    python benchmarks/solver.py [--filters 6] [--rounds 3] [--patience 60]

The objective is that of a car with 7 channels at 7 positions. Every method runs until its cost is within 1 % of ours (of what
lies between the start and ours); what counts is the ratio of times to that quality. A method that does not get there within
``--patience`` seconds is listed with how far it came.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import least_squares, minimize
from threadpoolctl import threadpool_limits

from cabinwright.build.codec import parse
from cabinwright.stages.tuning.fit import add_peaks, bounds_for, objective_for
from cabinwright.stages.tuning.prepare import prepare
from cabinwright.stages.tuning.solver import solve
from cabinwright.stages.tuning.start import start_state
from common import axes, car, load, save

Array = np.ndarray
BOOST_ROWS = 60  #: room for rows of the boost limit; more are taken together


class ReachedError(Exception):
    """A method came near enough, or ran out of patience."""


class Watch:
    """The objective with a clock: keeps the best cost over time and ends the run at the wanted one.

    Unknowns that the tune holds fixed are left out, so that no method wastes time on them.
    """

    def __init__(self, objective: Any, rows: int, full: Array, free: Array, goal: float, patience_s: float) -> None:
        self._rows = rows
        self._objective, self._full, self._free = objective, full.copy(), free
        self._goal, self._patience_s = goal, patience_s
        self.trace: list[tuple[float, float]] = []
        self.calls = 0
        self._start = time.perf_counter()

    def both(self, x: Array, want: bool) -> tuple[Array, Array | None]:
        """Residuals and, if wanted, the Jacobian by the free unknowns."""
        full = self._full.copy()
        full[self._free] = x
        r, jac = self._objective(full, want)
        self.calls += 1
        cost, now = 0.5 * float(r @ r), time.perf_counter() - self._start
        if not self.trace or cost < self.trace[-1][1]:
            self.trace.append((now, cost))
        if cost <= self._goal or now > self._patience_s:
            raise ReachedError
        return self._even(r, None if jac is None else jac[:, self._free])

    def _even(self, r: Array, jac: Array | None) -> tuple[Array, Array | None]:
        """As many rows at every call, of the same cost: SciPy wants it, and rows of the boost limit come and go."""
        kept, rest = r[: self._rows - 1], r[self._rows - 1 :]
        size = float(np.sqrt(rest @ rest))
        even = np.concatenate([kept, np.zeros(self._rows - 1 - len(kept)), [size]])
        if jac is None:
            return even, None
        rows = np.zeros((self._rows, jac.shape[1]))
        rows[: len(kept)] = jac[: len(kept)]
        if size:
            rows[-1] = rest @ jac[len(kept) :] / size
        return even, rows

    def gradient(self, x: Array) -> tuple[float, Array]:
        """Cost and its gradient."""
        r, jac = self.both(x, True)
        assert jac is not None
        return 0.5 * float(r @ r), jac.T @ r


def methods(x0: Array, lower: Array, upper: Array) -> dict[str, Callable[[Watch], Any]]:
    """Everything that is compared, each with tolerances so tight that only the goal ends it."""
    box = list(zip(lower, upper, strict=True))
    tight: dict[str, Any] = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15, "max_nfev": 100_000}
    loose: dict[str, Any] = {"maxiter": 100_000, "maxfun": 10_000_000, "ftol": 0.0, "gtol": 0.0}
    inside = np.clip(x0, lower + 1e-9, upper - 1e-9)

    def cost(w: Watch) -> Callable[[Array], float]:
        return lambda x: 0.5 * float(np.sum(w.both(x, False)[0] ** 2))

    return {
        "ours": lambda w: solve(w.both, x0, lower=lower, upper=upper, iterations=10_000, tolerance=0.0),
        "least_squares trf, our derivatives": lambda w: least_squares(
            lambda x: w.both(x, False)[0],
            inside,
            lambda x: w.both(x, True)[1],
            bounds=(lower, upper),
            x_scale="jac",
            **tight,
        ),
        "L-BFGS-B, our gradient": lambda w: minimize(
            w.gradient, x0, jac=True, method="L-BFGS-B", bounds=box, options=loose
        ),
        "least_squares trf, 2-point": lambda w: least_squares(
            lambda x: w.both(x, False)[0], inside, "2-point", bounds=(lower, upper), x_scale="jac", **tight
        ),
        "L-BFGS-B, numerical gradient": lambda w: minimize(cost(w), x0, method="L-BFGS-B", bounds=box, options=loose),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--filters", type=int, default=6, help="peaking filters per channel")
    parser.add_argument("--rounds", type=int, default=3, help="the least of so many runs counts, for the quick ones")
    parser.add_argument("--patience", type=float, default=60.0, help="seconds given to each method")
    arguments = parser.parse_args()
    the_car = car()
    prepared = prepare(parse(the_car.build_toml(None)), the_car.responses(snr_db=35.0))
    problem = prepared.problem
    state = add_peaks(problem, start_state(problem, prepared.crossovers, prepared.polarity), arguments.filters)
    objective = objective_for(problem, state)
    lower, upper = bounds_for(problem, state)
    start = np.clip(state.vector, lower, upper)
    free = np.flatnonzero(upper > lower)
    found = solve(objective, start, lower=lower, upper=upper, iterations=25, tolerance=1e-3)
    tame = replace(problem, weights=replace(problem.weights, most_boost_db=1e9))
    rows_all = len(objective_for(tame, state)(start, False)[0]) + BOOST_ROWS
    first = 0.5 * float(np.sum(objective(start, False)[0] ** 2))
    goal = found.cost + 0.01 * (first - found.cost)
    print(f"{len(free)} unknowns, cost {first:.0f} at the start, {found.cost:.0f} by ours; goal {goal:.0f}; {load()}")
    traces: dict[str, list[tuple[float, float]]] = {}
    rows: list[tuple[str, float, int, float]] = []
    for name, run in methods(start[free], lower[free], upper[free]).items():
        best: Watch | None = None
        for _ in range(arguments.rounds):
            watch = Watch(objective, rows_all, start, free, goal, arguments.patience)
            try:
                with threadpool_limits(1):
                    run(watch)
            except ReachedError:
                pass
            if best is None or watch.trace[-1][0] < best.trace[-1][0]:
                best = watch
            if watch.trace[-1][0] > 3.0:
                break
        assert best is not None
        traces[name] = best.trace
        rows.append((name, best.trace[-1][0], best.calls, best.trace[-1][1]))
    ours = rows[0][1]
    print(f"{'method':36s} {'time':>9s} {'calls':>7s} {'ratio':>8s}")
    for name, took, calls, cost in rows:
        missed = (
            f"  stopped at {100.0 * (cost - found.cost) / (first - found.cost):.1f} % above ours" if cost > goal else ""
        )
        print(f"{name:36s} {took:8.3f}s {calls:7d} {'>' if missed else ' '}{took / ours:7.1f}{missed}")
    figure, axis = axes()
    for name, trace in traces.items():
        times, costs = zip(*trace, strict=True)
        axis.loglog(
            np.maximum(times, 1e-3), [(c - 0.999 * found.cost) / (first - found.cost) for c in costs], label=name
        )
    axis.axhline(0.01, color="grey", linewidth=0.8)
    axis.set(xlabel="time [s]", ylabel="cost above ours, share of the start's")
    axis.legend(fontsize=7)
    save(figure, "solver")


if __name__ == "__main__":
    main()
