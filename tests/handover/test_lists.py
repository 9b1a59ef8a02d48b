"""The installer's lists add up with the build as a person wrote it, and are safe with any name.

Sums are made again here from the plain TOML, not from the rows that the lists are made of.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover import print as printing
from cabinwright.handover.csv_text import csv_text
from cabinwright.handover.documents import plan_documents
from cabinwright.handover.harness import allowed_m, joined
from cabinwright.handover.labels import LONGEST_LINE, qr_svg
from cabinwright.handover.lists import Lists, csv_files, lists, view
from cabinwright.handover.power_page import power_documents
from cabinwright.pipeline import Results
from cabinwright.stages import power
from handover.html_check import Page
from handover.qr import modules, text_of
from stages.wired import CAR

DEMO = (Path(__file__).parents[2] / "demo" / "build" / "build.toml").read_text(encoding="utf-8")
EVIL = '=1+1 <b>"x"</b> #panic("no") $y$ \\ ] {{ z }}'


def made(text: str) -> Lists:
    build = parse(text)
    result = power.run(build)
    assert result is not None
    return lists(build, result)


def documents(text: str) -> dict[str, str | bytes]:
    build = parse(text)
    result = power.run(build)
    assert result is not None
    return power_documents(build, result)


def rows(text: str, file: str) -> list[dict[str, str]]:
    content = csv_files(made(text))[file]
    assert content.startswith("\ufeff") and content.count("\r\n") == content.count("\n")
    return list(csv.DictReader(io.StringIO(content[1:], newline="")))


@pytest.fixture(scope="module")
def demo() -> dict[str, Any]:
    return tomllib.loads(DEMO)


def test_the_harness_has_every_wire_as_written(demo: dict[str, Any]) -> None:
    table = rows(DEMO, "harness.csv")
    assert [row["number"] for row in table] == [f"W{k}" for k in range(1, len(demo["wires"]) + 1)]
    for row, wire in zip(table, demo["wires"], strict=True):
        assert (row["name"], row["from node"], row["to node"]) == (wire["name"], wire["from"], wire["to"])
        assert (row["from terminal"], row["to terminal"]) == (wire["from_terminal"], wire["to_terminal"])
        assert (row["size"], row["colour"]) == (wire["gauge"], wire["colour"])
        lies, allow, cut = (float(row[key]) for key in ("length as laid (m)", "allowance (m)", "length to cut (m)"))
        assert lies == wire["length_m"] and cut == pytest.approx(lies + allow, abs=2e-3)
        least = wire.get("allowance_m", 0.1 * lies + 0.3)
        assert least - 1e-9 <= allow < least + 0.05


def test_cut_list_and_parts_have_as_much_wire_as_the_harness(demo: dict[str, Any]) -> None:
    totals: dict[tuple[str, str], float] = defaultdict(float)
    for row in rows(DEMO, "harness.csv"):
        totals[row["size"], row["colour"]] += float(row["length to cut (m)"])
    cuts: dict[tuple[str, str], float] = defaultdict(float)
    for row in rows(DEMO, "cut-list.csv"):
        cuts[row["size"], row["colour"]] += float(row["length to cut (m)"])
    bought = {
        tuple(row["part"].split(", ")[:2]): float(row["quantity"])
        for row in rows(DEMO, "parts.csv")
        if row["group"] == "wire"
    }
    assert cuts == pytest.approx(dict(totals)) and bought == pytest.approx(dict(totals))
    assert sum(totals.values()) > sum(wire["length_m"] for wire in demo["wires"])


def test_parts_are_counted_from_the_build(demo: dict[str, Any]) -> None:
    count: Counter[str] = Counter()
    terminals: Counter[str] = Counter()
    for row in rows(DEMO, "parts.csv"):
        kind = "fuse holders" if row["part"].startswith("fuse holder") else row["group"]
        count[kind] += float(row["quantity"]) if row["unit"] == "pieces" else 0
        if row["group"] == "terminals":
            terminals[row["part"].split(",")[0]] += int(row["quantity"])
    crimped = Counter(wire[end] for wire in demo["wires"] for end in ("from_terminal", "to_terminal"))
    assert terminals == crimped and count["terminals"] == 2 * len(demo["wires"])
    in_plugs = sum("wire" in pin for plug in demo["connectors"] for pin in plug["pins"])
    assert in_plugs == 4 and count["heat-shrink"] == 2 * len(demo["wires"]) - in_plugs
    assert count["fuses"] == count["fuse holders"] == len(demo["fuses"])
    for group, table in (("relays", "relays"), ("switches", "switches"), ("connectors", "connectors")):
        assert count[group] == len(demo[table])
    assert count["amplifiers"] + count["loads"] == len(demo["loads"])


def test_pins_and_harness_say_the_same_of_each_wire(demo: dict[str, Any]) -> None:
    build = parse(DEMO)
    result = power.run(build)
    assert result is not None
    tables = view(build, result, lists(build, result))["connectors"]
    ways = [plug["ways"] for plug in demo["connectors"]]
    assert [len(table["pins"]) for table in tables] == ways
    by_wire = {row["name"]: row for row in rows(DEMO, "harness.csv")}
    for table, plug in zip(tables, demo["connectors"], strict=True):
        shown = {row["pin"]: row for row in table["pins"]}
        for pin in plug["pins"]:
            row, wire = shown[pin["pin"]], by_wire[pin["wire"]]
            assert row["wire"] == f"{wire['number']} {pin['wire']}"
            assert wire[f"{pin['end']} connector pin"] == f"{table['number']} pin {pin['pin']}"
            assert row["terminal"] == wire[f"{pin['end']} terminal"]
            assert row["other"] == wire["to node" if pin["end"] == "from" else "from node"]
        assert sum(row["use"] == "empty" for row in shown.values()) == plug["ways"] - len(plug["pins"])


def test_a_wire_in_two_pins_needs_but_one_end_stated() -> None:
    plugs = """
[[connectors]]
name = "a"
pins = [{pin = 1, wire = "light feed"}, {pin = 2, wire = "amplifier feed"}]
[[connectors]]
name = "b"
pins = [{pin = 1, wire = "light feed", end = "from"}]
"""
    table = {row["name"]: row for row in rows(CAR + plugs, "harness.csv")}
    assert table["light feed"]["from connector pin"] == "X2 pin 1"
    assert table["light feed"]["to connector pin"] == "X1 pin 1"
    found = {wire.name: wire for wire in made(CAR + plugs).harness.wires}
    assert found["amplifier feed"].either == ("X1 pin 2",), "nobody says which end, so nobody is told"


def test_a_wire_is_cut_longer_than_it_lies() -> None:
    """A tenth and 30 cm, up to full 5 cm, by hand; a stated allowance is taken as it is."""
    assert 1.0 + allowed_m(1.0, None) == pytest.approx(1.40)
    assert 5.2 + allowed_m(5.2, None) == pytest.approx(6.05)
    assert allowed_m(5.2, 0.07) == 0.07
    assert all(allowed_m(k / 100.0, None) > 0.3 - 1e-9 for k in range(1, 1000))


def test_every_code_on_a_label_is_read_back() -> None:
    found = made(DEMO).labels
    build = parse(DEMO)
    things = len(build.fuses) + len(build.switches) + len(build.relays) + len(build.loads) + len(build.connectors)
    assert len(found) == 2 * len(build.wires) + things
    for label in found:
        assert text_of(modules(qr_svg(label.text))) == label.text
        assert label.text.startswith(f"{label.number} {label.name}")
    (first, second) = [label.text.split("\n") for label in found if label.number == "W2"]
    assert first == [
        "W2 main feed",
        "from main fuse out",
        "to block",
        "2 AWG",
        "red",
        "fuse F1, 125 A, main",
        "this end: main fuse out",
    ]
    assert second == [*first[:-1], "this end: block"]


def test_one_module_the_wrong_way_round_is_noticed() -> None:
    grid = modules(qr_svg(made(DEMO).labels[0].text))
    grid[len(grid) // 2][len(grid) // 2] ^= 1
    with pytest.raises(ValueError, match="damaged data"):
        text_of(grid)


def test_long_and_foreign_names_still_make_a_code_that_a_camera_takes() -> None:
    name = "電線" * 60
    found = made(CAR.replace('"amplifier feed"', f'"{name}"').replace('"main out"', f'"{name[:-1]}"')).labels
    for label in found:
        assert text_of(modules(qr_svg(label.text))) == label.text
        assert all(len(line.encode()) <= LONGEST_LINE for line in label.text.split("\n"))
        assert len(modules(qr_svg(label.text))) <= 73, "a quarter of a millimetre for each module at 19 mm"


def test_no_spreadsheet_runs_a_name() -> None:
    assert csv_text(["a (m)"], [["=cmd()"], ["+1"], ["-1"], ["@x"], ["＝1"], ['say "x", y'], [-1.5], ["plain"]]) == (
        '\ufeff"a (m)"\r\n"\'=cmd()"\r\n"\'+1"\r\n"\'-1"\r\n"\'@x"\r\n"\'＝1"\r\n"say ""x"", y"\r\n-1.5\r\n"plain"\r\n'
    )
    text = CAR.replace('"amplifier feed"', "'=1+1 ; \"x\",'")
    assert '\'=1+1 ; "x",' in {row["name"] for row in rows(text, "harness.csv")}


def test_every_page_stands_alone_and_escapes_names() -> None:
    text = DEMO.replace('"main feed"', f"'{EVIL}'").replace('"radio plug"', f"'{EVIL}'").replace('"block"', f"'{EVIL}'")
    found = documents(text)
    pages = {name: content for name, content in found.items() if name.endswith(".html")}
    assert len(pages) == 8
    for name, html in pages.items():
        assert isinstance(html, str)
        page = Page(html)
        assert page.faults == [] and page.headings[0] == 1, name
        assert "<b>" + '"x"' not in html and "{{" not in html.replace("{{ z }}", ""), name
    for name in ("harness.html", "labels.html", "connectors.html", "power.html"):
        assert '#panic("no")' in Page(str(pages[name])).text


def test_no_name_is_markup_in_print(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    real = printing.pdf_from_typst

    def watched(markup: str, inputs: dict[str, str] | None = None) -> bytes:
        seen.append((markup, inputs))
        return real(markup, inputs)

    monkeypatch.setattr(printing, "pdf_from_typst", watched)
    found = documents(DEMO.replace('"main feed"', f"'{EVIL}'").replace("Demo, all of it invented", "#panic()"))
    assert sum(name.endswith(".pdf") for name in found) == len(seen) == 4
    for markup, inputs in seen:
        assert "panic" not in markup and inputs and "panic" in inputs["data"]


def test_the_same_build_gives_the_same_bytes() -> None:
    first, second = documents(DEMO), documents(DEMO)
    assert list(first) == list(second) and first == second
    assert all(content.startswith(b"%PDF") for content in first.values() if isinstance(content, bytes))


def test_pages_without_anything_on_them_are_left_out() -> None:
    assert "connectors.html" not in documents(CAR)
    bare = documents(CAR[: CAR.index("[[wires]]")])
    assert not {"harness.html", "cut-list.html", "fuse-chart.html", "fuse-chart.pdf", "labels-a4.pdf"} & set(bare)


@pytest.mark.parametrize("text", [DEMO, CAR, CAR[: CAR.index("[[wires]]")]])
def test_the_overview_names_every_file_that_is_written(text: str) -> None:
    build = parse(text)
    written = plan_documents(build, Results(power=power.run(build)))
    named = {attributes["href"] for tag, attributes in Page(str(written["power.html"])).tags if tag == "a"}
    assert named == set(written) - {"plan.json", "power.html"}


def test_joined_follows_contacts_only_where_asked() -> None:
    build = parse(CAR)
    assert "lamps" in joined(build, "battery plus") and "lamps" not in joined(build, "battery plus", contacts=False)
    assert joined(build, "battery plus", without=("main",)) == {"battery plus", "main in"}
