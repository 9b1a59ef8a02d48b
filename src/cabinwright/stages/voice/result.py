"""What the stage of the voice gives. Angles from straight ahead, positive to the right; lengths across the car likewise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding

__all__ = ["BASES", "VERSIONS", "Dashboard", "SeatVoice", "VoiceImage", "VoiceResult"]

Real = NDArray[np.float64]
VERSIONS = ("before", "now", "proposed")
BASES = {
    "at the ears": "recorded at the ears of somebody, or a dummy, in the seat",
    "at two places": "recorded where the ears would be, without a head; its shadow is a rigid sphere's",
    "round the head": "recorded round the head with one microphone; the ears are a rigid sphere's",
    "carried over": "not recorded here: the other seat's recordings, moved along the straight lines from each loudspeaker",
}


@dataclass(frozen=True)
class Dashboard:
    """The line across the car that images are told on."""

    at_m: float  #: x of the line
    known_from: str  #: in words
    middle_m: float  #: y of the car's middle
    wanted_m: float | None = (
        None  #: y at which the build wants the voice; None: straight ahead of the seat that is tuned for
    )


@dataclass(frozen=True)
class VoiceImage:
    """One seat with one set of settings."""

    version: str  #: one of ``VERSIONS``
    settings: str  #: fingerprint
    time_s: Real  #: (bands,) between the ears, positive to the right; median over the microphone's places
    level_db: Real  #: (bands,)
    lateral_deg: Real  #: (bands,) where each band stands
    low_deg: Real  #: (bands,) least and greatest over the microphone's places
    high_deg: Real
    at_deg: float  #: the voice as a whole
    spread_deg: float  #: half of what two thirds of its bands take up
    wander_deg: float  #: standard deviation over the microphone's places; NaN with fewer than two
    across_m: float  #: y on the dashboard's line; NaN where it would lie beside the car
    spread_m: float  #: half of what two thirds of its bands take up there


@dataclass(frozen=True)
class SeatVoice:
    """One front seat."""

    seat: str
    head_m: tuple[float, float, float]
    basis: str  #: key of ``BASES``
    places: tuple[str, ...]  #: microphone positions, or pairs of them
    wanted_deg: float  #: the direction of where the voice should stand; NaN where nothing is asked of this seat
    images: tuple[VoiceImage, ...]  #: in the order of ``VERSIONS``; the same settings stand once

    def image(self, version: str) -> VoiceImage | None:
        """That of one version."""
        return next((item for item in self.images if item.version == version), None)


@dataclass(frozen=True)
class VoiceResult:
    """Every front seat."""

    bands_hz: Real
    dashboard: Dashboard
    seats: tuple[SeatVoice, ...]
    findings: tuple[Finding, ...]

    def to_dict(self) -> dict[str, Any]:
        """What ``plan.json`` holds under ``voice``."""
        return {
            "erb_bands_hz": self.bands_hz,
            "dashboard": dict(vars(self.dashboard)),
            "seats": {
                item.seat: {
                    "basis": item.basis,
                    "places": item.places,
                    "wanted_deg": item.wanted_deg,
                    "images": {image.version: dict(vars(image)) for image in item.images},
                }
                for item in self.seats
            },
            "findings": [item.to_dict() for item in self.findings],
        }
