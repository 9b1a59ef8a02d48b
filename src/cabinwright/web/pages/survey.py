"""Are the tapes right? Which one the others contradict, how exact every point is, and what to measure next."""

from __future__ import annotations

from functools import partial

from cabinwright.handover.survey_sheet import survey_sheet_html
from cabinwright.handover.wording import length
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.survey.sheet import own_sheet
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import table, text
from cabinwright.web.words import _

__all__ = ["PAGE"]


def body(view: View) -> None:
    """Findings, suspects, tapes, points, next tapes; then the sheet with the drawing."""
    result: SurveyResult | None = view.result("survey")
    if view.why_not("survey") or result is None:
        view.findings("survey")
        return
    long = partial(length, units=view.desk.build.workshop.units)
    fine = partial(long, fine=True)
    suspect = {(item.from_, item.to) for item in result.suspect_tapes}
    text("p", _("✗ Measure these again: ") + ", ".join(f"{a} – {b}" for a, b in sorted(suspect)) if suspect else
         _("✓ No tape contradicts the others."), "figure")  # fmt: skip
    view.findings("survey")
    table(
        (_("Tape"), _("Reads"), _("Apart from the others"), _("Verdict")),
        [
            (
                f"{item.from_} – {item.to}",
                long(item.distance_m),
                fine(item.residual_m, plus=True),
                _("✗ suspect") if (item.from_, item.to) in suspect else _("✓ fits"),
            )
            for item in result.tapes
        ],
        caption=_("Tapes"),
    )
    table(
        (_("Point"), _("x, y, z"), _("Exact to, x, y, z")),
        [
            (
                name,
                ", ".join(map(long, point.at_m)),
                _("fixed") if point.fixed else ", ".join(map(fine, point.sigma_m)),
            )
            for name, point in result.points.items()
        ],
        caption=_("Points; exact: standard deviation"),
    )
    if result.next_tapes:
        table(
            (_("Tape to take next"), _("For"), _("Exact to, now and then")),
            [
                (
                    f"{item.from_} – {item.to}",
                    item.point,
                    f"{fine(item.sigma_before_m)} → {fine(item.sigma_after_m)}",
                )
                for item in result.next_tapes
            ],
            caption=_("What would help most"),
        )
    paper(view, "sheet", _("The sheet to take along"), lambda: survey_sheet_html(own_sheet(view.desk.build)))


PAGE = Page(
    "/survey", _("Survey"), _("Are the tapes right?"), body, ("survey",), ("survey.tapes", "survey.points", "survey")
)
