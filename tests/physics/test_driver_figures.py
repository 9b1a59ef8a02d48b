"""Figures of drive units: whatever is enough gives the same parts, and what disagrees is named."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.physics.driver import Driver
from cabinwright.physics.driver_figures import FIGURES, complete

UNIT = Driver(0.11, 0.0003, 2.5, 11.0, 3.4, 0.033)
STATED = {key: float(getattr(UNIT, key)) for key in FIGURES}
PARTS = ("mms_kg", "cms_m_per_n", "rms_kg_s", "bl_t_m", "re_ohm", "sd_m2")


def test_every_set_that_is_enough_gives_the_same_parts() -> None:
    """All sets of six and seven of the ten figures: each either lacks something, and says what, or gives the unit back."""
    whole = 0
    for size in (6, 7):
        for keys in combinations(FIGURES, size):
            done = complete({key: STATED[key] for key in keys})
            assert done.disagreements == ()
            if done.driver is None:
                assert done.missing
                assert not set(done.missing) & set(keys)
                continue
            whole += 1
            for part in PARTS:
                assert getattr(done.driver, part) == pytest.approx(getattr(UNIT, part), rel=1e-9)
    assert whole > 100


@pytest.mark.parametrize("key", [key for key in FIGURES if key not in ("qms", "qts")])
@settings(max_examples=20)
@given(factor=st.floats(1.1, 10.0))
def test_a_wrong_figure_is_found_and_by_how_much(key: str, factor: float) -> None:
    done = complete({**STATED, key: STATED[key] * factor})
    assert done.disagreements
    assert all(abs(item.share) > 0.02 for item in done.disagreements)
    assert any(key in (item.figure, *item.others) for item in done.disagreements)
    assert key in [item.figure for item in done.suspects] or not done.suspects


def test_the_total_q_is_held_against_its_parts() -> None:
    """1/0.52 + 1/6.1 = 1/0.4792 (Small 1972)."""
    base = {"fs_hz": 28.0, "qes": 0.52, "qms": 6.1, "vas_m3": 0.041, "re_ohm": 3.4, "sd_m2": 0.048}
    assert complete({**base, "qts": 0.48}).disagreements == ()
    (found,) = complete({**base, "qts": 0.55}).disagreements
    assert (found.figure, found.others) == ("qts", ("qes", "qms"))
    assert found.implied == pytest.approx(0.47915, abs=1e-5)
    assert found.share == pytest.approx(0.55 / 0.47915 - 1.0, abs=1e-4)


def test_the_culprit_is_named_where_one_alone_explains_it() -> None:
    wrong = {**STATED, "mms_kg": 0.11 * 1.3}
    done = complete(wrong)
    (one,) = done.suspects
    assert one.figure == "mms_kg"
    assert one.share == pytest.approx(0.3, rel=1e-9)
    assert done.driver is not None
    assert done.driver.mms_kg == pytest.approx(0.11, rel=1e-9)  # never a mean of the two


def test_how_far_the_culprit_itself_is_off_is_said() -> None:
    """Five per cent in fs show as ten in the moving mass, which it enters squared."""
    (one,) = complete({**STATED, "fs_hz": STATED["fs_hz"] * 1.05}).suspects
    assert (one.figure, one.implied) == ("fs_hz", pytest.approx(STATED["fs_hz"], rel=1e-9))
    (total,) = complete({**STATED, "qts": STATED["qts"] * 1.3}).suspects
    assert (total.figure, total.implied) == ("qts", pytest.approx(STATED["qts"], rel=1e-9))


def test_where_either_of_two_explains_it_both_are_named() -> None:
    """Area and equivalent volume meet nothing else but one another's product."""
    done = complete({**STATED, "vas_m3": STATED["vas_m3"] * 1.3})
    assert {item.figure for item in done.suspects} == {"vas_m3", "sd_m2"}


def test_two_that_contradict_each_other_accuse_nobody() -> None:
    base = {"fs_hz": 28.0, "qes": 0.52, "qms": 6.1, "vas_m3": 0.041, "re_ohm": 3.4, "sd_m2": 0.048}
    done = complete({**base, "bl_t_m": 20.0})
    assert done.suspects == ()
    assert len(done.disagreements) == 1


@pytest.mark.parametrize("key", ["qes", "qms"])
def test_a_total_q_above_its_part_is_impossible(key: str) -> None:
    base = {"fs_hz": 28.0, "vas_m3": 0.041, "re_ohm": 3.4, "sd_m2": 0.048, key: 0.4}
    done = complete({**base, "qts": 0.5})
    assert done.driver is None
    assert done.impossible == f"qts 0.5 is not below {key} 0.4"


@settings(max_examples=60)
@given(st.dictionaries(st.sampled_from(FIGURES), st.floats(1e-6, 1e4), max_size=10))
def test_any_figures_give_an_answer(stated: dict[str, float]) -> None:
    done = complete(stated)
    assert done.driver is not None or done.missing or done.impossible
