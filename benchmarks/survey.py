"""What a survey costs against the number of points, names and tapes alone, five tapes to each new point.

python benchmarks/survey.py [--rounds 5]
"""

from __future__ import annotations

import argparse

import common
from cabinwright.physics.network.images import images
from cabinwright.physics.network.improve import next_tapes
from cabinwright.physics.network.solve import best_start, solve

POINTS = (10, 20, 40)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5, help="the least of so many runs counts")
    arguments = parser.parse_args()
    from physics.networks import blundered, invented

    print(f"milliseconds of a whole survey, one thread; {common.load()}")
    print("points  tapes   all good   one misread by 10 cm")
    for points in POINTS:
        _, good = invented(1, points=points, tapes=5)
        row = []
        for network in (good, blundered(good, good.tapes // 2, 0.1)):

            def whole(network=network) -> None:  # type: ignore[no-untyped-def]
                solved = solve(network, best_start(network))
                images(solved.final)
                next_tapes(solved.final)

            row.append(1e3 * common.seconds(whole, arguments.rounds))
        print(f"{points:6d} {good.tapes:6d} {row[0]:10.0f} {row[1]:22.0f}")


if __name__ == "__main__":
    main()
