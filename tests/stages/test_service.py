"""The service graph against powers of its matrix, and the cautions about what lies too deep."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.build.service import ServiceStep
from cabinwright.stages import workshop
from cabinwright.stages.workshop.result import WorkshopResult
from cabinwright.stages.workshop.service import service_of

HEAD = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "car"\ndriving_side = "left"\n'
STEPS = """
[[service_steps]]
name = "main fuse"
kind = "fuse"
of = ["main"]
after = ["lining", "box"]
minutes = 1
[[service_steps]]
name = "mat"
tools = ["hands"]
minutes = 1
[[service_steps]]
name = "floor"
after = ["mat"]
tools = ["hands", "torch"]
minutes = 2
minutes_back = 3
[[service_steps]]
name = "box"
after = ["floor", "mat"]
tools = ["hex key 5 mm"]
minutes = 6
[[service_steps]]
name = "lining"
tools = ["trim tool"]
minutes = 4
"""
FUSES = (
    '[supply]\nnominal_v = 14.4\n[[fuses]]\nname = "main"\nfrom = "battery"\nto = "bus"\n'
    '[[fuses]]\nname = "radio"\nfrom = "bus"\nto = "radio"\n'
)


def run(text: str) -> WorkshopResult:
    result = workshop.run(parse(HEAD + text))
    assert result is not None
    return result


def test_the_way_to_a_fuse_by_hand() -> None:
    result = run(FUSES + STEPS)
    assert result.service is not None
    fuse = result.service.parts["main fuse"]
    assert set(fuse.first) == {"mat", "floor", "box", "lining"}
    assert fuse.first.index("mat") < fuse.first.index("floor") < fuse.first.index("box")
    assert set(fuse.direct) == {"box", "lining"}  # the mat is implied
    assert result.service.parts["box"].direct == ("floor",)
    assert set(fuse.way_tools) == {"hands", "torch", "hex key 5 mm", "trim tool"}
    assert fuse.reach_minutes == 1 + 2 + 6 + 4
    assert fuse.whole_minutes == 13 + 1 + (1 + 3 + 6 + 4 + 1)
    assert (result.service.out_minutes, result.service.back_minutes) == (14, 15)
    told = {item.code: item for item in result.findings}
    assert told["workshop.service_deep"].severity == "caution"
    assert (told["workshop.service_deep"].value, told["workshop.service_deep"].limit) == (4, 2)
    assert told["workshop.service_unlisted"].value == 1
    assert "radio" in told["workshop.service_unlisted"].message
    plan = result.to_dict()["service"]
    assert plan["parts"]["main fuse"]["steps"] == 4
    assert plan["total_minutes"] == 29


@pytest.mark.parametrize(("kind", "told"), [("fuse", True), ("battery", True), ("control", True), ("part", False)])
def test_who_may_lie_deep(kind: str, told: bool) -> None:
    result = run(STEPS.replace('kind = "fuse"\nof = ["main"]', f'kind = "{kind}"'))
    assert ([item.code for item in result.findings] == ["workshop.service_deep"]) is told


def test_two_steps_are_allowed_and_three_are_not() -> None:
    two = STEPS.replace('after = ["lining", "box"]', 'after = ["floor"]').replace('of = ["main"]\n', "")
    three = two.replace('after = ["floor"]', 'after = ["box"]')
    assert run(two).findings == ()
    assert [item.code for item in run(three).findings] == ["workshop.service_deep"]


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_any_graph_against_its_matrix(data: st.DataObject) -> None:
    """How many come before: the transitive closure as powers of the matrix of direct waits, (I + A)^n."""
    count = data.draw(st.integers(1, 12))
    rank = data.draw(st.permutations(range(count)))
    bits = data.draw(st.lists(st.booleans(), min_size=count * count, max_size=count * count))
    waits = np.array(bits).reshape(count, count) & (np.subtract.outer(rank, rank) > 0)
    minutes = data.draw(st.lists(st.integers(0, 30), min_size=count, max_size=count))
    build = parse(HEAD + "".join(
        f'[[service_steps]]\nname = "s{k}"\nminutes = {minutes[k]}\nafter = {[f"s{j}" for j in np.flatnonzero(row)]}\n'
        for k, row in enumerate(waits)
    ).replace("'", '"'))  # fmt: skip
    result = service_of(build, [])
    assert result is not None
    assert all(isinstance(item, ServiceStep) for item in build.service_steps)
    closure = np.linalg.matrix_power(np.eye(count, dtype=np.int64) + waits, count) > 0
    place = {name: number for number, name in enumerate(result.order)}
    for k in range(count):
        before = set(np.flatnonzero(closure[k])) - {k}
        part = result.parts[f"s{k}"]
        assert {int(name[1:]) for name in part.first} == before
        assert part.reach_minutes == sum(minutes[j] for j in before)
        assert all(place[f"s{j}"] < place[f"s{k}"] for j in before)
        # a direct wait that no longer way implies: the transitive reduction
        bare = {j for j in before if not any(closure[i, j] for i in before - {j})}
        assert {int(name[1:]) for name in part.direct} == bare
