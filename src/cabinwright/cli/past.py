"""The commands ``history`` and ``compare``: what happened to a build, and what two of them differ in."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from cabinwright.cli.terminal import say, tell, with_progress

__all__ = ["add_past"]

Add = Callable[[str, Callable[[argparse.Namespace], int], str], argparse.ArgumentParser]


def add_past(add: Add) -> None:
    """Make both known to the parser."""
    history = add("history", _history, "list every change of a build, and bring an earlier state back")
    history.add_argument("build", type=Path, metavar="BUILD", help="build folder")
    one = history.add_mutually_exclusive_group()
    one.add_argument(
        "--show", type=int, metavar="N", help="say what the design had after change N and has now; 0: before all"
    )
    one.add_argument("--restore", type=int, metavar="N", help="bring the state after change N back; 0: before all")
    history.add_argument("--why", default="", metavar="TEXT", help="reason to keep with --restore")
    history.add_argument("--json", action="store_true", help="print it for machines")
    compare = add("compare", _compare, "say in words what two builds, or states of one, differ in")
    for name in ("one", "other"):
        compare.add_argument(
            name,
            metavar=name.upper(),
            help="build folder, BUILD@N for its state after change N, or @N of the other one",
        )
    compare.add_argument("--json", action="store_true", help="print it for machines")


def _history(options: argparse.Namespace) -> int:
    from cabinwright.desk.past import bring_back, design_since, history_of

    if options.restore is not None:
        entry = bring_back(options.build, options.restore, why=options.why)
        words = "stands there already" if entry is None else f"brought back, as change {entry.number}"
        say(f"State {options.restore} {words}.")
        return 0
    if options.show is not None:
        rows = design_since(options.build, options.show)
        if options.json:
            _print([row.to_dict() for row in rows])
        for row in rows if not options.json else ():
            say(f"  {row.words}")
        if not rows and not options.json:
            say(f"The design is what it was in state {options.show}.")
        return 0
    found = history_of(options.build)
    for words in found.damage:
        tell(f"cabinwright: {words} Nothing was mended; the build itself is not touched by it.")
    if options.json:
        from dataclasses import asdict

        _print({"entries": [asdict(entry) for entry in found.entries], "damage": list(found.damage)})
        return 0
    for entry in found.entries:
        why = f" ({entry.why})" if entry.why else ""
        say(f"{entry.number:4d}  {entry.when.replace('T', ' ').rstrip('Z')}  {entry.by}: {entry.what}{why}")
    if not found.entries:
        say("No change was made through Cabinwright yet.")
    return 0


def _compare(options: argparse.Namespace) -> int:
    from cabinwright.desk.past import compare

    found = with_progress(lambda progress: compare(options.one, options.other, progress=progress))
    if options.json:
        _print(found.to_dict())
        return 0
    for title, rows in (("design", found.design), ("result", found.result)):
        say(f"{title}: {len(rows) or 'no'} difference{'' if len(rows) == 1 else 's'}")
        for row in rows:
            say(f"  {row.words}")
    return 0


def _print(value: object) -> None:
    import json

    say(json.dumps(value, ensure_ascii=False, indent=1, default=str))
