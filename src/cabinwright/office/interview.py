"""The interview: its questions, and its answers as they are read and kept with a job."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from typing import Any, Self

from cabinwright.build.checking import shown
from cabinwright.errors import PersonError
from cabinwright.shop.money import read_amount

__all__ = ["BACK", "COUNTS", "COUNT_WORDS", "QUESTIONS", "TASTES", "KeepFree", "Question", "Wishes", "read_wishes"]


@dataclass(frozen=True, slots=True)
class Question:
    """One question of the interview."""

    key: str
    says: str
    kind: str  #: choice, several, number, money, lines
    choices: tuple[tuple[str, str], ...] = ()  #: answer, and what it means
    unit: str = ""
    why: str = ""  #: what becomes of the answer

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {**asdict(self), "choices": [list(item) for item in self.choices]}


TASTES = {
    "even": (0.0, 0.0),
    "fuller": (3.0, 0.0),
    "brighter": (0.0, 2.0),
    "softer": (0.0, -2.0),
    "leaner": (-3.0, 0.0),
}
"""Answer -> dB below 60 Hz and above 10 kHz over our default curve."""

COUNTS = {"not": 0.0, "a little": 0.5, "usually": 1.0, "most": 2.0}
"""Answer -> factor on the usual weight of that side."""

BACK = {"must": 3.0, "rather": 1.5, "free": 0.25}
"""Answer -> factor on the usual weight of what cannot be put back."""

COUNT_WORDS = (
    ("not", "does not count"),
    ("a little", "counts a little"),
    ("usually", "counts as usual"),
    ("most", "counts most"),
)

QUESTIONS = (
    Question(
        "taste",
        "How shall it sound?",
        "choice",
        (
            ("even", "as our usual curve has it"),
            ("fuller", "more bass"),
            ("leaner", "less bass"),
            ("brighter", "more treble"),
            ("softer", "less treble"),
        ),
        why="tuning.house_curve of the build",
    ),
    Question(
        "seats",
        "Which seats count? The most important first.",
        "lines",
        why="tuning.seat; further ones layout.further_seats",
    ),
    Question("sound", "How much does the sound count?", "choice", COUNT_WORDS, why="layout.weights.sound"),
    Question("looks", "How much do the looks count?", "choice", COUNT_WORDS, why="layout.weights.looks"),
    Question("price", "How much does the price count?", "choice", COUNT_WORDS, why="layout.weights.cost"),
    Question(
        "reversible",
        "May the car be changed for good?",
        "choice",
        (("must", "it must go back as it was"), ("rather", "rather not"), ("free", "yes")),
        why="layout.weights.irreversible; “must” limits.reversible",
    ),
    Question("stock", "What must stay as it is? One on a line, such as: pillars", "lines", why="limits.stock"),
    Question("boot_l", "How much of the boot may boxes take at most?", "number", unit="L", why="limits.boxes_m3"),
    Question(
        "budget", "What may it cost at most, with tax?", "money", why="limits.budget; held against every proposal"
    ),
)
"""The interview, in its order. ``keep_free`` (volumes by their corners) is asked by the command and the page beside it."""


@dataclass(frozen=True, slots=True)
class KeepFree:
    """A volume that the customer wants to keep: two opposite corners of a box along the car's axes, metres."""

    name: str
    low_m: tuple[float, float, float]
    high_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Wishes:
    """The answers; None or empty where nothing was said."""

    taste: str = ""
    seats: tuple[str, ...] = ()
    sound: str = ""
    looks: str = ""
    price: str = ""
    reversible: str = ""
    stock: tuple[str, ...] = ()
    boot_l: Decimal | None = None
    budget: Decimal | None = None
    keep_free: tuple[KeepFree, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types, as ``Job.wishes`` holds them: answers that were given."""
        row = asdict(self)
        row |= {key: str(value) for key, value in row.items() if isinstance(value, Decimal)}
        row["keep_free"] = [
            {"name": item.name, "low_m": list(item.low_m), "high_m": list(item.high_m)} for item in self.keep_free
        ]
        plain = {key: list(value) if isinstance(value, tuple) else value for key, value in row.items()}
        return {key: value for key, value in plain.items() if value not in ("", [], None)}

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> Self:
        """From what a job holds. Raises ``PersonError``."""
        found = read_wishes(kept)
        return cls(**{name: getattr(found, name) for name in cls.__dataclass_fields__})


def read_wishes(answers: Mapping[str, Any]) -> Wishes:
    """Answers by the keys of ``QUESTIONS``, and ``keep_free``. Raises ``PersonError`` that names every one that is none."""
    questions = {item.key: item for item in QUESTIONS}
    wrong = [f"{key}: no question of the interview" for key in answers if key not in questions and key != "keep_free"]
    told: dict[str, Any] = {}
    for key, value in answers.items():
        if value in ("", None, [], ()) or (key not in questions and key != "keep_free"):
            continue
        try:
            told[key] = _keep_free(value) if key == "keep_free" else _answer(questions[key], value)
        except PersonError as error:
            wrong.append(str(error))
    if wrong:
        raise PersonError("\n".join(wrong) + f"\nQuestions are {', '.join(questions)} and keep_free.")
    return Wishes(**told)


def _answer(question: Question, value: Any) -> Any:
    key = question.key
    if question.kind == "choice":
        known = [name for name, _ in question.choices]
        if value not in known:
            raise PersonError(f'{key}: "{str(value)[:40]}" is none of {", ".join(known)}.')
        return value
    if question.kind == "lines":
        lines = value.splitlines() if isinstance(value, str) else value
        if not isinstance(lines, list | tuple) or not all(isinstance(line, str) for line in lines):
            raise PersonError(f"{key}: words are wanted, one on a line.")
        words = tuple(dict.fromkeys(" ".join(line.split()) for line in lines if line.strip()))
        if len(words) > 20 or any(len(word) > 100 for word in words):
            raise PersonError(f"{key}: 20 lines of 100 characters at most.")
        unseen = [word for word in words if not word.isprintable()]
        if unseen:
            raise PersonError(f"{key}: {shown(unseen[0])} holds a sign that nobody sees. Type the words anew.")
        return words
    amount = read_amount(f"{value:f}" if isinstance(value, float) else str(value), what=key)
    if amount <= 0:
        raise PersonError(f"{key}: {amount} is nothing. Give a number above 0, or leave it out.")
    return amount


def _typed(line: str) -> dict[str, Any]:
    """``pram: 2.9, -0.4, 0.3 to 3.6, 0.4, 0.9``"""
    name, _, corners = line.partition(":")
    low, _, high = corners.partition(" to ")
    return {"name": name, "low_m": low.split(","), "high_m": high.split(",")}


def _keep_free(value: Any) -> tuple[KeepFree, ...]:
    rows = []
    if isinstance(value, str):
        value = [_typed(line) for line in value.splitlines() if line.strip()]
    for row in value if isinstance(value, list | tuple) else [value]:
        try:
            name = " ".join(str(row["name"]).split())
            low, high = (tuple(float(number) for number in row[side]) for side in ("low_m", "high_m"))
        except (TypeError, KeyError, ValueError):
            low = high = ()
            name = ""
        span = len(low) == len(high) == 3 and all(
            abs(a) < 20 and abs(b) < 20 and b - a > 1e-3 for a, b in zip(low, high, strict=True)
        )
        if not name or not span:
            raise PersonError(
                "keep_free: a name and two opposite corners in metres are wanted, each number of low_m below that of high_m: "
                '{"name": "pram", "low_m": [2.9, -0.4, 0.3], "high_m": [3.6, 0.4, 0.9]}, or as words, one on a line: '
                "pram: 2.9, -0.4, 0.3 to 3.6, 0.4, 0.9."
            )
        rows.append(KeepFree(name, low, high))  # type: ignore[arg-type]
    return tuple(rows)
