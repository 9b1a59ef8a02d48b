"""Parts and shelf: movements that always add up, whatever order they come in; lists that come as CSV."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from cabinwright.errors import MeanwhileError, PersonError, RefusedError
from cabinwright.shop.house import House, house, set_house
from cabinwright.shop.money import new_rate
from cabinwright.shop.parts import (
    add_part,
    change_part,
    counted,
    listed,
    missing,
    missing_of,
    move,
    order,
    shelf,
    short,
)
from cabinwright.shop.parts_csv import looked_at, taken_in, written_out
from cabinwright.shop.rows import Need, Part
from cabinwright.shop.store import Store
from shop.invented import job, part, tax


@pytest.fixture(scope="module")
def lite(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    store = Store.open(str(tmp_path_factory.mktemp("shop")))
    yield store
    store.close()


def test_the_shelf_is_the_sum_of_its_movements_whatever_happens(lite: Store) -> None:
    """A machine of movements against a plain sum beside it."""

    class Shelf(RuleBasedStateMachine):
        runs = 0

        def __init__(self) -> None:
            super().__init__()
            Shelf.runs += 1
            self.part = lite.change(lambda work: part(work, f"P-{Shelf.runs}"), by="owner").id
            self.there = Decimal(0)

        @rule(
            quantity=st.decimals(min_value=-30, max_value=30, places=4),
            reason=st.sampled_from(["received", "used", "put back", "scrapped"]),
        )
        def move(self, quantity: Decimal, reason: str) -> None:
            right = quantity != 0 and (quantity > 0) == (reason in ("received", "put back"))
            try:
                lite.change(lambda work: move(work, self.part, quantity, reason), by="x")
            except RefusedError:
                assert right
                assert self.there + quantity < 0
            except PersonError:
                assert not right
            else:
                assert right
                self.there += quantity

        @rule(there=st.decimals(min_value=0, max_value=50, places=4))
        def count(self, there: Decimal) -> None:
            lite.change(lambda work: counted(work, self.part, there), by="x")
            self.there = there

        @invariant()
        def adds_up(self) -> None:
            with lite.read() as work:
                assert shelf(work, [self.part])[self.part] == self.there >= 0

    case = Shelf.TestCase
    case.settings = settings(max_examples=12, stateful_step_count=12, deadline=None)
    case().runTest()


def test_pieces_are_whole_and_reasons_known(store: Store) -> None:
    row = store.change(lambda work: part(work, "F-80", kind="fuse", unit="piece"), by="owner")
    for quantity, reason, words in (
        (Decimal("1.5"), "received", "not whole"),
        (Decimal(1), "found", "no reason"),
        (Decimal(1), "used", "negative"),
    ):
        with pytest.raises(PersonError, match=words):
            store.change(lambda work, q=quantity, r=reason: move(work, row.id, q, r), by="x")  # type: ignore[misc]


def test_what_a_job_misses(store: Store) -> None:
    def make(work):  # type: ignore[no-untyped-def]
        one, other = part(work), part(work, "F-80", kind="fuse", unit="piece")
        here = job(work)
        work.add(Need(job_id=here.id, part_id=one.id, quantity=Decimal(12)))
        work.add(Need(job_id=here.id, part_id=one.id, quantity=Decimal(3)))
        work.add(Need(job_id=here.id, part_id=other.id, quantity=Decimal(2)))
        order(work, other.id, Decimal(2))
        move(work, one.id, Decimal(20), "received")
        move(work, one.id, Decimal(-10), "used", job_id=here.id)
        move(work, one.id, Decimal(-6), "used")
        return here.id

    job_id = store.change(make, by="owner")
    with store.read() as work:
        rows = [(row.number, still, there, ordered) for row, still, there, ordered in missing(work, job_id)]
    assert rows == [("W-21", 5, 4, 0), ("F-80", 2, 0, 2)]


def test_what_is_to_be_ordered_for_all_jobs_together(store: Store) -> None:
    """Counted by hand: two jobs want 6 m and 5 m of the 10 m there, of which one has taken 2 m; 4 m shall stay."""

    def make(work):  # type: ignore[no-untyped-def]
        wire, fuse, felt = (
            part(work, least=Decimal(4)),
            part(work, "F-80", kind="fuse"),
            part(work, "Z-1", kind="other"),
        )
        part(work, "Z-2", kind="other", least=Decimal(1), gone=True)
        low = part(work, "S-1", kind="sheet", least=Decimal(2))
        one, other, asked = job(work), job(work), job(work)
        one.state, other.state = "building", "agreed"
        for here, item, quantity in (
            *((one, wire, 6), (other, wire, 5), (asked, wire, 99)),
            *((one, fuse, 2), (other, felt, 3)),
        ):
            work.add(Need(job_id=here.id, part_id=item.id, quantity=Decimal(quantity)))
        move(work, wire.id, Decimal(10), "received")
        move(work, wire.id, Decimal(-2), "used", job_id=one.id)
        move(work, felt.id, Decimal(3), "received")
        move(work, low.id, Decimal("1.5"), "received")
        order(work, wire.id, Decimal(1))
        order(work, fuse.id, Decimal(2))
        return one.id, other.id

    jobs = store.change(make, by="owner")
    with store.read() as work:
        rows = [(row[0].number, *row[1:]) for row in short(work)]
        each = missing_of(work, jobs)
        assert each == {job_id: missing(work, job_id) for job_id in jobs}
    assert rows == [("S-1", 0, Decimal("1.5"), 0, Decimal("0.5")), ("W-21", 9, 8, 1, 4)]
    assert [row[0].number for row in each[jobs[0]]] == ["F-80"] and not each[jobs[1]]

    def comes(work):  # type: ignore[no-untyped-def]
        wire, _, _, _, lacks = short(work)[1]
        order(work, wire.id, Decimal(1) + lacks)
        move(work, wire.id, Decimal(2), "received")  # a part of it
        return [row[0].number for row in short(work)], wire.coming

    assert store.change(comes, by="owner") == (["S-1"], 3)
    for quantity, words in (
        (Decimal(-1), "nothing or more"),
        (Decimal("0.5"), "not whole"),
        (Decimal("NaN"), "nothing"),
    ):
        with pytest.raises(PersonError, match=words):
            store.change(
                lambda work, q=quantity: order(work, part(work, "F-1", unit="piece").id, q),  # type: ignore[misc]
                by="x",
            )


def test_fields_are_held_against_their_rules(store: Store) -> None:
    row = store.change(lambda work: part(work), by="owner")
    for values, words in (
        *[({"kind": "engine"}, "kind"), ({"unit": "inch"}, "unit"), ({"currency": "EURO"}, "currency")],
        *[({"price": Decimal(-1)}, "below"), ({"name": " "}, "name"), ({"colour": "red"}, "no field")],
        ({"number": "x" * 61}, "60 characters"),
    ):
        with pytest.raises(PersonError, match=words):
            store.change(lambda work, v=values: change_part(work, row.id, count=1, **v), by="x")  # type: ignore[misc]
    with pytest.raises(PersonError, match="already"):
        store.change(lambda work: part(work), by="x")
    store.change(lambda work: change_part(work, row.id, count=1, price=Decimal("5.5")), by="x")
    with pytest.raises(MeanwhileError, match="Changed by x"):
        store.change(lambda work: change_part(work, row.id, count=1, price=Decimal(6)), by="y")


def test_a_tax_rule_that_is_not_there_is_told_at_once(store: Store) -> None:
    """Also in a list; a shop without rules may name them later, and a part keeps the usual one until then."""
    early = store.change(lambda work: part(work, tax="whatever"), by="owner")
    store.change(lambda work: tax(work), by="owner")
    with pytest.raises(PersonError, match=r'no tax rule "bookz".*rules are books, standard'):
        store.change(lambda work: part(work, "B-1", tax="bookz"), by="owner")
    with pytest.raises(PersonError, match='no tax rule "bookz"'):
        store.change(lambda work: change_part(work, early.id, count=1, tax="bookz"), by="owner")
    store.change(lambda work: change_part(work, early.id, count=1, tax="books"), by="owner")
    content = b"number,name,kind,price,tax\nB-1,a book,other,3,books\nB-2,a book,other,3,bookz\n"
    with store.read() as work:
        seen = looked_at(work, content, file="list.csv", currency="EUR")
    assert len(seen.new) == 1 and len(seen.errors) == 1
    assert seen.errors[0].startswith('list.csv:3: tax: there is no tax rule "bookz"')


def test_the_usual_tax_rule_is_not_meant_where_the_shop_has_others(store: Store) -> None:
    """A part, a list and the shop's own work: each is told, and none of them is written. What stands hinders no other change."""
    early = store.change(lambda work: part(work), by="owner")
    assert store.change(lambda work: set_house(work, House(name="Invented Sound")), by="owner").tax == "standard"
    store.change(lambda work: new_rate(work, "VAT", Decimal(20), date(2020, 1, 1)), by="owner")
    with pytest.raises(PersonError, match=r'tax: .*"standard"\. The shop\'s rules are VAT: name one of them, or'):
        store.change(lambda work: part(work, "W-22"), by="owner")
    dearer = House(name="Invented Sound", hourly_rate=Decimal(95))
    assert store.change(lambda work: set_house(work, dearer), by="owner").hourly_rate == 95
    assert store.change(lambda work: part(work, "W-22", tax="VAT"), by="owner").tax == "VAT"
    assert store.change(lambda work: set_house(work, House(name="Another", tax="VAT")), by="owner").tax == "VAT"
    with pytest.raises(
        PersonError, match=r'"standard"\. The shop\'s rules are VAT: name one of them \(.* --tax NAME\), or'
    ):
        store.change(lambda work: set_house(work, House(name="A third")), by="owner")
    with store.read() as work:
        assert house(work).name == "Another"
        for lines, errors in (
            ("W-21,red,wire", 0),  # that part has its rule, whatever it is worth
            ("W-21,red,wire\nW-23,blue,wire", 1),
        ):
            seen = looked_at(work, f"number,name,kind\n{lines}\n".encode(), file="list.csv", currency="EUR")
            assert len(seen.errors) == errors
        assert seen.errors[0].startswith("list.csv:1: tax: ") and "Its rules are VAT" in seen.errors[0]
    with pytest.raises(PersonError, match='no tax rule ""'):
        store.change(lambda work: change_part(work, early.id, count=1, tax=""), by="owner")


LIST = """number;name;kind;unit;price;cost;supplier;supplier_number;note
W-21;wire 21 mm2, red;wire;m;4,90;2,10;Invented Cables;IC 7;
F-80;fuse 80 A;fuse;;3,10;;;;"=cmd|' /C calc'!A0"
"""


def test_a_list_is_looked_at_then_taken_in(store: Store) -> None:
    with store.read() as work:
        first = looked_at(work, LIST.encode(), file="list.csv", currency="EUR")
        assert (len(first.new), first.changed, first.same, first.errors) == (2, (), 0, ())
        assert listed(work) == []
    assert store.change(lambda work: taken_in(work, first), by="owner") == (2, 0)
    with store.read() as work:
        again = looked_at(work, LIST.replace("4,90", "5,20").encode(), file="list.csv", currency="EUR")
        assert (len(again.new), again.changed, again.same) == (
            0,
            (("W-21", {"price": (Decimal("4.9"), Decimal("5.2"))}),),
            1,
        )
    store.change(lambda work: taken_in(work, again), by="owner")
    with store.read() as work:
        rows = listed(work)
        assert [(row.number, row.price, row.supplier.name if row.supplier else None) for row in rows] == [
            ("F-80", Decimal("3.1"), None), ("W-21", Decimal("5.2"), "Invented Cables"),
        ]  # fmt: skip
        out = written_out(rows, costs=False)
        assert b"cost" not in out
        cells = [cell for line in csv.reader(io.StringIO(out.decode("utf-8-sig"))) for cell in line]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
        back = looked_at(work, written_out(rows, costs=True), file="out.csv", currency="EUR")
        assert (back.new, back.changed, back.errors, back.same) == ((), (), (), 2)


def test_what_a_part_stands_for_comes_with_the_list_and_goes_with_it(lite: Store) -> None:
    rows = io.StringIO(newline="")
    csv.writer(rows).writerows(
        [
            ("number", "name", "kind", "data"),
            ("S-10", "ten inches", "loudspeaker model", '{"model": "invented ten; \\"long\\" throw"}'),
            ("S-11", "none", "other", ""),
            ("S-12", "broken", "other", "{model}"),
            ("S-13", "a list", "other", "[1]"),
        ]
    )
    with lite.read() as work:
        found = looked_at(work, rows.getvalue().encode(), file="list.csv", currency="EUR")
    assert [error.split(": ")[:2] for error in found.errors] == [["list.csv:4", "data"], ["list.csv:5", "data"]]
    good = rows.getvalue().splitlines(keepends=True)[:3]
    with lite.read() as work:
        found = looked_at(work, "".join(good).encode(), file="list.csv", currency="EUR")
    assert lite.change(lambda work: taken_in(work, found), by="owner") == (2, 0)
    with lite.read() as work:
        kept = {row.number: row for row in listed(work) if row.number in ("S-10", "S-11")}
        assert kept["S-10"].data == {"model": 'invented ten; "long" throw'} and kept["S-11"].data == {}
        again = looked_at(work, written_out(kept.values(), costs=True), file="out.csv", currency="EUR")
        assert (again.new, again.changed, again.errors, again.same) == ((), (), (), 2)


def test_every_mistake_of_a_list_is_named_with_its_line(store: Store) -> None:
    words = (
        "number,name,kind,price\nA,fine,wire,1\nB,,wire,2\nC,odd,engine,3\nD,dear,fuse,\"1,234\"\nE,short,fuse\nA,twice,wire,9\n"
    )  # fmt: skip
    with store.read() as work:
        found = looked_at(work, words.encode(), file="list.csv", currency="EUR")
        assert [error.split(": ")[0] for error in found.errors] == [f"list.csv:{line}" for line in (3, 4, 5, 6, 7)]
    with pytest.raises(PersonError, match="5 mistakes"):
        store.change(lambda work: taken_in(work, found), by="owner")
    with store.read() as work:
        assert listed(work) == []


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff\xfen\x00", "no text"),
        (b"number,name,kind\nA,\xe4,wire\n", ":2: not UTF-8"),
        (b"number,name\nA,b\n", "kind"),
        (b"number,name,kind,kind\n", "twice"),
        (b"", "needed"),
        (b"number,name,kind,IBAN\n", "iban"),
        (b'number,name,kind\nA,"b,wire\n', "cannot be read"),
    ],
)
def test_what_is_no_list_is_told(lite: Store, content: bytes, words: str) -> None:
    with lite.read() as work:
        assert words in looked_at(work, content, file="list.csv", currency="EUR").errors[0]


@given(st.text(max_size=40).filter(lambda words: words.strip() and "\x00" not in words))
@settings(max_examples=60, deadline=None)
def test_any_name_survives_the_way_out_and_in(lite: Store, name: str) -> None:
    row = Part(
        number="N-1",
        name=name.strip(),
        kind="other",
        unit="piece",
        currency="EUR",
        tax="standard",
        supplier_number="",
        note="",
    )
    with lite.read() as work:
        found = looked_at(work, written_out([row], costs=True), file="x.csv", currency="EUR")
    assert not found.errors
    assert found.rows[0]["name"] == name.strip()


def test_the_same_number_twice_is_refused(lite: Store) -> None:
    lite.change(lambda work: add_part(work, number="TWICE", name="x", kind="other", currency="EUR"), by="x")
    with pytest.raises(PersonError, match="TWICE already"):
        lite.change(lambda work: add_part(work, number="TWICE", name="x", kind="other", currency="EUR"), by="x")
