"""The sound card on the page that records: chosen once for this computer, tried out, and calibrated in level."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from nicegui import run

from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.measure.sound_card import Card, CardSettings, Device, load_settings, save_settings
from cabinwright.measure.sound_card.check import Tried, calibrated, try_out
from cabinwright.measure.sound_card.choose import settings_of, timings_of
from cabinwright.web.frame import View
from cabinwright.web.parts import box, button, choice, text, typing
from cabinwright.web.recording import card_for
from cabinwright.web.words import _

__all__ = ["card_part", "pick", "typed", "with_card"]

RATES = (44_100, 48_000, 96_000, 192_000)
NONE = _("none: the car plays by itself")
CALIBRATORS = {_("94 dB"): 94.0, _("114 dB"): 114.0}


def card_part(view: View, chosen: CardSettings | None) -> None:
    """What was chosen, and the way to another."""
    text("h2", _("Sound card of this computer"))
    if view.state.get("devices") is not None:
        _choose(view, chosen)
        return
    if chosen is None:
        text(
            "p",
            _("None was chosen yet. It is chosen once; the choice stays on this computer and goes into no build."),
            "empty",
        )
        button(_("Choose the sound card"), lambda: _look(view), "main")
        return
    text("p", _told(chosen))
    tried: Tried | None = view.state.get("tried")
    if tried is not None:
        text("p", _heard(tried), "remedy" if tried.remark or tried.lost else "")
    with box("div", "row"):
        button(_("Test with a quiet chirp"), lambda: _try(view))
        button(_("Choose another"), lambda: _look(view))
    text("h3", _("Absolute level"))
    text("p", _("Calibrated on {day}: full scale is {level:.1f} dB (re 20 µPa).").format(
        day=chosen.calibrated_on, level=chosen.unit_level_db) if chosen.unit_level_db is not None else
        _("Not calibrated: levels count from full scale, and a take cannot stop by itself at a stated level."))  # fmt: skip
    named = view.state.setdefault("calibrator", next(iter(CALIBRATORS)))
    choice(
        _("Sound calibrator at 1 kHz (IEC 60942)"), tuple(CALIBRATORS), named, lambda to: _set(view, "calibrator", to)
    )
    button(_("Calibrate: it is on the microphone and sounds"), lambda: _calibrate(view))
    text("h3", _("Stop at"))
    loudest = f"{chosen.loudest_db:.0f}"
    levels = tuple(dict.fromkeys(("85", "90", "95", "100", loudest)))
    choice(_("dB at the microphone"), levels, loudest, lambda to: _stop_at(view, float(to)))


def _told(chosen: CardSettings) -> str:
    out = chosen.output_name or NONE
    more = _("timing by {timing}").format(
        timing=_("an electrical copy") if chosen.timing == "loopback" else _("markers")
    )
    file = f", {chosen.microphone_calibration}" if chosen.microphone_calibration else ""
    words = _("From {input} (input {channel}{file}) to {output}, {rate} Hz, {more}.")
    return words.format(
        input=chosen.input_name,
        channel=chosen.microphone_channel,
        file=file,
        output=out,
        rate=chosen.sample_rate_hz,
        more=more,
    )


def _heard(tried: Tried) -> str:
    words = [_("Noise of the microphone {level:.0f} dB of full scale.").format(level=tried.noise_db)]
    if tried.delay_s is not None:
        words.append(_("The copy comes back {ms:.1f} ms later.").format(ms=1e3 * tried.delay_s))
    if tried.remark:
        words.append(_(tried.remark))
    if tried.lost:
        words.append(_("Samples were lost: close other programs, or choose a larger latency."))
    return " ".join(words)


async def _set(view: View, key: str, value: Any) -> None:
    view.state[key] = value
    await view.draw()


async def _look(view: View) -> None:
    found = await view.attempt(lambda: card_for(view.desk).devices())
    if found is None:
        return
    if not any(item.inputs for item in found):
        view.warn(
            _(
                "This computer has no input for sound. Plug one in, or allow this program to use the microphone; then try again."
            )
        )
        return
    view.state["devices"] = found
    view.state["draft"] = {}
    await view.draw()


def _name(item: Device, channels: int) -> str:
    return _("{name} ({host}, {channels} channels, {rate:.0f} Hz)").format(
        name=item.name, host=item.host, channels=channels, rate=item.sample_rate_hz
    )


def _choose(view: View, before: CardSettings | None) -> None:
    devices: tuple[Device, ...] = view.state["devices"]
    draft: dict[str, Any] = view.state["draft"]
    inputs = {f"{n}": item for n, item in enumerate(devices) if item.inputs}
    known = next((n for n, item in inputs.items() if before and item.name == before.input_name), None)
    usual = next((n for n, item in inputs.items() if item.usual_input), next(iter(inputs)))
    into = inputs[draft.setdefault("into", known or usual)]
    outputs = {f"{n}": item for n, item in enumerate(devices) if item.outputs and item.host == into.host}
    usual_out = next((n for n, item in outputs.items() if item.usual_output), next(iter(outputs), ""))
    known_out = next((n for n, item in outputs.items() if before and item.name == before.output_name), usual_out)
    if draft.setdefault("out", known_out) not in outputs:
        draft["out"] = ""
    out = outputs.get(draft["out"])
    pick(_("Microphone"), {n: _name(item, item.inputs) for n, item in inputs.items()}, draft["into"], _to(view, "into"))
    pick(_("Output to the car"), {**{n: _name(item, item.outputs) for n, item in outputs.items()}, "": NONE}, draft["out"],
          _to(view, "out"))  # fmt: skip
    ways = timings_of(into, out)
    words = {"loopback": _("An electrical copy, second output to second input"), "marker": _("Markers in the sound")}
    if draft.setdefault("timing", ways[0]) not in ways:
        draft["timing"] = ways[0]
    values = {words[way]: way for way in ways}
    choice(_("Timing"), tuple(values), words[draft["timing"]], lambda to: _to(view, "timing")(values[to]))
    places = tuple(str(n + 1) for n in range(min(into.inputs, 8)))
    if draft.setdefault("at", "1") not in places:
        draft["at"] = "1"
    if len(places) > 1:
        choice(_("Microphone at input"), places, draft["at"], _to(view, "at"))
    rates = {f"{rate}": f"{rate} Hz" for rate in sorted({*RATES, round(into.sample_rate_hz)})}
    pick(_("Rate"), rates, draft.setdefault("rate", f"{round(into.sample_rate_hz)}"), _to(view, "rate"))
    draft.setdefault("calibration", before.microphone_calibration if before else "")
    typed(_("The microphone's calibration file on this computer, if it has one"), view, "calibration", draft)
    with box("div", "row"):
        button(_("Keep and test with a quiet chirp"), lambda: _store(view, into, out, before), "main")
        button(_("Leave it as it was"), lambda: _set(view, "devices", None))


def _to(view: View, key: str) -> Callable[[str], Any]:
    async def act(value: str) -> None:
        view.state["draft"][key] = value
        await view.draw()

    return act


def pick(label: str, options: Mapping[str, str], chosen: str, act: Callable[[str], Any]) -> None:
    """One of many, as a list that folds: values and their words."""
    with box("label", "pick"):
        text("span", label)
        made = box("select", "enter")
        with made:
            for value, words in options.items():
                option = text("option", words)
                option.props["value"] = value
                if value == chosen:
                    option.props["selected"] = True
    made.on("change", lambda event: act(str(event.args)), js_handler="(e) => emit(e.target.value)")


def typed(label: str, view: View, key: str, into: dict[str, Any] | None = None) -> None:
    """A line of text that is kept as it is typed."""
    held = view.state if into is None else into
    with box("label", "pick"):
        text("span", label)
        made = typing(held.get(key, "")).classes("enter")
    made.on("input", lambda event: held.update({key: str(event.args)}), js_handler="(e) => emit(e.target.value)")


async def _store(view: View, into: Device, out: Device | None, before: CardSettings | None) -> None:
    draft = view.state["draft"]

    def work() -> CardSettings:
        made = settings_of(
            into, out, timing=draft["timing"], sample_rate_hz=int(draft["rate"]), microphone_channel=int(draft["at"]),
            calibration=draft["calibration"], before=before,
        )  # fmt: skip
        save_settings(made)
        return made

    if await view.attempt(work) is not None:
        view.state["devices"] = None
        view.say(_("Kept for this computer."))
        await _try(view)


async def with_card(view: View, work: Callable[[Card, CardSettings], Any]) -> Any:
    """What ``work`` gives with the card and its settings; None where it is refused, and the page says why."""

    def whole() -> Any:
        settings = load_settings()
        if settings is None:
            raise PersonError(_("No sound card was chosen on this computer yet."))
        return work(card_for(view.desk), settings)

    try:
        return await run.io_bound(whole)
    except CabinwrightError as error:
        view.warn(str(error))
        return None


async def _try(view: View) -> None:
    view.state["tried"] = await with_card(view, try_out)
    await view.draw()


async def _calibrate(view: View) -> None:
    level_db = CALIBRATORS[view.state["calibrator"]]
    found = await with_card(view, lambda card, settings: save_settings(calibrated(card, settings, level_db=level_db)))
    if found is not None:
        view.say(_("Calibrated."))
        await view.draw()


async def _stop_at(view: View, loudest_db: float) -> None:
    change = {"loudest_db": loudest_db}
    found = await with_card(view, lambda _card, settings: save_settings(settings.model_copy(update=change)))
    if found is not None:
        view.say(_("Takes stop by themselves at {level:.0f} dB.").format(level=loudest_db))
        await view.draw()
