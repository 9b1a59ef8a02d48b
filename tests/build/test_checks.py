"""What fits the types but not the processor is refused with its line and a cure."""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from cabinwright.measure.signal import make_sweep

HEAD = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "v"\ndriving_side = "left"\n'


def problem(text: str) -> tuple[int | None, str]:
    with pytest.raises(BuildError) as caught:
        parse(HEAD + text)
    (found,) = caught.value.problems
    return found.line, str(found)


def test_a_sweep_that_the_sample_rate_leaves_no_room_for() -> None:
    line, words = problem("[processor]\nsample_rate_hz = 8000\n[tuning.sweep]\nlow_hz = 981")
    assert line == 9
    assert "at 8000 Hz it ends at 3920 Hz" in words
    assert "Write low_hz = 980 or less" in words
    good = parse(f"{HEAD}[processor]\nsample_rate_hz = 8000\n[tuning.sweep]\nlow_hz = 980")
    assert make_sweep(good).sweep.high_hz == 3920.0


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        ("gain_min_db = -0.9\ngain_max_db = -0.1\ngain_step_db = 1", 9, "between gain_min_db and gain_max_db"),
        ("peaking_q_min = 1.1\npeaking_q_max = 1.9\npeaking_q_step = 1", 9, "between peaking_q_min and peaking_q_max"),
        ("peaking_q_step = 20", 7, "got 0.4 to 8 in steps of 20"),
    ],
)
def test_a_range_without_a_step_in_it(lines: str, line: int, words: str) -> None:
    got, text = problem(f"[processor]\n{lines}")
    assert got == line
    assert words in text


@pytest.mark.parametrize(
    "lines",
    [
        "gain_min_db = -1\ngain_max_db = -0.1\ngain_step_db = 1",
        "peaking_q_min = 0.3\npeaking_q_max = 0.3\npeaking_q_step = 0.1",
    ],
)
def test_one_step_is_enough(lines: str) -> None:
    assert parse(f"{HEAD}[processor]\n{lines}").processor is not None
