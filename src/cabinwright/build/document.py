"""What a build is: the models behind ``build.toml``. No physics, no disk.

The text under each field is its entry in ``docs/build_reference.md`` and in the JSON Schema.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Hertz, Model
from cabinwright.build.base import require as _rule
from cabinwright.build.cabin import Cabin, LayoutWishes, Place
from cabinwright.build.chain import Amplifier, Chain, Converter, Preset, ProcessorInput, ServiceBypass, Source, TurnOn
from cabinwright.build.connectors import Connector
from cabinwright.build.electrical import (
    Fuse,
    Load,
    Promise,
    Relay,
    SignalCable,
    StateVariable,
    Supply,
    Switch,
    Wire,
)
from cabinwright.build.factory import FactoryOutput, FactoryRecording
from cabinwright.build.fields import (
    Direction,
    Family,
    Name,
    Number,
    OneOrMore,
    Quantity,
    Role,
    Side,
    Spot,
)
from cabinwright.build.fixings import AddedMass, Fixing, Payload
from cabinwright.build.floors import Floor
from cabinwright.build.lights import Light
from cabinwright.build.limits import Limits
from cabinwright.build.loudspeaker import Box, ImpedanceCurve, SpeakerModel
from cabinwright.build.mounts import Jig, Pod, Ring
from cabinwright.build.service import ServiceStep
from cabinwright.build.survey import Survey
from cabinwright.build.tuning import Crossover, Recording, Slope, SweepSettings, Tuning
from cabinwright.build.workshop import Panel, Sheet, Workshop

__all__ = [
    "Build",
    "Channel",
    "Crossover",
    "Family",
    "MicrophonePosition",
    "Processor",
    "RecordedFilter",
    "Recording",
    "Role",
    "Seat",
    "Speaker",
    "SweepSettings",
    "Tuning",
    "Vehicle",
    "Voice",
]

Decibels = Annotated[float, Quantity("db", ge=-120.0, le=120.0)]
Room = Annotated[float, Quantity("m", ge=0.0, le=1.5)]
StepDecibels = Annotated[float, Quantity("db", gt=0.0, le=12.0)]
Ratio = Annotated[Number, Field(gt=0.0, le=100.0)]


class Vehicle(Model):
    """The car. Its axes: x towards the rear, y to the right, z up; left and right are the car's own."""

    name: Name
    """What you call the car; it stands on every page."""
    driving_side: Literal["left", "right"]
    """The side the driver sits on."""


class Seat(Model):
    """A seat that somebody listens from."""

    name: Name
    """What other tables call this seat."""
    head_m: Spot
    """Centre of the listener's head, between the ears: x, y, z, or a surveyed point's name."""
    head_box_m: Annotated[tuple[Room, Room, Room], Field(strict=False)] = (0.16, 0.1, 0.1)
    """Size of the box around it that heads of different people and postures fill, along x, y and z."""
    eyes_m: Spot | None = None
    """Midway between the eyes; absent: 8 cm before and 3 cm above the centre of the head, common practice."""


class Processor(Model):
    """What the signal processor can do. Every value of a tune lies on its grid. The defaults suit many processors."""

    sample_rate_hz: Annotated[float, Quantity("hz", ge=8000.0, le=384_000.0)] = 48000.0
    """Rate at which the processor works."""
    peaking_filters: Annotated[int, Field(ge=0, le=64)] = 10
    """Peaking filters in each channel, beside its crossovers."""
    delay_step_s: Annotated[float, Quantity("s", gt=0.0, le=0.001)] = 1.0 / 48000.0
    """Smallest step of delay; the default is one sample at 48 kHz."""
    delay_max_s: Annotated[float, Quantity("s", ge=0.0, le=2.0)] = 0.02
    """Longest delay of a channel."""
    gain_step_db: StepDecibels = 0.1
    """Smallest step of a channel's gain."""
    gain_min_db: Decibels = -40.0
    """Lowest gain of a channel."""
    gain_max_db: Decibels = 0.0
    """Highest gain of a channel."""
    peaking_gain_min_db: Annotated[float, Quantity("db", ge=-60.0, le=0.0)] = -15.0
    """Deepest cut of a peaking filter."""
    peaking_gain_max_db: Annotated[float, Quantity("db", ge=0.0, le=30.0)] = 6.0
    """Highest boost of a peaking filter."""
    peaking_gain_step_db: StepDecibels = 0.1
    """Smallest step of a peaking filter's gain."""
    peaking_q_min: Ratio = 0.4
    """Lowest Q (widest bell) of a peaking filter."""
    peaking_q_max: Ratio = 8.0
    """Highest Q (narrowest bell) of a peaking filter."""
    peaking_q_step: Ratio = 0.01
    """Smallest step of Q."""
    frequency_step_hz: Annotated[float, Quantity("hz", gt=0.0, le=100.0)] = 1.0
    """Smallest step of every filter's frequency."""
    crossover_families: Annotated[tuple[Family, ...], Field(strict=False, min_length=1)] = (
        "Linkwitz-Riley",
        "Butterworth",
    )
    """Crossover families it offers."""
    crossover_slopes_db_per_octave: Annotated[tuple[Slope, ...], Field(strict=False, min_length=1)] = (12, 18, 24)
    """Crossover slopes it offers, multiples of 6; a Linkwitz-Riley uses those that are multiples of 12."""
    all_pass_filters: Annotated[int, Field(ge=0, le=64)] = 0
    """Second-order all-pass filters in each channel."""
    output_v: Annotated[float, Quantity("v", gt=0.0, le=200.0)] | None = None
    """Output at digital full scale, rms of a sine; absent: no gain structure is worked out."""
    output_ohm: Annotated[float, Quantity("ohm", ge=0.0, le=100_000.0)] = 100.0
    """Output impedance."""
    output_noise_v: Annotated[float, Quantity("v", ge=0.0, le=1.0)] | None = None
    """Noise at an output with nothing playing, rms, 20 Hz to 20 kHz unweighted."""

    @model_validator(mode="after")
    def _ranges(self) -> Self:
        _rule(self.gain_min_db <= self.gain_max_db, "gain_min_db", "gain_min_db cannot be above gain_max_db")
        _rule(self.peaking_q_min <= self.peaking_q_max, "peaking_q_min", "peaking_q_min cannot be above peaking_q_max")
        slopes = self.crossover_slopes_db_per_octave
        key = "crossover_slopes_db_per_octave"
        _rule(all(slope % 6 == 0 for slope in slopes), key, "crossover slopes are multiples of 6 dB per octave")
        _rule(
            "Butterworth" in self.crossover_families or any(slope % 12 == 0 for slope in slopes),
            key,
            "a Linkwitz-Riley crossover needs a slope that is a multiple of 12 dB per octave",
        )
        return self


class Speaker(Model):
    """One loudspeaker, where it sits and what it may be fed."""

    name: Name
    """What channels call this speaker."""
    role: Role
    """What it is there for; its default safe range follows from it."""
    side: Side
    """The side of the car it plays for."""
    position_m: Spot | None = None
    """Where it sits: x, y, z, or a surveyed point's name. Without it, checks of arrival and distance are left out."""
    aim: Direction | None = None
    """Direction its axis points to, as x, y, z parts of any length."""
    model: Name | None = None
    """Name of its speaker model."""
    impedance_ohm: Annotated[float, Quantity("ohm", gt=0.0, le=1000.0)] | None = None
    """Nominal impedance of one voice coil; absent: the usual value that the model's `re_ohm` points to."""
    minimum_ohm: Annotated[float, Quantity("ohm", gt=0.0, le=1000.0)] | None = None
    """Lowest impedance of one voice coil; absent: the model's, or four fifths of the nominal one (IEC 60268-5)."""
    coils: Annotated[int, Field(ge=1, le=8)] | None = None
    """Number of its voice coils; absent: the model's, or one."""
    pe_w: Annotated[float, Quantity("w", gt=0.0, le=50_000.0)] | None = None
    """Power that its voice coils together stand for long; absent: the model's."""
    sensitivity_db: Annotated[float, Quantity("db", ge=60.0, le=120.0)] | None = None
    """Level at 1 m for 2.83 V, its coils in parallel; absent: from the model's figures, in half space."""
    safe_low_hz: Hertz | None = None
    """Lowest frequency its maker allows at full level; absent: by role, common practice."""
    safe_high_hz: Hertz | None = None
    """Highest frequency it is meant to play; absent: by role, common practice."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        _rule(self.aim is None or any(self.aim), "aim", "aim is a direction and cannot be all zeros")
        low, high = self.safe_low_hz, self.safe_high_hz
        _rule(low is None or high is None or low < high, "safe_low_hz", "safe_low_hz must lie below safe_high_hz")
        return self


class RecordedFilter(Model):
    """A filter of the processor that was on while its channel was recorded, and that the tune divides out again."""

    kind: Literal["high-pass", "low-pass"]
    """What it lets through."""
    frequency_hz: Hertz
    """Its corner as the processor shows it; below half the processor's rate."""
    family: Family = "Linkwitz-Riley"
    """Its family."""
    slope_db_per_octave: Slope = 24
    """Its slope, a multiple of 6; of 12 for a Linkwitz-Riley."""

    @model_validator(mode="after")
    def _exists(self) -> Self:
        key, slope = "slope_db_per_octave", self.slope_db_per_octave
        _rule(slope % 6 == 0, key, "slopes are multiples of 6 dB per octave")
        even = self.family != "Linkwitz-Riley" or slope % 12 == 0
        _rule(even, key, "a Linkwitz-Riley slope is a multiple of 12 dB per octave")
        return self


class Channel(Model):
    """One output of the processor and the speakers it drives. Leave an unused output out."""

    name: Name
    """What recordings and the settings page call this channel."""
    speakers: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=16)]
    """Names of the speakers it drives; more than one where a passive crossover or a parallel pair hangs on it."""
    recorded_with: Annotated[tuple[RecordedFilter, ...], Field(strict=False, max_length=8), OneOrMore()] = ()
    """The processor's filters that were on while it was recorded, one table or several; a tweeter's protective high-pass."""


class MicrophonePosition(Model):
    """A point where the microphone stood; six or more around the head make a good set."""

    name: Name
    """What recordings call this position."""
    at_m: Spot
    """Where the microphone stood: x, y, z, or a surveyed point's name."""
    seat: Name
    """The seat it belongs to."""
    ear: Literal["left", "right"] | None = None
    """The ear it stood at, of somebody or a dummy in the seat, for where a voice stands; absent: no head was there."""


class Voice(Model):
    """Where a voice in the middle should be heard from."""

    stands_m: Spot | None = None
    """Where the singer stands on the dashboard: x, y, z, or a surveyed point; absent: straight ahead of who is tuned for."""


class Build(Model):
    """One car, its parts and the decisions made about it."""

    schema_: Literal[1] = Field(alias="schema")
    """Version of this format."""
    title: Name
    """Title of the build; it stands on every page."""
    vehicle: Vehicle
    """The car."""
    seats: Annotated[tuple[Seat, ...], Field(strict=False, max_length=20)] = ()
    """Seats, one table each."""
    processor: Processor | None = None
    """The signal processor; absent: the defaults below."""
    speakers: Annotated[tuple[Speaker, ...], Field(strict=False, max_length=100)] = ()
    """Loudspeakers, one table each."""
    speaker_models: Annotated[tuple[SpeakerModel, ...], Field(strict=False, max_length=100)] = ()
    """Drive units, one table each."""
    boxes: Annotated[tuple[Box, ...], Field(strict=False, max_length=50)] = ()
    """Enclosures, one table each."""
    impedance_curves: Annotated[tuple[ImpedanceCurve, ...], Field(strict=False, max_length=200)] = ()
    """Measured impedance sweeps of drive units, one table each."""
    channels: Annotated[tuple[Channel, ...], Field(strict=False, max_length=64)] = ()
    """Processor outputs, one table each."""
    microphone_positions: Annotated[tuple[MicrophonePosition, ...], Field(strict=False, max_length=200)] = ()
    """Microphone positions, one table each."""
    recordings: Annotated[tuple[Recording, ...], Field(strict=False, max_length=5000)] = ()
    """Recordings for the tune, one table each."""
    verification_recordings: Annotated[tuple[Recording, ...], Field(strict=False, max_length=5000)] = ()
    """Recordings made after the settings were loaded, one table each."""
    tuning: Tuning | None = None
    """The tune."""
    voice: Voice = Voice()
    """Where a voice in the middle should stand."""
    survey: Survey | None = None
    """The cabin measured with a tape."""
    cabin: Cabin | None = None
    """The inside of the car."""
    places: Annotated[tuple[Place, ...], Field(strict=False, max_length=2000)] = ()
    """Places where a speaker could go, one table each."""
    layout: LayoutWishes = LayoutWishes()
    """How places are compared."""
    limits: Limits = Limits()
    """What whoever it is for does not want passed."""
    factory_outputs: Annotated[tuple[FactoryOutput, ...], Field(strict=False, max_length=32)] = ()
    """Outputs of the car's own radio, one table each; the first is the reference of every capture."""
    factory_recordings: Annotated[tuple[FactoryRecording, ...], Field(strict=False, max_length=500)] = ()
    """Captures of those outputs, one table each."""
    sources: Annotated[tuple[Source, ...], Field(strict=False, max_length=32)] = ()
    """What plays, one table each."""
    converters: Annotated[tuple[Converter, ...], Field(strict=False, max_length=32)] = ()
    """What stands between sources and the processor, one table each."""
    inputs: Annotated[tuple[ProcessorInput, ...], Field(strict=False, max_length=32)] = ()
    """The processor's inputs, one table each."""
    amplifiers: Annotated[tuple[Amplifier, ...], Field(strict=False, max_length=32)] = ()
    """Amplifiers as the signal sees them, one table each."""
    presets: Annotated[tuple[Preset, ...], Field(strict=False, max_length=16)] = ()
    """Presets of the processor, one table each."""
    turn_on: Annotated[tuple[TurnOn, ...], Field(strict=False, max_length=64)] = ()
    """When each part wakes and sleeps, one table each."""
    service_bypasses: Annotated[tuple[ServiceBypass, ...], Field(strict=False, max_length=16)] = ()
    """How the car's data buses are handed back to a scan tool, one table each."""
    chain: Chain = Chain()
    """What the signal chain is to reach."""
    supply: Supply | None = None
    """Battery, alternator and voltage of the car."""
    wires: Annotated[tuple[Wire, ...], Field(strict=False, max_length=400)] = ()
    """Wires, one table each."""
    connectors: Annotated[tuple[Connector, ...], Field(strict=False, max_length=100)] = ()
    """Connectors of the harness, one table each."""
    fuses: Annotated[tuple[Fuse, ...], Field(strict=False, max_length=100)] = ()
    """Fuses, one table each."""
    switches: Annotated[tuple[Switch, ...], Field(strict=False, max_length=100)] = ()
    """Switches, one table each."""
    relays: Annotated[tuple[Relay, ...], Field(strict=False, max_length=100)] = ()
    """Relays, one table each."""
    loads: Annotated[tuple[Load, ...], Field(strict=False, max_length=200)] = ()
    """Loads, one table each."""
    signal_cables: Annotated[tuple[SignalCable, ...], Field(strict=False, max_length=100)] = ()
    """Signal cables held against hum, one table each."""
    states: Annotated[tuple[StateVariable, ...], Field(strict=False, max_length=32)] = ()
    """What the car can be, one table for each thing."""
    promises: Annotated[tuple[Promise, ...], Field(strict=False, max_length=200)] = ()
    """What shall hold in every state, one table each."""
    sheets: Annotated[tuple[Sheet, ...], Field(strict=False, max_length=100)] = ()
    """Stock to cut from, one table each."""
    panels: Annotated[tuple[Panel, ...], Field(strict=False, max_length=300)] = ()
    """Flat parts, one table each."""
    lights: Annotated[tuple[Light, ...], Field(strict=False, max_length=50)] = ()
    """Strips of lights in panels, one table each."""
    rings: Annotated[tuple[Ring, ...], Field(strict=False, max_length=50)] = ()
    """Baffle rings, one table each."""
    pods: Annotated[tuple[Pod, ...], Field(strict=False, max_length=50)] = ()
    """Skeletons of moulded pods, one table each."""
    jigs: Annotated[tuple[Jig, ...], Field(strict=False, max_length=100)] = ()
    """Plates to set angles and drill by, one table each."""
    floors: Annotated[tuple[Floor, ...], Field(strict=False, max_length=20)] = ()
    """False floors, one table each."""
    fixings: Annotated[tuple[Fixing, ...], Field(strict=False, max_length=50)] = ()
    """What holds boxes and amplifiers in a crash, one table each."""
    masses: Annotated[tuple[AddedMass, ...], Field(strict=False, max_length=200)] = ()
    """Masses that are added or taken out, one table each."""
    payload: Payload | None = None
    """What the car may carry."""
    service_steps: Annotated[tuple[ServiceStep, ...], Field(strict=False, max_length=300)] = ()
    """What comes out of the car, and what must come out before it, one table each."""
    workshop: Workshop = Workshop()
    """How parts are laid out and printed."""
