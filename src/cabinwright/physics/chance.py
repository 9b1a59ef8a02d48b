"""What a number of right answers says: how often plain guessing does as well, and how sure the share of right ones is.

    p = sum over k from the number right to all of C(n, k) / 2^n

Two-sided where either choice would have been worth telling. Bounds after Clopper and Pearson (Biometrika 26, 404–413, 1934).
The number of trials is set before the first: a test that ends when it looks good proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CLEAR", "Chance", "chance", "needed"]

CLEAR = 0.05  #: custom, not nature
SURE = 0.95


@dataclass(frozen=True, slots=True)
class Chance:
    """The result of a finished comparison."""

    right: int  #: answers that were right, or that preferred one of the two
    trials: int
    p: float  #: how often guessing does as well or better
    low: float  #: the share in the long run lies between these with 95 %
    high: float

    @property
    def clear(self) -> bool:
        """Whether guessing would do as well less often than once in twenty times."""
        return self.p < CLEAR


def chance(*, right: int, trials: int, two_sided: bool = False) -> Chance:
    """What ``right`` of ``trials`` says against guessing between two. Raises ``ValueError`` where that cannot be."""
    from scipy.special import bdtrc, betaincinv

    if not 0 <= right <= trials or trials < 1:
        raise ValueError(f"right answers lie between 0 and the trials, got {right} of {trials}")
    least = max(right, trials - right) if two_sided else right
    p = 1.0 if least == 0 else min(1.0, (2.0 if two_sided else 1.0) * float(bdtrc(least - 1, trials, 0.5)))
    edge = (1.0 - SURE) / 2.0
    low = float(betaincinv(right, trials - right + 1, edge)) if right else 0.0
    high = float(betaincinv(right + 1, trials - right, 1.0 - edge)) if right < trials else 1.0
    return Chance(right, trials, p, low, high)


def needed(*, trials: int, two_sided: bool = False) -> int | None:
    """The least number of right answers that is clear; None where not even all would be. Raises ``ValueError``."""
    least = (trials + 1) // 2
    return next(
        (k for k in range(least, trials + 1) if chance(right=k, trials=trials, two_sided=two_sided).clear), None
    )
