"""Rules that join the tables of the signal chain: each is broken in turn, and named with its place and cure."""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from stages.chains import CHAIN, HEAD, chained

TURN_ON = '[[turn_on]]\ndevice = "processor"\nby = "{}"\n[[turn_on]]\ndevice = "front amplifier"\nby = "processor"\n'
BYPASS = """\
[[states]]
name = "service"
values = ["on", "off"]
[[switches]]
name = "bypass"
from = "bus car"
to = "bus socket"
closed_when = {service = "on"}
[[service_bypasses]]
name = "scan tool"
bus = "body bus"
from = "bus car"
to = "bus socket"
when = {service = "on"}
"""

BROKEN = [
    # what is replaced, by what, the place named, words of the message
    ('from = "phone"', 'from = "phon"', "from", 'Did you mean "phone"'),
    ('from = ["receiver"]', 'from = ["receiver", "phone"]', "from", "fed twice"),
    ('from = ["player"]', 'from = ["player", "player"]', "from[1]", "fed twice"),
    ('from = ["player"]', 'from = ["plyer"]', "from[0]", 'Did you mean "player"'),
    ('name = "in 4"', 'name = "in 3"', "name", "same name"),
    ('name = "player"', 'name = "phone"', "name", "same name"),
    ('name = "player"', 'name = "processor"', "name", "the processor itself"),
    ('name = "player"', 'name = "front left"', "name", "a source"),
    ('kind = "analogue"', 'kind = "factory radio"', "kind", "only one source"),
    ('from = "left midbass", sp', 'from = "left mid", sp', "from", "Did you mean"),
    ('speakers = ["left midbass"]}', 'speakers = ["left tweeter"]}', "speakers[0]", "does not drive"),
    ('speakers = ["left midbass"]}', 'speakers = ["gone"]}', "speakers[0]", "no speaker"),
    ('speakers = ["left midbass"]}', 'speakers = ["left midbass", "left midbass"]}', "speakers[1]", "named twice"),
    ('{name = "2"', '{name = "1"', "name", "same name"),
    ('name = "bass amplifier"', 'name = "bass amplifier"\nload = "bas"', "load", "no load"),
    ('source = "player"', 'source = "plaier"', "source", 'Did you mean "player"'),
    ('from = ["receiver"]', 'from = ["player"]', "source", "reaches no input"),
    ('name = "Phone"', 'name = "Radio"', "name", "same name"),
    ('also = {source = "radio"}', 'also = {source = "phone"}', "also.source", "in the preset already"),
    (
        'also = {source = "radio"}',
        'routes = [{channel = "subwoofer"}, {channel = "subwoofer"}]',
        "channel",
        "two routes",
    ),
    ('also = {source = "radio"}', 'routes = [{channel = "sub"}]', "channel", "no channel"),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), BROKEN)
def test_each_rule_is_named(old: str, new: str, place: str, words: str) -> None:
    with pytest.raises(BuildError) as caught:
        chained(replace=((old, new),))
    told = [problem for problem in caught.value.problems if problem.place.endswith(place)]
    assert told, str(caught.value)
    assert any(words in str(problem) for problem in told), str(caught.value)
    assert all(problem.line is not None and problem.cure for problem in told)


def test_the_whole_chain_breaks_none() -> None:
    build = chained(extra=BYPASS + TURN_ON.format("radio"))
    assert len(build.presets) == 3


@pytest.mark.parametrize(
    ("extra", "place", "words"),
    [
        (TURN_ON.format("front amplifier"), "by", "ring"),
        (TURN_ON.format("processor"), "by", "ring"),
        (TURN_ON.format("raido"), "by", 'Did you mean "radio"'),
        ('[[turn_on]]\ndevice = "radio"\n[[turn_on]]\ndevice = "radio"\n', "device", "two tables"),
        (BYPASS.replace('when = {service = "on"}', 'when = {service = "of"}'), "when.service", 'Did you mean "off"'),
        (BYPASS.replace('to = "bus socket"\nwhen', 'to = "bus sockt"\nwhen'), "to", "Did you mean"),
        (BYPASS.replace('to = "bus socket"\nwhen', 'to = "bus car"\nwhen'), "to", "same node"),
        (BYPASS + 'silent = ["module"]\n', "silent[0]", "no load"),
        ('[chain]\nwarns_when = {ignition = "on"}\n', "warns_when.ignition", "no state"),
    ],
)
def test_rules_of_waking_and_bypasses(extra: str, place: str, words: str) -> None:
    with pytest.raises(BuildError) as caught:
        chained(extra=extra)
    assert any(problem.place.endswith(place) and words in str(problem) for problem in caught.value.problems), str(
        caught.value
    )


def test_rings_of_converters_are_told_once() -> None:
    ring = "".join(
        f'[[converters]]\nname = "{name}"\nfrom = "{before}"\n' for name, before in (("a", "c"), ("b", "a"), ("c", "b"))
    )
    with pytest.raises(BuildError) as caught:
        chained(extra=ring)
    assert [problem.place for problem in caught.value.problems] == ['converters["a"].from']
    assert '"a" → "c" → "b" → "a"' in str(caught.value)


def test_wrong_types_never_break_the_checks() -> None:
    """Every value of the chain replaced by something of another type: problems, never a traceback."""
    lines = (HEAD + CHAIN).splitlines()
    for number, line in enumerate(lines):
        if " = " not in line or line.startswith(("schema", "title", " ", "channels")):
            continue
        for value in ("7", "[[1]]", "{a = 1}", "true", '"gone"'):
            text = "\n".join([*lines[:number], f"{line.split(' = ')[0]} = {value}", *lines[number + 1 :]])
            try:
                parse(text)
            except BuildError as error:
                assert error.problems
