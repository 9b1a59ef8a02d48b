"""What is to be recorded in which file: the list to tick off, and the tables to paste into ``build.toml``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from cabinwright.build.codec import toml_string
from cabinwright.build.document import Build, Channel
from cabinwright.measure.roles import speakers_of

__all__ = ["all_impulses", "care_of", "plain_name", "recording_list"]


@dataclass(frozen=True, slots=True)
class Row:
    """One channel at one position, with the file that holds it or is to hold it."""

    channel: Channel
    position: str
    file: str
    kind: str  #: "sweep" or "impulse"
    listed: bool  #: whether build.toml names it


def all_impulses(build: Build) -> bool:
    """Whether this build goes by impulse responses, so that no sweep is needed at all."""
    return bool(build.recordings) and all(row.kind == "impulse" for row in build.recordings)


def recording_list(build: Build) -> str:
    """A table of every channel at every position, and the lines that ``build.toml`` still lacks, as HTML."""
    rows = list(_rows(build))
    if not rows:
        return "<p>Name channels and microphone positions in build.toml, and this table lists every file to record.</p>"
    head = "".join(f"<th>{word}</th>" for word in ("Position", "Channel", "File", "Care", "Done"))
    body = "".join(_line(build, row) for row in rows)
    missing = [row for row in rows if not row.listed]
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{_to_paste(build, missing)}"


def _rows(build: Build) -> Iterator[Row]:
    """Position by position, as they are recorded."""
    known = {(row.channel, row.position): row for row in reversed(build.recordings)}  # the first of a pair counts
    taken = {row.file.casefold() for row in build.recordings}
    kind = "impulse" if all_impulses(build) else "sweep"
    for place in build.microphone_positions:
        for channel in build.channels:
            found = known.get((channel.name, place.name))
            if found is not None:
                yield Row(channel, place.name, found.file, found.kind, True)
                continue
            stem = f"recordings/{plain_name(channel.name)}_{plain_name(place.name)}"
            file, number = f"{stem}.wav", 2
            while file.casefold() in taken:  # names that differ by signs only, or a file the build gives to another
                file, number = f"{stem}_{number}.wav", number + 1
            taken.add(file.casefold())
            yield Row(channel, place.name, file, kind, False)


def _line(build: Build, row: Row) -> str:
    care = "impulse: no sweep needed" if row.kind == "impulse" else care_of(build, row.channel)
    cells = (row.position, row.channel.name, row.file, care, "☐")
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def care_of(build: Build, channel: Channel) -> str:
    """What must be on in the processor while this channel is swept."""
    if channel.recorded_with:
        corners = (f"{item.kind} at {item.frequency_hz:g} Hz" for item in channel.recorded_with)
        return " and ".join(corners) + " on, as recorded_with says"
    roles = {speaker.role for speaker in speakers_of(build, channel.name)}
    if "tweeter" in roles:
        return "protective high-pass on; name it as recorded_with"
    return ""


def _to_paste(build: Build, missing: list[Row]) -> str:
    if not missing:
        return "<p>build.toml names all of these files.</p>"
    count = f"{len(missing)} of these files are" if len(missing) > 1 else "One of these files is"
    words = f"{count} not in build.toml yet. Paste this at its end when they are recorded; one click selects it all."
    if missing[0].kind == "sweep" and (build.tuning is None or build.tuning.timing is None):
        words += (
            " Say under [tuning] how recordings keep time as well, with a line such as timing = &quot;loopback&quot;."
        )
    blocks = "\n".join(
        f"[[recordings]]\nchannel = {toml_string(row.channel.name)}\nposition = {toml_string(row.position)}\n"
        f"kind = {toml_string(row.kind)}\nfile = {toml_string(row.file)}\n"
        for row in missing
    )
    return f'<h2>For build.toml</h2><p>{words}</p><pre class="paste">{escape(blocks, quote=False)}</pre>'


def plain_name(name: str) -> str:
    """A name as part of a file name that every system accepts."""
    kept = "".join(letter if letter.isalnum() else "-" for letter in name)
    return kept.strip("-") or "channel"
