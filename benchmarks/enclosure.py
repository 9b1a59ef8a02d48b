"""What a box costs: one circuit against the number of frequencies, the search for alignments, and its way into a hollow.

python benchmarks/enclosure.py [--rounds 5]
"""

from __future__ import annotations

import argparse
import cmath
import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import shapely

import common
from cabinwright.build.codec import parse
from cabinwright.build.shapes import BoxShape
from cabinwright.physics import alignment
from cabinwright.physics.box import solve
from cabinwright.physics.outline import circle
from cabinwright.physics.solid import Mesh
from cabinwright.stages.enclosure.boxes import feed_of
from cabinwright.stages.enclosure.fit import largest
from cabinwright.stages.enclosure.fit_way import Hollow, hollow_of, layers_of, way_in
from cabinwright.stages.enclosure.models import all_models
from cabinwright.stages.enclosure.search import search
from cabinwright.stages.enclosure.shape import body_of, chain

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
    ways()


def ways() -> None:
    """Into a hollow and through an opening, against points of the outline and triangles of a scan; each once, with its memory.

    The opening lies where the box has to tilt, and once where it cannot pass at all: the search then goes everywhere it may.
    """
    print("opening and hollow: seconds, and MiB at the most")
    for points in (4, 16, 64, 256, 1024):
        outline = chain([0.28 * cmath.rect(1.0, 2.0 * cmath.pi * k / points) for k in range(points)])
        plan, gate = outline.as_polygon(1e-4), shapely.box(-0.3, -0.2, 0.3, 0.2)
        opening = chain([complex(x, y) for x, y in gate.exterior.coords[:-1]]).counter_clockwise()
        for words, high in (("tilts in", 0.45), ("cannot", 0.26)):
            deep = Hollow(((plan.buffer(0.06), -0.001, high),), gate, 0.002, 0.002, None)
            body = ((plan, 0.0, 0.2),)
            cost = _cost(lambda body=body, deep=deep: way_in(body, deep))
            print(f"way in, {points:5d} points, {words:8s}: {cost}")
        print(
            f"largest, {points:5d} points:          {_cost(lambda a=outline, b=opening: largest(a, 0.45, b, gap_m=0.005))}"
        )
    for rings in (16, 64, 256):
        scan = _funnel(rings)
        shape = BoxShape.model_validate(SCAN)
        body = body_of(shape, {"bay.stl": scan}, board_m=0.03, cutter_radius_m=0.003)
        opening = circle(0j, 0.5)
        cost = _cost(lambda s=shape, b=body, m=scan, o=opening: way_in(layers_of(b), hollow_of(s, b, None, m, o)))
        print(f"way into a scan of {len(scan.faces):6d} triangles: {cost}")


SCAN = {"file": "bay.stl", "file_units": "m", "offset_m": 0.01, "height_m": 0.3, "wall_m": 0.03,
        "opening": {"diameter_m": 0.5, "at_m": [0.2, 0.0]}}  # fmt: skip


def _funnel(rings: int) -> Mesh:
    """A bowl of revolution, wider above: ``rings`` round, as many as half of them up."""
    angles, heights = 2.0 * np.pi * np.arange(rings) / rings, np.linspace(-0.5, 0.0, rings // 2)
    radii = 0.25 + 0.25 * np.sqrt(1.0 + heights / 0.5)
    grid = np.stack(
        [np.outer(radii, np.cos(angles)), np.outer(radii, np.sin(angles)), np.tile(heights[:, None], rings)], -1
    )
    points = np.concatenate([grid.reshape(-1, 3), [[0, 0, -0.5], [0, 0, 0.0]]])
    here = np.arange(rings)
    after, last = (here + 1) % rings, rings * (len(heights) - 1)
    faces = [
        np.column_stack((k * rings + here, k * rings + after, (k + 1) * rings + after)) for k in range(len(heights) - 1)
    ]
    faces += [
        np.column_stack((k * rings + here, (k + 1) * rings + after, (k + 1) * rings + here))
        for k in range(len(heights) - 1)
    ]
    faces += [np.column_stack((np.full(rings, len(points) - 2), after, here))]
    faces += [np.column_stack((np.full(rings, len(points) - 1), last + here, last + after))]
    return Mesh(points, np.concatenate(faces).astype(np.int64))


def _cost(work: Callable[[], object]) -> str:
    started = time.perf_counter()
    work()
    spent = time.perf_counter() - started
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return f"{spent:7.2f} s {most / 2**20:7.1f} MiB"


if __name__ == "__main__":
    main()
