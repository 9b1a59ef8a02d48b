"""The tables of the signal chain: sources, converters, the processor's inputs, amplifiers, presets. No physics.

Every voltage is the rms value of a sine. A node without ``sample_rate_hz`` is analogue.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Number, OneOrMore, Quantity, RelativePath

__all__ = [
    "Amplifier",
    "AmplifierChannel",
    "AmplifierRating",
    "Chain",
    "Converter",
    "Extra",
    "Preset",
    "ProcessorInput",
    "Route",
    "ServiceBypass",
    "SignalNode",
    "Sound",
    "Source",
    "TurnOn",
]

Sound = Literal["music", "warnings", "navigation", "parking", "calls"]

Volts = Annotated[float, Quantity("v", ge=1e-6, le=200.0)]
Noise = Annotated[float, Quantity("v", ge=0.0, le=1.0)]
Ohms = Annotated[float, Quantity("ohm", ge=0.0, le=10_000_000.0)]
Impedance = Annotated[float, Quantity("ohm", ge=0.001, le=10_000_000.0)]
LoadOhms = Annotated[float, Quantity("ohm", ge=0.01, le=1000.0)]
Watts = Annotated[float, Quantity("w", ge=0.001, le=50_000.0)]
Decibels = Annotated[float, Quantity("db", ge=-120.0, le=60.0)]
Rate = Annotated[float, Quantity("hz", ge=8000.0, le=768_000.0)]
Seconds = Annotated[float, Quantity("s", ge=0.0, le=60.0)]
Loudness = Annotated[Number, Field(ge=-70.0, le=0.0)]
USUAL_LEAST_OHM = 4.0  #: that every amplifier for cars stands, common practice
Names = Annotated[tuple[Name, ...], Field(strict=False, max_length=64)]


class SignalNode(Model):
    """What every part of the chain has."""

    name: Name
    """What the rest of the chain and the diagram call it."""
    connector: Name | None = None
    """Plug or socket, for the diagram and the pin tables."""
    balanced: bool = False
    """Whether its line is balanced (differential)."""
    sample_rate_hz: Rate | None = None
    """Sample rate where it is digital; absent: analogue."""
    bits: Annotated[int, Field(ge=8, le=32)] | None = None
    """Bits of a sample where it is digital."""
    lossy: bool = False
    """Whether the sound is coded with loss on this way."""
    volume_controlled: bool = False
    """Whether a person's volume control acts here."""

    @model_validator(mode="after")
    def _digital(self) -> Self:
        require(self.bits is None or self.sample_rate_hz is not None, "bits", "bits go with sample_rate_hz")
        return self


class Source(SignalNode):
    """Something that plays: the car's own radio, a phone, a player."""

    kind: Literal["factory radio", "wireless", "optical", "wired digital", "analogue"]
    """How it comes into the chain; `factory radio` plays through the factory outputs and their repair."""
    carries: Annotated[tuple[Sound, ...], Field(strict=False, min_length=1)] = ("music",)
    """What is heard from it: music, and the car's own warnings, navigation, parking sounds and calls."""
    output_v: Volts | None = None
    """Its output at digital full scale, or where it clips; at its highest volume to be used. Absent for a digital output."""
    output_ohm: Ohms = 100.0
    """Output impedance."""
    noise_v: Noise | None = None
    """Noise at its output, rms, 20 Hz to 20 kHz unweighted; absent: none is counted, and the figures say so."""
    loudness_lufs: Loudness | None = None
    """Loudness of its usual programme against full scale, after ITU-R BS.1770; absent: -14, common practice."""
    programme: RelativePath | None = None
    """A recording of its programme inside the build folder, full scale as the source's own; its loudness is measured."""


class Converter(SignalNode):
    """Something between a source and the processor: a converter, a line-level adaptor, a transformer."""

    from_: Name = Field(alias="from")
    """The source, factory output or converter before it."""
    input_v: Volts | None = None
    """Input at which it clips; absent for a digital input."""
    input_ohm: Impedance = 10_000.0
    """Input impedance."""
    output_v: Volts | None = None
    """Output at full scale, or where it clips. Absent for a digital output."""
    output_ohm: Ohms = 100.0
    """Output impedance."""
    noise_v: Noise | None = None
    """Noise at its output, rms, 20 Hz to 20 kHz unweighted."""
    gain_db: Decibels | None = None
    """Gain from input to output where both are analogue; absent: output_v over input_v."""
    gain_min_db: Decibels | None = None
    """Lowest gain of its control, where it has one; its gain is then set to suit."""
    gain_max_db: Decibels | None = None
    """Highest gain of its control."""

    @model_validator(mode="after")
    def _control(self) -> Self:
        low, high = self.gain_min_db, self.gain_max_db
        require((low is None) == (high is None), "gain_min_db", "a control has gain_min_db and gain_max_db")
        require(low is None or high is None or low <= high, "gain_min_db", "gain_min_db is at most gain_max_db")
        return self


class ProcessorInput(SignalNode):
    """One input of the processor: one line, or one digital stream with both sides."""

    from_: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=8)] = Field(alias="from")
    """What is joined to it: a source, a converter or a factory output, by name."""
    side: Literal["left", "right", "both"] = "both"
    """Which side of the music comes in here; `both` for a digital stream."""
    input_v: Volts | None = None
    """Input at which it clips at its lowest sensitivity; absent for a digital input."""
    input_min_v: Volts | None = None
    """Input for full scale at its highest sensitivity; absent: its sensitivity is fixed."""
    input_ohm: Impedance = 10_000.0
    """Input impedance."""
    noise_v: Noise | None = None
    """Noise referred to this input at its lowest sensitivity, rms, 20 Hz to 20 kHz unweighted."""

    @model_validator(mode="after")
    def _range(self) -> Self:
        low, high = self.input_min_v, self.input_v
        require(low is None or (high is not None and low <= high), "input_min_v", "input_min_v is at most input_v")
        return self


class AmplifierRating(Model):
    """Power that its maker states for one load."""

    load_ohm: LoadOhms
    """Load of each channel, or of a bridged pair."""
    power_w: Watts
    """Power into it, sine, all channels driven."""
    bridged: bool = False
    """Whether two channels drive it together."""


class AmplifierChannel(Model):
    """One output of an amplifier, or a bridged pair."""

    name: Name
    """What the amplifier's label calls it."""
    from_: Name = Field(alias="from")
    """The processor's channel that feeds it."""
    speakers: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=16)]
    """The loudspeakers on it."""
    wiring: Literal["series", "parallel", "series-parallel"] | None = None
    """How loudspeakers are joined; absent: proposed."""
    coils: Literal["series", "parallel"] | None = None
    """How the coils of each loudspeaker are joined, where it has two or more; absent: proposed."""
    bridged: bool = False
    """Whether it is two channels bridged."""
    passive_crossover: bool | None = None
    """Whether a passive crossover gives each of its loudspeakers its own band; absent: where their roles differ."""


class Amplifier(SignalNode):
    """An amplifier as the signal sees it; what it draws stands in `[[loads]]`."""

    load: Name | None = None
    """Its name among the loads; absent: the load of the same name, where there is one."""
    channels: Annotated[tuple[AmplifierChannel, ...], Field(strict=False, min_length=1, max_length=16)]
    """Its channels in use."""
    ratings: Annotated[tuple[AmplifierRating, ...], Field(strict=False, min_length=1, max_length=16)]
    """Its stated powers."""
    channel_count: Annotated[int, Field(ge=1, le=32)] | None = None
    """How many channels it has in all; a bridged pair takes two. Absent: those in use."""
    rated_v: Annotated[float, Quantity("v", ge=1.0, le=60.0)] = 14.4
    """Supply voltage at which the powers are stated."""
    regulated: bool = False
    """Whether its supply is regulated, so that power does not follow the supply voltage."""
    minimum_ohm: LoadOhms | None = None
    """Lowest load of a channel; absent: 4 ohm, or the lowest load that a power is stated for."""
    bridged_minimum_ohm: LoadOhms | None = None
    """Lowest load of a bridged pair; absent: the lowest that a bridged power is stated for, else it cannot be bridged."""
    input_ohm: Impedance = 10_000.0
    """Input impedance."""
    input_min_v: Volts = 0.2
    """Input for rated output with its gain control full up."""
    input_max_v: Volts = 4.0
    """Input for rated output with its gain control full down."""
    noise_v: Noise | None = None
    """Noise referred to its input, rms, 20 Hz to 20 kHz unweighted."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        require(self.input_min_v <= self.input_max_v, "input_min_v", "input_min_v is at most input_max_v")
        loads = [(row.load_ohm, row.bridged) for row in self.ratings]
        require(len(set(loads)) == len(loads), "ratings", "each load has one power, and one more where it is bridged")
        return self

    @property
    def senses_stated(self) -> bool:
        """Whether the build says where its gain control ends."""
        return {"input_min_v", "input_max_v"} <= self.model_fields_set

    @property
    def least_ohm(self) -> float:
        """Lowest load of a channel: a maker who states a power into a load lets it be driven."""
        if self.minimum_ohm is not None:
            return self.minimum_ohm
        return min([USUAL_LEAST_OHM, *(row.load_ohm for row in self.ratings if not row.bridged)])

    @property
    def bridged_least_ohm(self) -> float | None:
        """Lowest load of a bridged pair; None where it cannot be bridged."""
        if self.bridged_minimum_ohm is not None:
            return self.bridged_minimum_ohm
        return min((row.load_ohm for row in self.ratings if row.bridged), default=None)


class Route(Model):
    """What one of the processor's channels gets in a preset."""

    channel: Name
    """The processor's channel."""
    left_db: Decibels | None = None
    """Level of the left side in it; absent: none of it."""
    right_db: Decibels | None = None
    """Level of the right side in it; absent: none of it."""


class Extra(Model):
    """A second source that is heard in a preset, such as the car's warnings over a phone's music."""

    source: Name
    """The source that is mixed in."""
    level_db: Decibels = 0.0
    """Its level against the level it has in a preset of its own."""


class Preset(Model):
    """One way through the processor, for one source."""

    name: Name
    """What the processor's remote and the book call it."""
    source: Name
    """The source it is for."""
    trim_db: Decibels | None = None
    """Input trim; absent: computed, so that all presets are equally loud."""
    routes: Annotated[tuple[Route, ...], Field(strict=False, max_length=64)] = ()
    """What each channel gets; absent: its speakers' side, and both sides at -6 dB for those in the centre."""
    also: Annotated[tuple[Extra, ...], Field(strict=False, max_length=8), OneOrMore()] = ()
    """Other sources heard in this preset."""


class TurnOn(Model):
    """When one part of the chain wakes and sleeps."""

    device: Name
    """A source, a converter, `processor` or an amplifier."""
    by: Name | None = None
    """What wakes it: another device of the chain; absent: the car itself, at time zero."""
    wakes_s: Seconds = 0.0
    """From its trigger to the moment it passes sound."""
    sleeps_s: Seconds = 0.0
    """From the end of its trigger to the moment it passes nothing."""
    thump: bool = True
    """Whether its output jumps while it wakes or sleeps; false where its maker states a muted output."""
    jumps_on_s: Seconds | None = None
    """From its trigger to the jump; absent: at any time up to `wakes_s`."""
    jumps_off_s: Seconds | None = None
    """From the end of its trigger to the jump; absent: at any time from then on."""


class ServiceBypass(Model):
    """How a data bus of the car is handed back to a scan tool."""

    name: Name
    """What the book calls it."""
    bus: Name
    """The bus, as the car's papers call it."""
    from_: Name = Field(alias="from")
    """Node of the bus on the car's side."""
    to: Name
    """Node of the bus at the scan tool's socket."""
    when: dict[str, str]
    """States in which it is handed back."""
    silent: Names = ()
    """Loads that must be off meanwhile, such as the module that sits on the bus."""
    steps: Annotated[
        tuple[Annotated[str, Field(min_length=1, max_length=300)], ...], Field(strict=False, max_length=20)
    ] = ()
    """What to do, in words, for the book."""


class Chain(Model):
    """What the signal chain is to reach."""

    clip_at_v: Volts | None = None
    """Level at the processor's outputs at which everything shall clip together; absent: where they clip themselves."""
    meter_hz: Annotated[float, Quantity("hz", ge=20.0, le=20_000.0)] | None = None
    """Frequency of the sine to set gains with; absent: the middle of each channel's band."""
    meter_level_db: Annotated[float, Quantity("db", ge=-60.0, le=0.0)] = 0.0
    """Level of that sine below full scale."""
    spare_speakers: bool = False
    """Whether amplifiers are set so low that a sine at full level gives no loudspeaker more than its `pe_w`."""
    crest_db: Annotated[float, Quantity("db", ge=0.0, le=30.0)] = 12.0
    """Peak of the music over its mean power; 12 common practice, loud and compressed music 6."""
    seat_level_db: Annotated[float, Quantity("db", ge=60.0, le=140.0)] = 105.0
    """Peak level wanted at the seat, re 20 µPa."""
    must_hear: Annotated[tuple[Sound, ...], Field(strict=False)] = ("warnings", "navigation", "parking")
    """The car's own sounds that must reach a loudspeaker in every preset, as far as a source carries them."""
    warns_when: Annotated[tuple[dict[str, str], ...], Field(strict=False, max_length=20), OneOrMore()] = ()
    """States in which the car sounds them, one table or several; absent: whenever any amplifier is on."""
    usable_db: Annotated[float, Quantity("db", ge=-60.0, le=0.0)] = -12.0
    """Lowest usable level of such a sound against its own level in a preset of its own source."""
    centre_db: Decibels = -6.0
    """Level at which either side goes into a channel for both; -6 keeps a centred voice at its level."""
