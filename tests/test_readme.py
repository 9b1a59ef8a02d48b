"""Every command that the README shows, run in order as a stranger would, with the exit code that it promises."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
FILES = (ROOT / "docs" / "files.md").read_text(encoding="utf-8")
DEMO = ROOT / "demo" / "build"
BLOCK = re.compile(r"^[ ]*```(\w+)\n(.*?)^[ ]*```$", re.MULTILINE | re.DOTALL)
sys.path.insert(0, str(ROOT / "tools"))


def commands() -> list[tuple[str, int]]:
    """Lines of the console blocks with their exit codes."""
    found = []
    for kind, text in BLOCK.findall(README):
        for line in text.splitlines() if kind == "console" else ():
            told = re.fullmatch(r"\s*\$ (cabinwright .*?)(?:\s+# exit code (\d+))?", line)
            assert told, f"not a command: {line!r}"
            found.append((told[1], int(told[2] or 0)))
    return found


def by_hand(folder: Path) -> None:
    """Between the commands a person measures, records and lists: the demo stands in for that."""
    shutil.copyfile(DEMO / "build.toml", folder / "build.toml")
    for part in ("recordings", "verification"):
        shutil.copytree(DEMO / part, folder / part, dirs_exist_ok=True)


def load_by_hand(folder: Path) -> None:
    """The demo's second round was recorded with these settings loaded, but for one mistake."""
    shutil.copyfile(DEMO / "verification" / "loaded_settings.json", folder / "loaded.json")


def test_commands_do_what_the_readme_says(tmp_path: Path) -> None:
    told = {}
    for command, code in commands():
        if command == "cabinwright tune my-car":
            by_hand(tmp_path / "my-car")
        elif command.startswith("cabinwright verify my-car"):
            load_by_hand(tmp_path / "my-car")
        words = [sys.executable, "-m", *shlex.split(command)]
        done = subprocess.run(words, cwd=tmp_path, capture_output=True, encoding="utf-8", check=False)
        assert done.returncode == code, f"{command}\n{done.stdout}\n{done.stderr}"
        assert "Traceback" not in done.stderr
        told[command] = done.stdout
    assert {"new", "sweep", "tune", "verify", "plan"} <= {command.split()[1] for command in told}
    listed = {name for row in re.findall(r"^\| ((?:`[\w./]+` ?)+)\|", FILES, re.MULTILINE) for name in row.split()}
    for name in (name.strip("`") for name in listed if "." in name):
        assert (tmp_path / "my-car" / name).is_file(), name
    _five_lines(told["cabinwright tune my-car"], tmp_path / "my-car" / "out")


def _five_lines(tuned: str, out: Path) -> None:
    """The demo ends with exactly five lines: what was found, and which file to open."""
    from demo import five_lines  # tools/demo.py

    lines = five_lines(tuned, out)
    assert len(lines) == 5
    assert not any("\n" in line for line in lines)
    assert "1 left out" in lines[0]
    assert re.search(r"left side \d+\.\d dB .* by tape, \d+\.\d dB now; right side", lines[1])
    assert "left midbass" in lines[3]
    assert "report.html" in lines[4]


@pytest.mark.parametrize("page", ["README.md", "CONTRIBUTING.md", "CHANGELOG.md", "demo/README.md", *(
    str(path.relative_to(ROOT).as_posix()) for path in sorted((ROOT / "docs").glob("*.md"))
)])  # fmt: skip
def test_links_lead_somewhere(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", text):
        if not target.startswith("http"):
            assert ((ROOT / page).parent / target).exists(), f"{page} links to {target}"


def test_make_and_plain_python_do_the_same() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    made = dict(re.findall(r"^(\w+):.*\n\t\$\(PYTHON\) (.+)$", makefile, re.MULTILINE))
    assert {"demo", "test", "lock", "clean"} <= set(made)
    shown = re.findall(r"^py (tools/\w+\.py)$", README, re.MULTILINE)
    assert shown == [made["demo"], made["test"]]
    for line in made.values():
        assert (ROOT / line.split()[0]).is_file()
    for page in ("README.md", "CONTRIBUTING.md", "demo/README.md"):
        for target in re.findall(r"`?make (\w+)`?$", (ROOT / page).read_text(encoding="utf-8"), re.MULTILINE):
            assert target in made
