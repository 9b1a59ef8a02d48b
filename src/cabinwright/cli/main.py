"""The command ``cabinwright``. Thin: it parses, calls the session, and says what happened. Heavy imports wait."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from cabinwright import __version__
from cabinwright.cli.listen import add_listen
from cabinwright.cli.live import add_live
from cabinwright.cli.past import add_past
from cabinwright.cli.record import add_record
from cabinwright.cli.shop import add_screen_options, add_shop
from cabinwright.cli.studies import add_studies
from cabinwright.cli.terminal import Interruptible, flush, hush, plain, say, tell, with_progress
from cabinwright.errors import PersonError

if TYPE_CHECKING:
    from cabinwright.findings import Finding
    from cabinwright.stages.power.result import PowerResult
    from cabinwright.stages.signal.result import SignalResult
    from cabinwright.stages.voice.result import VoiceResult

__all__ = ["main"]

Command = Callable[[argparse.Namespace], int]
INTERRUPTED = 130
SHELLS = ("hatchback", "saloon", "estate", "crew van", "pick-up")


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code: 0 done, 2 for what the person can put right, 1 for our own mistake."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a Windows console may not know every sign
    verbose = False
    try:
        with Interruptible():
            try:
                options = _parser().parse_args(arguments)
            finally:
                flush()  # --help ends the command here
            verbose = options.verbose
            code = int(options.run(options))
            flush()
            return code
    except KeyboardInterrupt:
        tell("\ncabinwright: interrupted. Nothing was half written; earlier results are as they were.")
        return INTERRUPTED
    except BrokenPipeError:
        hush(sys.stdout)
        return 0
    except Exception as error:
        return _explain(error, verbose=verbose)


def _explain(error: Exception, *, verbose: bool) -> int:
    from cabinwright.errors import CabinwrightError

    if isinstance(error, CabinwrightError):
        tell(f"cabinwright: {error}" if "\n" not in str(error) else str(error))
        return error.exit_code
    if isinstance(error, MemoryError):
        tell("\ncabinwright: out of memory. Close other programs or use shorter recordings.")
        return 1
    if verbose:
        raise error
    tell(
        f"\ncabinwright: a mistake of this program, not yours: {type(error).__name__}: {error}\n"
        "Earlier results are as they were. Run the command again with --verbose and report what it prints."
    )
    return 1


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        super().error(plain(message))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="cabinwright",
        description="Design, tune and explain a one-off sound system in a car, from one build folder.",
        epilog="Start with: cabinwright new FOLDER. Then edit FOLDER/build.toml; it explains itself.",
    )
    parser.add_argument("--version", action="version", version=f"cabinwright {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def add(name: str, run: Command, words: str) -> argparse.ArgumentParser:
        command = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
        command.set_defaults(run=run)
        command.add_argument("--verbose", action="store_true", help="show the full trace of a mistake of this program")
        return command

    new = add("new", _new, "write a commented starter build into a folder")
    new.add_argument("folder", type=Path, metavar="FOLDER")
    new.add_argument("--title", default="A new build", help="title of the build")
    new.add_argument("--driving-side", choices=("left", "right"), default="left", help="side the driver sits on")
    new.add_argument("--shell", choices=SHELLS, help="add a generic cabin of this kind, to be replaced by a survey")
    for name, words in (
        ("length", "from the dash's face straight back to the end of the cabin"),
        ("width", "between the doors at the windows' lower edge"),
        ("height", "from the floor to the highest point of the roof"),
    ):
        new.add_argument(
            f"--{name}",
            type=_metres,
            metavar="TAPE",
            help=f"of the cabin, {words}: 1.45, 145cm or '57 in'; without it typical",
        )
    builds = {}
    for name, run, words in (
        ("sweep", _sweep, "write the measurement signal and how to use it"),
        (
            "factory-signal",
            _factory_signal,
            "write the signal that the car's own radio plays while its outputs are captured",
        ),
        ("tune", _tune, "turn the recordings into processor settings and a report"),
        ("survey-sheet", _survey_sheet, "write a sheet to print: which tapes to take in the car, drawn and numbered"),
        ("layout", _layout, "compare places for loudspeakers before anything is cut, and draw why"),
        ("plan", _plan, "run every stage whose inputs are there and write plan.json"),
        ("book", _book, "write the book for the owner and the next technician as PDF"),
        ("open", _open, "show the build on a screen of its own, live, in the browser"),
        ("verify", _verify, "compare recordings made after loading the settings with the prediction"),
    ):
        builds[name] = add(name, run, words)
        builds[name].add_argument("build", type=Path, metavar="BUILD", help="build folder")
    accept = add("accept", _accept, "write chosen places into build.toml as speakers")
    accept.add_argument("build", type=Path, metavar="BUILD", help="build folder")
    accept.add_argument("places", nargs="+", metavar="PLACE", help="name of a [[places]] of the build")
    add_past(add)
    add_studies(add)
    add_live(add)
    add_record(add)
    add_listen(add)
    add_shop(add)
    builds["survey-sheet"].add_argument(
        "--car",
        choices=SHELLS,
        help="kind of car; without it the build's own survey with the tapes to take next, or a hatchback where it has none",
    )
    builds["book"].add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="paper to print on; a4 if not given"
    )
    builds["book"].add_argument("--summary", action="store_true", help="write only the one page for the customer")
    add_screen_options(builds["open"])
    builds["verify"].add_argument(
        "--settings",
        type=Path,
        metavar="FILE",
        help="the settings.json that was loaded, where a later tune has replaced BUILD/out/settings.json",
    )
    return parser


def _metres(text: str) -> float:
    """A tape as the command line has it: a bare number counts in metres."""
    from cabinwright.units import UnitError, to_si

    try:
        return to_si(f"{text} m" if text.replace(".", "", 1).isdecimal() else text, suffix="m")
    except UnitError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _new(options: argparse.Namespace) -> int:
    from cabinwright.build.shells import make_shell
    from cabinwright.build.starter import create

    tapes = {"length_m": options.length, "width_m": options.width, "height_m": options.height}
    if options.shell is None and any(tape is not None for tape in tapes.values()):
        raise PersonError(f"--length, --width and --height scale a generic cabin. Add --shell: {', '.join(SHELLS)}.")
    shell = make_shell(options.shell, **tapes) if options.shell else None
    for path in create(options.folder, title=options.title, driving_side=options.driving_side, shell=shell):
        say(f"wrote {path}")
    if shell is not None:
        say("The cabin in it is typical, not your car's: its maker's data say where airbags unfold, a survey the rest.")
    then = "layout" if shell is not None else "sweep"
    say(f"Next: edit {options.folder / 'build.toml'}, then run: cabinwright {then} {options.folder}")
    return 0


def _sweep(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    for path in Session.open(options.build).sweep():
        say(f"wrote {path}")
    say("Next: read the page, record, list the files in build.toml, then run: cabinwright tune", options.build)
    return 0


def _factory_signal(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    for path in Session.open(options.build).factory_signal():
        say(f"wrote {path}")
    say("Next: read the page, capture, list the files in build.toml, then run: cabinwright plan", options.build)
    return 0


def _survey_sheet(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    for path in Session.open(options.build).survey_sheet(options.car):
        say(f"wrote {path}")
    say(
        "Next: print it, take the tapes, paste the tables at its end into build.toml, then run: cabinwright plan",
        options.build,
    )
    return 0


def _tune(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    session = Session.open(options.build)
    result, recorded, paths = with_progress(session.tune)
    bad = [verdict for verdict in recorded.verdicts if not verdict.good]
    metrics = result.metrics
    sides = [name for name in result.sums if name != "everything"] or list(result.sums)
    say(f"{session.build.title}")
    say(f"  recordings   {len(recorded.verdicts) - len(bad)} good, {len(bad)} left out")
    for name in sides:
        expected = metrics.error_expected_db[name]
        later = f", expected where nobody measured {expected:.1f} dB" if expected == expected else ""
        say(
            f"  {name:<12} {metrics.error_before_db[name]:.1f} dB off the house curve by tape, "
            f"{metrics.error_after_db[name]:.1f} dB now{later}"
        )
    late = metrics.arrival_difference_s
    if late == late:
        unit = "microsecond" if round(abs(late) * 1e6) == 1 else "microseconds"
        say(f"  image        sides arrive {abs(late) * 1e6:.0f} {unit} apart at the head centre")
    _print_findings([*recorded.findings, *result.findings])
    say(f"  open         {next(path for path in paths if path.name == 'report.html')}")
    page = next(path for path in paths if path.name == "settings.html")
    say(f"  key in from  {page} (settings {result.settings.fingerprint})")
    return 0


def _plan(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    session = Session.open(options.build)
    results, paths = with_progress(session.plan)
    for stage, words in results.skipped.items():
        say(f"  {stage:<12} skipped: {words}")
    for findings in results.stopped.values():
        _print_findings(list(findings))
    for stage, line in PLANNED.items():
        result = getattr(results, stage)
        if result is not None:
            say(f"  {stage:<12} {line(result)}")
            _print_findings(list(result.findings))
    for path in paths:
        say(f"wrote {path}")
    return 0


def _counted(number: int, one: str, several: str) -> str:
    return f"{number} {one if number == 1 else several}"


def _signal_line(result: SignalResult) -> str:
    factory = result.factory
    words = []
    if factory is not None:
        made = factory.refused is None
        words.append(f"radio undone, {factory.ripple_db:.1f} dB ripple" if made else "no repair of the radio")
    if result.presets is not None:
        words.append(_counted(len(result.presets.presets), "preset", "presets"))
    return "; ".join(words) or "worked out"


def _layout(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    session = Session.open(options.build)
    result, paths = with_progress(session.layout)
    _print_findings(list(result.findings))
    for role in dict.fromkeys(row.role for row in result.ranking):
        rows = [row for row in result.ranking if row.role == role]
        first = rows[0]
        if first.barred:  # then all of them are
            say(f"  {role:<12} none: {first.barred}")
            continue
        beside = f", first in {100.0 * first.first_share:.0f} % of {result.draws} draws" if len(rows) > 1 else ""
        say(f"  {role:<12} {' and '.join(first.places)} (of {len(rows)}{beside})")
    say(f"open {paths[0]}")
    say(f'Next: keep a place with  cabinwright accept {options.build} "NAME OF THE PLACE"')
    return 0


def _accept(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    session = Session.open(options.build)
    decisions, file = session.accept(options.places)
    driven = {speaker for channel in session.build.channels for speaker in channel.speakers}
    for decision in decisions:
        if decision.row is None:
            say(f"{decision.place}: a speaker in {file} already; nothing to write")
        else:
            row = decision.row
            say(f'wrote [[speakers]] "{decision.place}" into {file}: {row["role"]}, {row["side"]}, aim {row["aim"]}')
        _print_findings(list(decision.findings))
    free = [f'"{decision.place}"' for decision in decisions if decision.place not in driven]
    if free:
        say(f"Next: give {', '.join(free)} a [[channels]] to play from, then run: cabinwright plan", options.build)
    if any(decision.row is not None for decision in decisions):
        say("To undo it, take the [[speakers]] of that name out of build.toml again; nothing else was changed.")
    return 0


def _book(options: argparse.Namespace) -> int:
    from cabinwright.session import Session
    from cabinwright.studies.run import processes

    session = Session.open(options.build)
    wanted: dict[str, Any] = {"paper": options.paper.capitalize(), "summary_only": options.summary}
    with processes(1) as (executor, _):
        beside = executor if session.build.recordings else None
        paths = with_progress(lambda progress: session.book(progress, executor=beside, **wanted))
    for path in paths:
        say(f"wrote {path}")
    return 0


def _open(options: argparse.Namespace) -> int:
    from cabinwright.desk import Desk

    desk = Desk.open(options.build)
    from cabinwright.web.serve import serve

    serve(desk, say=say, port=options.port, browser=not options.no_browser, network=options.network)
    return 0


def _verify(options: argparse.Namespace) -> int:
    from cabinwright.session import Session

    session = Session.open(options.build)
    result, paths = with_progress(lambda progress: session.verify(progress, settings_file=options.settings))
    say(result.summary)
    _print_findings(list(result.findings))
    for path in paths:
        say(f"wrote {path}")
    return 0


def _power_line(result: PowerResult) -> str:
    kept = sum(item.holds for item in result.promises)
    promises = f"{kept} of {len(result.promises)} promises hold"
    return f"solved in {result.states.count} combinations of states; {promises}"


def _voice_line(result: VoiceResult) -> str:
    told = []
    for item in result.seats:
        image = item.image("proposed")
        if image is not None and image.at_deg == image.at_deg:
            side = "right" if image.at_deg > 0.0 else "left"
            told.append(f"{item.seat} hears it {abs(image.at_deg):.0f}° to the {side}, ±{image.spread_deg:.0f}°")
    return "; ".join(told) or "worked out"


#: Stage: what its line says, in the order in which they are told.
PLANNED: dict[str, Callable[[Any], str]] = {
    "survey": lambda result: f"{len(result.points)} points located from {len(result.tapes)} tapes",
    "layout": lambda result: f"{len(result.places)} places compared",
    "signal": _signal_line,
    "enclosure": lambda result: f"{_counted(len(result.boxes), 'box', 'boxes')} worked out",
    "workshop": lambda result: f"{_counted(len(result.parts), 'part', 'parts')} drawn",
    "power": _power_line,
    "tuning": lambda result: "done",
    "voice": _voice_line,
}


def _print_findings(findings: list[Finding]) -> None:
    """Stops and cautions in full, notes by number."""
    for item in findings:
        if item.severity != "note":
            say(f"  {item.severity:<12} {item.message.rstrip('.')}. {item.remedy}")
    notes = sum(item.severity == "note" for item in findings)
    if notes:
        say(f"  notes        {notes}, in the report")


if __name__ == "__main__":
    sys.exit(main())
