"""How well recordings repeat when nothing was changed. Common practice, no source, for all of them.

There are two of a kind where the two uses need different answers: the *search* must reach whatever a careful person may
leave, and weighs all bands together; the *verdict* judges single bands, and says what such a person usually leaves.
"""

from __future__ import annotations

__all__ = [
    "LEVEL_LIMIT_DB",
    "LEVEL_SPREAD_DB",
    "PLACED_SIGMA_M",
    "PLACED_USUALLY_M",
    "REFLECTED_SHARE",
    "REPEATABILITY",
    "REPLACED_AT_MOST_S",
    "REPLACED_USUALLY_M",
]

REPEATABILITY = 0.02  #: relative error of one bin: 0.17 dB
LEVEL_SPREAD_DB = 0.35  #: scale of a band's level error in the search: beyond it a band's say grows only slowly
LEVEL_LIMIT_DB = 0.5  #: for the verdict: about one and a half times that spread, for one band among thirty
PLACED_SIGMA_M = (
    0.007  #: of a microphone put back by eye, in each direction: 12 mm in all, one in a hundred beyond 23 mm
)
PLACED_USUALLY_M = 0.01  #: a delay that such a move would explain is not told
REFLECTED_SHARE = 0.3  #: how much of a move's effect on a loudspeaker may be its own: reflections come from elsewhere
REPLACED_AT_MOST_S = 60e-6  #: how far the search looks for a microphone put back: 20 mm of travel
REPLACED_USUALLY_M = 0.005  #: for the verdict: the level that 20 mm would excuse in the treble could hide a mistake
