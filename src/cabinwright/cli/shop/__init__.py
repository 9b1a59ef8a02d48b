"""The command ``shop``: customers, jobs, proposals, parts, bench and log, for people and, with ``--json``, for scripts."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from itertools import groupby

from cabinwright.cli.shop import bench, house, jobs, offers, parts, people
from cabinwright.cli.shop.command import Command
from cabinwright.cli.shop.told import show
from cabinwright.cli.terminal import plain, say
from cabinwright.errors import PersonError

__all__ = ["COMMANDS", "add_screen_options", "add_shop"]

Add = Callable[[str, Callable[[argparse.Namespace], int], str], argparse.ArgumentParser]
COMMANDS: Sequence[Command] = tuple(
    sorted(
        (*people.COMMANDS, *jobs.COMMANDS, *offers.COMMANDS, *bench.COMMANDS, *parts.COMMANDS, *house.COMMANDS),
        key=lambda command: command.noun,
    )
)


def add_shop(add: Add) -> None:
    """Make it known to the parser, one word for the thing, one for what is done with it."""
    shop = add("shop", _shop, "keep customers, jobs, proposals, parts, hours and photographs")
    things = shop.add_subparsers(dest="thing", metavar="THING", required=True)
    for noun, commands in groupby(COMMANDS, key=lambda command: command.noun):
        thing = things.add_parser(noun, help=f"{noun}: what can be done with it")
        deeds = thing.add_subparsers(dest="deed", metavar="WHAT", required=True)
        for command in commands:
            parser = deeds.add_parser(command.verb, help=command.says, description=command.says)
            for names, options in command.arguments:
                parser.add_argument(*names, **options)
            parser.add_argument("--json", action="store_true", help="print it for machines")
            parser.add_argument(
                "--by", default="", metavar="NAME", help="who does it; this computer's user if not given"
            )
            _database(parser)
            parser.set_defaults(command=command)
    screen = things.add_parser("open", help="show the shop's pages on a screen of their own, in the browser")
    add_screen_options(screen)
    _database(screen)
    screen.set_defaults(command=None)


def _database(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--database",
        default=None,
        metavar="PLACE",
        help="folder, or postgresql://...; what CABINWRIGHT_SHOP says, or the user's data folder if not given",
    )


def add_screen_options(parser: argparse.ArgumentParser) -> None:
    """How a screen is served."""
    parser.add_argument("--port", type=int, metavar="PORT", help="port on this computer; 7717 if it is free")
    parser.add_argument("--no-browser", action="store_true", help="only say the address")
    parser.add_argument(
        "--network", action="store_true", help="let other devices in this network in, each by a word that serves once"
    )


def _open(options: argparse.Namespace) -> int:
    from cabinwright.web.serve import serve

    given = {"port": options.port, "browser": not options.no_browser, "network": options.network}
    serve(None, say=say, start="shop", database=options.database, **given)
    return 0


def _shop(options: argparse.Namespace) -> int:
    import getpass

    from cabinwright.shop.store import Store

    if options.command is None:
        return _open(options)
    for given in vars(options).values():
        if isinstance(given, str) and not given.isprintable() and any("\ud800" <= sign <= "\udfff" for sign in given):
            raise PersonError(
                f"{plain(given)[:40]}: this is no text in UTF-8. Set the terminal to UTF-8 and type it again."
            )
    options.by = options.by.strip() or getpass.getuser()
    store = Store.open(options.database)
    try:
        show(options.command.run(store, options), machine=options.json)
    finally:
        store.close()
    return 0
