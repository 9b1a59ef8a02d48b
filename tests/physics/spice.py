"""ngspice as a second opinion: a deck in, the figures it prints out."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

__all__ = ["spice"]


def spice(elements: Sequence[str], control: Sequence[str], folder: Path) -> dict[str, float]:
    """Run ``elements`` under ``control``; every ``name = number`` that it prints. Skips where ngspice is absent."""
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ngspice is required where CI=true")
        pytest.skip("ngspice is not installed")
    lines = ["a network", *elements, ".control", "set numdgt=12", *control, "quit", ".endc", ".end"]
    file = folder / "deck.cir"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    run = subprocess.run(
        [program, "-b", file.name], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    found = re.findall(r"^(\S+)\s*=\s*(-?\d\S*)", run.stdout, re.MULTILINE)
    assert found, run.stdout + run.stderr
    return {name: float(number) for name, number in found}
