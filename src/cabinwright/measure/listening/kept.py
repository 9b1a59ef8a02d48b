"""What was made to be heard, and what came of blind comparisons, kept in the build's folder.

``out/listening/heard.json`` is replaced by the next track; ``listening/blind.json`` grows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from cabinwright.errors import RefusedError
from cabinwright.files import write_all
from cabinwright.measure.listening.blind import Blind, told_result
from cabinwright.measure.listening.render import Heard, Rendered

__all__ = ["BLIND_FILE", "HEARD_FILE", "Trial", "heard_text", "read_heard", "read_trials"]

HEARD_FILE, BLIND_FILE = "heard.json", "blind.json"
MOST_TRIED = 1000  #: comparisons that are kept


def heard_text(made: Rendered, told: Mapping[str, object]) -> str:
    """JSON of what was written, with ``told`` about it."""
    rows = [
        {
            "version": item.version,
            "file": item.file.name,
            "loudness_lufs": round(item.loudness_lufs, 2),
            "gain_db": round(item.gain_db, 2),
            "true_peak_db": round(item.true_peak_db, 2),
        }
        for item in made.versions
    ]
    whole = {**told, "track_lufs": round(made.track_lufs, 2), "seconds": round(made.seconds, 3), "versions": rows}
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def read_heard(folder: Path) -> tuple[dict[str, Any], Rendered] | None:
    """What was told and written last into ``folder``; None where there is nothing, or its files are gone."""
    try:
        told = json.loads((folder / HEARD_FILE).read_text(encoding="utf-8"))
        rows = tuple(
            Heard(
                str(row["version"]),
                folder / Path(str(row["file"])).name,
                float(row["loudness_lufs"]),
                float(row["gain_db"]),
                float(row["true_peak_db"]),
            )
            for row in told.pop("versions")
        )
        made = Rendered(float(told["track_lufs"]), float(told["seconds"]), rows)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return (told, made) if len(rows) > 1 and all(item.file.is_file() for item in rows) else None


def read_trials(file: Path) -> list[dict[str, Any]]:
    """Every blind comparison of a build, oldest first. Raises ``RefusedError`` where the file is damaged."""
    if not file.exists():
        return []
    try:
        rows = json.loads(file.read_text(encoding="utf-8"))["comparisons"]
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise TypeError
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise RefusedError(
            f"{file}: cannot be read as comparisons by ear. Move it away, or put a copy back; nothing was written over."
        ) from error
    return rows


class Trial:
    """One blind comparison that is kept with every answer, so that one that was broken off is seen too."""

    def __init__(self, blind: Blind, file: Path, *, about: Mapping[str, object], now: datetime) -> None:
        self.blind, self._file = blind, file
        self._row = {
            "when": now.astimezone().isoformat(timespec="milliseconds"),
            **about,
            "kind": blind.kind,
            "versions": list(blind.versions),
            "trials": blind.trials,
        }
        self._keep()

    def answer(self, label: str) -> None:
        """As ``Blind.answer``; kept at once. Raises ``RefusedError``, ``OutputError``."""
        self.blind.answer(label)
        self._keep()

    @property
    def words(self) -> str:
        """The result, or how far it came."""
        return told_result(self.blind) if self.blind.done else unfinished(self.blind)

    def _keep(self) -> None:
        rows: Sequence[dict[str, Any]] = [
            row for row in read_trials(self._file) if row.get("when") != self._row["when"]
        ]
        if len(rows) >= MOST_TRIED:
            raise RefusedError(f"{self._file}: holds {MOST_TRIED} comparisons. Move it away to begin another.")
        row: dict[str, object] = {**self._row, "answered": len(self.blind.answers), "result": self.words}
        if self.blind.done:
            found = self.blind.result()
            row |= {"right": found.right, "p": found.p, "low": found.low, "high": found.high}
        text = json.dumps({"comparisons": [*rows, row]}, ensure_ascii=False, indent=1) + "\n"
        write_all(self._file.parent, {self._file.name: text})


def unfinished(blind: Blind) -> str:
    """Words for one that was broken off: it shows nothing, whatever the answers were."""
    return f"Not finished: {len(blind.answers)} of {blind.trials} answered. It shows nothing."
