"""What to say of an amplifier and its loads."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cabinwright.build.chain import Amplifier, Chain
from cabinwright.findings import Finding, finding
from cabinwright.stages.signal.figures import quoted
from cabinwright.stages.signal.loads_speakers import LEAST_SHARE
from cabinwright.stages.signal.loads_wirings import PASSIVE, ROUNDED, floor_ohm

if TYPE_CHECKING:
    from cabinwright.stages.signal.loads import LineLoad

__all__ = ["amplifier_remarks", "line_remarks"]

QUOTED = 1.005  #: figures that are equal as they are quoted are equal
OVER_RATED, UNDER_RATED = 1.25, 0.7
"""Of the voltage that powers are stated for: beyond it lies another network (12 or 24 V), common practice."""
TRAVEL_SHARE = 1.05  #: of xmax before it is said: figures are quoted to two digits


def amplifier_remarks(row: Amplifier, used: int, supply_v: float) -> Iterator[Finding]:
    """A supply it is not made for, more channels in use than there are, and pairs that must not be bridged."""
    if supply_v > OVER_RATED * row.rated_v or supply_v < UNDER_RATED * row.rated_v:
        code = "signal.supply_high" if supply_v > row.rated_v else "signal.supply_low"
        yield finding(code, where=row.name, value=quoted(supply_v, 2), limit=quoted(row.rated_v), unit="V")
    if row.channel_count is not None and used > row.channel_count:
        yield finding("signal.channels_short", where=row.name, value=used, limit=row.channel_count)
    for line in row.channels:
        if line.bridged and row.bridged_least_ohm is None:
            yield finding("signal.not_bridgeable", where=f"{row.name}: {line.name}")


def line_remarks(load: LineLoad, chain: Chain) -> Iterator[Finding]:
    """Impedance, power, travel and level of one channel."""
    if load.chosen is None:
        dumb = ", ".join(unit.name for unit in load.units if unit.nominal_ohm is None)
        yield finding("signal.load_unknown", where=load.name, speakers=dumb)
        return
    yield from _impedance(load)
    yield from _power(load, chain)
    for item in load.travels:
        if item.peak_m > TRAVEL_SHARE * item.xmax_m:
            yield finding(
                "signal.travel", where=load.name, value=quoted(1e3 * item.peak_m, 1), limit=quoted(1e3 * item.xmax_m, 1),
                unit="mm", speaker=item.speaker, hertz=f"{item.at_hz:.0f}", down=f"{-item.within_db:.1f}",
            )  # fmt: skip
    reached = load.tuned_seat_db
    if reached is not None and reached < load.wanted_db:
        by = f"{load.wanted_db - reached:.1f}"
        yield finding(
            "signal.headroom_short",
            where=load.name,
            value=quoted(reached, 1),
            limit=quoted(load.wanted_db),
            unit="dB",
            by=by,
        )


def _impedance(load: LineLoad) -> Iterator[Finding]:
    chosen, floor = load.chosen, floor_ohm(load.amplifier, load.line)
    assert chosen is not None
    if not chosen.allowed:
        better = next((item for item in load.found if item.allowed), None)
        cure = (
            f"Join them otherwise ({better.words}: {better.nominal_ohm:.3g} Ω)"
            if better
            else "Fewer loudspeakers on it"
        )
        yield finding(
            "signal.load_low", where=load.name, value=quoted(chosen.nominal_ohm, 2), limit=quoted(floor), unit="Ω", cure=cure,
            how=chosen.words,
        )  # fmt: skip
        return
    least = LEAST_SHARE * floor
    if any(unit.least_known for unit in load.units) and chosen.minimum_ohm < least * (1.0 - ROUNDED):
        value = quoted(chosen.minimum_ohm, 2)
        yield finding("signal.load_dips", where=load.name, value=value, limit=quoted(least, 2), unit="Ω")
    if chosen.nominal_ohm < load.stage.lowest_ohm * (1.0 - ROUNDED):
        value = quoted(chosen.nominal_ohm, 2)
        yield finding(
            "signal.power_guessed", where=load.name, value=value, limit=quoted(load.stage.lowest_ohm), unit="Ω"
        )
    shares = chosen.each_w
    if chosen.wiring != PASSIVE and max(shares) > 1.25 * min(shares):
        told = ", ".join(f"{unit.name} {each:.0f} W" for unit, each in zip(load.units, shares, strict=True))
        yield finding("signal.power_uneven", where=load.name, shares=told)


def _power(load: LineLoad, chain: Chain) -> Iterator[Finding]:
    chosen = load.chosen
    assert chosen is not None
    held = chain.spare_speakers
    for unit, each in zip(load.units, chosen.each_w, strict=True):
        if unit.pe_w is None:
            continue
        music = each * load.music_share
        if music > QUOTED * unit.pe_w:
            yield finding(
                "signal.music_burns", where=load.name, value=round(music), limit=quoted(unit.pe_w), unit="W", speaker=unit.name,
                crest=f"{chain.crest_db:g}",
            )  # fmt: skip
        elif each > QUOTED * unit.pe_w and not held:
            yield finding(
                "signal.sine_burns", where=load.name, value=round(each), limit=quoted(unit.pe_w), unit="W", speaker=unit.name,
                music=f"{music:.0f}",
            )  # fmt: skip
