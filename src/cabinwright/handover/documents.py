"""Which documents come from which job: names and texts, ready for ``files.write_all``."""

from __future__ import annotations

from cabinwright.build.document import Build
from cabinwright.drawings.diagram_svg import sheets_svg
from cabinwright.handover.enclosure_page import enclosure_html
from cabinwright.handover.layout_page import layout_html
from cabinwright.handover.plan import StageResults, plan_json
from cabinwright.handover.power_page import power_documents
from cabinwright.handover.report import report_html
from cabinwright.handover.settings_page import settings_files
from cabinwright.handover.shown import pieces
from cabinwright.handover.signal_documents import chain_svg, signal_documents
from cabinwright.handover.survey_sheet import survey_sheet_html
from cabinwright.handover.verification import verification_files
from cabinwright.handover.wiring_documents import wiring_diagram, wiring_documents
from cabinwright.handover.workshop_page import workshop_documents
from cabinwright.physics.factory import FactoryResponses
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.meets import meet
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.memory import Keeper, afresh
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.survey import located
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.survey.sheet import Sheet
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.verify.result import VerificationResult
from cabinwright.stages.voice.result import VoiceResult
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["layout_documents", "plan_documents", "survey_sheet_documents", "tune_documents", "verification_documents"]


def tune_documents(
    build: Build,
    result: TuningResult,
    recordings: RecordedResponses,
    power: PowerResult | None = None,
    voice: VoiceResult | None = None,
    *,
    keep: Keeper = afresh,
) -> dict[str, str]:
    """``settings.json``, ``settings.html`` and ``report.html``, the electrical system and the voice in it where known."""
    diagram = keep("documents: wiring", _wiring, build, power) if power else ""
    met = keep("documents: met", meet, build, recordings)
    return {
        **settings_files(build, result),
        "report.html": report_html(build, result, recordings, met, power, diagram, voice=voice),
    }


def _wiring(build: Build, power: PowerResult) -> str:
    return sheets_svg(wiring_diagram(build, power))


def plan_documents(
    build: Build,
    results: StageResults,
    recordings: RecordedResponses | None = None,
    captured: FactoryResponses | None = None,
) -> dict[str, str | bytes]:
    """``plan.json``, a page for the enclosures and one for the signal chain, and where it is wired all that goes to the bench.

    ``captured`` gives the charts of the radio's repair. Where it was tuned, ``report.html`` is written as well, with the signal
    chain in it, which ``tune_documents`` does not work out.
    """
    power = getattr(results, "power", None)
    pages: dict[str, str | bytes] = {"plan.json": plan_json(build, results, recordings)}
    boxed = getattr(results, "enclosure", None)
    if isinstance(boxed, EnclosureResult):
        pages["enclosure.html"] = enclosure_html(build, boxed)
    chain = getattr(results, "signal", None)
    if isinstance(chain, SignalResult):
        pages |= signal_documents(build, chain, captured)
    cut = getattr(results, "workshop", None)
    if isinstance(cut, WorkshopResult):
        pages |= workshop_documents(build, cut)
    tuned, wired = getattr(results, "tuning", None), power if isinstance(power, PowerResult) else None
    if isinstance(tuned, TuningResult) and recordings is not None:
        surveyed = getattr(results, "survey", None)
        there = located(build, surveyed) if isinstance(surveyed, SurveyResult) else build
        drawn = chain_svg(build, chain) if isinstance(chain, SignalResult) else ""
        diagram = _wiring(build, wired) if wired else ""
        met = meet(there, recordings)
        stands = getattr(results, "voice", None)
        voice = stands if isinstance(stands, VoiceResult) else None
        shown = pieces(
            build,
            boxed if isinstance(boxed, EnclosureResult) else None,
            cut if isinstance(cut, WorkshopResult) else None,
        )
        pages["report.html"] = report_html(there, tuned, recordings, met, wired, diagram, drawn, shown, voice)
    if isinstance(power, PowerResult):
        return {**pages, **power_documents(build, power), **wiring_documents(build, power)}
    return {**pages}


def verification_documents(build: Build, result: VerificationResult, fingerprint: str = "") -> dict[str, str]:
    """``verification.json`` and ``verification.html``; ``fingerprint`` names the settings that were to be loaded."""
    return verification_files(build, result, fingerprint)


def survey_sheet_documents(sheet: Sheet) -> dict[str, str]:
    """``survey-sheet.html``."""
    return {"survey-sheet.html": survey_sheet_html(sheet)}


def layout_documents(build: Build, result: LayoutResult) -> dict[str, str]:
    """``layout.html``."""
    return {"layout.html": layout_html(build, result)}
