"""A build that is being worked on: changes, what an editor does meanwhile, undo, restart, and what is worked out anew."""

from __future__ import annotations

import multiprocessing
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinwright.build.codec import load
from cabinwright.desk import Clash, Desk
from cabinwright.desk import desk as module
from cabinwright.errors import BuildError, OutputError, RefusedError
from desk.cars import TEXT
from stages.boxed import HEAD, MODEL

CHAIN = """
[[sources]]
name = "radio"
kind = "analogue"
[[sources]]
name = "phone"
kind = "analogue"
[[sources]]
name = "player"
kind = "analogue"
[[inputs]]
name = "1"
from = ["radio"]
[[inputs]]
name = "3"
from = ["player"]
[[inputs]]
name = "2"
from = ["phone"]
[[presets]]
name = "evening"
source = "phone"
also = {source = "radio"}
"""
PANEL = """
[[sheets]]
name = "board"
material = "MDF"
thickness_m = 0.018
length_m = 1.2
width_m = 0.8
[[panels]]
name = "lid"
sheet = "board"
outline = [[0, 0], [0.9, 0], [0.9, 0.4], [0, 0.4]]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    (tmp_path / "build.toml").write_text("# my car\n" + TEXT, encoding="utf-8", newline="\n")
    yield tmp_path
    module._OPEN.clear()


def restarted(folder: Path) -> Desk:
    """The desk of a new process."""
    module._OPEN.clear()
    return Desk.open(folder)


def text_of(folder: Path) -> str:
    return (folder / "build.toml").read_text(encoding="utf-8")


def by_editor(folder: Path, old: str, new: str) -> None:
    text = text_of(folder)
    assert text.count(old) == 1, old
    (folder / "build.toml").write_text(text.replace(old, new), encoding="utf-8", newline="\n")


def test_one_field(folder: Path) -> None:
    desk, before = Desk.open(folder), text_of(folder)
    change = desk.edit('wires["feed"].length_m', "5 m", by="screen: power", why="round the seat")
    assert (change.what, change.why) == ('wires["feed"].length_m: 4.5 m → 5 m', "round the seat")
    assert text_of(folder) == before.replace("length_m = 4.5", 'length_m = "5 m"') == desk.text
    assert desk.build.wires[0].length_m == 5.0 and load(folder) == desk.build
    (entry,) = desk.history().entries
    assert (entry.by, entry.what, entry.why) == ("screen: power", change.what, change.why)
    assert desk.state(0) == before and desk.state(1) == desk.text


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("wires[0].length_m", -1, r'build.toml:\d+: wires\["feed"\].length_m: must be'),
        ('loads["amplifier"].fuse', "mian", r"unknown key `fuse`"),
        ('boxes["bay"].model', "invented tin", 'Did you mean "invented ten"'),
        ("wires[9].length_m", 1, "nothing of that name"),
        ('wires["fed"].length_m', 1, 'Did you mean "feed"'),
        ("wires[", 1, "is no path"),
    ],
)
def test_what_breaks_a_rule_changes_nothing(folder: Path, path: str, value: object, words: str) -> None:
    desk, before = Desk.open(folder), text_of(folder)
    version = desk.version
    with pytest.raises((BuildError, RefusedError), match=words):
        desk.edit(path, value)
    assert text_of(folder) == before == desk.text
    assert (desk.version, desk.history().entries) == (version, ())


def test_a_table_that_stands_for_a_list_of_one_is_read_changed_and_joined(folder: Path) -> None:
    (folder / "build.toml").write_text(text_of(folder) + CHAIN, encoding="utf-8", newline="\n")
    desk, at = Desk.open(folder), 'presets["evening"].also'
    assert [(item.key, item.written) for item in desk.describe(at)] == [("source", "radio"), ("level_db", None)]
    desk.edit(f"{at}.level_db", -3)
    assert 'also = {source = "radio", level_db = -3}' in text_of(folder)
    desk.add(at, {"source": "player"})
    assert desk.row_words(at) == ("radio, -3", "player")
    assert [item.source for item in desk.build.presets[0].also] == ["radio", "player"]


def test_a_corner_written_as_two_numbers_is_read_and_changed_as_a_table(folder: Path) -> None:
    (folder / "build.toml").write_text(text_of(folder) + PANEL, encoding="utf-8", newline="\n")
    desk, at = Desk.open(folder), 'panels["lid"].outline'
    assert desk.row_words(at)[:2] == ("[0, 0]", "[0.9, 0]")
    assert desk.describe(f"{at}[1]")[0].written == [0.9, 0]
    desk.edit(f"{at}[1].sagitta_m", "2 cm")
    assert '{at_m = [0.9, 0], sagitta_m = "2 cm"}' in text_of(folder)
    desk.edit(f"{at}[1].sagitta_m", None)
    desk.edit(f"{at}[2].at_m", [0.9, 0.5])
    corners = desk.build.panels[0].outline
    assert corners is not None and [corner.at_m for corner in corners] == [(0, 0), (0.9, 0), (0.9, 0.5), (0, 0.4)]
    with pytest.raises(BuildError, match="at_m"):
        desk.edit(f"{at}[0].at_m", None)


def test_what_calls_a_row_by_its_name_goes_along_when_it_is_renamed(folder: Path) -> None:
    desk, before = Desk.open(folder), text_of(folder)
    desk.rename('speaker_models["invented ten"].name', "ten of mine")
    assert text_of(folder) == before.replace('"invented ten"', '"ten of mine"') and before.count('"invented ten"') == 2
    assert desk.undo() and text_of(folder) == before
    with pytest.raises(BuildError, match="name"):
        desk.rename('speaker_models["invented ten"].name', "")
    with pytest.raises(BuildError, match="hinge"):  # a name that another row has
        desk.rename('survey.points["pod"].name', "hinge")
    assert text_of(folder) == before


def test_temperatures_say_their_unit(folder: Path) -> None:
    told = {item.key: (item.label, item.unit) for item in Desk.open(folder).describe("cabin")}
    assert told["temperature_c"] == ("temperature", "°C")


def test_states_and_values_are_a_kind_of_their_own(folder: Path) -> None:
    desk = Desk.open(folder)
    kinds = {
        path: {item.key: item.kind for item in desk.describe(path)} for path in ("switches[0]", "service_bypasses[0]")
    }
    assert kinds["switches[0]"]["closed_when"] == kinds["service_bypasses[0]"]["when"] == "states"
    (when,) = [item for item in desk.describe("service_bypasses[0]") if item.key == "when"]
    assert when.accepts == "table of states and values"


def test_rows_and_accepted_places(folder: Path) -> None:
    desk = Desk.open(folder)
    desk.add("wires", {"name": "remote", "from": "fused", "to": "amp remote", "length_m": 3})
    assert desk.rows("wires") == ("feed", "return", "remote")
    desk.remove('wires["remote"]')
    place = desk.build.places[0].name
    desk.accept([place])
    assert desk.rows("speakers") == (place,)
    assert [entry.by for entry in desk.history().entries] == ["screen", "screen", "accept"]


def test_undo_and_redo_over_a_restart(folder: Path) -> None:
    desk, first = Desk.open(folder), text_of(folder)
    for metres in (1, 2, 3):
        desk.edit("wires[0].length_m", metres)
    third = text_of(folder)
    desk = restarted(folder)
    for _ in range(3):
        assert desk.undo() is not None
    assert text_of(folder) == first and desk.undo() is None and desk.can_undo is None
    desk = restarted(folder)
    for _ in range(3):
        assert desk.redo() is not None
    assert text_of(folder) == third and desk.redo() is None
    desk.undo()
    desk.edit("wires[1].length_m", 0.9)
    assert desk.can_redo is None and 'wires["return"]' in str(desk.can_undo)
    desk.restore(0, why="begin again")
    assert text_of(folder) == first and desk.history().entries[-1].why == "begin again"
    desk.undo()
    assert "length_m = 0.9" in text_of(folder)


def test_an_editor_wrote_elsewhere(folder: Path) -> None:
    desk = Desk.open(folder)
    by_editor(folder, "rating_a = 80", "rating_a = 60 # smaller")
    desk.edit("wires[0].length_m", 4)
    text = text_of(folder)
    assert "rating_a = 60 # smaller" in text and "length_m = 4\n" in text
    assert [entry.by for entry in desk.history().entries] == ["outside", "screen"]
    assert desk.history().entries[0].what == 'fuses["main"].rating_a: 80 A → 60 A'


def test_an_editor_wrote_the_same(folder: Path) -> None:
    desk = Desk.open(folder)
    by_editor(folder, "length_m = 4.5", "length_m = 4.2")
    with pytest.raises(
        Clash, match=r'wires\["feed"\].length_m: an editor changed it meanwhile, from 4.5 to 4.2'
    ) as caught:
        desk.edit('wires["feed"].length_m', 4)
    assert (caught.value.before, caught.value.outside, caught.value.wanted) == (4.5, 4.2, 4)
    assert "length_m = 4.2" in text_of(folder) and desk.text == text_of(folder)
    desk.edit('wires["feed"].length_m', 4)  # having seen both
    assert "length_m = 4\n" in text_of(folder)


def test_an_editor_moved_rows_about(folder: Path) -> None:
    """Rows are found again by their names; one without a name that is not where it was is never guessed."""
    desk = Desk.open(folder)
    by_editor(
        folder,
        '[[wires]]\nname = "feed"',
        '[[wires]]\nname = "x"\nfrom = "a"\nto = "b"\nlength_m = 1\n[[wires]]\nname = "feed"',
    )
    desk.edit("wires[0].length_m", 4)
    assert [row["length_m"] for row in tomllib.loads(text_of(folder))["wires"]] == [1, 4, 0.5]
    by_editor(
        folder,
        '[[survey.tapes]]\nfrom = "hinge"',
        '[[survey.tapes]]\nfrom = "hinge"\nto = "lever"\ndistance_m = 0.87\n[[survey.tapes]]\nfrom = "hinge"',
    )
    with pytest.raises(Clash):
        desk.edit("survey.tapes[0].distance_m", 0.52)


def test_an_editor_broke_it(folder: Path) -> None:
    desk = Desk.open(folder)
    by_editor(folder, "length_m = 4.5", "length_m = ")
    broken = text_of(folder)
    for attempt in (desk.refresh, lambda: desk.edit("wires[1].length_m", 1), desk.undo):
        with pytest.raises(BuildError, match="not valid TOML"):
            attempt()
    assert text_of(folder) == broken and desk.build.wires[0].length_m == 4.5
    by_editor(folder, "length_m = \n", "length_m = 4.5\n")
    assert desk.refresh() is None


def test_written_while_no_desk_was_open(folder: Path) -> None:
    Desk.open(folder).edit("wires[0].length_m", 4)
    by_editor(folder, "length_m = 4\n", "length_m = 3\n")
    desk = restarted(folder)
    assert desk.history().entries[-1].by == "outside" and "4 m → 3 m" in desk.history().entries[-1].what
    desk.undo()
    assert "length_m = 4\n" in text_of(folder)


def test_two_tabs_are_one_desk(folder: Path) -> None:
    assert Desk.open(folder) is Desk.open(folder / "build.toml")


def _many(folder: str, key: str, count: int) -> None:
    desk = Desk.open(Path(folder))
    for number in range(count):
        desk.edit(key, 1 + number / 100)


def test_two_processes_lose_nothing(folder: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    keys = ("wires[0].length_m", "wires[1].length_m")
    both = [spawn.Process(target=_many, args=(str(folder), key, 12)) for key in keys]
    for process in both:
        process.start()
    for process in both:
        process.join()
        assert process.exitcode == 0
    assert [wire.length_m for wire in load(folder).wires] == [1.11, 1.11]
    history = restarted(folder).history()
    assert history.damage == () and len(history.entries) == 24
    marks = [entry.after for entry in history.entries[:-1]]
    assert marks == [entry.before for entry in history.entries[1:]]  # every change stands on the one before


KILLED = """
import sys
from pathlib import Path
from cabinwright.desk import Desk
desk = Desk.open(Path(sys.argv[1]))
print("ready", flush=True)
for number in range(100_000):
    desk.edit("wires[0].length_m", 1 + number % 50 / 10)
"""


@pytest.mark.parametrize("after", [0.0, 0.05, 0.11, 0.23])
def test_killed_in_the_middle(folder: Path, after: float) -> None:
    """A whole build, a whole log, and every state that is named in it; however far the process came."""
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(folder)], stdout=subprocess.PIPE, encoding="utf-8")
    assert process.stdout is not None and process.stdout.readline() == "ready\n"
    with pytest.raises(subprocess.TimeoutExpired):
        process.wait(0.2 + after)
    process.kill()
    process.wait()
    process.stdout.close()
    desk = restarted(folder)
    history = desk.history()
    assert history.damage == () and history.entries
    assert history.entries[-1].after == desk.mark
    for number in range(history.entries[-1].number + 1):
        assert "# my car" in desk.state(number)
    desk.edit("wires[0].length_m", 9)
    assert load(folder).wires[0].length_m == 9.0


def test_a_damaged_log_is_named_and_the_build_opens(folder: Path) -> None:
    desk = Desk.open(folder)
    desk.edit("wires[0].length_m", 4)
    desk.edit("wires[0].length_m", 3)
    lines = desk.log.file.read_bytes().splitlines()
    desk.log.file.write_bytes(lines[0][:50] + b"\n" + lines[1] + b"\n")
    desk = restarted(folder)
    assert len(desk.history().damage) == 1 and "log.jsonl:1" in desk.history().damage[0]
    desk.edit("wires[0].length_m", 2)
    desk.undo()
    assert "length_m = 3\n" in text_of(folder)


def test_nothing_can_be_written(folder: Path) -> None:
    desk, before = Desk.open(folder), text_of(folder)
    (folder / "history").write_text("in the way", encoding="utf-8")
    with pytest.raises(OutputError):
        desk.edit("wires[0].length_m", 4)
    assert text_of(folder) == before == desk.text


def test_fields_say_what_the_reference_says(folder: Path) -> None:
    desk = Desk.open(folder)
    by_key = {item.key: item for item in desk.describe('wires["feed"]')}
    length = by_key["length_m"]
    assert (length.label, length.kind, length.unit, length.low, length.written) == ("length", "number", "m", 0.0, 4.5)
    assert "ft" in length.units and length.required and length.help
    assert "left" in {item.key: item for item in desk.describe("vehicle")}["driving_side"].choices
    desk.edit('wires["feed"].gauge', "20 AWG")
    desk.result("power")
    found = {
        item.code for row in desk.rows("wires") for item in desk.describe(f'wires["{row}"]') for item in item.findings
    }
    known = {item.code for item in desk.findings("power") if "feed" in item.where or "return" in item.where}
    assert known and found >= known
    for field in desk.describe(""):
        if field.kind == "table":
            assert desk.describe(field.path) is not None
    with pytest.raises(RefusedError, match="no table here"):
        desk.describe("wires")


def test_a_wall_is_a_word_or_a_number(folder: Path) -> None:
    """A stated number is shown, and no choice hides it; typed as number or as word it is taken."""
    shape = "[boxes.shape]\nsize_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.018\nbaffle = 2\n"
    radiator = "radiator = {mms_kg = 0.2, cms_m_per_n = 2e-4, sd_m2 = 0.01}"
    kind = f'[[boxes]]\nname = "bay"\nmodel = "ten"\nkind = "passive radiator"\n{radiator}\n'
    places = "[[boxes.shape.radiators_at]]\nwall = 4\nat_m = [0.2, 0.1]\n"
    (folder / "build.toml").write_text(HEAD + MODEL + kind + shape + places, encoding="utf-8")
    desk = Desk.open(folder)
    for table, key, stands in (("boxes[0].shape", "baffle", 2), ("boxes[0].shape.radiators_at[0]", "wall", 4)):
        for stated in (stands, "bottom", 3):
            if stated != stands:
                desk.edit(f"{table}.{key}", stated)
            field = {item.key: item for item in desk.describe(table)}[key]
            assert (field.kind, field.choices, field.written, field.value) == ("word or whole", (), stated, stated)
            assert field.accepts == '"top", "bottom" or a whole number; from 1 up to 400'
    joint = {item.key: item for item in desk.describe("boxes[0].shape")}["joint"]
    assert (joint.kind, joint.choices) == ("choice", ("butt", "rabbet", "dowel", "finger"))


def test_only_what_reads_a_change_is_worked_out(folder: Path) -> None:
    desk = Desk.open(folder)
    stages = ("survey", "layout", "enclosure", "power")
    for stage in stages:
        desk.result(stage)
    worked = desk._memory.worked
    for path, value, wanted in (
        ("title", "other", set()),
        ("wires[0].length_m", 4, {"power"}),
        ('boxes["bay"].power_w', 90, {"enclosure"}),
    ):
        before = len(worked)
        desk.edit(path, value)
        for stage in stages:
            desk.result(stage)
        assert {name for name in worked[before:] if name in stages} == wanted, path
    name = desk.build.places[0].name
    before = len(worked)
    desk.edit(f'places["{name}"].looks', 1)
    desk.result("layout")
    assert {item[1] for item in worked[before:] if isinstance(item, tuple)} == {name}


def test_a_moved_place_takes_its_speaker_along_in_one_change(folder: Path) -> None:
    place = '[[places]]\nname = "pod"\nrole = "tweeter"\nside = "left"\nposition_m = [0.6, -0.6, 0.9]  # taped\naim = [0, 1, 0]\n'
    (folder / "build.toml").write_text("# my car\n" + TEXT + place, encoding="utf-8", newline="\n")
    desk = Desk.open(folder)
    desk.accept(["pod"])
    desk.edit_all({'places["pod"].position_m': [0.7, -0.6, 0.9], 'places["pod"].aim': [1, 1, 0]})
    moved = text_of(folder)
    assert "position_m = [0.7, -0.6, 0.9]  # taped" in moved and moved.count("aim = [1, 1, 0]") == 1
    with pytest.raises(RefusedError, match="100 mm from this place"):
        desk.accept(["pod"])
    change = desk.accept(["pod"], again=True, why="better by 1 dB")
    (speaker,) = (item for item in desk.build.speakers if item.name == "pod")
    assert (speaker.position_m, speaker.aim) == ((0.7, -0.6, 0.9), (1.0, 1.0, 0.0))
    assert desk.history().entries[-1].why == change.why == "better by 1 dB"
    assert desk.undo() is not None and text_of(folder) == moved
    assert desk.undo() is not None and text_of(folder) != moved
    with pytest.raises(BuildError):
        desk.edit_all({'places["pod"].position_m': [0.8, -0.6, 0.9], 'places["pod"].aim': [0, 0, 0]})
    assert desk.build.places[-1].position_m == (0.6, -0.6, 0.9)  # both or none
