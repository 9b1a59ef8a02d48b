"""Whole builds through plan.json against ngspice: every wire's worst state, every load in every state, hum and inrush."""

from __future__ import annotations

import json
import math
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.json_text import json_text, plain
from cabinwright.stages import power
from physics.spice import spice
from stages.wired import HEAD

STATES = {"boot": ["open", "closed"], "key": ["off", "on"], "door": ["open", "closed"]}
AREA_MM2 = {"1 mm2": 1.0, "6 mm2": 6.0, "25 mm2": 25.0, "4 AWG": math.pi / 4.0 * (0.127 * 92.0 ** (32 / 39)) ** 2}
RHO, BATTERY_OHM, SECOND_OHM = 1.7241e-2, 0.006, 0.009


def plan(result: Any) -> Any:
    return json.loads(json_text(plain(result.to_dict())))


def invented(seed: int) -> dict[str, Any]:
    """Feeds that branch from the battery, cross links, returns through wires or straight to the chassis."""
    rng = np.random.default_rng(seed)
    feeds, parts, loads = ["battery plus"], list[dict[str, Any]](), list[dict[str, Any]]()
    for k in range(int(rng.integers(4, 9))):
        start, end = str(rng.choice(feeds)), f"n{k}"
        kind = str(rng.choice(["wire", "wire", "fuse", "switch"]))
        row: dict[str, Any] = {"kind": kind, "name": f"p{k}", "from": start, "to": end, "ohm": 0.0}
        if kind == "wire":
            row["length_m"], row["gauge"] = round(float(rng.uniform(0.2, 6.0)), 3), str(rng.choice(list(AREA_MM2)))
        elif rng.random() < 0.5:
            row["ohm"] = round(float(rng.uniform(0.001, 0.02)), 4)
        if kind == "switch":
            name = str(rng.choice(list(STATES)))
            row["when"] = {name: str(rng.choice(STATES[name]))}
        if rng.random() < 0.5:  # which end is which means nothing
            row["from"], row["to"] = row["to"], row["from"]
        parts.append(row)
        feeds.append(end)
    for k in range(int(rng.integers(1, 4))):
        a, b = (str(node) for node in rng.choice(feeds, 2, replace=False))
        length = round(float(rng.uniform(0.2, 4.0)), 3)
        parts.append(
            {"kind": "wire", "name": f"x{k}", "from": a, "to": b, "length_m": length, "gauge": "6 mm2", "ohm": 0.0}
        )
    for k in range(int(rng.integers(2, 5))):
        back = "chassis" if rng.random() < 0.4 else f"g{k}"
        if back != "chassis":
            length = round(float(rng.uniform(0.1, 1.0)), 3)
            parts.append(
                {
                    "kind": "wire",
                    "name": f"r{k}",
                    "from": back,
                    "to": "chassis",
                    "length_m": length,
                    "gauge": "1 mm2",
                    "ohm": 0.0,
                }
            )
        draw = [("current_a", 2.5), ("power_w", 31.0), ("amplifier", 80.0)][int(rng.integers(3))]
        loads.append({"name": f"l{k}", "from": str(rng.choice(feeds[1:])), "to": back, draw[0]: draw[1]})
    for row in parts:
        if row["kind"] == "wire":
            row["ohm"] = RHO * row["length_m"] / AREA_MM2[row["gauge"]]
    return {"parts": parts, "loads": loads, "second": feeds[-1] if rng.random() < 0.5 else None}


def written(car_: dict[str, Any]) -> str:
    second = f'second_battery = {{capacity_ah = 40, resistance_ohm = {SECOND_OHM}, plus = "{car_["second"]}", open_v = 12.9}}\n'
    lines = [HEAD, f"[supply]\nnominal_v = 13.8\nbattery = {{capacity_ah = 80, resistance_ohm = {BATTERY_OHM}}}\n"]
    lines += [second] if car_["second"] else []
    tables = {"wire": "wires", "fuse": "fuses", "switch": "switches"}
    for row in car_["parts"]:
        lines.append(f'[[{tables[row["kind"]]}]]\nname = "{row["name"]}"\nfrom = "{row["from"]}"\nto = "{row["to"]}"\n')
        if row["kind"] == "wire":
            lines.append(f'length_m = {row["length_m"]}\ngauge = "{row["gauge"]}"\n')
        else:
            lines.append(f"resistance_ohm = {row['ohm']}\n")
        if row["kind"] == "switch":
            ((name, value),) = row["when"].items()
            lines.append(f'closed_when = {{{name} = "{value}"}}\n')
    for row in car_["loads"]:
        lines.append(f'[[loads]]\nname = "{row["name"]}"\nfrom = "{row["from"]}"\nto = "{row["to"]}"\n')
        if "amplifier" in row:
            lines.append(f'amplifier = {{output_w = {row["amplifier"]}, class = "D"}}\n')
        else:
            lines += [f"{key} = {row[key]}\n" for key in ("current_a", "power_w") if key in row]
    lines += [f'[[states]]\nname = "{name}"\nvalues = {json.dumps(words)}\n' for name, words in STATES.items()]
    return "".join(lines)


def drawn_a(row: dict[str, Any]) -> float:
    return float(row.get("current_a") or row.get("power_w", 0.0) / 13.8 or row.get("amplifier", 0.0) / 0.85 / 13.8)


def solved(car_: dict[str, Any], state: dict[str, str], folder: Path) -> tuple[dict[str, float], dict[str, float]]:
    """Voltages of nodes and currents of wires as ngspice has them; what reaches no battery is not there."""
    shut = [
        row for row in car_["parts"] if row["kind"] != "switch" or all(state[k] == v for k, v in row["when"].items())
    ]
    live = {"battery plus", *([car_["second"]] if car_["second"] else [])}
    while (
        more := {
            b
            for row in shut
            for a, b in ((row["from"], row["to"]), (row["to"], row["from"]))
            if a in live and a != "chassis"
        }
        - live
    ):
        live |= more
    grounded = {row["to"] for row in car_["loads"]} | {"chassis"}
    nodes = {name: k for k, name in enumerate(["chassis", *sorted((live | grounded) - {"chassis"})])}
    deck = ["V1 s1 0 13.8", f"R1 s1 {nodes['battery plus']} {BATTERY_OHM}"]
    if car_["second"]:
        deck += ["V2 s2 0 12.9", f"R2 s2 {nodes[car_['second']]} {SECOND_OHM}"]
    for k, row in enumerate(shut):
        if row["from"] in nodes and row["to"] in nodes:
            a, b = nodes[row["from"]], nodes[row["to"]]
            deck.append(f"VM{k} {a} m{k} 0")
            deck.append(f"RP{k} m{k} {b} {row['ohm']:.17g}" if row["ohm"] else f"VP{k} m{k} {b} 0")
    for k, row in enumerate(car_["loads"]):
        if row["from"] in live:
            deck.append(f"IL{k} {nodes[row['from']]} {nodes[row['to']]} {drawn_a(row):.17g}")
    control = [".options reltol=1e-9 abstol=1e-12 vntol=1e-9", "op", *(f"print v({k})" for k in nodes.values() if k)]
    wires = [
        (k, row) for k, row in enumerate(shut) if row["kind"] == "wire" and row["from"] in nodes and row["to"] in nodes
    ]
    told = spice([*deck, control[0]], [*control[1:], *(f"print i(vm{k})" for k, _ in wires)], folder)
    volts = {name: told.get(f"v({k})", 0.0) for name, k in nodes.items()}
    return volts, {row["name"]: abs(told[f"i(vm{k})"]) for k, row in wires}


@pytest.mark.parametrize("seed", range(8))
def test_ngspice_finds_what_the_plan_says(seed: int, tmp_path: Path) -> None:
    car_ = invented(seed)
    told = plan(power.run(parse(written(car_))))
    combinations = [dict(zip(STATES, row, strict=True)) for row in product(*STATES.values())]
    found = [solved(car_, state, tmp_path) for state in combinations]
    for row in (row for row in car_["parts"] if row["kind"] == "wire"):
        amperes = [currents.get(row["name"], 0.0) for _, currents in found]
        wire = told["wires"][row["name"]]
        assert wire["resistance_ohm"] == pytest.approx(row["ohm"], rel=1e-5)
        assert wire["current_a"] == pytest.approx(max(amperes), rel=2e-5, abs=2e-5)
        assert wire["drop_v"] == pytest.approx(max(amperes) * row["ohm"], rel=3e-5, abs=2e-7)
        assert amperes[combinations.index(wire["state"])] == pytest.approx(max(amperes), rel=2e-5, abs=2e-5)
    for row in car_["loads"]:
        by_state = told["loads"][row["name"]]["by_state"]
        assert [item["state"] for item in by_state] == combinations
        for item, (volts, _) in zip(by_state, found, strict=True):
            on = row["from"] in volts
            across = volts[row["from"]] - volts[row["to"]] if on else 0.0
            assert item["on"] == on
            assert item["current_a"] == pytest.approx(drawn_a(row) if on else 0.0, rel=1e-5)
            assert item["voltage_v"] == pytest.approx(across, abs=2e-4)
