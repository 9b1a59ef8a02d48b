"""Is every take good? One large prompt after the other, one key for each answer, the verdict with its picture."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from itertools import count
from typing import Any

from nicegui import run, ui

from cabinwright.desk import Recorder
from cabinwright.desk.take_picture import take_chart
from cabinwright.errors import CabinwrightError
from cabinwright.measure.guide.words import CAUTIONS
from cabinwright.measure.sound_card import CardSettings, load_settings
from cabinwright.web.curves import curves
from cabinwright.web.frame import Page, View
from cabinwright.web.pages import record_card, record_checks
from cabinwright.web.parts import box, button, choice, table, text
from cabinwright.web.recording import begin, end, round_of
from cabinwright.web.words import _

__all__ = ["PAGE"]

LOOK_S = 0.1
JOINING = 20  #: looks after a good take in which it joins the build
SIGNS = {"go": _("Enter"), "again": "A", "skip": "S", "keep": "K", "stop": _("any key")}
SOUND = ("ambient", "ramp", "sweep", "waiting")
SPOKEN = ("ready", "countdown", "noisy", "verdict", "stopped", "finished")
KINDS = {
    "tuning": _("Takes for the tune"),
    "verification": _("Again, through the loaded settings"),
    "factory": _("The radio's outputs"),
}
COUNTDOWNS = ("0", "5", "10", "20")
FLOOR_DB = 70.0  #: length of the level's bar


def body(view: View) -> Callable[[], None]:
    """The round that is on, or what is needed before one can begin.

    A round is drawn anew only where it moved on: a key that is pressed meanwhile would be lost with its button.
    """
    holder = box("div")
    drawn: list[object] = []

    def again() -> None:
        recorder = round_of(view.desk)
        now = recorder.view if recorder is not None else None
        key = (recorder, now.step, now.item, now.done, now.last) if now is not None else None
        if key is not None and drawn and _same(drawn[0], key):
            return
        drawn[:] = [key]
        holder.clear()
        with holder:
            if recorder is None:
                _before(view)
            else:
                _round(view, recorder)

    again()
    return again


def _same(one: object, other: tuple[object, ...]) -> bool:
    """Verdicts hold arrays, which are compared by what they are, not by what is in them."""
    return isinstance(one, tuple) and all(
        a is b or (isinstance(a, (str, int)) and a == b) for a, b in zip(one, other, strict=True)
    )


# Before


def _before(view: View) -> None:
    try:
        chosen = load_settings()
    except CabinwrightError as error:
        chosen = None
        text("p", str(error), "alert")
    _cautions()
    text("h2", _("What is recorded"))
    kind = view.state.setdefault("kind", "tuning")
    named = {words: value for value, words in KINDS.items()}
    choice(_("Round"), tuple(named), KINDS[kind], lambda words: _keep(view, "kind", named[words]))
    if kind == "factory":
        record_card.typed(_("Steps of the radio's volume, for example 10, 20, 30"), view, "volumes")
    else:
        who = {_("This computer plays"): "", _("The car plays, from a stick or a disc"): "car"}
        now = next(words for words, value in who.items() if value == view.state.setdefault("player", ""))
        choice(_("Played by"), tuple(who), now, lambda words: _keep(view, "player", who[words]))
        if view.state["player"]:
            words = _("Put sweep.wav onto the stick (cabinwright sweep writes it), and start it when you are asked to.")
            text("p", words + " " + _("Start and drift come from its markers."), "soft")
    seconds = view.state.setdefault("countdown", "5")
    choice(_("Seconds to leave the car"), COUNTDOWNS, seconds, lambda words: _keep(view, "countdown", words))
    voices = {_("Silent"): "", _("Spoken, too"): "yes"}
    voice = next(words for words, value in voices.items() if value == view.state.setdefault("voice", ""))
    choice(_("Prompts"), tuple(voices), voice, lambda words: _keep(view, "voice", voices[words]))
    with box("div", "row"):
        if chosen is not None:
            button(_("Begin"), lambda: _begin(view), "main", says=_("Begin the round, where it was left"))
    record_card.card_part(view, chosen)
    if chosen is not None:
        record_checks.checks_part(view, chosen)


def _cautions() -> None:
    with box("ul", "findings"):
        for words in CAUTIONS:
            with box("li", "finding caution"):
                text("strong", _("▲ Caution"), "severity")
                text("p", _(words))


async def _keep(view: View, key: str, value: str) -> None:
    view.state[key] = value
    await view.draw()


async def _begin(view: View) -> None:
    state = view.state
    volumes = [int(found) for found in re.findall(r"\d{1,4}", state.get("volumes", ""))]
    made = await view.attempt(
        lambda: begin(
            view.desk,
            state["kind"],
            by_car=bool(state.get("player")),
            countdown_s=float(state["countdown"]),
            volumes=volumes if state["kind"] == "factory" else (),
        )
    )
    if made is not None:
        view.say(" ".join(made.notes) or _("Begun. Nothing plays before you say so."))
        await view.draw()


# The round


def _round(view: View, recorder: Recorder) -> None:
    now = recorder.view
    warn = now.step in ("verdict", "stopped", "noisy")
    with box("section", "stage" + (" warn" if warn else " sound" if now.step in SOUND else "")) as stage:
        stage.props["aria-label"] = _("Now")
        text("p", _("{done} of {total} recorded").format(done=now.done, total=now.total), "soft")
        text("p", ("✗ " if warn else "") + _(now.headline), "headline").props["aria-live"] = "polite"
        counter = text("p", str(now.seconds), "count") if now.step == "countdown" else None
        for words in now.lines:
            text("p", _(words[0].upper() + words[1:]), "line")
        if now.step in ("ambient", "ramp", "sweep", "waiting", "countdown"):
            share, level, told = _meters()
        else:
            share = level = told = None
        with box("div", "row"):
            for number, (key, what) in enumerate(now.keys.items()):
                _press(view, recorder, key, what, main=number == 0)
    _last(recorder)
    _grid(recorder)
    with box("div", "row below"):
        button(_("End for today"), lambda: _end(view))
    with box("details"):
        text("summary", _("▲ Hearing, loudspeakers, engine"), "act")
        for caution in CAUTIONS:
            text("p", _(caution))
    _watch(view, recorder, [part for part in (counter, share, level, told) if part is not None])


def _meters() -> tuple[Any, Any, Any]:
    """How far this step is, and how loud it is: moved in place, and hidden from readers, who hear the prompts instead."""
    bars = []
    for _name in ("share", "level"):
        with box("div", "meter") as made:
            made.props["aria-hidden"] = "true"
            bars.append(box("span"))
    words = text("p", "", "line")
    words.props["aria-hidden"] = "true"
    return bars[0], bars[1], words


def _press(view: View, recorder: Recorder, key: str, what: str, *, main: bool) -> None:
    async def act() -> None:
        await run.io_bound(recorder.press, key)
        await view.draw()

    made = button("", act, "press main" if main else "press", says=_(what))
    made.props["data-key"] = key
    made.props["aria-keyshortcuts"] = SIGNS[key] if key != "stop" else "Escape"
    with made:
        text("span", _(what[0].upper() + what[1:]))
        text("small", SIGNS[key])


def _last(recorder: Recorder) -> None:
    """What the last take was worth, and why."""
    last = recorder.view.last
    if last is None or recorder.view.step in (*SOUND, "countdown"):
        return
    name = f"{last.verdict.channel} {last.verdict.position}".strip()
    mark = _("✓ good") if last.verdict.good else _("✗ not good")
    text("h2", f"{mark}: {name}")
    if recorder.view.step != "verdict":  # there it stands above, and larger
        text("p", last.verdict.reason)
    for words in last.remarks:
        text("p", "● " + words, "soft")
    for bad in last.others:
        words = _("Beside it, {channel} at {position} turns out bad: {reason}")
        text("p", words.format(channel=bad.channel, position=bad.position, reason=bad.reason), "alert")
    if last.picture is not None:
        curves(take_chart(last.picture, name), _("Heard, and left of the noise: ") + name)


def _grid(recorder: Recorder) -> None:
    """Every take of the round at a glance."""
    states = recorder.guide.states
    item = recorder.view.item
    marks = {"good": _("✓ good"), "open": _("to do"), "skipped": _("later")}
    columns = list(dict.fromkeys(one.position or str(one.volume or "") for one, _state in states))
    rows: dict[str, list[str]] = {}
    for one, state in states:
        row = rows.setdefault(one.channel, ["" for _column in columns])
        column = columns.index(one.position or str(one.volume or ""))
        row[column] = _("▶ now") if item is not None and one.name == item.name else marks[state]
    with box("div", "grid"):
        table(
            (_("Channel"), *(column or _("Capture") for column in columns)),
            [(channel, *cells) for channel, cells in rows.items()],
            caption=_("This round, in the order that spares walking"),
        )


async def _end(view: View) -> None:
    await run.io_bound(end, view.desk)
    view.say(_("Ended. Whatever was recorded stays; “Begin” goes on at the same take."))
    await view.draw()


def _watch(view: View, recorder: Recorder, parts: list[Any]) -> None:
    """Look at the round: a new step draws the page anew, a running one moves its bars."""
    seen = (recorder.view.step, recorder.view.item, recorder.view.done)
    told = [False]
    version, ticks = [-1], count()

    async def look() -> None:
        if round_of(view.desk) is not recorder:
            return
        now = recorder.view
        if not told[0]:
            told[0] = True
            spoken = f"{now.headline}. {' '.join(now.lines)}" if view.state.get("voice") and now.step in SPOKEN else ""
            ui.run_javascript(f"cabinwrightRecord.say({json.dumps(spoken)})")
        joined = now.last is not None and now.last.verdict.good and now.step in ("ready", "finished")
        if joined and now.last is not None and next(ticks) < JOINING and view.desk.version != version[0]:
            version[0] = view.seen = view.desk.version  # the take that joined the build changed it, nobody elsewhere
            view.say(_("✓ good: {name}").format(name=f"{now.last.verdict.channel} {now.last.verdict.position}".strip()))
        if (now.step, now.item, now.done) != seen:
            if now.step in ("verdict", "stopped", "noisy"):
                view.say("")
            await view.draw()
            return
        *counter, share, level, words = parts if len(parts) > 2 else (None, None, None)
        if share is None or level is None or words is None:
            return
        if counter:
            counter[0].text = str(now.seconds)
        loud = min(1.0, max(0.0, 1.0 + (now.level_db - _full(recorder.settings)) / FLOOR_DB))
        share.style(f"width: {100.0 * now.share:.0f}%")
        level.style(f"width: {100.0 * loud:.0f}%")
        words.text = f"{now.level_db:.0f} {now.level_unit}"

    ui.timer(LOOK_S, look)


def _full(settings: CardSettings) -> float:
    """Where the level's bar is full: full scale, or the level at which it stops."""
    return 0.0 if settings.unit_level_db is None else settings.loudest_db


PAGE = Page("/record", _("Record"), _("Is every take good?"), body)
