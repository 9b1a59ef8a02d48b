"""What is worked out anew, edit by edit, against the same build designed whole: the written plans must be equal.

The independent side is ``design`` of a build that was parsed from the text alone, with nothing remembered.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.build.rewrite import added_row, rewritten_value, without
from cabinwright.errors import BuildError
from cabinwright.handover.plan import plan_json
from cabinwright.pipeline import Files, Line, design
from cabinwright.stages.memory import Memory, Watched, afresh
from desk.cars import TEXT

FAST = TEXT.replace("[vehicle]", "[layout]\ndraws = 20\n[vehicle]", 1)
EDITS: tuple[tuple[tuple[str | int, ...], tuple[Any, ...]], ...] = (
    (("title",), ("a", "b")),
    (("wires", 0, "length_m"), (1, 2.5)),
    (("supply", "nominal_v"), (12, 12.8)),
    (("boxes", 0, "power_w"), (60, 200)),
    (("speaker_models", 0, "qts"), (0.38, 0.42)),
    (("survey", "tapes", 0, "distance_m"), (0.505, 0.515)),
    (("survey", "points", 1, "at_m"), ([1.0, 0.01, 0.5], [1.0, 0, 0.5])),
    (("places", 0, "position_m"), ("pod", [0.5, -0.55, 0.95])),
    (("places", 4, "position_m"), ([0.7, -0.6, 0.4], [0.72, -0.6, 0.42])),
    (("places", 0, "cost"), (5, 500)),
    (("places", 1, "looks"), (1, 5)),
    (("places", 6, "role"), ("subwoofer", "woofer")),
    (("seats", 0, "head_m"), ([1.3, -0.36, 0.92], [1.25, -0.36, 0.9])),
    (("seats", 1, "name"), ("guest", "passenger")),
    (("vehicle", "driving_side"), ("left", "right")),
    (("layout", "draws"), (20, 24)),
    (("cabin", "temperature_c"), (5, 30)),
)


@st.composite
def sittings(draw: st.DrawFn) -> list[str]:
    """Texts of a build, each some edits after the one before; states come back now and then, as undo brings them."""
    texts = [FAST]
    for _ in range(draw(st.integers(2, 4))):
        text = draw(st.sampled_from(texts))
        for _ in range(draw(st.integers(1, 2))):
            path, values = draw(st.sampled_from(EDITS))
            kind = draw(st.sampled_from(("set", "set", "set", "row out", "row in")))
            if kind == "row out":
                changed = without(text, ("places", draw(st.integers(0, 3))))
            elif kind == "row in":
                row = {
                    "name": "one more",
                    "role": "tweeter",
                    "side": "left",
                    "position_m": [0.6, -0.5, 0.8],
                    "aim": "driver",
                }
                changed = added_row(text, ("places",), row)
            else:
                changed = rewritten_value(text, path, draw(st.sampled_from(values)))
            try:
                parse(changed)
            except BuildError:
                continue
            text = changed
        texts.append(text)
    return texts


def unwatched(what: str, share: float) -> None:
    pass


@settings(max_examples=2, suppress_health_check=list(HealthCheck))
@given(texts=sittings())
def test_edit_by_edit_is_as_whole(texts: list[str]) -> None:
    memory = Memory()
    for text in texts:
        build = parse(text)
        step_by_step = Line(build, Files(), unwatched, keep=memory).results()
        assert plan_json(build, step_by_step) == plan_json(build, design(parse(text), None, unwatched))


def test_the_comparison_can_fail() -> None:
    """A memory that overlooks a table it should have noted is found out."""

    class Blind(Watched):
        def __getattr__(self, name: str) -> Any:
            return getattr(self._build, name) if name == "wires" else super().__getattr__(name)

    one, other = parse(FAST), parse(rewritten_value(FAST, ("wires", 0, "length_m"), 1))
    memory = Memory()
    memory("power", lambda build: Line(Blind(build._build, build._reads), Files(), unwatched).power, one)  # type: ignore[arg-type, attr-defined]
    stale = memory("power", lambda build: Line(build, Files(), unwatched).power, other)
    assert stale.wires != Line(other, Files(), unwatched).power.wires  # type: ignore[union-attr]


def test_what_is_read_is_noted() -> None:
    build = parse(FAST)
    reads: set[str] = set()
    watched = Watched(build, reads)
    assert watched.wires is build.wires and reads == {"wires"}
    assert watched.model_copy() == build and reads == set(Build.model_fields)
    memory = Memory()

    def inner(build: Build) -> str:
        return build.title

    def outer(build: Build) -> str:
        return str(memory("inner", inner, build)) + str(len(build.wires))

    assert memory("outer", outer, build) == memory("outer", outer, build) == afresh("outer", outer, build)
    assert memory.reads("outer") == {"title", "wires"}
    renamed = parse(rewritten_value(FAST, ("title",), "new"))
    memory("inner", inner, renamed)  # remembered before the outer asks for it
    assert memory("outer", outer, renamed).startswith("new")


def test_what_raised_is_tried_again() -> None:
    memory, tried = Memory(), []

    def work(build: Build) -> str:
        tried.append(build.title)
        if len(tried) == 1:
            raise ZeroDivisionError
        return "done"

    with pytest.raises(ZeroDivisionError):
        memory("work", work, parse(FAST))
    assert memory("work", work, parse(FAST)) == "done" == memory("work", work, parse(FAST))
    assert len(tried) == 2


def test_files_are_read_again_when_they_change(tmp_path: Path) -> None:
    from cabinwright.measure.folder import FolderFiles

    build, memory = parse(rewritten_value(FAST, ("places", 0, "polar"), "polar.txt")), Memory()
    (tmp_path / "polar.txt").write_text("0 1000 0\n90 1000 -6\n", encoding="utf-8")
    first = FolderFiles(build, tmp_path, unwatched, keep=memory).polars()
    assert FolderFiles(build, tmp_path, unwatched, keep=memory).polars() is first
    (tmp_path / "polar.txt").write_text("0 1000 0\n90 1000 -12\n", encoding="utf-8")
    assert FolderFiles(build, tmp_path, unwatched, keep=memory).polars() is not first
