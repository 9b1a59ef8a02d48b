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
        ("gain_step_db = 1e-308", 7, "at least a millionth"),
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


CHANNEL = """[[speakers]]
name = "t"
role = "tweeter"
side = "left"
[[channels]]
name = "t"
speakers = ["t"]
recorded_with = """


def test_one_filter_that_was_on_or_several() -> None:
    one = parse(f'{HEAD}{CHANNEL}{{ kind = "high-pass", frequency_hz = "2 kHz" }}').channels[0].recorded_with
    assert [(item.frequency_hz, item.family, item.slope_db_per_octave) for item in one] == [(2e3, "Linkwitz-Riley", 24)]
    two = CHANNEL + '[{ kind = "high-pass", frequency_hz = 20 }, { kind = "low-pass", frequency_hz = 90 }]'
    assert [item.kind for item in parse(HEAD + two).channels[0].recorded_with] == ["high-pass", "low-pass"]


@pytest.mark.parametrize(
    ("filters", "words"),
    [
        ('{ kind = "high-pass", frequency_hz = 24000 }', "below half the processor's sample rate, 24000 Hz"),
        ('{ kind = "high-pass", frequency_hz = 2000, slope_db_per_octave = 18 }', "multiple of 12 dB per octave"),
        (
            '{ kind = "high-pass", frequency_hz = 2000, family = "Butterworth", slope_db_per_octave = 20 }',
            "multiples of 6 dB per octave",
        ),
        ('{ kind = "peaking", frequency_hz = 2000 }', "must be one of high-pass, low-pass"),
        ('{ kind = "high-pass" }', "required key `frequency_hz` is missing"),
        ('"a capacitor"', "a list of tables is wanted"),
    ],
)
def test_a_filter_that_cannot_have_been_on(filters: str, words: str) -> None:
    line, text = problem(CHANNEL + filters)
    assert line == 13
    assert 'channels["t"].recorded_with' in text
    assert words in text


def test_a_sample_rate_is_whole() -> None:
    line, words = problem("[processor]\nsample_rate_hz = 44100.7")
    assert line == 7
    assert "a sample rate is a whole number of hertz, got 44100.7. Write 44101" in words
    assert parse(f'{HEAD}[processor]\nsample_rate_hz = "44.1 kHz"').processor is not None


def test_a_list_where_a_name_belongs_is_told_with_its_line() -> None:
    got, text = problem('[[impedance_curves]]\nmodel = ["x"]\nfile = "a.csv"')
    assert got == 7
    assert "text is wanted" in text


@pytest.mark.parametrize("sign", ["\u2028", "\u202e", "\u2066", "\ufeff"])
def test_a_name_turns_no_figures_round(sign: str) -> None:  # Unicode Standard Annex 9, table 1
    got, text = problem(f'[[seats]]\nname = "a{sign}b"\nhead_m = [0, 0, 0]')
    assert got == 7
    assert "one line of visible signs" in text
