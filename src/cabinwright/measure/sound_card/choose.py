"""What a person chose of the devices that are there, as settings that go together."""

from __future__ import annotations

from pathlib import Path

from cabinwright.errors import PersonError
from cabinwright.measure.sound_card.card import Device
from cabinwright.measure.sound_card.settings import CardSettings

__all__ = ["settings_of", "timings_of"]


def timings_of(into: Device, out: Device | None) -> tuple[str, ...]:
    """How takes can keep time with these: an electrical copy needs a second input and a second output."""
    both = out is not None and out.outputs > 1 and into.inputs > 1
    return ("loopback", "marker") if both else ("marker",)


def settings_of(
    into: Device,
    out: Device | None,
    *,
    timing: str,
    sample_rate_hz: int,
    microphone_channel: int = 1,
    calibration: str = "",
    before: CardSettings | None = None,
) -> CardSettings:
    """The settings. ``out`` None: the car plays by itself. ``before``: what was chosen earlier; the absolute level stays while
    it is the same input. Raises ``PersonError`` where the choice does not go together.
    """
    if timing not in timings_of(into, out):
        raise PersonError(
            f"{timing} timing: an electrical copy needs two inputs and two outputs. Choose marker timing."
        )
    if not 1 <= microphone_channel <= into.inputs:
        raise PersonError(
            f"{into.name}: it has {into.inputs} inputs, and the microphone cannot be at {microphone_channel}."
        )
    file = str(Path(calibration).expanduser().resolve()) if calibration.strip() else ""
    if file and not Path(file).is_file():
        raise PersonError(f"{file}: there is no such calibration file. Name it anew, or leave it out.")
    chosen = {
        "input_name": into.name,
        "input_host": into.host,
        "output_name": out.name if out else "",
        "output_host": out.host if out else "",
        "microphone_channel": microphone_channel,
        "copy_channel": (2 if microphone_channel == 1 else 1) if timing == "loopback" else 0,
        "second_channel": 2 if out is not None and out.outputs > 1 else 0,
        "sample_rate_hz": sample_rate_hz,
        "timing": timing,
        "microphone_calibration": file,
    }
    if before is not None:
        kept = {"latency_s": before.latency_s, "block_frames": before.block_frames, "loudest_db": before.loudest_db}
        same = ("input_name", "input_host", "microphone_channel")
        if all(getattr(before, key) == chosen[key] for key in same):
            kept |= {"unit_level_db": before.unit_level_db, "calibrated_on": before.calibrated_on}  # type: ignore[dict-item]
        chosen |= kept
    try:
        return CardSettings.model_validate(chosen)
    except ValueError as error:
        raise PersonError(f"That does not go together: {error}") from None
