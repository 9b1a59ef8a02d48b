"""Networks against a tableau written here, against ngspice, and against Kirchhoff."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.physics.circuit import Circuit, Solution, reaches, short_circuit, solve


def random_network(seed: int, *, loops_of_contacts: bool = True) -> tuple[Circuit, Any, Any]:
    """A network with wires, ideal contacts, two sources and draws; contacts are closed at random in 8 settings."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 12))
    ends, ohms = [], []
    for node in range(1, n):  # a tree keeps most of it together
        ends.append((node, int(rng.integers(0, node))))
        ohms.append(float(rng.choice([0.0, 10.0 ** rng.uniform(-3.5, 0.0)])))
    for _ in range(int(rng.integers(1, 6))):
        a, b = rng.choice(n, 2, replace=False)
        ends.append((int(a), int(b)))
        ohms.append(float(10.0 ** rng.uniform(-3.5, 0.0)) if rng.random() < 0.7 or not loops_of_contacts else 0.0)
    # the tree's first edge would short the source where it is ideal
    ohms[0] = max(ohms[0], 0.5)
    circuit = Circuit(
        nodes=n,
        ends=np.array(ends, dtype=np.intp),
        resistance_ohm=np.array(ohms),
        source_node=np.array([1, n - 1], dtype=np.intp),
        source_v=np.array([13.8, 12.6]),
        source_ohm=np.array([0.006, 0.01]),
    )
    closed = rng.random((8, len(ends))) < 0.8
    live = reaches(circuit, closed, [0, 1, n - 1])
    drawn = np.zeros((8, n, 2))
    for _ in range(3):
        a, b = rng.choice(n, 2, replace=False)
        amperes = rng.uniform(0.5, 40.0, 2)
        both = (live[:, a] & live[:, b])[:, None]
        drawn[:, a] += both * amperes
        drawn[:, b] -= both * amperes
    return circuit, closed, drawn


def tableau(circuit: Circuit, closed: Any, drawn: Any) -> tuple[Any, Any]:
    """Sparse tableau (Hachtel 1971) of one setting: unknown voltages and edge currents, least norm where they are free."""
    n, e, k = circuit.nodes, len(circuit.ends), len(circuit.source_node)
    rows: list[Any] = []
    right: list[float] = []

    def row() -> Any:
        return np.zeros(n + e + k)

    ground = row()
    ground[0] = 1.0
    rows.append(ground)
    right.append(0.0)
    for node in range(1, n):  # what leaves a node adds up to nothing
        kirchhoff = row()
        for number, (a, b) in enumerate(circuit.ends):
            kirchhoff[n + number] += (a == node) - float(b == node)
        for number, at in enumerate(circuit.source_node):
            kirchhoff[n + e + number] -= at == node
        rows.append(kirchhoff)
        right.append(-drawn[node])
    for number, (a, b) in enumerate(circuit.ends):
        law = row()
        if closed[number]:
            law[a], law[b], law[n + number] = 1.0, -1.0, -circuit.resistance_ohm[number]
        else:
            law[n + number] = 1.0
        rows.append(law)
        right.append(0.0)
    for number, at in enumerate(circuit.source_node):
        law = row()
        law[at], law[n + e + number] = 1.0, circuit.source_ohm[number]
        rows.append(law)
        right.append(float(circuit.source_v[number]))
    found = np.linalg.lstsq(np.array(rows), np.array(right), rcond=1e-13)[0]
    return found[:n], found[n : n + e]


def compare(circuit: Circuit, closed: Any, drawn: Any, solution: Solution) -> tuple[float, float]:
    """Greatest differences in voltage, and in current where the tableau leaves none free, from the tableau."""
    volts, amperes = 0.0, 0.0
    for setting in range(len(closed)):
        for draw in range(drawn.shape[2]):
            v, i = tableau(circuit, closed[setting], drawn[setting, :, draw])
            live = np.isfinite(solution.voltage_v[setting, :, draw])
            volts = max(volts, float(np.abs(v - solution.voltage_v[setting, :, draw])[live].max()))
            real = circuit.resistance_ohm > 0.0
            amperes = max(amperes, float(np.abs(i - solution.current_a[setting, :, draw])[real].max()))
    return volts, amperes


@pytest.mark.parametrize("seed", range(40))
def test_voltages_and_currents_agree_with_a_tableau(seed: int) -> None:
    circuit, closed, drawn = random_network(seed)
    solution = solve(circuit, closed, drawn)
    volts, amperes = compare(circuit, closed, drawn, solution)
    assert volts < 1e-7 and amperes < 1e-4


def test_the_tableau_would_see_a_wrong_resistance() -> None:
    circuit, closed, drawn = random_network(3)
    wrong = replace(circuit, source_ohm=circuit.source_ohm * 1.001)
    assert compare(circuit, closed, drawn, solve(wrong, closed, drawn))[0] > 1e-5


@pytest.mark.parametrize("seed", range(40))
def test_nothing_is_lost_at_any_node(seed: int) -> None:
    """Kirchhoff's current law, for ideal contacts and loops of them too."""
    circuit, closed, drawn = random_network(seed + 100)
    solution = solve(circuit, closed, drawn)
    left = -drawn.copy()
    for number, (a, b) in enumerate(circuit.ends):
        left[:, a] -= solution.current_a[:, number]
        left[:, b] += solution.current_a[:, number]
    for number, node in enumerate(circuit.source_node):
        left[:, node] += solution.source_a[:, number]
        left[:, 0] -= solution.source_a[:, number]
    scale = np.abs(solution.current_a).max() + 1.0
    live = np.isfinite(solution.voltage_v)
    assert np.abs(left[live]).max() < 1e-8 * scale
    assert np.abs(solution.current_a[~closed]).max() == 0.0


def ngspice(circuit: Circuit, closed: Any, drawn: Any, folder: Path, program: str) -> dict[int, float]:
    """Node voltages of one setting as ngspice solves it; ideal contacts are sources of 0 V."""
    lines = ["a network"]
    live = reaches(circuit, closed[None], [0, *map(int, circuit.source_node)])[0]
    for number, (a, b) in enumerate(circuit.ends):
        if not live[a]:
            continue  # a part in the air has no voltage that ngspice could find
        if closed[number] and circuit.resistance_ohm[number] > 0.0:
            lines.append(f"R{number} {a} {b} {circuit.resistance_ohm[number]:.17g}")
        elif closed[number]:
            lines.append(f"VC{number} {a} {b} 0")
    for number, node in enumerate(circuit.source_node):
        lines.append(f"VS{number} s{number} 0 {circuit.source_v[number]:.17g}")
        lines.append(f"RS{number} s{number} {node} {circuit.source_ohm[number]:.17g}")
    for node, amperes in enumerate(drawn):
        if node and amperes:
            lines.append(f"I{node} {node} 0 {amperes:.17g}")
    lines += [".options reltol=1e-9 abstol=1e-12 vntol=1e-9", ".control", "set numdgt=12", "op"]
    nodes = [node for node in range(1, circuit.nodes) if live[node]]
    lines += [f"print v({node})" for node in nodes] + ["quit", ".endc", ".end"]
    file = folder / "network.cir"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    run = subprocess.run(
        [program, "-b", file.name], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    found = {int(node): float(volts) for node, volts in re.findall(r"v\((\d+)\) = (\S+)", run.stdout)}
    assert sorted(found) == nodes, run.stdout + run.stderr
    return found


@pytest.mark.parametrize("seed", range(12))
def test_ngspice_finds_the_same_voltages(seed: int, tmp_path: Path) -> None:
    """ngspice 39 on random networks with two batteries, wires, contacts and constant draws."""
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ngspice is required where CI=true")
        pytest.skip("ngspice is not installed")
    circuit, closed, drawn = random_network(seed + 200, loops_of_contacts=False)
    solution = solve(circuit, closed, drawn)
    for setting in range(3):
        told = ngspice(circuit, closed[setting], drawn[setting, :, 0], tmp_path, program)
        for node, volts in told.items():
            assert solution.voltage_v[setting, node, 0] == pytest.approx(volts, abs=2e-6)


def ladder(*ohms: float, source_ohm: float = 0.006) -> Circuit:
    """Node 1 at the battery, then one node after each resistance."""
    return Circuit(
        nodes=2 + len(ohms),
        ends=np.array([(1 + k, 2 + k) for k in range(len(ohms))], dtype=np.intp),
        resistance_ohm=np.array(ohms),
        source_node=np.array([1], dtype=np.intp),
        source_v=np.array([12.6]),
        source_ohm=np.array([source_ohm]),
    )


def test_a_short_circuit_draws_what_ohm_says() -> None:
    circuit = ladder(0.004, 0.0, 0.09)
    current = short_circuit(circuit, np.array([[True, True, True], [True, False, True]]))
    assert current[0, 1:] == pytest.approx([12.6 / 0.006, 12.6 / 0.01, 12.6 / 0.01, 12.6 / 0.1], rel=1e-9)
    assert current[1, 1:3] == pytest.approx([12.6 / 0.006, 12.6 / 0.01], rel=1e-9)
    assert current[1, 3:].tolist() == [0.0, 0.0], "behind an open contact nothing flows"


def test_a_source_without_resistance_keeps_its_voltage() -> None:
    circuit = ladder(0.1, source_ohm=0.0)
    drawn = np.zeros((1, 3, 1))
    drawn[0, 2], drawn[0, 0] = 10.0, -10.0
    solution = solve(circuit, np.array([[True]]), drawn)
    assert solution.voltage_v[0, 1:, 0] == pytest.approx([12.6, 11.6], abs=1e-6)
    assert solution.source_a[0, 0, 0] == pytest.approx(10.0, rel=1e-6)


def test_what_hangs_in_the_air_has_no_voltage() -> None:
    circuit = ladder(0.1, 0.1)
    solution = solve(circuit, np.array([[False, True]]), np.zeros((1, 4, 1)))
    assert np.isnan(solution.voltage_v[0, 2:, 0]).all() and np.isfinite(solution.voltage_v[0, :2, 0]).all()


@given(st.data())
def test_reach_is_what_walking_finds(data: st.DataObject) -> None:
    n = data.draw(st.integers(2, 8))
    node = st.integers(0, n - 1)
    ends = data.draw(st.lists(st.tuples(node, node), min_size=1, max_size=12))
    shut = data.draw(st.lists(st.booleans(), min_size=len(ends), max_size=len(ends)))
    start = data.draw(node)
    circuit = replace(ladder(0.1), nodes=n, ends=np.array(ends, dtype=np.intp))
    seen, todo = {start}, [start]
    while todo:
        at = todo.pop()
        for (a, b), closed in zip(ends, shut, strict=True):
            for here, there in ((a, b), (b, a)):
                if closed and here == at and there not in seen:
                    seen.add(there)
                    todo.append(there)
    found = reaches(circuit, np.array([shut]), [start])[0]
    assert set(np.flatnonzero(found).tolist()) == seen
