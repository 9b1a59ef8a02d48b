"""Flat panels: outlines, holes, lights, sheets to cut them from."""

from cabinwright.stages.workshop.run import NOT_YET, run

__all__ = ["NOT_YET", "run"]
