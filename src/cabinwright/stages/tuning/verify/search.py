"""The search for the causes: score every guess, look closer at the best, add a second cause where one is not enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from cabinwright.build.document import Build
from cabinwright.stages.tuning.verify.bench import Bench, State
from cabinwright.stages.tuning.verify.causes import Guess, delay_range_s, delayed, fixed_guesses, ranged_guesses
from cabinwright.stages.tuning.verify.fitting import Fit, Fitter
from cabinwright.stages.tuning.verify.replaced import Moves, Replaced

__all__ = ["TIED", "Story", "search"]

SMALLEST_GAIN = 8.0  #: of log-likelihood; noise alone gives well below this
#: of the mismatch above noise: what microphones put back elsewhere can make a guess gain. The first holds where levels
#: agree and nothing but the guess speaks for a mistake, the second where levels already say that something is wrong.
SMALLEST_SHARE, SMALLEST_SHARE_LOUD = 0.02, 0.006
TIED = 3.0  #: of log-likelihood: closer than this the recordings cannot tell
MOST_CAUSES = 3
AMOUNT_COST = 2.0  #: of log-likelihood: what one free amount gains by chance, with room
FURTHER_COST = (
    6.0  #: of log-likelihood: two mistakes at once are rarer than one, and there are many more pairs to choose from
)
#: of log-likelihood: what is less likely to happen to a careful person, or can happen in more ways
RARITY = {"settings swapped": 2.0, "outputs swapped": 2.0, "crossover moved": 1.0, "filter sign": 1.0}
CLOSER = 8  #: guesses whose amount is searched finely
SETTLING = 4  #: steps towards where the microphones stand
BEAM = 3  #: first causes from which a second is tried
BEAM_WIDTH = 0.5  #: and how much less than the best one they may explain


@dataclass(frozen=True)
class Story:
    """Causes that together turn the settings into what was measured."""

    causes: tuple[Guess, ...]
    state: State
    fit: Fit
    cost: float  #: misfit plus what amounts, rarity and microphones put back elsewhere cost
    moves: Moves | None = None  #: where the microphones seem to stand


class _Search:
    def __init__(self, build: Build, fitter: Fitter) -> None:
        self.build = build
        self.fitter = fitter
        self.bench: Bench = fitter.bench
        self.replaced = Replaced(build, self.bench)
        self.fixed = fixed_guesses(build, self.bench)

    def state(self, causes: tuple[Guess, ...], moves: Moves | None) -> State:
        state = self.bench.start if moves is None else replace(self.bench.start, recorded=moves.recorded)
        for cause in causes:
            state = cause.apply(state)
        return state

    def story(
        self, causes: tuple[Guess, ...], latencies: tuple[int, ...] | None = None, moves: Moves | None = None
    ) -> Story:
        """``causes`` at the best of ``latencies`` (absent: the candidates) with the microphones at ``moves``."""
        if latencies is None and any(cause.whole for cause in causes):
            latencies = tuple(range(len(self.fitter.latencies)))
        state = self.state(causes, moves)
        fit = self.fitter.score(state, latencies=latencies)
        cost = sum(AMOUNT_COST * (cause.range is not None) + RARITY.get(cause.kind, 0.0) for cause in causes)
        cost += FURTHER_COST * max(len(causes) - 1, 0)
        return Story(causes, state, fit, fit.misfit + cost + (moves.cost if moves else 0.0), moves)

    def extend(self, story: Story) -> list[Story]:
        """Every story with one more cause, the likely ones with their amounts refined, best first."""
        state = story.state
        used = {(cause.kind, cause.channels, cause.filter) for cause in story.causes}
        guesses = [*self.fixed, *self._delays(state)]
        for guess in ranged_guesses(self.bench, state):
            assert guess.range is not None
            guesses += [replace(guess, amount=amount) for amount in guess.range.grid]
        fresh = [guess for guess in guesses if (guess.kind, guess.channels, guess.filter) not in used]
        stories = [(guess.whole, self.story((*story.causes, guess), moves=story.moves)) for guess in fresh]
        # At the latency of the right settings an exchange of everything looks too poor to be looked at more closely.
        scored = _one_of_each([self.realigned(item) if whole else item for whole, item in stories])
        closer = _one_of_each([self.closer(item) for item in scored[:CLOSER]] + scored[CLOSER:])
        return [item for item in closer if _worth_a_word(item.causes[-1])]

    def _delays(self, state: State) -> list[Guess]:
        guesses = []
        for index in range(len(self.bench.channels)):
            if state.feed[:, index].any() and np.abs(state.drive[index]).any():
                peaks = self.fitter.delay_peaks(state, index, *delay_range_s(self.build, self.bench, index))
                guesses += [delayed(self.build, self.bench, index, peak) for peak in peaks]
        return guesses

    def realigned(self, story: Story) -> Story:
        """The same story at a latency that suits it better, where there is one."""
        index = self.fitter.realign(story.fit, story.state, whole=any(cause.whole for cause in story.causes))
        if index == story.fit.latency:
            return story
        other = self.story(story.causes, (index,), story.moves)
        return other if other.cost < story.cost else story

    def closer(self, story: Story) -> Story:
        """The same causes at their best: latency, amounts, and where the microphones stand."""
        return self.refine(self.settled(self.refine(self.realigned(story))))

    def settled(self, story: Story) -> Story:
        """The same causes with the microphones where they suit them best."""
        for _ in range(SETTLING):
            moves = self.replaced.better(story.state, story.fit, story.moves)
            other = self.story(story.causes, (story.fit.latency,), moves)
            if other.cost >= story.cost:
                break
            story = other
        return story

    def refine(self, story: Story) -> Story:
        """The same causes with every amount at the least misfit, one after the other, twice where there are several."""
        ranged = [index for index, cause in enumerate(story.causes) if cause.range is not None]
        for index in ranged * min(len(ranged), 2):
            story = self._refine_one(story, index)
        return story

    def _refine_one(self, story: Story, index: int) -> Story:
        from scipy.optimize import minimize_scalar  # slow to import

        cause = story.causes[index]
        limits = cause.range
        assert limits is not None

        def with_amount(amount: float) -> Story:
            causes = (*story.causes[:index], replace(cause, amount=amount), *story.causes[index + 1 :])
            return self.story(causes, (story.fit.latency,), story.moves)

        low = max(limits.low, cause.amount - limits.width)
        high = min(limits.high, cause.amount + limits.width)
        found = minimize_scalar(
            lambda amount: with_amount(float(amount)).cost,
            bounds=(low, high),
            method="bounded",
            options={"xatol": limits.width / 200.0, "maxiter": 22},
        )
        better = with_amount(float(found.x))
        return better if better.cost < story.cost else story


def _worth_a_word(cause: Guess) -> bool:
    return cause.range is None or abs(cause.amount) >= cause.range.smallest


def _one_of_each(stories: list[Story]) -> list[Story]:
    """Best first; of stories that differ only in the amount of the last cause the best one."""
    kept: dict[tuple[object, ...], Story] = {}
    for story in sorted(stories, key=lambda item: item.cost):
        last = story.causes[-1]
        kept.setdefault((last.kind, last.channels, last.filter), story)
    return list(kept.values())


def search(build: Build, fitter: Fitter, agrees: Callable[[Story], bool]) -> tuple[Story, list[Story]]:
    """The likeliest story (no causes where the settings explain the measurement) and its rivals, best first.

    ``agrees`` says whether the levels that a story explains lie within what may differ.
    """
    run = _Search(build, fitter)
    bare = run.story(())
    best = run.settled(bare)
    rivals: list[Story] = []
    beam = [bare]  # a real mistake must not be looked for where the microphones have been moved to hide it
    for _ in range(MOST_CAUSES):
        longer = _distinct(sorted((item for story in beam for item in run.extend(story)), key=lambda item: item.cost))
        above = max(best.cost - fitter.least, 0.0)
        share = SMALLEST_SHARE if agrees(best) else SMALLEST_SHARE_LOUD
        if not longer or best.cost - longer[0].cost < SMALLEST_GAIN + share * above:
            break
        before, best = best.cost, run.settled(run.refine(longer[0]))
        rivals = longer[1:]
        if best.cost - fitter.least < SMALLEST_GAIN + 0.25 * fitter.least:
            break
        beam = [best]
        if not agrees(best):
            near = best.cost + BEAM_WIDTH * (before - best.cost)
            beam += [story for story in rivals[: BEAM - 1] if story.cost < near]
    return (best if best.causes else bare), rivals  # where all is well, nothing needs to have been moved


def _distinct(stories: list[Story]) -> list[Story]:
    """The order in which two mistakes were found makes no second story."""
    kept: dict[frozenset[tuple[object, ...]], Story] = {}
    for story in stories:
        key = frozenset((cause.kind, cause.channels, cause.filter) for cause in story.causes)
        kept.setdefault(key, story)
    return list(kept.values())
