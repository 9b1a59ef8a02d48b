"""Make the demo's recordings: an invented five-door estate, simulated by pyroomacoustics.

    python demo/make_demo.py                  the build and its recordings
    python demo/make_demo.py --build          the build alone; the recordings stay as they are
    python demo/make_demo.py --verification   tune it, then record again with one channel entered wrongly

All of them give the same files every time. Nothing here comes from a real car.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))  # the simulated cars of the tests; development only

from cabin import cabin_text  # noqa: E402, the module beside this one
from cars import RATE, Car, Loudspeaker, heard_at, record, recording_file  # noqa: E402
from cars.loudspeakers import bell, high_pass, low_pass  # noqa: E402
from chain import CHAIN, with_electrics  # noqa: E402, the module beside this one
from enclosure import ENCLOSURE, sweep_files  # noqa: E402, the module beside this one
from mounts import MOUNTS  # noqa: E402, the module beside this one
from outside.score import played as processed  # noqa: E402
from service import SERVICE  # noqa: E402, the module beside this one
from wiring import WIRING  # noqa: E402, the module beside this one
from workshop import WORKSHOP  # noqa: E402, the module beside this one

BUILD = HERE / "build"
SEED = 20_260
SIZE_M = np.array([2.95, 1.44, 1.16])  # an estate's cabin goes on to the tailgate
CORNER_M = np.array([0.36, -0.72, 0.14])
HEAD_M = np.array([1.28, 0.36, 0.98])
PLACES_M = HEAD_M + np.array(
    [
        [0.0, 0.0, 0.0],
        [-0.09, -0.08, 0.03],
        [-0.07, 0.10, -0.03],
        [0.07, 0.09, 0.04],
        [0.06, -0.11, -0.02],
        [0.0, 0.0, 0.09],
    ]
)
HOUSE_CURVE = (
    (20.0, 9.0),
    (55.0, 9.0),
    (120.0, 3.5),
    (250.0, 0.5),
    (1000.0, 0.0),
    (3000.0, -1.0),
    (10000.0, -4.5),
    (20000.0, -8.0),
)
CLIPPED = ("right midbass", "p5")  #: recorded with the microphone's gain too high
WRONG_WAY = "left midbass"  #: at the verification its polarity was keyed in the wrong way round
NOISE = 8e-5  #: rms of the microphone's noise, full scale 1
PEAK = 0.45
PASSENGER = '[[seats]]\nname = "passenger"\nhead_m = [1.2800, -0.3600, 0.9800]'
SWEEP = "[tuning.sweep]\nlength_s = 2.5\nlow_hz = 15.0\nhigh_hz = 21000.0"
README = """# Invented data

Nothing in this folder was recorded in a real car. The five-door estate, its loudspeakers and every recording were made
by `demo/make_demo.py` with an independent room simulator; names and numbers are invented. See `demo/README.md`.
"""


def loudspeaker(
    name: str, role: str, at: list[float], aim: list[float], gain_db: float, wired: float, latency_s: float,
    sections: list[np.ndarray], radius_m: float,
) -> Loudspeaker:  # fmt: skip
    """One loudspeaker of the demo; ``wired`` is -1 where plus and minus were swapped."""
    side = name.split()[0] if " " in name else "centre"
    direction = np.array(aim) / np.linalg.norm(aim)
    gain = wired * 10.0 ** (gain_db / 20.0)
    beaming = 343.0 / (2.0 * np.pi * radius_m)
    return Loudspeaker(name, role, side, np.array(at), direction, np.vstack(sections), gain, latency_s, beaming)


def estate() -> Car:
    """The car: near door on the right, far door on the left, the left midbass wired the wrong way round."""
    late = 0.0011  # converters and processor
    midbass = [high_pass(58.0, 0.8), low_pass(5200.0)]
    tweeter = [high_pass(1150.0, 0.9), low_pass(21000.0)]
    loudspeakers = (
        loudspeaker("left midbass", "midbass", [0.83, -0.69, 0.42], [0.1, 1.0, 0.2], -3.0, -1.0, late,
                    [*midbass, bell(310.0, 3.0, 3.0), bell(1700.0, -3.5, 2.5)], 0.065),
        loudspeaker("right midbass", "midbass", [0.82, 0.69, 0.43], [0.1, -1.0, 0.2], -3.4, 1.0, late,
                    [*midbass, bell(280.0, 2.5, 3.5), bell(2100.0, -3.0, 2.0)], 0.065),
        loudspeaker("left tweeter", "tweeter", [0.64, -0.64, 0.97], [0.5, 0.9, 0.0], 0.0, 1.0, late,
                    [*tweeter, bell(5200.0, 2.5, 2.5), bell(11000.0, -3.0, 2.0)], 0.013),
        loudspeaker("right tweeter", "tweeter", [0.66, 0.65, 0.96], [0.6, -0.8, 0.0], -0.5, 1.0, late,
                    [*tweeter, bell(4800.0, 2.0, 2.5), bell(10000.0, -2.5, 2.0)], 0.013),
        loudspeaker("subwoofer", "subwoofer", [3.05, 0.06, 0.22], [0.0, 0.0, 1.0], -6.0, 1.0, late + 0.0009,
                    [high_pass(31.0, 0.75), low_pass(450.0)], 0.12),
    )  # fmt: skip
    heard = np.array([heard_at(item, PLACES_M, CORNER_M, SIZE_M, SEED) for item in loudspeakers])
    heard /= np.sqrt(np.mean(np.sum(heard**2, axis=-1)))
    return Car(
        seed=SEED,
        layout="two-way+sub",
        driving_side="right",
        head_m=HEAD_M,
        loudspeakers=loudspeakers,
        places_m=PLACES_M,
        unmeasured_m=PLACES_M[:0],
        measured=heard,
        unmeasured=heard[:, :0],
        centre=heard[:, 0],
        direct=heard[:, 0],
        house_curve=HOUSE_CURVE,
        title="Demo, all of it invented: five-door estate, subwoofer in the spare-wheel bay",
        vehicle="Five-door estate (invented)",
    )


def build_text(car: Car) -> str:
    """``build.toml`` with both rounds of recordings."""
    head = "# Invented: see README.md in this folder. Made by demo/make_demo.py; not recorded in any real car.\n"
    again = "".join(
        f'[[verification_recordings]]\nchannel = "{name}"\nposition = "{place}"\nkind = "sweep"\nfile = "{file}"\n'
        for name, place, file in verification_files(car)
    )
    text = car.build_toml("loopback", suffix="flac", tuning_extra=SWEEP)
    text = text.replace("[processor]", f"{PASSENGER}\n[processor]", 1)
    cabin = cabin_text(seed=SEED, corner_m=CORNER_M, size_m=SIZE_M)
    return (
        head
        + with_electrics(text.replace("[tuning]\n", again + "[tuning]\n"))
        + cabin
        + WIRING
        + ENCLOSURE
        + CHAIN
        + WORKSHOP
        + MOUNTS
        + SERVICE
    )


def verification_files(car: Car) -> list[tuple[str, str, str]]:
    """Sum, position and file of the second round."""
    return [
        (side, place, recording_file(side, place, "flac").replace("recordings/", "verification/"))
        for side in ("left side", "right side")
        for place in car.positions
    ]


def sweep(car: Car) -> np.ndarray:
    """The measurement signal that the project makes for this build, (samples, 2)."""
    from cabinwright.build.codec import parse
    from cabinwright.measure.signal import make_sweep

    return make_sweep(parse(build_text(car))).samples()


def scale(car: Car, signal: np.ndarray) -> float:
    """Microphone gain: the loudest recording at the head's centre peaks at ``PEAK``. The same in both rounds."""
    longest = len(signal) + car.measured.shape[-1]
    heard = np.fft.irfft(np.fft.rfft(car.measured[:, 0], longest) * np.fft.rfft(signal[:, 0], longest), longest)
    return float(PEAK / np.abs(heard).max())


def write(file: Path, data: np.ndarray) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(file, np.clip(data, -1.0, 1.0 - 2.0**-15), RATE, subtype="PCM_16")


def make_build(car: Car) -> None:
    """``build.toml`` and the page that says what it is."""
    BUILD.mkdir(exist_ok=True)
    (BUILD / "build.toml").write_text(build_text(car), encoding="utf-8", newline="\n")
    (BUILD / "README.md").write_text(README, encoding="utf-8", newline="\n")
    for path, text in sweep_files().items():
        (BUILD / path).parent.mkdir(exist_ok=True)
        (BUILD / path).write_text(text, encoding="utf-8", newline="\n")


def make_recordings(car: Car) -> None:
    """The first round."""
    make_build(car)
    shutil.rmtree(BUILD / "recordings", ignore_errors=True)
    signal = sweep(car)
    rng = np.random.default_rng(SEED)
    gain = scale(car, signal)
    for c, channel in enumerate(car.channels):
        for p, place in enumerate(car.positions):
            data = record(signal, car.measured[c, p], gain=gain, rng=rng, noise=NOISE, spare_s=(0.03, 0.15))
            if (channel, place) == CLIPPED:
                data[:, 0] *= 1.9 / np.abs(data[:, 0]).max()
            write(BUILD / recording_file(channel, place, "flac"), data)


def make_verification(car: Car, settings: dict[str, Any]) -> None:
    """The second round, with ``settings`` loaded but for one mistake."""
    shutil.rmtree(BUILD / "verification", ignore_errors=True)
    wrong = json.loads(json.dumps(settings))
    row = next(row for row in wrong["channels"] if row["name"] == WRONG_WAY)
    row["polarity"] = "normal" if row["polarity"] == "inverted" else "inverted"
    after = processed(car.measured, car.channels, wrong)
    signal = sweep(car)
    rng = np.random.default_rng(SEED + 1)
    gain = scale(car, signal)
    for name, place, file in verification_files(car):
        side = name.split()[0]
        chosen = [i for i, item in enumerate(car.loudspeakers) if item.side in (side, "centre")]
        heard = after[chosen, car.positions.index(place)].sum(axis=0)
        write(BUILD / file, record(signal, heard, gain=gain, rng=rng, noise=NOISE, spare_s=(0.03, 0.15)))
    kept = json.dumps(settings, indent=1) + "\n"
    (BUILD / "verification" / "loaded_settings.json").write_text(kept, encoding="utf-8", newline="\n")


def tuned() -> dict[str, Any]:
    """Settings that the main job gives for the demo, from the same command a person runs."""
    from cabinwright.cli.main import main

    with tempfile.TemporaryDirectory() as scratch:
        work = Path(scratch) / "demo"
        shutil.copytree(BUILD, work)
        if code := main(["tune", str(work)]):
            raise SystemExit(code)
        settings: dict[str, Any] = json.loads((work / "out" / "settings.json").read_text(encoding="utf-8"))
        return settings


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--verification", action="store_true", help="tune, then make the second round of recordings")
    parser.add_argument(
        "--build", action="store_true", help="write the build alone and leave the recordings as they are"
    )
    options, car = parser.parse_args(), estate()
    if options.build:
        make_build(car)
    elif options.verification:
        make_verification(car, tuned())
    else:
        make_recordings(car)
    size = sum(file.stat().st_size for file in BUILD.rglob("*.flac"))
    print(f"{len(list(BUILD.rglob('*.flac')))} recordings, {size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
