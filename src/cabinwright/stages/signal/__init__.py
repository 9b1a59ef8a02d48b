"""What happens between source and loudspeaker: the car's own radio undone, presets, gains, loads, order of waking."""

from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.signal.run import run

__all__ = ["SignalResult", "run"]
