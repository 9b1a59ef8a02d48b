"""What the modes of a cabin cost against the size of the cells, and how far off their frequencies are.

    python benchmarks/cavity.py [--rounds 2]

Errors: a box that lies awry to the grid, against its closed form; a box with a wall 2 cm thick across its floor, thinner
than any cell, against a mesh that fits it. Cost: a slanted cabin with a seat back, one thread.
"""

from __future__ import annotations

import argparse

import numpy as np

from cabinwright.physics.cavity import solve_cavity
from common import axes, load, save, seconds
from physics.cavity_rooms import back_hz, box, box_hz, cabin, turned, with_back

CELLS = (0.4, 0.35, 0.3, 0.25, 0.2, 0.17)
BACK = np.array([[1.7, -0.6, 0.2], [1.7, 0.6, 0.2], [1.95, 0.6, 0.85], [1.95, -0.6, 0.85]])
HEADS = np.array([1.5, 0.35, 0.95]) + 0.1 * (np.argwhere(np.ones((3, 3, 3))) - 1)


def worst(facets: list[np.ndarray], expected: np.ndarray, cell_m: float, below: float) -> float:
    """Greatest error of a mode's frequency below a frequency, in percent."""
    got = solve_cavity(facets, absorption=0.0, highest_hz=310.0, cell_m=cell_m).frequency_hz[1:]
    wanted = expected[(expected > 1.0) & (expected < below)]
    return float(100.0 * np.max(np.abs(got[: len(wanted)] / wanted - 1.0)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=2, help="the least of so many runs counts")
    rounds = parser.parse_args().rounds
    solve_cavity(box(), absorption=0.1, cell_m=0.5, highest_hz=150.0)  # imports
    thin = back_hz(0.02)
    rows = []
    print(f"one thread; {load()}")
    print("cell [m]  unknowns  seconds  box <200 Hz  box <300 Hz  seat back, first mode  seat back <250 Hz")
    for cell_m in CELLS:
        shell = [*cabin(), BACK]
        cavity = solve_cavity(shell, absorption=0.1, cell_m=cell_m)
        cost = seconds(lambda s=shell, c=cell_m: solve_cavity(s, absorption=0.1, cell_m=c), rounds)  # type: ignore[misc]
        errors = [worst(turned(box()), box_hz(), cell_m, below) for below in (200.0, 300.0)]
        errors += [worst(with_back(0.02), thin, cell_m, below) for below in (thin[1] + 1.0, 250.0)]
        rows.append((cell_m, cavity.elements.mass.shape[0], cost, *errors))
        print("{:8.2f}  {:8d}  {:7.2f}  {:10.3f}%  {:10.3f}%  {:20.2f}%  {:16.2f}%".format(*rows[-1]))

    cavity = solve_cavity([*cabin(), BACK], absorption=0.1)
    source, frequency = [0.3, -0.7, 0.1], np.geomspace(20.0, 250.0, 120)
    first = seconds(lambda: cavity.level_db(source, HEADS, frequency_hz=frequency), rounds)
    print(f"one place to {len(HEADS)} points at 120 frequencies: {first:.3f} s; ", end="")
    print(f"a map at 5 cm: {seconds(lambda: cavity.slice(source, frequency_hz=60.0, at_m=0.9), rounds):.3f} s")

    figure, (left, right) = axes(9.0, 3.6, columns=2)
    figure.subplots_adjust(wspace=0.3)
    table = np.array(rows)
    left.semilogy(table[:, 0], table[:, 3], "o-", label="box awry, below 200 Hz")
    left.semilogy(table[:, 0], table[:, 4], "s-", label="box awry, below 300 Hz")
    left.semilogy(table[:, 0], table[:, 6], "^-", label="2 cm seat back, below 250 Hz")
    left.set(xlabel="edge of a cell [m]", ylabel="greatest error of a mode [%]")
    right.plot(table[:, 1], table[:, 2], "o-", label="slanted cabin with a seat back")
    right.set(xlabel="unknowns", ylabel="seconds", xlim=(0, None), ylim=(0, None))
    for axis in (left, right):
        axis.legend(fontsize=8)
    save(figure, "cavity")


if __name__ == "__main__":
    main()
