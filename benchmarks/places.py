"""Comparing places: reflections beside pyroomacoustics, their growth, the whole study of 50 places, and one place moved.

    python benchmarks/places.py [--rounds 2]

Rays: a closed cabin of 12 slanted facets, 5 heads, reflections to order 3. Ours for 1,000 candidates at once, the images of
the heads included; pyroomacoustics for 20 of them one by one, its walls made once for all, with and without setting up the
room. Both count the processor's own time, turn about, and must find equally many paths (it works in single precision: a path
that passes micrometres beside an edge may count there). Limits of the project: 20 times faster per candidate; the whole
study with pictures in 20 s; one place moved in 0.1 s.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np

from cabinwright.physics.facets import Facet
from cabinwright.physics.image_sources import Images
from common import axes, load, save, seconds
from physics.polyhedra import frustum, outward, points_inside
from stages.cabin_build import cabin_build, cabin_text
from whole import fresh

PROFILE = [
    (0.0, 0.0),
    (2.5, 0.0),
    (2.5, 0.55),
    (2.3, 0.95),
    (2.05, 1.12),
    (1.4, 1.2),
    (0.95, 1.16),
    (0.42, 0.76),
    (0.3, 0.5),
]
PROFILE += [(0.06, 0.4)]  # dash and footwell: the shell is not convex
SHELL = [corners - [0.0, 0.72, 0.0] for corners in frustum(np.array(PROFILE), 1.44, scale=0.95, shift=(0.05, 0.0))]
HEADS = np.array([(1.3, -0.36, 0.9), (1.3, 0.36, 0.9), (2.0, -0.45, 0.85), (2.0, 0.0, 0.85), (2.0, 0.45, 0.85)])


def facets(count: int) -> list[Facet]:
    """The shell, part of it, or the shell and small panels anyhow about it."""
    rng = np.random.default_rng(3)
    more = []
    for _ in range(count - 12):
        corner, along, across = rng.uniform((0.6, -0.6, 0.1), (2.2, 0.6, 0.9)), *rng.normal(scale=0.15, size=(2, 3))
        more.append(np.array([corner, corner + along, corner + along + across, corner + across]))
    return [Facet.of(corners) for corners in [*SHELL, *more][:count]]


def ours(count: int, order: int, places: np.ndarray) -> int:
    """How many paths there are."""
    return len(Images(facets(count), HEADS, most_order=order).paths(places).source)


def theirs(places: np.ndarray) -> tuple[float, float, int]:
    """Seconds per candidate of pyroomacoustics, one thread: in all, and for images alone; and how many paths there are."""
    import pyroomacoustics as pra

    pra.constants.set("num_threads", 1)
    walls = [pra.wall_factory(corners.T, [0.1], [0.0]) for corners in outward(SHELL)]
    found, whole, images_alone = 0, 0.0, 0.0
    for place in places:
        start = time.process_time()
        room = pra.Room(walls, fs=48000, max_order=3)
        room.add_source(place)
        room.add_microphone_array(HEADS.T)
        ready = time.process_time()
        room.image_source_model()
        done = time.process_time()
        whole, images_alone = whole + done - start, images_alone + done - ready
        images, seen = np.asarray(room.sources[0].images).T, np.asarray(room.visibility[0], dtype=bool)
        direct = np.linalg.norm(images - place, axis=1) < 1e-3
        found += int(seen.sum()) - int(seen[:, direct].sum())
    return whole / len(places), images_alone / len(places), found


def worked(work: Callable[[], object]) -> float:
    """Seconds that the processor itself worked."""
    start = time.process_time()
    work()
    return time.process_time() - start


def many_places(count: int) -> str:
    """A build of ``count`` places in pairs and subwoofers."""
    rng = np.random.default_rng(7)
    rows = []
    for k in range(count // 2 - 3):
        x, y, z = rng.uniform((0.55, 0.3, 0.25), (1.2, 0.68, 0.9))
        for side, sign in (("left", -1.0), ("right", 1.0)):
            rows.append(
                f'[[places]]\nname = "{side} {k + 1}"\nrole = "coaxial"\nside = "{side}"\nradius_m = 0.035\n'
                f'position_m = [{x:.3f}, {sign * y:.3f}, {z:.3f}]\naim = "driver"\naim_limit_deg = 25\ndepth_m = 0.05\n'
            )
    for k in range(count - len(rows)):
        x, y = rng.uniform((1.2, -0.6), (2.4, 0.6))
        rows.append(
            f'[[places]]\nname = "sub {k + 1}"\nrole = "subwoofer"\nside = "centre"\nvolume_m3 = "20 L"\n'
            f"position_m = [{x:.3f}, {y:.3f}, 0.1]\naim = [0.0, 0.0, 1.0]\n"
        )
    return cabin_text(places="".join(rows))


def moved(name: str, position: tuple[float, float, float], rounds: int) -> float:
    from cabinwright.stages.layout import Study

    study = Study(cabin_build(), {}, {})
    study.moved(name, position)  # images of the heads and modes of the cabin are there by then
    return seconds(lambda: study.moved(name, position), rounds)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=2, help="the least of so many runs counts")
    rounds = parser.parse_args().rounds
    print(f"one thread; {load()}")
    places = points_inside(SHELL, 1000, np.random.default_rng(1))
    turns = [(*theirs(places[:20]), worked(lambda: ours(12, 3, places)) / 1000.0) for _ in range(3 * rounds)]
    whole, alone, paths, mine = (min(column) for column in zip(*turns, strict=True))
    print(f"paths of 20 candidates: ours {ours(12, 3, places[:20])}, theirs {paths}")
    print(
        f"per candidate, 12 facets, 5 heads, order 3: ours {1e3 * mine:.3f} ms, theirs {1e3 * whole:.2f} ms "
        f"({whole / mine:.0f} times), images alone {1e3 * alone:.2f} ms ({alone / mine:.0f} times)"
    )
    tracemalloc.start()
    Images(facets(12), HEADS).paths(places)
    print(f"most memory at a time: {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB")
    tracemalloc.stop()

    by_facets = [(n, seconds(lambda n=n: ours(n, 3, places), rounds)) for n in (6, 9, 12, 18, 24, 36)]  # type: ignore[misc]
    by_order = [(n, seconds(lambda n=n: ours(12, n, places), rounds)) for n in (1, 2, 3, 4)]  # type: ignore[misc]
    by_count = [(n, seconds(lambda n=n: ours(12, 3, places[:n]), rounds)) for n in (1, 10, 100, 300, 1000)]  # type: ignore[misc]
    for what, rows in (("facets", by_facets), ("order", by_order), ("places", by_count)):
        print(f"{what:8s}", "  ".join(f"{n}: {took:.3f} s" for n, took in rows))

    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "build.toml").write_text(many_places(50), encoding="utf-8", newline="\n")
        took = fresh(["layout", name], rounds)
    print(
        f"whole study of 50 places with pictures, fresh process: {min(took):.1f} s least, {statistics.median(took):.1f} s median"
    )
    print(f"one place moved: {1e3 * moved('left pillar', (0.77, -0.62, 0.9), 5):.0f} ms; ", end="")
    print(f"a subwoofer {1e3 * moved('seat base', (1.35, -0.36, 0.15), 5):.0f} ms")

    figure, panels = axes(9.6, 3.2, columns=3)
    figure.subplots_adjust(wspace=0.35)
    for panel, rows, label in zip(
        panels,
        (by_facets, by_order, by_count),
        ("facets (order 3, 1,000 places)", "order (12 facets, 1,000 places)", "places (12 facets, order 3)"),
        strict=True,
    ):
        panel.plot(*zip(*rows, strict=True), "o-")
        panel.set(xlabel=label, ylabel="seconds", ylim=(0, None))
    save(figure, "places")


if __name__ == "__main__":
    main()
