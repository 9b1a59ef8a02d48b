"""Builds with boxes in them, for tests."""

from __future__ import annotations

from importlib import import_module

import pytest

from cabinwright.build.codec import parse
from cabinwright.stages import enclosure
from cabinwright.stages.enclosure import EnclosureResult

__all__ = ["HEAD", "MODEL", "box", "planned", "unsearched"]

HEAD = 'schema = 1\ntitle = "boxes"\n[vehicle]\nname = "a car"\ndriving_side = "right"\n'
MODEL = """[[speaker_models]]
name = "ten"
fs_hz = 28.0
qes = 0.52
qms = 6.1
vas_m3 = 0.041
re_ohm = 3.4
sd_m2 = 0.0480
xmax_m = 0.013
pe_w = 500
"""


def box(name: str = "bay", kind: str = "sealed", volume: str = "0.034", **more: str) -> str:
    rows = [f'name = "{name}"', 'model = "ten"', f'kind = "{kind}"', "power_w = 400"]
    rows += [f"volume_m3 = {volume}"] if volume else []
    return "[[boxes]]\n" + "\n".join([*rows, *(f"{key} = {value}" for key, value in more.items())]) + "\n"


def planned(*tables: str, model: str = MODEL) -> EnclosureResult:
    result = enclosure.run(parse(HEAD + model + "".join(tables)))
    assert result is not None
    return result


@pytest.fixture
def unsearched(monkeypatch: pytest.MonkeyPatch) -> None:
    """Boxes alone, without the search for others, which takes longer than all the rest."""
    stage = import_module("cabinwright.stages.enclosure.run")
    monkeypatch.setattr(stage, "_answers", lambda *_: None)
    monkeypatch.setattr(stage, "search", lambda *_, **__: ((), None))
