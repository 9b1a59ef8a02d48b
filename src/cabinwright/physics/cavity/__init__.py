"""Low notes in a cabin: modes of its actual shape, by finite elements.

triangles   polygons as triangles; nearest points, inside and outside
shell       facets joined to a closed surface, or the gap named
cells       a grid over it, and how much of each cell is air
elements    stiffness and mass of the air, with scikit-fem
walls       from absorption to admittance
modes       modes, damping, response, maps
judge       how even a place is over heads; where this gives way to rays
"""

from .judge import crossfade, evenness_db, gain_crossing_hz
from .modes import Cavity, Slice, solve_cavity
from .shell import Gap, OpenShellError, Shell, close_shell

__all__ = [
    "Cavity",
    "Gap",
    "OpenShellError",
    "Shell",
    "Slice",
    "close_shell",
    "crossfade",
    "evenness_db",
    "gain_crossing_hz",
    "solve_cavity",
]
