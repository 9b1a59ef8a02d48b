"""Enclosures: what a drive unit does in its box, and which other boxes would fit."""

from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.enclosure.run import NOT_YET, run

__all__ = ["NOT_YET", "EnclosureResult", "run"]
