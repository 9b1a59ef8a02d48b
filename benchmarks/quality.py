"""How good the tune is on simulated cars, beside the textbook hand method. No timing here: see the other benchmarks.

    python benchmarks/quality.py --seeds 11 12 13 --layouts two-way+sub three-way+sub --timings loopback marker

``direct`` as a timing hands perfect responses with 35 dB noise to the solver without files. Errors are rms over third
or sixth octaves, 40 Hz to 12.5 kHz, on power averages at places nobody measured; the excess is what is above the
unavoidable difference between measured and unmeasured averages.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from cabinwright.build.codec import load, parse
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages import tuning
from cars import LAYOUTS, Car, make_car, write_recordings
from outside.hand_method import hand_tune
from outside.score import (
    arrival_differences_s,
    coherent_losses,
    pair_arrivals_s,
    pair_gains_db,
    side_scores,
    true_arrivals_s,
)

TIMINGS = ("direct", "loopback", "marker", "impulse")
ARRIVALS = ("direct", "correlation", "first", "phat", "onset", "centroid")


def heard(car: Car, timing: str, snr_db: float) -> tuple[Any, RecordedResponses]:
    """Build and responses, through real files unless ``timing`` is direct."""
    if timing == "direct":
        return parse(car.build_toml(None)), car.responses(snr_db=snr_db)
    from cabinwright.files import write_all
    from cabinwright.measure.reader import read_recordings
    from cabinwright.measure.signal import sweep_files

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        build = parse(car.build_toml(timing))
        write_all(folder, sweep_files(build))
        write_recordings(car, folder, timing=timing, snr_db=snr_db, drift_ppm=70.0 if timing == "marker" else 0.0)
        build = load(folder)
        return build, read_recordings(build, folder, kind="tuning")


def rows(car: Car, settings: dict[str, Any], per_octave: int) -> dict[str, float]:
    """Every figure of one tune."""
    out: dict[str, float] = {}
    for side, score in side_scores(car, settings, per_octave=per_octave).items():
        out[f"{side} error"], out[f"{side} excess"] = score.error_db, score.excess_db
        out[f"{side} quadrature"] = score.quadrature_db
    if {"left", "right"} <= {item.side for item in car.loudspeakers}:
        for name, value in arrival_differences_s(car, settings).items():
            out[name] = value * 1e6
        pairs = pair_arrivals_s(car, settings)
        out["pair us"] = max(pairs.values(), key=abs) * 1e6
        out["pair dB"] = max(pair_gains_db(car, settings).values(), key=abs)
        reach = true_arrivals_s(car, settings)
        if "subwoofer" in reach:
            front = [time for name, time in reach.items() if name.startswith(("left", "right"))]
            out["sub late ms"] = (reach["subwoofer"] - float(np.median(front))) * 1e3
        for places in ("unmeasured", "measured"):
            for name, lost in coherent_losses(car, settings, places=places).items():
                out[f"lost {name} {places[0]}"] = lost.power_db
    return out


def cases(arguments: argparse.Namespace) -> Iterator[tuple[str, dict[str, dict[str, float]]]]:
    """One line for each car and timing, with the figures of each method."""
    for layout in arguments.layouts:
        for seed in arguments.seeds:
            side = "right" if seed % 2 else "left"
            car = make_car(seed, layout=layout, positions=arguments.positions, driving_side=side)
            for timing in arguments.timings:
                build, responses = heard(car, timing, arguments.snr_db)
                tunes = {"ours": tuning.run(build, responses).settings.to_dict()}
                tunes["hand"] = hand_tune(car, car.responses(snr_db=arguments.snr_db))
                if arguments.hands:
                    tunes["hand alone"] = hand_tune(car, car.responses(snr_db=arguments.snr_db), alone=True)
                    tunes["hand patient"] = hand_tune(
                        car, car.responses(snr_db=arguments.snr_db), rounds=2, polarity=True
                    )
                yield (
                    f"{layout} {seed} {timing}",
                    {name: rows(car, settings, arguments.per_octave) for name, settings in tunes.items()},
                )


def show(title: str, tunes: dict[str, dict[str, float]]) -> None:
    print(title)
    for name, figures in tunes.items():
        sides = " | ".join(
            " ".join(f"{what} {figures[f'{side} {what}']:5.2f}" for what in ("error", "excess", "quadrature"))
            for side in ("left", "right")
            if f"{side} error" in figures
        )
        arrivals = " ".join(f"{figures[a]:6.0f}" for a in ARRIVALS if a in figures)
        lost = " ".join(f"{k[5:]} {v:4.2f}" for k, v in figures.items() if k.startswith("lost"))
        pairs = " ".join(f"{k} {figures[k]:5.1f}" for k in ("pair us", "pair dB", "sub late ms") if k in figures)
        print(f"  {name:13s} {sides} | us {arrivals} | {pairs} | lost {lost}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, nargs="+", default=[11, 12, 13, 14])
    parser.add_argument("--layouts", nargs="+", choices=sorted(LAYOUTS), default=["two-way+sub", "three-way+sub"])
    parser.add_argument("--timings", nargs="+", choices=TIMINGS, default=["loopback", "marker", "impulse"])
    parser.add_argument("--positions", type=int, default=7)
    parser.add_argument("--snr-db", type=float, default=35.0)
    parser.add_argument("--per-octave", type=int, default=3)
    parser.add_argument("--hands", action="store_true", help="also other ways of doing it by hand")
    arguments = parser.parse_args()
    gathered: dict[str, dict[str, list[float]]] = {}
    for title, tunes in cases(arguments):
        show(title, tunes)
        for name, figures in tunes.items():
            for key, value in figures.items():
                gathered.setdefault(name, {}).setdefault(key, []).append(abs(value))
    print("\nmedians of magnitudes")
    show("", {name: {key: float(np.median(v)) for key, v in kept.items()} for name, kept in gathered.items()})
    for name in gathered:
        if name != "ours":
            ratio = [
                np.array(gathered["ours"][f"{s} excess"]) / np.array(gathered[name][f"{s} excess"])
                for s in ("left", "right")
            ]
            print(f"excess, ours over {name}: median {np.median(ratio):.2f}, worst {np.max(ratio):.2f}")


if __name__ == "__main__":
    main()
