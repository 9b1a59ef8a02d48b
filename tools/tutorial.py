"""Goes through docs/tutorial.md as a reader would: makes the build block by block and runs each command.

python tools/tutorial.py             compare what the commands print with what the page shows
python tools/tutorial.py --write     put today's output and pictures into the page instead
"""

from __future__ import annotations

import io
import os
import re
import shlex
import shutil
import sys
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from itertools import zip_longest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "tutorial.md"
KEPT = ROOT / "docs" / "tutorial"
FOLDER = "pickup"
BLOCK = re.compile(r"^```(toml|console)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
PICTURES = {
    "layout": "The cabin from above",
    "enclosure": "seat box: plan",
    "report": "Level of the left side against frequency",
}
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?= ?(\S*))")
UNDER = re.compile(r"^# under (.+)\n", re.MULTILINE)  #: what follows goes into a table that is there already
CHANGE = "# instead of: "  #: the next line takes the place of this one in the build
MORE, KEEP = "...", 3  #: stands for further files; how many are shown before it
MARK = re.compile(r"settings [0-9a-f]{8}")  #: the fingerprint changes with the last digit of any setting
STEPS, SHARE = (
    2.0,
    0.02,
)  #: units of its last shown digit, or part of itself, that a figure may differ on another machine
MEASURED = ("microsecond", "%", "W", "mm")  #: whole figures before these words are results; all others are counts


def blocks(text: str) -> list[tuple[str, str]]:
    """(kind, text) of what a reader adds to the build and what a reader types, in order."""
    return BLOCK.findall(text)


def run(text: str, folder: Path) -> list[str]:
    """Follow the page inside ``folder``; returns each console block as it should look. Raises where a command fails."""
    build = folder / FOLDER
    build.mkdir()
    seen = []
    for kind, words in blocks(text):
        if kind == "toml":
            _add(build, words)
        else:
            command = words.splitlines()[0].removeprefix("$ ")
            seen.append(_shortened(f"$ {command}\n{_printed(command, folder)}"))
    return seen


def _shortened(printed: str) -> str:
    """A long list of files that were written is cut after the first few."""
    lines = printed.splitlines()
    files = [n for n, line in enumerate(lines) if line.startswith("wrote ") and "[[" not in line]
    if len(files) > KEEP + 2:
        lines[files[KEEP] : files[-1] + 1] = [MORE]
    return "\n".join(lines) + "\n"


def _printed(command: str, folder: Path) -> str:
    """What a command prints. In this process, because starting Python anew for each would take longer than the work."""
    from cabinwright.cli.main import main as cabinwright

    before, printed = Path.cwd(), io.StringIO()
    os.chdir(folder)
    try:
        with redirect_stdout(printed), redirect_stderr(io.StringIO()) as told:
            code = cabinwright(shlex.split(command)[1:])
    finally:
        os.chdir(before)
    if code:
        raise RuntimeError(f"{command}: exit code {code}\n{printed.getvalue()}\n{told.getvalue()}")
    return printed.getvalue().replace("\\", "/")


def _add(build: Path, words: str) -> None:
    """What the page says to add, and the files that it says to copy before."""
    file = build / "build.toml"
    text = file.read_text(encoding="utf-8") if file.exists() else ""
    if UNDER.match(words):
        parts = UNDER.split(words)[1:]
        for place, keys in zip(parts[::2], parts[1::2], strict=True):
            text = _under(text, place, keys.splitlines())
    elif words.startswith(CHANGE):
        old, new = words.removeprefix(CHANGE).rstrip().split("\n")
        assert text.count(old) == 1, f"not once in the build: {old}"
        text = text.replace(old, new)
    elif "[[microphone_positions]]" in words:
        shutil.copytree(KEPT / "recordings", build / "recordings")
        text += f"\n{words}\n" + (build / "recordings" / "recordings.toml").read_text(encoding="utf-8")
    elif "[[verification_recordings]]" in words:
        shutil.copytree(KEPT / "verification", build / "verification")
        text += f"\n{words}"
    else:
        text += f"\n{words}"
    file.write_text(text, encoding="utf-8", newline="\n")


def _under(text: str, place: str, rows: list[str]) -> str:
    """Keys put into a table that is there already, such as ``[[fuses]] name = "main"``; a key that it has is replaced."""
    heading, _, name = place.partition(" name")
    tables = re.split(r"^(?=\[)", text, flags=re.MULTILINE)
    (found,) = (
        n for n, table in enumerate(tables) if table.startswith(heading) and (not name or f"\nname{name}\n" in table)
    )
    lines = tables[found].rstrip().splitlines()
    for row in rows:
        key = row.partition(" = ")[0]
        lines = [line for line in lines if not line.startswith(f"{key} = ")] + [row]
    tables[found] = "\n".join(lines) + "\n\n"
    return "".join(tables)


def differences(shown: str, seen: str) -> list[str]:
    """Lines in which one console block says something else than the other; figures may differ by a little."""
    found = []
    for told, got in zip_longest(shown.splitlines(), seen.splitlines(), fillvalue=""):
        told, got = (MARK.sub("settings", line.rstrip()) for line in (told, got))
        pairs = zip_longest(NUMBER.finditer(told), NUMBER.finditer(got))
        if NUMBER.sub("#", told) != NUMBER.sub("#", got) or not all(_near(first, second) for first, second in pairs):
            found.append(f"shown: {told}\nseen:  {got}")
    return found


def _near(told: re.Match[str], got: re.Match[str]) -> bool:
    """Whether two figures are the same count, or the same result within what another machine may round differently."""
    if "." not in told[0] and not told[1].startswith(MEASURED):
        return told[0] == got[0]
    digit = 10.0 ** -len(told[0].partition(".")[2])
    return abs(float(told[0]) - float(got[0])) <= max(STEPS * digit, SHARE * abs(float(told[0])))


def written(text: str, seen: list[str]) -> str:
    """The page with these console blocks in place of its own."""
    blocks_left = iter(seen)
    return BLOCK.sub(lambda found: f"```console\n{next(blocks_left)}```" if found[1] == "console" else found[0], text)


def _cropped(drawing: str) -> str:
    """A sheet without the empty paper round its lines."""
    at = [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", drawing)]
    (left, right), (top, bottom) = ((min(values) - 6.0, max(values) + 6.0) for values in zip(*at, strict=True))
    box = f'viewBox="{left:g} {top:g} {right - left:.2f} {bottom - top:.2f}"'
    return re.sub(r'width="\S+" height="\S+" viewBox="[^"]*"', box, drawing, count=1)


def write_pictures(out: Path) -> None:
    """The page's pictures, as the run drew them: files of their own, or the drawing of a page that begins with these words."""
    shutil.copyfile(out / "wiring.svg", KEPT / "wiring.svg")
    chain = _cropped((out / "signal.svg").read_text(encoding="utf-8"))
    (KEPT / "signal.svg").write_text(chain, encoding="utf-8", newline="\n")
    for page, words in PICTURES.items():
        text = (out / f"{page}.html").read_text(encoding="utf-8")
        (drawing,) = re.findall(rf'<svg(?=[^>]*aria-label="{re.escape(words)}).*?</svg>', text, re.DOTALL)
        (KEPT / f"{page}.svg").write_text(drawing + "\n", encoding="utf-8", newline="\n")


def main() -> int:
    """0 where the page tells the truth, or was made to."""
    text = PAGE.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as scratch:
        seen = run(text, Path(scratch))
        if "--write" in sys.argv[1:]:
            PAGE.write_text(written(text, seen), encoding="utf-8", newline="\n")
            write_pictures(Path(scratch) / FOLDER / "out")
            return 0
    shown = [words for kind, words in blocks(text) if kind == "console"]
    found = [line for pair in zip(shown, seen, strict=True) for line in differences(*pair)]
    print("\n".join(found) or "The tutorial shows what its commands print.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
