"""The screen's texts go through gettext; English is complete in the source. A translation lies in ``web/locale``."""

from __future__ import annotations

import gettext
from importlib.resources import files

__all__ = ["_", "counted"]

_catalogue = gettext.translation("cabinwright", str(files("cabinwright.web") / "locale"), fallback=True)
_ = _catalogue.gettext


def counted(number: int, one: str, several: str) -> str:
    """``3 stops``: the number before its noun."""
    return f"{number} {_catalogue.ngettext(one, several, number)}"
