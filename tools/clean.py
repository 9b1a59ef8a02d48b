"""Removes what can be made again: the environment, the demo's copy, built pages, caches and built packages. Nothing else."""

from __future__ import annotations

import shutil
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
MADE = (
    ".venv", "demo-build", "docs-build", "dist",
    ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis", ".import_linter_cache",
)  # fmt: skip

if __name__ == "__main__":
    for name in MADE:
        shutil.rmtree(ROOT / name, ignore_errors=True)
    for part in ("src", "tests", "demo", "benchmarks", "tools"):
        for cache in list((ROOT / part).rglob("__pycache__")):
            shutil.rmtree(cache, ignore_errors=True)
