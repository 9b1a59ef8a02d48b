"""Settings that a tune wrote, read again."""

from __future__ import annotations

import json
from pathlib import Path

from cabinwright.errors import PersonError
from cabinwright.stages.tuning.settings import Settings

__all__ = ["read_settings_file"]

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
