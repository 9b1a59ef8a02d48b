"""Recordings that were made elsewhere and put into the build: whose each is, what it is worth, and its row in the build."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterable
from dataclasses import dataclass

from cabinwright.desk.changes import Change
from cabinwright.desk.desk import Desk
from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.measure.guide import Heard, Item, Round
from cabinwright.stages import survey

__all__ = ["Dropped", "Inbox", "whose"]

FOLDER = "recordings"
ENDINGS = (".wav", ".flac")


@dataclass(frozen=True)
class Dropped:
    """One file, looked at."""

    file: str
    channel: str  #: "" where its name does not tell
    position: str
    heard: Heard | None  #: None where nobody knows whose it is
    joined: bool
    note: str  #: what was done with it, or what is to be decided

    @property
    def good(self) -> bool:
        """Whether the tune can use it."""
        return self.heard is not None and self.heard.verdict.good


class Inbox:
    """The recordings of one build, whether it lists them or not. May be called from any thread; judging takes turns."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._round = Round(desk.folder)
        self._turn = threading.Lock()

    def strays(self) -> tuple[str, ...]:
        """Files in ``recordings/`` that no table of the build lists."""
        build, folder = self.desk.build, self.desk.folder / FOLDER
        takes = [row.file for row in (*build.recordings, *build.verification_recordings)]
        listed = {file.casefold() for file in (*takes, *(row.file for row in build.factory_recordings))}
        names = sorted(item.name for item in folder.iterdir()) if folder.is_dir() else []
        files = (f"{FOLDER}/{name}" for name in names if name.lower().endswith(ENDINGS) and not name.startswith("."))
        return tuple(file for file in files if file.casefold() not in listed)

    def named(self, file: str) -> tuple[str, str]:
        """Channel and position that a file's name tells; "" for what it does not."""
        build = self.desk.build
        channels, positions = build.channels, build.microphone_positions
        return whose(file, (item.name for item in channels)), whose(file, (item.name for item in positions))

    def take(self, file: str, channel: str = "", position: str = "") -> Dropped:
        """Judge a file, as the take that is said or its name tells; list it where it is good and nothing is in its place."""
        told = self.named(file)
        channel, position = channel or told[0], position or told[1]
        if not channel or not position:
            return Dropped(file, channel, position, None, False, "Its name does not tell the channel and the position.")
        heard = self.look(file, channel, position)
        other = self.listed(channel, position)
        if other and other != file:
            return Dropped(file, channel, position, heard, False, f"{other} is listed for this take already.")
        if not heard.verdict.good:
            return Dropped(file, channel, position, heard, False, "Not listed: the tune would leave it out.")
        try:
            self.join(file, channel, position)
        except CabinwrightError as error:
            return Dropped(file, channel, position, heard, False, str(error))
        return Dropped(file, channel, position, heard, True, "Listed in build.toml.")

    def look(self, file: str, channel: str, position: str) -> Heard:
        """The verdict on a file as this take, beside all others. Nothing is written."""
        build = self.desk.build
        try:  # without an answer of the survey arrivals are held against nothing
            build = survey.locate(build)
        except PersonError:
            build = self.desk.build
        with self._turn:
            return self._round.hear(build, Item("tuning", channel, position), file)

    def listed(self, channel: str, position: str) -> str:
        """The file that the build lists for a take, or nothing."""
        rows = self.desk.build.recordings
        return next((row.file for row in rows if (row.channel, row.position) == (channel, position)), "")

    def join(self, file: str, channel: str, position: str) -> Change:
        """The take's row in the build: a new one, or this file in the one that is there. Raises as ``Desk.edit``."""
        by, why = "screen: recordings", f"recording of {channel} at {position}"
        for number, row in enumerate(self.desk.build.recordings):
            if (row.channel, row.position) == (channel, position):
                return self.desk.edit(f"recordings[{number}].file", file, by=by, why=why)
        new = {"channel": channel, "position": position, "kind": "sweep", "file": file}
        return self.desk.add("recordings", new, by=by, why=why)


def whose(file: str, names: Iterable[str]) -> str:
    """The longest of ``names`` that a file's name holds, however its words are parted; "" where none or several do."""
    stem = file.rpartition("/")[2].rpartition(".")[0].casefold()
    found = sorted((name for name in names if _pattern(name).search(stem)), key=len)
    if len(found) > 1 and len(found[-2]) == len(found[-1]):
        return ""
    return found[-1] if found else ""


def _pattern(name: str) -> re.Pattern[str]:
    """Words and numbers in their order, with anything or nothing between: "p1" stands in "x_P 1" and not in "p12"."""
    parts = re.findall(r"\d+|[^\W\d_]+", name.casefold())
    body = r"[\W_]*".join(map(re.escape, parts)) or r"(?!)"
    before = r"(?<!\d)" if parts and parts[0].isdigit() else r"(?<![^\W\d_])"
    after = r"(?!\d)" if parts and parts[-1].isdigit() else r"(?![^\W\d_])"
    return re.compile(before + body + after)
