"""The text of a build with chosen places as its speakers; everything else in it stays as it was written."""

from __future__ import annotations

import tomllib
from codecs import BOM_UTF8
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from cabinwright.build.codec import SIZE_LIMIT_BYTES, parse
from cabinwright.build.paths import Name, resolved
from cabinwright.build.rewrite import rewritten_value
from cabinwright.errors import RefusedError
from cabinwright.stages import survey
from cabinwright.stages.layout.decide import Decision, decide

__all__ = ["accepted"]


def accepted(
    content: bytes, places: Sequence[str], file: Path, *, again: bool = False
) -> tuple[tuple[Decision, ...], bytes]:
    """What was decided about each place, and the bytes of the build with them as speakers. Raises ``PersonError``.

    ``again``: a place that was moved takes the speaker of its name along.
    """
    from cabinwright.build.accept import rewritten  # the only command that needs tomlkit

    build = parse(content, file=str(file))
    data = tomllib.loads(content.decode("utf-8-sig"))
    decisions = decide(survey.locate(build), data, places, again=again)
    rows = [decision.row for decision in decisions if decision.row is not None]
    new = _moved(content, data, decisions)
    if rows:
        new = rewritten(new, rows, file=str(file))
    if new == content:
        return decisions, content
    parse(new, file=str(file))
    if len(new) > SIZE_LIMIT_BYTES:
        raise RefusedError(f"{file}: with these speakers it would be larger than a build may be. Shorten it first.")
    return decisions, new


def _moved(content: bytes, data: Mapping[str, Any], decisions: Sequence[Decision]) -> bytes:
    """Speakers that stood elsewhere, where their places are now."""
    mark = BOM_UTF8 if content.startswith(BOM_UTF8) else b""
    text = content[len(mark) :].decode("utf-8")
    for decision in decisions:
        row = resolved(("speakers", Name(decision.place)), data) if decision.moved else ()
        for key, value in decision.moved.items():
            text = rewritten_value(text, (*row, key), value)
    return mark + text.encode("utf-8")
