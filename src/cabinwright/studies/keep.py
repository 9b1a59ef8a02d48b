"""The folder of a study: what was asked, and one file for every batch that is done.

``study.json`` names everything that the answer depends on; its digest names the folder, so that another build, grid or program
never meets another's batches. A batch is an NPZ file, written beside its place and then renamed, whose last bytes (the ZIP
comment) are the SHA-256 of those before; one that is damaged or not of this study is taken for missing and worked out again.
"""

from __future__ import annotations

import io
import json
import os
import zipfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.errors import OutputError, PersonError
from cabinwright.files import write_all

__all__ = ["StudyFolder"]

Arrays = Mapping[str, NDArray[Any]]
DIGEST = 64  #: bytes of a SHA-256 in hexadecimal
LARGEST = 512 * 2**20  #: bytes of one batch


class StudyFolder:
    """What is kept of one study."""

    def __init__(self, parent: Path, asked: Mapping[str, Any]) -> None:
        """``asked``: plain JSON types; all that the answer depends on."""
        text = json.dumps(asked, sort_keys=True, indent=1, ensure_ascii=False)
        self.mark = sha256(text.encode()).hexdigest()
        self.folder = parent / self.mark[:16]
        self._text = text

    def begin(self) -> None:
        """Make the folder. Raises ``OutputError``, and ``PersonError`` where another study lies in it."""
        head = self.folder / "study.json"
        if head.exists() and head.read_text(encoding="utf-8", errors="replace") != self._text:
            raise PersonError(f"{head}: changed since the study was begun. Take the folder away to begin again.")
        if not head.exists():
            write_all(self.folder, {"study.json": self._text})

    def path(self, number: int) -> Path:
        """Where a batch lies."""
        return self.folder / f"batch-{number:06d}.npz"

    def put(self, number: int, arrays: Arrays) -> None:
        """Keep a batch. Raises ``OutputError``; then it is not there."""
        out = io.BytesIO()
        np.savez_compressed(out, study=np.array(self.mark), allow_pickle=False, **arrays)
        with zipfile.ZipFile(out, "a") as file:
            file.comment = bytes(DIGEST)
        content = out.getvalue()[:-DIGEST]
        write_all(self.folder, {self.path(number).name: content + _digest(content)})

    def get(self, number: int) -> dict[str, NDArray[Any]] | None:
        """A batch; None where it is missing, torn or of another study."""
        path = self.path(number)
        try:
            if path.stat().st_size > LARGEST:
                return None
            content = path.read_bytes()
        except OSError:
            return None
        if _digest(content[:-DIGEST]) != content[-DIGEST:]:
            return None
        with np.load(io.BytesIO(content), allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
        return arrays if str(arrays.pop("study", "")) == self.mark else None

    def write_lines(self, path: Path, lines: Iterable[str]) -> None:
        """Write a long text piece by piece, beside its place first. Raises ``OutputError``; then the old one stands."""
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with part.open("w", encoding="utf-8", newline="") as file:
                file.writelines(lines)
            part.replace(path)
        except OSError as error:
            raise OutputError(
                f"{path}: cannot be written: {error.strerror}. Free some space, or see to its rights."
            ) from error
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)

    def done(self, count: int) -> set[int]:
        """The batches that are whole."""
        return {number for number in range(count) if self.get(number) is not None}


def _digest(content: bytes) -> bytes:
    return sha256(content).hexdigest().encode()
