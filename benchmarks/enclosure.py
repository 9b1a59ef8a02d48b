"""What a box costs: one circuit against the number of frequencies, and the search for alignments.

python benchmarks/enclosure.py [--rounds 5]
"""

from __future__ import annotations

import argparse

import numpy as np

import common
from cabinwright.build.codec import parse
from cabinwright.physics import alignment
from cabinwright.physics.box import solve
from cabinwright.stages.enclosure.boxes import feed_of
from cabinwright.stages.enclosure.models import all_models
from cabinwright.stages.enclosure.search import search

FREQUENCIES = (250, 500, 1000, 2000, 4000, 8000)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5, help="the least of so many runs counts")
    arguments = parser.parse_args()
    from stages.boxed import HEAD, MODEL, box

    build = parse(HEAD + MODEL + box())
    driver = all_models(build, {})[0]["ten"].driver
    load = alignment.vented_load(volume_m3=0.034, tuning_hz=32.0)
    print(f"milliseconds, one thread; {common.load()}")
    for points in FREQUENCIES:
        grid = np.geomspace(10.0, 500.0, points)

        def one(grid=grid) -> None:  # type: ignore[no-untyped-def]
            solve(driver, load, frequency_hz=grid, source_v=36.9)

        print(f"one box, {points:5d} frequencies: {1e3 * common.seconds(one, 10 * arguments.rounds):8.3f}")
    bay, model = build.boxes[0], build.speaker_models[0]
    feed = feed_of(bay, model, driver)

    def all_of_them() -> None:
        search(bay, model, driver, feed, room_m3=0.034)

    print(f"search, 10000 alignments:    {1e3 * common.seconds(all_of_them, arguments.rounds):8.0f}")


if __name__ == "__main__":
    main()
