"""What two builds differ in: by names, with units, whatever the order and spelling of the file."""

from __future__ import annotations

from build.samples import PROMISED
from cabinwright.build.codec import parse
from cabinwright.build.rewrite import added_row, rewritten_value, without
from cabinwright.history.design import design_differences


def words(old: str, new: str) -> list[str]:
    return [item.words for item in design_differences(parse(old), parse(new))]


def test_fields_by_name_and_unit() -> None:
    build = parse(PROMISED)
    name = build.speakers[0].name
    new = rewritten_value(PROMISED, ("speakers", 0, "position_m"), [0.1, "20 cm", 0.3])
    new = rewritten_value(new, ("title",), "other")
    found = design_differences(build, parse(new))
    assert [item.where for item in found] == ["title", f'speakers["{name}"].position_m']
    assert found[1].unit == "m" and found[1].words.endswith("→ (0.1, 0.2, 0.3) m")
    assert found[1].after == [0.1, 0.2, 0.3]


def test_spelling_and_comments_are_no_difference() -> None:
    head = parse(PROMISED).seats[0].head_m
    new = rewritten_value(PROMISED, ("seats", 0, "head_m"), [f"{100 * value:.10g} cm" for value in head])
    assert new != PROMISED and words(PROMISED, new + "# more\n") == []


def test_rows_added_and_removed_keep_the_others_silent() -> None:
    row = {"name": "new", "role": "tweeter", "side": "left", "position_m": [0.0, 0.0, 0.0]}
    new = added_row(PROMISED, ("speakers",), row)
    assert words(PROMISED, new) == ['speakers["new"]: added']
    assert words(new, PROMISED) == ['speakers["new"]: removed']


def test_rows_without_names_go_by_what_tells_them_apart() -> None:
    build = parse(PROMISED)
    first = build.recordings[0]
    (found,) = design_differences(build, parse(without(PROMISED, ("recordings", 0))))
    assert (found.what, found.where) == ("removed", f'recordings["{first.channel}"]')
