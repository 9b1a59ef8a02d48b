"""Settings that the build's processor cannot hold were never loaded: nothing could be compared with them."""

from __future__ import annotations

from cabinwright.build.document import Build, Processor
from cabinwright.errors import PersonError, Problem
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

__all__ = ["check_limits"]

CURE = (
    "Verify with the settings that were loaded, or correct [processor] in build.toml, run the tune again and load its "
    "settings."
)


def check_limits(build: Build, settings: Settings, *, file: str) -> None:
    """Raise ``PersonError`` with every value in ``settings`` that the processor of ``build`` cannot hold.

    A limit may be passed by half a step of its grid: that is rounding, and no edit.
    """
    processor = build.processor or Processor()
    problems: list[Problem] = []
    for index, item in enumerate(settings.channels):
        for key, rule, got in _beyond(item, processor):
            place = f"channels[{index}].{key}"
            problems.append(Problem(file, None, place, f"{rule} ({item.name!r})", got, CURE))
    if problems:
        raise PersonError("\n".join(str(item) for item in problems))


def _beyond(item: ChannelSettings, processor: Processor) -> list[tuple[str, str, str]]:
    """Key, rule and what was got, for everything of one channel that lies beyond its limit."""
    found = []
    half_db, half_s = processor.gain_step_db / 2.0, processor.delay_step_s / 2.0
    low, high = processor.gain_min_db, processor.gain_max_db
    if not low - half_db <= item.gain_db <= high + half_db:
        rule = f"the build's processor sets gains from {low:g} to {high:g} dB"
        found.append(("gain_db", rule, f"{item.gain_db:g} dB"))
    if item.delay_s > processor.delay_max_s + half_s:
        rule = f"the build's processor delays by at most {processor.delay_max_s * 1e3:g} ms"
        found.append(("delay_s", rule, f"{item.delay_s * 1e3:g} ms"))
    for kind, most in (("peaking", processor.peaking_filters), ("all-pass", processor.all_pass_filters)):
        count = sum(row.kind == kind for row in item.filters)
        if count > most:
            rule = f"the build's processor has {most} {kind} filters in each channel"
            found.append(("filters", rule, str(count)))
    return found
