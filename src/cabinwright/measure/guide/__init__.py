"""Led through a car: which takes are to be made in which order, what is played and watched while one is made, and what it is
worth.

The engine (``Guide``) is a state machine without any input or output of its own: it is given keys and blocks of sound and says
what is to be done. ``desk.Recorder`` does it, with a real sound card or a simulated one.
"""

from cabinwright.measure.guide.engine import Do, Guide, View
from cabinwright.measure.guide.plan import Item, plan_of
from cabinwright.measure.guide.round import Heard, Round
from cabinwright.measure.guide.take_file import TakeFile, free_name, leftovers

__all__ = ["Do", "Guide", "Heard", "Item", "Round", "TakeFile", "View", "free_name", "leftovers", "plan_of"]
