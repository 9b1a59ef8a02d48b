"""``cabinwright shop`` as a script runs it: from a customer to a closed job that comes back, and everything that is refused."""

from __future__ import annotations

import argparse
import io
import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from cabinwright.cli.main import main
from cabinwright.cli.shop import COMMANDS
from cabinwright.shop.store import Store
from office.invented import folder, library

PAGE = (Path(__file__).parents[2] / "docs" / "shop.md").read_text(encoding="utf-8")


class Shop:
    """A shop in a folder, asked by its commands."""

    def __init__(self, place: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.place, self.capsys = place, capsys

    def said(self, *words: object, code: int = 0) -> tuple[str, str]:
        self.capsys.readouterr()
        assert main(["shop", *map(str, words), "--database", str(self.place / "shop"), "--by", "Kim"]) == code, words
        told = self.capsys.readouterr()
        assert "Traceback" not in told.out + told.err
        return told.out, told.err

    def get(self, *words: object) -> Any:
        """Its answer for machines."""
        return json.loads(self.said(*words, "--json")[0])

    def refused(self, *words: object) -> str:
        out, err = self.said(*words, code=2)
        assert not out
        return err


@pytest.fixture
def shop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Shop:
    return Shop(tmp_path, capsys)


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "grey").save(out, "JPEG")
    return out.getvalue()


def test_from_a_wish_to_a_car_that_comes_back(shop: Shop, tmp_path: Path) -> None:
    build = folder(tmp_path / "build")
    customer = shop.get("customer", "add", "Ada Invented", "--contact", "by letter")["id"]
    changed = shop.get("customer", "change", customer, "--contact", "by  letter, mornings")
    assert (changed["name"], changed["contact"]) == ("Ada Invented", "by  letter, mornings")
    car = shop.get("car", "add", customer, "blue estate")["id"]
    shop.get("car", "change", car, "--mark", "XY 123", "--note", "two keys")
    cleared = shop.get("car", "change", car, "--note", "")  # what is not named stays, what is named as empty goes
    assert (cleared["name"], cleared["mark"], cleared["note"]) == ("blue estate", "XY 123", "")
    shop.get("house", "tax", "--name", "standard", "--percent", "19", "--begins", "2020-01-01")
    assert shop.get("house", "own", "--name", "Invented Sound", "--rate", "85")["hourly_rate"] == "85"
    assert "rules are standard" in shop.refused("house", "own", "--tax", "VAT")
    assert "house own --tax NAME" in shop.refused("house", "own", "--tax", "VAT")
    assert shop.get("house", "own", "--tax", "standard")["tax"] == "standard"
    assert shop.get("house", "own", "--by-line", "yes")["by_line"] is True
    assert shop.get("house", "own", "--by-line", "no")["by_line"] is False
    moved = shop.get("house", "own", "--address", "4 Old Lane")  # what is not named stays
    assert (moved["name"], moved["address"], moved["hourly_rate"]) == ("Invented Sound", "4 Old Lane", "85")
    store = Store.open(str(tmp_path / "shop"))
    store.change(library, by="Kim")
    store.close()
    job = shop.get("job", "add", car, "front stage", "--build", build, "--promised", "2031-01-31")["id"]
    (tmp_path / "wishes.json").write_text('{"taste": "fuller", "budget": "9000"}', encoding="utf-8")
    told = shop.get("job", "wishes", job, "--answers", tmp_path / "wishes.json", "--write")
    assert told["wishes"]["taste"] == "fuller"
    assert "house_curve" in (build / "build.toml").read_text(encoding="utf-8")
    kinds = ("taking out", "cutting", "fitting", "wiring", "commissioning", "closing up", "handing over")
    hours = [word for kind in kinds for word in ("--hours", f"{kind}=2")]
    offer = shop.get("offer", "draw", job, f"as drawn={build}", *hours)
    (variant,) = offer["variants"]
    assert "as drawn" in shop.said("offer", "show", offer["id"])[0]
    assert "cost" not in json.dumps(shop.get("offer", "show", offer["id"])["variants"][0]["lines"][0])
    assert "draft" in shop.refused("offer", "sign", offer["id"], "as drawn", "--signed-by", "Ada")
    shop.said("offer", "send", offer["id"])
    shop.said("offer", "pdf", offer["id"], tmp_path / "offer.pdf", "--paper", "letter")
    assert (tmp_path / "offer.pdf").read_bytes()[:5] == b"%PDF-"
    signed = shop.get("offer", "sign", offer["id"], "as drawn", "--signed-by", "Ada Invented")
    assert (signed["state"], signed["chosen"]) == ("accepted", "as drawn")
    assert shop.get("offer", "show", offer["id"])["as_it_was_signed"] is True
    assert shop.get("offer", "agreed", job)["gross"] == variant["gross"]
    assert "accepted" in shop.refused("offer", "decline", offer["id"])
    tasks = shop.get("bench", "plan", job)
    assert [row["name"] for row in shop.get("bench", "tasks", job)] == [row["name"] for row in tasks]
    assert shop.get("bench", "missing", job)
    assert shop.get("bench", "closing", job)["ready"] is False
    shop.said("job", "step", job, "building")
    first = shop.get("bench", "today")[0]
    shop.said("bench", "start", first["id"])
    assert shop.get("bench", "stop")["task_id"] == first["id"]
    assert "No time was running" in shop.said("bench", "stop")[0]
    assert shop.get("bench", "done", first["id"])["done_by"] == "Kim"
    assert "cannot follow" in shop.refused("job", "step", job, "closed")
    shop.said("job", "note", job, "the carpet clip breaks easily", "--pinned", "workshop")
    (tmp_path / "seen.jpg").write_bytes(picture())
    kept = shop.get("job", "photograph", job, tmp_path / "seen.jpg", "--words", "before the lid")["id"]
    assert "allow" in shop.refused("job", "page", job, tmp_path / "page.html", "--title", "A front stage")
    shop.said("customer", "allow", customer, "--photographs", "yes", "--named", "no")
    shop.said("job", "public", kept, "yes")
    shop.said("job", "page", job, tmp_path / "page.html", "--title", "A front stage")
    assert "Ada" not in (tmp_path / "page.html").read_text(encoding="utf-8")
    whole = shop.get("job", "show", job)
    assert {len(whole["log"]), len(whole["offers"])} == {2, 1}
    assert any(hit["kind"] == "note" for hit in shop.get("house", "search", "carpet"))
    assert "not gone home yet" in shop.refused("job", "return", job, "--title", "a rattle")
    assert {row["by"] for row in shop.get("house", "trail")} == {"Kim"}
    assert shop.get("customer", "told", customer)["jobs"]
    assert "still open" in shop.refused("customer", "erase", customer, "--yes")
    assert shop.get("job", "step", job, "called off")["state"] == "called off"
    assert "--yes" in shop.refused("customer", "erase", customer)
    assert "Erased" in shop.said("customer", "erase", customer, "--yes")[0]
    assert "Ada" not in json.dumps(
        [shop.get("customer", "told", customer), shop.get("house", "trail", "--most", "999")]
    )
    assert shop.get("house", "search", "ada") == []


def test_parts_from_a_file_that_is_looked_at_first(shop: Shop, tmp_path: Path) -> None:
    file = tmp_path / "parts.csv"
    file.write_text(
        "number,name,kind,price,currency\nW1,=cmd|' /C calc'!A0,wire,4.5,EUR\nW2,thin,wire,x,EUR\n", encoding="utf-8"
    )
    told = shop.get("part", "import", file)
    assert told["taken_in"] is False
    assert "3" in told["mistakes"][0]
    assert "1 mistakes" in shop.refused("part", "import", file, "--take")
    file.write_text(file.read_text(encoding="utf-8").replace(",x,", ",2,"), encoding="utf-8")
    assert "--take" in shop.said("part", "import", file)[0]
    assert shop.get("part", "list") == []
    assert shop.get("part", "import", file, "--take")["taken_in"] is True
    first = shop.get("part", "list", "--kind", "wire")[0]["id"]
    shop.said("part", "move", first, "10", "received")
    assert "on the shelf" in shop.refused("part", "move", first, "-11", "used")
    assert shop.get("part", "counted", first, "7")["reason"] == "counted"
    assert shop.get("part", "show", first)["there"] == "7"
    shop.said("part", "export", tmp_path / "out.csv")
    assert "'=cmd" in (tmp_path / "out.csv").read_text(encoding="utf-8-sig")
    made = shop.get(
        "part", "add", "S-1", "ten inch bass", "loudspeaker model", "price=210,00", 'data={"model": "invented ten"}'
    )
    assert (made["price"], made["data"], made["currency"]) == ("210.00", {"model": "invented ten"}, "EUR")
    assert shop.get("part", "change", made["id"], "gone=yes", "price=")["price"] is None
    assert "no JSON" in shop.refused("part", "change", made["id"], "data={")
    assert "Fields are" in shop.refused("part", "change", made["id"], "colour=red")
    assert "no reason" in shop.refused("part", "move", first, "1", "found")


def test_backup_into_another_shop(shop: Shop, tmp_path: Path) -> None:
    shop.said("customer", "add", "'; DROP TABLE customers; --")
    assert shop.get("house", "backup", tmp_path / "kept.zip")["tried"] == "restored and compared"
    other = ("--database", str(tmp_path / "other"))
    assert main(["shop", "house", "restore", str(tmp_path / "kept.zip"), *other]) == 0
    shop.capsys.readouterr()
    assert main(["shop", "customer", "list", "--json", *other]) == 0
    assert json.loads(shop.capsys.readouterr().out)[0]["name"] == "'; DROP TABLE customers; --"
    assert "empty" in shop.refused("house", "restore", tmp_path / "kept.zip")


def test_users_and_their_passwords(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    assert "password" in shop.refused("user", "add", "Kim", "bench")
    monkeypatch.setattr("sys.stdin", io.StringIO("four invented plain words\n"))
    assert shop.get("user", "add", "Kim", "bench")["role"] == "bench"
    assert "password" not in json.dumps(shop.get("user", "list"))
    assert "no more" in shop.said("user", "bar", 1)[0]
    assert shop.get("user", "list")[0]["active"] is False


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("job", "show", "7"), "no 7"),
        (("car", "add", "7", "x"), "no customer 7"),
        (("customer", "add", " "), "name"),
        (("job", "list", "--state", "sleeping"), "no state"),
        (("offer", "draw", "1", "no sign"), "NAME=BUILD"),
        (("part", "import", "/nowhere.csv"), "no such file"),
        (("house", "tax", "--name", "x"), "--percent"),
        (("bench", "start", "9"), "task"),
        (("customer", "add", "a\udcff"), "UTF-8"),
        (("part", "import", "/"), "no plain file"),
        (("house", "search", "a", "--kind", "x"), "choose customer"),
        (("house", "tax", "--name", "x", "--percent", "1900", "--begins", "2020-01-01"), "below 100 %"),
    ],
)
def test_refusals_say_what_to_do(shop: Shop, words: tuple[str, ...], told: str) -> None:
    assert told in shop.refused(*words)


@pytest.mark.parametrize("number", ["-1", "0", "9" * 30, "\u0663", "1e3"])
def test_numbers_that_no_row_has_are_told(shop: Shop, number: str) -> None:
    with pytest.raises(SystemExit) as ended:
        shop.said("job", "show", number)
    assert ended.value.code == 2
    assert "whole number from 1" in shop.capsys.readouterr().err


def test_a_task_takes_neither_less_than_no_time_nor_half_a_name(shop: Shop) -> None:
    shop.get("customer", "add", "Ada Invented")
    shop.get("car", "add", 1, "estate")
    shop.get("job", "add", 1, "sound")
    assert "0 to 10,000" in shop.refused("bench", "add", 1, "wire it", "--kind", "wiring", "--planned", "-3")
    assert "at most" in shop.refused("bench", "add", 1, "x" * 201, "--kind", "wiring")


def test_a_tax_rule_stands_once_a_day(shop: Shop) -> None:
    rule = ("house", "tax", "--name", "standard", "--begins", "2020-01-01", "--percent")
    shop.get(*rule, "19")
    assert "says 19 %" in shop.refused(*rule, "20")


def test_every_command_is_documented_and_answers_machines() -> None:
    for command in COMMANDS:
        assert f"`{command.noun} {command.verb}`" in PAGE, command
        parser = argparse.ArgumentParser()
        for names, options in command.arguments:
            parser.add_argument(*names, **options)
            assert "--json" not in names
