"""The reference page and the schema: fresh, complete, and of one mind with the reader."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from build.samples import MINIMAL, PROMISED, square
from build.test_document import fields
from cabinwright.build.codec import parse
from cabinwright.build.reference import main, reference_markdown, schema_json
from cabinwright.build.shape import nested_model
from cabinwright.build.starter import starter_text
from cabinwright.errors import BuildError

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize(
    ("name", "text"), [("build_reference.md", reference_markdown()), ("build.schema.json", schema_json())]
)
def test_neither_page_is_stale(name: str, text: str) -> None:
    written = (DOCS / name).read_text(encoding="utf-8")
    assert written == text, "run: python -m cabinwright.build.reference"


def test_the_command_writes_both(tmp_path: Path) -> None:
    assert main([str(tmp_path)]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["build.schema.json", "build_reference.md"]
    assert b"\r" not in (tmp_path / "build_reference.md").read_bytes()


def test_the_page_names_every_key_with_its_meaning() -> None:
    page = reference_markdown()
    for place, field in fields():
        key = place.split(".")[1]
        if nested_model(field.annotation):
            assert re.search(rf"## `\[\[?(\w+\.)*{key}\]", page), place
        else:
            name = field.alias or key
            assert f"| `{name}` |" in page and " ".join((field.description or "").split()) in page, place
    assert "| `file` | path of a file | **required** |" in page
    for key in ("baffle", "wall"):  # words or a number
        assert f'| `{key}` | `"top"`, `"bottom"` or a whole number; from 1 up to 400 |' in page


def validator() -> Draft202012Validator:
    schema: dict[str, Any] = json.loads(schema_json())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


@pytest.mark.parametrize("text", [PROMISED, MINIMAL, square(3), starter_text()])
def test_the_schema_takes_what_the_reader_takes(text: str) -> None:
    parse(text)
    assert list(validator().iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("title =", "titel ="),
        ('role = "tweeter"', 'role = "tweter"'),
        ("head_m = [1.28, 0.36, 0.98]", "head_m = [1.28, 0.36]"),
        ("head_m = [1.28, 0.36, 0.98]", "head_m = [1.28, 0.36, 98]"),
        ("peaking_filters = 10", "peaking_filters = -1"),
        ("delay_max_s = 0.02", 'delay_max_s = "long"'),
        ("schema = 1", "schema = 2"),
        ('speakers = ["left tweeter"]', "speakers = []"),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(old: str, new: str) -> None:
    text = PROMISED.replace(old, new, 1)
    assert text != PROMISED
    with pytest.raises(BuildError, match=r"build\.toml"):
        parse(text)
    assert list(validator().iter_errors(tomllib.loads(text))) != []
