"""Backups: restored into either database they are what they were; a damaged one is never taken for whole."""

from __future__ import annotations

import contextlib
import random
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import select

from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.shop import migrate
from cabinwright.shop.backup import backed_up, restored, tried
from cabinwright.shop.files import FileStore, keep_file
from cabinwright.shop.parts import move
from cabinwright.shop.people import add_customer
from cabinwright.shop.rows import Row
from cabinwright.shop.store import Store
from cabinwright.shop.words import found
from shop.invented import job, part, tax


def fill(store: Store) -> None:
    files = FileStore(store.files)
    mark, size = files.put(b"sweep" * 90_000)

    def make(work):  # type: ignore[no-untyped-def]
        here = job(work, name="Zoë Invented")
        row = part(work, data={"fs_hz": 28.0, "words": 'quoted "ü"\n'})
        move(work, row.id, Decimal("12.5"), "received")
        keep_file(work, mark, size, job_id=here.id, kind="recording", name="left.wav")
        tax(work)

    store.change(make, by="owner")


def everything(store: Store) -> dict:  # type: ignore[type-arg]
    with store.engine.connect() as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(table.c.id))]
            for table in Row.metadata.sorted_tables
        }


def test_what_comes_back_is_what_was(store: Store, tmp_path: Path) -> None:
    fill(store)
    contents = backed_up(store, tmp_path / "shop.zip")
    assert contents.rows["movements"] == 1
    assert contents.files == 1
    other = Store.open(str(tmp_path / "other"))
    restored(other, tmp_path / "shop.zip")
    assert everything(other) == everything(store)
    with other.read() as work:
        assert FileStore(other.files).lost(work) == ()
        assert found(work, "zoe invented")[0].kind == "customer"
    new = other.change(lambda work: add_customer(work, name="next"), by="x")
    assert new.id == 2  # numbers go on where they were
    with pytest.raises(PersonError, match="not empty"):
        restored(other, tmp_path / "shop.zip")
    other.close()


def test_from_one_database_into_the_other(full: str, tmp_path: Path) -> None:
    lite, big = Store.open(str(tmp_path / "lite")), Store.open(full, files=tmp_path / "big")
    fill(lite)
    backed_up(lite, tmp_path / "shop.zip", check=False)
    restored(big, tmp_path / "shop.zip")
    assert everything(big) == everything(lite)
    assert big.change(lambda work: add_customer(work, name="next"), by="x").id == 2
    lite.close()
    big.close()


def test_a_damaged_backup_is_told_and_nothing_restored(tmp_path: Path) -> None:
    store = Store.open(str(tmp_path / "shop"))
    fill(store)
    good = tmp_path / "shop.zip"
    backed_up(store, good)
    store.close()

    def changed(name: str, edit) -> Path:  # type: ignore[no-untyped-def]
        bad = tmp_path / "bad.zip"
        with zipfile.ZipFile(good) as source, zipfile.ZipFile(bad, "w") as target:
            for item in source.namelist():
                content = edit(source.read(item)) if item.startswith(name) else source.read(item)
                if content is not None:
                    target.writestr(item, content)
        return bad

    newest = f'"{migrate.versions()[-1]}"'.encode()
    cases = [
        ("rows/parts", lambda content: content.replace(b"4.9000", b"4.8000"), "did not come back"),
        ("rows/movements", lambda content: b"", "did not come back"),
        ("rows/cars", lambda content: None, "damaged"),
        ("rows/customers", lambda content: b"", "do not fit|did not come back"),
        ("rows/parts", lambda content: content[:40], "damaged"),
        ("files/", lambda content: content[:-1], "damaged"),
        ("shop.json", lambda content: content.replace(newest, b'"0099"'), "newer"),
        ("shop.json", lambda content: b"{}", "no backup"),
    ]
    for name, edit, words in cases:
        with pytest.raises(PersonError, match=words):
            tried(changed(name, edit))
    (tmp_path / "cut.zip").write_bytes(good.read_bytes()[:-400])
    with pytest.raises(PersonError, match="damaged"):
        tried(tmp_path / "cut.zip")
    tried(good)


def test_whatever_bytes_change_it_is_told(tmp_path: Path) -> None:
    """Flipped bits, a cut end, an encrypted mark: an error in words, never another."""
    store = Store.open(str(tmp_path / "shop"))
    fill(store)
    backed_up(store, tmp_path / "kept.zip", check=False)
    store.close()
    content, chance = (tmp_path / "kept.zip").read_bytes(), random.Random(1)
    for number in range(25):
        damaged = bytearray(content)
        for _ in range(1 + number % 4):
            damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
        (tmp_path / "damaged.zip").write_bytes(damaged if number % 6 else damaged[: chance.randrange(len(damaged))])
        with contextlib.suppress(CabinwrightError):
            tried(tmp_path / "damaged.zip")
    head = content.index(b"PK\x01\x02") + 8  # flags of the first entry of the directory
    (tmp_path / "damaged.zip").write_bytes(content[:head] + bytes([content[head] | 1]) + content[head + 1 :])
    with pytest.raises(PersonError, match="encrypted"):
        tried(tmp_path / "damaged.zip")


def test_a_backup_without_one_of_its_files_is_not_taken_for_whole(tmp_path: Path) -> None:
    store = Store.open(str(tmp_path / "shop"))
    fill(store)
    backed_up(store, tmp_path / "shop.zip", check=False)
    store.close()
    with zipfile.ZipFile(tmp_path / "shop.zip") as whole, zipfile.ZipFile(tmp_path / "less.zip", "w") as less:
        for name in whole.namelist():
            if not name.startswith("files/"):
                less.writestr(name, whole.read(name))
    other = Store.open(str(tmp_path / "other"))
    with pytest.raises(PersonError, match=r"1 of the shop.s files are not in it"):
        restored(other, tmp_path / "less.zip")
    assert not any(rows for name, rows in everything(other).items() if name != "alembic_version")
    other.close()


def test_a_lost_file_stops_the_backup_and_the_earlier_one_stays(tmp_path: Path) -> None:
    store = Store.open(str(tmp_path / "shop"))
    fill(store)
    backed_up(store, tmp_path / "shop.zip")
    before = (tmp_path / "shop.zip").read_bytes()
    files = FileStore(store.files)
    files.drop(tuple(files.marks()))
    with pytest.raises(PersonError, match="is not there"):
        backed_up(store, tmp_path / "shop.zip")
    assert (tmp_path / "shop.zip").read_bytes() == before
    assert not list(tmp_path.glob(".*.part"))
    store.close()
