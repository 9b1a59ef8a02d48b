"""What a build is: the models behind ``build.toml``. No physics, no disk."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = [
    "Build",
    "Channel",
    "MicrophonePosition",
    "Processor",
    "Recording",
    "Role",
    "Seat",
    "Speaker",
    "SweepSettings",
    "Tuning",
    "Vehicle",
]

Role = Literal[
    "tweeter", "midrange", "coaxial", "fullrange", "midbass", "woofer", "subwoofer", "rear fill", "centre"
]
Side = Literal["left", "right", "centre"]
Point = tuple[float, float, float]
Name = Annotated[str, Field(min_length=1, max_length=80)]


class Model(BaseModel):
    """Strict and frozen; unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Vehicle(Model):
    name: Name
    driving_side: Literal["left", "right"]


class Seat(Model):
    name: Name
    head_m: Point


class Processor(Model):
    sample_rate_hz: float = 48000.0
    peaking_filters: int = 10
    delay_step_s: float = 1.0 / 48000.0
    delay_max_s: float = 0.02
    gain_step_db: float = 0.1
    gain_min_db: float = -40.0
    gain_max_db: float = 0.0
    peaking_gain_min_db: float = -15.0
    peaking_gain_max_db: float = 6.0
    peaking_gain_step_db: float = 0.1
    peaking_q_min: float = 0.4
    peaking_q_max: float = 8.0
    peaking_q_step: float = 0.01
    frequency_step_hz: float = 1.0
    crossover_families: tuple[Literal["Linkwitz-Riley", "Butterworth"], ...] = ("Linkwitz-Riley", "Butterworth")
    crossover_slopes_db_per_octave: tuple[int, ...] = (12, 18, 24)
    all_pass_filters: int = 0


class Speaker(Model):
    name: Name
    role: Role
    side: Side
    position_m: Point | None = None
    aim: Point | None = None
    safe_low_hz: float | None = None
    safe_high_hz: float | None = None


class Channel(Model):
    name: Name
    speakers: tuple[Name, ...]


class MicrophonePosition(Model):
    name: Name
    at_m: Point
    seat: Name


class Recording(Model):
    channel: Name
    position: Name
    kind: Literal["sweep", "impulse"]
    file: str


class SweepSettings(Model):
    length_s: float = 10.0
    level_db: float = -12.0
    low_hz: float = 10.0
    high_hz: float = 22000.0


class Tuning(Model):
    seat: Name | None = None
    timing: Literal["loopback", "marker"] | None = None
    house_curve: tuple[tuple[float, float], ...] | None = None
    microphone_calibration: str | None = None
    marker_channel: Name | None = None
    sweep: SweepSettings = SweepSettings()


class Build(Model):
    schema_: Literal[1] = Field(alias="schema")
    title: Name
    vehicle: Vehicle
    seats: tuple[Seat, ...] = ()
    processor: Processor | None = None
    speakers: tuple[Speaker, ...] = ()
    channels: tuple[Channel, ...] = ()
    microphone_positions: tuple[MicrophonePosition, ...] = ()
    recordings: tuple[Recording, ...] = ()
    verification_recordings: tuple[Recording, ...] = ()
    tuning: Tuning | None = None
