"""The demo: a fresh copy of the invented build, tuned, verified, compared and planned by real commands, told in five lines."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

from environment import ROOT, ensure  # tools/environment.py: this folder comes first on the path

FOLDER = "demo-build"
#: The second round was recorded with these settings loaded, whatever a later version's tune gives.
LOADED = f"{FOLDER}/verification/loaded_settings.json"
COMMANDS = (("tune", FOLDER), ("verify", FOLDER, "--settings", LOADED), ("layout", FOLDER), ("plan", FOLDER))


def main() -> int:
    """Returns the exit code of the first command that failed, or 0."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # a Windows console may not know every sign
    python = ensure("runtime")
    shutil.rmtree(ROOT / FOLDER, ignore_errors=True)
    shutil.copytree(ROOT / "demo" / "build", ROOT / FOLDER)
    told: list[str] = []
    for command in COMMANDS:
        print(f"\n$ cabinwright {' '.join(command)}", flush=True)
        done = subprocess.run(
            [str(python), "-m", "cabinwright", *command],
            cwd=ROOT, stdout=subprocess.PIPE, encoding="utf-8", env={**os.environ, "PYTHONUTF8": "1"}, check=False,
        )  # fmt: skip
        print(done.stdout, flush=True)
        if done.returncode:
            return done.returncode
        told.append(done.stdout)
    print("\n".join(five_lines(told[0], ROOT / FOLDER / "out")))
    print(f"Everything live on one screen: {python.relative_to(ROOT).parent / 'cabinwright'} open {FOLDER}")
    return 0


def five_lines(tuned: str, out: Path) -> list[str]:
    """What the demo found and which file to open, from what ``tune`` printed and ``verify`` wrote."""
    said = {line[2:14].strip(): line[15:].strip() for line in tuned.splitlines() if line.startswith("  ")}
    sides = [
        f"{side} {said[side].split(' dB')[0]} dB off the house curve by tape, {said[side].split(', ')[1]}"
        for side in ("left side", "right side")
    ]
    verdict = json.loads((out / "verification.json").read_text(encoding="utf-8"))
    where = Path(FOLDER) / "out"
    return [
        f"Recordings: {said['recordings']} (clipped; the tune says what to record again).",
        f"Tune: {'; '.join(sides)}.",
        f"Image: {said['image']}.",
        f"Second round, with one polarity keyed in wrongly on purpose: {verdict['summary']}",
        f"Open {where / 'report.html'} in a browser; beside it lie settings.html to key in, verification.html, and "
        "layout.html, which compares places for loudspeakers.",
    ]


if __name__ == "__main__":
    sys.exit(main())
