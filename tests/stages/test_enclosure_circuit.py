"""Boxes of a build against a circuit drawn from the contract's words alone: every drive unit, port and radiator by itself.

The outside here is Kirchhoff's laws and Newton's, written as one linear pencil G + sC over currents, velocities, spring
forces, pressures and flows (nodal analysis; Beranek & Mellow 2012, ch. 3), solved by LAPACK. Nothing of it is shared with
``physics.box``: no reduction to one drive unit, no common port, no closed formula. Resonance and Q come from its phase.
"""

from __future__ import annotations

from math import log10, pi, sqrt
from typing import Any

import numpy as np
import pytest
import scipy.optimize
from numpy.typing import NDArray

from cabinwright.handover.json_text import plain
from stages.boxed import planned, unsearched

pytestmark = pytest.mark.usefixtures(unsearched.__name__)

Rng = np.random.Generator
DENSITY, SPEED = 1.204, 343.2  # of dry air at 20 °C and 101 325 Pa
WITHIN_DB = 0.02  # the contract asks for 0.1
KINDS = ("sealed", "vented", "passive radiator", "infinite baffle")
WIRINGS = {"single": [[0]], "parallel": [[0], [1], [2]], "series": [[0, 1]], "series-parallel": [[0, 1], [2, 3]]}
SETS = (
    ("fs_hz", "qes", "qms", "vas_m3", "re_ohm", "sd_m2"),
    ("mms_kg", "cms_m_per_n", "bl_t_m", "qms", "re_ohm", "sd_m2"),
    ("fs_hz", "qts", "qms", "vas_m3", "re_ohm", "sd_m2"),
    ("fs_hz", "mms_kg", "bl_t_m", "qts", "re_ohm", "sd_m2"),
    ("vas_m3", "mms_kg", "bl_t_m", "qms", "re_ohm", "sd_m2"),
    ("mms_kg", "qes", "qms", "bl_t_m", "re_ohm", "sd_m2"),
    ("vas_m3", "cms_m_per_n", "fs_hz", "qts", "qes", "re_ohm"),
    ("mms_kg", "cms_m_per_n", "bl_t_m", "qes", "qms", "vas_m3"),
)


def drawn_unit(rng: Rng) -> dict[str, float]:
    """Every figure of a drive unit of 13 to 40 cm, the loose ones drawn, the rest by their definitions."""
    area = rng.uniform(0.013, 0.085)
    mass = area * rng.uniform(1.5, 6.0)
    fs, qes, qms, re = rng.uniform(20, 55), rng.uniform(0.25, 0.8), rng.uniform(2, 12), rng.uniform(1.6, 7.0)
    w = 2 * pi * fs
    figures = {"fs_hz": fs, "qes": qes, "qms": qms, "re_ohm": re, "sd_m2": area, "mms_kg": mass}
    figures |= {"cms_m_per_n": 1 / (w * w * mass), "bl_t_m": sqrt(w * mass * re / qes), "rms": w * mass / qms}
    figures |= {"vas_m3": DENSITY * SPEED**2 * figures["cms_m_per_n"] * area**2, "qts": 1 / (1 / qes + 1 / qms)}
    figures |= {"le_h": float(rng.choice([0.0, rng.uniform(0.2e-3, 3e-3)])), "xmax_m": rng.uniform(4e-3, 0.02)}
    return figures | {"pe_w": rng.uniform(60, 900)}


class Pencil:
    """Unknowns by name and equations G x + s C x = b."""

    def __init__(self) -> None:
        self.names: dict[str, int] = {}
        self.rows: list[tuple[dict[str, float], dict[str, float], float]] = []

    def equation(self, plain_: dict[str, float], rate: dict[str, float] | None = None, right: float = 0.0) -> None:
        for name in (*plain_, *(rate or {})):
            self.names.setdefault(name, len(self.names))
        self.rows.append((plain_, rate or {}, right))

    def matrices(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        size = len(self.names)
        assert len(self.rows) == size
        g, c, b = np.zeros((size, size)), np.zeros((size, size)), np.zeros(size)
        for row, (still, rate, right) in enumerate(self.rows):
            for name, value in still.items():
                g[row, self.names[name]] += value
            for name, value in rate.items():
                c[row, self.names[name]] += value
            b[row] = right
        return g, c, b

    def at(self, frequency_hz: NDArray[np.float64]) -> dict[str, NDArray[np.complex128]]:
        g, c, b = self.matrices()
        s = 2j * pi * np.asarray(frequency_hz)[:, None, None]
        x = np.linalg.solve(g + s * c, np.broadcast_to(b[:, None], (len(frequency_hz), len(b), 1)))[..., 0]
        return {name: x[:, at] for name, at in self.names.items()}


def circuit(unit: dict[str, float], case: dict[str, Any], *, coil: bool = True) -> Pencil:
    """The whole box; ``coil`` False leaves the inductance out."""
    net = Pencil()
    strings = WIRINGS[case["wiring"]]
    ground = "p" if case["kind"] != "infinite baffle" else None
    flows = dict[str, float]()
    for string in strings:
        first = string[0]
        volts: dict[str, float] = {}
        rate: dict[str, float] = {}
        for k in string:
            current = f"i{first}"  # one current through a string
            volts = volts | {f"u{k}": unit["bl_t_m"]}
            volts[current] = volts.get(current, 0.0) + unit["re_ohm"]
            rate[current] = rate.get(current, 0.0) + (unit["le_h"] if coil else 0.0)
            push = {current: -unit["bl_t_m"], f"u{k}": unit["rms"], f"spring{k}": 1.0}
            net.equation(push | ({ground: unit["sd_m2"]} if ground else {}), {f"u{k}": unit["mms_kg"]})
            net.equation({f"u{k}": -1.0}, {f"spring{k}": unit["cms_m_per_n"]})
            flows[f"u{k}"] = unit["sd_m2"]
        net.equation(volts, rate, case["source_v"])
    if ground is None:
        return net
    air = case["volume_m3"] / (DENSITY * SPEED**2)
    ways: dict[str, float] = {}
    at = 2 * pi * case["tuned_hz"]
    if case["ql"] is not None:
        net.equation({"leak": case["ql"] / (at * air), "p": -1.0})
        ways["leak"] = -1.0
    for k in range(case.get("ports", 0)):  # each an own mass of air; together they tune the box
        net.equation({"p": -1.0}, {f"port{k}": case["ports"] / (at**2 * air)})
        ways[f"port{k}"] = -1.0
    part = case.get("radiator")
    for k in range(part["count"] if part else 0):
        area = part["sd_m2"]
        loss = sqrt(part["mms_kg"] / part["cms_m_per_n"]) / part["qms"] if part["qms"] else 0.0
        net.equation({"p": -area, f"ur{k}": loss, f"fr{k}": 1.0}, {f"ur{k}": part["mms_kg"]})
        net.equation({f"ur{k}": -1.0}, {f"fr{k}": part["cms_m_per_n"]})
        ways[f"ur{k}"] = -area
    net.equation({name: -value for name, value in (flows | ways).items()}, {"p": air})
    return net


def outwards(unit: dict[str, float], case: dict[str, Any], told: dict[str, Any]) -> Any:
    """Volume flow into the half space: cones forward, and what leaves the box, which is the rest of the air's balance."""
    cones: Any = sum(told[name] for name in told if name[0] == "u" and name[1:].isdigit()) * unit["sd_m2"]
    back = sum(told[name] for name in told if name.startswith("port")) + told.get("leak", 0.0)
    area = case["radiator"]["sd_m2"] if case.get("radiator") else 0.0
    return cones - back - area * sum(told[name] for name in told if name.startswith("ur"))


def level(unit: dict[str, float], case: dict[str, Any], frequency_hz: Any, *, coil: bool = True) -> Any:
    """dB re 20 µPa at 1 m: p = ρ ω U / (2π r)."""
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    return 20 * np.log10(DENSITY * f * np.abs(outwards(unit, case, circuit(unit, case, coil=coil).at(f))) / 20e-6)


def drawn(seed: int) -> tuple[dict[str, float], dict[str, Any], str, str]:
    """A unit, a case, and the two tables of a build that say the same."""
    rng = np.random.default_rng(seed)
    unit, kind = drawn_unit(rng), KINDS[seed % 4]
    wiring = list(WIRINGS)[(seed // 4) % 4]
    count = sum(map(len, WIRINGS[wiring]))
    power, volume = rng.uniform(20, 800), unit["vas_m3"] * count * rng.uniform(0.3, 2.0)
    case: dict[str, Any] = {"kind": kind, "wiring": wiring, "source_v": sqrt(power * unit["re_ohm"]), "ql": None}
    lines = [f"power_w = {power!r}"]
    if kind != "infinite baffle":
        case["volume_m3"] = volume
        lines.append(f"volume_m3 = {volume!r}")
        stated = bool(rng.integers(2))
        case["ql"] = rng.uniform(4, 40) if stated else 10.0 if kind == "vented" else None
        lines += [f"ql = {case['ql']!r}"] * stated
        case["tuned_hz"] = unit["fs_hz"] * sqrt(1 + count * unit["vas_m3"] / volume)  # where sealed
    if kind == "vented":
        case["tuned_hz"] = rng.uniform(0.7, 1.2) * unit["fs_hz"]
        case["ports"] = int(rng.integers(1, 4))
        side, other = rng.uniform(0.06, 0.12), rng.uniform(0.03, 0.12)
        slot = bool(rng.integers(2))
        case["port_m2"] = side * other if slot else pi / 4 * side**2
        shape = f"width_m = {side!r}, height_m = {other!r}" if slot else f"diameter_m = {side!r}"
        lines += [f"tuning_hz = {case['tuned_hz']!r}", f"port = {{{shape}, count = {case['ports']}}}"]
    if kind == "passive radiator":
        area, own = rng.uniform(1.0, 2.0) * unit["sd_m2"], rng.uniform(8, 18)
        mass = area * rng.uniform(5, 15)
        part = {"mms_kg": mass, "cms_m_per_n": 1 / ((2 * pi * own) ** 2 * mass), "sd_m2": area}
        part |= {"qms": rng.uniform(4, 15) if rng.integers(2) else None, "count": int(rng.integers(1, 4))}
        case["radiator"] = part
        stiff = part["count"] * DENSITY * SPEED**2 * area**2 / volume + 0.0
        case["tuned_hz"] = sqrt((stiff + 1 / part["cms_m_per_n"]) / mass) / (2 * pi)
        lines.append("radiator = {" + ", ".join(f"{k} = {v!r}" for k, v in part.items() if v is not None) + "}")
    if count > 1:
        lines += [f"speakers = [{', '.join(chr(34) + 's' + str(k) + chr(34) for k in range(count))}]"]
        lines += [f'wiring = "{wiring}"']
    figures = {key: unit[key] for key in (*SETS[seed % len(SETS)], "le_h", "xmax_m", "pe_w")}
    model = "".join(f"{key} = {float(value)!r}\n" for key, value in figures.items() if value)
    box = f'[[boxes]]\nname = "bay"\nmodel = "ten"\nkind = "{kind}"\n' + "\n".join(lines) + "\n"
    return unit, case, f'[[speaker_models]]\nname = "ten"\n{model}', box


def worst_db(ours: Any, theirs: Any) -> float:
    return float(np.max(np.abs(20 * np.log10(np.asarray(ours) / np.asarray(theirs)))))


@pytest.mark.parametrize("seed", range(24))
def test_a_box_is_what_its_circuit_does(seed: int) -> None:
    unit, case, model, box = drawn(seed)
    row: dict[str, Any] = plain(planned(box, model=model).to_dict())["boxes"]["bay"]
    response = row["response"]
    f = np.asarray(response["frequency_hz"])
    told = circuit(unit, case).at(f)
    theirs = level(unit, case, f)
    assert np.max(np.abs(np.asarray(response["level_db"]) - theirs)) < WITHIN_DB
    travel = sqrt(2) * np.abs(told["u0"]) / (2 * pi * f)
    assert worst_db(response["excursion_m"], travel) < WITHIN_DB
    taken = sum(told[f"i{string[0]}"] for string in WIRINGS[case["wiring"]])
    assert worst_db(response["impedance_ohm"], case["source_v"] / np.abs(taken)) < WITHIN_DB
    if case["kind"] == "vented":
        assert worst_db(response["port_velocity_m_s"], sqrt(2) * np.abs(told["port0"]) / case["port_m2"]) < WITHIN_DB
        assert row["tuning_hz"] == row["system_resonance_hz"] == pytest.approx(case["tuned_hz"], rel=1e-5)
    elif case["kind"] == "passive radiator":
        assert worst_db(response["port_velocity_m_s"], sqrt(2) * np.abs(told["ur0"])) < WITHIN_DB
        assert row["tuning_hz"] == row["system_resonance_hz"] == pytest.approx(case["tuned_hz"], rel=1e-5)
    else:
        assert np.max(np.abs(response["port_velocity_m_s"])) == 0.0
        _resonance(unit, case, row)
    own_v = case["source_v"] * unit["re_ohm"] / (unit["re_ohm"] * max(map(len, WIRINGS[case["wiring"]])))
    power = 20 * log10(sqrt(unit["pe_w"] * unit["re_ohm"]) / own_v)
    most = theirs + np.minimum(power, 20 * np.log10(unit["xmax_m"] / travel))
    assert np.max(np.abs(np.asarray(row["max_level_db"]) - most)) < WITHIN_DB
    _half_power(unit, case, row)


def _resonance(unit: dict[str, float], case: dict[str, Any], row: dict[str, Any]) -> None:
    """Small 1972: s²/(s² + s ω/Q + ω²) is jQ at the resonance, the coil left out. A leak adds a slope of its own to what is
    heard: there it is where the current is in phase, but for the square of its loss."""
    net, close = circuit(unit, case, coil=False), case["ql"] is None

    def share(frequency_hz: float) -> complex:
        told, far = (net.at(np.asarray([f])) for f in (frequency_hz, 1e9))
        if not close:
            return complex(1j * told["i0"][0])
        return complex(frequency_hz / 1e9 * (outwards(unit, case, told) / outwards(unit, case, far))[0])

    low, high = 0.5 * row["system_resonance_hz"], 2.0 * row["system_resonance_hz"]
    root = scipy.optimize.brentq(lambda f: share(f).real, low, high)
    assert row["system_resonance_hz"] == pytest.approx(root, rel=2e-4 if close else 1.0 / case["ql"] ** 2)
    if close:
        assert row["q_tc"] == pytest.approx(abs(share(root)), rel=2e-4)


def _half_power(unit: dict[str, float], case: dict[str, Any], row: dict[str, Any]) -> None:
    """The lowest frequency at half the power far above resonance, by Brent's method on the circuit."""
    grid = np.geomspace(2.0, 2000.0, 4000)
    goal = float(level(unit, case, 1e5, coil=False)[0]) - 10 * log10(2)
    above = level(unit, case, grid, coil=False) >= goal
    first = int(np.argmax(above))
    root = scipy.optimize.brentq(
        lambda f: float(level(unit, case, f, coil=False)[0]) - goal, grid[first - 1], grid[first], xtol=1e-9
    )
    assert row["f3_hz"] == pytest.approx(root, rel=1e-5)
