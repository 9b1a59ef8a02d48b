"""What a build says of each loudspeaker that an amplifier has to drive, from its own figures and those of its model."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from cabinwright.build.document import Build, Seat, Speaker
from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.physics.box import Load, passband_db
from cabinwright.physics.driver import Driver
from cabinwright.physics.driver_figures import FIGURES, complete
from cabinwright.stages.enclosure.result import BoxResult
from cabinwright.tables import role_row

__all__ = ["Band", "DriveUnit", "drive_units", "heard_from"]

USUAL_OHM = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 16.0)
NOMINAL_OVER_RE = 1.2  #: a nominal impedance over the resistance of its coil, common practice
SENSITIVITY_V = 2.83  #: 1 W into 8 ohm, as makers round it
LEAST_SHARE = 0.8  #: of its nominal impedance that a loudspeaker may dip to, IEC 60268-5

Band = tuple[float, float]


@dataclass(frozen=True)
class DriveUnit:
    """One loudspeaker as a load. Coil figures are one coil's own."""

    name: str
    role: str
    nominal_ohm: float | None  #: None where nothing tells
    nominal_from: str  #: "stated" or "re_ohm"
    least_ohm: float | None
    least_from: str  #: "stated", "box" (its computed curve) or "assumed"
    coils: int  #: on the amplifier channel that is looked at
    pe_w: float | None  #: that these coils stand
    sensitivity_db: float | None  #: at 1 m for ``reference_v`` over each coil
    sensitivity_from: str
    reference_v: float
    driver: Driver | None
    coil_over_model: float  #: impedance of one coil against that of the model's figures
    terminal_per_coil: float  #: voltage at the terminals its figures hold for, for one volt at each coil
    xmax_m: float | None
    box_m3: float | None  #: volume of a sealed box; infinite: in an infinite baffle; None: not known, or vented
    distance_m: float | None  #: to the head of the seat that is tuned for
    band: Band  #: what it may be given, as stated or by role

    @property
    def least_known(self) -> bool:
        """Whether more than the usual share of its nominal impedance says how far it dips."""
        return self.least_from != "assumed"

    def shared(self, lines: int) -> DriveUnit:
        """As one of several amplifier channels sees it that drive as many of its coils each."""
        if lines < 2 or self.coils % lines:
            return self
        return replace(self, coils=self.coils // lines, pe_w=None if self.pe_w is None else self.pe_w / lines)

    def boxed(self, box: BoxResult | None) -> DriveUnit:
        """With the lowest impedance of its computed box, where that dips lower than what is stated."""
        if box is None or self.nominal_ohm is None:
            return self
        count = max(1, len(box.speakers))
        alone = {"series": 1.0 / count, "series-parallel": 1.0}.get(box.wiring, float(count))
        least = box.minimum_impedance_ohm * alone * self.coil_over_model
        if self.least_from == "stated" and self.least_ohm is not None and self.least_ohm <= least:
            return self
        return replace(self, least_ohm=least, least_from="box")


def drive_units(build: Build) -> dict[str, DriveUnit]:
    """Every loudspeaker of the build by name."""
    models = {row.name: row for row in build.speaker_models}
    seat = heard_from(build)
    return {row.name: _unit(build, row, models.get(row.model or ""), seat) for row in build.speakers}


def heard_from(build: Build) -> Seat | None:
    """The seat that levels hold for: the one that is tuned for, the only one, or the driver's."""
    wanted = build.tuning.seat if build.tuning else None
    sign = 1.0 if build.vehicle.driving_side == "right" else -1.0
    seats = [row for row in build.seats if wanted in (None, row.name) and _spot(row.head_m)]
    return max(seats, key=lambda row: sign * float(row.head_m[1]), default=None)


def _spot(place: object) -> bool:
    """Whether a place is known as coordinates, not only by a surveyed point's name."""
    return isinstance(place, tuple) and all(isinstance(part, int | float) for part in place)


def _unit(build: Build, row: Speaker, model: SpeakerModel | None, seat: Seat | None) -> DriveUnit:
    coils = row.coils or (model.coils if model else 1)
    each = 1.0  # resistance of one coil against the model's figures
    if model and model.coils > 1:
        each = float(model.coils) if model.coil_wiring == "parallel" else 1.0 / model.coils
    nominal, source = row.impedance_ohm, "stated"
    if nominal is None and model and model.re_ohm is not None:
        nominal, source = _usual(NOMINAL_OVER_RE * model.re_ohm * each), "re_ohm"
    least = row.minimum_ohm
    if least is None and model and model.minimum_impedance_ohm is not None:
        least = model.minimum_impedance_ohm * each
    driver = _driver(model)
    in_series = float(model.coils) if model and model.coil_wiring == "series" else 1.0
    level, reference, told = row.sensitivity_db, SENSITIVITY_V, "stated"
    if level is None and driver is not None:
        level = float(passband_db(driver, Load(), source_v=SENSITIVITY_V))
        reference, told = SENSITIVITY_V / in_series, "the model's figures"
    low, high = role_row(row.role)[1:]
    return DriveUnit(
        name=row.name,
        role=row.role,
        nominal_ohm=nominal,
        nominal_from=source,
        least_ohm=least if least is not None else LEAST_SHARE * nominal if nominal is not None else None,
        least_from="assumed" if least is None else "stated",
        coils=coils,
        pe_w=row.pe_w if row.pe_w is not None else model.pe_w if model else None,
        sensitivity_db=level,
        sensitivity_from=told if level is not None else "",
        reference_v=reference,
        driver=driver,
        coil_over_model=each,
        terminal_per_coil=in_series,
        xmax_m=model.xmax_m if model else None,
        box_m3=_box_m3(build, row),
        distance_m=_distance_m(row, seat),
        band=(row.safe_low_hz or low, row.safe_high_hz or high),
    )


def _usual(ohm: float) -> float:
    return min(USUAL_OHM, key=lambda usual: abs(math.log(usual / ohm)))


def _driver(model: SpeakerModel | None) -> Driver | None:
    if model is None:
        return None
    stated = {key: value for key in FIGURES if (value := getattr(model, key)) is not None}
    return complete(stated, le_h=model.le_h).driver


def _box_m3(build: Build, row: Speaker) -> float | None:
    """Share of the sealed box that belongs to one of its loudspeakers; without any box it plays into an infinite baffle."""
    box = next((item for item in build.boxes if row.name in item.speakers), None)
    if box is None or box.kind == "infinite baffle":
        return math.inf
    if box.kind != "sealed" or box.volume_m3 is None:
        return None
    return box.volume_m3 * box.filling_factor / len(box.speakers)


def _distance_m(row: Speaker, seat: Seat | None) -> float | None:
    if seat is None or row.position_m is None or not _spot(row.position_m):
        return None
    return math.dist([float(part) for part in row.position_m], [float(part) for part in seat.head_m])
