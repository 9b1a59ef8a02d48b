"""Checks before the takes, on the page that records: which way a loudspeaker moves first, and a drive unit's impedance."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from cabinwright.desk.bench import ByResistor, polarity_of_channel
from cabinwright.errors import PersonError
from cabinwright.measure.polarity import Heard
from cabinwright.measure.series_resistor import CAUTIONS
from cabinwright.measure.sound_card import CardSettings
from cabinwright.web.frame import View
from cabinwright.web.pages.record_card import pick, typed, with_card
from cabinwright.web.parts import box, button, link, text
from cabinwright.web.recording import card_for
from cabinwright.web.words import _

__all__ = ["checks_part"]


def checks_part(view: View, chosen: CardSettings) -> None:
    """Folded: who only records passes it by."""
    text("h2", _("Checks before the takes"))
    words = _("Worth a minute each. A wrong channel needs no check of its own: the verdict on every take tells it.")
    text("p", words, "soft")
    if not chosen.copy_channel or not chosen.output_name:
        text("p", _("They need two inputs and two outputs, timed by an electrical copy: choose another sound card."))
        return
    with _fold(view, "polarity", _("Which way a loudspeaker moves first")):
        _polarity(view)
    with _fold(view, "impedance", _("A drive unit's impedance, by a resistor in series")):
        _impedance(view)


@contextmanager
def _fold(view: View, key: str, words: str) -> Iterator[None]:
    """It stays open while the page is drawn anew."""
    opened: set[str] = view.state.setdefault("folds", set())
    with box("details") as made:
        made.props["open"] = key in opened
        text("summary", words, "act")
        yield
    made.on(
        "toggle",
        lambda event: opened.add(key) if event.args else opened.discard(key),
        js_handler="(e) => emit(e.target.open)",
    )


def _kept(view: View, key: str, *forget: str) -> Callable[[str], Any]:
    async def act(value: str) -> None:
        view.state[key] = value
        for name in forget:
            view.state.pop(name, None)
        await view.draw()

    return act


def _one_of(view: View, key: str, label: str, names: list[str], *forget: str) -> str:
    """The one that is chosen; the first where it is gone."""
    chosen = str(view.state.get(key)) if view.state.get(key) in names else names[0]
    pick(label, {name: name for name in names}, chosen, _kept(view, key, *forget))
    return chosen


def _polarity(view: View) -> None:
    names = [item.name for item in view.desk.build.channels]
    if not names:
        text("p", _("The build names no channel yet."), "empty")
        return
    text("p", _("Unmute one channel alone, the microphone near its loudspeaker. Ten pulses play for three seconds."))
    channel = _one_of(view, "pulsed", _("Channel"), names)

    async def play() -> None:
        view.say(_("Pulses are playing …"))
        heard = await with_card(view, lambda card, now: polarity_of_channel(view.desk, card, now, channel))
        if heard is not None:
            told: dict[str, Heard] = view.state.setdefault("moved", {})
            told[channel] = heard
            view.say(_("Heard."))
        await view.draw()

    button(_("Play pulses"), play)
    for name, heard in view.state.get("moved", {}).items():
        text("p", f"{'✓' if heard.sign == '+' else '▲'} {name}: {_(heard.words)}")


def _impedance(view: View) -> None:
    names = [item.name for item in view.desk.build.speaker_models]
    if not names:
        text("p", _("The build names no speaker model yet."), "empty")
        return
    measured: ByResistor | None = view.state.get("measured")
    if measured is not None:
        text("p", _(measured.wanted) + ".", "remedy")
        with box("div", "row"):
            button(_("It is joined: measure"), lambda: _take(view, measured), "main")
            button(_("Leave it"), lambda: _kept(view, "none", "measured")(""))
        return
    for words in CAUTIONS:
        text("p", "▲ " + _(words))
    model = _one_of(view, "coil", _("Speaker model"), names)
    typed(_("Resistor as you measured it, ohm; 10 to 50 serve well"), view, "resistor")
    typed(_("Mass stuck to the cone, such as 12 g; empty for none"), view, "added_mass")
    typed(_("Closed test box, such as 8 L; empty for none"), view, "box_volume")
    button(_("Begin to measure"), lambda: _begin(view, model))
    file = view.state.get("measured_file")
    if file:
        text("p", _("✓ {file} is written, and joined to the build.").format(file=file))
        link(_("See what its figures say of the box"), "/enclosure")


async def _begin(view: View, model: str) -> None:
    state = view.state

    def made(card: Any, now: CardSettings) -> ByResistor:
        try:
            resistor = float(str(state.get("resistor", "")).replace(",", "."))
        except ValueError:
            raise PersonError(_("Name the resistor in ohm, as you measured it: 22 or 21.8.")) from None
        more = {key: str(state.get(key, "")).strip() for key in ("added_mass", "box_volume")}
        return ByResistor(view.desk, card, now, model=model, resistor_ohm=resistor, **more)

    found = await with_card(view, made)
    if found is not None:
        state["measured"], state["measured_file"] = found, ""
        view.say(_("Two takes of nine seconds; nothing plays before you say so."))
        await view.draw()


async def _take(view: View, measured: ByResistor) -> None:
    view.say(_("A sweep is playing …"))

    def work() -> str:
        card_for(view.desk)  # whoever listens lets it go
        return measured.take()

    file = await view.attempt(work)
    if file:
        view.state["measured"], view.state["measured_file"] = None, file
        view.say(_("Measured."))
    elif file is not None:
        view.say(_("Half of it. Now the other connection."))
    await view.draw()
