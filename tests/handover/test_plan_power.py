"""``plan.json`` on the electrical system: every key is documented, the fixed names are in place, and the guide's build runs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.plan import plan_json
from cabinwright.pipeline import design
from handover.test_plan_layout import keys
from stages.wired import CAR, HEAD

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "plan.md").read_text(encoding="utf-8")
SECTION = PAGE[PAGE.index("## power\n") : PAGE.index("## tuning\n")]


def planned(text: str) -> Any:
    build = parse(text)
    return json.loads(plan_json(build, design(build, None, lambda what, share: None)))


@pytest.fixture(scope="module")
def power() -> Any:
    return planned(CAR)["power"]


def test_every_key_is_documented(power: Any) -> None:
    names = (*power["wires"], *power["fuses"], *power["loads"], "boot", "key")
    told = set(keys({**power, "findings": []}, named=names))
    assert len(told) > 60
    assert {key for key in told if f"`{key}`" not in SECTION} == set()


def test_the_fixed_names_are_where_they_belong(power: Any) -> None:
    wire = power["wires"]["amplifier feed"]
    assert {"gauge", "area_mm2", "resistance_ohm", "current_a", "drop_v", "ampacity_a", "state"} <= set(wire)
    assert {"rating_a", "load_a", "prospective_a", "clears"} <= set(power["fuses"]["main"])
    load = power["loads"]["boot lights"]
    assert {"voltage_v", "current_a", "by_state"} <= set(load)
    assert set(load["by_state"][0]) == {"state", "on", "voltage_v", "current_a"}
    assert power["promises"] == [
        {"text": "boot lights burn only while the boot is open", "holds": True, "counterexample": None}
    ]
    assert power["faults"] and power["budget"]["average_a"] > 0.0
    assert "power.care" in {item["code"] for item in power["findings"]}, "cautions stand beside the numbers"


def test_a_build_without_a_supply_says_what_it_would_need() -> None:
    data = planned(HEAD)
    assert data["power"] is None and "[supply]" in data["skipped"]["power"]


def test_the_build_in_the_guide_holds_what_it_promises() -> None:
    guide = (DOCS / "power.md").read_text(encoding="utf-8")
    example = guide[guide.index("    [supply]") : guide.index("Names of nodes are yours")]
    text = HEAD + "\n".join(line[4:] for line in example.splitlines())
    data = planned(text)["power"]
    assert data["promises"][0]["holds"] and len(data["loads"]["boot lights"]["by_state"]) == 2
    wrong = planned(text.replace('closed_when = {boot = "open"}', 'closed_when = {boot = "closed"}'))["power"]
    assert wrong["promises"][0]["counterexample"] == {"boot": "closed"}
