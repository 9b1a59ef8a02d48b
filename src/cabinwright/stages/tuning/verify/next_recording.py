"""Which recording would tell two stories apart that the present ones cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cabinwright.build.document import Build
from cabinwright.stages.tuning.sides import SUM_NAMES, sounding_channels
from cabinwright.stages.tuning.verify.bench import Complex
from cabinwright.stages.tuning.verify.fitting import Fitter
from cabinwright.stages.tuning.verify.search import Story

__all__ = ["record_next"]

SMALLEST_DIFFERENCE = 1e-3  #: of the power: less could not be told from noise either


def record_next(build: Build, fitter: Fitter, best: Story, rival: Story) -> str | None:
    """The sum or channel, not recorded yet, in which the two stories differ most; None where none would tell."""
    bench = fitter.bench
    options = [name for name in (*bench.channels, *SUM_NAMES) if name not in bench.names]
    if not options or any(cause.kind == "inputs crossed" for cause in (*best.causes, *rival.causes)):
        return None
    feed = np.array([[slot in sounding_channels(build, name) for slot in bench.channels] for name in options])

    def heard(story: Story) -> Complex:
        state = replace(story.state, feed=feed.astype(np.float64))
        each = state.drive[:, None, :] * bench.heard(state)[state.out]
        turn = np.exp(fitter.turn * (story.fit.delay_s - best.fit.delay_s)[:, None])
        sums: Complex = np.tensordot(state.feed, each, axes=(1, 0)) * story.fit.level * turn
        return sums

    one, other = heard(best), heard(rival)
    power = (np.abs(one) ** 2 + np.abs(other) ** 2).sum(axis=(1, 2))
    apart = (np.abs(one - other) ** 2).sum(axis=(1, 2)) / np.maximum(power, 1e-300)
    return options[int(apart.argmax())] if apart.max() > SMALLEST_DIFFERENCE else None
