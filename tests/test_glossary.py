"""The glossary holds each term once, in order, and the words that the document uses."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

from cabinwright.build.document import Build, Role
from cabinwright.build.shape import keys_of

GLOSSARY = Path(__file__).parents[1] / "docs" / "glossary.md"


def rows() -> list[list[str]]:
    lines = GLOSSARY.read_text(encoding="utf-8").splitlines()
    table = [line for line in lines if line.startswith("| ")][2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table]


def test_each_term_stands_once_and_in_order() -> None:
    terms = [row[0] for row in rows()]
    assert len(terms) == len(set(terms)) > 30
    assert terms == sorted(terms, key=str.casefold)
    assert all(len(row) == 4 and row[3].endswith(".") for row in rows())


def test_every_unit_of_the_build_reference_has_a_term() -> None:
    reference = GLOSSARY.with_name("build_reference.md").read_text(encoding="utf-8")
    asked = {unit.strip() for unit in re.findall(r"\bnumbers? in ([^;,|]+)", reference)}
    assert {"Ah", "dB", "m³", "Ω"} <= asked
    told = {unit.strip() for row in rows() for unit in re.split(r",| or ", row[2])}
    assert asked - told == set()


def test_the_words_of_the_document_are_explained() -> None:
    text = {row[0]: row[3] for row in rows()}
    assert all(role in text["role"] for role in get_args(Role))
    tables = {
        key.removesuffix("s") for key, field in keys_of(Build).items() if "table each" in (field.description or "")
    }
    assert {"seat", "speaker", "channel", "recording"} <= tables & set(text)
