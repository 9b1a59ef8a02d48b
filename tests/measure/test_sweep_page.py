"""The page beside ``sweep.wav``: it warns of what this car can come to harm by, and what it gives to paste is read."""

from __future__ import annotations

import re
import tomllib
from html import unescape

import pytest

from cabinwright.build.codec import parse
from cabinwright.measure.signal import sweep_files

from .rig import PLACES, SPEAKERS, document

BARE = 'schema = 1\ntitle = "bare"\n[vehicle]\nname = "invented"\ndriving_side = "left"\n'
TWEETER, SUBWOOFER = "A tweeter is destroyed by bass", "own subsonic filter"


def page_of(text: str) -> str:
    return str(sweep_files(parse(text))["sweep.html"])


def pasted(page: str) -> str:
    found = re.search(r'<pre class="paste">(.*?)</pre>', page, re.DOTALL)
    assert found
    return unescape(found[1])


def without_recordings(text: str) -> str:
    return text[: text.index("[[recordings]]")] + text[text.index("[tuning]") :]


def car(role: str, names: tuple[str, ...] = ("one",)) -> str:
    parts = [BARE, '[[seats]]\nname = "driver"\nhead_m = [1, 0, 1]\n']
    for name in names:  # literal strings of TOML, in which a backslash is one
        parts.append(f'[[speakers]]\nname = \'{name}\'\nrole = "{role}"\nside = "left"\n')
        parts.append(f"[[channels]]\nname = '{name}'\nspeakers = ['{name}']\n")
    parts.append('[[microphone_positions]]\nname = "p1"\nat_m = [1, 0, 1]\nseat = "driver"\n')
    return "".join(parts)


def test_it_warns_and_lists_every_file() -> None:
    build = parse(document("marker"))
    page = page_of(document("marker"))
    for words in ("hearing protection", TWEETER, SUBWOOFER, *(row.file for row in build.recordings)):
        assert words in page
    assert page.count("<tr>") == 1 + len(build.recordings)
    assert "build.toml names all of these files" in page
    assert "[[recordings]]" not in page


@pytest.mark.parametrize(
    ("role", "tweeter", "subwoofer"),
    [("tweeter", True, False), ("subwoofer", False, True), ("midbass", False, False), ("coaxial", False, False)],
)
def test_it_warns_of_what_this_car_can_come_to_harm_by(role: str, tweeter: bool, subwoofer: bool) -> None:
    page = page_of(car(role))
    assert (TWEETER in page, SUBWOOFER in page) == (tweeter, subwoofer)
    assert ("protective high-pass on; name it as recorded_with" in page) == tweeter
    for words in ("hearing protection", "Do not measure while driving"):
        assert words in page


def test_it_warns_of_everything_while_nothing_is_known() -> None:
    page = page_of(BARE)
    assert TWEETER in page
    assert SUBWOOFER in page
    assert "Name channels and microphone positions" in page


def test_the_filter_that_the_build_names_stands_in_the_list() -> None:
    text = car("tweeter").replace(
        "speakers = ['one']", "speakers = ['one']\nrecorded_with = { kind = \"high-pass\", frequency_hz = 2500 }"
    )
    assert "<td>high-pass at 2500 Hz on, as recorded_with says</td>" in page_of(text)


def test_it_says_where_the_microphone_stands_from_the_head() -> None:
    text = document("loopback")
    build = parse(text)
    item, seat = build.microphone_positions[0], build.seats[0]
    page = unescape(page_of(text))
    assert "Where the microphone stands" in page
    step = 100.0 * (item.at_m[1] - seat.head_m[1])
    if abs(step) >= 0.5:
        assert f"{abs(step):.0f} cm {'right' if step > 0 else 'left'}" in page
    assert f"{item.name}: " in page


def test_what_is_missing_can_be_pasted() -> None:
    text = without_recordings(document("loopback"))
    page = page_of(text)
    assert "25 of these files are not in build.toml yet" in page
    assert "timing =" not in page
    build = parse(f"{text}\n{pasted(page)}")
    assert {(row.channel, row.position) for row in build.recordings} == {(c, p) for c in SPEAKERS for p in PLACES}
    assert {row.kind for row in build.recordings} == {"sweep"}
    assert build.recordings[0].file == "recordings/left-tweeter_p1.wav"
    assert "build.toml names all of these files" in page_of(f"{text}\n{pasted(page)}")


def test_only_what_is_missing_is_to_paste() -> None:
    text = document("loopback")
    row = (
        '[[recordings]]\nchannel = "subwoofer"\nposition = "p3"\nkind = "sweep"\nfile = "recordings/subwoofer_p3.wav"\n'
    )
    assert row in text
    page = page_of(text.replace(row, ""))
    assert "One of these files is not" in page
    assert pasted(page) == row


def test_names_that_look_alike_as_files_get_files_of_their_own() -> None:
    names = ("a b", "a-b", "A/b", 'a "b" <c> \\')
    text = car("midbass", names)
    page = page_of(text)
    got = tomllib.loads(pasted(page))["recordings"]
    assert [row["channel"] for row in got] == list(names)
    assert len({row["file"].casefold() for row in got}) == len(names)
    assert len(parse(text + pasted(page)).recordings) == len(names)
    assert "a &quot;b&quot; &lt;c&gt;" in page


def test_it_asks_for_timing_where_the_build_says_none() -> None:
    assert "timing = &quot;loopback&quot;" in page_of(car("midbass"))


def test_impulses_need_no_sweep() -> None:
    text = document("impulse")
    page = page_of(text)
    assert "those need no sweep" in page
    assert page.count("<td>impulse: no sweep needed</td>") == 25
    assert "those need no sweep" not in page_of(document("loopback"))
    row = text[text.index("[[recordings]]") :].split("\n\n")[0].split("[[recordings]]")[1]
    fewer = page_of(text.replace(f"[[recordings]]{row}", ""))
    assert tomllib.loads(pasted(fewer))["recordings"][0]["kind"] == "impulse"


def test_names_are_escaped_on_the_page() -> None:
    assert "a &lt;b&gt; &amp; c" in page_of(BARE.replace('"bare"', '"a <b> & c"'))
