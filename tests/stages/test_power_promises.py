"""Promises against brute force: networks of switches and relays drawn at random, walked one state at a time."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.stages import power
from stages.wired import HEAD

NODES = ["battery plus", "chassis", "n1", "n2", "n3", "n4"]
STATES = {"boot": ["open", "closed"], "key": ["off", "acc", "on"], "door": ["open", "closed"]}

node = st.sampled_from(NODES)
ends = st.tuples(node, node).filter(lambda pair: pair[0] != pair[1])
table = st.fixed_dictionaries({}, optional={name: st.sampled_from(words) for name, words in STATES.items()})


@st.composite
def cars(draw: st.DrawFn) -> dict[str, Any]:
    return {
        "wires": draw(st.lists(ends, max_size=4)),
        "switches": draw(
            st.lists(st.tuples(ends, st.lists(table.filter(bool), min_size=1, max_size=3)), min_size=1, max_size=5)
        ),
        "relays": draw(st.lists(st.tuples(ends, ends, st.sampled_from(["open", "closed"])), max_size=2)),
        "loads": draw(st.lists(ends, min_size=1, max_size=2)),
        "promise": draw(st.tuples(st.sampled_from(["on", "off"]), table)),
    }


def inline(row: dict[str, str]) -> str:
    return "{" + ", ".join(f'{key} = "{value}"' for key, value in row.items()) + "}"


def text(car: dict[str, Any]) -> str:
    parts = [HEAD, "[supply]\nnominal_v = 13.8\nbattery = {capacity_ah = 60, resistance_ohm = 0.006}\n"]
    for number, (a, b) in enumerate(car["wires"]):
        parts.append(f'[[wires]]\nname = "w{number}"\nfrom = "{a}"\nto = "{b}"\nlength_m = 1\ngauge = "6 mm2"\n')
    for number, ((a, b), tables) in enumerate(car["switches"]):
        listed = "[" + ", ".join(inline(row) for row in tables) + "]"
        parts.append(f'[[switches]]\nname = "s{number}"\nfrom = "{a}"\nto = "{b}"\nclosed_when = {listed}\n')
    for number, ((a, b), (c, d), rest) in enumerate(car["relays"]):
        parts.append(
            f'[[relays]]\nname = "r{number}"\nfrom = "{a}"\nto = "{b}"\ncoil_from = "{c}"\ncoil_to = "{d}"\n'
            f'at_rest = "{rest}"\n'
        )
    for number, (a, b) in enumerate(car["loads"]):
        parts.append(f'[[loads]]\nname = "l{number}"\nfrom = "{a}"\nto = "{b}"\ncurrent_a = 1\n')
    for name, words in STATES.items():
        parts.append(f'[[states]]\nname = "{name}"\nvalues = {words}\n'.replace("'", '"'))
    is_, when = car["promise"]
    parts.append(f'[[promises]]\ntext = "p"\nload = "l0"\nis = "{is_}"\nwhen = {inline(when)}\n')
    return "".join(parts)


def lit(car: dict[str, Any], state: dict[str, str]) -> bool | None:
    """Whether the first load is on, by walking from node to node; None where relays never come to rest."""
    fixed = list(car["wires"])
    for pair, tables in car["switches"]:
        if any(all(state[name] == value for name, value in row.items()) for row in tables):
            fixed.append(pair)
    pulled = [False] * len(car["relays"])
    for _ in range(2 * len(pulled) + 3):
        joined = list(fixed)
        for moved, (pair, _, rest) in zip(pulled, car["relays"], strict=True):
            if moved != (rest == "closed"):
                joined.append(pair)
        reached = {start: walk(start, joined) for start in ("battery plus", "chassis")}

        def on(pair: tuple[str, str], found: dict[str, set[str]] = reached) -> bool:
            return pair[0] in found["battery plus"] and pair[1] in found["chassis"]

        now = [on(coil) for _, coil, _ in car["relays"]]
        if now == pulled:
            return on(car["loads"][0])
        pulled = now
    return None


def walk(start: str, joined: list[tuple[str, str]]) -> set[str]:
    seen = {start}
    while more := {b for a, b in (*joined, *((b, a) for a, b in joined)) if a in seen and b not in seen}:
        seen |= more
    return seen


@settings(max_examples=150)
@given(cars())
def test_promises_hold_exactly_where_brute_force_says_so(car: dict[str, Any]) -> None:
    result = power.run(parse(text(car)))
    assert result is not None
    is_, when = car["promise"]
    states = [dict(zip(STATES, row, strict=True)) for row in product(*STATES.values())]
    truth = [lit(car, state) for state in states]
    restless = any(item.code == "power.oscillates" for item in result.findings)
    assert restless == any(lit_ is None for lit_ in truth)
    for state, told, on in zip(states, truth, result.loads["l0"].on.tolist(), strict=True):
        assert told is None or told == on, state
    if restless:
        return
    wrong = [
        state
        for state, on in zip(states, truth, strict=True)
        if on != (is_ == "on") and all(state[name] == value for name, value in when.items())
    ]
    (promise,) = result.promises
    assert promise.holds == (not wrong)
    assert promise.counterexample == (wrong[0] if wrong else None)


def test_brute_force_itself_can_tell_a_wrong_interlock() -> None:
    """A switch drawn for the closed boot in place of the open one: both sides find the state that breaks the promise."""
    car: dict[str, Any] = {
        "wires": [],
        "switches": [(("battery plus", "n1"), [{"boot": "closed"}])],
        "relays": [],
        "loads": [("n1", "chassis")],
        "promise": ("off", {"boot": "closed"}),
    }
    result = power.run(parse(text(car)))
    assert result is not None and not result.promises[0].holds
    assert result.promises[0].counterexample == {"boot": "closed", "key": "off", "door": "open"}
    assert lit(car, {"boot": "closed", "key": "off", "door": "open"})
    car["switches"][0] = (("battery plus", "n1"), [{"boot": "open"}])
    sound = power.run(parse(text(car)))
    assert sound is not None and sound.promises[0].holds


@pytest.mark.parametrize("count", [1, 3, 12])
def test_combinations_count_every_state(count: int) -> None:
    states = "".join(f'[[states]]\nname = "s{k}"\nvalues = ["a", "b"]\n' for k in range(count))
    result = power.run(parse(f"{HEAD}[supply]\nnominal_v = 12\n{states}"))
    assert result is not None and result.states.count == 2**count
    assert result.states.assignment(1) == {**{f"s{k}": "a" for k in range(count)}, f"s{count - 1}": "b"}
