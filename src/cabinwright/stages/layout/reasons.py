"""Why one choice stands before another, in plain words with figures."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import fmean

from cabinwright.stages.layout.heard import bands_of
from cabinwright.stages.layout.low import LOW_ROLES
from cabinwright.stages.layout.ranking import CRITERIA, LOWER_IS_BETTER, Choice
from cabinwright.stages.layout.result import Heard, Pair, PlaceResult, Reflection
from cabinwright.tables import OCTAVES_HZ

__all__ = ["hertz", "reasons_for", "strongest"]

WORDS = {
    "room": ("more room behind it", "less room behind it"),
    "irreversible": ("easier to put back", "harder to put back"),
    "looks": ("looks better", "looks worse"),
    "view": ("hides less of the road", "hides more of the road"),
    "cost": ("costs less", "costs more"),
}


def strongest(heard: Heard, role: str = "fullrange") -> Reflection | None:
    """The reflection within 10 ms that is loudest in the octaves of a role; if any has a dip in them, the loudest of those."""
    bands = bands_of(role)
    top_hz = OCTAVES_HZ[bands.stop - 1] * 2.0**0.5
    early = [item for item in heard.reflections if item.delay_s < 0.010]
    early = [item for item in early if item.dip_hz < top_hz] or early
    return max(early, key=lambda item: fmean(item.bands_db[bands]), default=None)


def reasons_for(
    choice: Choice,
    places: Mapping[str, PlaceResult],
    pair: Pair | None,
    seat: str,
    criteria: Mapping[str, float | None],
    best: Mapping[str, float | None] | None,
    first_share: float,
    barred: str | None,
    *,
    master: str | None = None,
) -> tuple[str, ...]:
    """Sentences about one choice; ``best`` is what the first choice of the role has, None for the first itself.

    ``barred`` says why it is out of the contest, ``master`` which choice is nowhere worse and somewhere better.
    """
    out = [barred] if barred else []
    out += [_sound(places[name], seat) for name in choice.places]
    if pair is not None:
        out.append(_pair(pair, seat))
    out += [
        _low(places[name], seat) for name in choice.places if places[name].low is not None and choice.role in LOW_ROLES
    ]
    if best is not None:
        out += _against(criteria, best)
    if barred:
        return tuple(out)
    if master:
        out.append(f"beaten by {master}: nowhere worse in what is known, and somewhere better")
    out.append(f"comes first in {100.0 * first_share:.0f} % of the draws with errors of survey, mounting and aim")
    return tuple(out)


def _sound(place: PlaceResult, seat: str) -> str:
    heard = place.seats[seat]
    if place.role == "subwoofer":
        return f"{place.name}: {heard.distance_m:.2f} m from the {seat}'s head"
    words = f"{place.name}: {heard.off_axis_deg:.0f}° off axis at {heard.distance_m:.2f} m"
    if heard.occluded:
        words += ", hidden from the head" + (
            f" (the way round is {100.0 * heard.detour_m:.0f} cm longer)" if heard.detour_m is not None else ""
        )
    loud = strongest(heard, place.role)
    if loud is None:
        return words + ", no reflection within 10 ms"
    way = ", then ".join(loud.surfaces)
    words += (
        f", strongest reflection in its octaves ({way}) {_late(loud.delay_s)} later at {_db(loud.level_db)}: "
        f"first dip at {hertz(loud.dip_hz)}, {loud.peak_to_dip_db:.0f} dB below the tops"
    )
    if loud.dip_range_hz is None:
        return words + ", in part of the head box only"
    low, high = loud.dip_range_hz
    if loud.stays_put:
        return words + ", which stays put over the head box (a filter may help)"
    return words + f", which wanders from {hertz(low)} to {hertz(high)} over the head box (no filter helps)"


def _pair(pair: Pair, seat: str) -> str:
    both = pair.seats[seat]
    side = "left" if both.lean < 0.0 else "right"
    words = f"{pair.left} and {pair.right}: {1000.0 * both.delay_s:.2f} ms of delay on the {both.delay_on} one, then "
    if abs(both.lean_deg) < 0.5:
        words += "the image stands midway"
    else:
        words += f"{_db(abs(both.level_difference_db))} of level would lean the image {abs(both.lean_deg):.0f}° to the {side}"
    if pair.compromise_s is not None:
        words += f"; for both front seats at once each is off by {1000.0 * pair.compromise_s:.2f} ms"
    return words


def _low(place: PlaceResult, seat: str) -> str:
    assert place.low is not None
    return (
        f"{place.name}: from 25 to 80 Hz {_signed(place.low.gain_db[seat])} dB over half space, "
        f"{place.low.uneven_db[seat]:.1f} dB uneven over the {seat}'s head box"
    )


def _against(mine: Mapping[str, float | None], best: Mapping[str, float | None]) -> list[str]:
    out = []
    a, b = mine["sound"], best["sound"]
    if a is not None and b is not None and abs(a - b) >= 0.3:
        out.append(f"sound {abs(a - b):.1f} dB {'better' if a > b else 'worse'}")
    for name in CRITERIA[1:]:
        a, b = mine[name], best[name]
        if a is None or b is None or a == b:
            continue
        better = (a < b) if name in LOWER_IS_BETTER else (a > b)
        out.append(WORDS[name][0 if better else 1])
    return ["against the first choice: " + ", ".join(out)] if out else []


def _late(delay_s: float) -> str:
    """Two digits below a millisecond, where they decide."""
    late_ms = 1000.0 * delay_s
    return f"{late_ms:.2f} ms" if late_ms < 1.0 else f"{late_ms:.1f} ms"


def hertz(value: float) -> str:
    """Three digits at most: 740 Hz, 1.25 kHz."""
    return f"{value / 1000.0:.3g} kHz" if value >= 1000.0 else f"{value:.0f} Hz"


def _db(value: float) -> str:
    return f"{round(value) + 0:d} dB".replace("-", "−")


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")
