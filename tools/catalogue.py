"""Every text of the screen, of findings and of fields' help, for translators, into ``translations/cabinwright.pot`` (not in git).

    .venv/bin/python tools/catalogue.py

A translation made from it is compiled with ``pybabel compile`` to ``LANGUAGE/LC_MESSAGES/cabinwright.mo`` in
``src/cabinwright/web/locale``.
English is complete in the source and needs none. Needs the development environment (Babel).
"""

from __future__ import annotations

import io
import sys
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import write_po

from cabinwright.build.reference import helps
from cabinwright.findings import catalogue as findings

ROOT = Path(__file__).resolve().parents[1]
WEB = ROOT / "src" / "cabinwright" / "web"
OUT = ROOT / "translations" / "cabinwright.pot"
KEYWORDS = {"_": None, "counted": (2, 3)}  #: ``counted(number, one, several)``
HEADER = "# Texts of Cabinwright's screen. Made by tools/catalogue.py; do not edit.\n#"
NEVER = datetime(2000, 1, 1, tzinfo=UTC)  #: the same file for the same texts, whenever it is made


def catalogue() -> bytes:
    """The template, byte for byte the same for the same texts."""
    made = Catalog(project="cabinwright", header_comment=HEADER, creation_date=NEVER, revision_date=NEVER)
    methods = [("**.py", "python")]
    for file, _line, message, comments, context in extract_from_dir(WEB, method_map=methods, keywords=KEYWORDS):
        made.add(message, locations=[(Path(file).as_posix(), 0)], auto_comments=comments, context=context)
    for code, rule in findings().items():
        for part in ("message", "remedy"):
            made.add(rule[part], locations=[(code, 0)], flags=("python-brace-format",))
    for key, words in helps():
        made.add(words, locations=[(f"build.toml: {key}", 0)])
    out = io.BytesIO()
    write_po(out, made, width=120, sort_output=True, include_lineno=False)
    return out.getvalue()


def main() -> int:
    """Write it."""
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_bytes(catalogue())
    print(f"{OUT.relative_to(ROOT)}: written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
