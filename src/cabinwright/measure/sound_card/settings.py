"""Which devices this computer records with, chosen once and kept in the user's own settings folder, not in a build."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

import platformdirs
from pydantic import Field, ValidationError

from cabinwright.build.base import Model
from cabinwright.errors import CardError
from cabinwright.files import write_all

__all__ = ["LOUDEST_DB", "CardSettings", "load_settings", "save_settings", "settings_file"]

FILE = "sound-card.json"
LIMIT_BYTES = 100_000
LOUDEST_DB = 100.0
"""Where a take stops by itself [dB re 20 µPa]. Half a minute of it in each of ten takes is the daily dose of 80 dB over eight
hours, the lower action value of Directive 2003/10/EC: five minutes are 1/96 of eight hours, 20 dB."""

Channel = Annotated[int, Field(ge=1, le=64)]
Text = Annotated[str, Field(max_length=300)]


class CardSettings(Model):
    """The chosen devices and how they are joined to the car."""

    input_name: Text
    """Device that the microphone is plugged into; nothing where only sound is to be played."""
    input_host: Text = ""
    """Host API of the input; nothing: whichever has a device of that name first."""
    output_name: Text = ""
    """Device that the car is played from; nothing where the car plays the sweep by itself."""
    output_host: Text = ""
    """Host API of the output."""
    microphone_channel: Channel = 1
    """Input that the microphone is plugged into, from 1."""
    copy_channel: Annotated[int, Field(ge=0, le=64)] = 2
    """Input that the electrical copy is plugged into, from 1; 0 with marker timing."""
    car_channel: Channel = 1
    """Output that goes to the car, from 1."""
    second_channel: Annotated[int, Field(ge=0, le=64)] = 2
    """Output of the electrical copy, or of the markers, from 1; 0: none."""
    sample_rate_hz: Annotated[int, Field(ge=8000, le=384_000)] = 48_000
    """Rate of both devices."""
    block_frames: Annotated[int, Field(ge=0, le=65_536)] = 1024
    """Frames in a block; 0 leaves it to the system."""
    latency_s: Annotated[float, Field(ge=0.0, le=2.0)] = 0.1
    """Latency asked for; more of it outlasts a busy computer."""
    timing: Literal["loopback", "marker"] = "loopback"
    """How recordings keep time."""
    microphone_calibration: Annotated[str, Field(max_length=2000)] = ""
    """The microphone's calibration file on this computer; nothing: none."""
    unit_level_db: Annotated[float, Field(ge=-50.0, le=250.0)] | None = None
    """Sound pressure level [dB re 20 µPa] of an rms of 1 at full scale, from a calibrator; None: never calibrated."""
    calibrated_on: Text = ""
    """Day of that calibration."""
    loudest_db: Annotated[float, Field(ge=60.0, le=130.0)] = LOUDEST_DB
    """Level at the microphone above which a take stops by itself [dB re 20 µPa]."""

    @property
    def inputs(self) -> int:
        """Input channels that have to be opened."""
        return max(self.microphone_channel, self.copy_channel) if self.input_name else 0

    @property
    def outputs(self) -> int:
        """Output channels that have to be opened."""
        return max(self.car_channel, self.second_channel) if self.output_name else 0


def settings_file(folder: Path | None = None) -> Path:
    """Where the settings lie: ``folder``, or this system's place for a user's settings."""
    return (folder or Path(platformdirs.user_config_dir("cabinwright", appauthor=False))) / FILE


def load_settings(folder: Path | None = None) -> CardSettings | None:
    """What was chosen on this computer; None where nothing was. Raises ``CardError`` where the file cannot be used."""
    file = settings_file(folder)
    cure = "Choose anew with `cabinwright record --card`, or take the file away."
    try:
        with file.open("rb") as stream:
            content = stream.read(LIMIT_BYTES + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise CardError(f"{file}: cannot be read: {error.strerror or error}. Check that you may read it.") from error
    if len(content) > LIMIT_BYTES:
        raise CardError(f"{file}: larger than any settings are. {cure}")
    try:
        json.loads(content)
        return CardSettings.model_validate_json(content)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise CardError(f"{file}: {place}: {first['msg']}. {cure}") from None
    except (ValueError, RecursionError) as error:
        raise CardError(f"{file}: is no JSON ({error}). {cure}") from None


def save_settings(settings: CardSettings, folder: Path | None = None) -> Path:
    """Keep the choice; the earlier one is whole until the new one is. Raises ``OutputError``."""
    file = settings_file(folder)
    write_all(file.parent, {file.name: settings.model_dump_json(indent=1) + "\n"})
    return file
