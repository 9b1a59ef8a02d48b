"""Adding speakers to a person's text: every line of it stays. Python's own tomllib judges what was written."""

from __future__ import annotations

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from build.samples import MINIMAL, PROMISED, square
from cabinwright.build import accept
from cabinwright.build.accept import rewritten, speaker_table, with_speakers
from cabinwright.build.codec import parse
from cabinwright.build.starter import starter_text
from cabinwright.errors import RefusedError

ROW = {
    "name": "left pillar",
    "role": "coaxial",
    "side": "left",
    "position_m": [0.4, "14 in", 1],
    "aim": [0.1, 0.2, 0.3],
}
TABLE = (
    "[[speakers]] # accepted from the place of this name\n"
    'name = "left pillar"\nrole = "coaxial"\nside = "left"\nposition_m = [0.4, "14 in", 1]\naim = [0.1, 0.2, 0.3]\n'
)
ARRAY = '# mine\nspeakers = [ # all of them\n  {name = "a"}, # first\n  {name = "b"}\n] # done\n[tuning]\n'
SCATTERED = '[[speakers]]\nname = "a"\n\n# between\n[vehicle]\nname = "v"\n\n[[speakers]]\nname = "b"\n\n[processor]\n'
SHAPES = [
    PROMISED,
    MINIMAL,
    MINIMAL.rstrip("\n"),
    square(3),
    starter_text(),
    ARRAY,
    SCATTERED,
    'speakers = [{name = "a"}]',
    "speakers = []\n",
    '[[speakers]]\nname = "a" # why\n# still of a\n\n\n# of nobody',
    '[[speakers]]\n"name" = """\na"""\n[[ channels ]]\n',
    '[[ speakers ]]\nname = "a"\nposition_m = [\n  1, # x\n  2,\n  3,\n]\n\n[channels]\n',
]


def test_the_table_to_paste() -> None:
    assert speaker_table(ROW) == TABLE


def test_it_stands_after_the_last_speaker_and_before_the_next_heading() -> None:
    before = starter_text()
    after = with_speakers(before, [ROW], file="build.toml")
    at = before.index("\n# CHANNELS")
    assert after == before[:at] + "\n" + TABLE + before[at:]
    assert [item.name for item in parse(after).speakers][-1] == "left pillar"


def test_a_compact_file_stays_compact() -> None:
    after = with_speakers(PROMISED, [ROW], file="build.toml")
    assert after == PROMISED.replace("[[channels]]", TABLE + "[[channels]]", 1)


@pytest.mark.parametrize("windows", [False, True])
@pytest.mark.parametrize("text", SHAPES)
def test_every_line_stays_in_its_order(text: str, windows: bool) -> None:
    old = text.replace("\n", "\r\n") if windows else text
    new = with_speakers(old, [ROW, {**ROW, "name": "zwei — ü"}], file="build.toml")
    assert ("\r" in new) == (windows and "\n" in text) and not re.search(r"\r(?!\n)", new)
    if windows and "\n" in text:
        assert not re.search(r"(?<!\r)\n", new)
    lines = iter(new.splitlines())
    for line in old.splitlines():
        if not line.startswith("speakers = [") and line != '  {name = "b"}':  # an array's line may gain a comma
            assert line in lines, line
    told, was = tomllib.loads(new), tomllib.loads(old)
    assert [row["name"] for row in told["speakers"][-2:]] == ["left pillar", "zwei — ü"]
    assert told.pop("speakers")[:-2] == was.pop("speakers", [])
    assert told == was


def test_comments_of_an_array_stay() -> None:
    new = with_speakers(ARRAY, [ROW], file="build.toml")
    for comment in ("# mine", "# all of them", "# first", "# done"):
        assert comment in new


def test_a_byte_order_mark_stays() -> None:
    old = "\ufeff".encode() + MINIMAL.encode()
    new = rewritten(old, [ROW], file="build.toml")
    assert new.startswith(old) and new.count("\ufeff".encode()) == 1
    assert parse(new).speakers[0].name == "left pillar"
    assert not rewritten(MINIMAL.encode(), [ROW], file="build.toml").startswith("\ufeff".encode())


def test_what_cannot_be_done_is_given_to_paste(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(RefusedError, match=r"(?s)my.toml: the file was left as it is.*\n\n.*left pillar"):
        with_speakers("[speakers]\nname = 1\n", [ROW], file="my.toml")

    def odd(text: str) -> None:
        raise accept.TOMLKitError("beyond it")

    monkeypatch.setattr(accept.tomlkit, "parse", odd)
    with pytest.raises(RefusedError, match=r"beyond it\). Paste this in"):
        with_speakers(PROMISED, [ROW], file="my.toml")


NAMES = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=30)
NUMBERS = st.floats(-10, 10, allow_nan=False)


@given(
    text=st.sampled_from(SHAPES),
    windows=st.booleans(),
    names=st.lists(NAMES, min_size=1, max_size=3),
    position=st.lists(NUMBERS, min_size=3, max_size=3) | NAMES,
    comment=st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=20),
)
def test_whatever_the_names(text: str, windows: bool, names: list[str], position: object, comment: str) -> None:
    """Any name, any place, any comment in the way: read back, it says the old and the new, and the comment stays."""
    old = text.rstrip("\n") + f"\n# {comment}\n"
    if windows:
        old = old.replace("\n", "\r\n")
    rows = [{**ROW, "name": name, "position_m": position} for name in names]
    new = with_speakers(old, rows, file="build.toml")
    told = tomllib.loads(new)
    assert told["speakers"] == [*tomllib.loads(old).get("speakers", []), *rows]
    assert f"# {comment}" in new
