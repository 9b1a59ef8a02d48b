"""How well recordings repeat when nothing was changed. Common practice, no source, for all of them.

There are two of a kind where the two uses need different answers: the *search* must reach whatever a careful person may
leave, and weighs all bands together; the *verdict* judges single bands, and says what such a person usually leaves.
"""

from __future__ import annotations

__all__ = [
    "LEVEL_LIMIT_DB",
    "LEVEL_SPREAD_DB",
    "REPEATABILITY",
    "REPLACED_AT_MOST_S",
    "REPLACED_USUALLY_M",
]

REPEATABILITY = 0.02  #: relative error of one bin: 0.17 dB
LEVEL_SPREAD_DB = 0.35  #: scale of a band's level error in the search: beyond it a band's say grows only slowly
LEVEL_LIMIT_DB = 0.5  #: for the verdict: about one and a half times that spread, for one band among thirty
REPLACED_AT_MOST_S = 60e-6  #: how far the search looks for a microphone put back: 20 mm of travel
REPLACED_USUALLY_M = 0.005  #: for the verdict: the level that 20 mm would excuse in the treble could hide a mistake
