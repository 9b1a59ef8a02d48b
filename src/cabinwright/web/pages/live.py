"""What do I hear now? Third octaves, lines and levels as the sound comes; what lies between loudspeaker and microphone; all
of it frozen, compared and taken away."""

from __future__ import annotations

import json
from typing import Any

from nicegui import run, ui

from cabinwright.desk.live import EVERYTHING, SHOWS, Live
from cabinwright.desk.live_picture import chart_of, inks
from cabinwright.drawings.svg import render
from cabinwright.errors import CabinwrightError
from cabinwright.web.curves import csv_of
from cabinwright.web.frame import Page, View
from cabinwright.web.live_stream import listen, live_of
from cabinwright.web.parts import box, button, choice, table, text
from cabinwright.web.words import _

__all__ = ["PAGE"]

NAMES = {"thirds": _("Third octaves"), "lines": _("Narrow lines"), "transfer": _("From loudspeaker to microphone")}
AVERAGED = {"F": _("Fast"), "S": _("Slow"), "mean": _("Since the beginning")}


def body(view: View) -> None:
    """Cautions and the two buttons that matter first, then the curves, then what to do with them."""
    live = live_of(view.desk)
    on = live is not None and live.view.running.on
    with box("div", "row"):
        if on:
            button(_("Stop listening"), lambda: _stop(view), "main")
        else:
            button(_("Listen"), lambda: _start(view), "main")
        if live is not None and live.view.running.noise:
            button(_("■ Silence"), lambda: _ask(view, live.view.noise_off, _("Silent.")), "main")
        _cautions()
    if live is not None and _remark(live):
        text("p", _remark(live), "soft")
    if live is None:
        text("p", _("Press “Listen”. Nothing is played until you ask for it, and nothing is recorded."), "empty")
        return
    _watch_remarks(view, live)
    _levels(view)
    _curves(view, live)
    _noise(view, live)
    _average(view, live)
    _prediction(view, live)
    _figures(view, live)


def _cautions() -> None:
    with box("details"):
        text("summary", _("▲ Before noise is played"), "act")
        for words in (
            _("Hearing: begin with the volume down. Protect your ears, and let nobody sit in the car unprotected."),
            _("Loudspeakers: a tweeter keeps its protective high-pass. Stop at any rattle, buzz or smell."),
            _("Engine: never run it in a closed room. What the makers of car and loudspeakers say outranks this page."),
        ):
            text("p", words)


def _remark(live: Live) -> str:
    running = live.view.running
    words = [running.remark] if running.remark else []
    if not running.calibrated:
        words.append(
            _("Levels count from full scale: the microphone was never calibrated (cabinwright record --calibrate).")
        )
    if not live.chosen:
        words.append(_("The system's usual sound card is used; choose another with cabinwright record --card."))
    if running.lost:
        words.append(_("Samples were lost {count} times.").format(count=running.lost))
    return " ".join(words)


def _watch_remarks(view: View, live: Live) -> None:
    told = [_remark(live), live.view.running.on]

    async def look() -> None:
        now = [_remark(live), live.view.running.on]
        if now != told:
            told[:] = now
            if live.view.running.remark:
                view.warn(live.view.running.remark)
            await view.draw()

    ui.timer(0.5, look)


async def _start(view: View) -> None:
    if await view.attempt(lambda: listen(view.desk)) is not None:
        view.say(_("Listening."))
        await view.draw()


async def _stop(view: View) -> None:
    live = live_of(view.desk)
    if live is not None:
        await run.io_bound(live.view.end)
        view.say(_("Not listening any more; the curves stay."))
        await view.draw()


def _turn(view: View, key: str, value: str) -> Any:
    async def turn() -> None:
        view.state[key] = value
        await view.draw()

    return turn()


def _levels(view: View) -> None:
    weighting = view.state.setdefault("weighting", "A")
    with box("div", "tiles levels"):
        for name, label in (
            (f"{weighting}F", _("now, fast")),
            (f"{weighting} mean", _("mean since the beginning")),
            (f"{weighting}F max", _("highest, fast")),
        ):
            with box("div", "tile"):
                text("p", f"{label}, {weighting}", "soft")
                with box("p", "figure"):
                    text("span", "–").props["data-live"] = name
                    text("span", " ")
                    text("span", "").props["data-text"] = "unit"
        with box("div", "tile"):
            text("p", _("highest sample, and time of the mean"), "soft")
            with box("p"):
                text("span", "").props["data-text"] = "peak"
                text("span", " · ")
                text("span", "").props["data-text"] = "seconds"


def _curves(view: View, live: Live) -> None:
    show = view.state.setdefault("show", SHOWS[0])
    values = {words: value for value, words in NAMES.items()}
    choice(_("Show"), tuple(values), NAMES[show], lambda words: _turn(view, "show", values[words]))
    drawn = box("canvas", f"chart live {show}")
    drawn.props["role"] = "img"
    drawn.props["aria-label"] = _(
        "{name} as they are heard now. “Read the figures” below gives them as a table."
    ).format(name=NAMES[show])
    drawn.props["data-show"], drawn.props["data-inks"] = show, json.dumps(inks())
    drawn.props["data-empty"] = _("Play the noise: this is seen once something is played.")
    text("p", "", "soft").props["data-text"] = "told"
    with box("div", "row"):
        button(_("Freeze"), lambda: _ask(view, live.freeze, _("Kept beside the live curve.")))
        button(_("Clear what is frozen"), lambda: _ask(view, live.clear, _("Nothing is frozen any more.")))
        button(
            _("Begin anew"),
            lambda: _ask(view, lambda: live.view.ask(lambda engine: engine.restart()), _("Begun anew.")),
        )
        button("SVG", lambda: _take(live, view, "svg"), says=_("Save the curves as SVG"))
        button("PNG", lambda: ui.run_javascript("cabinwrightLive.png('live')"), says=_("Save the curves as PNG"))
        button("CSV", lambda: _take(live, view, "csv"), says=_("Save the curves as CSV"))
    choice(_("Levels weighted"), ("A", "C", "Z"), view.state["weighting"], lambda to: _turn(view, "weighting", to))
    if show == "thirds":
        words_of = {words: value for value, words in AVERAGED.items()}

        def averaged(words: str) -> Any:
            live.view.engine.shown = words_of[words]
            return view.draw()

        choice(_("Averaged"), tuple(words_of), AVERAGED[live.view.engine.shown], averaged)
        return
    kind = live.view.engine.spectra.averaging
    kinds = {_("One second, forgetting"): "exponential", _("Everything since now"): "linear"}

    def other(words: str) -> Any:
        live.view.ask(lambda engine: engine.average(kinds[words]))  # type: ignore[arg-type]  # one of the two above
        return view.draw()

    choice(_("Averaged"), tuple(kinds), next(words for words, value in kinds.items() if value == kind), other)
    if show == "transfer":
        button(_("Find the delay"), lambda: _delay(view, live))


async def _ask(view: View, act: Any, words: str) -> None:
    act()
    view.say(words)
    await view.draw()


async def _delay(view: View, live: Live) -> None:
    found = await view.attempt(live.view.find_delay)
    if found is not None:
        view.say(_("Delay {ms:.2f} ms, {clear:.0f} dB clear of the rest; taken out from now on.").format(
            ms=1e3 * found.delay_s, clear=found.clarity_db))  # fmt: skip
        await view.draw()


def _take(live: Live, view: View, kind: str) -> None:
    picture = live.picture(view.state["show"])
    for number, panel in enumerate(picture.panels):
        chart = chart_of(panel, f"{NAMES[view.state['show']]}: {panel.label}")
        name = f"live-{view.state['show']}{number or ''}.{kind}"
        content = csv_of(chart) if kind == "csv" else render(chart, name=f"live{number}")
        ui.download(content.encode(), name)


def _noise(view: View, live: Live) -> None:
    text("h2", _("Pink noise"))
    bands = live.noise_bands()
    name = view.state.setdefault("noise", bands[0])
    if len(bands) > 1:
        choice(_("Safe for"), bands, name, lambda to: _turn(view, "noise", to))
    low, high = live.band_hz(name)
    words = _("{low:.0f} to {high:.0f} Hz. It begins 40 dB down and rises to {level:.0f} dBFS within two seconds.")
    text("p", words.format(low=low, high=high, level=live.noise_db))
    if name == EVERYTHING:
        text(
            "p",
            _("Over everything: only through the car's own or loaded crossovers, never into a bare tweeter."),
            "remedy",
        )
    with box("div", "row"):
        if live.view.running.noise:
            button(
                _("■ Silence"),
                lambda: _ask(view, live.view.noise_off, _("Silent.")),
                "main",
                says=_("Silence, end the noise"),
            )
        else:
            button(_("Play noise"), lambda: _play(view, live, name), "main")
        button(_("Quieter, 3 dB"), lambda: _ask(view, lambda: live.louder(-1), _("Quieter.")))
        button(_("Louder, 3 dB"), lambda: _ask(view, lambda: live.louder(1), _("Louder.")))


async def _play(view: View, live: Live, name: str) -> None:
    try:
        await run.io_bound(listen, view.desk)
        await run.io_bound(live.noise_on, name)
    except CabinwrightError as error:
        view.warn(str(error))
        return
    view.say(_("Noise is playing."))
    await view.draw()


def _average(view: View, live: Live) -> None:
    text("h2", _("Moved microphone"))
    text(
        "p",
        _("Move the microphone slowly through the whole space of the head, for half a minute or more, noise playing."),
    )
    moving = live.view.engine.averaging
    with box("div", "row"):
        if moving:
            button(_("End the average"), lambda: _ask(view, live.end_average, _("The average is kept.")), "main")
        else:
            button(_("Begin to average"), lambda: _ask(view, live.begin_average, _("Averaging.")))


def _prediction(view: View, live: Live) -> None:
    text("h2", _("Against the prediction"))
    if not live.predictions:

        async def work() -> None:
            if await view.attempt(live.predict) is not None:
                await view.draw()

        button(_("Work out what is predicted"), work)
        return
    names = {item.name: item.name for item in live.predictions}
    chosen = live.prediction.name if live.prediction else ""
    with box("label"):
        text("span", _("Compare with "))
        made = box("select", "enter")
        with made:
            for name in ("", *names):
                option = text("option", name or _("nothing"))
                option.props["value"] = name
                if name == chosen:
                    option.props["selected"] = True
    made.on("change", lambda event: _compare(view, live, str(event.args)), js_handler="(e) => emit(e.target.value)")
    against = live.against(live.view.frame())
    if against is not None:
        beyond = int(against.beyond.sum())
        words = _(
            "{rms:.1f} dB apart over {bands} third octaves, {beyond} of them by more than the average may be off."
        )
        text("p", words.format(rms=against.rms_db, bands=against.bands, beyond=beyond))
    elif chosen:
        text("p", _("Fewer than six third octaves are there in both."), "alert")


async def _compare(view: View, live: Live, name: str) -> None:
    live.compare(name)
    await view.draw()


def _figures(view: View, live: Live) -> None:
    text("h2", _("Figures"))
    button(_("Read the figures"), lambda: _ask(view, lambda: view.state.update(figures=live.view.frame()), _("Read.")))
    frame = view.state.get("figures")
    if frame is None:
        return
    heads, rows = live.figures(frame)
    table(heads, rows, caption=_("Third octaves, dB"))


PAGE = Page("/live", _("Live"), _("What do I hear now?"), body)
