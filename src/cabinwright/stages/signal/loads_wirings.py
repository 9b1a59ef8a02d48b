"""Every way to join the coils on one amplifier channel, what each would draw, and which one to take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cabinwright.build.chain import Amplifier, AmplifierChannel
from cabinwright.physics.amplifier import OutputStage
from cabinwright.physics.coils import Arrangement, Joined, arrangements, join
from cabinwright.stages.signal.loads_speakers import LEAST_SHARE, DriveUnit

__all__ = ["PASSIVE", "Alternative", "alternatives", "behind_passive", "choose", "floor_ohm", "groups", "output_stage"]

ROUNDED = 1e-9
PASSIVE = "passive crossover"
OTHER_PLACE = ("rear fill", "centre")  #: roles that say where a loudspeaker plays, not which part of the range


@dataclass(frozen=True)
class Alternative:
    """One way to join them."""

    coils: str | None  #: "series", "parallel", or None where every loudspeaker has one coil
    wiring: str | None  #: "series", "parallel", "series-parallel", "passive crossover", or None for one loudspeaker
    strings: int  #: side by side
    nominal_ohm: float
    minimum_ohm: float
    power_w: float  #: sine, at the supply's voltage, when it clips
    clip_v: float
    each_w: tuple[float, ...]  #: in each loudspeaker, in the order they are listed
    coil_share: tuple[float, ...]  #: voltage over each coil against that over all
    allowed: bool
    verdict: str

    def to_dict(self, names: Sequence[str]) -> dict[str, Any]:
        """Its row in ``plan.json``."""
        return {
            "coils": self.coils,
            "wiring": self.wiring,
            "strings": self.strings,
            "nominal_ohm": self.nominal_ohm,
            "minimum_ohm": self.minimum_ohm,
            "power_w": self.power_w,
            "each_w": dict(zip(names, self.each_w, strict=True)),
            "allowed": self.allowed,
            "verdict": self.verdict,
        }

    @property
    def words(self) -> str:
        """How to join them, for a person."""
        said = []
        if self.coils:
            said.append(f"coils in {self.coils}")
        if self.wiring == "series-parallel":
            said.append(f"{self.strings} strings of {len(self.each_w) // self.strings} side by side")
        elif self.wiring == PASSIVE:
            said.append("passive crossover")
        elif self.wiring:
            said.append(f"loudspeakers in {self.wiring}")
        return ", ".join(said) or "one coil"


def floor_ohm(amplifier: Amplifier, line: AmplifierChannel) -> float:
    """Lowest load that it may be given; a pair that must not be bridged counts as twice a channel's."""
    if line.bridged:
        return amplifier.bridged_least_ohm or 2.0 * amplifier.least_ohm
    return amplifier.least_ohm


def behind_passive(line: AmplifierChannel, units: Sequence[DriveUnit]) -> bool:
    """Whether a passive crossover stands before the loudspeakers: as stated, else where they have different roles.

    A tweeter beside a midbass on one channel stands it no other way.
    """
    if len(units) < 2:
        return False
    if line.passive_crossover is not None:
        return line.passive_crossover
    return len({unit.role for unit in units if unit.role not in OTHER_PLACE}) > 1


def groups(units: Sequence[DriveUnit]) -> list[list[int]]:
    """Places of the loudspeakers of each way behind a passive crossover: those of one role play the same band."""
    return [[k for k, unit in enumerate(units) if unit.role == role] for role in dict.fromkeys(u.role for u in units)]


def output_stage(amplifier: Amplifier, *, bridged: bool) -> OutputStage:
    """Its output, or a bridged pair; where powers are stated for only one of them the other follows."""
    powers = {
        kind: tuple((row.load_ohm, row.power_w) for row in amplifier.ratings if row.bridged == kind)
        for kind in (False, True)
    }
    if powers[bridged]:
        return OutputStage(powers[bridged], amplifier.rated_v, amplifier.regulated)
    if bridged:
        return OutputStage(powers[False], amplifier.rated_v, amplifier.regulated).bridged()
    half = tuple((ohm / 2.0, power / 2.0) for ohm, power in powers[True])
    return OutputStage(half, amplifier.rated_v, amplifier.regulated)


def alternatives(
    amplifier: Amplifier, line: AmplifierChannel, units: Sequence[DriveUnit], *, supply_v: float
) -> tuple[Alternative, ...]:
    """All of them, coils in parallel first; none where an impedance is not known."""
    if any(unit.nominal_ohm is None for unit in units):
        return ()
    several = any(unit.coils > 1 for unit in units)
    passive = behind_passive(line, units)
    stage, floor = output_stage(amplifier, bridged=line.bridged), floor_ohm(amplifier, line)
    return tuple(
        _alternative(coils, way, units, stage, floor, supply_v)
        for coils in (("parallel", "series") if several else (None,))
        for way in ((None,) if passive else arrangements(len(units)))
    )


def _alternative(
    coils: str | None,
    way: Arrangement | None,
    units: Sequence[DriveUnit],
    stage: OutputStage,
    floor: float,
    supply_v: float,
) -> Alternative:
    turns = [float(unit.coils) if coils == "series" else 1.0 / unit.coils for unit in units]
    nominal = _joined([(unit.nominal_ohm or 0.0) * turn for unit, turn in zip(units, turns, strict=True)], way, units)
    least = _joined([(unit.least_ohm or 0.0) * turn for unit, turn in zip(units, turns, strict=True)], way, units).ohm
    power = stage.power_w(load_ohm=nominal.ohm, supply_v=supply_v)
    each = tuple(power * share for share in nominal.power_share)
    split = [1.0 / unit.coils if coils == "series" else 1.0 for unit in units]
    fits = nominal.ohm >= floor * (1.0 - ROUNDED)
    return Alternative(
        coils=coils,
        wiring=way.kind if way else PASSIVE,
        strings=way.strings if way else 1,
        nominal_ohm=nominal.ohm,
        minimum_ohm=least,
        power_w=power,
        clip_v=stage.clip_v(load_ohm=nominal.ohm, supply_v=supply_v),
        each_w=each,
        coil_share=tuple(share * part for share, part in zip(nominal.voltage_share, split, strict=True)),
        allowed=fits,
        verdict=_verdict(nominal.ohm, least, floor, stage, any(unit.least_known for unit in units)) if fits else
        f"{nominal.ohm:.3g} Ω is below the {floor:.3g} Ω that the amplifier stands",
    )  # fmt: skip


def _joined(parts_ohm: Sequence[float], way: Arrangement | None, units: Sequence[DriveUnit]) -> Joined:
    """Behind a passive crossover (``way`` None) the amplifier sees one way at a time, and each gets the whole voltage."""
    if way is not None:
        return join(parts_ohm, way)
    ohm = min(1.0 / sum(1.0 / parts_ohm[k] for k in group) for group in groups(units))
    return Joined(ohm, tuple(1.0 for _ in parts_ohm), tuple(ohm / part for part in parts_ohm))


def _verdict(ohm: float, least: float, floor: float, stage: OutputStage, stated: bool) -> str:
    if stated and least < LEAST_SHARE * floor * (1.0 - ROUNDED):
        return f"stands it, but dips to {least:.3g} Ω, below four fifths of {floor:.3g} Ω"
    if ohm < stage.lowest_ohm * (1.0 - ROUNDED):
        return f"stands it; power below {stage.lowest_ohm:.3g} Ω is a guess"
    return "stands it"


def choose(found: Sequence[Alternative], line: AmplifierChannel, units: Sequence[DriveUnit]) -> tuple[Alternative, str]:
    """The one that the build states, or else the one that serves the loudspeakers best, and why."""
    stated = [
        item
        for item in found
        if (line.wiring is None or item.wiring in (None, PASSIVE, line.wiring))
        and (line.coils is None or item.coils in (None, line.coils))
    ] or list(found)
    allowed = [item for item in stated if item.allowed]
    best = max(allowed or stated, key=lambda item: _merit(item, units) if allowed else (item.nominal_ohm, 0.0))
    if len(found) == 1:
        return best, "the only way there is"
    if len(stated) == 1:
        return best, "as the build states"
    if not allowed:
        return best, f"none of {len(stated)} is high enough for the amplifier; this one is highest"
    if len(allowed) == 1:
        return best, f"the only one of {len(stated)} that the amplifier stands"
    full = all(unit.pe_w is not None and w >= unit.pe_w for unit, w in zip(units, best.each_w, strict=True))
    why = "gives the loudspeakers all they stand at the highest impedance" if full else "gives the most power"
    return best, f"of the {len(allowed)} that the amplifier stands it {why}"


def _merit(item: Alternative, units: Sequence[DriveUnit]) -> tuple[float, float]:
    """Power that the loudspeakers can use, then impedance: an easier load is cooler and damps better."""
    used = sum(min(w, unit.pe_w or w) for unit, w in zip(units, item.each_w, strict=True))
    return float(f"{used:.3g}"), item.nominal_ohm
