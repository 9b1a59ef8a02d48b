"""Where a centred voice stands, as each front seat hears it: before, now and as proposed."""

from cabinwright.stages.voice.run import NOT_YET, run

__all__ = ["NOT_YET", "run"]
