"""Measured polars: a good file is read to its figures, every bad line is named with its cure, nothing gives a traceback."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.measure.polars import CURE, LIMIT_BYTES, parse_polar, read_polars
from stages.cabin_build import PLACES, cabin_build

GOOD = """# angle frequency level, of an invented speaker
0 1000 0
0 4000 0
30, 1000, -0.5
30; 4000; -3.0
60\t2000\t-4.0 measured twice
"""


def build_with(file: str) -> Build:
    return cabin_build(places=PLACES.replace('aim = "driver"\n', f'aim = "driver"\npolar = "{file}"\n', 1))


def test_a_good_file_is_read_to_its_figures() -> None:
    polar = parse_polar(GOOD)
    np.testing.assert_allclose(np.degrees(polar.angle_rad), [0.0, 30.0, 60.0])
    np.testing.assert_array_equal(polar.frequency_hz, [1000.0, 2000.0, 4000.0])
    # by hand: at 30 degrees straight over log frequency, 2 kHz midway between 1 and 4 kHz; one value is held
    np.testing.assert_allclose(polar.level_db, [[0.0, 0.0, 0.0], [-0.5, -1.75, -3.0], [-4.0, -4.0, -4.0]])
    between = polar.at(frequency_hz=4000.0, angle_rad=np.radians([15.0, 45.0, 120.0]))
    np.testing.assert_allclose(between, [-1.5, -3.5, -4.0])


def test_order_of_lines_and_ends_of_lines_do_not_matter() -> None:
    head, *lines = GOOD.splitlines()
    turned = parse_polar("\r\n".join([head, *reversed(lines)]))
    np.testing.assert_array_equal(turned.level_db, parse_polar(GOOD).level_db)


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        ("30 1000", "three numbers are wanted"),
        ("30 1000 loud", "three numbers are wanted"),
        ("-10 1000 0", "angle 0 to 180"),
        ("181 1000 0", "angle 0 to 180"),
        ("30 0 -1", "frequency above 0"),
        ("30 1e9 -1", "frequency above 0"),
        ("30 1000 -200", "within 80 dB"),
        ("30 1000 nan", "within 80 dB"),
        ("30 inf 0", "frequency above 0"),
    ],
)
def test_a_bad_line_is_named_with_its_cure(line: str, rule: str) -> None:
    with pytest.raises(RecordingError, match=r"horn\.txt, line 2: ") as caught:
        parse_polar(f"0 1000 0\n{line}\n60 1000 -9\n", file="horn.txt")
    assert rule in str(caught.value)
    assert CURE in str(caught.value)


@pytest.mark.parametrize("text", ["", "# nothing\n", "30 1000 -1\n60 1000 -3\n", "0 1000 0\n0 2000 0\n"])
def test_a_polar_needs_the_axis_and_one_angle_more(text: str) -> None:
    with pytest.raises(RecordingError, match=r"needs the axis \(angle 0\) and one angle more"):
        parse_polar(text)


@given(st.text(alphabet=st.sampled_from("0123456789.-+eE ,;\t\n#anif"), max_size=120) | st.text(max_size=60))
def test_any_text_is_a_polar_or_a_message(text: str) -> None:
    try:
        polar = parse_polar(text)
    except RecordingError as error:
        assert "Write angle in degrees" in str(error)
    else:
        assert polar.level_db.shape == (len(polar.angle_rad), len(polar.frequency_hz))
        assert np.isfinite(polar.level_db).all()
        assert (np.diff(polar.angle_rad) > 0.0).all()


def test_the_file_of_a_place_is_read(tmp_path: Path) -> None:
    (tmp_path / "horn.txt").write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    found = read_polars(build_with("horn.txt"), tmp_path)
    assert list(found) == ["left pillar"]
    np.testing.assert_array_equal(found["left pillar"].level_db, parse_polar(GOOD).level_db)
    assert read_polars(cabin_build(), tmp_path) == {}


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        (None, r"horn\.txt: there is no such file"),
        (b"0 1000 0\n30 1000 \xff\n", r"horn\.txt: the text is not UTF-8"),
        (b"#" * (LIMIT_BYTES + 1), r"horn\.txt: larger than 2 MB"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, content: bytes | None, rule: str) -> None:
    if content is not None:
        (tmp_path / "horn.txt").write_bytes(content)
    with pytest.raises(RecordingError, match=rule):
        read_polars(build_with("horn.txt"), tmp_path)
