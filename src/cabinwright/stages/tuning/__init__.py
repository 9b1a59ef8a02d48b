"""The tune: recorded responses to processor settings, with curves, reasons and findings."""

from cabinwright.stages.tuning.tune import run

__all__ = ["run"]
