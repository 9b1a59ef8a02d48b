"""The folder of a study: what was asked, and one file for every batch that is done.

``study.json`` names everything that the answer depends on; its digest names the folder, so that another build, grid or program
never meets another's batches. A batch is an NPZ file, written beside its place and then renamed, whose last bytes (the ZIP
comment) are the SHA-256 of the study's digest and those before; one that is damaged or not of this study is taken for missing
and worked out again.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.errors import PersonError
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
        np.savez_compressed(out, allow_pickle=False, **arrays)
        with zipfile.ZipFile(out, "a") as file:
            file.comment = bytes(DIGEST)
        content = out.getvalue()[:-DIGEST]
        write_all(self.folder, {self.path(number).name: content + self._digest(content)})

    def get(self, number: int) -> dict[str, NDArray[Any]] | None:
        """A batch; None where it is missing, torn or of another study."""
        content = self._whole(number)
        if content is None:
            return None
        with np.load(io.BytesIO(content), allow_pickle=False) as file:
            return {name: file[name] for name in file.files}

    def done(self, count: int) -> set[int]:
        """The batches that are whole."""
        return {number for number in range(count) if self._whole(number) is not None}

    def _whole(self, number: int) -> bytes | None:
        path = self.path(number)
        try:
            content = path.read_bytes() if path.stat().st_size <= LARGEST else b""
        except OSError:
            return None
        return content if self._digest(content[:-DIGEST]) == content[-DIGEST:] else None

    def _digest(self, content: bytes) -> bytes:
        return sha256(self.mark.encode() + content).hexdigest().encode()
