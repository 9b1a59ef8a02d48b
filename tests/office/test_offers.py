"""Proposals: counted from the build, priced by the library and the shop's own hours, frozen when signed, changed by difference.

Sums are made again with ``decimal`` from what a person would add up on paper; medians and tenths by ``statistics``.
"""

from __future__ import annotations

import re
import shutil
import statistics
import subprocess
from datetime import timedelta
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text, update

from cabinwright.errors import BuildError, InternalError, MeanwhileError, PersonError, RefusedError
from cabinwright.history.log import mark_of
from cabinwright.office import bench, offers
from cabinwright.office.takeoff import matched, wanted
from cabinwright.office.worked import worked_out
from cabinwright.shop import jobs
from cabinwright.shop import offers as rows
from cabinwright.shop.kinds import now
from cabinwright.shop.offers import NewLine
from cabinwright.shop.rows import BuildState, Hours, Job, Need, Offer, OfferLine
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from office import invented

CENT = Decimal("0.01")
HOURS = {"cutting": Decimal("4"), "wiring": Decimal("6.5")}


def drawn(store: Store, tmp_path: Path, *names: str) -> offers.OfferView:
    path = invented.folder(tmp_path / "build")
    job = invented.opened(store, path, wishes={"budget": "900", "boot_l": "20", "stock": ["pillar"]})
    return offers.draw_up(store, job, dict.fromkeys(names or ("Plain",), path), by="olga", hours=HOURS)


def signed(store: Store, tmp_path: Path) -> offers.OfferView:
    made = drawn(store, tmp_path)
    made = offers.offer(store, made.id, count=made.count, by="olga")
    return offers.accept(store, made.id, "Plain", signed_by="Mara Invented", count=made.count, by="olga")


def test_parts_are_counted_and_matched_by_what_says_most(store: Store, tmp_path: Path) -> None:
    made = drawn(store, tmp_path)
    (variant,) = made.variants
    lines = {line.text: line for line in variant.lines}
    assert lines["ten inch bass"].quantity == 1 and lines["Invented Dome"].quantity == 1  # by data, by name in any case
    assert lines["board"].quantity == Decimal("0.96") and lines["board"].net == Decimal("30.00")  # 1.2 m by 0.8 m
    assert "an older dome" not in lines  # no longer to be had
    wire = [item for item in wanted(*_build(tmp_path)) if item.data.get("size") == "4 AWG"]
    assert lines["heavy wire, any colour"].quantity == sum(
        item.amounts["m"] for item in wire if not item.data["colour"]
    )
    missing = variant.about["unmatched"]
    assert any("fuse holder for 100 A" in row for row in missing) and not any("fuse 100 A" in row for row in missing)
    assert any("F-5" in row for row in variant.about["unpriced"])
    assert any(row.startswith("work: fitting") for row in variant.about["unpriced"])
    held = {row["wish"]: row["holds"] for row in variant.about["against_wishes"]}
    assert held == {"budget": False, "boot space": False, "stays as it is: pillar": False}
    assert variant.about["irreversible"] == ["left pillar: pillar trim", "bass: nobody said what is cut"]


def _build(tmp_path: Path) -> tuple[object, object]:
    found = worked_out(tmp_path / "build")
    return found.build, found.results


def test_two_parts_that_say_as_much_are_told_apart_by_number(lite: Store, tmp_path: Path) -> None:
    invented.opened(lite, invented.folder(tmp_path / "build"))
    things = [item for item in wanted(*_build(tmp_path)) if item.kind == "wire"]
    red = [type(item)(item.kind, item.what, item.amounts, {**item.data, "colour": "red"}) for item in things]
    with lite.read() as work:
        pairs, _ = matched(work, [*red, *things])
    heavy = [part.number for thing, part in pairs if thing.data["size"] == "4 AWG"]
    assert heavy and set(heavy[: len(heavy) // 2]) == {"W-4R"} and set(heavy[len(heavy) // 2 :]) == {"W-4"}


def test_sums_are_those_of_the_paper(lite: Store, tmp_path: Path) -> None:
    (variant,) = drawn(lite, tmp_path).variants
    nets = [(line.quantity * line.price).quantize(CENT, ROUND_HALF_UP) for line in variant.lines]
    assert [line.net for line in variant.lines] == nets and variant.total.net == sum(nets)
    assert variant.total.gross == sum(nets) + (sum(nets) * Decimal("0.19")).quantize(CENT, ROUND_HALF_UP)
    work = [line for line in variant.lines if line.kind == "labour"]
    assert [(line.text, line.net) for line in work] == [("cutting", Decimal("312.00")), ("wiring", Decimal("507.00"))]
    for line in made_plain(variant):
        assert "cost" not in line
    assert Decimal(variant.to_dict(costs=True)["cost"]) > 0


def made_plain(variant: offers.VariantView) -> list[dict[str, object]]:
    return list(variant.to_dict()["lines"])


def test_hours_are_the_shops_own_with_their_spread(lite: Store, tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    job_id = invented.opened(lite, path)
    spent = [2.0, 3.0, 3.5, 4.0, 9.0]

    def past(work: Work) -> None:
        car = work.get(Job, job_id).car_id  # type: ignore[union-attr]
        for hours in spent:
            job = jobs.add_job(work, car_id=car, title="before")
            job.state = "closed"
            began = now() - timedelta(days=3)
            work.add(
                Hours(job_id=job.id, kind="cutting", by="bo", began_at=began, ended_at=began + timedelta(hours=hours))
            )

    lite.change(past, by="olga")
    (variant,) = offers.draw_up(lite, job_id, {"One": path}, by="olga").variants
    (row,) = variant.about["labour"]
    tenths = statistics.quantiles(spent, n=10, method="inclusive")
    assert (row["kind"], row["jobs"]) == ("cutting", 5)
    assert [Decimal(row[key]) for key in ("low", "hours", "high")] == [
        Decimal(str(value)).quantize(Decimal("0.1"), ROUND_HALF_UP)
        for value in (tenths[0], statistics.median(spent), tenths[-1])
    ]
    page = offers.offer_pdf(lite, 1)
    assert "in 5 jobs before" in _words(page, tmp_path)


def _words(content: bytes, tmp_path: Path) -> str:
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext (Debian: poppler-utils) is not installed")
    file = tmp_path / "page.pdf"
    file.write_bytes(content)
    out = subprocess.run([tool, "-layout", str(file), "-"], capture_output=True, check=True, timeout=60).stdout
    return out.decode("utf-8")


def test_the_page_is_the_shops_own_and_the_same_each_time(lite: Store, tmp_path: Path) -> None:
    made = drawn(lite, tmp_path, "Plain", "Grand", '#panic("no") <b>')
    first, again = (offers.offer_pdf(lite, made.id) for _ in range(2))
    assert first == again and first != offers.offer_pdf(lite, made.id, paper="Letter")
    words = _words(first, tmp_path)
    assert "Heron & Reed (invented)" in words and made.number in words and "Mara Invented" in words
    assert '#panic("no") <b>' in words and "Not in this price" in words
    gross = f"{made.variants[0].total.gross:,f} EUR".replace(",", " ")
    assert gross in re.sub(r"\s", " ", words)
    assert "105.00" not in words  # what the bass costs the shop
    with pytest.raises(PersonError, match="A4 or Letter"):
        offers.offer_pdf(lite, made.id, paper="A3")


def test_variants_say_in_what_they_differ(lite: Store, tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    other = invented.folder(tmp_path / "other", invented.TEXT.replace('"25 L"', '"40 L"'))
    made = offers.draw_up(lite, invented.opened(lite, path), {"Small": path, "Large": other}, by="olga")
    small, large = made.variants
    assert small.about["differs"] == [] and "enclosure: bay box, net volume: 25.0 L → 40.0 L" in large.about["differs"]
    assert (small.about["boot_l"], large.about["boot_l"]) == (25.0, 40.0) and not small.about["boot_exact"]
    with lite.read() as work:
        kept = {row.mark: row.text for row in work.scalars(select(BuildState))}
    assert kept[mark_of((other / "build.toml").read_bytes())] == (other / "build.toml").read_text(encoding="utf-8")


def test_bad_asks_name_the_rule_and_leave_nothing(lite: Store, tmp_path: Path) -> None:
    path = invented.folder(tmp_path / "build")
    job = invented.opened(lite, path)
    for sources, error, words in (
        ({}, PersonError, "one to 3 variants"),
        ({str(n): path for n in range(4)}, PersonError, "one to 3 variants"),
        ({"": path}, PersonError, "needs a name"),
        ({"no": tmp_path / "nowhere"}, BuildError, "there is no such file"),
    ):
        with pytest.raises(error, match=words):
            offers.draw_up(lite, job, sources, by="olga")
    with pytest.raises(PersonError, match="is past"):
        offers.draw_up(lite, job, {"a": path}, by="olga", valid_until=rows.today() - timedelta(days=1))
    with pytest.raises(PersonError, match="hours are none"):
        offers.draw_up(lite, job, {"a": path}, by="olga", hours={"cutting": Decimal(-1)})
    with pytest.raises(PersonError, match="no job 99"):
        offers.draw_up(lite, 99, {"a": path}, by="olga")
    with lite.read() as work:
        assert work.scalars(select(Offer)).all() == work.scalars(select(BuildState)).all() == []


def test_a_draft_is_changed_line_by_line_and_an_offered_one_stands(store: Store, tmp_path: Path) -> None:
    made = drawn(store, tmp_path)
    line = {"variant": "Plain", "kind": "other", "text": "carriage", "quantity": Decimal(1), "price": Decimal("19.5")}
    more = offers.put_line(store, made.id, by="olga", count=made.count, **line)
    assert more.variants[0].total.net - made.variants[0].total.net == Decimal("19.50") and more.count > made.count
    with pytest.raises(MeanwhileError):
        offers.put_line(store, made.id, by="bo", count=made.count, **line)
    last = more.variants[0].lines[-1]
    less = offers.put_line(
        store, made.id, by="olga", count=more.count, line_id=last.id, **{**line, "price": Decimal(10)}
    )
    assert less.variants[0].lines[-1].net == Decimal("10.00") and len(less.variants[0].lines) == len(
        more.variants[0].lines
    )
    gone = offers.drop_line(store, made.id, last.id, count=less.count, by="olga")
    assert gone.variants[0].total == made.variants[0].total
    sent = offers.offer(store, made.id, count=gone.count, by="olga")
    with pytest.raises(RefusedError, match="stands as it is"):
        offers.put_line(store, made.id, by="olga", count=sent.count, **line)


def test_what_was_signed_is_frozen(store: Store, tmp_path: Path) -> None:
    made = signed(store, tmp_path)
    assert made.state == "accepted" and offers.whole(store, made.id)
    with store.read() as work:
        assert work.get(Job, made.job_id).state == "agreed"  # type: ignore[union-attr]
        needs = {need.part.number: need.quantity for need in work.scalars(select(Need))}
    assert needs["S-1"] == 1 and needs["B-18"] == Decimal("0.96")

    def dearer(work: Work) -> None:
        work.scalars(select(OfferLine).where(OfferLine.offer_id == made.id)).first().price = Decimal(1)  # type: ignore[union-attr]

    def another(work: Work) -> None:
        first = work.scalars(select(OfferLine).where(OfferLine.offer_id == made.id)).first()
        assert first is not None
        work.delete(first)

    def longer(work: Work) -> None:
        work.get(Offer, made.id).valid_until += timedelta(days=9)  # type: ignore[union-attr]

    for change in (dearer, another, longer):
        with pytest.raises(InternalError, match="frozen"):
            store.change(change, by="olga")
    assert offers.whole(store, made.id)
    past = update(OfferLine).where(OfferLine.offer_id == made.id, OfferLine.place == 0).values(price=Decimal(1))
    store.change(lambda work: work.execute(past), by="olga")  # behind the session's back
    assert not offers.whole(store, made.id)


def test_the_builds_behind_a_signature_are_held_too(lite: Store, tmp_path: Path) -> None:
    made = signed(lite, tmp_path)
    other = text("UPDATE build_states SET text = 'schema = 1'")
    lite.change(lambda work: work.execute(other), by="olga")
    assert not offers.whole(lite, made.id)


def test_signing_is_refused_late_twice_or_for_nothing(lite: Store, tmp_path: Path) -> None:
    made = drawn(lite, tmp_path)
    with pytest.raises(RefusedError, match="Offer it first"):
        offers.accept(lite, made.id, "Plain", signed_by="M", count=made.count, by="olga")
    made = offers.offer(lite, made.id, count=made.count, by="olga")
    ways = {"signed_by": "M", "count": made.count, "by": "olga"}
    with pytest.raises(RefusedError, match="was valid until"):
        offers.accept(lite, made.id, "Plain", on=made.valid_until + timedelta(days=1), **ways)  # type: ignore[arg-type]
    with pytest.raises(PersonError, match="no variant"):
        offers.accept(lite, made.id, "Grand", **ways)  # type: ignore[arg-type]
    with pytest.raises(PersonError, match="who signed"):
        offers.accept(lite, made.id, "Plain", **{**ways, "signed_by": " "})  # type: ignore[arg-type]
    second = offers.draw_up(lite, made.job_id, {"B": tmp_path / "build"}, by="olga", hours=HOURS)
    offers.accept(lite, made.id, "Plain", on=made.valid_until, **ways)  # type: ignore[arg-type]
    assert offers.view(lite, second.id).state == "declined"
    third = offers.draw_up(lite, made.job_id, {"B": tmp_path / "build"}, by="olga", hours=HOURS)
    third = offers.offer(lite, third.id, count=third.count, by="olga")
    with pytest.raises(RefusedError, match="a change of it"):
        offers.accept(lite, third.id, "B", signed_by="M", count=third.count, by="olga")


def test_a_change_is_priced_as_a_change(store: Store, tmp_path: Path) -> None:
    base = signed(store, tmp_path)
    before = offers.agreed(store, base.job_id)
    with pytest.raises(RefusedError, match="nothing else"):
        offers.change_offer(store, base.id, tmp_path / "build", by="olga")
    dearer = text("UPDATE parts SET price = price * 2")  # prices rise meanwhile
    store.change(lambda work: work.execute(dearer), by="olga")
    more = invented.TEXT.replace("size_m = [0.5, 0.4]", "size_m = [0.5, 0.4]\ncount = 6")
    more = more.replace('model = "invented dome"\n', "", 1)
    path = invented.folder(tmp_path / "changed", more)
    made = offers.change_offer(store, base.id, path, by="olga", hours={"cutting": Decimal(5)})
    lines = {line.text: line for line in made.variants[0].lines}
    assert set(lines) == {"board", "Invented Dome", "cutting"} and made.changes == base.number
    assert (lines["board"].quantity, lines["board"].price) == (Decimal("1.92"), Decimal("31.25"))  # at the agreed price
    assert lines["Invented Dome"].net == Decimal("-48.50") and lines["cutting"].quantity == 1
    beyond = bench.outside(store, base.job_id)
    assert beyond == tuple(base.variants[0].about["unmatched"]) and any("terminal" in row for row in beyond)
    assert made.variants[0].about["differs"] and made.variants[0].about["hours"] == "1"  # of five, four were signed
    wholly = Decimal(made.variants[0].about["altogether"])
    assert "altogether" not in made.to_dict(prices=False)["variants"][0]
    sent = offers.offer(store, made.id, count=made.count, by="olga")
    offers.accept(store, made.id, "changes", signed_by="Mara Invented", count=sent.count, by="olga")
    after = offers.agreed(store, base.job_id)
    assert after.total.gross == wholly
    assert after.total.net == before.total.net + made.variants[0].total.net
    with store.read() as work:
        needs: dict[str, Decimal] = {}
        for need in work.scalars(select(Need)):
            needs[need.part.number] = needs.get(need.part.number, Decimal(0)) + need.quantity
    assert needs["B-18"] == Decimal("2.88") and needs["S-2"] == 0
    assert "Change of the proposal" in _words(offers.offer_pdf(store, made.id), tmp_path)
    with pytest.raises(RefusedError, match="nothing else"):
        offers.change_offer(store, base.id, path, by="olga")


def test_a_change_is_held_against_the_budget_with_what_was_signed(lite: Store, tmp_path: Path) -> None:
    """Five covers more are 1.92 m2 of board at 31.25, with 19 %: 71.40."""
    base = signed(lite, tmp_path)
    budget = base.variants[0].total.gross + 70
    lite.change(lambda work: setattr(work.get(Job, base.job_id), "wishes", {"budget": str(budget)}), by="olga")
    path = invented.folder(tmp_path / "changed", invented.TEXT.replace("[0.5, 0.4]", "[0.5, 0.4]\ncount = 6"))
    made = offers.change_offer(lite, base.id, path, by="olga")
    assert made.variants[0].about["against_wishes"] == [
        {"wish": "budget", "holds": False, "says": f"{budget + Decimal('1.40')} of {budget}"}
    ]
    made = offers.offer(lite, made.id, count=made.count, by="olga")
    made = offers.accept(lite, made.id, "changes", signed_by="Mara Invented", count=made.count, by="olga")
    assert made.variants[0].about["against_wishes"][0]["says"] == f"{budget + Decimal('1.40')} of {budget}"
    assert offers.whole(lite, made.id)


def test_what_was_offered_says_the_same_whatever_is_signed_later(lite: Store, tmp_path: Path) -> None:
    """The price of all of it, and the budget held against it, are on the customer's paper; another change is signed first."""
    base = signed(lite, tmp_path)
    budget = base.variants[0].total.gross + 70
    lite.change(lambda work: setattr(work.get(Job, base.job_id), "wishes", {"budget": str(budget)}), by="olga")
    path = invented.folder(tmp_path / "changed", invented.TEXT.replace("[0.5, 0.4]", "[0.5, 0.4]\ncount = 6"))
    draft = offers.change_offer(lite, base.id, path, by="olga")
    other = offers.change_offer(lite, base.id, tmp_path / "build", by="olga", hours={"cutting": Decimal(7)})
    made = offers.offer(lite, draft.id, count=draft.count, by="olga")
    assert made.variants[0].about == draft.variants[0].about
    paper = offers.offer_pdf(lite, made.id)
    other = offers.offer(lite, other.id, count=other.count, by="olga")
    offers.accept(lite, other.id, "changes", signed_by="Mara Invented", count=other.count, by="olga")
    assert offers.view(lite, made.id) == made and offers.offer_pdf(lite, made.id) == paper
    late = offers.accept(lite, made.id, "changes", signed_by="Mara Invented", count=made.count, by="olga")
    assert late.variants[0].about == made.variants[0].about
    row = f"budget: {budget + Decimal('1.40')} of {budget}"
    assert row in _words(paper, tmp_path) and row in _words(offers.offer_pdf(lite, made.id), tmp_path)
    with lite.read() as work:  # what lies under the mark says the same
        (check,) = work.get_one(Offer, made.id).variants["changes"]["against_wishes"]
    assert f"{check['wish']}: {check['says']}" == row and offers.whole(lite, made.id)


def test_altogether_is_what_is_agreed_afterwards(lite: Store, tmp_path: Path) -> None:
    """By hand: two at 10.005 are 20.01, tax 3.80; each on a paper of its own would be 11.91, 23.82 in all."""
    job_id, until = invented.opened(lite, tmp_path), rows.today() + timedelta(days=9)
    line = NewLine("other", "clip", Decimal(1), "piece", Decimal("10.005"), "standard", Decimal("0.19"))

    def made(name: str, changes_id: int | None) -> offers.OfferView:
        about = {"currency": "EUR", "by_line": False}
        given = {"job_id": job_id, "currency": "EUR", "valid_until": until, "changes_id": changes_id}
        row = lite.change(lambda work: rows.add_offer(work, variants={name: (about, [line])}, **given).id, by="olga")
        return offers.view(lite, row)

    def sign(view: offers.OfferView, name: str) -> offers.OfferView:
        sent = offers.offer(lite, view.id, count=view.count, by="olga")
        return offers.accept(lite, sent.id, name, signed_by="Mara Invented", count=sent.count, by="olga")

    base = sign(made("one", None), "one")
    assert base.variants[0].total.gross == Decimal("11.91") == offers.agreed(lite, job_id).total.gross
    change = made("changes", base.id)
    assert change.variants[0].total.gross == Decimal("11.91") and change.variants[0].about["altogether"] == "23.81"
    sign(change, "changes")
    assert offers.agreed(lite, job_id).total.gross == Decimal("23.81")


AMOUNTS = st.dictionaries(st.sampled_from("abcd"), st.integers(1, 9), max_size=4)


def _lines(amounts: dict[str, int], price: int) -> list[NewLine]:
    rate = Decimal("0.19")
    return [
        NewLine("part", name, Decimal(count), "piece", Decimal(price + ord(name)), "standard", rate)
        for name, count in amounts.items()
    ]


@settings(max_examples=200)
@given(was=AMOUNTS, will=AMOUNTS, dearer=st.integers(0, 3))
def test_agreed_and_change_come_to_what_is_wanted(was: dict[str, int], will: dict[str, int], dearer: int) -> None:
    """Counted by hand: after the change everything is there as often as wanted, and what was agreed keeps its price."""
    change = rows.differing(_lines(was, 10), _lines(will, 10 + dearer))
    for name in {*was, *will}:
        mine = [line for line in change if line.text == name]
        assert was.get(name, 0) + sum(line.quantity for line in mine) == will.get(name, 0)
        agreed = {Decimal(10 + ord(name))} if name in was else {Decimal(10 + dearer + ord(name))}
        assert {line.price for line in mine} <= agreed


def test_what_is_said_of_a_draft_follows_its_lines(lite: Store, tmp_path: Path) -> None:
    """The budget is held against the sum as it is now; work that a person priced by hand is no longer called unpriced."""
    job = invented.opened(lite, invented.folder(tmp_path / "build"), wishes={"budget": "2000"})
    made = offers.draw_up(lite, job, {"one": tmp_path / "build"}, by="olga", hours={"wiring": Decimal(1)})

    def budget(item: offers.OfferView) -> dict[str, object]:
        (row,) = [row for row in item.variants[0].about["against_wishes"] if row["wish"] == "budget"]
        return row

    assert budget(made)["holds"] is True and any("work: cutting" in row for row in made.variants[0].about["unpriced"])
    line = {"variant": "one", "kind": "labour", "text": "cutting", "quantity": Decimal(30), "unit": "h"}
    more = offers.put_line(lite, made.id, count=made.count, by="olga", price=Decimal(78), **line)
    gross = more.variants[0].total.gross
    assert budget(more) == {"wish": "budget", "holds": False, "says": f"{gross} of 2000"} and gross > 2000
    assert not any("cutting" in row for row in more.variants[0].about["unpriced"])
    added = max(line.id for line in more.variants[0].lines)
    less = offers.drop_line(lite, made.id, added, count=more.count, by="olga")
    assert less.variants[0].about == made.variants[0].about


def test_the_shops_own_data_are_not_overwritten_by_who_looked_earlier(lite: Store) -> None:
    was = offers.set_house(lite, by="olga", name="Heron & Reed (invented)", address="4 Old Lane", currency="GBP")
    now = offers.set_house(lite, by="ute", was=was, hourly_rate=Decimal(80))
    assert (now.name, now.address, now.currency, now.hourly_rate) == (was.name, was.address, "GBP", 80)
    with pytest.raises(MeanwhileError) as refused:
        offers.set_house(lite, by="olga", was=was, address="5 New Lane", hourly_rate=None)
    assert refused.value.theirs["hourly_rate"] == "80" and refused.value.mine["address"] == "5 New Lane"
    assert offers.house(lite) == now
