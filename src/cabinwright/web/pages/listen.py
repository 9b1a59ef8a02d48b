"""Can anybody hear the difference? A track made audible before, after and from candidate places; switched while it plays; and
compared blind, with what chance says of the answers."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from nicegui import events, ui

from cabinwright.errors import CabinwrightError
from cabinwright.measure.listening import (
    BLIND_FILE,
    CAUTIONS,
    LIMITS,
    Blind,
    Rendered,
    Trial,
    read_heard,
    read_trials,
    seconds_of,
    told_aim,
)
from cabinwright.physics.stimuli import STIMULI
from cabinwright.stages.voice.result import BASES
from cabinwright.web.frame import Page, View
from cabinwright.web.jobs import job_panel
from cabinwright.web.parts import box, button, choice, table, text, typing
from cabinwright.web.tracks import heard_folder, track_address
from cabinwright.web.uploads import LARGEST_FILE, keep
from cabinwright.web.words import _

__all__ = ["PAGE"]

TRACKS = "listening"  #: a person's own tracks, and the comparisons, in the build's folder
MADE_HERE = {"voice": _("Voice"), "noise": _("Noise bursts"), "clicks": _("Clicks")}
VERSIONS = {"before, by tape": _("Before, by tape"), "after": _("After")}
LENGTHS = ("10", "30", "60", "120", "300")  #: seconds; the browser holds all of it, 23 MB a minute and version
QUESTIONS = {"tell apart": _("Tell apart: which one is X?"), "prefer": _("Prefer: which is better?")}
TRIALS = ("10", "16", "25")
SHOWN_TRIALS = 20
#: of places; the others stand in the middle and have no partner
SIDE, SINGLE = "left", ("subwoofer", "centre")


def body(view: View) -> None:
    """What was made audible first: that is what one came for. During a blind comparison nothing else."""
    found = read_heard(heard_folder(view.desk))
    trial: Trial | None = view.state.get("trial")
    if trial is not None and (found is None or found[1] != view.state["tried"]):
        view.state["trial"] = trial = None
        view.warn(_("The sounds were made anew meanwhile: the comparison was broken off."))
    if trial is not None and found is not None:
        _trial(view, trial, found[1])
        return
    _cautions()
    if found is None:
        text("p", _("Nothing is audible yet. Choose a sound, then press “Make it audible”."), "empty")
    else:
        told, made = found
        text("h2", _("Listen to {track}, at the ears of: {seat}").format(track=told["track"], seat=told["seat"]))
        _player(made)
        _figures(made, str(told.get("ears", "")))
        _blind(view, told, made)
    _make(view)
    _earlier(view)


def _cautions() -> None:
    text("p", "▲ " + _(CAUTIONS[0]))
    with box("details"):
        text("summary", _("Hearing, and what headphones cannot convey"), "act")
        for words in CAUTIONS[1:]:
            text("p", _(words))
        text("p", _("What headphones cannot convey:"))
        with box("ul"):
            for words in LIMITS:
                text("li", _(words))


def _named(version: str) -> str:
    return VERSIONS.get(version, version)


# What is heard


def _player(made: Rendered, *, labels: bool = False) -> Any:
    with box("div", "key player") as player:
        player.props["data-sounds"] = json.dumps([track_address(item.file) for item in made.versions])
        player.props["data-loading"] = _("Fetching the sound …")
        player.props["data-failed"] = _("Cannot be played:")
        with box("div", "row"):
            play = text("button", _("▶ Play"), "act main")
            play.props.update({"type": "button", "data-listen": "play"})
            play.props.update({"data-play": _("▶ Play"), "data-pause": _("❚❚ Pause")})
            play.on("click", js_handler="() => cabinwrightListen.toggle()")
            text("span", f"0:00 / {int(made.seconds // 60)}:{int(made.seconds % 60):02d}").props["data-listen"] = (
                "clock"
            )
            text("span", "", "soft").props.update({"data-listen": "said", "role": "status"})
        bar = box("input")
        bar.props.update({"type": "range", "min": 0, "max": made.seconds, "step": 0.1, "value": 0, "data-listen": "at"})
        bar.props["aria-label"] = _("Where in the sound")
        bar.style("width: 100%; min-height: 44px; accent-color: var(--go)")
        bar.on("input", js_handler="(e) => cabinwrightListen.seek(Number(e.target.value))")
        if not labels:
            with box("fieldset", "choice"):
                text("legend", _("What you hear"))
                for number, item in enumerate(made.versions):
                    one = text("button", _named(item.version), "act option")
                    one.props.update({"type": "button", "data-pick": number, "aria-pressed": str(not number).lower()})
                    one.on("click", js_handler=f"() => cabinwrightListen.pick({number})")
            if any(item.version not in VERSIONS for item in made.versions):
                text(
                    "p",
                    _("Places are predicted, by rays, with flat loudspeakers and without the cabin's bass."),
                    "soft",
                )
    return player


def _figures(made: Rendered, basis: str) -> None:
    with box("details"):
        text("summary", _("How loud, and the files"), "act")
        table(
            (_("Version"), _("Loudness"), _("Changed by"), _("True peak")),
            [
                (_("the track itself"), f"{made.track_lufs:.1f} LUFS", "–", "–"),
                *(
                    (
                        _named(item.version),
                        f"{item.loudness_lufs:.1f} LUFS",
                        f"{item.gain_db:+.1f} dB",
                        f"{item.true_peak_db:.1f} dB",
                    )
                    for item in made.versions
                ),
            ],
            caption=_("All equally loud, never louder than the track"),
        )
        text("p", _("The ears: ") + BASES.get(basis, _("predicted by rays; a rigid sphere's")), "soft")
        with box("div", "row"):
            for item in made.versions:
                button(
                    item.file.name,
                    lambda item=item: ui.download(item.file, item.file.name),
                    says=_("Download ") + item.file.name,
                )


# Blind


def _blind(view: View, told: dict[str, Any], made: Rendered) -> None:
    text("h2", _("Compare blind"))
    last = view.state.pop("told", "")
    if last:
        text("p", last, "said")
    kind, trials = view.state.setdefault("kind", "tell apart"), view.state.setdefault("trials", "16")
    named = {words: value for value, words in QUESTIONS.items()}
    choice(_("Question"), tuple(named), QUESTIONS[kind], lambda words: _turn(view, "kind", named[words]))
    choice(_("Trials"), TRIALS, trials, lambda words: _turn(view, "trials", words))
    versions = [item.version for item in made.versions]
    first, second = _two(view, versions)
    if len(versions) > 2:
        choice(
            _("Between"),
            tuple(map(_named, versions)),
            _named(first),
            lambda words: _turn(view, "first", _back(words, versions)),
        )
        choice(
            _("and"),
            tuple(map(_named, versions)),
            _named(second),
            lambda words: _turn(view, "second", _back(words, versions)),
        )
    text("p", told_aim(kind, int(trials)))

    async def begin() -> None:
        about = {"track": str(told["track"]), "seat": str(told["seat"])}
        trial = await view.attempt(
            lambda: Trial(
                Blind(kind, (first, second), int(trials)),
                view.desk.folder / TRACKS / BLIND_FILE,
                about=about,
                now=datetime.now(UTC),
            )
        )
        if trial is not None:
            view.state["trial"], view.state["tried"] = trial, made
            view.say(_("Begun. The lot was drawn; nothing on the page knows it."))
            await view.draw()

    button(_("Begin the blind comparison"), begin)


def _back(words: str, versions: list[str]) -> str:
    return next(version for version in versions if _named(version) == words)


def _two(view: View, versions: list[str]) -> tuple[str, str]:
    """The two that are compared; the first two where others are gone."""
    first, second = view.state.get("first", versions[0]), view.state.get("second", versions[1])
    return (first, second) if first in versions and second in versions else (versions[0], versions[1])


def _trial(view: View, trial: Trial, made: Rendered) -> None:
    """One trial: letters to hear, and the answer."""
    blind = trial.blind
    numbers = {item.version: number for number, item in enumerate(made.versions)}
    head = _("Trial {number} of {all}").format(number=len(blind.answers) + 1, all=blind.trials)
    text("p", head, "figure")
    text("p", _("X is A or B, by lot.") if blind.kind == "tell apart" else _("A and B change places by lot."))
    with _player(made, labels=True), box("fieldset", "choice"):
        text("legend", _("Hear"))
        for label in blind.labels:
            one = text("button", label, "act option")
            one.props.update({"type": "button", "data-label": label, "aria-pressed": str(label == "A").lower()})
            one.on(
                "click",
                lambda _event, label=label: _hear(numbers[blind.plays(label)]),
                js_handler="(e) => { cabinwrightListen.label(e.currentTarget); emit(); }",
            )

    async def answer(label: str) -> None:
        await view.attempt(lambda: trial.answer(label))
        if blind.done:
            view.state["trial"], view.state["told"] = None, trial.words
            view.say(_("The last trial is answered."))
        await view.draw()

    async def stop() -> None:
        view.state["trial"] = None
        view.state["told"] = trial.words
        await view.draw()

    words = _("X is {label}") if blind.kind == "tell apart" else _("{label} is better")
    with box("fieldset", "choice"):
        text("legend", _("Your answer"))
        for label in ("A", "B"):
            button(words.format(label=label), lambda label=label: answer(label), "main")
    text("p", told_aim(blind.kind, blind.trials), "soft")
    button(_("Break off"), stop)
    _hear(numbers[blind.plays("A")])


def _hear(number: int) -> None:
    ui.run_javascript(f"cabinwrightListen.pick({number})")


async def _turn(view: View, key: str, value: Any) -> None:
    view.state[key] = value
    await view.draw()


def _earlier(view: View) -> None:
    try:
        rows = read_trials(view.desk.folder / TRACKS / BLIND_FILE)
    except CabinwrightError as error:
        text("p", str(error), "alert")
        return
    if not rows:
        return
    text("h2", _("Comparisons so far"))
    table(
        (_("When"), _("What"), _("Result")),
        [
            (
                str(row.get("when", ""))[:16].replace("T", " "),
                f"{row.get('track', '')}: " + _(" or ").join(_named(str(one)) for one in row.get("versions", ())),
                str(row.get("result", "")),
            )
            for row in rows[: -SHOWN_TRIALS - 1 : -1]
        ],
        caption=_("Kept in {file}").format(file=f"{TRACKS}/{BLIND_FILE}"),
    )


# What is made audible


def _make(view: View) -> None:
    text("h2", _("Make a track audible"))
    build, state = view.desk.build, view.state
    own = _own(view)
    sounds = {**MADE_HERE, **{name: name for name in own}}
    held = state.get("track", STIMULI[0])
    chosen: str = held if held in sounds else STIMULI[0]
    named = {words: value for value, words in sounds.items()}
    choice(_("Sound"), tuple(named), sounds[chosen], lambda words: _turn(view, "track", named[words]))
    _drop(view)
    length = state.setdefault("length", "30")
    if chosen not in STIMULI:
        choice(_("Seconds of it"), LENGTHS, length, lambda words: _turn(view, "length", words))
        _start(view)
    seats = tuple(seat.name for seat in build.seats)
    seat = state.get("seat") if state.get("seat") in seats else None
    if len(seats) > 1:
        usual = _("The one that is tuned for")
        choice(
            _("Seat"),
            (usual, *seats),
            seat or usual,
            lambda words: _turn(view, "seat", None if words == usual else words),
        )
    places = _places(view)
    job_panel(
        view,
        "listen",
        _("Make it audible"),
        track=str(view.desk.folder / TRACKS / chosen) if chosen not in STIMULI else chosen,
        seat=seat,
        places=places,
        start_s=state.get("start_s", 0.0) if chosen not in STIMULI else 0.0,
        length_s=float(length) if chosen not in STIMULI else None,
    )
    text("p", _("A whole track, up to three hours, is made by the command: cabinwright listen"), "soft")


def _own(view: View) -> list[str]:
    folder: Path = view.desk.folder / TRACKS
    if not folder.is_dir():
        return []
    return sorted(item.name for item in folder.iterdir() if item.suffix.lower() in (".wav", ".flac") and item.is_file())


def _places(view: View) -> tuple[str, ...]:
    """Candidate places that are heard too, by the name of the left one of each pair."""
    names = [row.name for row in view.desk.build.places if row.side == SIDE and row.role not in SINGLE]
    chosen = [name for name in view.state.get("places", ()) if name in names]
    if names:
        with box("fieldset", "choice"):
            text("legend", _("Also from places that nobody has cut yet, each with its partner on the right"))
            for name in names:
                after = [one for one in chosen if one != name] if name in chosen else [*chosen, name]
                one = button(
                    ("✓ " if name in chosen else "") + name,
                    lambda after=after: _turn(view, "places", after),
                    "option",
                )
                one.props["aria-pressed"] = str(name in chosen).lower()
    return tuple(chosen)


def _start(view: View) -> None:
    async def typed(event: events.GenericEventArguments) -> None:
        try:
            view.state["start_s"], view.state["start"] = seconds_of(str(event.args)), str(event.args)
        except ValueError:
            view.warn(_("{text} is no time. Write seconds, or minutes and seconds as 1:15.").format(text=event.args))
            return
        view.say(_("Begins at {text}.").format(text=event.args))
        await view.draw()

    with box("div", "field"):
        text("label", _("Begin at, such as 1:15")).props["for"] = "start"
        made = typing(view.state.get("start", "0"))
        made.props["id"] = "start"
        made.on("change", typed, js_handler="(e) => emit(e.target.value)")


def _drop(view: View) -> None:
    async def taken(event: events.UploadEventArguments) -> None:
        content, name = await event.file.read(), event.file.name
        if await view.attempt(lambda: keep(view.desk.folder, name, content, into=TRACKS)) is not None:
            view.state["track"] = name
            view.say(_("Kept as {name}.").format(name=f"{TRACKS}/{name}"))
            await view.draw()

    made = ui.upload(
        auto_upload=True, max_file_size=LARGEST_FILE, on_upload=taken,
        on_rejected=lambda: view.warn(_("Not taken: a track is one WAV or FLAC file of at most 64 MB.")),
    )  # fmt: skip
    made.classes("carrier")  # it carries the file; what a person meets is a plain field
    made.style("display: none")
    with box("div", "field"):
        text("label", _("Your own track, WAV or FLAC: drop or choose")).props["for"] = "track"
        plain = box("input")
        plain.props.update({"id": "track", "type": "file", "accept": ".wav,.flac"})
        plain.on(
            "change",
            js_handler=f"(e) => {{ getElement({made.id}).$refs.qRef.addFiles([...e.target.files]); e.target.value = ''; }}",
        )


PAGE = Page("/listen", _("Listen"), _("Can anybody hear the difference?"), body, (), ("seats", "places", "recordings"))
