"""What is measured beside a round: a drive unit's impedance, into the build, and which way a loudspeaker moves first."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from pydantic import ValidationError

from cabinwright.build.loudspeaker import ImpedanceCurve
from cabinwright.desk.desk import Desk
from cabinwright.errors import PersonError
from cabinwright.files import write_all
from cabinwright.measure import series_resistor
from cabinwright.measure.guide.plan import channel_band_hz
from cabinwright.measure.polarity import Heard, polarity_of
from cabinwright.measure.sound_card import Card, CardSettings
from cabinwright.measure.sweep_list import plain_name

__all__ = ["ByResistor", "polarity_of_channel"]

FOLDER = "impedance"


class ByResistor:
    """A speaker model's impedance by a resistor in series, in two takes; the second one joins the curve to the build.

        measured = ByResistor(desk, card, settings, model="W1", resistor_ohm=22.0)
        measured.wanted             # what has to be connected
        measured.take()             # "": there is more to take
        measured.take()             # the file that was written

    ``added_mass`` and ``box_volume`` are what a person writes, with their unit. Raises ``PersonError`` and ``RefusedError`` with
    the cure, before anything plays where that can be told, and writes nothing then; a take that was refused is taken again.
    """

    def __init__(
        self, desk: Desk, card: Card, settings: CardSettings, *, model: str, resistor_ohm: float,
        added_mass: str = "", box_volume: str = "",
    ) -> None:  # fmt: skip
        _known(model, (item.name for item in desk.build.speaker_models), what="speaker model")
        if added_mass and box_volume:
            raise PersonError("Either a mass is on the cone or the unit is in a box: measure one after the other.")
        series_resistor.check_resistor(resistor_ohm)
        method = "added mass" if added_mass else "known box" if box_volume else "free air"
        free = [item.model for item in desk.build.impedance_curves if item.method == "free air"]
        if method != "free air" and model not in free:
            raise PersonError(
                f"a sweep with {method} is read beside one in free air, and of {model} there is none. Measure it in free "
                "air first."
            )
        row = {"model": model, "file": _free(desk, model, method), "method": method}
        row |= {"added_mass_kg": added_mass} if added_mass else {"box_volume_m3": box_volume} if box_volume else {}
        try:
            ImpedanceCurve.model_validate(row)
        except ValidationError as error:
            raise PersonError(f"{model}: {error.errors()[0]['msg']}. Nothing was played.") from error
        self._desk, self._card, self._settings, self._row, self._resistor_ohm = desk, card, settings, row, resistor_ohm
        self._both: series_resistor.Divided | None = None

    @property
    def wanted(self) -> str:
        """What has to be connected before the next take."""
        one, two = self._settings.copy_channel, self._settings.microphone_channel
        if self._both is None:
            return f"Join the output, input {one} and input {two} in one point, before the resistor"
        model = self._row["model"]
        return f"Join input {two} to the point between the resistor and {model}; its other end to ground"

    def take(self) -> str:
        """The next take; the file of the curve once there are both, relative to the build's folder."""
        taken = series_resistor.take(self._card, self._settings)
        if self._both is None:
            self._both = taken
            return ""
        found = series_resistor.impedance_of(self._both, taken, resistor_ohm=self._resistor_ohm)
        content = series_resistor.text_of(taken.frequency_hz, found, resistor_ohm=self._resistor_ohm)
        row = self._row
        (path,) = write_all(self._desk.folder, {row["file"]: content})
        try:
            why = f"impedance of {row['model']}, {row['method']}"
            self._desk.add("impedance_curves", row, by="record", why=why)
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
