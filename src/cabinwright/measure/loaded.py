"""Settings that a tune wrote, read again, and put aside before the next."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from cabinwright.errors import PersonError
from cabinwright.files import write_all
from cabinwright.stages.tuning.settings import Settings

__all__ = ["TUNES", "keep_tune", "read_settings_file"]

TUNES, MOST_TUNES = "tunes", 50  #: folder of earlier tunes in ``out``, and how many stay
LARGEST_SETTINGS = 5_000_000  #: bytes


def read_settings_file(path: Path) -> Settings:
    """The settings in ``path``. Raises ``PersonError``, naming the file and the cure."""
    try:
        if path.exists() and not path.is_file():
            raise PersonError(f"{path}: this is no plain file. Name the settings.json of a tune.")
        with path.open("rb") as stream:
            content = stream.read(LARGEST_SETTINGS + 1)
        if len(content) > LARGEST_SETTINGS:
            raise PersonError(f"{path}: too large to be settings. Name the settings.json of a tune.")
        data = json.loads(content.decode("utf-8"))
    except FileNotFoundError:
        raise PersonError(
            f'{path}: not found. Run "cabinwright tune" first, or the tune on its page: it writes these settings.'
        ) from None
    except OSError as error:
        raise PersonError(f"{path}: cannot be read: {error.strerror}. Check that you may read it.") from error
    except (ValueError, RecursionError) as error:
        raise PersonError(f"{path}: not a settings file ({error}). Run the tune again to write it anew.") from None
    return Settings.from_dict(data, file=str(path))


def keep_tune(out: Path) -> None:
    """Put the tune that stands in ``out`` aside, before another takes its place; of those the newest stay.

    Raises ``OutputError``.
    """
    newest = out / "settings.json"
    try:
        mark, content = read_settings_file(newest).fingerprint, newest.read_bytes()
    except (PersonError, OSError):
        return  # nothing there that could be compared
    write_all(out, {f"{TUNES}/{mark}.json": content})
    with suppress(OSError):
        kept = sorted((out / TUNES).glob("*.json"), key=lambda path: path.stat().st_mtime, reverse=True)
        for path in kept[MOST_TUNES:]:
            path.unlink()
