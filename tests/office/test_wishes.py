"""The interview: read with every fault named, written into the build as limits and weights, held against builds."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.cabin import Weights
from cabinwright.build.codec import parse
from cabinwright.build.limits import Limits
from cabinwright.errors import MeanwhileError, PersonError
from cabinwright.history.log import Log
from cabinwright.office import wishes
from cabinwright.office.worked import worked_out
from cabinwright.shop.rows import Job
from cabinwright.shop.store import Store
from office import invented

ALL = {
    "taste": "fuller",
    "seats": "Passenger\ndriver",
    "sound": "most",
    "looks": "not",
    "price": "a little",
    "reversible": "must",
    "stock": ["door cards", "pillars"],
    "boot_l": "60",
    "budget": "4 500,00",
    "keep_free": {"name": "pram", "low_m": [2.4, -0.4, 0.3], "high_m": [3.1, 0.4, 0.9]},
}


def test_answers_are_kept_with_the_job_and_read_back(store: Store, tmp_path: Path) -> None:
    job_id = invented.opened(store, tmp_path)
    with store.read() as work:
        count = work.get(Job, job_id).count  # type: ignore[union-attr]
    kept = wishes.keep_wishes(store, job_id, ALL, count=count, by="olga")
    assert wishes.wishes_of(store, job_id) == kept == wishes.read_wishes(ALL)
    assert (kept.budget, kept.boot_l, kept.seats) == (Decimal("4500.00"), Decimal(60), ("Passenger", "driver"))
    with pytest.raises(MeanwhileError):
        wishes.keep_wishes(store, job_id, {}, count=count, by="bo")
    assert wishes.wishes_of(store, job_id) == kept


def test_every_bad_answer_is_named_at_once() -> None:
    bad = {
        "taste": "purple",
        "boot_l": "-3",
        "budget": "a lot",
        "colour": "red",
        "keep_free": [{"name": "x"}],
        "seats": 7,
    }
    with pytest.raises(PersonError) as told:
        wishes.read_wishes(bad)
    for words in (
        "taste: “purple”".replace("“", '"').replace("”", '"'),
        "boot_l: -3",
        "budget:",
        "colour: no question",
    ):
        assert words in str(told.value)
    assert "two opposite corners" in str(told.value) and "seats: words are wanted" in str(told.value)


@given(
    st.dictionaries(
        st.sampled_from([*ALL, "x"]), st.none() | st.text() | st.lists(st.text()) | st.floats() | st.integers()
    )
)
def test_anything_is_read_or_refused(answers: dict[str, object]) -> None:
    try:
        found = wishes.read_wishes(answers)
    except PersonError as error:
        assert str(error)
    else:
        assert wishes.Wishes.of(found.to_dict()) == found


def test_answers_are_written_into_the_build_and_all_else_stays(tmp_path: Path) -> None:
    text = (
        invented.TEXT.replace("[supply]", "# a remark of mine\n[supply]") + "\n[cabin]\ntemperature_c = 21.5  # warm\n"
    )
    path = invented.folder(tmp_path / "build", text)
    found = wishes.read_wishes(ALL)
    shown = wishes.effects(path, found)
    assert (path / "build.toml").read_text(encoding="utf-8") == text  # looking writes nothing
    made = wishes.write_wishes(path, found, by="olga")
    assert made == shown
    new = (path / "build.toml").read_text(encoding="utf-8")
    build, usual = parse(new), Weights()
    weights = build.layout.weights
    assert (weights.sound, weights.looks, weights.cost) == (2 * usual.sound, 0.0, usual.cost / 2)
    assert weights.irreversible == 3 * usual.irreversible and weights.room == usual.room
    assert build.tuning is not None and build.tuning.seat == "passenger"
    assert build.tuning.house_curve is not None
    assert dict(build.tuning.house_curve)[20.0] == 12.0 and dict(build.tuning.house_curve)[20_000.0] == -6.5
    (pram,) = build.cabin.keep_outs  # type: ignore[union-attr]
    assert pram.name == "pram" and {tuple(at) for at in pram.corners_m} == {
        (x, y, z) for x in (2.4, 3.1) for y in (-0.4, 0.4) for z in (0.3, 0.9)
    }
    for line in text.splitlines():
        assert line in new.splitlines()
    before, after = tomllib.loads(text), tomllib.loads(new)
    assert {key for key in after if after[key] != before.get(key)} == {"layout", "limits", "tuning", "cabin"}
    (entry,) = Log(path).read().entries
    assert entry.by == "olga" and Log(path).state(entry.before) == text.encode("utf-8")
    assert build.layout.further_seats == ("driver",)
    assert build.limits == Limits(boxes_m3=0.06, budget=4500.0, stock=("door cards", "pillars"), reversible=True)
    again = wishes.write_wishes(path, found, by="olga")
    assert again.changes == () and len(Log(path).read().entries) == 1


def test_a_limit_that_nobody_wishes_any_more_is_told_and_left(tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    wishes.write_wishes(path, wishes.read_wishes(ALL), by="olga")
    kept = (path / "build.toml").read_text(encoding="utf-8")
    made = wishes.write_wishes(path, wishes.read_wishes({"budget": "4500"}), by="olga")
    assert made.changes == () and (path / "build.toml").read_text(encoding="utf-8") == kept
    told = [row.split(" = ")[0] for row in made.left]
    assert told == ["limits.boxes_m3", "limits.stock", "limits.reversible", "layout.further_seats"]


def test_the_stricter_of_wish_and_build_counts(tmp_path: Path) -> None:
    text = invented.TEXT.replace("[supply]", "[limits]\nbudget = 800\nboxes_m3 = 0.03\nreversible = true\n\n[supply]")
    found = worked_out(invented.folder(tmp_path / "build", text))
    asked = wishes.read_wishes({"budget": "900", "boot_l": "24.9", "reversible": "free"})
    checks = {
        item.wish: item for item in wishes.held_against(asked, found.build, found.results, gross=Decimal("850.00"))
    }
    assert checks["budget"].holds is False and "of 800" in checks["budget"].says
    assert checks["boot space"].holds is False and "everything goes back" in checks


@pytest.mark.parametrize("sign", ["\u202e", "\ufeff", "\x07"])
def test_words_with_signs_that_nobody_sees_are_refused(sign: str) -> None:
    with pytest.raises(PersonError, match=r"stock: .*sign that nobody sees"):
        wishes.read_wishes({"stock": [f"door{sign}cards"]})


def test_a_seat_that_is_not_there_writes_nothing(tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    with pytest.raises(PersonError, match=r'no seat "back row".*driver, passenger'):
        wishes.write_wishes(path, wishes.read_wishes({"seats": ["back row"], "sound": "most"}), by="olga")
    assert (path / "build.toml").read_text(encoding="utf-8") == invented.TEXT


@pytest.mark.parametrize(
    ("answers", "gross", "holds"),
    [
        ({"budget": "900"}, Decimal("900"), True),
        ({"budget": "900"}, Decimal("900.01"), False),
        ({"budget": "900"}, None, None),
        ({"boot_l": "24.9"}, None, False),
        ({"boot_l": "25.1"}, None, None),  # 25 L of air, its walls not known
        ({"reversible": "must"}, None, False),
        ({"stock": ["pillars"]}, None, False),
        ({"stock": ["roof"]}, None, None),  # nobody said what the bass cuts
    ],
)
def test_limits_are_held_against_a_build(
    answers: dict[str, object], gross: Decimal | None, holds: bool | None, tmp_path: Path
) -> None:
    found = held(tmp_path)
    (check,) = wishes.held_against(wishes.read_wishes(answers), found.build, found.results, gross=gross)
    assert check.holds is holds and check.says


KEPT = []


def held(tmp_path: Path):  # type: ignore[no-untyped-def]
    if not KEPT:
        KEPT.append(worked_out(invented.folder(tmp_path / "build")))
    return KEPT[0]
