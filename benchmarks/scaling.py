"""What the search for a tune costs against channels and positions, and against the length of the recordings.

    python benchmarks/scaling.py [--rounds 2]

Channels: a pair of coaxials, a two-way, and a three-way with subwoofer (2, 4, 7). Positions: 2, 4, 8.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

from cabinwright.build.codec import parse
from cabinwright.stages.tuning.tune import solve_tune
from common import axes, car, load, save, seconds

CHANNELS = {2: "coaxial", 4: "two-way", 7: "three-way+sub"}
POSITIONS = (2, 4, 8)


def posed(layout: str, positions: int) -> tuple[Any, Any]:
    """Build and responses."""
    the_car = car(layout, positions)
    return parse(the_car.build_toml(None)), the_car.responses(snr_db=35.0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=2, help="the least of so many runs counts")
    arguments = parser.parse_args()
    table: dict[tuple[int, int], float] = {}
    for channels, layout in CHANNELS.items():
        for positions in POSITIONS:
            build, responses = posed(layout, positions)
            table[channels, positions] = seconds(lambda b=build, r=responses: solve_tune(b, r), arguments.rounds)  # type: ignore[misc]
    print(f"seconds of one search, 10 peaking filters per channel; {load()}")
    print("channels " + "".join(f"{p:>4d} positions" for p in POSITIONS) + "   2x and 4x positions cost")
    for channels in CHANNELS:
        row = [table[channels, positions] for positions in POSITIONS]
        print(
            f"{channels:8d} "
            + "".join(f"{t:13.2f}s" for t in row)
            + f"   {row[1] / row[0]:.1f}x {row[2] / row[0]:.1f}x"
        )
    for positions in POSITIONS:
        column = [table[channels, positions] for channels in CHANNELS]
        grown = " ".join(f"{c}: {t / column[0]:.1f}x" for c, t in zip(CHANNELS, column, strict=True))
        print(f"at {positions} positions, channels cost {grown}")

    build, responses = posed("two-way", 4)
    print("length of the responses, 4 channels at 4 positions:")
    for times in (1, 2, 4):
        longer = replace(responses, impulse=_stretched(responses.impulse, times))
        print(f"  {times}x {seconds(lambda r=longer: solve_tune(build, r), arguments.rounds):.2f}s")  # type: ignore[misc]

    figure, (left, right) = axes(9.0, 3.6, columns=2)
    for channels in CHANNELS:
        left.plot(POSITIONS, [table[channels, p] for p in POSITIONS], "o-", label=f"{channels} channels")
    for positions in POSITIONS:
        right.plot(list(CHANNELS), [table[c, positions] for c in CHANNELS], "o-", label=f"{positions} positions")
    for axis, word in ((left, "positions"), (right, "channels")):
        axis.set(xlabel=word, ylabel="seconds", ylim=(0, None))
        axis.legend(fontsize=8)
    save(figure, "scaling")


def _stretched(impulse: Any, times: int) -> Any:
    """The same responses with silence behind them."""
    import numpy as np

    return np.pad(impulse, ((0, 0), (0, 0), (0, (times - 1) * impulse.shape[-1])))


if __name__ == "__main__":
    main()
