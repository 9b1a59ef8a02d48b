"""The log of a job: photographs and notes by stage or part, into the book, and with consent onto a page for the shop's site.

The page holds what it shows in itself and asks nothing of any other computer. It shows only photographs that somebody chose, as
copies without anything that the camera wrote beside the picture, and names nobody who did not allow it.
"""

from __future__ import annotations

import io
import re
from base64 import b64encode
from contextlib import suppress
from dataclasses import asdict, dataclass
from html import escape
from pathlib import Path
from typing import Any

from PIL import Image
from sqlalchemy import func, select

from cabinwright.build.checking import folded
from cabinwright.build.codec import parse, source
from cabinwright.errors import PersonError, RefusedError
from cabinwright.handover.book.given import Logged
from cabinwright.office.bench import PIN
from cabinwright.office.worked import Progress, folder_of, unwatched
from cabinwright.pipeline import STAGES
from cabinwright.session import Session
from cabinwright.shop import jobs
from cabinwright.shop.files import FileStore, keep_file, keep_photograph
from cabinwright.shop.house import house as house_of
from cabinwright.shop.rows import Job, Kept, Note, Task
from cabinwright.shop.store import Store, found_row, held
from cabinwright.shop.trail import Work

__all__ = ["DiaryEntry", "add_note", "add_photograph", "allow_on_page", "book", "diary", "page", "pins"]

BOOK_PX, BOOK_QUALITY = 1000, 80  #: longer side and JPEG quality of a photograph in the book
PINNED_TABLES = ("speakers", "boxes", "panels", "loads", "fuses", "wires")
MOST_PHOTOGRAPHS = 1000  #: of one job
READINGS = "commissioning"  #: what readings of the commissioning sheet are pinned to in the book


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """A photograph or note of a job."""

    kind: str  #: photograph or note
    id: int
    count: int
    at: str  #: ISO 8601, UTC
    by: str
    pinned: str
    words: str
    task: str = ""  #: name of the task that it belongs to
    public: bool = False
    shown: str = ""  #: mark of the copy to show

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return asdict(self)


def add_photograph(
    store: Store,
    job_id: int,
    content: bytes,
    *,
    name: str,
    by: str,
    pinned: str = "",
    words: str = "",
    task_id: int | None = None,
) -> DiaryEntry:
    """Keep a photograph, its original and the copy to show. Raises ``PersonError`` for what is none or too large."""
    files = FileStore(store.files)
    with store.read() as work:
        there = work.scalar(select(func.count()).where(Kept.job_id == job_id, Kept.kind == "photograph"))
    if (there or 0) >= MOST_PHOTOGRAPHS:
        raise PersonError(f"{name}: the log holds {MOST_PHOTOGRAPHS} photographs already. Keep further ones elsewhere.")
    mark, size, shown = keep_photograph(files, content, name=name)

    def make(work: Work) -> DiaryEntry:
        row = keep_file(
            work,
            mark,
            size,
            job_id=job_id,
            kind="photograph",
            name=name,
            shown=shown,
            task_id=task_id,
            pinned=pinned,
            words=words,
        )
        return _photograph(work, row)

    return store.change(make, by=by)


def add_note(store: Store, job_id: int, text: str, *, by: str, pinned: str = "") -> DiaryEntry:
    """Write something down."""
    return store.change(lambda work: _note(jobs.note(work, job_id, text, pinned=pinned)), by=by)


def diary(store: Store, job_id: int) -> tuple[DiaryEntry, ...]:
    """Photographs and notes of a job, the oldest first."""
    with store.read() as work:
        return _diary(work, job_id)


def _diary(work: Work, job_id: int) -> tuple[DiaryEntry, ...]:
    shot = select(Kept).where(Kept.job_id == job_id, Kept.kind == "photograph").order_by(Kept.id)
    said = select(Note).where(Note.job_id == job_id).order_by(Note.id)
    rows = [_photograph(work, row) for row in work.scalars(shot)] + [_note(row) for row in work.scalars(said)]
    return tuple(sorted(rows, key=lambda row: (row.at, row.kind, row.id)))


def _photograph(work: Work, row: Kept) -> DiaryEntry:
    task = work.get(Task, row.task_id) if row.task_id is not None else None
    about = (row.pinned, row.words, task.name if task else "", row.public, row.shown)
    return DiaryEntry("photograph", row.id, row.count, row.at.isoformat(), row.by, *about)


def _note(row: Note) -> DiaryEntry:
    return DiaryEntry("note", row.id, row.count, row.at.isoformat(), row.by, row.pinned, row.text)


def pins(store: Store, job_id: int) -> tuple[str, ...]:
    """What an entry may well be pinned to: stages, what others of the job are pinned to, rows of its build by their names."""
    used = [item.pinned for item in diary(store, job_id) if item.pinned and not item.pinned.startswith(PIN)]
    with suppress(PersonError):
        file, content = source(folder_of(store, job_id, None))
        build = parse(content, file=str(file))
        used += [row.name for table in PINNED_TABLES for row in getattr(build, table)]
    return tuple(dict.fromkeys((*STAGES, *used)))


def book(
    store: Store,
    job_id: int,
    folder: Path | None = None,
    *,
    paper: str = "A4",
    progress: Progress = unwatched,
) -> tuple[Path, ...]:
    """Write the build's book with the job's log in it. Raises ``PersonError``."""
    entries = diary(store, job_id)
    files = FileStore(store.files)
    log = [_logged(files, item) for item in entries]
    return Session.open(folder_of(store, job_id, folder)).book(progress, paper=paper, log=log)


def _logged(files: FileStore, item: DiaryEntry) -> Logged:
    on, pinned = item.at[:10], READINGS if item.pinned.startswith(PIN) else item.pinned
    if item.kind == "note":
        return Logged(on, pinned, item.words)
    with files.open(item.shown) as file, Image.open(file) as image:
        image.thumbnail((BOOK_PX, BOOK_PX), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        image.convert("RGB").save(out, "JPEG", quality=BOOK_QUALITY)
        return Logged(on, pinned or item.task, item.words, out.getvalue(), image.size)


def allow_on_page(store: Store, kept_id: int, public: bool, *, count: int, by: str) -> DiaryEntry:
    """Choose a photograph for the shop's site, or take it off. Raises ``RefusedError`` where the customer did not allow it."""

    def make(work: Work) -> DiaryEntry:
        row = held(work, Kept, kept_id, count=count)
        if row.kind != "photograph":
            raise PersonError(f"{row.name} is a {row.kind}; only photographs are shown.")
        if public:
            _allowed(work, row.job_id)
        row.public = public
        work.flush()
        return _photograph(work, row)

    return store.change(make, by=by)


def _allowed(work: Work, job_id: int) -> Job:
    job = found_row(work, Job, job_id)
    customer = job.car.customer
    if not customer.photographs or customer.erased_at is not None:
        raise RefusedError(
            f"{job.number}: the customer did not allow photographs to be shown. Ask, and write down the answer."
        )
    return job


def page(store: Store, job_id: int, *, title: str, words: str = "") -> str:
    """One HTML file for the shop's own site: chosen photographs with their words.

    Raises ``RefusedError`` without consent, without a chosen photograph, or where words name the customer or the car's mark
    without leave.
    """
    files = FileStore(store.files)
    with store.read() as work:
        job = _allowed(work, job_id)
        shop = house_of(work)
        customer, car = job.car.customer, job.car
        rows = [row for row in _diary(work, job_id) if row.public]
        name = customer.name if customer.named else ""
        secret = [car.mark] if customer.named else [car.mark, customer.name, customer.contact]
    if not rows:
        raise RefusedError(f"{job.number}: no photograph was chosen for the page. Choose some of them first.")
    for text in (title, words, *(row.words for row in rows)):
        _silent(text, secret)
    shown = []
    for row in rows:
        with files.open(row.shown) as file:
            shown.append((file.read(), row.words))
    return _html(title, words, shown, by=shop.name, thanks=name)


def _silent(text: str, secret: list[str]) -> None:
    """No word of three letters or more of what is secret stands in the text."""
    there = set(re.findall(r"\w+", folded(text)))
    plain = "".join(re.findall(r"\w+", folded(text)))
    for item in secret:
        found = [word for word in re.findall(r"\w+", folded(item)) if len(word) > 2 and word in there]
        whole = "".join(re.findall(r"\w+", folded(item)))
        if found or (len(whole) > 3 and whole in plain):
            raise RefusedError(
                f'"{text[:60]}" says {found[0] if found else item}, and the customer did not allow that. Write it without.'
            )


STYLE = """
:root{--ink:#1f2a33;--faint:#54616b;--accent:#0a5f73;--ground:#fff}
@media(prefers-color-scheme:dark){:root{--ink:#e8eef1;--faint:#a9b6bd;--accent:#6cc3d5;--ground:#12191e}}
*{box-sizing:border-box}body{margin:0;background:var(--ground);color:var(--ink);font:1.05rem/1.55 system-ui,sans-serif}
main{max-width:66rem;margin:0 auto;padding:clamp(1.2rem,4vw,3.5rem)}
h1{font-size:clamp(1.7rem,4.5vw,2.8rem);line-height:1.12;margin:0 0 .8rem;text-wrap:balance}
p{max-width:42rem;margin:0 0 1rem}.by{color:var(--accent);font-weight:600;margin-bottom:.4rem}
.shots{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,25rem),1fr));gap:1.6rem;margin-top:2.2rem}
figure{margin:0}img{display:block;width:auto;height:auto;max-width:100%;max-height:85vh;border-radius:.35rem}
figcaption,footer{color:var(--faint);font-size:.92rem;padding-top:.5rem}footer{margin-top:2.5rem}
"""


def _html(title: str, words: str, shown: list[tuple[bytes, str]], *, by: str, thanks: str) -> str:
    shots = []
    for content, caption in shown:
        with Image.open(io.BytesIO(content)) as image:
            width, height = image.size
        data = b64encode(content).decode("ascii")
        alt = escape(caption or title, quote=True)
        below = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
        shots.append(
            f'<figure><img src="data:image/jpeg;base64,{data}" width="{width}" height="{height}" alt="{alt}">{below}</figure>'
        )
    text = "".join(f"<p>{escape(part)}</p>" for part in words.split("\n") if part.strip())
    foot = f"<footer>Built for {escape(thanks)}, shown with their leave.</footer>" if thanks else ""
    guard = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{guard}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head>\n"
        f'<body><main><p class="by">{escape(by)}</p><h1>{escape(title)}</h1>{text}'
        f'<div class="shots">{"".join(shots)}</div>{foot}</main></body></html>\n'
    )
