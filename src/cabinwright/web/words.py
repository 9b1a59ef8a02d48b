"""The screen's texts go through gettext; English is complete in the source. A translation lies in ``web/locale``.

What stages find and what a field's help says is worded elsewhere, and is looked up here by that wording.
"""

from __future__ import annotations

import gettext
from importlib.resources import files

from cabinwright.findings import Finding, catalogue

__all__ = ["_", "counted", "message", "remedy"]

_catalogue = gettext.translation("cabinwright", str(files("cabinwright.web") / "locale"), fallback=True)
_ = _catalogue.gettext


def counted(number: int, one: str, several: str) -> str:
    """``3 stops``: the number before its noun."""
    return f"{number} {_catalogue.ngettext(one, several, number)}"


def message(item: Finding) -> str:
    """What a finding says, in the reader's language."""
    return _filled(item, "message", item.message)


def remedy(item: Finding) -> str:
    """And its cure."""
    return _filled(item, "remedy", item.remedy)


def _filled(item: Finding, part: str, english: str) -> str:
    template = catalogue().get(item.code, {}).get(part, "")
    told = _(template) if template else ""
    if told == template:
        return english
    return told.format(
        **{"where": item.where, "value": item.value, "limit": item.limit, "unit": item.unit, **item.details}
    )
