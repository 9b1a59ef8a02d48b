"""Levels, noise, joined coils and amplifiers against worked examples, ngspice and a nodal analysis of its own."""

from __future__ import annotations

import math
import os
import random
import re
import shutil
import subprocess
import tomllib
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.physics.amplifier import OutputStage, music_share
from cabinwright.physics.coils import Arrangement, arrangements, join
from cabinwright.physics.gain import (
    bridging_share,
    decibels,
    factor,
    filtered_noise_factor,
    pad_ohm,
    parallel_ohm,
    quantisation_db,
    summed_noise_v,
)

FILE = Path(__file__).parents[1] / "references" / "gain.toml"
ENTRIES = {row["id"]: row for row in tomllib.loads(FILE.read_text(encoding="utf-8"))["entry"]}


def agrees(got: Any, key: str) -> bool:
    """Whether ``got`` is what the reference says, and a value as far off as a tolerance would hide is refused."""
    entry = ENTRIES[key]
    wanted, mine = np.asarray(entry["expected"], dtype=float), np.asarray(got, dtype=float)
    # Printed to seven digits: where the entry asks for an exact value, that is all there is to agree with.
    room = entry["tol_abs"] + max(entry["tol_rel"], 6e-7) * np.abs(wanted)
    off = np.abs(mine - wanted)
    assert not np.all(np.abs(mine * 1.003 + 0.01 - wanted) <= room)
    return bool(np.all(off <= room))


def test_voltage_of_a_power() -> None:
    """V = sqrt(P R): what an amplifier with one stated power swings to."""
    inputs = ENTRIES["G.power.voltage"]["inputs"]
    got = [
        [OutputStage(((r, p),), 14.4, True).clip_v(load_ohm=r, supply_v=11.0) for r in inputs["R"]] for p in inputs["P"]
    ]
    assert agrees(got, "G.power.voltage")


def test_gain_from_source_to_output() -> None:
    """Gain that brings a source's voltage to an amplifier's stated power."""
    cases = ((2.0, 500.0, 2.0), (4.0, 100.0, 4.0), (0.5, 75.0, 4.0))
    got = [decibels(OutputStage(((r, p),), 14.4, False).clip_v(load_ohm=r, supply_v=14.4) / v) for v, p, r in cases]
    assert agrees(got, "G.gain")


def test_level_below_full_scale_in_volts() -> None:
    levels = (-20, -12, -10, -6, -5, -3)
    assert agrees([ENTRIES["G.dbfs.volts"]["inputs"]["FS_V"] * factor(level) for level in levels], "G.dbfs.volts")


def test_quantisation() -> None:
    assert agrees([quantisation_db(bits) for bits in ENTRIES["G.quant"]["inputs"]["bits"]], "G.quant")


def test_noise_through_three_stages() -> None:
    """Worked example: gains 0, 6 and 26 dB, noises at each input."""
    inputs = ENTRIES["G.snr.chain"]["inputs"]
    gains, noises = inputs["gain_dB"], inputs["en_dBV"]
    whole = [factor(noise + sum(gains[number:])) for number, noise in enumerate(noises)]
    level = inputs["Vin_dBV"] + sum(gains)
    assert agrees([level, level - decibels(summed_noise_v(whole))], "G.snr.chain")


def test_music_and_sine() -> None:
    """A crest factor of 12 dB leaves 12.6 W of 100 W sine."""
    assert 100.0 * music_share(12.0) == pytest.approx(ENTRIES["G.crest"]["expected"][3], abs=1e-3)
    assert music_share(10.0 * math.log10(2.0)) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="crest factor"):
        music_share(-1.0)


def test_bridged_pair() -> None:
    """Each channel of a bridged pair sees half the load; four times the power of one at the same least load."""
    seen, least, ratio = ENTRIES["G.load.bridge"]["expected"]
    single = OutputStage(((seen, 150.0), (4.0, 100.0)), 14.4, False)
    pair = single.bridged()
    assert pair.lowest_ohm == least
    one = OutputStage(((4.0, 100.0),), 14.4, False)
    held = one.bridged().power_w(load_ohm=4.0, supply_v=14.4) / one.power_w(load_ohm=4.0, supply_v=14.4)
    assert held == pytest.approx(ratio)
    assert pair.power_w(load_ohm=4.0, supply_v=14.4) == pytest.approx(2.0 * 150.0)


def test_amplifier_between_stated_loads_is_a_source_behind_a_resistance() -> None:
    """Stated powers computed here from E = 30 V behind 0.3 ohm; every load between must follow the divider."""
    e, inner = 30.0, 0.3
    powers = tuple((r, (e * r / (r + inner)) ** 2 / r) for r in (1.0, 2.0, 4.0))
    stage = OutputStage(powers, 14.4, False)
    for load in (1.0, 1.3, 1.99, 2.0, 2.7, 4.0, 0.7):
        assert stage.clip_v(load_ohm=load, supply_v=14.4) == pytest.approx(e * load / (load + inner), rel=1e-12)
    held = e * 4.0 / 4.3
    assert stage.clip_v(load_ohm=8.0, supply_v=14.4) == pytest.approx(held)
    assert stage.clip_v(load_ohm=None, supply_v=14.4) == pytest.approx(held)
    assert stage.clip_v(load_ohm=2.7, supply_v=14.4) != pytest.approx(e, rel=1e-3)


@given(st.floats(9.0, 16.0), st.floats(0.5, 16.0))
def test_power_goes_as_the_square_of_the_supply(supply_v: float, load_ohm: float) -> None:
    powers = ((4.0, 75.0), (2.0, 120.0))
    soft, stiff = (OutputStage(powers, 14.4, kind) for kind in (False, True))
    ratio = soft.power_w(load_ohm=load_ohm, supply_v=supply_v) / stiff.power_w(load_ohm=load_ohm, supply_v=supply_v)
    assert ratio == pytest.approx((supply_v / 14.4) ** 2)


def test_stated_powers_that_no_resistance_explains_never_raise_the_guess() -> None:
    """More voltage into less load than into more: below the lowest the voltage is held, never raised further."""
    odd = OutputStage(((4.0, 100.0), (2.0, 250.0)), 14.4, False)
    assert odd.clip_v(load_ohm=1.0, supply_v=14.4) == pytest.approx(math.sqrt(500.0))
    with pytest.raises(ValueError, match="one stated power"):
        OutputStage((), 14.4, False)


def test_pad_keeps_its_loss() -> None:
    """The published L-pad into 4 ohm from a source of no resistance, its series resistor given."""
    for loss, (series, shunt) in zip((3.0, 6.0, 10.0), ENTRIES["C.passive.lpad"]["expected"], strict=True):
        got = pad_ohm(loss_db=loss, output_ohm=0.0, input_ohm=4.0, series_ohm=series)
        assert got == pytest.approx(shunt, rel=1e-5)
    with pytest.raises(ValueError, match="alone loses more"):
        pad_ohm(loss_db=1.0, output_ohm=100.0, input_ohm=1000.0, series_ohm=5000.0)


def test_white_noise_through_filters() -> None:
    """A first-order low-pass lets pi/2 of its corner through; here up to 20 kHz, so the arctangent."""
    f = np.geomspace(10.0, 22_000.0, 3000)
    corner = 500.0
    got = filtered_noise_factor(1.0 / (1.0 + 1j * f / corner), frequency_hz=f)
    exact = corner * (math.atan(20_000.0 / corner) - math.atan(20.0 / corner)) / 19_980.0
    assert got == pytest.approx(math.sqrt(exact), rel=2e-3)
    assert filtered_noise_factor(np.ones_like(f), frequency_hz=f) == pytest.approx(1.0)


# Joined coils: nodal analysis, written here, on the resistors one by one.


def by_nodes(parts: list[float], strings: int) -> tuple[float, list[float], list[float]]:
    """Resistance, voltages and powers from a conductance matrix, for one volt over all."""
    many = len(parts) // strings
    wires, node = [], 2
    for string in range(strings):
        here = 1
        for number in range(many):
            there = 0 if number == many - 1 else node
            node += there == node
            wires.append((here, there, parts[string * many + number]))
            here = there
    matrix = np.zeros((node, node))
    for a, b, ohm in wires:
        matrix[[a, b], [a, b]] += 1.0 / ohm
        matrix[[a, b], [b, a]] -= 1.0 / ohm
    free = [k for k in range(node) if k > 1]
    volts = np.zeros(node)
    volts[1] = 1.0
    if free:
        volts[free] = np.linalg.solve(matrix[np.ix_(free, free)], -matrix[np.ix_(free, [1])][:, 0])
    over = [abs(volts[a] - volts[b]) for a, b, _ in wires]
    total = float((matrix @ volts)[1])
    return 1.0 / total, over, [v * v / ohm / total for v, (_, _, ohm) in zip(over, wires, strict=True)]


@settings(max_examples=200)
@given(st.data())
def test_joined_coils_against_nodal_analysis(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 8))
    way = data.draw(st.sampled_from(arrangements(count)))
    parts = data.draw(st.lists(st.floats(0.5, 32.0), min_size=count, max_size=count))
    got = join(parts, way)
    ohm, over, power = by_nodes(parts, way.strings)
    assert got.ohm == pytest.approx(ohm, rel=1e-9)
    assert got.voltage_share == pytest.approx(over, rel=1e-9)
    assert got.power_share == pytest.approx(power, rel=1e-9)
    assert sum(got.power_share) == pytest.approx(1.0)
    assert got.ohm * 1.01 != pytest.approx(ohm, rel=1e-4)


def even_trees(count: int) -> set[Fraction]:
    """Every resistance of trees of 1-ohm coils, series and parallel in any order, in which all coils share alike."""
    made: dict[int, set[Fraction]] = {1: {Fraction(1)}}
    for size in range(2, count + 1):
        made[size] = set()
        for left in range(1, size // 2 + 1):
            for a, b in product(made[left], made[size - left]):
                if a * (size - left) == b * left:  # one current: power goes as resistance
                    made[size].add(a + b)
                if a * left == b * (size - left):  # one voltage: power goes as its inverse
                    made[size].add(a * b / (a + b))
    return made[count]


@pytest.mark.parametrize("count", range(1, 17))
def test_every_even_sharing_of_like_coils_is_found(count: int) -> None:
    """Brute force over all series-parallel trees: whatever shares alike has the resistance of one of ours, and no other."""
    mine = sorted(join([1.0] * count, way).ohm for way in arrangements(count))
    assert mine == pytest.approx(sorted(map(float, even_trees(count))))


def test_arrangements_have_their_names() -> None:
    assert [way.kind for way in arrangements(1)] == [None]
    assert [way.kind for way in arrangements(2)] == ["series", "parallel"]
    assert [way.kind for way in arrangements(4)] == ["series", "series-parallel", "parallel"]
    assert [(way.strings, way.per_string) for way in arrangements(6)] == [(1, 6), (2, 3), (3, 2), (6, 1)]
    with pytest.raises(ValueError, match="at least one"):
        arrangements(0)
    with pytest.raises(ValueError, match="do not hold"):
        join([4.0, 4.0, 4.0], Arrangement(2, 2))


# ngspice on chains of stages: dividers, gains, and noise by its own noise analysis.


def spice(text: str, folder: Path) -> str:
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ngspice is required where CI=true")
        pytest.skip("ngspice is not installed")
    (folder / "chain.cir").write_text(text, encoding="utf-8")
    run = subprocess.run(
        [program, "-b", "chain.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    return run.stdout + run.stderr


BOLTZMANN, KELVIN = 1.380649e-23, 300.15
NOISY_OHM = 1000.0  #: the resistor whose thermal noise, amplified, stands for a stage's own


def chain_netlist(stages: list[tuple[float, float, float, float]], source_v: float) -> str:
    """Stages of (output impedance before, input impedance, gain, noise at the input V rms over 20 Hz to 20 kHz)."""
    density = math.sqrt(4.0 * BOLTZMANN * KELVIN * NOISY_OHM * 19_980.0)
    lines = ["chain", f"V0 n0 0 dc 0 ac {source_v:.17g}"]
    for k, (out_ohm, in_ohm, gain, noise) in enumerate(stages):
        lines += [
            f"R{k}a n{k} i{k} {out_ohm:.17g} noisy=0",
            f"R{k}b i{k} 0 {in_ohm:.17g} noisy=0",
            f"R{k}n h{k} 0 {NOISY_OHM:.17g}",
            f"E{k}h m{k} i{k} h{k} 0 {noise / density:.17g}",
            f"E{k}g n{k + 1} 0 m{k} 0 {gain:.17g}",
        ]
    last = f"n{len(stages)}"
    return "\n".join(
        [
            *lines,
            f"Rload {last} 0 1e6 noisy=0",
            ".control",
            "set numdgt=12",
            "ac lin 1 1000 1000",
            f"print vm({last})",
            f"noise v({last}) V0 dec 60 20 20000 1",
            "setplot noise2",
            "print onoise_total",
            "quit",
            ".endc",
            ".end",
        ]
    )


@pytest.mark.parametrize("seed", range(6))
def test_ngspice_finds_the_same_levels_and_noise(seed: int, tmp_path: Path) -> None:
    """Random chains of two to five stages: voltage at the end, and noise by the circuit simulator's noise analysis."""
    dice = random.Random(seed)
    stages = [
        (dice.uniform(10.0, 2000.0), dice.uniform(2000.0, 50_000.0), dice.uniform(0.5, 4.0), dice.uniform(1e-4, 2e-4))
        for _ in range(dice.randint(2, 5))
    ]
    source = dice.uniform(0.5, 4.0)
    told = spice(chain_netlist(stages, source), tmp_path)
    level, noises = source, []
    for out_ohm, in_ohm, gain, noise in stages:
        share = bridging_share(output_ohm=out_ohm, input_ohm=in_ohm)
        level *= share * gain
        noises = [each * share * gain for each in noises] + [noise * gain]
    volts = float(re.search(r"vm\(n\d+\) = (\S+)", told)[1])  # type: ignore[index]
    total = float(re.search(r"onoise_total = (\S+)", told)[1])  # type: ignore[index]
    assert level == pytest.approx(volts, rel=1e-6)
    assert summed_noise_v(noises) == pytest.approx(total, rel=2e-3)
    assert sum(noises) != pytest.approx(total, rel=2e-2)  # added as voltages they would be too loud


def test_side_by_side() -> None:
    assert parallel_ohm(10_000.0, 10_000.0, 5000.0) == pytest.approx(2500.0)
    assert parallel_ohm(100.0, 0.0) == 0.0
    assert decibels(0.0) == -math.inf
