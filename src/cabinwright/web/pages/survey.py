"""Are the tapes right? Which one the others contradict, how exact every point is, and what to measure next."""

from __future__ import annotations

from cabinwright.handover.survey_sheet import survey_sheet_html
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.survey.sheet import own_sheet
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import table, text
from cabinwright.web.words import _

__all__ = ["PAGE"]

MM = 1e3


def body(view: View) -> None:
    """Findings, suspects, tapes, points, next tapes; then the sheet with the drawing."""
    result: SurveyResult | None = view.result("survey")
    if view.why_not("survey") or result is None:
        view.findings("survey")
        return
    suspect = {(item.from_, item.to) for item in result.suspect_tapes}
    text("p", _("✗ Measure these again: ") + ", ".join(f"{a} – {b}" for a, b in sorted(suspect)) if suspect else
         _("✓ No tape contradicts the others."), "figure")  # fmt: skip
    view.findings("survey")
    table(
        (_("Tape"), _("Reads"), _("Apart from the others"), _("Verdict")),
        [
            (
                f"{item.from_} – {item.to}",
                f"{item.distance_m:.3f} m",
                f"{MM * item.residual_m:+.1f} mm",
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
                ", ".join(f"{part:.3f}" for part in point.at_m) + " m",
                _("fixed") if point.fixed else ", ".join(f"{MM * part:.1f}" for part in point.sigma_m) + " mm",
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
                    f"{MM * item.sigma_before_m:.1f} → {MM * item.sigma_after_m:.1f} mm",
                )
                for item in result.next_tapes
            ],
            caption=_("What would help most"),
        )
    paper(view, "sheet", _("The sheet to take along"), lambda: survey_sheet_html(own_sheet(view.desk.build)))


PAGE = Page("/survey", _("Survey"), _("Are the tapes right?"), body, ("survey",), ("survey",))
