"""The round that is being recorded behind its page: one for each build, seen by every tab, working in a thread of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from nicegui import app as screens
from nicegui import ui

from cabinwright.desk import Recorder
from cabinwright.errors import RefusedError
from cabinwright.measure.sound_card import load_settings
from cabinwright.web import live_stream

if TYPE_CHECKING:
    from cabinwright.desk import Desk
    from cabinwright.measure.guide.plan import Kind
    from cabinwright.measure.sound_card import Card

__all__ = ["add_recording", "begin", "card_for", "end", "round_of"]

_rounds: dict[str, Recorder] = {}


def round_of(desk: Desk) -> Recorder | None:
    """The round that is on in a build; None: none is."""
    return _rounds.get(str(desk.folder))


def card_for(desk: Desk) -> Card:
    """The card, free of the live view and of a round. Raises ``CardError``."""
    end(desk)
    live = live_stream.live_of(desk)
    if live is not None:
        live.view.end()
    return live_stream.find_card()[0]


def begin(
    desk: Desk, kind: Kind, *, by_car: bool = False, countdown_s: float = 5.0, volumes: Sequence[int] = ()
) -> Recorder:
    """A round, where it was left. Raises ``PersonError`` with the cure."""
    card = card_for(desk)
    settings = load_settings()
    if settings is None:
        raise RefusedError("No sound card was chosen on this computer yet. Choose it on this page first.")
    made = Recorder(desk, card, settings, kind=kind, by_car=by_car, countdown_s=countdown_s, volumes=volumes)
    _rounds[str(desk.folder)] = made
    made.start()
    return made


def end(desk: Desk) -> None:
    """Silence; a take that was being made is dropped, everything else is on the disk."""
    made = _rounds.pop(str(desk.folder), None)
    if made is not None:
        made.close()


def add_recording() -> None:
    """What the page needs of the browser, and an orderly end."""
    ui.add_head_html(
        '<link rel="stylesheet" href="/static/record.css"><script src="/static/record.js" defer></script>', shared=True
    )
    screens.on_shutdown(_end_all)


def _end_all() -> None:
    for made in _rounds.values():
        made.close()
    _rounds.clear()
