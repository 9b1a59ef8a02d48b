"""Drive units made complete: from what is stated, else from what was measured; disagreements are named, never averaged."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import pi, sqrt

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.findings import Finding, finding
from cabinwright.physics.driver import Driver
from cabinwright.physics.driver_figures import FIGURES, Completed, Disagreement, complete
from cabinwright.physics.impedance import Fitted, Sweep, fit
from cabinwright.stages.enclosure.result import ModelResult
from cabinwright.stages.memory import Keeper, afresh

__all__ = ["all_models", "stated_figures"]

QTS_SENSE = (0.15, 1.2)  #: drive units that are made lie within
DIFFERS = 0.05  #: a stated figure this far from the measured one is worth a word, where the fit is that sure
MASS_SENSE_KG_M2 = (
    0.1,
    25.0,
)  #: moving mass for each square metre of cone, from the lightest domes to the heaviest cones
LE_SENSE_S = 0.005  #: inductance over resistance of a voice coil; the largest woofers have some two milliseconds
XMAX_SENSE = 0.5  #: linear travel one way over the radius of the cone
MISFIT = 0.08  #: rms part of the impedance left over, beyond which the curve is not that of a cone on a spring
MEASURED = ("re_ohm", "fs_hz", "qes", "qms", "vas_m3", "mms_kg", "sd_m2", "bl_t_m", "cms_m_per_n")
"""Figures of a fit, in the order in which they fill in for what is not stated."""


@dataclass(frozen=True)
class _Found:
    fitted: Fitted | None
    findings: list[Finding]


def all_models(
    build: Build, sweeps: Mapping[str, Sequence[Sweep]], *, keep: Keeper = afresh
) -> tuple[dict[str, ModelResult], list[Finding]]:
    """Every model whose figures are enough, with what there is to say; ``sweeps`` by name of the model.

    One that states its dimensions alone, for a ring or a list, is passed over unless a box or speaker names it.
    """
    asked = {box.model for box in build.boxes} | {speaker.model for speaker in build.speakers}
    asked |= {name for name, taken in sweeps.items() if taken}
    named = tuple(item.name for item in build.speaker_models if item.name in asked)
    models, findings = keep("enclosure: models", _models, build, sweeps, named)
    return dict(models), list(findings)


def _models(
    build: Build, sweeps: Mapping[str, Sequence[Sweep]], asked: Sequence[str]
) -> tuple[dict[str, ModelResult], list[Finding]]:
    models: dict[str, ModelResult] = {}
    findings: list[Finding] = []
    for item in build.speaker_models:
        if item.name not in asked and not stated_figures(item):
            continue
        measured = _measured(item, sweeps.get(item.name, ()))
        findings += measured.findings
        model, found = _model(item, measured.fitted)
        findings += found
        if model is not None:
            models[item.name] = model
    return models, findings


def stated_figures(item: SpeakerModel) -> dict[str, float]:
    """The figures that the build states."""
    return {key: value for key in FIGURES if (value := getattr(item, key)) is not None}


def _model(item: SpeakerModel, fitted: Fitted | None) -> tuple[ModelResult | None, list[Finding]]:
    stated = stated_figures(item)
    done = complete(stated, le_h=item.le_h)
    findings = _disagreements(item.name, done)
    if done.impossible is not None:
        return None, [*findings, finding("enclosure.impossible", where=item.name, reason=done.impossible)]
    figures = None if fitted is None else _figures(fitted)
    if fitted is not None:
        if done.driver is None:
            done = _filled(stated, fitted, le_h=item.le_h or fitted.figures["le_h"])
        findings += _differs(item.name, done, fitted)
    if done.driver is None:
        missing = ", ".join(done.missing) or "another figure"
        return None, [*findings, finding("enclosure.incomplete", where=item.name, missing=missing)]
    qts = float(done.driver.qts)
    if not QTS_SENSE[0] <= qts <= QTS_SENSE[1]:
        limit = f"{QTS_SENSE[0]:g} to {QTS_SENSE[1]:g}"
        findings.append(finding("enclosure.qts_sense", where=item.name, value=round(qts, 3), limit=limit))
    findings += _senseless(item, done.driver)
    return ModelResult(done.driver, done.used, figures, None if fitted is None else fitted.misfit), findings


def _filled(stated: Mapping[str, float], fitted: Fitted, *, le_h: float) -> Completed:
    """With measured figures for what the stated ones leave open, and no more: what is stated stands."""
    figures = dict(stated)
    for key in MEASURED:
        done = complete(figures, le_h=le_h)
        if done.driver is None and key in done.missing and key in fitted.figures:
            figures[key] = fitted.figures[key]
    return complete(figures, le_h=le_h)


def _disagreements(name: str, done: Completed) -> list[Finding]:
    hint = _hint(done.suspects)
    return [
        finding(
            "enclosure.inconsistent",
            where=name,
            value=float(f"{item.stated:.4g}"),
            limit=float(f"{item.implied:.4g}"),
            figure=item.figure,
            others=", ".join(item.others),
            percent=_percent(item.share),
            hint=hint,
        )
        for item in done.disagreements
    ]


def _senseless(item: SpeakerModel, driver: Driver) -> Iterator[Finding]:
    """Figures that no drive unit has: a unit was slipped."""
    area, mass = float(driver.sd_m2), float(driver.mms_kg)
    low, high = MASS_SENSE_KG_M2
    checks = [
        (mass / area, low, high, "kg/m²", f"its figures make {1e3 * mass:.3g} g move, for each area of cone"),
        (float(driver.le_h / driver.re_ohm) * 1e3, 0.0, 1e3 * LE_SENSE_S, "ms", "le_h over re_ohm is"),
        ((item.xmax_m or 0.0) / sqrt(area / pi), 0.0, XMAX_SENSE, "radii of its cone", "xmax_m is"),
    ]
    for value, least, most, unit, what in checks:
        if not least <= value <= most:
            yield finding(
                "enclosure.figure_sense",
                where=item.name,
                value=float(f"{value:.3g}"),
                limit=f"{least:g} to {most:g}",
                unit=unit,
                what=what,
            )


def _hint(suspects: Sequence[Disagreement]) -> str:
    """Which figure alone would explain it, and by how much that one is off; silent where many would."""
    if len(suspects) == 1:
        (one,) = suspects
        return f" Without {one.figure} all others agree, and make it {one.implied:.4g} ({_percent(one.share)} %)."
    names = " or ".join(item.figure for item in suspects)
    return f" Without {names} all others agree." if len(suspects) in (2, 3) else ""


def _percent(share: float) -> str:
    return f"{100.0 * share:+.1f}".replace("-", "−")


def _measured(item: SpeakerModel, sweeps: Sequence[Sweep]) -> _Found:
    if not sweeps:
        return _Found(None, [])
    free_first = sorted(sweeps, key=lambda sweep: (sweep.added_mass_kg is not None, sweep.box_volume_m3 is not None))
    if free_first[0].added_mass_kg is not None or free_first[0].box_volume_m3 is not None:
        reason = "the sweep in free air is missing"
        return _Found(None, [finding("enclosure.curve_short", where=item.name, reason=reason)])
    try:
        fitted = fit(free_first, sd_m2=item.sd_m2)
    except ValueError as error:
        return _Found(None, [finding("enclosure.curve_short", where=item.name, reason=str(error))])
    if fitted.misfit > MISFIT:
        value = round(100.0 * fitted.misfit, 1)
        poor = finding("enclosure.curve_poor", where=item.name, value=value, limit=100.0 * MISFIT, unit="%")
        return _Found(fitted, [poor])
    return _Found(fitted, [])


def _figures(fitted: Fitted) -> dict[str, dict[str, float]]:
    return {key: {"value": value, "error_share": fitted.errors[key]} for key, value in fitted.figures.items()}


def _differs(name: str, done: Completed, fitted: Fitted) -> list[Finding]:
    """The measured drive unit is another one than the stated."""
    found = []
    for key in MEASURED:
        value = fitted.figures.get(key)
        if value is None or done.driver is None:
            continue
        stated = float(getattr(done.driver, key))
        off = value / stated - 1.0
        if abs(off) > max(DIFFERS, 3.0 * fitted.errors[key]):
            rounded = float(f"{value:.4g}"), float(f"{stated:.4g}")
            found.append(
                finding(
                    "enclosure.fit_differs",
                    where=name,
                    value=rounded[0],
                    limit=rounded[1],
                    figure=key,
                    percent=_percent(off),
                )
            )
    return found
