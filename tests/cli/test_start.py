"""The command starts light: what takes long to load waits until it is needed."""

from __future__ import annotations

import subprocess
import sys

import pytest

from cabinwright import __version__

HEAVY = ("numpy", "scipy", "pydantic", "matplotlib", "soundfile", "soxr", "jinja2")


def loaded(words: str) -> tuple[str, set[str]]:
    """What the command printed, and the modules that were loaded by then."""
    script = (
        "import sys\nfrom cabinwright.cli.main import main\n"
        f"try: main({words.split()!r})\nexcept SystemExit as end: assert not end.code\n"
        "print('\\nLOADED', *sorted(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, encoding="utf-8", check=True)
    out, _, names = done.stdout.partition("\nLOADED ")
    return out, set(names.split())


@pytest.mark.parametrize("words", ["--help", "--version", "tune --help"])
def test_help_loads_nothing_heavy(words: str) -> None:
    out, names = loaded(words)
    assert "cabinwright" in out
    assert not names & set(HEAVY)


def test_a_command_does_load_them() -> None:
    """Else the test above would pass on a package that went by another name."""
    script = "import sys, cabinwright.session; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, encoding="utf-8", check=True)
    assert set(HEAVY) - {"matplotlib", "jinja2"} <= set(done.stdout.split())


def test_version() -> None:
    assert loaded("--version")[0].strip() == f"cabinwright {__version__}"
