"""Money against a decimal oracle that works in whole cents, and amounts as people write them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.errors import PersonError
from cabinwright.shop.money import CURRENCIES, Line, rate_on, read_amount, rounded, summed
from cabinwright.shop.store import Store
from shop.invented import tax

LINES = st.lists(
    st.builds(
        Line,
        quantity=st.decimals(min_value=-500, max_value=5000, places=4),
        price=st.decimals(min_value=0, max_value=20_000, places=4),
        tax_rate=st.sampled_from([Decimal(0), Decimal("0.07"), Decimal("0.19"), Decimal("0.081"), Decimal("0.0825")]),
    ),
    max_size=12,
)


def half_up(value: Fraction, digits: int) -> int:
    """Rounded to whole smallest units, half away from zero, in whole numbers only: the oracle."""
    scaled = value * 10**digits
    whole = (2 * abs(scaled.numerator) + scaled.denominator) // (2 * scaled.denominator)
    return whole if scaled >= 0 else -whole


@given(LINES, st.sampled_from(["EUR", "JPY", "KWD"]), st.booleans())
def test_sums_and_taxes_against_whole_numbers(lines: list[Line], currency: str, by_line: bool) -> None:
    digits = CURRENCIES[currency]
    nets: dict[Fraction, int] = {}
    taxes: dict[Fraction, int] = {}
    for line in lines:
        rate = Fraction(line.tax_rate)
        net = half_up(Fraction(line.quantity) * Fraction(line.price), digits)
        nets[rate] = nets.get(rate, 0) + net
        taxes[rate] = taxes.get(rate, 0) + half_up(Fraction(net, 10**digits) * rate, digits)
    if not by_line:
        taxes = {rate: half_up(Fraction(net, 10**digits) * rate, digits) for rate, net in nets.items()}
    found = summed(lines, currency, by_line=by_line)
    assert int(found.net.scaleb(digits)) == sum(nets.values())
    assert int(found.tax.scaleb(digits)) == sum(taxes.values())
    assert found.gross == found.net + found.tax
    assert {Fraction(rate): int(net.scaleb(digits)) for rate, net, _ in found.taxes} == nets


def test_the_two_rules_differ_by_cents() -> None:
    """Three lines of 0.33 at 19 %: 0.06 each is 0.18, of 0.99 it is 0.19. Common practice, no source."""
    lines = [Line(Decimal(1), Decimal("0.33"), Decimal("0.19"))] * 3
    assert summed(lines, "EUR").tax == Decimal("0.19")
    assert summed(lines, "EUR", by_line=True).tax == Decimal("0.18")


def test_half_goes_away_from_zero() -> None:
    assert [rounded(Decimal(words), "EUR") for words in ("0.005", "-0.005", "0.0049")] == [
        Decimal("0.01"),
        Decimal("-0.01"),
        0,
    ]
    assert round(0.005, 2) == 0.01 and round(2.675, 2) == 2.67
    with pytest.raises(PersonError, match="ISO 4217"):
        rounded(Decimal(1), "XQZ")


@pytest.mark.parametrize(
    ("words", "value"),
    [
        *[("1234.50", "1234.5"), ("1,234.50", "1234.5"), ("1.234,50", "1234.5"), ("1 234,5", "1234.5")],
        *[
            ("1'234.5", "1234.5"),
            ("-3", "-3"),
            ("0,125", "0.125"),
            ("1.234.567", "1234567"),
            (" 7 ", "7"),
            ("1.1250", "1.125"),
            ("1234.125", "1234.125"),
            ("1 234.125", "1234.125"),
        ],
    ],
)
def test_amounts_as_people_write_them(words: str, value: str) -> None:
    assert read_amount(words) == Decimal(value)


@pytest.mark.parametrize(
    "words",
    [
        "",
        "abc",
        "1,234",
        "1.250",
        "-12.500",
        "12 50",
        "1'2.5",
        "1 2 3",
        "1,2,3",
        "1.2.3",
        "1,23.456,7",
        "1e5",
        "NaN",
        "٣",
        "1.23456",
        "9999999999",
        "--1",
        "+-2",
        "=1+1",
    ],
)
def test_an_amount_that_may_mean_two_things_is_refused(words: str) -> None:
    with pytest.raises(PersonError, match="price"):
        read_amount(words, what="price")


@given(st.decimals(min_value=-(10**8), max_value=10**8, places=2), st.sampled_from(["{:,}", "{}"]))
def test_amounts_come_back(value: Decimal, form: str) -> None:
    words = form.format(value)
    assert read_amount(words) == value
    if "," in words:
        assert read_amount(words.translate(str.maketrans(",.", ".,"))) == value


def test_the_rate_is_that_of_the_day(store: Store) -> None:
    store.change(tax, by="owner")
    with store.read() as work:
        assert rate_on(work, "standard", date(2026, 12, 31)) == Decimal("0.19")
        assert rate_on(work, "standard", date(2027, 1, 1)) == Decimal("0.2")
        with pytest.raises(PersonError, match="books, standard"):
            rate_on(work, "reduced", date(2026, 1, 1))
