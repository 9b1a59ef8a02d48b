"""What happens between source and loudspeaker. So far: what the car's own radio does, and how it is undone."""

from cabinwright.stages.signal.result import NOT_YET, SignalResult
from cabinwright.stages.signal.run import run

__all__ = ["NOT_YET", "SignalResult", "run"]
