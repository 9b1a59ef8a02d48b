"""The electrical system: seconds against states and wires, and after one value changed.

Builds are invented: branches of fuse, wire, switch, load and return, a relay on every third. ``python benchmarks/power.py``.
"""

from __future__ import annotations

import time

import matplotlib

import common  # benchmarks/common.py: this folder comes first on the path

matplotlib.use("Agg")
import matplotlib.pyplot as plt

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.handover.json_text import json_text, plain
from cabinwright.stages import power
from cabinwright.stages.power.faults import _joint_faults

HEAD = """schema = 1
title = "Invented"
[vehicle]
name = "invented car"
driving_side = "left"
[supply]
nominal_v = 13.8
battery = {capacity_ah = 80, resistance_ohm = 0.006}
[[wires]]
name = "lead"
from = "battery plus"
to = "main in"
length_m = 0.3
[[fuses]]
name = "main"
from = "main in"
to = "block"
"""
BRANCH = """
[[fuses]]
name = "fuse {i}"
from = "block"
to = "a{i}"
[[wires]]
name = "feed {i}"
from = "a{i}"
to = "b{i}"
length_m = {length}
[[switches]]
name = "switch {i}"
from = "b{i}"
to = "c{i}"
closed_when = {{s{state} = "on"}}
[[wires]]
name = "run {i}"
from = "c{i}"
to = "d{i}"
length_m = 1
[[wires]]
name = "sense {i}"
from = "d{i}"
to = "r{i}"
length_m = 1
[[wires]]
name = "ground {i}"
from = "g{i}"
to = "chassis"
length_m = 0.5
[[loads]]
name = "load {i}"
from = "d{i}"
to = "g{i}"
current_a = 3
[[promises]]
text = "promise {i}"
load = "load {i}"
is = "off"
when = {{s{state} = "off"}}
"""
RELAY = """
[[relays]]
name = "relay {i}"
from = "block"
to = "e{i}"
coil_from = "r{i}"
[[loads]]
name = "helper {i}"
from = "e{i}"
to = "g{i}"
current_a = 2
"""


def build(branches: int, states: int, length_m: float = 2.0) -> Build:
    """``branches`` branches of four wires, whose switches follow ``states`` states of two values."""
    text = HEAD
    for i in range(branches):
        text += BRANCH.format(i=i, state=i % states, length=length_m) + (RELAY.format(i=i) if i % 3 == 0 else "")
    text += "".join(f'[[states]]\nname = "s{k}"\nvalues = ["on", "off"]\n' for k in range(states))
    return parse(text)


def seconds(made: Build) -> tuple[float, float]:
    """Least of three: solving with every single fault, and writing it as JSON."""
    runs = []
    for _ in range(3):
        _joint_faults.cache_clear()  # everything anew, as in a new process
        start = time.perf_counter()
        result = power.run(made)
        solved = time.perf_counter()
        assert result is not None
        json_text(plain(result.to_dict()))
        runs.append((solved - start, time.perf_counter() - solved))
    return min(run[0] for run in runs), min(run[1] for run in runs)


def after_a_change(states: int) -> float:
    """Least of three runs, each of a build in which one length is another than in any before; the first is not counted."""
    power.run(build(10, states))
    runs = []
    for step in range(3):
        made = build(10, states, length_m=2.5 + step)
        start = time.perf_counter()
        power.run(made)
        runs.append(time.perf_counter() - start)
    return min(runs)


def main() -> None:
    print(common.load())
    figure, axes = plt.subplots(figsize=(6.4, 4.0))
    for branches in (5, 10):
        rows = [(2**k, *seconds(build(branches, k))) for k in range(1, branches + 1, 1 if branches < 10 else 3)]
        for count, solve, write in rows:
            print(
                f"{4 * branches + 1} wires, {count:5d} combinations: solved in {solve:.3f} s, written in {write:.3f} s"
            )
        axes.loglog([row[0] for row in rows], [row[1] for row in rows], "o-", label=f"{4 * branches + 1} wires")
    for states in (4, 10):
        changed = after_a_change(states)
        print(
            f"41 wires, {2**states} combinations, after a length changed: {changed:.3f} s, {changed / 0.1:.2f} of 0.1 s"
        )
    axes.set_xlabel("combinations of states")
    axes.set_ylabel("seconds, all single faults")
    axes.legend()
    figure.tight_layout()
    figure.savefig(common.OUT / "power.png", dpi=120)


if __name__ == "__main__":
    main()
