"""Why each value is what it is, in plain words with figures. Words only: every figure is worked out from the curves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.filters import Filter, filter_sections, sections_response
from cabinwright.stages.tuning.choices import Crossed, Sized
from cabinwright.stages.tuning.outcome import band_level_db, channel_responses
from cabinwright.stages.tuning.prepare import Prepared
from cabinwright.stages.tuning.problem import Problem
from cabinwright.stages.tuning.result import Decision
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.tuning.sides import EVERYTHING
from cabinwright.stages.tuning.solved import Solved

__all__ = ["decide", "explain_filters", "hertz", "listed"]

IN_TIME_MS = 0.5  #: nearer than this a channel counts as lined up with the others

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Partner:
    """How a channel adds to the rest of a sum where the two overlap."""

    sum_name: str
    low_hz: float
    high_hz: float
    gain_db: float  #: mean level as set, minus the same with the channel's polarity turned
    rest: tuple[str, ...]


def hertz(value: float) -> str:
    """A frequency as people say it: 80 Hz, 2.6 kHz."""
    return f"{value / 1000.0:.3g} kHz" if value >= 1000.0 else f"{value:.3g} Hz"


def listed(names: tuple[str, ...] | list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def overlaps(problem: Problem, settings: Settings, channel: int) -> Iterator[Partner]:
    """Every sum in which the channel overlaps others of the stage within 12 dB over a sixth of an octave or more."""
    response = channel_responses(problem, settings, problem.spectra.shift_s)
    for name in problem.sum_names:
        members = problem.members(name)
        if channel not in members or len(members) < 2 or (name == EVERYTHING and len(problem.sum_names) > 1):
            continue
        # A fill decides no polarity of the stage.
        members = np.asarray([m for m in members if m == channel or not problem.way_of(int(m)).fill])
        cross = problem.cross_of(name, members)
        k = int(np.flatnonzero(members == channel)[0])
        g = response[members]
        share = np.einsum("cb,db,bcd->bcd", g, g.conj(), cross, optimize=True)
        total, own = share.sum(axis=(1, 2)).real, share[:, k, k].real
        mix = 2.0 * (share[:, k].sum(axis=1) - share[:, k, k]).real
        rest = np.maximum(total - own - mix, 1e-30)
        near = np.abs(band_level_db(own) - band_level_db(rest)) < 12.0
        near &= problem.reach[name] > 0.5
        runs = np.split(np.flatnonzero(near), np.flatnonzero(np.diff(np.flatnonzero(near)) > 1) + 1)
        run = max(runs, key=len)
        if len(run) < 2:
            continue
        better = band_level_db(np.maximum(total, 1e-30)) - band_level_db(np.maximum(total - 2.0 * mix, 1e-30))
        low, high = problem.spectra.group_hz[run[[0, -1]]]
        # The others that are heard there, loudest first.
        loud = band_level_db(np.maximum(np.einsum("bcc->cb", share).real, 1e-30))[:, run].mean(axis=1)
        order = [int(i) for i in np.argsort(-loud) if i != k and loud[i] > loud.max() - 10.0]
        others = tuple(problem.channels[members[i]] for i in order[:2]) or (name,)
        yield Partner(name, float(low), float(high), float(better[run].mean()), others)


def decide(solved: Solved) -> tuple[Decision, ...]:
    """All decisions in the order in which they were taken."""
    prepared, problem, settings = solved.prepared, solved.problem, solved.settings
    rows = [*_crossover_reasons(problem, settings, solved.crossed), *_polarity_reasons(prepared, problem, settings)]
    rows += [*_delay_reasons(prepared, settings), *_gain_reasons(prepared, problem, settings)]
    rows.append(_size_reason(problem, solved.sized))
    for dip in solved.dips:
        why = f"its depth differs by {dip.spread_db:.1f} dB from place to place" if dip.moves else ""
        late = "" if dip.minimum_phase else "it is not minimum phase, so a filter would not restore its time response"
        rows.append(
            Decision(
                dip.sum_name,
                f"the dip at {hertz(dip.frequency_hz)} is left alone",
                f"{' and '.join(part for part in (why, late) if part)}; filling its {dip.depth_db:.1f} dB would cost headroom "
                "and make other places worse",
                {"frequency_hz": dip.frequency_hz, "depth_db": dip.depth_db, "spread_db": dip.spread_db},
            )
        )
    return tuple(rows)


def _crossover_reasons(problem: Problem, settings: Settings, crossed: Crossed) -> Iterator[Decision]:
    for index, item in enumerate(crossed.crossovers):
        lower, upper = problem.ways[item.lower], problem.ways[item.upper]
        low_pass = _corner(settings.channel(problem.channels[lower.channels[0]]), "low-pass")
        high_pass = _corner(settings.channel(problem.channels[upper.channels[0]]), "high-pass")
        names = [listed([problem.channels[c] for c in way.channels]) for way in (lower, upper)]
        about = f"{names[0]} to {names[1]}"
        kind = f"{item.family} {item.slope_db_per_octave} dB per octave"
        choice = f"low-pass {hertz(low_pass)}, high-pass {hertz(high_pass)}, {kind}"
        others = sorted((cost, family, slope) for k, family, slope, cost in crossed.tried if k == index)
        if item.kind_kept:
            reason = "family and slope as the build wishes"
        elif len(others) > 1:
            own = min(c for c, f, s in others if (f, s) == (item.family, item.slope_db_per_octave))
            rivals = [row for row in others if (row[1], row[2]) != (item.family, item.slope_db_per_octave)]
            worse = 100.0 * (rivals[0][0] / own - 1.0)
            verdict = f"{abs(worse):.0f} % {'worse' if worse >= 0.0 else 'better, within the margin'}"
            reason = (
                f"of {len(others)} kinds tried it misses the house curve and loses level by cancellation least; the next, "
                f"{rivals[0][1]} {rivals[0][2]} dB per octave, scores {verdict}"
            )
        else:
            reason = "the only kind the processor has"
        if item.wished_hz is not None and abs(high_pass - item.wished_hz) < 1.0:
            reason += "; frequency as the build wishes"
        elif item.wished_hz is not None:
            reason += f"; the build wishes {hertz(item.wished_hz)}, which the {upper.role}'s safe range does not allow"
        elif item.low_hz == item.high_hz:
            reason += "; frequency fixed by the safe ranges"
        else:
            reason += f"; allowed were {hertz(item.low_hz)} to {hertz(item.high_hz)}"
        yield Decision(about, choice, reason, {"low_pass_hz": low_pass, "high_pass_hz": high_pass})


def _corner(channel: ChannelSettings, kind: str) -> float:
    return next((item.frequency_hz for item in channel.filters if item.kind == kind), float("nan"))


def _polarity_reasons(prepared: Prepared, problem: Problem, settings: Settings) -> Iterator[Decision]:
    for c, name in enumerate(problem.channels):
        polarity = settings.channel(name).polarity
        partners = sorted(overlaps(problem, settings, c), key=lambda partner: -partner.gain_db)
        way = problem.way_of(c)
        words = []
        figures: dict[str, float] = {}
        if partners:
            best = partners[0]
            figures = {"low_hz": best.low_hz, "high_hz": best.high_hz, "better_db": best.gain_db}
            where = f"between {hertz(best.low_hz)} and {hertz(best.high_hz)} it and {listed(['the ' + r for r in best.rest])}"
            if abs(best.gain_db) < 0.3:
                words.append(
                    f"{where} overlap, and polarity changes their sum by no more than {abs(best.gain_db):.1f} dB"
                )
            elif best.gain_db > 0.0:
                words.append(f"{where} add {best.gain_db:.1f} dB better than with the other polarity")
            else:
                words.append(
                    f"{where} would add {-best.gain_db:.1f} dB better with the other polarity; left and right must agree first"
                )
        if c in prepared.pair_confidence and c != way.channels[0]:
            first = problem.channels[way.channels[0]]
            same = settings.channel(first).polarity == polarity
            words.append(
                f"its first sound {'matches' if same else 'is upside down against'} that of the {first} "
                f"(correlation {prepared.pair_confidence[c]:.2f})"
            )
        yield Decision(name, f"polarity {polarity}", "; ".join(words) or "nothing else plays with it", figures)


def _delay_reasons(prepared: Prepared, settings: Settings) -> Iterator[Decision]:
    arrival = prepared.problem.arrivals.at_head_s
    for c, name in enumerate(prepared.problem.channels):
        delay = settings.channel(name).delay_s
        heard = 1e3 * (arrival[c] - arrival.min())
        distance = prepared.head_distance_m[c]
        tape = f"; {distance:.2f} m by tape" if np.isfinite(distance) else "; no place stated, so only recordings count"
        way = prepared.problem.way_of(c)
        if way.fill and way.role == "rear fill":
            reason = "kept behind the stage, so that the stage is heard first (precedence effect; common practice, no source)"
        elif delay == 0.0:
            reason = f"its sound is needed first; it arrives {heard:.2f} ms after the earliest{tape}"
        else:
            reason = f"unprocessed its first sound comes {heard:.2f} ms after the earliest{tape}; {_joins(prepared, settings, c)}"
        yield Decision(name, f"delay {1e3 * delay:.3f} ms", reason, {"delay_s": delay, "arrival_s": float(arrival[c])})


def _joins(prepared: Prepared, settings: Settings, channel: int) -> str:
    """What a delay is for: most line up, and a bass whose filters turn its phase adds best some way off."""
    problem = prepared.problem
    delays = np.asarray([settings.channel(name).delay_s for name in problem.channels])
    total = problem.arrivals.at_head_s + delays
    others = [c for way in problem.stage if channel not in way.channels for c in way.channels]
    late_ms = 1e3 * float(total[channel] - np.median(total[others])) if others else 0.0
    if abs(late_ms) < IN_TIME_MS:
        return "delayed so that all add in time"
    side = "behind" if late_ms > 0.0 else "ahead of"
    return (
        f"delayed so that it adds best with the rest where they overlap: its first sound is then {abs(late_ms):.1f} ms {side} "
        "theirs, which together with its polarity makes up for what its filters do to the phase there"
    )


def _gain_reasons(prepared: Prepared, problem: Problem, settings: Settings) -> Iterator[Decision]:
    response = np.abs(channel_responses(problem, settings, np.zeros(len(problem.channels)))) ** 2
    for c, name in enumerate(problem.channels):
        gain = settings.channel(name).gain_db
        rows = problem.present[c]
        power = problem.spectra.cross[rows][:, :, c, c].real.mean(axis=0)
        passed = response[c] > 0.25 * response[c].max()
        level = 10.0 * np.log10(max(float(power[passed].mean()), 1e-30))
        way = problem.way_of(c)
        rule = " (a fill stays below the stage by rule)" if way.fill else ""
        yield Decision(
            name,
            f"gain {gain:.1f} dB",
            f"in the band it plays it was recorded at {level:.1f} dB; with its filters this gain puts it on the house "
            f"curve{rule}",
            {"gain_db": gain, "recorded_db": level},
        )


def _size_reason(problem: Problem, sized: Sized) -> Decision:
    count = sized.state.layout.peaks
    table = ", ".join(
        f"{size} filters{' held back' if hold > 1 else ''}: {error:.2f} dB" for size, hold, error in sized.table
    )
    if any(np.isnan(error) for *_, error in sized.table):
        reason = "there are too few positions to leave one out, so the number of filters could not be tested"
    else:
        reason = f"each position was predicted from the others in turn; error of their average by model: {table}"
    return Decision("all channels", f"up to {count} peaking filters each", reason, {"filters": float(count)})


def explain_filters(problem: Problem, settings: Settings) -> Settings:
    """The same settings with a reason on every filter."""
    response = channel_responses(problem, settings, problem.spectra.shift_s)
    return replace(
        settings,
        channels=tuple(
            replace(
                item,
                filters=tuple(
                    replace(row, reason=_filter_reason(problem, settings, response, c, row)) for row in item.filters
                ),
            )
            for c, item in enumerate(settings.channels)
        ),
    )


def _filter_reason(
    problem: Problem, settings: Settings, response: NDArray[np.complex128], channel: int, row: Filter
) -> str:
    way = problem.way_of(channel)
    if row.kind == "high-pass":
        task = "protects it; nothing plays below" if way.fill or way == problem.stage[0] else "hands over below"
        return f"{task}; a {way.role} is safe from {hertz(way.low_hz)}"
    if row.kind == "low-pass":
        task = "nothing plays above it" if way.fill or way == problem.stage[-1] else "hands over above"
        return f"{task}; a {way.role} is used up to {hertz(way.high_hz)}"
    if row.kind == "all-pass":
        return "turns the phase so that the channels add better in the bass; changes no level of its own"
    group = problem.spectra.group_hz
    name = next(n for n in problem.sum_names if channel in problem.members(n))
    members = problem.members(name)
    g = response[members].copy()
    k = int(np.flatnonzero(members == channel)[0])
    bare = sections_response(
        filter_sections(row, sample_rate_hz=settings.sample_rate_hz),
        frequency_hz=problem.spectra.frequency_hz,
        sample_rate_hz=settings.sample_rate_hz,
    )
    g[k] = g[k] / bare
    power = np.einsum("cb,db,bcd->b", g, g.conj(), problem.cross_of(name), optimize=True).real
    miss = band_level_db(np.maximum(power, 1e-30)) - problem.target_db
    miss = miss - np.average(miss, weights=problem.reach[name] + 1e-6)
    near = np.abs(np.log2(group / row.frequency_hz)) < 0.5 / max(row.q or 1.0, 0.7)
    height = float(miss[near].mean()) if near.any() else 0.0
    where = "both sides" if name == EVERYTHING else f"the {name}"
    if (row.gain_db or 0.0) * height < 0.0:
        verb = "stands {:.1f} dB above" if height > 0 else "lies {:.1f} dB below"
        return f"without it {where} {verb.format(abs(height))} the house curve around {hertz(row.frequency_hz)}"
    return "shapes the flank of its neighbours"
