"""The electrical system: solved in every state of the car, with promises, wires, fuses, faults and the budget."""

from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.power.run import run

__all__ = ["PowerResult", "run"]
