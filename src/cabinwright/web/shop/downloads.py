"""Files that the shop's pages hand out, each to who may have it and to nobody else."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

from fastapi import Query
from nicegui import app as screens
from nicegui import run
from sqlalchemy import select
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.office.offers import offer_pdf
from cabinwright.office.showcase import add_photograph
from cabinwright.shop.access import Person, job_for, refuse_unless
from cabinwright.shop.files import LARGEST_PHOTOGRAPH, FileStore
from cabinwright.shop.parts_csv import written_out
from cabinwright.shop.people import told
from cabinwright.shop.rows import Kept, Offer, Part
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.pages.customers import TOLD
from cabinwright.web.shop.pages.job import PHOTOGRAPH
from cabinwright.web.shop.pages.log import BOOK, LONGEST, PHOTOGRAPHS
from cabinwright.web.shop.pages.offers import FOR_GUESTS, PAPER
from cabinwright.web.shop.pages.parts import LIST

__all__ = ["add_downloads"]

Answer = tuple[bytes, str, str]  #: content, its kind, its name


Number = Annotated[int, Query(ge=0, le=2**31 - 1)]  #: of a row, as both databases count them


def add_downloads() -> None:
    """Their addresses."""
    known = {getattr(route, "path", "") for route in screens.routes}
    if LIST in known:
        return

    @screens.get(LIST)
    def library(request: Request) -> Response:
        return _given(request, "read", _library)

    @screens.get(PAPER)
    def offer(request: Request, at: Number, paper: str = "A4") -> Response:
        return _given(request, "look", lambda person: _offer(person, at, paper))

    @screens.get(PHOTOGRAPH)
    def photograph(request: Request, at: Number) -> Response:
        return _given(request, "look", lambda person: _photograph(person, at))

    @screens.get(BOOK)
    def customers_book(request: Request, at: Number) -> Response:
        return _given(request, "read", lambda person: _book(person, at))

    @screens.post(PHOTOGRAPHS)
    async def photographs(
        request: Request, at: Number, name: str, task: str = "", pinned: str = "", words: str = ""
    ) -> Response:
        return await _taken(request, at, name, task=task, pinned=pinned, words=words)

    @screens.get(TOLD)
    def customer(request: Request, at: Number) -> Response:
        return _given(request, "people", lambda person: _customer(at))


def _given(request: Request, needs: str, make: Callable[[Person], Answer]) -> Response:
    try:
        person = the_door().visitor(request).person
        refuse_unless(person, needs)
        content, kind, name = make(person)
    except CabinwrightError as error:
        return PlainTextResponse(str(error), status_code=403)
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return Response(content, media_type=kind, headers=headers)


def _library(person: Person) -> Answer:
    with the_door().store.read() as work:
        rows = work.scalars(select(Part).order_by(Part.kind, Part.name, Part.id))
        return written_out(rows, costs=person.may("price")), "text/csv", "parts.csv"


async def _taken(request: Request, job: int, name: str, *, task: str, pinned: str, words: str) -> Response:
    """One photograph, as the body of a request. What is refused says why; nothing of it is kept then."""
    name, content = name[:120], bytearray()
    try:
        person = the_door().visitor(request).person
        refuse_unless(person, "work")
        async for block in request.stream():
            content += block
            if len(content) > LARGEST_PHOTOGRAPH:
                raise PersonError(
                    f"{name}: a photograph may have {LARGEST_PHOTOGRAPH // 2**20} MB at most. Make it smaller."
                )
        given = {"name": name, "by": person.name, "pinned": pinned[:200], "words": words[:LONGEST]}
        number = int(task) if task.isdecimal() and len(task) < 10 else None
        store = the_door().store
        await run.io_bound(lambda: add_photograph(store, job, bytes(content), task_id=number, **given))
    except CabinwrightError as error:
        return PlainTextResponse(str(error), status_code=422)
    return PlainTextResponse(name)


def _offer(person: Person, number: int, paper: str) -> Answer:
    """For the owner, and, once it was offered, for the customer whose it is; there are prices on it."""
    if paper not in ("A4", "Letter"):
        raise PersonError("paper: A4 or Letter.")
    store = the_door().store
    if not person.may("price"):
        with store.read() as work:
            row = work.get(Offer, number)
            if person.may("read") or row is None or row.state not in FOR_GUESTS:
                raise PersonError(f"There is no proposal {number} for you. Ask the owner of the shop.")
            job_for(work, person, row.job_id)
    return offer_pdf(store, number, paper=paper), "application/pdf", f"proposal-{number}-{paper}.pdf"


def _book(person: Person, number: int) -> Answer:
    with the_door().store.read() as work:
        job = job_for(work, person, number)
        place, name = Path(job.folder) / "out" / "book.pdf", f"{job.number}-book.pdf"
    try:
        return place.read_bytes(), "application/pdf", name
    except OSError:
        raise PersonError("There is no book yet. Make it on the page “Log”.") from None


def _photograph(person: Person, number: int) -> Answer:
    """The copy to show, without place and camera; a guest gets only what is shown to everybody."""
    store = the_door().store
    with store.read() as work:
        row = work.get(Kept, number)
        seen = row is not None and row.kind == "photograph" and (row.public or person.may("read"))
        if row is None or not seen:
            raise PersonError(f"There is no photograph {number}; look at the log again.")
        job_for(work, person, row.job_id)
        with FileStore(store.files).open(row.shown) as file:
            return file.read(), "image/jpeg", f"photograph-{number}.jpg"


def _customer(number: int) -> Answer:
    with the_door().store.read() as work:
        content = json.dumps(told(work, number), indent=1, ensure_ascii=False, default=str)
        return content.encode(), "application/json", f"customer-{number}.json"
