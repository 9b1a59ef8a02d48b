"""What is still to be recorded? Files dropped on the page, judged and listed; every take to hear and see."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any
from urllib.parse import quote

from nicegui import events, run, ui

from cabinwright.desk.dropped import Dropped, Inbox
from cabinwright.desk.take_picture import take_chart
from cabinwright.errors import CabinwrightError
from cabinwright.physics.response import RecordedResponses, Verdict
from cabinwright.session import Session
from cabinwright.web.curves import curves
from cabinwright.web.frame import Page, View
from cabinwright.web.parts import box, button, drop_zone, text
from cabinwright.web.uploads import HEARD, LARGEST_FILE, MOST_FILES, keep
from cabinwright.web.words import _, counted

__all__ = ["PAGE"]

SIGNS = {
    "good": ("✓", _("used")),
    "open": ("○", _("not judged yet")),
    "bad": ("✗", _("left out")),
    "none": ("–", _("missing")),
}
Take = tuple[str, str]  #: channel and position


def body(view: View) -> Callable[[], None]:
    """What is missing, the drop, files in no table, the grid, one take. The drop stays while the rest is drawn anew."""
    inbox = Inbox(view.desk)
    dropped: dict[str, Dropped] = view.state.setdefault("dropped", {})
    answer = box("div")
    _drop(view, inbox, dropped)
    rest = box("div")

    def show() -> None:
        judged = _judged(view, lambda: show())
        for part in (answer, rest):
            part.clear()
        with answer:
            text("p", _answer(view, judged), "figure")
            if isinstance(judged, str):
                text("p", judged, "empty")
        with rest:
            verdicts = judged.verdicts if isinstance(judged, RecordedResponses) else ()
            _decide(view, inbox, dropped)
            _grid(view, {(item.channel, item.position): item for item in verdicts}, lambda: show())
            _one(view, inbox)

    show()
    return show


def _answer(view: View, judged: RecordedResponses | str | None) -> str:
    build = view.desk.build
    listed = {(row.channel, row.position) for row in build.recordings}
    missing = sum((c.name, p.name) not in listed for c in build.channels for p in build.microphone_positions)
    if not build.channels or not build.microphone_positions:
        return _("Channels and microphone positions come first.")
    if judged is None and build.recordings:
        return _("Judging the recordings …")
    if isinstance(judged, str):
        return "✗ " + _("The takes that are listed cannot be judged together:")
    bad = 0 if not isinstance(judged, RecordedResponses) else sum(not item.good for item in judged.verdicts)
    told = [counted(bad, "take to record again.", "takes to record again.")] if bad else []
    told += [counted(missing, "take missing.", "takes missing.")] if missing else []
    return "✗ " + " ".join(told) if told else _("✓ Every take is there and good.")


def _judged(view: View, again: Callable[[], None]) -> RecordedResponses | str | None:
    """Verdicts as the tune has them; None while they are worked out, for that takes seconds."""
    build = view.desk.build
    held = view.state.get("recorded")
    if held is not None and held[0] == build.recordings:
        answer: RecordedResponses | str = held[1]
        return answer
    if not build.recordings:
        return None

    async def judge() -> None:
        try:
            found: Any = await run.io_bound(Session(view.desk.folder, build).recordings)
        except CabinwrightError as error:
            found = str(error)
        view.state["recorded"] = (build.recordings, found)
        if view.desk.build.recordings == build.recordings:
            again()

    if view.state.get("judging") != build.recordings:
        view.state["judging"] = build.recordings
        ui.timer(0.02, judge, once=True)
    return None


# Files that come


def _drop(view: View, inbox: Inbox, dropped: dict[str, Dropped]) -> None:
    turn = asyncio.Lock()
    refused: list[str] = []

    async def taken(event: events.UploadEventArguments) -> None:
        async with turn:
            try:
                file = keep(view.desk.folder, event.file.name, await event.file.read())
                told.text = _("Judging {name} …").format(name=file)
                answer = await run.io_bound(partial(inbox.take, file))
                if answer is not None:
                    dropped[file] = answer
            except CabinwrightError as error:
                refused.append(str(error))
                view.warn("\n".join(refused[-8:]))
            told.text = ""
        with made:
            if dropped and not refused:
                view.say(_said(dropped))
            await view.draw()

    made = ui.upload(
        multiple=True, auto_upload=True, max_file_size=LARGEST_FILE, max_files=MOST_FILES, on_upload=taken,
        on_rejected=lambda: view.warn(_("Too large or too many: nothing of that was taken.")),
    )  # fmt: skip
    choosers: dict[str, tuple[str, dict[str, Any]]] = {
        "files": (_("Choose files"), {"multiple": True, "accept": ".wav,.flac"}),
        "folder": (_("Choose a folder"), {"multiple": True, "webkitdirectory": True}),
    }
    drop_zone(made, _("Drop a folder of recordings here: WAV or FLAC."), choosers)
    told = text("p", "", "soft")
    told.props["role"] = "status"


def _said(dropped: dict[str, Dropped]) -> str:
    joined = sum(item.joined for item in dropped.values())
    return _("{joined} of {all} files are good and listed in the build.").format(joined=joined, all=len(dropped))


def _decide(view: View, inbox: Inbox, dropped: dict[str, Dropped]) -> None:
    """Files in ``recordings/`` that the build does not list: what they are worth, and what a person has to say about them."""
    strays = inbox.strays()
    just = [one for one in dropped.values() if one.joined]
    if just:
        with box("details"):
            text("summary", counted(len(just), "file came and is listed", "files came and are listed"), "act")
            for one in just:
                text("p", f"✓ {one.file}: {one.channel}, {one.position}")
    if not strays:
        return
    text("h2", _("Files that no take lists yet"))
    told = [file for file in strays if all(inbox.named(file))]
    if len(told) > 1:
        _judge_all(view, inbox, dropped, told)
    for number, file in enumerate(strays):
        item: Dropped | None = dropped.get(file)
        with box("section", "tile stray"):
            text("p", file, "where")
            if item is not None:
                verdict = item.heard.verdict if item.heard is not None else None
                if verdict is not None:
                    text("p", f"{'✓' if verdict.good else '✗'} {verdict.reason}".strip())
                text("p", item.note, "soft")
            _ask(view, inbox, dropped, number, file)


def _judge_all(view: View, inbox: Inbox, dropped: dict[str, Dropped], files: Sequence[str]) -> None:
    """Every file whose name tells its take at once: after a drop, what a file was held against may have come later."""

    async def judge() -> None:
        for file in files:
            progress.text = _("Judging {name} …").format(name=file)
            answer = await view.attempt(partial(inbox.take, file))
            if answer is not None:
                dropped[file] = answer
        view.say(_said({file: dropped[file] for file in files if file in dropped}))
        await view.draw()

    button(_("Judge and list all whose names tell"), judge)
    progress = text("p", "", "soft")
    progress.props["role"] = "status"


def _ask(view: View, inbox: Inbox, dropped: dict[str, Dropped], number: int, file: str) -> None:
    build = view.desk.build
    known = dropped.get(file)
    chosen = [known.channel, known.position] if known is not None else list(inbox.named(file))

    def pick(at: int, value: str) -> None:
        chosen[at] = value

    async def judge() -> None:
        answer = await view.attempt(lambda: inbox.take(file, *chosen))
        if answer is not None:
            dropped[file] = answer
            view.say(f"{file}: {answer.note}")
            await view.draw()

    with box("div", "row"):
        for at, (words, names) in enumerate(
            (
                (_("Channel"), [row.name for row in build.channels]),
                (_("Position"), [row.name for row in build.microphone_positions]),
            )
        ):
            made = box("select", "enter narrow")
            made.props["aria-label"] = f"{words}: {file}"
            with made:
                for name in ["", *names]:
                    option = text("option", name or f"{words} …")
                    option.props.update({"value": name, "selected": name == chosen[at]})
            made.on("change", lambda event, at=at: pick(at, event.args), js_handler="(e) => emit(e.target.value)")
        button(_("Judge and list it"), judge, says=_("Judge and list ") + file)
        if known is not None and known.heard is not None and not known.joined:
            button(
                _("List it all the same"),
                lambda: view.do(lambda: inbox.join(file, *chosen)),
                says=_("List all the same: ") + file,
            )
    _listen(f"stray-{number}", file)


# Takes that are listed


def _grid(view: View, verdicts: dict[Take, Verdict], again: Callable[[], None]) -> None:
    build = view.desk.build
    listed = {(row.channel, row.position): row.file for row in reversed(build.recordings)}
    text("h2", _("Every channel at every position"))
    chosen: Take | None = view.state.get("take")

    def choose(take: Take) -> None:
        view.state["take"] = None if take == view.state.get("take") else take
        again()

    for channel in build.channels:
        with box("div", "takes") as row:
            row.props.update({"role": "group", "aria-label": channel.name})
            text("p", channel.name, "where")
            with box("div", "row"):
                for position in build.microphone_positions:
                    take = (channel.name, position.name)
                    verdict = verdicts.get(take)
                    state = (
                        "none"
                        if take not in listed
                        else "open"
                        if verdict is None
                        else "good"
                        if verdict.good
                        else "bad"
                    )
                    sign, word = SIGNS[state]
                    made = button(f"{sign} {position.name}", partial(choose, take), f"take {state}")
                    made.props["aria-label"] = f"{channel.name}, {position.name}: {word}"
                    made.props["title"] = word
                    made.props["aria-pressed"] = str(take == chosen).lower()
    text("p", "   ".join(f"{sign} {word}" for sign, word in SIGNS.values()), "soft")
    bad = [item for item in verdicts.values() if not item.good]
    if bad:
        text("h2", _("Record these again"))
        with box("ul", "findings"):
            for item in bad:
                with box("li", "finding caution"):
                    text("strong", f"✗ {item.channel}, {item.position}", "severity")
                    text("p", item.reason)
                    text("p", item.file, "remedy")


def _one(view: View, inbox: Inbox) -> None:
    """One take: its verdict, its sound, its picture."""
    take: Take | None = view.state.get("take")
    if take is None:
        return
    channel, position = take
    with box("section", "key") as place:
        text("h2", f"{channel}, {position}", "first")
        file = inbox.listed(channel, position)
        if not file:
            text("p", _("Not recorded yet. Play {channel} alone, with the microphone at {position}.").format(
                channel=channel, position=position), "empty")  # fmt: skip
            return
        text("p", file, "soft")
        _listen("take", file)
        told = text("p", _("Looking at it …"))

    async def look() -> None:
        answer = await view.attempt(lambda: inbox.look(file, channel, position))
        if answer is None or place.is_deleted or view.state.get("take") != take:
            return
        good = answer.verdict.good
        told.text = f"{'✓' if good else '✗'} {answer.verdict.reason or _('good')}"
        with place:
            for words in (answer.cure, *answer.remarks):
                if words:
                    text("p", words, "remedy")
            if answer.picture is not None:
                curves(take_chart(answer.picture, f"{channel}, {position}"), f"{channel}, {position}")

    ui.timer(0.02, look, once=True)


def _listen(name: str, file: str) -> None:
    """Sound, fetched when it is asked for. Beside it the usual caution: a sweep is louder than it looks."""
    made = box("audio")
    made.props.update({"id": f"sound-{name}", "controls": True, "preload": "none", "aria-label": _("Hear ") + file})
    made.props["src"] = f"{HEARD}?file={quote(file)}"
    text("p", _("Turn the volume down before a sweep is played."), "soft")


PAGE = Page(
    "/recordings", _("Recordings"), _("What is still to be recorded?"), body, (),
    ("channels", "microphone_positions", "recordings", "verification_recordings", "tuning"),
)  # fmt: skip
