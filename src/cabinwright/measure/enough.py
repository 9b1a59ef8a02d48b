"""Whether the good recordings are enough for an answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["missing"]


def missing(present: NDArray[np.bool_], channels: Sequence[str], *, table: str, verifying: bool) -> str | None:
    """What is missing, and what to record; ``None`` where it is enough.

    ``present`` (channels, positions) marks good recordings. Every channel is needed somewhere, and one position with all
    of them; a verification needs one recording.
    """
    if verifying:
        return None if present.any() else f"none of the [[{table}]] is good. Record them again:"
    gone = [name for name, row in zip(channels, present, strict=True) if not row.any()]
    if gone:
        return (
            f"no good recording of {', '.join(gone)}. Record each at every position (or take it out of [[channels]] if it "
            "is not used)."
        )
    if not present.all(axis=0).any():
        return (
            "no microphone position has a good recording of every channel, so how they add cannot be known. "
            f"Record all of {', '.join(channels)} at one position at least, better at six."
        )
    return None
