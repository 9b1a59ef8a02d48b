"""What each kind of loudspeaker can be expected to play, for judging recordings and choosing markers.

Bands are common practice.
"""

from __future__ import annotations

from cabinwright.build.document import Build, Processor, Speaker

__all__ = ["core_band_hz", "marker_band_hz", "marker_speaker", "speakers_of"]

#: role: the band every loudspeaker of that kind plays at a useful level
CORE_HZ: dict[str, tuple[float, float]] = {
    "tweeter": (3150.0, 12500.0),
    "midrange": (400.0, 4000.0),
    "coaxial": (125.0, 8000.0),
    "fullrange": (200.0, 8000.0),
    "midbass": (100.0, 1600.0),
    "woofer": (63.0, 500.0),
    "subwoofer": (31.5, 80.0),
    "rear fill": (250.0, 6300.0),
    "centre": (315.0, 6300.0),
}

#: The best loudspeaker for markers first: sharp in time, and never one that has nothing above a few hundred hertz if
#: there is another. The band keeps a tweeter without its protective high-pass out of harm.
MARKER_HZ: dict[str, tuple[float, float]] = {
    "tweeter": (2000.0, 9000.0),
    "coaxial": (1500.0, 8000.0),
    "fullrange": (1500.0, 8000.0),
    "centre": (1500.0, 8000.0),
    "midrange": (1000.0, 6000.0),
    "rear fill": (1000.0, 6000.0),
    "midbass": (600.0, 3500.0),
    "woofer": (300.0, 1500.0),
    "subwoofer": (40.0, 200.0),
}


def speakers_of(build: Build, channel: str) -> tuple[Speaker, ...]:
    """The speakers of a channel, in its order; ``()`` for a name that is no channel."""
    by_name = {speaker.name: speaker for speaker in build.speakers}
    for item in build.channels:
        if item.name == channel:
            return tuple(by_name[name] for name in item.speakers)
    return ()


def core_band_hz(speakers: tuple[Speaker, ...]) -> tuple[float, float]:
    """The band in which a recording of these speakers must be sound: the widest of them, inside stated safe ranges."""
    bands = []
    for speaker in speakers:
        low, high = CORE_HZ[speaker.role]
        inner_low = max(low, (speaker.safe_low_hz or 0.0) * 1.1)
        inner_high = min(high, (speaker.safe_high_hz or high * 2.0) / 1.1)
        bands.append((inner_low, inner_high) if inner_low * 1.5 <= inner_high else (low, high))
    return min(low for low, _ in bands), max(high for _, high in bands)


def marker_speaker(build: Build) -> tuple[str, Speaker] | None:
    """The channel that plays the markers, and the speaker of it that decides the band; ``None`` without channels."""
    order = list(MARKER_HZ)
    far = "left" if build.vehicle.driving_side == "right" else "right"
    named = build.tuning.marker_channel if build.tuning else None
    best: tuple[tuple[int, int], str, Speaker] | None = None
    for channel in build.channels:
        if named is not None and channel.name != named:
            continue
        for speaker in speakers_of(build, channel.name):
            side = 0 if speaker.side == far else 1 if speaker.side == "centre" else 2
            rank = (order.index(speaker.role), side)
            if best is None or rank < best[0]:
                best = (rank, channel.name, speaker)
    return None if best is None else (best[1], best[2])


def marker_band_hz(build: Build) -> tuple[float, float]:
    """Band of the markers [Hz]; a tweeter's where no loudspeaker is known."""
    found = marker_speaker(build)
    low, high = MARKER_HZ[found[1].role if found else "tweeter"]
    high = min(high, 0.4 * (build.processor or Processor()).sample_rate_hz)
    return min(low, high / 2.5), high
