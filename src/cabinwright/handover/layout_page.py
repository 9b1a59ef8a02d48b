"""``layout.html``: places compared, drawn to scale, with the reason for every preference and how far to trust it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from cabinwright.build.document import Build
from cabinwright.drawings.cabin import VIEWS
from cabinwright.drawings.picture import Picture
from cabinwright.drawings.picture_svg import draw, shade_key
from cabinwright.handover import layout_charts as charts
from cabinwright.handover.pages import page
from cabinwright.handover.report import drawn, finding_groups
from cabinwright.stages.layout.heard import bands_of
from cabinwright.stages.layout.low import LOW_ROLES
from cabinwright.stages.layout.reasons import hertz
from cabinwright.stages.layout.result import LayoutResult, Pair, PlaceResult, Ranked

__all__ = ["DETAILED", "layout_html"]

_UNIT = re.compile(r"(?<=\d) (?=(?:ms|dB|k?Hz|c?m|%)(?![\w/]))")
DETAILED = 12  #: places with charts of their own: the first choices of each role
RAYS_OF = 2  #: places whose rays are drawn: more would hide one another
LIMITS = (
    "Rays and flat surfaces: reflections hold where a surface is larger than the wavelength, from about 500 Hz up; small "
    "parts, gaps and curved panes scatter more than is drawn.",
    "A cone is taken as a rigid piston; above its break-up it beams differently. Give a measured polar where there is one.",
    "Between 160 and 320 Hz the answer by modes gives way to rays. That limit is common practice, not physics.",
    "Absorption of trim is tabled for flat samples or estimated; levels of reflections are good to about 3 dB, their times "
    "to the tape.",
    "How an image leans or is drawn is a rule of thumb from two loudspeakers in the open; ears in a car are kinder and "
    "stranger.",
)
CAUTION = (
    "Airbags and their paths: never mount anything there, and never cut near one; ask the car maker, disconnect as its "
    "instructions say, and leave airbag wiring to licensed practice. Pillar pods must not hide the road: local rules decide. "
    "Look for wiring, pipes, tanks and reinforcement behind every panel before it is cut."
)


def layout_html(build: Build, result: LayoutResult) -> str:
    """The whole page as HTML that needs nothing else. ``build`` has coordinates in place of surveyed names."""
    from markupsafe import Markup

    numbers = {place.name: k for k, place in enumerate(build.places, start=1)}
    detailed = _detailed(result)
    rays = [name for row in _firsts(result) if row.role != "subwoofer" for name in row.places][:RAYS_OF]
    low = result.low_frequency
    lows = [name for name, item in result.places.items() if item.low is not None and item.role in LOW_ROLES]
    return page(
        "layout",
        styles=("report", "layout"),
        title=build.title,
        vehicle=build.vehicle.name,
        seat=result.listening_seat,
        counts=(len(result.places), len(build.seats), result.draws),
        verdict=[(row.role, _choice_words(row, len(_of_role(result, row.role)))) for row in _firsts(result)],
        findings=finding_groups(list(result.findings)),
        drawings=[
            {"words": VIEWS[view], "svg": Markup(draw(picture)), "view": view}
            for view, picture in charts.views(build, result, numbers, rays)
        ],
        rays=rays,
        legend=[{"number": numbers[name], "name": name, "role": item.role} for name, item in result.places.items()],
        roles=[_role(result, row.role, numbers) for row in _firsts(result)],
        details=[_detail(result.places[name], result, numbers, k) for k, name in enumerate(detailed)],
        more=len(result.places) - len(detailed),
        pairs=[_pair(pair) for pair in result.pairs],
        low=None if low is None or not lows else _low(build, result, lows),
        axes=[
            drawn(chart := charts.axis_chart(radius, result.speed_of_sound_m_s, words), f"axis-{k}")
            | {"says": chart.says}
            for k, (radius, words) in enumerate(_radii(result))
        ],
        views=[] if result.view is None else [_pod(pod, k) for k, pod in enumerate(result.view.pods)],
        pillars=[] if result.view is None else [(p.pillar, f"{p.angle_deg:.1f}°") for p in result.view.pillars],
        limits=LIMITS,
        caution=CAUTION,
        speed=f"{result.speed_of_sound_m_s:.1f}",
    )


def _firsts(result: LayoutResult) -> list[Ranked]:
    seen: dict[str, Ranked] = {}
    for row in result.ranking:
        seen.setdefault(row.role, row)
    return list(seen.values())


def _of_role(result: LayoutResult, role: str) -> list[Ranked]:
    return [row for row in result.ranking if row.role == role]


def _detailed(result: LayoutResult) -> list[str]:
    """Places with charts: choices in turn, the first of every role before the second of any."""
    roles = [_of_role(result, row.role) for row in _firsts(result)]
    out: list[str] = []
    for place in range(max((len(rows) for rows in roles), default=0)):
        for rows in roles:
            if place < len(rows) and rows[place].role != "subwoofer":
                out += rows[place].places
    return out[:DETAILED]


def _choice_words(row: Ranked, count: int) -> str:
    words = " and ".join(row.places)
    if row.barred:  # then all of them are
        return f"none: {row.barred}"
    if count == 1:
        return f"{words}: the only choice"
    return f"{words}: first of {count}, and in {100.0 * row.first_share:.0f} % of the draws"


def _role(result: LayoutResult, role: str, numbers: Mapping[str, int]) -> dict[str, Any]:
    rows = []
    for place, row in enumerate(_of_role(result, role), start=1):
        rows.append(
            {
                "rank": place,
                "names": " and ".join(row.places),
                "numbers": ", ".join(str(numbers[name]) for name in row.places),
                "share": "barred" if row.barred else f"{100.0 * row.first_share:.0f} %",
                "score": f"{row.score:.2f}",
                "criteria": _criteria(row),
                "better": row.better_than,
                "reasons": [_unbroken(reason) for reason in row.reasons],
            }
        )
    octaves = bands_of(role)
    low, high = result.bands_hz[octaves][0], result.bands_hz[octaves][-1]
    words = "by the cabin's modes, 25 to 80 Hz" if role == "subwoofer" else f"octaves {hertz(low)} to {hertz(high)}"
    return {"role": role, "rows": rows, "words": words}


def _unbroken(text: str) -> str:
    """The same with every figure on one line with its unit."""
    return _UNIT.sub("\u00a0", text)


def _criteria(row: Ranked) -> list[str]:
    units = {
        "sound": "{:.1f} dB",
        "room": "{:.0f}",
        "irreversible": "{:.0f}",
        "looks": "{:.0f} of 5",
        "view": "{:.1f}°",
        "cost": "{:.0f}",
    }
    out = []
    for name, form in units.items():
        value = row.criteria[name]
        if value is None:
            out.append("not said")
        elif name == "irreversible":
            out.append(("nothing cut", "can be put back", "cut for good")[int(value)])
        else:
            out.append(form.format(value).replace("-", "−"))
    return out


def _detail(place: PlaceResult, result: LayoutResult, numbers: Mapping[str, int], k: int) -> dict[str, Any]:
    heard = place.seats[result.listening_seat]
    early = sorted((r for r in heard.reflections if r.delay_s < 0.010), key=lambda r: -r.level_db)[:5]
    return {
        "number": numbers[place.name],
        "name": place.name,
        "role": place.role,
        "words": _aim_words(place),
        "response": drawn(charts.response_chart(place, heard), f"response-{k}"),
        "arrivals": drawn(charts.arrivals_chart(place, heard), f"arrivals-{k}"),
        "rows": [
            {
                "surfaces": ", ".join(row.surfaces),
                "delay": f"{1000.0 * row.delay_s:.2f} ms",
                "level": f"{row.level_db:.1f} dB".replace("-", "−"),
                "dip": hertz(row.dip_hz),
                "range": "in part of the box"
                if row.dip_range_hz is None
                else " to ".join(map(hertz, row.dip_range_hz)),
                "help": "" if row.stays_put is None else "may help" if row.stays_put else "cannot help",
                "draws": "yes" if row.draws_image else "",
            }
            for row in early
        ],
    }


def _aim_words(place: PlaceResult) -> str:
    aimed = place.aimed
    if aimed is None:
        return ""
    words = f"Errors of survey, mounting and aim move its sound figure by {aimed.spread_db:.1f} dB (one standard deviation)."
    if aimed.gain_db > 0.1:
        x, y, z = aimed.aim
        words = (
            f"Turned by {aimed.turn_deg:.0f}° to [{x:.2f}, {y:.2f}, {z:.2f}] it would gain {aimed.gain_db:.1f} dB. "
            + words
        )
    return words.replace("-", "−")


def _pair(pair: Pair) -> dict[str, Any]:
    return {
        "names": f"{pair.left} and {pair.right}",
        "rows": [
            {
                "seat": seat,
                "delay": f"{1000.0 * item.delay_s:.2f} ms on the {item.delay_on}",
                "level": f"{'left' if item.level_difference_db > 0.0 else 'right'} by {abs(item.level_difference_db):.1f} dB",
                "lean": f"{abs(item.lean_deg):.0f}° {'left' if item.lean_deg < 0.0 else 'right'}"
                if abs(item.lean_deg) >= 0.5
                else "midway",
                "height": f"{item.elevation_deg:+.0f}°".replace("-", "−"),
            }
            for seat, item in pair.seats.items()
        ],
        "compromise": "" if pair.compromise_s is None else f"{1000.0 * pair.compromise_s:.2f} ms",
    }


def _low(build: Build, result: LayoutResult, lows: list[str]) -> dict[str, Any]:
    from markupsafe import Markup

    low = result.low_frequency
    assert low is not None
    order = [name for row in result.ranking for name in row.places if name in lows]
    shown = sorted(order, key=lambda name: result.places[name].role != "subwoofer")[: len(charts.LOW_INKS)]
    picture: Picture | None = charts.low_map(build, low) if low.map_of is not None else None
    return {
        "chart": drawn(charts.low_chart(result, low, shown), "low"),
        "hidden": len(lows) - len(shown),
        "map": None if picture is None else Markup(draw(picture)),
        "key": Markup(shade_key(charts.MAP_STEPS, "dB")),
        "of": low.map_of,
        "hz": f"{low.map_hz:.0f}",
        "modes": ", ".join(f"{f:.0f}" for f in low.modes_hz if f < 200.0),
        "volume": f"{low.volume_m3:.2f}",
        "leak": f"{low.leak_hz:.0f}",
        "rows": [
            {
                "name": name,
                "seat": seat,
                "gain": f"{item.gain_db[seat]:+.1f} dB".replace("-", "−"),
                "uneven": f"{item.uneven_db[seat]:.1f} dB",
            }
            for name in shown
            if (item := result.places[name].low) is not None
            for seat in item.gain_db
        ],
    }


def _radii(result: LayoutResult) -> list[tuple[float, str]]:
    found: dict[float, list[str]] = {}
    for item in result.places.values():
        if item.role != "subwoofer":
            found.setdefault(round(item.radius_m, 4), []).append(item.role)
    return [(radius, ", ".join(dict.fromkeys(roles))) for radius, roles in sorted(found.items())][:4]


def _pod(pod: Any, k: int) -> dict[str, Any]:
    from markupsafe import Markup

    return {
        "place": pod.place,
        "pillar": pod.after.pillar,
        "before": f"{pod.before.angle_deg:.1f}°",
        "after": f"{pod.after.angle_deg:.1f}°",
        "svg": Markup(draw(charts.view_picture(pod))),
        "number": k,
    }
