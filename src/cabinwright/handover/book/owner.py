"""The owner's part: what was built and why, presets, lights and controls. Plain words; figures only where they help."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product

from cabinwright.build.cabin import Place
from cabinwright.build.document import Build, Speaker
from cabinwright.drawings.cabin import View, cabin_picture
from cabinwright.drawings.front_view import front_view
from cabinwright.drawings.picture import Picture
from cabinwright.drawings.picture_svg import draw
from cabinwright.handover import report_charts as charts
from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    To,
    bullets,
    caution,
    chart,
    figure,
    figures,
    lead,
    missing,
    note,
    para,
    picture,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.report_words import sides_first
from cabinwright.handover.signal_order import preset_rows
from cabinwright.handover.wording import decibels, join, microseconds
from cabinwright.stages.power.result import LoadResult
from cabinwright.stages.power.states import States
from cabinwright.stages.workshop.result import PanelResult

__all__ = ["ROLES", "controls", "cover_drawing", "on_words", "presets", "speaker_numbers", "speakers_picture", "system"]

ROLES = {
    "tweeter": "plays the highest notes: cymbals, breath, the shine of a voice",
    "midrange": "plays the middle: voices and most instruments",
    "coaxial": "plays middle and highest notes from one spot",
    "fullrange": "plays nearly everything from one spot",
    "midbass": "plays drums and the lower half of voices and instruments",
    "woofer": "plays the low notes",
    "subwoofer": "plays the lowest notes, felt more than heard",
    "rear fill": "plays softly for those in the back",
    "centre": "holds what is sung in the middle in its place",
}
HUNG_MM = 136.0  #: width of running text
NUMBERS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")


def speaker_numbers(build: Build) -> dict[str, int]:
    """The number of each loudspeaker in the pictures of this book: its place in the build."""
    return {item.name: number for number, item in enumerate(build.speakers, start=1)}


def speakers_picture(given: Given, view: View, *, keep_outs: bool, width_mm: float = HUNG_MM) -> Picture | None:
    """The cabin with the loudspeakers that were fitted; None where no place of any is known, or there is no cabin."""
    build = given.located
    fitted = [item for item in build.speakers if item.position_m is not None and not isinstance(item.position_m, str)]
    if not fitted or build.cabin is None or not build.cabin.surfaces:
        return None
    cabin = build.cabin if keep_outs else build.cabin.model_copy(update={"keep_outs": ()})
    places = tuple(_place(build, item) for item in fitted)
    shown = build.model_copy(update={"places": places, "cabin": cabin})
    aims = {item.name: item.aim for item in fitted if item.aim is not None}
    names = [item.name for item in fitted]
    return cabin_picture(shown, view, numbers=speaker_numbers(build), aims=aims, first=names, width_mm=width_mm)


def _place(build: Build, speaker: Speaker) -> Place:
    """A loudspeaker as the drawing of the cabin takes it, with the cone of the place it was accepted at."""
    radius = next((item.radius_m for item in build.places if item.name == speaker.name), None)
    assert speaker.position_m is not None
    return Place(
        name=speaker.name, role=speaker.role, side=speaker.side, position_m=speaker.position_m, radius_m=radius
    )


def cover_drawing(given: Given) -> tuple[str, str]:
    """The drawing on the cover and what is read aloud for it: a lit panel, else the cabin; empty where there is none."""
    lights = given.workshop.lights if given.workshop else {}
    glowing = {light.panel for light in lights.values()}
    for name, panel in _seen(given):
        if name in glowing:
            return front_view(name, panel, lights, 0), f"{name}, lit"
    drawing = speakers_picture(given, "side", keep_outs=False)
    if drawing is None:
        return "", ""
    svg = draw(drawing)
    return svg.replace("<svg ", "<svg font-family=\"'DejaVu Sans'\" ", 1), drawing.says


def system(given: Given) -> Chapter:
    """What was built, and why so."""
    build = given.build
    sections = [Section("system-speakers", "What plays", tuple(_speakers(given)))]
    sections.append(Section("system-why", "Why it is so", tuple(_why(given))))
    if any(_seen(given)):
        sections.append(Section("system-panels", "What you see of it", tuple(_panels(given))))
    count = len(build.speakers)
    devices = [item.name for item in build.amplifiers] or [item.name for item in build.loads if item.amplifier]
    amplified = f", driven by {join(devices)}" if devices else ""
    opening = (
        lead(f"{_count(count, 'loudspeaker')}{amplified}, made for {build.vehicle.name} and for nobody else’s car.")
        if count
        else missing("This chapter needs [[speakers]] in the build.")
    )
    return Chapter("system", "Your system", (opening,), tuple(sections))


def _count(count: int, word: str) -> str:
    spoken = NUMBERS[count] if count < len(NUMBERS) else str(count)
    return f"{spoken} {word}" + ("" if count == 1 else "s")


def _speakers(given: Given) -> Iterator[Block]:
    build = given.build
    if not build.speakers:
        yield missing("This section needs [[speakers]] in the build.")
        return
    drawing = speakers_picture(given, "plan", keep_outs=False)
    if drawing is not None:
        yield picture(
            drawing, "Your loudspeakers from above, the car’s nose to the left. Arrows show where each one looks."
        )
    numbers = speaker_numbers(build)
    rows = [(str(numbers[item.name]), item.name, ROLES[item.role]) for item in build.speakers]
    yield table(("no.", "loudspeaker", "what it does"), rows, widths=("auto", 1.0, 1.8), wide=False, strong=(0, 1))


def _why(given: Given) -> Iterator[Block]:
    tuned = given.tuning
    if tuned is None:
        yield missing(given.why_not("tuning"))
        return
    yield para(
        "Sound from the near side of a car reaches you first and loudest, and drags the singer there. Here every "
        "loudspeaker waits for the farthest one, and each is filtered for this cabin, so that both sides arrive as one and "
        "the voice stands in front of you."
    )
    lines = list(_image(given))
    sides = [name for name in sides_first(tuned.sums) if name != "everything"] or list(tuned.sums)
    before = [tuned.metrics.error_before_db[name] for name in sides]
    after = [tuned.metrics.error_after_db[name] for name in sides]
    if before and all(math.isfinite(value) for value in (*before, *after)):
        lines.append(
            f"Evenness: with levels and delays set by tape alone, it was {decibels(max(before), plus=False)} away from the "
            f"wanted sound; as it is set now, {decibels(max(after), plus=False)} (worse side, on average over frequency)."
        )
    yield bullets(lines)
    if not sides:
        return
    name = sides[0]
    yield chart(
        charts.sum_chart(tuned, tuned.sums[name], wide=True),
        f"How even the {name} plays, low notes on the left: the closer the line to the dotted one, the better.",
        name="owner-sum",
        width_mm=HUNG_MM,
    )
    yield note(f"{_known(given)}; see ", To("verification"), ".")


def _known(given: Given) -> str:
    """How far the figures are known to be true."""
    if given.verification is None:
        return "This is a prediction from recordings made in your car"
    if given.verification.passed:
        return "This was measured again with the settings loaded, and agrees"
    return "This is a prediction; measured again, the car does not agree with it yet"


def _image(given: Given) -> Iterator[str]:
    metrics = given.tuning.metrics if given.tuning else None
    if metrics is None or not math.isfinite(metrics.arrival_difference_s):
        return
    was = metrics.arrival_difference_before_s
    before = f", where a tape alone leaves {microseconds(abs(was))}" if math.isfinite(was) else ""
    yield (
        f"Together: left and right arrive {microseconds(abs(metrics.arrival_difference_s))} apart at your head{before} "
        "(1000 µs are a thousandth of a second)."
    )


def _panels(given: Given) -> Iterator[Block]:
    workshop = given.workshop
    drawn = []
    for number, (name, panel) in enumerate(_seen(given), start=1):
        assert workshop is not None
        lit = [light for light, item in workshop.lights.items() if item.panel == name]
        words = f", lit by {join(lit)}" if lit else ""
        caption = f"{name[:1].upper()}{name[1:]}{words}."
        drawn.append(figure(front_view(name, panel, workshop.lights, number), caption, width_mm=HUNG_MM))
    yield figures(drawn) if len(drawn) > 1 else drawn[0]


def _seen(given: Given) -> Iterator[tuple[str, PanelResult]]:
    """Panels that somebody drew; walls of boxes and the like lie behind them."""
    drawn = {item.name for item in given.build.panels}
    for name, panel in given.workshop.panels.items() if given.workshop else ():
        if panel.parts and name in drawn:
            yield name, panel


def presets(given: Given) -> Chapter:
    """Which preset is for what, and what of the car is heard in it."""
    found = given.signal.presets if given.signal else None
    if found is None or not found.presets:
        why = given.why_not("signal") if given.signal is None else "This chapter needs [[presets]] or [[sources]]."
        return Chapter("presets", "Presets", (missing(why),))
    rows = []
    for row in preset_rows(found.to_dict()):
        heard = [sound for sound, _, reaches in row["sounds"] if reaches]
        lost = [sound for sound, _, reaches in row["sounds"] if not reaches]
        car = join(heard) if heard else "nothing of the car’s own"
        rows.append((row["name"], row["source"], car + (f"; NOT heard: {join(lost)}" if lost else "")))
    silent = any("NOT heard" in row[2] for row in rows)
    blocks: list[Block] = [
        lead("A preset is one way through the system. Choose the one for what you play from."),
        table(
            ("preset", "to play from", "the car’s own sounds you still hear"), rows, widths=(1.0, 1.0, 1.8), wide=False
        ),
        para("All presets are set equally loud for usual music, so that changing over does not startle you."),
    ]
    if silent:
        blocks.insert(
            2,
            caution("In a preset that leaves out a warning, the car cannot warn you by sound. Do not drive with it."),
        )
    return Chapter("presets", "Presets", tuple(blocks))


def controls(given: Given) -> Chapter:
    """What switches what, and what was promised about it."""
    power = given.power
    if power is None:
        return Chapter("controls", "Lights and controls", (missing(given.why_not("power")),))
    rows = [(name, on_words(item, power.states)) for name, item in power.loads.items()]
    blocks: list[Block] = [lead("What is on when. You need not think of it: it follows from what you do with the car.")]
    blocks.append(table(("part", "it is on"), rows, widths=(1.0, 2.0), wide=False))
    lit: dict[str, list[str]] = {}
    for light in given.build.lights:
        if light.load is not None:
            lit.setdefault(light.load, []).append(f"{light.name} of {light.panel}")
    blocks += [para(f"Lit by “{load}”: {join(names)}.") for load, names in lit.items()]
    kept = [item.text for item in power.promises if item.holds]
    broken = [item.text for item in power.promises if not item.holds]
    sections = []
    if kept or broken:
        said: list[Block] = []
        if kept:
            said += [
                para(f"Checked in every one of {power.states.count} combinations of what the car can be:"),
                bullets(kept),
            ]
        if broken:
            said += [para("Not kept as it is built; ask your installer:"), bullets(broken)]
        sections.append(Section("controls-promises", "What you can rely on", tuple(said)))
    return Chapter("controls", "Lights and controls", tuple(blocks), tuple(sections))


def on_words(load: LoadResult, states: States) -> str:
    """When a load is on, as the fewest conditions that say it exactly; else that it takes more than these."""
    on = load.on
    if not on.any():
        return "never"
    if on.all():
        return "always"
    rows = states.table[on]
    needed: dict[str, Sequence[str]] = {}
    for column, item in enumerate(states.variables):
        values = sorted(set(rows[:, column].tolist()))
        if len(values) < len(item.values):
            needed[item.name] = [item.values[value] for value in values]
    exact = states.where_any(dict(zip(needed, row, strict=True)) for row in product(*needed.values()))
    words = join([f"{name} is {' or '.join(values)}" for name, values in needed.items()])
    if bool((exact == on).all()):
        return f"when {words}"
    return f"at most when {words}, and not always then" if words else "in some states of the car"
