"""Before and after by ear: a track through both, equally loud, for headphones; and whether anybody can tell."""

from cabinwright.measure.listening.blind import KINDS, LEAST_TRIALS, MOST_TRIALS, Blind, told_aim, told_result
from cabinwright.measure.listening.kept import BLIND_FILE, HEARD_FILE, Trial, heard_text, read_heard, read_trials
from cabinwright.measure.listening.render import Form, Heard, Rendered, file_names, render
from cabinwright.measure.listening.track import Track, open_track, seconds_of

__all__ = [
    "BLIND_FILE",
    "CAUTIONS",
    "HEARD_FILE",
    "KINDS",
    "LEAST_TRIALS",
    "LIMITS",
    "MOST_TRIALS",
    "Blind",
    "Form",
    "Heard",
    "Rendered",
    "Track",
    "Trial",
    "file_names",
    "heard_text",
    "open_track",
    "read_heard",
    "read_trials",
    "render",
    "seconds_of",
    "told_aim",
    "told_result",
]

CAUTIONS = (
    "Begin with the headphones turned down, and put them on while it plays softly.",
    "Turn up only until a voice sounds as loud as somebody who speaks in the car; louder for long harms hearing for good.",
    "Every version is as loud as every other and never louder than the track itself, so there is no need to turn up for one.",
)
"""Before anything is played."""

LIMITS = (
    "Bass that is felt in the seat and the body is not there.",
    "When you turn your head the car turns with you, and the voice may seem to stand inside your head.",
    "The ears are a rigid sphere's: height, and front against back, are lost.",
    "Reflections come from where the direct sound comes from.",
    "One place of the microphone stands for the head; a filter that helps at one place shows its best side there.",
    "No engine, no road: what is masked while driving is heard here.",
    "Places are predicted with flat loudspeakers and the cabin's rays, without its bass: compare them with one another.",
    "All are equally loud on purpose, so that the louder one does not win. In the car the levels may differ.",
)
"""What headphones cannot convey, in words for whoever listens."""
