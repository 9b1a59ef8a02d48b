"""What the shop keeps, one module for what belongs together. Importing this package makes every table known."""

from cabinwright.shop.rows.base import Row
from cabinwright.shop.rows.jobs import Hours, Job, Task, TaskOrder
from cabinwright.shop.rows.keeping import BuildState, Kept, Note, Word
from cabinwright.shop.rows.offers import Offer, OfferLine
from cabinwright.shop.rows.parts import Movement, Need, Part, Supplier
from cabinwright.shop.rows.people import Car, Customer, Login, User
from cabinwright.shop.rows.shop import Setting, TaxRule
from cabinwright.shop.rows.trail import Trace

__all__ = [
    "BuildState",
    "Car",
    "Customer",
    "Hours",
    "Job",
    "Kept",
    "Login",
    "Movement",
    "Need",
    "Note",
    "Offer",
    "OfferLine",
    "Part",
    "Row",
    "Setting",
    "Supplier",
    "Task",
    "TaskOrder",
    "TaxRule",
    "Trace",
    "User",
    "Word",
]
