"""Everything that must hold before a change lands: lint, layout, types, import rules, tests with the documented commands.

``python tools/check.py`` runs all of it; words after it are handed to pytest instead of the whole suite, for example
``python tools/check.py tests/physics``.
"""

from __future__ import annotations

import os
import subprocess
import sys

from environment import ROOT, ensure  # tools/environment.py: this folder comes first on the path

LINT_IMPORTS = "import sys; from importlinter.cli import lint_imports_command; sys.exit(lint_imports_command())"
STEPS = {
    "lint": ("-m", "ruff", "check", "."),
    "layout": ("-m", "ruff", "format", "--check", "."),
    "types": ("-m", "mypy"),
    "import rules": ("-c", LINT_IMPORTS),
}


def main(wanted: list[str]) -> int:
    """Runs every step even if one fails; returns 0 where all held. The tests come last."""
    python = str(ensure("dev"))
    # One thread a process: the tests themselves run side by side.
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONUTF8": "1"}
    side_by_side = str((os.cpu_count() or 1) + 1)  # many wait for a browser, a process or a database
    tests = ("-m", "pytest", "-n", side_by_side, "--dist", "worksteal", "--durations=25", *wanted)
    failed = []
    for name, command in {**STEPS, "tests": tests}.items():
        print(f"\n== {name}", flush=True)
        if subprocess.run(
            [python, *command], cwd=ROOT, env=environment, stdin=subprocess.DEVNULL, check=False
        ).returncode:
            failed.append(name)
    if failed:
        print(f"\nFailed: {', '.join(failed)}.", file=sys.stderr, flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
