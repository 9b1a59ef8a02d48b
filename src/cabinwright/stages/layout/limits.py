"""Places held against what whoever the build is for does not want: cuts for good, parts that must stay, the budget."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from cabinwright.build.cabin import Place
from cabinwright.build.checking import folded
from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding

__all__ = ["cut_for_good", "limit_findings", "named", "refused", "touched"]


def cut_for_good(place: Place) -> bool | None:
    """Whether the car cannot be put back as it was; None where nobody said. A cut of which nobody says counts as for good."""
    if place.cut is None and place.reversible is None:
        return None
    return place.reversible is not True and bool(place.cut or place.reversible is False)


def touched(place: Place, parts: Sequence[str]) -> tuple[str, ...]:
    """Parts that must stay and that the place names, in its own name or in what is cut for it."""
    if place.reversible is True and not place.cut:
        return ()
    return named(f"{place.name}. {place.cut or ''}", parts)


def named(words: str, parts: Sequence[str]) -> tuple[str, ...]:
    """Those of ``parts`` that ``words`` name as words of their own, one of them or several."""
    told = folded(words)
    return tuple(part for part in parts if re.search(rf"(?<!\w){re.escape(_one(folded(part)))}s?(?!\w)", told))


def _one(words: str) -> str:
    """Without the s of several."""
    return words[:-1] if words.endswith("s") and not words.endswith("ss") and len(words) > 1 else words


def refused(build: Build, place: Place) -> str | None:
    """Why a place is out of the contest; None where no limit is against it."""
    if build.limits.reversible and cut_for_good(place):
        return (
            f"{place.name} cannot be put back ({place.cut or 'as its row says'}), and everything must go back as it was"
        )
    parts = touched(place, build.limits.stock)
    return f"{place.name} touches what must stay as it is: {', '.join(parts)}" if parts else None


def limit_findings(build: Build) -> Iterator[Finding]:
    """What the places that were accepted break, and of what nobody said."""
    limits, places = build.limits, {place.name: place for place in build.places}
    accepted = [places[item.name] for item in build.speakers if item.name in places]
    for place in accepted:
        if limits.reversible and cut_for_good(place):
            yield finding("layout.limit_cut", where=place.name, cut=place.cut or "its row says so")
        parts = touched(place, limits.stock)
        if parts:
            yield finding("layout.limit_stock", where=place.name, parts=", ".join(parts))
    if limits.reversible or limits.stock:
        unsaid = [item.name for item in build.speakers if item.name not in places]
        unsaid += [place.name for place in accepted if cut_for_good(place) is None]
        if unsaid:
            yield finding("layout.limit_unsaid", where=", ".join(unsaid))
    cost = sum(place.cost or 0.0 for place in accepted)
    if limits.budget is not None and round(cost, 2) > round(limits.budget, 2):
        value, limit = round(cost, 2), round(limits.budget, 2)
        yield finding("layout.limit_budget", where="the places accepted", value=value, limit=limit)
