"""Verifying: do recordings made after loading sound as the settings predict, and if not, what went wrong?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cabinwright.build.document import Build
from cabinwright.errors import PersonError
from cabinwright.findings import Finding, finding
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import SUM_NAMES, sounding_channels
from cabinwright.stages.tuning.verify.bench import Array, Bench, State, make_bench
from cabinwright.stages.tuning.verify.fitting import Fit, Fitter
from cabinwright.stages.tuning.verify.result import Cause, Comparison, Confidence, VerificationResult
from cabinwright.stages.tuning.verify.search import TIED, Story, search
from cabinwright.stages.tuning.verify.words import describe

__all__ = ["Cause", "Comparison", "VerificationResult", "verify"]

LEVEL_TOLERANCE_DB = 0.5  #: a careful repeat with nothing changed (common practice, no source)
REPLACED_M = 0.005  #: how well a microphone is put back
SPEED_OF_SOUND_M_S = 343.0
CLEAR = 10.0  #: of log-likelihood
HEARD = 10.0  #: power over noise below which a band's level says nothing


def verify(
    build: Build, recorded: RecordedResponses, settings: Settings, verification: RecordedResponses
) -> VerificationResult:
    """Compare ``verification`` with what ``settings`` and ``recorded`` predict, and find what differs.

    ``recorded`` are the responses of single channels without processing; ``verification.channels`` holds names of sums
    ("left side", "right side", "everything") or of channels, measured with the settings loaded, at some of the same
    positions. A common level and latency stay free; where time is not absolute, each position has its own latency.

    Raises ``PersonError`` where settings, build and recordings name different channels, and ``RefusedError`` where no
    recording can be compared.
    """
    _check_names(build, recorded, settings, verification)
    full = make_bench(build, recorded, settings, verification)
    fitter = Fitter(full, absolute_time=recorded.absolute_time and verification.absolute_time)
    best, rivals = search(build, fitter)
    start = fitter.score(full.thinned().start)
    comparisons = _comparisons(build, full, fitter, best)
    tied = [story for story in rivals if story.cost - best.cost < TIED and best.causes]
    step = build.processor.delay_step_s if build.processor else 2e-5
    behind = rivals[0].cost - best.cost if rivals and best.causes else np.inf
    confidence: Confidence = "clear" if behind >= CLEAR else "likely" if behind >= TIED else "one of several"

    def told(story: Story, sure: Confidence) -> tuple[Cause, ...]:
        return tuple(describe(cause, fitter.bench, delay_step_s=step, confidence=sure) for cause in story.causes)

    causes = told(best, confidence)
    passed = not causes and all(item.within for item in comparisons)
    above = max(start.misfit - fitter.least, 1e-9)
    result = VerificationResult(
        passed=passed,
        summary="",
        level_db=20.0 * float(np.log10(best.fit.level)),
        latency_s=float(np.median(best.fit.delay_s)),
        position_delay_s=dict(zip(full.positions, best.fit.delay_s.tolist(), strict=True)),
        band_centres_hz=full.band_centres_hz,
        comparisons=comparisons,
        causes=causes,
        alternatives=tuple(told(story, "one of several") for story in tied),
        runner_up=told(rivals[0], "one of several") if rivals and causes else (),
        runner_up_behind=float(behind),
        explained_share=float(np.clip((start.misfit - best.fit.misfit) / above, 0.0, 1.0)) if not passed else 1.0,
        record_next=_record_next(build, fitter, best, tied),
        not_checked=tuple(name for i, name in enumerate(full.channels) if not full.start.feed[:, i].any()),
    )
    result = replace(result, summary=_summary(result))
    return replace(result, findings=_findings(result))


def _check_names(
    build: Build, recorded: RecordedResponses, settings: Settings, verification: RecordedResponses
) -> None:
    names = [item.name for item in build.channels]
    loaded = [item.name for item in settings.channels]
    if set(names) != set(loaded) or set(names) - set(recorded.channels):
        raise PersonError(
            f"settings.json holds the channels {', '.join(loaded)}; the build has {', '.join(names)}. "
            "The build was changed after the tune: run the tune again, load its settings, then verify."
        )
    for name in verification.channels:
        if name not in (*SUM_NAMES, *names):
            raise PersonError(
                f"A verification recording is of {name!r}, which is no channel of the build; "
                f"write {', '.join(SUM_NAMES)} or one of {', '.join(names)}."
            )


def _comparisons(build: Build, bench: Bench, fitter: Fitter, best: Story) -> tuple[Comparison, ...]:
    """Levels by band on all bins, moved by the level of the best story."""
    measured = bench.band_sum(np.abs(bench.measured) ** 2) / best.fit.level**2
    thin = fitter.bench
    should = bench.band_sum(np.abs(bench.predict(bench.start)) ** 2)
    state = thin.start
    for cause in best.causes:
        state = cause.apply(state)
    counts, thin_counts = _sizes(bench), _sizes(thin)
    seems = thin.band_sum(np.abs(thin.predict(state)) ** 2) * counts / thin_counts
    thin_should = thin.band_sum(np.abs(thin.predict(thin.start)) ** 2) * counts / thin_counts
    noise = bench.band_sum(bench.noise) / best.fit.level**2
    rows = []
    for index, name in enumerate(bench.names):
        here = bench.usable[index]
        average = should[index, here].mean(axis=0)
        ratio = seems[index, here].mean(axis=0) / np.maximum(thin_should[index, here].mean(axis=0), 1e-300)
        silence = noise[index, here].mean(axis=0)
        rows.append(
            Comparison(
                name=name,
                channels=sounding_channels(build, name),
                positions=tuple(np.array(bench.positions)[here].tolist()),
                measured_db=_db(measured[index, here].mean(axis=0)),
                predicted_db=_db(average),
                explained_db=_db(average * ratio),
                tolerance_db=_tolerance_db(bench, average, silence, counts, int(here.sum())),
                measured_positions_db=_db(measured[index, here]),
                predicted_positions_db=_db(should[index, here]),
            )
        )
    return tuple(rows)


def _sizes(bench: Bench) -> Array:
    return np.diff(np.append(bench.band_start, len(bench.frequency_hz))).astype(np.float64)


def _db(power: Array) -> Array:
    level: Array = 10.0 * np.log10(np.maximum(power, 1e-30))
    return level


def _tolerance_db(bench: Bench, power: Array, noise: Array, bins: Array, positions: int) -> Array:
    """Three parts, added as powers: a careful repeat, the microphone put back (phase ``k d`` against fields that mix),
    noise (relative standard deviation of the power of so many bins). NaN where noise hides the level."""
    wave = 2.0 * np.pi * bench.band_centres_hz / SPEED_OF_SOUND_M_S
    moved = 8.7 * np.minimum(wave * REPLACED_M, 0.7) / np.sqrt(positions)
    relative = noise / np.maximum(power, 1e-300)
    noisy = 2.0 * 4.34 * (relative + 2.0 * np.sqrt(2.0 * relative / np.maximum(bins, 1.0) / positions))
    total = np.sqrt(LEVEL_TOLERANCE_DB**2 + moved**2 + noisy**2)
    tolerance: Array = np.where(relative * HEARD < 1.0, total, np.nan)
    return tolerance


def _record_next(build: Build, fitter: Fitter, best: Story, tied: list[Story]) -> str | None:
    """The recording in which the best story and its closest rival of another kind differ most."""
    if not tied:
        return None
    bench = fitter.bench
    levels = (best.fit.level, tied[0].fit.level)
    options = [name for name in (*bench.channels, *SUM_NAMES) if name not in bench.names]
    if not options:
        return None
    feed = np.array([[slot in sounding_channels(build, name) for slot in bench.channels] for name in options])

    def heard(story: Story, level: float) -> Array:
        state: State = replace(bench.start, feed=feed.astype(np.float64))
        for cause in story.causes:
            if cause.kind == "inputs crossed":
                return np.zeros((len(options), len(bench.frequency_hz)))
            state = cause.apply(state)
        each = state.drive[:, None, :] * bench.recorded[state.out]
        sums = np.tensordot(state.feed, each, axes=(1, 0))
        turned = sums * level * np.exp(fitter.turn * (story.fit.delay_s - best.fit.delay_s)[:, None])
        values: Array = turned.reshape(len(options), -1).view(np.float64)
        return values

    one, other = heard(best, levels[0]), heard(tied[0], levels[1])
    if one.shape != other.shape:
        return None
    apart = ((one - other) ** 2).sum(axis=1) / np.maximum((one**2).sum(axis=1) + (other**2).sum(axis=1), 1e-300)
    return options[int(apart.argmax())] if apart.max() > 1e-3 else None


def _summary(result: VerificationResult) -> str:
    if result.passed:
        return "Pass: the recordings agree with the prediction within what noise and repeatability allow."
    if not result.causes:
        return "The recordings differ from the prediction, and no single mistake at the processor explains it."
    return "Likeliest cause: " + "; and ".join(cause.text for cause in result.causes) + "."


def _findings(result: VerificationResult) -> tuple[Finding, ...]:
    return ()
