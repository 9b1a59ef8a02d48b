"""Parts from and to CSV: looked at first, every line's mistakes named, and nothing in it ever run by a spreadsheet.

A supplier's price list comes with a comma, a semicolon or a tab between its fields; the first line names them. Nothing is
written before a person has seen what would be; then all of it is, or nothing. On the way out a field that a spreadsheet would
take for a formula gets an apostrophe before it (OWASP, "CSV Injection"), and that apostrophe is taken off on the way in.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from sqlalchemy import select

from cabinwright.errors import PersonError
from cabinwright.shop.money import STANDARD, read_amount, rule_names, typed
from cabinwright.shop.parts import checked, read_data, supplier_called
from cabinwright.shop.rows import Part
from cabinwright.shop.rows.parts import UNITS
from cabinwright.shop.trail import Work

__all__ = ["COLUMNS", "Preview", "looked_at", "taken_in", "written_out"]

COLUMNS = (
    *("number", "name", "kind", "unit", "price", "cost", "currency", "tax"),
    *("supplier", "supplier_number", "least", "minutes", "data", "note"),
)
NEEDED = ("number", "name", "kind")
AMOUNTS = ("price", "cost", "least", "minutes")
LARGEST, MOST_LINES, LONGEST_FIELD = 20_000_000, 200_000, 10_000  #: bytes, lines, characters
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Preview:
    """What a file would do."""

    new: tuple[dict[str, Any], ...] = ()
    changed: tuple[
        tuple[str, dict[str, tuple[Any, Any]]], ...
    ] = ()  #: number, and of each field what stands and what would
    same: int = 0
    errors: tuple[str, ...] = ()  #: one for each mistake, with its line
    rows: tuple[dict[str, Any], ...] = field(default=(), repr=False)


def looked_at(work: Work, content: bytes, *, file: str, currency: str) -> Preview:
    """What the file would do to the library; nothing is written. ``currency`` where the file names none."""
    try:
        taxes = rule_names(work)
        rows, errors = _rows(content, file=file, currency=currency, taxes=taxes)
    except PersonError as error:
        return Preview(errors=(str(error),))
    known = {part.number: part for part in work.scalars(select(Part))} if len(rows) > 500 else _known(work, rows)
    new, changed, same = [], [], 0
    for row in rows:
        part = known.get(row["number"])
        if part is None:
            new.append(row)
            continue
        differs = {name: (_stands(part, name), value) for name, value in row.items() if _stands(part, name) != value}
        if differs:
            changed.append((part.number, differs))
        else:
            same += 1
    if new and "tax" not in new[0] and taxes and STANDARD not in taxes:
        errors.append(
            f'{file}:1: tax: new parts need this column, because the shop has no tax rule "{STANDARD}". '
            f"Its rules are {', '.join(taxes)}."
        )
    return Preview(tuple(new), tuple(changed), same, tuple(errors), tuple(rows))


def taken_in(work: Work, preview: Preview) -> tuple[int, int]:
    """Do what was looked at: parts made and parts changed. Raises ``PersonError`` while a line has a mistake."""
    if preview.errors:
        raise PersonError(f"Nothing was taken in: {len(preview.errors)} mistakes. The first: {preview.errors[0]}")
    for row in preview.new:
        work.add(Part(**_columns(work, row)))
    known = _known(work, [{"number": number} for number, _ in preview.changed])
    for number, differs in preview.changed:
        for name, value in _columns(work, {name: value for name, (_, value) in differs.items()}).items():
            setattr(known[number], name, value)
    work.flush()
    return len(preview.new), len(preview.changed)


def written_out(parts: Iterable[Part], *, costs: bool) -> bytes:
    """The library as CSV, UTF-8 with the mark that spreadsheets want."""
    names = [name for name in COLUMNS if costs or name != "cost"]
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(names)
    for part in parts:
        writer.writerow([_safe(_stands(part, name)) for name in names])
    return b"\xef\xbb\xbf" + text.getvalue().encode("utf-8")


def _safe(value: Any) -> str:
    if isinstance(value, dict):
        words = json.dumps(value, ensure_ascii=False, sort_keys=True) if value else ""
    else:
        words = "" if value is None else typed(value) if isinstance(value, Decimal) else str(value)
    return f"'{words}" if words.startswith((*FORMULA, "'")) else words


def _stands(part: Part, name: str) -> Any:
    return (part.supplier.name if part.supplier else "") if name == "supplier" else getattr(part, name)


def _columns(work: Work, row: dict[str, Any]) -> dict[str, Any]:
    values = dict(row)
    if "supplier" in values:
        name = values.pop("supplier")
        values["supplier_id"] = supplier_called(work, name).id if name else None
    return values


def _known(work: Work, rows: list[dict[str, Any]]) -> dict[str, Part]:
    numbers = [row["number"] for row in rows]
    found: dict[str, Part] = {}
    for start in range(0, len(numbers), 500):
        find = select(Part).where(Part.number.in_(numbers[start : start + 500]))
        found |= {part.number: part for part in work.scalars(find)}
    return found


def _rows(content: bytes, *, file: str, currency: str, taxes: Sequence[str]) -> tuple[list[dict[str, Any]], list[str]]:
    if len(content) > LARGEST:
        raise PersonError(f"{file}: larger than {LARGEST // 1_000_000} MB. Split it.")
    if b"\x00" in content:
        raise PersonError(f"{file}: this is no text. Save the list as CSV in UTF-8.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise PersonError(f"{file}:{line}: not UTF-8. Save the list as CSV in UTF-8.") from None
    first = text.splitlines()[0] if text.strip() else ""
    comma = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=comma, strict=True)
    try:
        head = [name.strip().lower() for name in next(reader, [])]
    except csv.Error as error:
        raise PersonError(f"{file}:1: the first line cannot be read: {error}.") from None
    _check_head(head, file)
    rows: list[dict[str, Any]] = []
    errors: list[str] = []
    seen: dict[str, int] = {}
    try:
        for fields in reader:
            line = reader.line_num
            if not any(item.strip() for item in fields):
                continue
            if len(rows) + len(errors) >= MOST_LINES:
                raise PersonError(f"{file}: more than {MOST_LINES} parts. Split it.")
            try:
                row = _row(head, fields, currency, taxes)
                if row["number"] in seen:
                    raise PersonError(f"number: {row['number']} stands in line {seen[row['number']]} already.")
            except PersonError as error:
                errors.append(f"{file}:{line}: {error}")
            else:
                seen[row["number"]] = line
                rows.append(row)
    except csv.Error as error:
        errors.append(
            f"{file}:{reader.line_num}: this line cannot be read: {error}. Look for a quotation mark too many."
        )
    return rows, errors


def _check_head(head: list[str], file: str) -> None:
    unknown = [name for name in head if name and name not in COLUMNS]
    absent = [name for name in NEEDED if name not in head]
    twice = sorted({name for name in head if name and head.count(name) > 1})
    for words, names in (("no column of a part", unknown), ("needed and not there", absent), ("there twice", twice)):
        if names:
            raise PersonError(f"{file}:1: {words}: {', '.join(names)[:200]}. Columns are {', '.join(COLUMNS)}.")


def _row(head: list[str], fields: list[str], currency: str, taxes: Sequence[str]) -> dict[str, Any]:
    if len(fields) != len(head):
        raise PersonError(
            f"{len(fields)} fields where the first line has {len(head)}. Quote a field that holds the sign between fields."
        )
    row: dict[str, Any] = {}
    for name, words in zip(head, fields, strict=True):
        if not name:
            continue
        if len(words) > LONGEST_FIELD:
            raise PersonError(f"{name}: {LONGEST_FIELD} characters at most.")
        words = words.strip()
        words = words[1:] if words.startswith("'") and words[1:2] in (*FORMULA, "'") else words
        if name == "data":
            row[name] = read_data(words) if words else {}
        else:
            row[name] = (read_amount(words, what=name) if words else None) if name in AMOUNTS else words
    if not row.get("currency"):
        row["currency"] = currency
    row["currency"] = row["currency"].upper()
    if "unit" in row and not row["unit"]:
        row["unit"] = UNITS[0]
    if "tax" in row and not row["tax"]:
        row["tax"] = STANDARD
    checked({name: value for name, value in row.items() if name != "supplier"}, taxes=taxes)
    return row
