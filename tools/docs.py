"""Builds docs/ into docs-build/ with Sphinx; a warning is an error, and so is a link that leads nowhere.

    python tools/docs.py [FOLDER]

Nothing is fetched from the internet.
"""

from __future__ import annotations

import html.parser
import os
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote, urlsplit

ROOT = Path(__file__).resolve().parents[1]
LOADING = {
    ("link", "href"),
    ("script", "src"),
    ("img", "src"),
    ("iframe", "src"),
    ("object", "data"),
    ("source", "src"),
}


class Page(html.parser.HTMLParser):
    """What one page offers as anchors, where it leads, and what a browser would load for it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.anchors: set[str] = set()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for key, value in attrs:
            if key == "id" and value:
                self.anchors.add(value)
            elif (tag, key) in LOADING and value:
                self.loads.append(value)
            elif (tag, key) == ("a", "href") and value:
                self.links.append(value)


def faults(folder: Path) -> list[str]:
    """Links, anchors and files of the built pages that lead nowhere, and whatever would be fetched from elsewhere."""
    pages = {path.resolve(): Page(path.read_text(encoding="utf-8")) for path in sorted(folder.rglob("*.html"))}
    found = []
    for path, page in pages.items():
        name = path.relative_to(folder.resolve()).as_posix()
        found += [f"{name} would fetch {target}" for target in page.loads if urlsplit(target).netloc]
        for target in page.links + page.loads:
            parts = urlsplit(target)
            if parts.scheme or parts.netloc:
                continue
            aim = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            if not aim.is_file():
                found.append(f"{name} leads to {target}, which is not there")
            elif parts.fragment and aim in pages and unquote(parts.fragment) not in pages[aim].anchors:
                found.append(f"{name} leads to {target}, but there is no such place on that page")
    return found


def build(folder: Path) -> int:
    """0 where the pages are whole."""
    command = [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "-n", "-E", "-b", "html"]
    doctrees = folder.parent / f"{folder.name}-doctrees"
    done = subprocess.run([*command, "-d", str(doctrees), str(ROOT / "docs"), str(folder)], check=False)
    if done.returncode:
        return done.returncode
    wrong = faults(folder)
    print("\n".join(wrong) or f"open {folder / 'index.html'}")
    return 1 if wrong else 0


def main() -> int:
    """Like tools/check.py this works with any Python: it goes on in the environment that has Sphinx."""
    from environment import ensure

    python = ensure("dev")
    if Path(sys.executable).absolute() != python.absolute():
        words = [str(python), __file__, *sys.argv[1:]]
        return subprocess.run(words, env={**os.environ}, check=False).returncode
    return build(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "docs-build" / "html")


if __name__ == "__main__":
    sys.exit(main())
