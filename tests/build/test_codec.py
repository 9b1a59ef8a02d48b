"""Reading a build: every mistake is told with line, place and cure, and nothing else ever comes out."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from build.samples import MINIMAL, PROMISED, square
from cabinwright.build import codec
from cabinwright.build.codec import SIZE_LIMIT_BYTES, load, parse, resolve_inside
from cabinwright.build.document import Build
from cabinwright.errors import BuildError, Problem, RecordingError


def problems(text: str | bytes) -> tuple[Problem, ...]:
    with pytest.raises(BuildError, match=r"build\.toml") as caught:
        parse(text)
    return caught.value.problems


def swap(old: str, new: str, text: str = PROMISED) -> str:
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


# What was written wrongly, and the message a person then reads, whole.
MESSAGES = [
    (
        ('speakers = ["left tweeter"]', 'speakers = ["left tweter"]'),
        'build.toml:27: channels["left tweeter"].speakers[0]: no speaker has this name, got "left tweter".'
        ' Did you mean "left tweeter"?',
    ),
    (
        ("title =", "titel ="),
        "build.toml: title: required key `title` is missing."
        " Add `title = …` to the top of the file, before the first [table].",
    ),
    (("title =", "titel ="), "build.toml:2: titel: unknown key `titel`. Did you mean `title`?"),
    (
        ("head_m = [1.28, 0.36, 0.98]", "head_m = [1.28, nan, 0.98]"),
        'build.toml:8: seats["driver"].head_m[1]: a number must be finite, got nan.'
        " Write the measured value; nan and inf mean nothing here.",
    ),
    (
        ("sample_rate_hz = 48000", "sample_rate_hz = 48"),
        "build.toml:10: processor.sample_rate_hz: must be at least 8000, got 48."
        ' A bare number counts in Hz; write for example 2500 or "2.5 kHz".',
    ),
    (
        ("delay_max_s = 0.02", 'delay_max_s = "20 cm"'),
        "build.toml:13: processor.delay_max_s: 'cm' is not a unit this field knows; use s, ms or µs."
        ' Write for example 0.0012, "1.2 ms" or "20.8 µs".',
    ),
    (
        ('role = "tweeter"', 'role = "tweter"'),
        'build.toml:17: speakers["left tweeter"].role: must be one of tweeter, midrange, coaxial, fullrange, midbass,'
        ' woofer, subwoofer, rear fill, centre, got "tweter". Did you mean "tweeter"?',
    ),
    (
        ('file = "recordings/left-tweeter_p1.wav"', 'file = "../elsewhere.wav"'),
        'build.toml:39: recordings[0].file: a path stays inside the build folder and has no "..",'
        ' got "../elsewhere.wav". Write for example "recordings/left-tweeter_p1.wav".',
    ),
]


@pytest.mark.parametrize(("change", "message"), MESSAGES)
def test_messages_say_file_line_place_rule_got_and_cure(change: tuple[str, str], message: str) -> None:
    assert message in [str(problem) for problem in problems(swap(*change))]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('channel = "left tweeter"', 'channel = "lft tweeter"', 'Did you mean "left tweeter"?'),
        ('channel = "left tweeter"', 'channel = "everything"', "no channel has this name"),
        ('channel = "left side"', 'channel = "leftside"', 'Did you mean "left side"?'),
        ('position = "p1"', 'position = "P1"', 'Did you mean "p1"?'),
        ('seat = "driver"', 'seat = "drivr"', 'Did you mean "driver"?'),
        ('timing = "loopback"', 'timing = "loopback"\nmarker_channel = "right twter"', 'Did you mean "right tweeter"?'),
        ('timing = "loopback"\n', "", "how they keep time"),
        ('name = "right tweeter"\nspeakers', 'name = "left tweeter"\nspeakers', "two channels have the same name"),
        ('speakers = ["right tweeter"]', 'speakers = ["left tweeter"]', 'driven by channel "left tweeter"'),
        ('speakers = ["right tweeter"]', 'speakers = ["right tweeter", "right tweeter"]', "already driven"),
        ('speakers = ["right tweeter"]', "speakers = []", "cannot be empty"),
        ('speakers = ["right tweeter"]', 'speakers = "right tweeter"', "a list in square brackets"),
        ('name = "right tweeter"\nspeakers', 'name = "everything"\nspeakers', "means several channels"),
        ("peaking_filters = 10 ", "peaking_filters = 10.5 ", "whole number"),
        ("peaking_filters = 10 ", "peaking_filters = -1 ", "must be at least 0"),
        ("peaking_filters = 10 ", "peaking_filters = true ", "whole number"),
        ("gain_step_db = 0.1", "gain_step_db = 0", "must be above 0"),
        ("gain_step_db = 0.1", "gain_step_db = inf", "finite"),
        ("gain_step_db = 0.1", "gain_step_db = false", "a number is wanted"),
        ("gain_step_db = 0.1", "gain_step_db = 1979-05-27", "a number is wanted"),
        ("gain_step_db = 0.1", "gain_step_db = " + "9" * 400, "got a huge whole number"),
        ("gain_step_db = 0.1", "gain_max_db = -50", "cannot be above"),
        ("gain_step_db = 0.1", "peaking_q_min = 9", "cannot be above"),
        ("gain_step_db = 0.1", "crossover_slopes_db_per_octave = [20]", "multiples of 6"),
        ("gain_step_db = 0.1", "crossover_slopes_db_per_octave = []", "cannot be empty"),
        (
            "gain_step_db = 0.1",
            'crossover_families = ["Linkwitz-Riley"]\ncrossover_slopes_db_per_octave = [18]',
            "multiple of 12",
        ),
        ("aim = [0.6, 0.7, 0]", "aim = [0, 0, 0]", "cannot be all zeros"),
        ("aim = [0.6, 0.7, 0]", "safe_low_hz = 5000\nsafe_high_hz = 4000", "below safe_high_hz"),
        ("position_m = [0.5, -0.6, 1]", "position_m = [0.5, -0.6]", "three numbers (x, y, z)"),
        ("position_m = [0.5, -0.6, 1]", "position_m = [1, 1, 1, 1]", "three numbers (x, y, z)"),
        ("position_m = [0.5, -0.6, 1]", "position_m = [55, -60, 95]", "must be at most 12"),
        ("position_m = [0.5, -0.6, 1]", "position = [0.5, -0.6, 1]", "Did you mean `position_m`?"),
        ("[100, 5]", "[10, 5]", "must rise from pair to pair"),
        ("[100, 5]", "[100]", "a pair of frequency and level"),
        ("[100, 5]", "100", "pairs of frequency and level"),
        ("[[seats]]", "[seats]", "Write [[seats]] with double brackets"),
        ("[vehicle]", "[[vehicle]]", "Write [vehicle] with single brackets"),
        ("[[speakers]]", "[[speaker]]", "Did you mean `speakers`?"),
        ('driving_side = "right"', 'driving_side = "right"\nseats = 1', "belongs at the top of the file"),
        ('driving_side = "right"', 'driving_side = "Left"', 'Did you mean "left"?'),
        ('title = "An invented estate"', 'title = ""', "cannot be empty"),
        ('title = "An invented estate"', 'title = " blank"', "neither begins nor ends with a blank"),
        ('title = "An invented estate"', 'title = "two\\nlines"', "one line"),
        ('title = "An invented estate"', 'title = "\\u009b2J"', "visible signs"),
        ('title = "An invented estate"', f'title = "{"x" * 200}"', "at most 120 letters"),
        ('title = "An invented estate"', "title = 7", "text is wanted"),
        ("schema = 1", "schema = 2", "Update Cabinwright"),
        ("schema = 1", "schema = 0", "Write schema = 1"),
        ("schema = 1", 'schema = "1"', "must be 1"),
        ("schema = 1", "schema = true", "must be 1"),
        ("schema = 1", "schemata = 1", "Write schema = 1 on the first line"),
        ("schema = 1", "schema = one", "not valid TOML"),
        ("schema = 1", "schema = 1\nschema = 1", "not valid TOML"),
        ("gain_step_db = 0.1", "gain_step_db = 0,1", "not valid TOML"),
        ("gain_step_db = 0.1", "gain_step_db = " + "9" * 5000, "not valid TOML"),
        ("gain_step_db = 0.1", "x." * 5000 + "y = 1", "words are joined by dots"),
        ("gain_step_db = 0.1", "x" * 5000 + " = 1", "unknown key `x"),
        ("gain_step_db = 0.1", '"\\u001b[31m" = 1', "unknown key `�[31m`"),
        ("gain_step_db = 0.1", "gain_step_db = " + "[" * 5000, "nested too deeply"),
    ],
)
def test_each_mistake_is_named_with_its_cure(old: str, new: str, words: str) -> None:
    found = problems(swap(old, new))
    assert any(words in str(problem) for problem in found), [str(problem) for problem in found]
    assert all("pydantic" not in str(problem) and len(str(problem)) < 600 for problem in found)


@pytest.mark.parametrize(
    "path",
    [
        "/abs.wav",
        "C:/x.wav",
        "C:x.wav",
        "\\\\host\\x.wav",
        "a\\b.wav",
        "..",
        "a/../../x.wav",
        "",
        ".",
        "a/",
        "a\u0000b",
    ],
)
def test_paths_that_could_leave_the_folder_are_refused(path: str) -> None:
    written = '"' + path.replace("\\", "\\\\").replace("\0", "\\u0000") + '"'
    for old in ('file = "recordings/left-tweeter_p1.wav"', 'file = "recordings/left-side_p1.wav"'):
        assert problems(swap(old, f"file = {written}"))
    assert problems(PROMISED + f"microphone_calibration = {written}\n")


@pytest.mark.parametrize("path", ["a.wav", "./a.wav", "a/b c/é..wav", "~a.wav", "...wav"])
def test_plain_paths_are_kept_as_written(path: str) -> None:
    assert parse(swap("recordings/left-tweeter_p1.wav", path)).recordings[0].file == path


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ('lower = "subwofer"\nupper = "tweeter"\nfrequency_hz = 80', 'Did you mean "subwoofer"?'),
        ('lower = "tweeter"\nupper = "tweeter"\nfrequency_hz = 80', "are the same"),
        ('lower = "subwoofer"\nupper = "tweeter"', "names a frequency, a family or a slope"),
        ('lower = "subwoofer"\nupper = "tweeter"\nslope_db_per_octave = 48', "the processor does not offer this"),
        ('lower = "subwoofer"\nupper = "tweeter"\nslope_db_per_octave = 24.5', "whole number"),
        (
            'lower = "subwoofer"\nupper = "tweeter"\nfamily = "Linkwitz-Riley"\nslope_db_per_octave = 18',
            "a multiple of 12",
        ),
    ],
)
def test_wishes_that_cannot_be_kept(wish: str, words: str) -> None:
    found = problems(f"{PROMISED}[[tuning.crossovers]]\n{wish}\n")
    assert any(words in str(problem) for problem in found), [str(problem) for problem in found]


def test_a_wish_for_a_family_the_processor_lacks() -> None:
    text = swap("gain_step_db = 0.1", 'crossover_families = ["Butterworth"]')
    wish = '[[tuning.crossovers]]\nlower = "subwoofer"\nupper = "tweeter"\nfamily = "Linkwitz-Riley"\n'
    assert "it has Butterworth" in str(problems(text + wish)[0])


def test_timing_is_wanted_only_by_sweeps() -> None:
    impulses = PROMISED.replace('kind = "sweep"', 'kind = "impulse"').replace('timing = "loopback"\n', "")
    assert parse(impulses).tuning is not None
    assert parse(PROMISED[: PROMISED.index("[tuning]")]).tuning is None


def test_every_problem_comes_at_once_in_order_of_line() -> None:
    text = PROMISED
    for (old, new), _ in MESSAGES:
        text = swap(old, new, text) if old in text else text
    found = problems(text)
    assert len(found) == 8
    assert [p.line or 0 for p in found] == sorted(p.line or 0 for p in found)


def test_a_flood_of_problems_is_cut_off_and_says_so() -> None:
    found = problems(square(20).replace('channel = "c', 'channel = "d'))
    assert len(found) == 101 and "more problems" in found[-1].rule


def test_encodings() -> None:
    assert (
        parse(b"\xef\xbb\xbf" + PROMISED.encode())
        == parse(PROMISED.replace("\n", "\r\n"))
        == parse("\ufeff" + PROMISED)
    )
    assert "UTF-16" in problems(PROMISED.encode("utf-16"))[0].rule
    bad = problems(PROMISED.encode().replace(b"An invented", b"An \xe9"))[0]
    assert (bad.line, bad.rule) == (2, "the text is not UTF-8")
    assert "empty" in problems(b"")[0].rule and "empty" in problems("  \n")[0].rule


def test_the_line_of_a_syntax_error() -> None:
    assert problems(swap("[[seats]]", "[[seats"))[0].line == 6
    assert problems("schema = [1,\n\n")[0].line == 3


def test_load_takes_a_folder_or_a_file(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(PROMISED, encoding="utf-8")
    assert load(tmp_path) == load(str(tmp_path / "build.toml")) == parse(PROMISED)


def test_load_refuses_what_is_no_build(tmp_path: Path) -> None:
    with pytest.raises(BuildError, match=r"no such file.*cabinwright new"):
        load(tmp_path)
    with pytest.raises(BuildError, match="no such file"):
        load(tmp_path / "nowhere" / "build.toml")
    with pytest.raises(BuildError, match=r"cannot be read|no such file"):
        load("nul\0byte")
    with pytest.raises(BuildError, match=r"cannot be read|no such file"):
        load(tmp_path / ("x" * 5000))
    (tmp_path / "build.toml").mkdir()
    with pytest.raises(BuildError, match="no plain file"):
        load(tmp_path)


def test_load_refuses_a_huge_file_without_reading_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (tmp_path / "build.toml").open("wb") as stream:
        stream.truncate(3_000_000_000)  # sparse: it takes no room
    with pytest.raises(BuildError, match="is larger"):
        load(tmp_path)
    monkeypatch.setattr(codec, "SIZE_LIMIT_BYTES", len(PROMISED.encode()))
    (tmp_path / "build.toml").write_bytes(PROMISED.encode())
    assert load(tmp_path).title
    (tmp_path / "build.toml").write_bytes(PROMISED.encode() + b"#")
    with pytest.raises(BuildError, match="is larger"):
        load(tmp_path)
    assert SIZE_LIMIT_BYTES < 3_000_000_000


def test_load_says_when_it_may_not_look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(self: Path, *_: object, **__: object) -> bool:
        raise PermissionError(13, "Permission denied")

    for question in ("is_dir", "exists", "is_file", "open"):
        monkeypatch.setattr(codec.Path, question, locked)
    with pytest.raises(BuildError, match=r"cannot be read \(Permission denied\)"):
        load(tmp_path)


@pytest.mark.skipif(sys.platform == "win32", reason="a FIFO is a POSIX thing")
def test_load_does_not_wait_on_a_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "build.toml")
    with pytest.raises(BuildError, match="no plain file"):
        load(tmp_path)


def link(source: Path, target: Path) -> None:
    try:
        source.symlink_to(target)
    except OSError:
        pytest.skip("this system lets nobody make links here")


def test_links_may_not_lead_out(tmp_path: Path) -> None:
    folder = tmp_path / "build"
    (folder / "recordings").mkdir(parents=True)
    (folder / "build.toml").write_text(PROMISED, encoding="utf-8")
    (tmp_path / "secret.wav").write_bytes(b"x")
    (folder / "inside.wav").write_bytes(b"x")
    name = "recordings/left-tweeter_p1.wav"
    link(folder / name, folder / "inside.wav")
    load(folder)
    (folder / name).unlink()
    link(folder / name, tmp_path / "secret.wav")
    with pytest.raises(BuildError, match=r"build\.toml:39: recordings\[0\]\.file: .*through a link"):
        load(folder)
    with pytest.raises(RecordingError, match="leads out of the build folder"):
        resolve_inside(folder, name)
    (folder / name).unlink()
    link(folder / name, folder / name)
    try:
        load(folder)  # a loop of links leads nowhere: the reader of recordings will miss the file
    except BuildError as error:
        assert "link" in str(error)


def test_a_build_folder_may_itself_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "build.toml").write_text(PROMISED, encoding="utf-8")
    link(tmp_path / "alias", tmp_path / "real")
    assert load(tmp_path / "alias").title
    assert resolve_inside(tmp_path / "alias", "a/b.wav") == (tmp_path / "real" / "a" / "b.wav").resolve()


def answer(text: str | bytes) -> Build | tuple[Problem, ...]:
    """Whatever is read, this is all that may come out."""
    try:
        return parse(text)
    except BuildError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.rule and problem.cure and str(problem)
            assert problem.line is None or problem.line >= 1
        return error.problems


@given(st.binary(max_size=300))
def test_any_bytes(content: bytes) -> None:
    answer(content)


@given(st.text(max_size=200))
@example("a.b.c = [[[{x = 1}]]]")
def test_any_text(text: str) -> None:
    answer(text)
    answer(MINIMAL + text)


scalars = st.one_of(
    st.sampled_from(["nan", "-inf", "true", "0", "-0.0", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", "1e400"]),
    st.sampled_from(['"left tweeter"', '"p1"', '"driver"', '"sweep"', '"14 3/8 in"', '"-1 kHz"', '""', "''", '"é\\n"']),
    st.integers().map(str),
    st.integers(min_value=2**64).map(hex),
    st.floats().map(lambda x: repr(x).replace("e+", "e")),
)
values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(st.sampled_from(["name", "head_m", "x", '"y z"']), inner, max_size=3).map(
            lambda table: "{ " + ", ".join(f"{key} = {value}" for key, value in table.items()) + " }"
        ),
    ),
    max_leaves=8,
)
keys = st.sampled_from(
    [line.split(" = ")[0] for line in PROMISED.splitlines() if " = " in line] + ["safe_low_hz", "all_pass_filters", "x"]
)
single = ["vehicle", "processor", "tuning", "tuning.sweep", "seats", "x"]
many = ["seats", "speakers", "channels", "microphone_positions", "recordings", "tuning.crossovers", "vehicle"]
heads = st.sampled_from([f"[{name}]" for name in single] + [f"[[{name}]]" for name in many])


@given(st.lists(st.one_of(heads, st.tuples(keys, values).map(" = ".join)), max_size=25))
def test_any_structure(lines: list[str]) -> None:
    answer("\n".join(lines))
    answer(MINIMAL + "\n".join(lines))


@given(st.data())
def test_a_good_build_with_values_exchanged(data: st.DataObject) -> None:
    lines = PROMISED.splitlines()
    spots = [number for number, line in enumerate(lines) if " = " in line]
    for spot in data.draw(st.lists(st.sampled_from(spots), min_size=1, max_size=4)):
        lines[spot] = f"{lines[spot].split(' = ')[0]} = {data.draw(values)}"
    answer("\n".join(lines))


@given(st.integers(0, len(PROMISED)), st.integers(0, len(PROMISED)), st.text(max_size=3))
def test_a_good_build_cut_anywhere(start: int, stop: int, put: str) -> None:
    answer(PROMISED[:start] + put + PROMISED[stop:])
