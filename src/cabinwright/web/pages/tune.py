"""What do I type into the processor? Every value in large figures with a tick, the tune, its curves."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from nicegui import run

from cabinwright.desk.tunes import Beside, tunes, tunes_beside
from cabinwright.drawings.picture_svg import draw
from cabinwright.errors import CabinwrightError
from cabinwright.files import write_all
from cabinwright.handover.report_charts import channel_chart, sum_chart, tunes_chart
from cabinwright.handover.settings_page import channel_card
from cabinwright.handover.voice import ABOUT, HEAD, LIMITS, basis_words, voice_picture, voice_rows
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.session import Session
from cabinwright.stages.tuning.settings import Settings
from cabinwright.web.curves import curves
from cabinwright.web.frame import Page, View
from cabinwright.web.jobs import job_panel
from cabinwright.web.parts import box, button, html, sides, table, text
from cabinwright.web.words import _, message

__all__ = ["PAGE"]

TICKS = "keyed.json"


def body(view: View) -> None:
    """Key-in first: that is what one stands there for. Then tuning and curves."""
    try:
        settings = Session(view.desk.folder, view.desk.build).settings()
    except CabinwrightError as error:
        text("p", view.told(error), "empty")
    else:
        _key_in(view, settings)
    text("h2", _("Tune"))
    job_panel(view, "tune", _("Tune from the recordings"))
    _curves(view)
    text("h2", _("Two tunes beside each other"))
    _two(view)


def _values(card: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Label and value of everything to key in for one channel, as on the printed page."""
    yield _("Gain"), card["gain"]
    yield _("Polarity"), card["polarity"]
    yield _("Delay"), f"{card['delay']['ms']} ms  ({card['delay']['cm']} cm, {card['delay']['inches']} in)"
    for edge in card["edges"]:
        if edge["value"]:
            yield edge["kind"], f"{edge['value']} {edge['words']}"
    for group in card["groups"]:
        for row in (row for column in group["columns"] for row in column):
            gain = f"{row['gain']} dB, " if group["has_gain"] else ""
            yield f"{group['title']} {row['number']}", f"{row['frequency']} Hz, {gain}Q {row['q']}"


def _key_in(view: View, settings: Settings) -> None:
    speed = speed_of_sound_m_s()
    ticked = _ticks(view, settings)
    names = [item.name for item in settings.channels]
    held = view.state.get("channel")
    chosen: str = held if held in names else names[0]
    text("h2", _("Key in"))
    text("p", _("Settings {mark}. Mute every output and turn the volume down first.").format(mark=settings.fingerprint))
    with box("div", "row"):
        for item in settings.channels:
            marks = [f"{item.name}/{label}" in ticked for label, _value in _values(channel_card(item, speed))]
            words = f"{item.name}  {sum(marks)}/{len(marks)}{' ✓' if all(marks) else ''}"
            made = button(words, lambda name=item.name: _choose(view, name))
            made.props["aria-pressed"] = str(item.name == chosen).lower()
    channel = settings.channel(chosen)
    with box("div", "key"):
        text("h3", channel.name)
        for label, value in _values(channel_card(channel, speed)):
            _tick(view, settings, f"{channel.name}/{label}", label, value, ticked)


async def _choose(view: View, name: str) -> None:
    view.state["channel"] = name
    await view.draw()


def _tick(view: View, settings: Settings, mark: str, label: str, value: str, ticked: set[str]) -> None:
    async def turn() -> None:
        now = _ticks(view, settings) ^ {mark}
        content = json.dumps({"fingerprint": settings.fingerprint, "done": sorted(now)}, ensure_ascii=False, indent=1)
        await view.attempt(lambda: write_all(view.desk.folder / "out", {TICKS: content + "\n"}))
        await view.draw()

    made = box("button", "tick")
    made.props["type"] = "button"
    made.props["aria-pressed"] = str(mark in ticked).lower()
    made.on("click", lambda _event: turn())
    with made:
        text("span", "☑" if mark in ticked else "☐", "mark").props["aria-hidden"] = "true"
        text("span", label)
        text("span", value, "value")


def _ticks(view: View, settings: Settings) -> set[str]:
    """What was ticked for these very settings; another tune begins anew."""
    try:
        kept = json.loads((view.desk.folder / "out" / TICKS).read_text(encoding="utf-8"))
        same = kept["fingerprint"] == settings.fingerprint
        return {str(mark) for mark in kept["done"]} if same else set()
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _curves(view: View) -> None:
    result = view.state.get("tuned")
    if result is None:

        async def work() -> None:
            view.say(_("Working it out …"))
            view.state["tuned"] = await run.io_bound(view.desk.result, "tuning")
            view.state["voice"] = await run.io_bound(view.desk.result, "voice")
            view.say("")
            if view.state["tuned"] is None:
                needs = view.desk.skipped("tuning") or " ".join(map(message, view.desk.findings("tuning")))
                view.warn(_("No curves yet: ") + needs)
            await view.draw()

        button(_("Show the curves"), work)
        return
    _voice(view)
    for name, found in result.sums.items():
        curves(sum_chart(result, found, wide=True), name)
    for name, item in result.channels.items():
        curves(channel_chart(result, item), name)


def _voice(view: View) -> None:
    """Where a voice in the middle stands: the figure of the report and the book."""
    found, build = view.state.get("voice"), view.desk.build
    if found is None:
        return
    text("h3", _("Where a voice in the middle stands"))
    text("p", _(ABOUT))
    html(draw(voice_picture(build, found)), "drawing")
    table([_(word) for word in HEAD], voice_rows(build, found), caption=_("Where a voice in the middle stands"))
    for line in (*basis_words(found), *map(_, LIMITS)):
        text("p", line, "soft")


def _two(view: View) -> None:
    """Two tunes beside each other: what differs to key in, and what each gives on the recordings of today."""
    known = tunes(view.desk.folder)
    if len(known) < 2:
        text(
            "p",
            _("With a second tune, both can be compared here: every tune that is made on this page is kept."),
            "soft",
        )
        return
    files = list(known)
    words = {file: f"{known[file]} ({file})" for file in files}
    pair: list[str] = view.state.setdefault("pair", [files[1], files[0]])
    pair[:] = [file if file in known else files[0] for file in pair]

    def pick(at: int, file: str) -> None:
        pair[at] = file

    with box("div", "row"):
        for at, label in enumerate((_("From"), _("To"))):
            text("label", label).props["for"] = f"tune-{at}"
            made = box("select", "enter narrow")
            made.props["id"] = f"tune-{at}"
            with made:
                for file in files:
                    text("option", words[file]).props.update({"value": file, "selected": file == pair[at]})
            made.on("change", lambda event, at=at: pick(at, event.args), js_handler="(e) => emit(e.target.value)")

        async def compare() -> None:
            told.text = _("Working out both …")
            one, other = pair
            build, folder = view.desk.build, view.desk.folder
            found = await view.attempt(lambda: tunes_beside(build, folder, one, other))
            view.state["beside"] = found and (known[one], known[other], found)
            told.text = ""
            await view.draw()

        button(_("Compare"), compare)
    told = text("p", "", "soft")
    told.props["role"] = "status"
    if view.state.get("beside"):
        _told(*view.state["beside"])


def _told(one: str, other: str, found: Beside) -> None:
    for name, sums in found.sums.items():
        curves(tunes_chart(found.band_centres_hz, sums, one=one, other=other), f"{name}: {one}, {other}")
    rows = [(item.where, *sides(item)) for item in found.differences]
    table((_("What"), one, other), rows, caption=_("To key in differently"))


PAGE = Page(
    "/tune",
    _("Tune"),
    _("What do I type into the processor?"),
    body,
    (),
    ("channels", "processor", "tuning", "voice"),
)
