"""Two sets of settings on the same recordings: what each would give at the listener's positions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.outcome import sum_curves
from cabinwright.stages.tuning.prepare import prepare
from cabinwright.stages.tuning.result import SumCurves
from cabinwright.stages.tuning.settings import Settings

__all__ = ["beside"]


def beside(
    build: Build, recorded: RecordedResponses, one: Settings, other: Settings
) -> tuple[NDArray[np.float64], dict[str, SumCurves]]:
    """Twelfth-octave centres [Hz], and every sum with ``one`` as before and ``other`` as after, drawn at one level.

    Raises ``RefusedError`` where one of them has no settings for a channel that was recorded.
    """
    problem = prepare(build, recorded).problem
    for settings in (one, other):
        missing = set(problem.channels) - {item.name for item in settings.channels}
        if missing:
            names = ", ".join(sorted(missing))
            raise RefusedError(
                f"Settings {settings.fingerprint} hold nothing for {names}. Compare tunes of the same channels."
            )
    return problem.spectra.group_hz, sum_curves(problem, one, other)
