"""Sound as it comes: third octaves, lines, levels, what lies between loudspeaker and microphone, and how sure each is.

``Engine`` takes blocks of samples and knows no device. ``LiveView`` runs it on a sound card.
"""

from cabinwright.measure.live.engine import SHOWN, Engine, Frame, decibels
from cabinwright.measure.live.predicted import Against, Prediction, from_layout, from_tune, held_against
from cabinwright.measure.live.view import LiveView, Running

__all__ = [
    "SHOWN",
    "Against",
    "Engine",
    "Frame",
    "LiveView",
    "Prediction",
    "Running",
    "decibels",
    "from_layout",
    "from_tune",
    "held_against",
]
