"""Texts of the screen are ready to be translated: each goes through gettext, and the translators' template holds it."""

from __future__ import annotations

import ast
import gettext
import io
import re
import subprocess
import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from cabinwright.findings import catalogue
from cabinwright.shop.money import read_amount
from cabinwright.web.serve import PAGES
from cabinwright.web.shop.said import typed

ROOT = Path(__file__).parents[2]
REFERENCE = (ROOT / "docs" / "build_reference.md").read_text(encoding="utf-8")
WEB = ROOT / "src" / "cabinwright" / "web"
WORDS_AT = {"text": 1, "button": 0, "link": 0, "choice": 0, "say": 0, "warn": 0}
WORD = re.compile(r"[a-z]{3}|[A-Z][a-z]")  # not SVG, PNG, dB, mm


@pytest.fixture(scope="module")
def template() -> bytes:
    """What ``tools/catalogue.py`` writes for translators."""
    told = subprocess.run(
        [sys.executable, "-c", "import sys, catalogue; sys.stdout.buffer.write(catalogue.catalogue())"],
        cwd=ROOT / "tools", capture_output=True, check=True,
    )  # fmt: skip
    return told.stdout


def test_every_page_is_in_the_template(template: bytes) -> None:
    ids = {message.id for message in read_po(io.BytesIO(template))}
    for page in PAGES:
        assert {page.name, page.question} <= ids
    assert ("take missing.", "takes missing.") in ids
    assert {rule[part] for rule in catalogue().values() for part in ("message", "remedy")} <= ids
    helped = {line.rsplit(" | ", 1)[1].removesuffix(" |") for line in REFERENCE.splitlines() if line.startswith("| `")}
    assert helped - {"meaning"} <= ids


def bare(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Words that a call shows to a person without gettext: literals, and the literal parts of f-strings."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        at = WORDS_AT.get(name)
        if at is None or len(node.args) <= at:
            continue
        given = node.args[at]
        parts = given.values if isinstance(given, ast.JoinedStr) else [given]
        for part in parts:
            if isinstance(part, ast.Constant) and isinstance(part.value, str) and WORD.search(part.value):
                yield node.lineno, part.value


@pytest.mark.parametrize(
    "file", [*sorted((WEB / "pages").glob("*.py")), WEB / "frame.py", WEB / "jobs.py"], ids=lambda p: p.stem
)
def test_no_words_are_shown_past_gettext(file: Path) -> None:
    assert not list(bare(ast.parse(file.read_text(encoding="utf-8"))))


def test_the_search_for_bare_words_finds_them() -> None:
    tree = ast.parse(
        'text("p", "Hello there")\nbutton(f"{x} more words", act)\ntext("p", _("fine"))\nbutton("SVG", act)'
    )
    assert [line for line, _words in bare(tree)] == [1, 2]


def test_a_translation_is_used(tmp_path: Path, template: bytes) -> None:
    """The template filled with made-up words, compiled by Babel and read by the standard library's gettext."""
    made = read_po(io.BytesIO(template), locale="de")
    for message in made:
        if message.id:
            message.string = ("ein Ding", "Dinge") if message.pluralizable else f"<{message.id}>"
    place = tmp_path / "de" / "LC_MESSAGES"
    place.mkdir(parents=True)
    with (place / "cabinwright.mo").open("wb") as file:
        write_mo(file, made)
    found = gettext.translation("cabinwright", tmp_path, languages=["de"])
    assert found.gettext("Undo") == "<Undo>"
    assert found.ngettext("take missing.", "takes missing.", 1) == "ein Ding"
    code = (
        "import gettext, sys; old = gettext.translation\n"
        f"gettext.translation = lambda name, *_a, **_k: old(name, {str(tmp_path)!r}, languages=['de'])\n"
        "from cabinwright.web.words import _, counted\nfrom cabinwright.web.pages import overview\n"
        "print(_('Undo'), counted(2, 'take missing.', 'takes missing.'), overview.PAGE.question)\n"
        "from cabinwright.findings import finding\nfrom cabinwright.web.words import message\n"
        "print(message(finding('power.wire_short', where='feed', value=2, limit=3, unit='m')))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    assert told.stdout.split("\n")[0] == "<Undo> 2 Dinge <What stops me today?>"
    assert (
        told.stdout.split("\n")[1]
        == "<wire “feed”: 2 m long, and the points that it passes are 3 m apart, one after another>"
    )


@pytest.mark.parametrize("number", ["1.125", "0", "12.5", "1234", "4.1255", "1000", "0.125", "-3.125"])
def test_what_a_form_of_the_shop_shows_can_be_sent_again(number: str) -> None:
    assert read_amount(typed(Decimal(number))) == Decimal(number)
