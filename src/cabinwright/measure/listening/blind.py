"""A blind comparison: what is heard is hidden and drawn by lot, the number of trials is set before the first, and chance judges.

Two questions in the spirit of ITU-R BS.1116 (hidden, randomised, double blind; not its panel of trained listeners nor its scale):

* ``tell apart``: A and B are the two versions, X is one of them by lot; which one? One-sided: only right answers count.
* ``prefer``: A and B change places by lot from trial to trial; which is better? Two-sided: either could win.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field

from cabinwright.errors import RefusedError
from cabinwright.physics.chance import Chance, chance, needed

__all__ = ["KINDS", "LEAST_TRIALS", "MOST_TRIALS", "Blind", "told_aim", "told_result"]

KINDS = ("tell apart", "prefer")
LEAST_TRIALS, MOST_TRIALS = 6, 100  #: fewer than six cannot show a preference at one in twenty


@dataclass
class Blind:
    """One comparison under way between two versions."""

    kind: str
    versions: tuple[str, str]
    trials: int
    draw: Callable[[int], int] = secrets.randbelow
    answers: list[bool] = field(default_factory=list)  #: right, or for the second version

    def __post_init__(self) -> None:
        if self.kind not in KINDS or not LEAST_TRIALS <= self.trials <= MOST_TRIALS or len(set(self.versions)) != 2:
            raise RefusedError(
                f"a blind comparison is {' or '.join(KINDS)}, of two versions, in {LEAST_TRIALS} to {MOST_TRIALS} trials; got "
                f"{self.kind}, {self.versions}, {self.trials}."
            )
        self._turned = bool(self.draw(2))
        self._next()

    def _next(self) -> None:
        if self.kind == "prefer":
            self._turned = bool(self.draw(2))
        self._hidden = self.draw(2)

    @property
    def done(self) -> bool:
        """Whether every trial was answered."""
        return len(self.answers) == self.trials

    def plays(self, label: str) -> str:
        """The version behind ``A``, ``B`` or ``X`` in this trial. Whoever listens must not be shown it."""
        number = self._hidden if label == "X" else "AB".index(label)
        return self.versions[number ^ self._turned]

    @property
    def labels(self) -> tuple[str, ...]:
        """What there is to hear."""
        return ("A", "B", "X") if self.kind == "tell apart" else ("A", "B")

    def answer(self, label: str) -> None:
        """``A`` or ``B``. Raises ``RefusedError`` where that is no answer, or all were given."""
        if label not in ("A", "B") or self.done:
            raise RefusedError("every trial was answered." if self.done else f"answer A or B, got {label}.")
        said = self.plays(label)
        self.answers.append(said == (self.plays("X") if self.kind == "tell apart" else self.versions[1]))
        if not self.done:
            self._next()

    def result(self) -> Chance:
        """After the last trial; before, ``RefusedError``: who looks while it runs stops where it suits."""
        if not self.done:
            raise RefusedError(
                f"{len(self.answers)} of {self.trials} trials are answered. The result comes after the last."
            )
        return chance(right=sum(self.answers), trials=self.trials, two_sided=self.kind == "prefer")


def told_aim(kind: str, trials: int) -> str:
    """Before the first trial: what it would take."""
    least = needed(trials=trials, two_sided=kind == "prefer")
    if kind == "tell apart":
        return f"At least {least} of {trials} have to be right: guessing does that less than once in twenty times."
    return f"One of the two has to win {least} of {trials} or more: without a preference that comes in less than one of twenty."


def told_result(blind: Blind) -> str:
    """The result in words that claim no more than it shows."""
    found = blind.result()
    often = "less than once in a thousand tries" if found.p < 0.001 else f"in {100.0 * found.p:.1f} % of all tries"
    if blind.kind == "tell apart":
        head = f"{found.right} of {found.trials} right. Guessing does as well or better {often}. "
        clear, open_ = (
            "This listener tells the two apart, with this sound and these headphones.",
            "This shows no audible difference; it does not show that there is none.",
        )
    else:
        first, second = blind.versions
        head = (
            f"{found.right} of {found.trials} for {second}, {found.trials - found.right} for {first}. "
            f"Without any preference a result this one-sided comes {often}. "
        )
        clear, open_ = (
            f"This listener prefers {second if found.right * 2 > found.trials else first}, with this sound and these headphones.",
            "This shows no preference; it does not show that there is none.",
        )
    return head + (clear if found.clear else open_)
