"""The lines of a variant: read by everybody who may, changed by the owner while it is a draft."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from html import escape
from typing import Any

from cabinwright.errors import PersonError
from cabinwright.office.offers import drop_line, put_line
from cabinwright.shop.money import STANDARD
from cabinwright.shop.offers import LINE_KINDS
from cabinwright.web.parts import box, button, choice, html, text
from cabinwright.web.shop.forms import Ask, amount_of, form, tax_rule
from cabinwright.web.shop.frame import ShopView
from cabinwright.web.shop.said import measured, money, plain, typed
from cabinwright.web.words import _

__all__ = ["edit", "lines"]

Row = dict[str, Any]
NEW = 0  #: instead of the number of a line


def lines(item: Row) -> None:
    """A table for each variant with what it comes to; without prices where none were given."""
    with box("details"):
        text("summary", _("Every line"), "act")
        for variant in item["variants"]:
            html(_table(variant, item["currency"]), "lines")


def _table(variant: Row, currency: str) -> str:
    priced = "gross" in variant
    heads = [_("What"), _("How much"), *([_("Price of one"), _("Net"), _("Tax")] if priced else [])]
    if priced and "margin" in variant:
        heads.append(_("The shop pays"))
    top = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
    rows = "".join(_row(line, currency, heads[1:]) for line in variant["lines"])
    return (
        f"<table><caption>{escape(variant['name'])}</caption><thead><tr>{top}</tr></thead>"
        f"<tbody>{rows}</tbody>{_sums(variant, currency, len(heads) - 4) if priced else ''}</table>"
    )


def _row(line: Row, currency: str, heads: list[str]) -> str:
    cells = [measured(line["quantity"], line["unit"])]
    if "price" in line:
        rate = f"{_percent(line['tax_rate'])} %"
        cells += [money(line["price"], currency), money(line["net"], currency), rate]
        if len(heads) > len(cells):
            cells.append(money(line.get("cost"), currency) or "–")
    rest = "".join(
        f'<td data-head="{escape(head)}">{escape(cell)}</td>' for head, cell in zip(heads, cells, strict=True)
    )
    return f'<tr><th scope="row">{escape(line["text"])}</th>{rest}</tr>'


def _sums(variant: Row, currency: str, after: int) -> str:
    told = [(_("Without tax"), variant["net"])]
    told += [
        (_("Tax {rate} % on {net}").format(rate=_percent(rate), net=money(net, currency)), tax)
        for rate, net, tax in variant["taxes"]
    ]
    told.append((_("With tax"), variant["gross"]))
    rest = f'<td colspan="{after}"></td>' if after > 0 else ""
    rows = "".join(
        f'<tr><th scope="row" colspan="3">{escape(words)}</th><td>{escape(money(figure, currency))}</td>{rest}</tr>'
        for words, figure in told
    )
    return f"<tfoot>{rows}</tfoot>"


def _percent(rate: str) -> str:
    """0.19 as 19, digit by digit."""
    return plain(Decimal(rate).scaleb(2))


def edit(view: ShopView, item: Row, taxes: Sequence[str]) -> None:
    """Lines of one variant, to be changed or taken out, and a new one."""
    names = [variant["name"] for variant in item["variants"]]
    key, which = f"line of {item['id']}", f"variant of {item['id']}"
    variant = next((one for one in item["variants"] if one["name"] == view.state.get(which)), item["variants"][0])

    async def choose(name: str) -> None:
        view.state.update({which: name, key: NEW})
        await view.draw()

    with box("details") as fold:
        fold.props["open"] = key in view.state
        text("summary", _("Change the lines"), "act")
        if len(names) > 1:
            choice(_("Variant"), names, variant["name"], choose)
        with box("ul", "changes"):
            for line in variant["lines"]:
                _taps(view, item, line, key)
        at = next((line for line in variant["lines"] if line["id"] == view.state.get(key)), None)
        _form(view, item, variant, at, key, taxes)


def _taps(view: ShopView, item: Row, line: Row, key: str) -> None:
    async def choose() -> None:
        view.state[key] = line["id"]
        await view.draw()

    async def drop() -> None:
        given = {"count": item["count"], "by": view.by}
        view.state[key] = NEW
        await view.do(lambda: drop_line(view.store, item["id"], line["id"], **given), _("Taken out."), needs="price")

    with box("li", "change"):
        with box("div"):
            text("p", line["text"], "where")
            each = money(line["price"], item["currency"])
            text("p", f"{measured(line['quantity'], line['unit'])} × {each}", "soft")
        with box("div", "row tight"):
            button(_("Change"), choose, says=f"{_('Change')}: {line['text']}")
            button(_("Take out"), drop, says=f"{_('Take out')}: {line['text']}")


def _form(view: ShopView, item: Row, variant: Row, at: Row | None, key: str, taxes: Sequence[str]) -> None:
    async def put(told: dict[str, Any]) -> None:
        def make() -> Any:
            quantity, price = amount_of(told["quantity"], _("How much")), amount_of(told["price"], _("Price of one"))
            if quantity is None or price is None:
                raise PersonError(_("A line needs how much, and a price."))
            given = {"kind": told["kind"] or "other", "text": told["text"], "unit": told["unit"] or "piece"}
            given |= {"tax": told["tax"], "line_id": at["id"] if at else None}
            return put_line(
                view.store, item["id"], count=item["count"], by=view.by, variant=variant["name"],
                quantity=quantity, price=price, **given,
            )  # fmt: skip

        view.state[key] = NEW
        if not await view.do(make, _("Kept."), needs="price") and at:
            view.state[key] = at["id"]

    text("h3", _("Change: {line}").format(line=at["text"]) if at else _("A new line"))
    now = at or {"text": "", "kind": "other", "quantity": "1", "unit": "piece", "price": "", "tax": STANDARD}
    form(
        [
            Ask("text", _("What"), now["text"], needed=True),
            Ask("kind", _("Kind"), now["kind"], "select", [(kind, kind) for kind in LINE_KINDS]),
            Ask("quantity", _("How much"), typed(now["quantity"]), "number", needed=True),
            Ask("unit", _("Unit"), now["unit"]),
            Ask(
                "price",
                _("Price of one, without tax"),
                typed(now["price"]),
                "number",
                unit=item["currency"],
                needed=True,
            ),
            tax_rule(_("Tax rule"), now["tax"], taxes),
        ],
        _("Keep the line"),
        put,
        main=False,
    )
