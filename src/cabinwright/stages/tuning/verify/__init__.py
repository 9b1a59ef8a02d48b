"""Verifying: do recordings made after loading sound as the settings predict, and if not, what went wrong?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from cabinwright.build.document import Build, Processor
from cabinwright.errors import PersonError
from cabinwright.findings import Finding, finding
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import SUM_NAMES
from cabinwright.stages.tuning.verify.bench import make_bench
from cabinwright.stages.tuning.verify.danger import with_exposed
from cabinwright.stages.tuning.verify.fitting import Fitter
from cabinwright.stages.tuning.verify.levels import comparisons
from cabinwright.stages.tuning.verify.limits import check_limits
from cabinwright.stages.tuning.verify.next_recording import record_next
from cabinwright.stages.tuning.verify.result import Cause, Comparison, Confidence, VerificationResult
from cabinwright.stages.tuning.verify.search import TIED, Story, search
from cabinwright.stages.tuning.verify.words import describe

__all__ = ["Cause", "Comparison", "VerificationResult", "verify"]

CLEAR = 10.0  #: of log-likelihood: how far behind the runner-up must be


def verify(
    build: Build,
    recorded: RecordedResponses,
    settings: Settings,
    verification: RecordedResponses,
    *,
    file: str = "settings.json",
) -> VerificationResult:
    """Compare ``verification`` with what ``settings`` and ``recorded`` predict, and find what differs.

    ``recorded`` are the responses of single channels without processing; ``verification.channels`` holds names of sums
    ("left side", "right side", "everything") or of channels, measured with the settings loaded, at some of the same
    positions. A common level and latency stay free; where time is not absolute, each position has its own latency.

    Raises ``PersonError`` where settings, build and recordings name different channels or the build's processor cannot
    hold the settings (read from ``file``), and ``RefusedError`` where no recording can be compared.
    """
    _check_names(build, recorded, settings, verification, file)
    check_limits(build, settings, file=file)
    with threadpool_limits(1):  # small matrices: threads would only wait for one another
        return _verified(build, recorded, settings, verification)


def _verified(
    build: Build, recorded: RecordedResponses, settings: Settings, verification: RecordedResponses
) -> VerificationResult:
    full = make_bench(build, recorded, settings, verification)
    fitter = Fitter(full, absolute_time=recorded.absolute_time and verification.absolute_time)
    best, rivals = search(
        build, fitter, lambda story: all(item.explained for item in comparisons(build, full, fitter, story))
    )
    levels = comparisons(build, full, fitter, best)
    rivals = rivals if best.causes else []
    tied = [story for story in rivals if story.cost - best.cost < TIED]
    behind = rivals[0].cost - best.cost if rivals else np.inf
    confidence: Confidence = "clear" if behind >= CLEAR else "likely" if behind >= TIED else "one of several"
    step_s = (build.processor or Processor()).delay_step_s

    def told(story: Story, sure: Confidence) -> tuple[Cause, ...]:
        causes = (describe(cause, fitter.bench, delay_step_s=step_s, confidence=sure) for cause in story.causes)
        return with_exposed(build, settings, tuple(causes))

    passed = not best.causes and all(item.within for item in levels)
    start = fitter.score(fitter.bench.start)
    share = (start.misfit - best.fit.misfit) / max(start.misfit - fitter.least, 1e-9)
    result = VerificationResult(
        passed=passed,
        summary="",
        level_db=20.0 * float(np.log10(best.fit.level * full.scale)),
        latency_s=float(np.median(best.fit.delay_s)),
        position_delay_s=dict(zip(full.positions, best.fit.delay_s.tolist(), strict=True)),
        band_centres_hz=full.band_centres_hz,
        comparisons=levels,
        causes=told(best, confidence),
        alternatives=tuple(told(story, "one of several") for story in tied),
        runner_up=told(rivals[0], "one of several") if rivals else (),
        runner_up_behind=float(behind),
        explained_share=1.0 if passed else float(np.clip(share, 0.0, 1.0)),
        record_next=record_next(build, fitter, best, tied[0]) if tied else None,
        not_checked=tuple(name for index, name in enumerate(full.channels) if not full.start.feed[:, index].any()),
    )
    result = replace(result, summary=_summary(result))
    return replace(result, findings=_findings(result))


def _check_names(
    build: Build, recorded: RecordedResponses, settings: Settings, verification: RecordedResponses, file: str
) -> None:
    names = [item.name for item in build.channels]
    loaded = [item.name for item in settings.channels]
    if set(names) != set(loaded) or set(names) - set(recorded.channels):
        raise PersonError(
            f"{file} holds the channels {', '.join(loaded)}; the build has {', '.join(names)}. "
            "The build was changed after the tune: run the tune again, load its settings, then verify."
        )
    if settings.sample_rate_hz != recorded.sample_rate_hz:
        raise PersonError(
            f"{file}: sample_rate_hz: for a processor at {settings.sample_rate_hz:g} Hz; the build's processor, and with it the "
            f"recordings, works at {recorded.sample_rate_hz:g} Hz. The same filters sound different there: verify with "
            "the settings that were loaded, or correct sample_rate_hz under [processor] and run the tune again."
        )
    for name in verification.channels:
        if name not in (*SUM_NAMES, *names):
            raise PersonError(
                f"A verification recording is of {name!r}, which is no channel of the build; "
                f"write {', '.join(SUM_NAMES)} or one of {', '.join(names)}."
            )


def _summary(result: VerificationResult) -> str:
    if result.passed:
        return "Pass: the recordings agree with the prediction within what noise and repeatability allow."
    if not result.causes:
        return "The recordings differ from the prediction, and no single mistake at the processor explains it."
    return "Likeliest cause: " + "; and ".join(cause.text for cause in result.causes) + "."


def _warned(names: tuple[str, ...], cure: str) -> str:
    """The cure, after a warning where loudspeakers could be harmed until it is done."""
    if not names:
        return cure
    return f"Play nothing before this is looked into: less high-pass than is safe may reach {', '.join(names)}. {cure}"


def _findings(result: VerificationResult) -> tuple[Finding, ...]:
    found = []
    if result.passed:
        found.append(finding("verify-pass", where=", ".join(item.name for item in result.comparisons)))
    for cause in result.causes:
        found.append(
            finding(
                "verify-cause",
                where=", ".join(cause.channels),
                value=cause.amount,
                unit=cause.unit,
                severity="stop" if cause.exposes else "caution",
                text=cause.text[0].upper() + cause.text[1:],
                cure=_warned(cause.exposes, cause.remedy),
                confidence=cause.confidence,
            )
        )
    if result.alternatives:
        # Those that could do harm first, so that they are among the few that are named.
        stories = sorted(result.alternatives, key=lambda story: not any(cause.exposes for cause in story))
        others = "; or ".join(" and ".join(cause.text for cause in story) for story in stories[:3])
        names = tuple(dict.fromkeys(name for story in stories for cause in story for name in cause.exposes))
        cure = "No further recording would tell: check both by hand."
        if result.record_next:
            cure = f"Record {result.record_next} with the settings loaded: it would tell."
        found.append(
            finding(
                "verify-undecided",
                where="verification",
                severity="stop" if names else None,
                others=others,
                cure=_warned(names, cure),
            )
        )
    for item in result.comparisons:
        if not item.explained:
            worst = int(np.nanargmax(np.abs(item.measured_db - item.explained_db) / item.tolerance_db))
            found.append(
                finding(
                    "verify-unexplained",
                    where=item.name,
                    value=round(float(item.measured_db[worst] - item.explained_db[worst]), 1),
                    limit=round(float(item.tolerance_db[worst]), 1),
                    unit="dB",
                    frequency_hz=f"{result.band_centres_hz[worst]:.0f}",
                )
            )
    alone = {item.channels for item in result.comparisons}
    if len(alone) == 1 and len(result.comparisons[0].channels) == 1:
        found.append(finding("verify-alone", where=result.comparisons[0].name))
    if result.not_checked:
        found.append(finding("verify-not-checked", where=", ".join(result.not_checked)))
    return tuple(found)
