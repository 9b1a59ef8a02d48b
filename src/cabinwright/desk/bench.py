"""What is measured beside a round: a drive unit's impedance, into the build, and which way a loudspeaker moves first."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from difflib import get_close_matches

from cabinwright.desk.desk import Desk
from cabinwright.errors import PersonError
from cabinwright.files import write_all
from cabinwright.measure import series_resistor
from cabinwright.measure.guide.plan import channel_band_hz
from cabinwright.measure.polarity import Heard, polarity_of
from cabinwright.measure.sound_card import Card, CardSettings
from cabinwright.measure.sweep_list import plain_name

__all__ = ["impedance_into", "polarity_of_channel"]

FOLDER = "impedance"


def impedance_into(
    desk: Desk,
    card: Card,
    settings: CardSettings,
    *,
    model: str,
    resistor_ohm: float,
    ready: Callable[[str], None],
    added_mass: str = "",
    box_volume: str = "",
) -> str:
    """Measure a speaker model's impedance by a resistor in series, and join the curve to the build; returns its file.

    ``ready`` is called with what has to be connected and returns when it is. ``added_mass`` and ``box_volume`` are what a person
    writes, with their unit. Raises ``PersonError`` and ``RefusedError`` with the cure; nothing is written then.
    """
    _known(model, (item.name for item in desk.build.speaker_models), what="speaker model")
    if added_mass and box_volume:
        raise PersonError("Either a mass is on the cone or the unit is in a box: measure one after the other.")
    one, two = settings.copy_channel, settings.microphone_channel
    ready(f"Join the output, input {one} and input {two} in one point, before the resistor")
    both = series_resistor.take(card, settings)
    ready(
        f"Join input {settings.microphone_channel} to the point between the resistor and {model}; its other end to ground"
    )
    coil = series_resistor.take(card, settings)
    found = series_resistor.impedance_of(both, coil, resistor_ohm=resistor_ohm)
    method = "added mass" if added_mass else "known box" if box_volume else "free air"
    row = {"model": model, "file": _free(desk, model, method), "method": method}
    row |= {"added_mass_kg": added_mass} if added_mass else {"box_volume_m3": box_volume} if box_volume else {}
    content = series_resistor.text_of(coil.frequency_hz, found, resistor_ohm=resistor_ohm)
    (path,) = write_all(desk.folder, {row["file"]: content})
    try:
        desk.add("impedance_curves", row, by="record", why=f"impedance of {model}, {method}")
    except PersonError:
        path.unlink()
        raise
    return row["file"]


def _free(desk: Desk, model: str, method: str) -> str:
    """A name that no file has yet."""
    stem, number = f"{FOLDER}/{plain_name(model)}_{method.replace(' ', '-')}", 1
    while (desk.folder / (name := f"{stem}{'' if number == 1 else f'_{number}'}.txt")).exists():
        number += 1
    return name


def polarity_of_channel(desk: Desk, card: Card, settings: CardSettings, channel: str) -> Heard:
    """Which way what a channel drives moves first. Raises ``PersonError``, ``RefusedError``."""
    _known(channel, (item.name for item in desk.build.channels), what="channel")
    return polarity_of(card, settings, band_hz=channel_band_hz(desk.build, channel))


def _known(name: str, there: Iterable[str], *, what: str) -> None:
    names = list(there)
    if name in names:
        return
    near = get_close_matches(name, names, n=1)
    cure = f"did you mean “{near[0]}”?" if near else f"there are: {', '.join(names) or 'none'}."
    raise PersonError(f"no {what} is called “{name}”; {cure}")
