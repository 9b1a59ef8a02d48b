"""Make the tutorial's recordings: an invented pick-up, simulated by pyroomacoustics, never by the project's own acoustics.

    python docs/tutorial/make_recordings.py                  the first round
    python docs/tutorial/make_recordings.py SETTINGS.json    the second round, with these settings loaded but for one polarity

The same files every time. Nothing here comes from a real car.
"""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))  # the simulated cars of the tests; development only

from cars import RATE, Loudspeaker, heard_at  # noqa: E402
from cars.loudspeakers import bell, high_pass, low_pass  # noqa: E402
from outside.score import played  # noqa: E402

SEED = 7
CORNER_M, SIZE_M = np.array([0.36, -0.75, 0.14]), np.array([1.60, 1.50, 1.16])
PLACES_M = np.array([[1.18, -0.36, 0.98], [1.10, -0.45, 1.01], [1.11, -0.27, 0.94], [1.25, -0.34, 1.05]])
SAMPLES = 8192
PEAK = 0.5
NOISE = 3e-5  #: rms of the microphone's noise, full scale 1
WRONG_WAY = "right"  #: at the second round its polarity was entered the wrong way round
LATE_S = 0.0009


def loudspeakers() -> tuple[Loudspeaker, ...]:
    """Two wide-band units in the dash and a small subwoofer; the left and right of a pair differ a little, as real ones do."""
    wide = [high_pass(85.0, 0.8), low_pass(17000.0)]
    rows = (
        ("left", "coaxial", "left", (0.50, -0.62, 0.86), (0.92, 0.35, 0.16), 1.0,
         [*wide, bell(900.0, 3.0, 2.0), bell(4200.0, -3.0, 3.0)], 0.04),
        ("right", "coaxial", "right", (0.51, 0.62, 0.86), (0.56, -0.82, 0.10), 0.94,
         [*wide, bell(950.0, 2.5, 2.0), bell(3900.0, -2.5, 3.0)], 0.04),
        ("bass", "subwoofer", "centre", (1.80, 0.30, 0.32), (-1.0, 0.0, 0.0), 0.7,
         [high_pass(42.0, 0.75), low_pass(500.0)], 0.09),
    )  # fmt: skip
    return tuple(
        Loudspeaker(name, role, side, np.array(at), np.array(aim) / np.linalg.norm(aim), np.vstack(sections), gain,
                    LATE_S, 343.0 / (2.0 * np.pi * radius))
        for name, role, side, at, aim, gain, sections, radius in rows
    )  # fmt: skip


def write(path: Path, response: np.ndarray, rng: np.random.Generator) -> None:
    path.parent.mkdir(exist_ok=True)
    heard = response[:SAMPLES] + rng.normal(scale=NOISE, size=SAMPLES)
    soundfile.write(path, np.clip(heard, -1.0, 1.0 - 2.0**-15), RATE, subtype="PCM_16")


def main(settings_file: str | None = None) -> None:
    units = loudspeakers()
    heard = np.array([heard_at(item, PLACES_M, CORNER_M, SIZE_M, SEED) for item in units])
    heard *= PEAK / np.abs(heard).max()
    rng = np.random.default_rng(SEED)
    if settings_file is None:
        rows = []
        for unit, places in zip(units, heard, strict=True):
            for number, response in enumerate(places, start=1):
                file = f"recordings/{unit.name}_p{number}.flac"
                write(HERE / file, response, rng)
                table = f'[[recordings]]\nchannel = "{unit.name}"\nposition = "p{number}"\nkind = "impulse"\nfile = "{file}"\n'
                rows.append(table)
        (HERE / "recordings" / "recordings.toml").write_text("\n".join(rows), encoding="utf-8", newline="\n")
        return
    settings = json.loads(Path(settings_file).read_text(encoding="utf-8"))
    wrong = json.loads(json.dumps(settings))
    row = next(row for row in wrong["channels"] if row["name"] == WRONG_WAY)
    row["polarity"] = "normal" if row["polarity"] == "inverted" else "inverted"
    after = played(heard, tuple(unit.name for unit in units), wrong)
    after *= 0.5 / np.abs(after).max()
    for side in ("left", "right"):
        chosen = [n for n, unit in enumerate(units) if unit.side in (side, "centre")]
        write(HERE / "verification" / f"{side}-side_p1.flac", after[chosen, 0].sum(axis=0), rng)
    shutil.copyfile(settings_file, HERE / "verification" / "loaded_settings.json")


if __name__ == "__main__":
    main(*sys.argv[1:2])
