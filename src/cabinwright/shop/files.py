"""Files beside the database, each under the mark of its own bytes (SHA-256): a row never names a file that is not there.

A file is written whole before the row that names it, and taken away only after no row does; a process killed in between leaves at
most a file too many, which ``orphans`` finds. Photographs are opened by Pillow within limits; the copy to show is turned upright,
made smaller and holds nothing but the picture (no EXIF, no place); the original stays as it came, and never leaves the shop.
"""

from __future__ import annotations

import io
import os
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import suppress
from hashlib import file_digest, sha256
from pathlib import Path
from typing import BinaryIO

from PIL import Image, ImageOps, UnidentifiedImageError
from sqlalchemy import select

from cabinwright.errors import OutputError, PersonError
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Job, Kept, Task
from cabinwright.shop.rows.keeping import FILE_KINDS
from cabinwright.shop.store import found_row
from cabinwright.shop.trail import Work

__all__ = ["FileStore", "keep_file", "keep_photograph"]

LARGEST = 512 * 2**20  #: bytes of any file
LARGEST_PHOTOGRAPH, MOST_PIXELS = 64 * 2**20, 120_000_000
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
SHOWN_PX, QUALITY = 1600, 85  #: longer side and JPEG quality of the copy to show
BLOCK = 2**20


class FileStore:
    """The folder of files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, mark: str) -> Path:
        """Where the bytes of a mark lie; nothing but a mark may name a file."""
        if len(mark) != 64 or set(mark) - set("0123456789abcdef"):
            raise ValueError(f"not a mark: {mark!r}")
        return self.folder / mark[:2] / mark

    def put(self, content: bytes | BinaryIO) -> tuple[str, int]:
        """Keep bytes, streamed; returns their mark and how many they are. Raises ``OutputError``, ``PersonError``."""
        source = io.BytesIO(content) if isinstance(content, bytes) else content
        seen, size, fresh = sha256(), 0, None
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=self.folder, prefix=".", suffix=".part", delete=False) as file:
                fresh = Path(file.name)
                while block := source.read(BLOCK):
                    size += len(block)
                    if size > LARGEST:
                        raise PersonError(
                            f"A file may have {LARGEST // 2**20} MB at most. Split it or make it smaller."
                        )
                    seen.update(block)
                    file.write(block)
                file.flush()
                os.fsync(file.fileno())
            target = self.path(seen.hexdigest())
            target.parent.mkdir(exist_ok=True)
            if not target.exists():
                fresh.replace(target)
        except OSError as error:
            raise OutputError(
                f"{self.folder}: a file cannot be kept: {error.strerror}. Free space, or see to its rights."
            ) from error
        finally:
            if fresh is not None:
                with suppress(OSError):
                    fresh.unlink(missing_ok=True)
        return seen.hexdigest(), size

    def whole(self, mark: str) -> bool:
        """Whether the file is there, with the bytes that its mark says."""
        try:
            with self.path(mark).open("rb") as file:
                return file_digest(file, "sha256").hexdigest() == mark
        except OSError:
            return False

    def open(self, mark: str) -> BinaryIO:
        """Raises ``PersonError`` where it is not there."""
        try:
            return self.path(mark).open("rb")
        except OSError as error:
            raise PersonError(f"The file {mark[:12]} is not there: {error.strerror}. Take it from a backup.") from None

    def drop(self, marks: tuple[str, ...]) -> None:
        """Take files away that no row names."""
        for mark in marks:
            with suppress(OSError):
                self.path(mark).unlink(missing_ok=True)

    def marks(self) -> Iterator[str]:
        """Of every file there."""
        for path in sorted(self.folder.glob("??/*")):
            if len(path.name) == 64:
                yield path.name

    def orphans(self, work: Work) -> tuple[str, ...]:
        """Files that no row names."""
        named = set(work.scalars(select(Kept.mark))) | set(work.scalars(select(Kept.shown)))
        return tuple(mark for mark in self.marks() if mark not in named)

    def lost(self, work: Work) -> tuple[Kept, ...]:
        """Rows whose file is not there any more, or has other bytes."""
        return tuple(
            row
            for row in work.scalars(select(Kept).order_by(Kept.id))
            if not self.whole(row.mark) or (row.shown and not self.whole(row.shown))
        )


def keep_file(
    work: Work,
    mark: str,
    size: int,
    *,
    job_id: int,
    kind: str,
    name: str,
    shown: str = "",
    task_id: int | None = None,
    pinned: str = "",
    words: str = "",
) -> Kept:
    """The row of a file that was put. Raises ``PersonError``."""
    if kind not in FILE_KINDS:
        raise PersonError(f'"{kind}" is no kind of file. Choose {", ".join(FILE_KINDS)}.')
    found_row(work, Job, job_id)
    task = work.get(Task, task_id) if task_id is not None else None
    if task_id is not None and (task is None or task.job_id != job_id):
        raise PersonError(f"There is no task {task_id} in this job.")
    plain = "".join(sign for sign in Path(name.replace("\\", "/")).name if sign.isprintable())[-200:] or "file"
    row = Kept(
        job_id=job_id,
        task_id=task_id,
        kind=kind,
        name=plain,
        mark=mark,
        shown=shown,
        size=size,
        pinned=pinned.strip()[:200],
        words=words.strip(),
        at=now(),
        by=work.by,
    )
    work.add(row)
    work.flush()
    return row


def keep_photograph(files: FileStore, content: bytes, *, name: str) -> tuple[str, int, str]:
    """Put a photograph and its copy to show: mark and size of the original, mark of the copy. Raises ``PersonError``."""
    if len(content) > LARGEST_PHOTOGRAPH:
        raise PersonError(f"{name}: a photograph may have {LARGEST_PHOTOGRAPH // 2**20} MB at most. Make it smaller.")
    copy = shown(content, name=name)
    mark, size = files.put(content)
    return mark, size, files.put(copy)[0]


def shown(content: bytes, *, name: str) -> bytes:
    """The copy to show, as JPEG: upright, at most 1600 pixels long, and nothing of what the camera wrote beside the picture."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=FORMATS) as image:
                width, height = image.size
                if width * height > MOST_PIXELS:
                    raise PersonError(
                        f"{name}: {width} x {height} pixels are too many. Make it smaller than 120 megapixels."
                    )
                image.draft("RGB", (SHOWN_PX, SHOWN_PX))
                upright = ImageOps.exif_transpose(image)
                upright.thumbnail((SHOWN_PX, SHOWN_PX), Image.Resampling.LANCZOS)
                flat = _flat(upright)
    except PersonError:
        raise
    except (UnidentifiedImageError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PersonError(
            f"{name}: no photograph that can be read. Use JPEG, PNG, WebP or TIFF below 120 megapixels."
        ) from None
    except (
        OSError,
        ValueError,
        SyntaxError,
        EOFError,
        MemoryError,
        TypeError,
        IndexError,
        KeyError,
        OverflowError,
    ) as error:
        raise PersonError(
            f"{name}: this photograph is damaged ({type(error).__name__}). Copy it from the camera again."
        ) from None
    out = io.BytesIO()
    flat.save(out, "JPEG", quality=QUALITY, optimize=True)  # nothing but the pixels: neither exif nor icc is handed on
    return out.getvalue()


def _flat(image: Image.Image) -> Image.Image:
    """Plain RGB on white, without anything that came beside the pixels."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        above = image.convert("RGBA")
        ground = Image.new("RGB", above.size, "white")
        ground.paste(above, mask=above.getchannel("A"))
        return ground
    flat = image.convert("RGB")
    clean = Image.new("RGB", flat.size)
    clean.paste(flat)
    return clean
