"""Sound in and out of this computer: which devices there are, which were chosen, and blocks of samples both ways.

    settings = load_settings()                       # chosen once per machine; None: not chosen yet
    with open_card().open(settings, play=source) as stream:
        while (block := stream.read()) is not None:
            ...                                      # block.samples: (frames, channels)

``open_card`` gives the real sound card through PortAudio; ``SimulatedCard`` stands in for it, with rooms of known responses and
faults made on purpose. Whoever works with sound takes a ``Card`` and never asks which of the two it is.
"""

from cabinwright.measure.sound_card.card import Block, Card, Device, Source, Stream
from cabinwright.measure.sound_card.portaudio import open_card
from cabinwright.measure.sound_card.settings import CardSettings, load_settings, save_settings
from cabinwright.measure.sound_card.simulated import SimulatedCard

__all__ = [
    "Block",
    "Card",
    "CardSettings",
    "Device",
    "SimulatedCard",
    "Source",
    "Stream",
    "load_settings",
    "open_card",
    "save_settings",
]
