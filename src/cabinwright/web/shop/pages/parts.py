"""The parts library and the shelf: found, added, moved, counted, taken in from a supplier's list after a look at it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from nicegui import events, ui
from sqlalchemy import select

from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.shop.access import seen_by
from cabinwright.shop.house import house
from cabinwright.shop.money import STANDARD, rule_names
from cabinwright.shop.parts import COMING, add_part, change_part, listed, move, order, shelf, short
from cabinwright.shop.parts import counted as put_right
from cabinwright.shop.parts_csv import LARGEST, Preview, looked_at, taken_in
from cabinwright.shop.rows import Movement, Part
from cabinwright.shop.rows.parts import KINDS, UNITS
from cabinwright.shop.store import found_row
from cabinwright.shop.trail import Work, columns
from cabinwright.shop.words import found
from cabinwright.web.parts import box, button, drop_zone, link, table, text
from cabinwright.web.shop.forms import Ask, amount_of, form, tax_rule
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.said import amount, moment, money, plain, typed
from cabinwright.web.words import _, counted

__all__ = ["LIST", "ONE", "PAGE"]

MOST, MOST_SHOWN, MOST_DUE = 60, 20, 200
LIST = "/shop/parts.csv"  #: the library to take along
ALL = "all"
TEXTS = ("number", "name", "kind", "unit", "tax", "supplier_number", "note")
AMOUNTS = ("price", "cost", "least")


@dataclass(frozen=True)
class Short:
    """A part to be ordered."""

    id: int
    name: str
    unit: str
    needed: Decimal
    there: Decimal
    ordered: Decimal
    lacks: Decimal


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    rows: list[dict[str, Any]]
    currency: str
    short: tuple[Short, ...] = ()
    taxes: tuple[str, ...] = ()


def look(view: ShopView) -> Seen:
    """Parts of a kind, or those a search found, with what lies on the shelf."""
    asked, kind = str(view.state.get("asked", "")), str(view.state.get("kind", ALL))
    with view.store.read() as work:
        if asked.strip():
            ids = [hit.ref for hit in found(work, asked, kind="part", most=MOST)]
            known = {part.id: part for part in work.scalars(select(Part).where(Part.id.in_(ids)))}
            rows = [known[number] for number in ids if number in known]
        else:
            rows = listed(work, kind="" if kind == ALL else kind, after=view.after, most=MOST)
        there = shelf(work, [part.id for part in rows])
        told = [{**columns(part), "there": there[part.id]} for part in rows]
        due = tuple(
            Short(part.id, f"{part.number} {part.name}", part.unit, *rest) for part, *rest in short(work, most=MOST_DUE)
        )
        return Seen([seen_by(view.person, row) for row in told], house(work).currency, due, rule_names(work))


def body(view: ShopView, seen: Seen) -> None:
    """What is to be ordered, search and rows; then what adds to them."""
    _short(view, seen.short)

    async def search(told: dict[str, Any]) -> None:
        await view.turn(asked=told["asked"], kind=told["kind"] or ALL, after=0)

    kinds = [(ALL, _("all kinds")), *((kind, kind) for kind in KINDS)]
    form(
        [
            Ask("asked", _("Number or words"), view.state.get("asked", ""), "search"),
            Ask("kind", _("Kind"), view.state.get("kind", ALL), "select", kinds),
        ],
        _("Find"),
        search,
        main=False,
    )
    view.tally(counted(len(seen.rows), "part", "parts"))
    if not seen.rows and not view.after and not view.state.get("asked") and view.state.get("kind", ALL) == ALL:
        words = _(
            "The library is empty. Add the parts that you use, one by one or from a list: a proposal takes its prices here."
        )
        text("p", words, "empty")
    with box("ul", "changes"):
        for row in seen.rows:
            with box("li", "change"):
                with box("div"):
                    link(f"{row['number']} {row['name']}", address("/shop/part", at=row["id"]), "where")
                    told = [row["kind"], money(row["price"], row["currency"])]
                    text("p", " · ".join(filter(None, told)), "soft")
                low = row["least"] is not None and row["there"] < Decimal(row["least"])
                text("span", ("▲ " if low else "") + amount(row["there"], row["unit"]), "state")
    if not str(view.state.get("asked", "")).strip():
        view.turns(len(seen.rows), MOST)
    with box("div", "row"):
        made = link(_("The library as CSV"), LIST, "act")
        made.props["download"] = "parts.csv"
    if not view.may("price"):
        return
    text("h2", _("More parts"))
    with box("details"):
        text("summary", _("A new part"), "act")

        async def add(told: dict[str, Any]) -> None:
            def make(work: Work) -> int:
                given: dict[str, Any] = {key: told[key].strip() for key in TEXTS}
                given |= {key: amount_of(told[key], key) for key in AMOUNTS}
                return add_part(work, currency=seen.currency, **given).id

            await view.change(make, _("Added."), needs="price")

        form(
            [
                Ask("number", _("The shop's own number"), needed=True),
                Ask("name", _("Name"), needed=True),
                Ask("kind", _("Kind"), KINDS[0], "select", [(kind, kind) for kind in KINDS]),
                Ask("unit", _("Sold by"), UNITS[0], "select", [(unit, unit) for unit in UNITS]),
                Ask("price", _("Price of one, without tax"), kind="number", unit=seen.currency),
                tax_rule(_("Tax rule"), STANDARD, seen.taxes),
                Ask(
                    "cost",
                    _("What the shop pays"),
                    kind="number",
                    unit=seen.currency,
                    help=_("Never shown to the bench."),
                ),
                Ask("least", _("Order below"), kind="number"),
                Ask("supplier_number", _("The supplier's number")),
                Ask("note", _("Note")),
            ],
            _("Add the part"),
            add,
        )
    _import(view, seen.currency)


def _short(view: ShopView, rows: tuple[Short, ...]) -> None:
    """What is to be ordered; one tap once it is."""
    if not rows:
        text("p", "✓ " + _("Nothing is to be ordered for the jobs that were agreed."), "figure")
        return
    told = counted(len(rows), "part is to be ordered.", "parts are to be ordered.")
    if len(rows) == MOST_DUE:
        told = _("{number} parts or more are to be ordered.").format(number=MOST_DUE)
    text("p", "▲ " + told, "figure")
    with box("details"):
        text("summary", _("Show what"), "act")
        with box("ul", "changes"):
            for row in rows[:MOST_SHOWN]:
                with box("li", "change"):
                    with box("div"):
                        link(row.name, address("/shop/part", at=row.id), "where")
                        words = _(
                            "short: {lacks} ({needed} needed by jobs, {there} on the shelf, {ordered} on its way)"
                        )
                        figures = {"needed": row.needed, "there": row.there, "ordered": row.ordered}
                        told_as = {key: plain(value) for key, value in figures.items()}
                        text("p", words.format(lacks=amount(row.lacks, row.unit), **told_as), "soft")
                    if view.may("work"):
                        button(
                            _("Ordered"),
                            lambda row=row: view.change(
                                lambda work: order(work, row.id, row.ordered + row.lacks).id,
                                _("On its way: {name}.").format(name=row.name),
                            ),
                            says=f"{_('Ordered')}: {row.name}",
                        )
        if len(rows) > MOST_SHOWN:
            words = _(
                "The first {number}; as they are ordered, the others follow. All of them: cabinwright shop part short"
            )
            text("p", words.format(number=MOST_SHOWN), "soft")


def _import(view: ShopView, currency: str) -> None:
    text("h3", _("From a supplier's list"))
    text("p", _("A CSV file. What it would change is shown first; nothing is written before you say so."))
    shown = box("div")

    async def taken(event: events.UploadEventArguments) -> None:
        content = await event.file.read()
        made.reset()
        try:
            with view.store.read() as work:
                preview = looked_at(work, content, file=event.file.name[:80], currency=currency)
        except CabinwrightError as error:
            view.warn(str(error))
            return
        shown.clear()
        with shown:
            _preview(view, preview)

    made = ui.upload(
        auto_upload=True, max_file_size=LARGEST, max_files=1, on_upload=taken,
        on_rejected=lambda: view.warn(_("Not taken: one file, of at most {size} MB.").format(size=LARGEST // 1_000_000)),
    )  # fmt: skip
    chooser = {"list": (_("Choose a CSV file"), {"accept": ".csv,text/csv"})}
    drop_zone(made, _("Drop the list here."), chooser)


def _preview(view: ShopView, preview: Preview) -> None:
    told = counted(len(preview.new), "new part", "new parts"), counted(len(preview.changed), "changed", "changed")
    text("p", f"{told[0]}, {told[1]}, {preview.same} {_('as they are')}", "figure")
    if preview.errors:
        text("p", "▲ " + counted(len(preview.errors), "line cannot be taken:", "lines cannot be taken:"), "where")
        with box("ul"):
            for line in preview.errors[:MOST_SHOWN]:
                text("li", line)
    rows = [
        (number, name, str(was if was is not None else "–"), str(becomes))
        for number, differs in preview.changed[:MOST_SHOWN]
        for name, (was, becomes) in differs.items()
    ]
    if rows:
        table((_("Part"), _("Field"), _("Was"), _("Becomes")), rows, caption=_("What changes, the first of them"))
    if preview.new:
        table(
            (_("Part"), _("Name"), _("Kind")),
            [(row["number"], row["name"], row["kind"]) for row in preview.new[:MOST_SHOWN]],
            caption=_("What is new, the first of it"),
        )
    if preview.errors:
        text("p", _("Put these lines right and choose the file again. Nothing was written."))
    elif preview.new or preview.changed:
        button(
            _("Take all of it in"),
            lambda: view.change(
                lambda work: taken_in(work, preview),
                lambda done: _("{new} added, {changed} changed.").format(new=done[0], changed=done[1]),
                needs="price",
            ),
            "main",
        )


@dataclass(frozen=True)
class One:
    """What the page of one part looked up."""

    part: dict[str, Any]
    there: Any
    moves: list[dict[str, Any]]
    taxes: tuple[str, ...]


def look_at_one(view: ShopView) -> One:
    """A part and its last movements."""
    with view.store.read() as work:
        part = found_row(work, Part, view.at)
        moved = work.scalars(
            select(Movement).where(Movement.part_id == part.id).order_by(Movement.id.desc()).limit(MOST)
        )
        told = seen_by(view.person, {**columns(part), "supplier": part.supplier.name if part.supplier else ""})
        return One(told, shelf(work, [part.id])[part.id], [columns(row) for row in moved], rule_names(work))


def one(view: ShopView, seen: One) -> None:
    """What it is, what is there, what happened to it."""
    part = seen.part
    text("p", f"{part['number']} {part['name']}", "figure")
    with box("div", "tiles"):
        for head, value in (
            (_("On the shelf"), amount(seen.there, part["unit"])),
            (_("On its way"), amount(part["coming"], part["unit"])),
            (_("Price of one, without tax"), money(part["price"], part["currency"]) or "–"),
            *([(_("What the shop pays"), money(part["cost"], part["currency"]) or "–")] if "cost" in part else []),
            (_("Supplier"), " ".join(filter(None, (part["supplier"], part["supplier_number"]))) or "–"),
        ):
            with box("div", "tile"):
                text("p", head)
                text("p", value, "figure")
    if view.may("work"):
        text("h2", _("The shelf"))

        async def moved(told: dict[str, Any]) -> None:
            def make(work: Work) -> None:
                quantity, reason = amount_of(told["quantity"], _("How much")), told["reason"]
                if quantity is None or quantity <= 0:
                    raise PersonError(_("How much: write a number above nothing."))
                if reason == "counted":
                    put_right(work, part["id"], quantity, note=told["note"])
                else:
                    move(work, part["id"], quantity if reason in COMING else -quantity, reason, note=told["note"])

            await view.change(make, _("Kept."))

        reasons = [
            ("received", _("received")),
            ("used", _("used")),
            ("put back", _("put back")),
            ("scrapped", _("scrapped")),
            ("counted", _("counted: so much lies there")),
        ]
        form(
            [
                Ask("quantity", _("How much"), kind="number", unit=part["unit"], needed=True),
                Ask("reason", _("What happened"), "received", "choice", reasons),
                Ask("note", _("Note")),
            ],
            _("Keep"),
            moved,
        )
    rows = [(moment(row["at"]), row["reason"], plain(row["quantity"]), row["by"], row["note"]) for row in seen.moves]
    if rows:
        table((_("When"), _("What"), _("How much"), _("By"), _("Note")), rows, caption=_("Movements, the newest first"))
    if view.may("price"):
        with box("details"):
            text("summary", _("Change it"), "act")

            async def change(told: dict[str, Any]) -> None:
                def make(work: Work) -> int:
                    given: dict[str, Any] = {
                        key: told[key].strip() for key in ("name", "tax", "supplier_number", "note")
                    }
                    given |= {key: amount_of(told[key], key) for key in AMOUNTS}
                    return change_part(work, part["id"], count=part["count"], gone=told["gone"], **given).id

                await view.change(make, _("Kept."), needs="price")

            form(
                [
                    Ask("name", _("Name"), part["name"], needed=True),
                    Ask("price", _("Price of one, without tax"), typed(part["price"]), "number", unit=part["currency"]),
                    tax_rule(_("Tax rule"), part["tax"], seen.taxes),
                    Ask("cost", _("What the shop pays"), typed(part.get("cost")), "number", unit=part["currency"]),
                    Ask("least", _("Order below"), typed(part["least"]), "number"),
                    Ask("supplier_number", _("The supplier's number"), part["supplier_number"]),
                    Ask("note", _("Note"), part["note"], "long"),
                    Ask("gone", _("No longer to be had"), part["gone"], "yes/no"),
                ],
                _("Keep"),
                change,
                main=False,
            )


PAGE = ShopPage("/shop/parts", _("Parts"), _("What lies on the shelf?"), look, body, kept=("asked", "kind", "after"))
ONE = ShopPage("/shop/part", _("Part"), _("What is this part?"), look_at_one, one, listed=False)
