"""Service steps: what the table accepts, and how a circle or a wrong name is told."""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError

HEAD = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "car"\ndriving_side = "left"\n'


def step(name: str, *after: str, more: str = "") -> str:
    listed = ", ".join(f'"{word}"' for word in after)
    return f'[[service_steps]]\nname = "{name}"\nafter = [{listed}]\n{more}'


def problems(text: str) -> str:
    with pytest.raises(BuildError) as refused:
        parse(HEAD + text)
    return str(refused.value)


def test_what_is_left_out() -> None:
    (only,) = parse(HEAD + step("cover", more="minutes = 2\n")).service_steps
    assert (only.kind, only.after, only.of, only.tools, only.back) == ("part", (), (), (), 2.0)
    (only,) = parse(HEAD + step("cover", more="minutes = 2\nminutes_back = 3.5\n")).service_steps
    assert only.back == 3.5


def test_a_circle_is_refused_with_its_way() -> None:
    text = step("lid", "seat") + step("seat", "belt") + step("belt", "lid") + step("mat")
    said = problems(text)
    assert "in a circle" in said
    for name in ("lid", "seat", "belt"):
        assert f'"{name}"' in said
    assert '"mat"' not in said
    assert said.startswith("build.toml:14: ")
    parse(HEAD + text.replace('name = "belt"\nafter = ["lid"]', 'name = "belt"\nafter = []'))


def test_a_step_that_waits_for_itself() -> None:
    assert "in a circle" in problems(step("lid", "lid"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (step("cargo floor") + step("box", "cargo flor"), 'Did you mean "cargo floor"?'),
        (step("lid") + step("lid"), "two service steps have the same name"),
        (step("lid", more='of = ["main fuse"]\n'), "nothing in the build has this name"),
        (step("lid", more='kind = "airbag"\n'), "kind"),
        (step("lid", more="minutes = -1\n"), "minutes"),
    ],
)
def test_slips_are_named(text: str, words: str) -> None:
    assert words in problems(text)


def test_of_names_what_other_tables_hold() -> None:
    fuse = '[supply]\nnominal_v = 14.4\n[[fuses]]\nname = "main"\nfrom = "battery"\nto = "bus"\n'
    build = parse(HEAD + fuse + step("holder", more='kind = "fuse"\nof = ["main", "processor"]\n'))
    assert build.service_steps[0].of == ("main", "processor")
