"""Every alignment that fits the room, ranked by reach, level, group delay and forgiveness.

All of them are one circuit whose volume and tuning are arrays. What fits: net volume and the port's own air together
within the room, and a port no longer than the box bends it. The port is as wide as its air wants to stay slow or, where
no such port fits, the widest that does, and then the speed of its air holds the level back. Passive radiators are tried
by size, number and mass (``search_radiators``). Forgiveness is the spread of the curve over drive units as they come,
drawn once (Monte Carlo) and the same for every alignment.

The circuit is linear: what one volt does is solved once for all alignments (``Answers``) and holds for any power.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.loudspeaker import Box, SpeakerModel
from cabinwright.physics import alignment
from cabinwright.physics.box import Load, level_db, passband_db, solve
from cabinwright.physics.driver import SOUND_SPEED_M_S, Driver
from cabinwright.physics.port import FLUSH, FREE
from cabinwright.stages.enclosure.boxes import PEAK, VENTED_QL, Feed
from cabinwright.stages.enclosure.ports import LONGEST_EDGES, PLAYS_FROM_HZ, SMALLEST_M, SPEED_LIMIT_M_S
from cabinwright.stages.enclosure.result import Alternative, RadiatorSet, Search
from cabinwright.stages.enclosure.search_radiators import Family, family

__all__ = ["Answers", "answered", "search"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
VOLUMES, TUNINGS, CLOSED = 50, 120, 400
SMALLEST_SHARE = 0.15  #: of the room, below which no box is tried
TUNING_HZ = (15.0, 80.0)
GRID_HZ = np.geomspace(8.0, 300.0, 160)
LEVEL_BAND_HZ, DELAY_BAND_HZ, SPREAD_BAND_HZ = (25.0, 80.0), (20.0, 100.0), (20.0, 100.0)
MOST_PEAK_DB = 4.0
KINDS = ("sealed", "vented", "passive radiator")
CHUNK = 60  #: arrays of so many rows stay in the processor's cache
WIDEST_M = 0.4
TIGHT, STILL, SLACK = 1e9, 1e12, 1e9  #: a leak that is none, an air mass that nothing moves, a suspension that is none
DRAWS, SEED, KEPT, LISTED, LISTED_OF_A_KIND = 64, 1972, 300, 12, 5
SPREADS = {"mms_kg": 0.03, "cms_m_per_n": 0.10, "rms_kg_s": 0.15, "bl_t_m": 0.03, "re_ohm": 0.02}
"""One-sigma parts by which drive units of one model differ. Common practice."""
WEIGHTS = {"f3_hz": 0.35, "level_db": 0.3, "group_delay_s": 0.2, "spread_db": 0.15}
FULL_SCALE = {"f3_hz": 1.0, "level_db": 12.0, "group_delay_s": 0.02, "spread_db": 3.0}
"""What a whole step of each criterion is worth as much as: an octave, 12 dB, 20 ms, 3 dB."""
APART = 0.15  #: listed alignments differ by so much in volume or tuning


@dataclass(frozen=True)
class _Table:
    """Columns of all alignments; NaN where a column does not apply."""

    volume: Real
    tuning: Real  #: NaN: closed
    f3: Real
    level: Real
    delay: Real
    peak: Real
    diameter: Real
    length: Real
    area: Real  #: of one radiator
    count: Real  #: of radiators
    mass: Real  #: of one radiator

    def at(self, rows: Any) -> _Table:
        return _Table(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Answers:
    """What one volt does in every alignment; columns of (n,), and of (n, f) over the band that levels are compared in."""

    f3: Real
    delay: Real
    peak: Real
    level: Real  #: (n, f) dB
    volts: Real  #: (n, f) most volts that heat and travel allow; infinite where neither is stated
    flow: Real  #: (n, f) m³/s, peak
    most_flow: Real  #: (n,) the highest from the lowest frequency that is played up
    spread: Real  #: (n,) dB, filled in as it is asked for; NaN: nobody asked yet


def search(
    box: Box, model: SpeakerModel, driver: Driver, feed: Feed, *, room_m3: float, known: Answers | None = None
) -> tuple[tuple[Alternative, ...], Search]:
    """The best alignments, far enough apart to be choices, and those that none beats in everything.

    ``known`` is what ``answered`` gave for the same box and room, at whatever power.
    """
    kin = family(box, model, driver, feed.units)
    tried = _tried(box, kin, room_m3)
    volume = tried.volume
    answers = answered(box, model, driver, feed, room_m3=room_m3) if known is None else known
    table = _judged(box, kin, tried, answers, source_v=feed.source_v, room=room_m3)
    fits = _fits(table, kin, room_m3)
    rows_fit = np.flatnonzero(fits)
    good = table.at(rows_fit)
    if not len(good.volume):
        return (), Search(len(volume), 0, room_m3, dict(WEIGHTS), {})
    rough = _score(good, None)
    front = np.flatnonzero(_unbeaten(np.stack([good.f3, -good.level, good.delay], axis=1)))
    best = [front[np.argsort(-rough[front], kind="stable")][:KEPT]]
    kinds = _kinds(good)
    for kind in KINDS:
        rows = np.flatnonzero(kinds == kind)
        best.append(rows[np.argsort(-rough[rows], kind="stable")][: KEPT // 2])
    keep = np.unique(np.concatenate(best))
    kept = good.at(keep)
    asked = rows_fit[keep]
    new = asked[np.isnan(answers.spread[asked])]
    answers.spread[new] = _spread(box, driver, replace(feed, source_v=1.0), kin, tried.at(new))
    spread = answers.spread[asked]
    score = _score(kept, spread)
    chosen = _apart(kept, np.argsort(-score, kind="stable"))
    listed = tuple(_alternative(kept, kin, spread, score, row) for row in chosen)
    return listed, Search(len(volume), int(fits.sum()), room_m3, dict(WEIGHTS), _front(kept, spread, score))


def _tried(box: Box, kin: Family, room: float) -> _Table:
    """Closed, vented and radiators, each in one piece, so that a chunk is of one kind where it can be; not judged yet."""
    volumes = np.geomspace(SMALLEST_SHARE * room, room, VOLUMES)
    pairs = np.stack(np.meshgrid(volumes, np.geomspace(*TUNING_HZ, TUNINGS), indexing="ij"), axis=-1).reshape(-1, 2)
    closed = np.geomspace(SMALLEST_SHARE * room, room, CLOSED)
    volume, area, count, mass = kin.tried(room, SMALLEST_SHARE)
    none = np.full(CLOSED + len(pairs), np.nan)
    tuning = kin.tuning_hz(volume * box.filling_factor, area, count, mass)
    every = np.concatenate([closed, pairs[:, 0], volume])
    open_ = np.full_like(every, np.nan)
    return _Table(
        volume=every,
        tuning=np.concatenate([none[:CLOSED], pairs[:, 1], tuning]),
        **dict.fromkeys(("f3", "level", "delay", "peak", "diameter", "length"), open_),
        area=np.concatenate([none, area]),
        count=np.concatenate([none, count]),
        mass=np.concatenate([none, mass]),
    )


def _kinds(table: _Table) -> NDArray[np.str_]:
    beyond = np.where(np.isnan(table.count), KINDS[1], KINDS[2])
    return np.where(np.isnan(table.tuning), KINDS[0], beyond)


def _loads(box: Box, driver: Driver, feed: Feed, kin: Family, table: _Table) -> Load:
    """All kinds as one: a closed one's port has a mass that no air moves, a port a suspension that holds nothing."""
    closed, radiator = np.isnan(table.tuning)[:, None], ~np.isnan(table.count)[:, None]
    seeming = (table.volume * box.filling_factor)[:, None]
    resonance = alignment.closed_box(driver, volume_m3=seeming, units=feed.units)[0]
    quoted = np.where(closed, resonance, table.tuning[:, None])
    load = alignment.vented_load(volume_m3=seeming, tuning_hz=quoted, ql=1.0, qa=box.qa, qp=box.qp)
    assert load.leak is not None and load.branch_mass is not None
    vented_ql, tight_ql = (default if box.ql is None else box.ql for default in (VENTED_QL, TIGHT))
    ql = np.where(closed | radiator, tight_ql, vented_ql)
    mass = np.where(closed, STILL, load.branch_mass)
    load = replace(load, leak=load.leak * ql, branch_mass=mass)
    if not radiator.any():
        return load
    area = (table.area**2 * table.count)[:, None]
    one = table.mass[:, None]
    return replace(
        load,
        branch_mass=np.where(radiator, one / area, mass),
        branch_resistance=np.where(radiator, kin.friction(one) / area, load.branch_resistance),
        branch_compliance=np.where(radiator, kin.cms_m_per_n * area, SLACK),
    )


def answered(box: Box, model: SpeakerModel, driver: Driver, feed: Feed, *, room_m3: float) -> Answers:
    """One volt in every alignment that is tried; the power of ``box`` and the voltage of ``feed`` do not count."""
    kin = family(box, model, driver, feed.units)
    tried, one = _tried(box, kin, room_m3), replace(feed, source_v=1.0)
    parts = [
        _solved(box, model, driver, one, kin, tried.at(slice(at, at + CHUNK)))
        for at in range(0, len(tried.volume), CHUNK)
    ]
    return Answers(*(np.concatenate([getattr(p, name) for p in parts]) for name in Answers.__dataclass_fields__))


def _solved(box: Box, model: SpeakerModel, driver: Driver, feed: Feed, kin: Family, tried: _Table) -> Answers:
    load = _loads(box, driver, feed, kin, tried)
    answer = solve(driver, load, frequency_hz=GRID_HZ, **feed.circuit(), inductance=False)
    level = level_db(answer.pressure_pa)
    passband = passband_db(driver, load, **feed.circuit())
    band = _band(LEVEL_BAND_HZ)
    volts = np.full((len(level), int(band.sum())), np.inf)
    if model.pe_w is not None:
        volts = np.minimum(volts, sqrt(model.pe_w * float(driver.re_ohm)) / np.abs(answer.coil_v[:, band]))
    if model.xmax_m is not None:
        volts = np.minimum(volts, model.xmax_m / (PEAK * np.abs(answer.displacement_m[:, band])))
    flow = PEAK * np.abs(answer.branch_flow_m3_s)
    delay_band = _band(DELAY_BAND_HZ)
    return Answers(
        f3=_crossing(level - (passband - 10.0 * np.log10(2.0))[:, None]),
        delay=_delay(np.angle(answer.pressure_pa))[:, delay_band].max(axis=1),
        peak=(level - passband[:, None]).max(axis=1),
        level=level[:, band],
        volts=volts,
        flow=flow[:, band],
        most_flow=flow[:, GRID_HZ >= PLAYS_FROM_HZ].max(axis=1),
        spread=np.full(len(level), np.nan),
    )


def _judged(box: Box, kin: Family, tried: _Table, answers: Answers, *, source_v: float, room: float) -> _Table:
    """With the port that the voltage asks for, and what then gives in first."""
    volume, radiator = tried.volume, ~np.isnan(tried.count)
    limit = (box.port.speed_limit_m_s if box.port is not None else None) or SPEED_LIMIT_M_S
    wanted = np.sqrt(4.0 / pi * source_v * answers.most_flow / limit)
    tuned = np.where(radiator, np.nan, tried.tuning)
    diameter, length = _port(wanted, volume, tuned, seeming=volume * box.filling_factor, room=room)
    carried = np.where(np.isnan(tuned), np.inf, limit * pi / 4.0 * diameter**2)[:, None]
    if kin.xmax_m is not None and radiator.any():
        most_flow = 2.0 * pi * GRID_HZ[_band(LEVEL_BAND_HZ)] * kin.xmax_m * (tried.area * tried.count)[:, None]
        carried = np.where(radiator[:, None], most_flow, carried)
    volts = np.minimum(answers.volts, carried / np.maximum(answers.flow, 1e-30))
    most = answers.level + 20.0 * np.log10(np.where(np.isfinite(volts), volts, source_v))
    return replace(
        tried,
        f3=answers.f3,
        level=most.min(axis=1),
        delay=answers.delay,
        peak=answers.peak,
        diameter=diameter,
        length=length,
    )


def _band(limits: tuple[float, float]) -> Flags:
    return np.asarray((limits[0] <= GRID_HZ) & (limits[1] >= GRID_HZ))


def _crossing(over: Real) -> Real:
    """Lowest frequency where each row rises through nought, straight between points of the grid; NaN: nowhere."""
    rises = over >= 0.0
    at = np.argmax(rises, axis=1)
    rows = np.arange(len(over))
    before = np.maximum(at - 1, 0)
    low, high = over[rows, before], over[rows, at]
    share = np.where(high > low, -low / np.where(high > low, high - low, 1.0), 0.0)
    found = np.exp((1.0 - share) * np.log(GRID_HZ[before]) + share * np.log(GRID_HZ[at]))
    return np.asarray(np.where(rises.any(axis=1) & (at > 0), found, np.nan))


def _delay(phase: Real) -> Real:
    turned = np.unwrap(phase, axis=1)
    return np.asarray(-np.gradient(turned, 2.0 * np.pi * GRID_HZ, axis=1))


def _port(wanted: Real, volume: Real, tuning: Real, *, seeming: Real, room: float) -> tuple[Real, Real]:
    """Diameter and length [m] of a round port, one end in a wall: as wide as wanted, or the widest that fits.

    L = k d² − e d from the tuning; its length and the air in it grow with d, so the widest is found by halving.
    """
    k = SOUND_SPEED_M_S**2 * pi / 4.0 / ((2.0 * pi * tuning) ** 2 * seeming)
    ends = (FLUSH + FREE) / 2.0
    longest, left = LONGEST_EDGES * np.cbrt(volume), room - volume
    low, high = np.full_like(volume, SMALLEST_M), np.full_like(volume, WIDEST_M)
    for _ in range(24):
        middle = 0.5 * (low + high)
        length = k * middle**2 - ends * middle
        fits = (length <= longest) & (pi / 4.0 * middle**2 * length <= left)
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    diameter = np.where(np.isnan(tuning), np.nan, np.clip(wanted, SMALLEST_M, low))
    return diameter, k * diameter**2 - ends * diameter


def _fits(table: _Table, kin: Family, room: float) -> Flags:
    closed = np.isnan(table.tuning)
    port_air = pi / 4.0 * table.diameter**2 * table.length
    short = (table.length > 0.01) & (table.length <= LONGEST_EDGES * np.cbrt(table.volume))
    port_fits = short & (table.volume + port_air <= room * (1.0 + 1e-9))
    radiators_fit = kin.fit(table.volume, table.area, table.count, room)
    return np.asarray(np.isfinite(table.f3) & (table.peak <= MOST_PEAK_DB) & (closed | port_fits | radiators_fit))


def _score(table: _Table, spread: Real | None) -> Real:
    """Weighted sum of steps from the best of each criterion, mapped to 0 to 1."""
    columns = {"f3_hz": np.log2(table.f3), "level_db": -table.level, "group_delay_s": table.delay}
    if spread is not None:
        columns["spread_db"] = spread
    lost = sum(WEIGHTS[key] * (value - value.min()) / FULL_SCALE[key] for key, value in columns.items())
    return np.asarray(np.exp(-np.asarray(lost)))


def _unbeaten(costs: Real) -> Flags:
    """Rows that no other row beats or equals in everything and beats in something; costs (rows, 3)."""
    order = np.lexsort(costs.T[::-1])
    kept = np.zeros(len(costs), dtype=bool)
    second: list[float] = [-np.inf]  # of those kept that none beats in the last two: rising, and
    third: list[float] = [np.inf]  # falling
    last, good = None, False
    for row, cost in zip(order.tolist(), costs[order].tolist(), strict=True):
        if cost != last:  # else as good as the one before
            last, good = cost, third[bisect_right(second, cost[1]) - 1] > cost[2]
            if good:
                at = end = bisect_left(second, cost[1])
                while end < len(third) and third[end] >= cost[2]:
                    end += 1
                second[at:end], third[at:end] = [cost[1]], [cost[2]]
        kept[row] = good
    return kept


def _spread(box: Box, driver: Driver, feed: Feed, kin: Family, table: _Table) -> Real:
    """Half the range [dB] that nine of ten drive units keep within, the widest over the band, for each alignment."""
    rng = np.random.default_rng(SEED)
    factors = {key: np.exp(sigma * rng.standard_normal(DRAWS))[:, None, None] for key, sigma in SPREADS.items()}
    drawn = replace(driver, **{key: getattr(driver, key) * factor for key, factor in factors.items()})
    grid = GRID_HZ[_band(SPREAD_BAND_HZ)][::3]
    widths = []
    for at in range(0, len(table.volume), 50):
        part = table.at(slice(at, at + 50))
        load = _loads(box, driver, feed, kin, part)
        answer = solve(drawn, load, frequency_hz=grid, **feed.circuit(), inductance=False)
        low, high = np.percentile(level_db(answer.pressure_pa), [5.0, 95.0], axis=0)
        widths.append((0.5 * (high - low)).max(axis=1))
    return np.concatenate(widths) if widths else np.empty(0)


def _apart(table: _Table, order: NDArray[np.intp]) -> list[int]:
    """Rows in their order, without those that are nearly the same as an earlier one."""
    chosen: list[int] = []
    kinds = _kinds(table)
    for row in order:
        if len(chosen) == LISTED:
            break
        alike = [other for other in chosen if kinds[row] == kinds[other]]
        if len(alike) < LISTED_OF_A_KIND and all(_differs(table, int(row), other) for other in alike):
            chosen.append(int(row))
    return chosen


def _differs(table: _Table, a: int, b: int) -> bool:
    """Whether two of a kind are a choice."""
    if abs(np.log(table.volume[a] / table.volume[b])) > APART:
        return True
    return bool(abs(np.log(table.tuning[a] / table.tuning[b])) > APART)  # NaN for two closed boxes: not apart


def _alternative(table: _Table, kin: Family, spread: Real, score: Real, row: int) -> Alternative:
    kind = str(_kinds(table)[row])
    radiator = None
    if kind == KINDS[2]:
        mass, area = float(table.mass[row]), float(table.area[row])
        added = mass - float(kin.bare_mass_kg(np.asarray(area)))
        radiator = RadiatorSet(int(table.count[row]), area, kin.cms_m_per_n, kin.qms, mass, max(0.0, added))
    vented = kind == KINDS[1]
    return Alternative(
        kind=kind,
        volume_m3=float(table.volume[row]),
        tuning_hz=None if kind == KINDS[0] else float(table.tuning[row]),
        f3_hz=float(table.f3[row]),
        level_db=float(table.level[row]),
        group_delay_s=float(table.delay[row]),
        peak_db=float(table.peak[row]),
        spread_db=float(spread[row]),
        port_diameter_m=float(table.diameter[row]) if vented else None,
        port_length_m=float(table.length[row]) if vented else None,
        radiator=radiator,
        score=float(score[row]),
    )


def _front(table: _Table, spread: Real, score: Real) -> dict[str, Real]:
    """Columns of the alignments that none beats in reach, level, delay and forgiveness together, by reach."""
    costs = np.stack([table.f3, -table.level, table.delay, spread], axis=1)
    beats = (costs[:, None] <= costs).all(axis=2) & (costs[:, None] < costs).any(axis=2)
    rows = np.flatnonzero(~beats.any(axis=0))
    rows = rows[np.argsort(table.f3[rows], kind="stable")]
    return {
        "volume_m3": table.volume[rows],
        "tuning_hz": table.tuning[rows],
        "radiators": table.count[rows],
        "f3_hz": table.f3[rows],
        "level_db": table.level[rows],
        "group_delay_s": table.delay[rows],
        "spread_db": spread[rows],
        "score": score[rows],
    }
