"""``service.html``: whole, safe, with what is too deep at its head; none where the build says nothing of it."""

from __future__ import annotations

import json
from pathlib import Path

from cabinwright.build.codec import parse
from cabinwright.handover.documents import plan_documents
from cabinwright.pipeline import design
from handover.html_check import Page
from stages.fitted import FIXED, FLOOR, HEAD

STEPS = "".join(
    f'[[service_steps]]\nname = "{name}"\nkind = "{kind}"\nafter = [{after}]\nminutes = 2\n'
    for name, kind, after in (
        ("<lid>", "part", ""),
        ("mat", "part", '"<lid>"'),
        ("box", "part", '"mat"'),
        ("main fuse", "fuse", '"box"'),
        ("gain", "control", '"mat"'),
    )
)
MASS = '[[masses]]\nname = "amplifier"\nmass_kg = 4\nat_m = [2, 0, 0.3]\n[payload]\nlimit_kg = 500\n'


def documents(text: str) -> dict[str, str | bytes]:
    build = parse(text)
    return plan_documents(build, design(build, None, lambda what, share: None))


def test_the_page_is_whole() -> None:
    made = documents(HEAD + FLOOR + FIXED + MASS + STEPS)
    page = made["service.html"]
    assert isinstance(page, str)
    seen = Page(page)
    assert seen.faults == []
    assert "&lt;lid&gt;" in page
    assert "<lid>" not in page
    assert page.index("Too deep") < page.index("What comes out before what</h2>") < page.index("What holds in a crash")
    assert "fuse “main fuse”: 3 steps, 6 min" in page
    assert "“gain”: " not in page
    assert "not a crash test" in page
    assert "492 kg of 500 kg" in page
    plan = json.loads(made["plan.json"])["workshop"]
    assert plan["service"]["parts"]["main fuse"]["steps"] == 3
    assert set(plan["fixings"]) == {"box to floor"}
    assert made == documents(HEAD + FLOOR + FIXED + MASS + STEPS)


def test_steps_alone_make_no_page_of_panels() -> None:
    made = documents(HEAD + STEPS)
    assert "service.html" in made
    assert "workshop.html" not in made
    plan = json.loads(made["plan.json"])["workshop"]
    assert (plan["floors"], plan["fixings"], plan["mass"]) == ({}, {}, None)


def test_no_page_without_any_of_it() -> None:
    made = documents(HEAD + FLOOR.split("[[floors]]")[0])
    assert "workshop.html" in made
    assert "service.html" not in made


def test_the_demo_reaches_every_fuse_in_two_steps_but_not_its_controls() -> None:
    text = (Path(__file__).parents[2] / "demo" / "build" / "build.toml").read_text(encoding="utf-8")
    build = parse(text)
    made = plan_documents(build, design(build, None, lambda what, share: None))
    plan = json.loads(made["plan.json"])["workshop"]
    parts = plan["service"]["parts"]
    assert plan["service"]["unlisted_fuses"] == []
    assert [name for name, part in parts.items() if part["deep"]] == ["gain controls"]
    assert all(fixing["used_share"] <= 1.0 for fixing in plan["fixings"].values())
    floor = plan["floors"]["rear floor"]["loads"]
    assert all(load["deflection_m"] <= load["deflection_limit_m"] for load in floor.values())
    assert isinstance(made["service.html"], str)
    assert Page(made["service.html"]).faults == []
