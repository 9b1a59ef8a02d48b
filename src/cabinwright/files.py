"""Writing a set of files so that a person is never left with half of it.

Every file is written beside its final place, flushed to the disk, and only then renamed over the old one. Whatever goes
wrong before the renames (Ctrl-C, a full disk, a folder that may not be written) leaves the earlier set as it was; if
a rename itself fails (a file held open on Windows), those already made are taken back.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from cabinwright.errors import OutputError

__all__ = ["beside", "overwrite", "put", "told", "write_all", "write_lines"]

CURES = {
    errno.ENOSPC: ("the disk is full", "Free some space and run the command again"),
    errno.EDQUOT: ("your share of the disk is used up", "Free some space and run the command again"),
    errno.EROFS: ("the disk is read-only", "Copy the build folder to a disk you may write on"),
    errno.EACCES: (
        "writing there is not allowed",
        "Close the file if another program holds it open, or give yourself the right to write in this folder",
    ),
    errno.ENAMETOOLONG: ("the path is too long", "Move the build folder to a shorter path"),
    errno.ENOTDIR: ("part of the path is a file, not a folder", "Move that file out of the way"),
    errno.EEXIST: ("a file stands where the folder should be", "Move that file out of the way"),
    errno.EISDIR: ("a folder stands where the file should be", "Move that folder out of the way"),
}
CURES[errno.EPERM] = CURES[errno.EACCES]


def write_all(folder: Path, contents: Mapping[str, bytes | str]) -> tuple[Path, ...]:
    """Write every file of ``contents`` (plain name, or folder/name -> bytes, or text as UTF-8) into ``folder``, all or none.

    Makes the folder where it is missing and returns the paths written, in order.

    Raises:
        OutputError: the set could not be written; what stood there before is still whole.
        ValueError: a name is not a plain file name (our own mistake).
    """
    for name in contents:
        parts = name.split("/")
        if len(parts) > 2 or any(not part or Path(part).name != part or part in (".", "..") for part in parts):
            raise ValueError(f"not a plain file name: {name!r}")
    at = folder
    made: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        fresh: dict[Path, Path] = {}
        for name, content in contents.items():
            at = folder / name
            at.parent.mkdir(exist_ok=True)
            fresh[at] = beside(at, "part")
            made.append(fresh[at])
            _write(fresh[at], content.encode("utf-8") if isinstance(content, str) else content)
        _swap(fresh, made)
    except OSError as error:
        raise OutputError(told(Path(error.filename or at), folder, error)) from error
    finally:
        for path in made:
            with suppress(OSError):  # on a read-only disk there is nothing to take away, and the first error counts
                path.unlink(missing_ok=True)
    return tuple(folder / name for name in contents)


def overwrite(file: Path, content: bytes) -> None:
    """Write over a person's own file, where it lies behind a link too. Raises ``OutputError``, for a locked file as well."""
    target = file.resolve()
    if target.exists() and not os.access(target, os.W_OK):
        raise OutputError(f"{file}: the file may not be written. Give yourself the right to, or work on a copy.")
    write_all(target.parent, {target.name: content})


def write_lines(file: Path, lines: Iterable[str]) -> None:
    """Write a long text piece by piece, never whole in memory. Raises ``OutputError``; then the old one stands."""
    fresh = beside(file, "part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with fresh.open("w", encoding="utf-8", newline="") as text:
            text.writelines(lines)
        put({file: fresh})
    except OSError as error:
        raise OutputError(told(file, file.parent, error)) from error
    finally:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)


def put(fresh: Mapping[Path, Path]) -> None:
    """Rename files that were written beside their final places (final -> written), all or none. Raises ``OutputError``."""
    made = list(fresh.values())
    try:
        _swap(fresh, made)
    except OSError as error:
        raise OutputError(told(next(iter(fresh)), next(iter(fresh)).parent, error)) from error
    finally:
        for path in made:
            with suppress(OSError):
                path.unlink(missing_ok=True)


def beside(path: Path, ending: str) -> Path:
    """A hidden name in the same folder (a rename is atomic only within one disk), apart for every running process."""
    return path.with_name(f".{path.name}.{os.getpid()}.{ending}")


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _swap(fresh: Mapping[Path, Path], made: list[Path]) -> None:
    """Rename every new file over its old one; put the old ones back if that cannot be finished."""
    kept: dict[Path, Path] = {}
    for final in fresh:
        if final.exists() and not final.is_file():
            raise OutputError(
                f"{final}: cannot be written: there is something here that is no plain file. Take it away and run this again."
            )
        if final.exists():
            kept[final] = beside(final, "kept")
            made.append(kept[final])
            shutil.copyfile(final, kept[final])
            with suppress(OSError):  # a file keeps who may read it; some disks know nothing of the kind
                shutil.copymode(final, fresh[final])
    started: list[Path] = []
    try:
        for final, new in fresh.items():
            started.append(final)
            new.replace(final)
    except BaseException:
        for final in started:
            if fresh[final].exists():  # this one was not renamed yet
                continue
            if final in kept:
                kept[final].replace(final)
            else:
                final.unlink(missing_ok=True)
        raise


def told(path: Path, folder: Path, error: OSError) -> str:
    """What went wrong with ``path`` in ``folder``, in words, with the cure."""
    what, cure = CURES.get(
        error.errno or 0, (error.strerror or str(error), "Check that the folder exists and can be written")
    )
    shown = path if not path.name.startswith(".") else folder
    return f"{shown}: cannot be written: {what}. {cure}. Earlier output in {folder} is unchanged."
