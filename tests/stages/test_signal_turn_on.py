"""Waking and sleeping: thumps by hand, and against a clock that ticks through every jump."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.stages.signal.chain import chain_of
from cabinwright.stages.signal.turn_on import Thump, TurnOnResult, turn_on
from stages.chains import chained


def timed(*rows: str) -> TurnOnResult:
    build = chained(extra="".join(f"[[turn_on]]\n{row}\n" for row in rows))
    found = turn_on(build, chain_of(build))
    assert found is not None
    return found


RADIO = 'device = "radio"\nwakes_s = 1.0\nthump = false'
PROCESSOR = 'device = "processor"\nby = "radio"\nwakes_s = 3.0\nsleeps_s = 2.0'
FRONT = 'device = "front amplifier"\nby = "radio"\nwakes_s = 0.5\nthump = false'
LATE = 'device = "front amplifier"\nby = "processor"\nwakes_s = 0.5\nthump = false'


def test_an_amplifier_that_wakes_before_the_processor() -> None:
    on = [item for item in timed(RADIO, PROCESSOR, FRONT).thumps if item.when == "on"]
    # Radio awake at 1 s; the processor may jump until 4 s; the amplifier passes from 1.5 s.
    assert on == [Thump("processor", "on", 1.5, 4.0, ("processor", "front amplifier"), "front amplifier", 2.5)]
    late = 'device = "front amplifier"\nby = "radio"\nwakes_s = 3.0\nthump = false'
    assert not [item for item in timed(RADIO, PROCESSOR, late).thumps if item.when == "on"]
    # A hundredth of a second less is told, exactly.
    short = timed(RADIO, PROCESSOR, late.replace("3.0", "2.99")).thumps
    assert [item.delay_s for item in short if item.when == "on"] == [0.01]


def test_one_woken_by_the_processor_passes_no_jump_of_it() -> None:
    assert not [item for item in timed(RADIO, PROCESSOR, LATE).thumps if item.when == "on"]


def test_a_stated_jump_is_a_moment() -> None:
    early = PROCESSOR + "\njumps_on_s = 0.4\njumps_off_s = 0.5"
    assert not timed(RADIO, early, FRONT).thumps
    assert [item.from_s for item in timed(RADIO, PROCESSOR + "\njumps_on_s = 0.6", FRONT).thumps] == [1.6]


def test_an_amplifier_that_sleeps_late() -> None:
    slow = FRONT + "\nsleeps_s = 0.3"
    off = [item for item in timed(RADIO, PROCESSOR, slow).thumps if item.when == "off"]
    assert off == [Thump("processor", "off", 0.0, 0.3, ("processor", "front amplifier"), "processor", 0.3)]
    held = PROCESSOR + "\njumps_off_s = 0.3"
    assert not [item for item in timed(RADIO, held, slow).thumps if item.when == "off"]
    tied = [item for item in timed(RADIO, PROCESSOR, LATE + "\nsleeps_s = 0.3").thumps if item.when == "off"]
    assert [item.delay for item in tied] == [None]  # held longer, it holds the amplifier too


def test_what_is_silent_on_the_way_hides_a_jump_before_it() -> None:
    """The radio jumps while the amplifier is awake, but the processor between them sleeps."""
    jumping = 'device = "radio"\nwakes_s = 1.0'
    amplifier = 'device = "front amplifier"\nwakes_s = 0.0\nthump = false'
    quiet = PROCESSOR.replace("\nwakes", "\nthump = false\nwakes")
    assert not [item for item in timed(jumping, quiet, amplifier).thumps if item.when == "on"]
    awake = 'device = "processor"\nwakes_s = 0.2\nthump = false'
    assert [item.device for item in timed(jumping, awake, amplifier).thumps if item.when == "on"] == ["radio"]


def test_findings_and_plan() -> None:
    found = timed(RADIO, PROCESSOR, FRONT.replace("thump = false", "thump = true"))
    codes = [item.code for item in found.findings]
    assert codes.count("signal.thump_amplifier") == 1
    assert "signal.turn_on_unstated" in codes
    told = next(item for item in found.findings if item.code == "signal.thump")
    assert "front amplifier" in told.message and "2.5 s" in told.remedy
    row = next(item for item in found.to_dict()["order"] if item["device"] == "processor")
    assert (row["woken_s"], row["awake_s"], row["asleep_s"], row["jump_on_s"]) == (1.0, 4.0, 2.0, [1.0, 4.0])
    build = chained()
    assert turn_on(build, chain_of(build)) is None


TENTHS = st.integers(0, 30)
DEVICES = ("radio", "processor", "front amplifier", "bass amplifier")


@settings(max_examples=150, deadline=None)
@given(
    wakes=st.tuples(*[TENTHS] * 4),
    sleeps=st.tuples(*[TENTHS] * 4),
    by=st.tuples(*[st.integers(-1, 2)] * 4),
    thump=st.tuples(*[st.booleans()] * 4),
)
def test_against_a_ticking_clock(
    wakes: tuple[int, ...], sleeps: tuple[int, ...], by: tuple[int, ...], thump: tuple[bool, ...]
) -> None:
    """Half-tenths of a second, one after another: does something jump while all behind it passes sound?"""
    before = [number if number < k else -1 for k, number in enumerate(by)]  # only earlier ones wake later ones
    found = timed(
        *(
            f'device = "{name}"\n'
            + (f'by = "{DEVICES[before[k]]}"\n' if before[k] >= 0 else "")
            + f"wakes_s = {wakes[k] / 10}\nsleeps_s = {sleeps[k] / 10}\nthump = {str(thump[k]).lower()}"
            for k, name in enumerate(DEVICES)
        )
    )
    woken, gone = [0] * 4, [0] * 4  # in half-tenths
    for k in range(4):
        woken[k] = 0 if before[k] < 0 else woken[before[k]] + 2 * wakes[before[k]]
    ways = [way for amplifier in (2, 3) for way in ((0, 1, amplifier),)]
    heard = set[tuple[str, str, str]]()
    for tick in range(1, 400, 2):  # between the tenths, so that what only touches does not meet
        for way in ways:
            for place in (0, 1):
                me, behind = way[place], way[place + 1 :]
                moment = wakes[me] == 0 and tick == woken[me] + 1  # a jump without length, seen just after
                at = woken[me] if moment else tick
                jumps = thump[me] and (moment or woken[me] < tick < woken[me] + 2 * wakes[me])
                if jumps and all(at > woken[k] + 2 * wakes[k] for k in behind):
                    heard.add((DEVICES[me], "on", DEVICES[way[-1]]))
                if thump[me] and tick > gone[me] and all(tick < gone[k] + 2 * sleeps[k] for k in behind):
                    heard.add((DEVICES[me], "off", DEVICES[way[-1]]))
    assert {(item.device, item.when, item.path[-1]) for item in found.thumps} == heard


@pytest.mark.parametrize("by", ["radio", "processor"])
def test_the_delay_that_is_named_cures(by: str) -> None:
    first = timed(RADIO, PROCESSOR, FRONT.replace('"radio"', f'"{by}"'))
    for item in first.thumps:
        if item.when == "on" and item.delay is not None:
            cured = FRONT.replace("0.5", str(0.5 + item.delay_s))
            assert not [row for row in timed(RADIO, PROCESSOR, cured).thumps if row.when == "on"]
