"""The field sheet: which tapes to take, drawn and numbered, with boxes to write in and the tables to paste."""

from __future__ import annotations

from typing import Any

from cabinwright.build.codec import toml_string
from cabinwright.drawings.tapes import NumberedTape, letter, tape_drawing
from cabinwright.handover.pages import page
from cabinwright.stages.survey.sheet import Sheet, SheetTape

__all__ = ["survey_sheet_html", "survey_toml"]

FRAME_ROLES = ("origin", "to its right", "behind it")


def survey_sheet_html(sheet: Sheet) -> str:
    """The whole page as HTML that needs nothing else."""
    from markupsafe import Markup

    letters = {point.name: letter(number) for number, point in enumerate(sheet.points)}
    roles = dict(zip(sheet.frame or (), FRAME_ROLES, strict=False))
    places = {point.name: point.at_m for point in sheet.points if point.at_m is not None}
    points = [
        {
            "letter": letters[point.name],
            "name": point.name,
            "where": point.where,
            "role": roles.get(point.name, ""),
            "at": [f"{value:.3f}".replace("-", "\u2212") for value in point.at_m] if point.at_m else ["", "", ""],
        }
        for point in sheet.points
    ]
    groups: list[dict[str, Any]] = []
    number = 1
    everything: list[SheetTape] = []
    for heading, tapes in sheet.groups:
        everything += tapes
        rows = [_row(tape, number + k, letters) for k, tape in enumerate(tapes)]
        numbered = [NumberedTape(number + k, t.from_, t.to, t.distance_m is not None) for k, t in enumerate(tapes)]
        number += len(tapes)
        half = (len(rows) + 1) // 2
        groups.append(
            {
                "heading": heading,
                "rows": rows,
                "halves": [part for part in (rows[:half], rows[half:]) if part],
                "taken": any(tape.taken for tape in numbered),
                "drawing": Markup(tape_drawing(places, letters, numbered, says=f"{heading}: tapes by number")),
            }
        )
    done = sum(tape.distance_m is not None for tape in everything)
    return page(
        "survey_sheet",
        styles=("survey_sheet",),
        sheet=sheet,
        points=points,
        groups=groups,
        done=done,
        open=len(everything) - done,
        toml=survey_toml(sheet),
    )


def survey_toml(sheet: Sheet) -> str:
    """The survey's tables, ready to paste: all of them for a kind of car, the tapes still to take for a car's own survey.

    Tapes that were not read stand behind a ``#``, so that the text is a survey from the first reading on.
    """
    lines: list[str] = []
    if sheet.kind:
        for point in sheet.points:
            lines += ["[[survey.points]]", f"name = {toml_string(point.name)}"]
            if sheet.origin_m is not None and sheet.frame and point.name == sheet.frame[0]:
                place = ", ".join(f"{value:.3f}" for value in sheet.origin_m)
                lines.append(f"at_m = [{place}]  # the foot of the windscreen on the left, in the cabin's own axes")
            elif point.at_m is not None and point.name not in (sheet.frame or ())[:2]:
                lines.append(f"near_m = [{', '.join(f'{value:.2f}' for value in point.at_m)}]")
        if sheet.frame:
            lines += ["[survey.frame]"]
            lines += [
                f"{key} = {toml_string(name)}"
                for key, name in zip(("origin", "right", "behind"), sheet.frame, strict=True)
            ]
            for name in (sheet.frame[2], "mirror foot"):
                lines += [
                    "#[[survey.heights]]",
                    f"#point = {toml_string(name)}",
                    f"#above = {toml_string(sheet.frame[0])}",
                ]
                lines += ["#height_m = "]
    number = 0
    for _, tapes in sheet.groups:
        for tape in tapes:
            number += 1
            if tape.distance_m is None:
                lines += [
                    f"#[[survey.tapes]]  # {number}",
                    f"#from = {toml_string(tape.from_)}",
                    f"#to = {toml_string(tape.to)}",
                ]
                lines += ["#distance_m = "]
    return "\n".join(lines) + "\n"


def _row(tape: SheetTape, number: int, letters: dict[str, str]) -> dict[str, Any]:
    return {
        "number": number,
        "from_": tape.from_,
        "to": tape.to,
        "from_letter": letters[tape.from_],
        "to_letter": letters[tape.to],
        "remark": tape.remark,
        "value": "" if tape.distance_m is None else f"{tape.distance_m:.3f}",
    }
