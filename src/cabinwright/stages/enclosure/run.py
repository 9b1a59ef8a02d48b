"""The enclosure stage: drive units made complete, every box solved, searched and doubted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import Box, SpeakerModel
from cabinwright.findings import Finding, finding
from cabinwright.physics.driver import Driver
from cabinwright.physics.impedance import Sweep
from cabinwright.physics.outline import Drawn
from cabinwright.stages.drawn_units import HOLLOWS_M, unit_doubt
from cabinwright.stages.enclosure.boxes import Unsolved, feed_of, net_volume_m3, solved
from cabinwright.stages.enclosure.cabin import heard_in_car
from cabinwright.stages.enclosure.doubts import doubts
from cabinwright.stages.enclosure.models import all_models
from cabinwright.stages.enclosure.result import BoxResult, EnclosureResult, ModelResult, PortResult
from cabinwright.stages.enclosure.room import room_findings
from cabinwright.stages.enclosure.search import Answers, answered, search
from cabinwright.stages.enclosure.shape import Files
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.enclosure.shape_run import Draft, drafted, finished, refused
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.memory import Keeper, afresh

__all__ = ["NOT_YET", "run"]

NOT_YET = "needs [[speaker_models]] and [[boxes]]"
PORT_STEPS, SETTLED = 20, 1e-6  #: volume and length of a port settle on one another
ASSUMPTIONS = (
    "Levels are those in half space at 1 m, free of the cabin, and not held back where the cone reaches its limits.",
    "The voltage is sqrt(power_w × re_ohm) at the box; several speakers share it as they are wired. With the resistance "
    "of a wire or an amplifier stated, it is the voltage before that resistance.",
    "A box is a lump of air: no standing waves in it, no diffraction at its edges.",
    "Voice coils keep their resistance cold; at full power over minutes they lose about 3 dB, common practice.",
)


class _Shapeless(Exception):
    """A box without a volume, because its shape gives none; ``finding`` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.code)
        self.finding = finding


def run(
    build: Build,
    placed: LayoutResult | None = None,
    *,
    sweeps: Mapping[str, Sequence[Sweep]] | None = None,
    found: tuple[Finding, ...] = (),
    drawn: Files | None = None,
    keep: Keeper = afresh,
) -> EnclosureResult | None:
    """Every box of ``build``; None where it has neither boxes nor drive units.

    ``placed`` is the comparison of places, for the cabin's gain; ``sweeps`` are impedance sweeps by name of the model,
    and ``found`` what was found while reading them; ``drawn`` are the files that shapes name; ``keep`` gives
    back what of an earlier run still holds. A box that cannot be solved leaves a ``stop`` and the others be.
    """
    if not build.boxes and not build.speaker_models:
        return None
    models, findings = all_models(build, sweeps or {}, keep=keep)
    if not (build.boxes or models or findings or found):  # models that are there for their dimensions alone
        return None
    boxes: dict[str, BoxResult] = {}
    files: Files = {} if drawn is None else drawn
    for box in build.boxes:
        findings += _units(box, files)
        try:
            boxes[box.name], more = _box(build, box, models, placed, files, keep)
            findings += more
        except Unsolved as reason:
            findings.append(finding(reason.code, where=box.name, **reason.details))
        except _Shapeless as reason:
            findings.append(reason.finding)
    findings += room_findings(build.limits, boxes)
    return EnclosureResult(boxes, models, ASSUMPTIONS, (*found, *findings))


def _units(box: Box, files: Files) -> Iterator[Finding]:
    """Drawings of a hollow or an opening that may have been read in the wrong unit; said even where no box comes of it."""
    tables = [] if box.shape is None else [(box.name, box.shape.file)]
    if box.shape is not None and box.shape.opening is not None:
        tables.append((f"{box.name}, opening", box.shape.opening.file))
    for where, file in tables:
        content = files.get(file or "")
        if file is not None and isinstance(content, Drawn):
            doubt = unit_doubt("enclosure.shape_unit", content, where=where, file=file, usual_m=HOLLOWS_M)
            yield from () if doubt is None else (doubt,)


def _box(
    build: Build,
    box: Box,
    models: Mapping[str, ModelResult],
    placed: LayoutResult | None,
    files: Files,
    keep: Keeper,
) -> tuple[BoxResult, list[Finding]]:
    name = box.model or next(item.model for item in build.speakers if item.name in box.speakers and item.model)
    model = next(item for item in build.speaker_models if item.name == name)
    if name not in models:
        raise Unsolved("enclosure.no_model", model=name)
    driver = models[name].driver
    quiet = box.model_copy(update={"power_w": None})  #: what does not ask how loud it plays
    draft = None if box.shape is None else keep(("enclosure: body", box.name), drafted, build, quiet, model, files)
    found: list[Finding] = []
    if isinstance(draft, Draft):
        result = _in_shape(box, model, driver, draft)
        room: float | None = box.gross_volume_m3 or box.volume_m3 or draft.net_m3(None)
        try:
            shape, found = _whole(build, draft, result.port, files, keep)
            result = replace(result, shape=shape)
        except ValueError as fault:  # a body in which nothing can be placed
            found = [refused(box.name, fault)]
    else:
        found = [draft] if draft is not None else []
        volume = net_volume_m3(build, box)
        if volume is None and draft is not None and box.kind != "infinite baffle":
            raise _Shapeless(draft)
        result = solved(box, model, driver, volume_m3=volume)
        if volume is not None and box.volume_m3 is None and box.kind != "infinite baffle":
            value, place = round(1e3 * volume, 1), box.speakers[0]
            found.append(finding("enclosure.place_volume", where=box.name, value=value, unit="L", place=place))
        room = box.gross_volume_m3 or volume
    if room is not None and box.kind != "infinite baffle":
        known = keep(("enclosure: search", box.name), _answers, build, quiet, model, driver, room)
        listed, searched = search(box, model, driver, feed_of(box, model, driver), room_m3=room, known=known)
        result = replace(result, alternatives=listed, search=searched)
    result = replace(result, in_car=heard_in_car(result, placed))
    doubtful = list(doubts(box, model, result, cone_m2=float(driver.sd_m2)))
    return _held(result, doubtful), [*doubtful, *found]


def _held(result: BoxResult, doubtful: Sequence[Finding]) -> BoxResult:
    """The box with the stops against its sound standing against its boards too: no file of a box that cannot work."""
    stops = [item.code for item in doubtful if item.severity == "stop"]
    if result.shape is None or not stops:
        return result
    stopped = tuple(dict.fromkeys((*result.shape.stopped, *stops)))
    return replace(result, shape=replace(result.shape, stopped=stopped))


def _answers(_: Build, box: Box, model: SpeakerModel, driver: Driver, room_m3: float) -> Answers:
    return answered(box, model, driver, feed_of(box, model, driver), room_m3=room_m3)


def _whole(
    build: Build, draft: Draft, port: PortResult | None, files: Files, keep: Keeper
) -> tuple[ShapeResult | None, list[Finding]]:
    """The finished shape; the speed of the air in its port changes nothing of it."""
    still = None if port is None else tuple(vars(replace(port, peak_velocity_m_s=0.0, peak_velocity_hz=0.0)).values())

    def work(_: Build, draft: Draft, __: object, files: Files) -> tuple[ShapeResult | None, list[Finding]]:
        return finished(draft, port, files)

    shape, found = keep(("enclosure: shape", draft.box.name), work, build, draft, still, files)
    return shape, list(found)


def _in_shape(box: Box, model: SpeakerModel, driver: Driver, draft: Draft) -> BoxResult:
    """The box with the air that its shape leaves: as the port is as long as the air asks for, both are found together."""
    volume = box.volume_m3 or draft.net_m3(None)
    result = solved(box, model, driver, volume_m3=volume)
    if box.volume_m3 is not None:
        return result
    for _ in range(PORT_STEPS):
        left = draft.net_m3(result.port)
        if left <= 0.0 or abs(left / volume - 1.0) < SETTLED:
            break
        volume = left
        result = solved(box, model, driver, volume_m3=volume)
    return result
