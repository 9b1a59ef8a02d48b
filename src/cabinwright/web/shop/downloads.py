"""Files that the shop's pages hand out, each to who may have it and to nobody else."""

from __future__ import annotations

import json
from collections.abc import Callable

from nicegui import app as screens
from sqlalchemy import select
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.office.offers import offer_pdf
from cabinwright.office.showcase import page
from cabinwright.shop.access import Person, job_for, refuse_unless
from cabinwright.shop.files import FileStore
from cabinwright.shop.parts_csv import written_out
from cabinwright.shop.people import told
from cabinwright.shop.rows import Job, Kept, Part
from cabinwright.shop.store import found_row
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.pages.customers import TOLD
from cabinwright.web.shop.pages.log import PHOTOGRAPH, SITE
from cabinwright.web.shop.pages.offers import PAPER
from cabinwright.web.shop.pages.parts import LIST

__all__ = ["add_downloads"]

Answer = tuple[bytes, str, str]  #: content, its kind, its name


def add_downloads() -> None:
    """Their addresses."""
    known = {getattr(route, "path", "") for route in screens.routes}
    if LIST in known:
        return

    @screens.get(LIST)
    def library(request: Request) -> Response:
        return _given(request, "read", _library)

    @screens.get(PAPER)
    def offer(request: Request, at: int, paper: str = "A4") -> Response:
        return _given(request, "price", lambda person: _offer(at, paper))

    @screens.get(PHOTOGRAPH)
    def photograph(request: Request, at: int) -> Response:
        return _given(request, "look", lambda person: _photograph(person, at))

    @screens.get(SITE)
    def site(request: Request, at: int) -> Response:
        return _given(request, "work", lambda person: _site(at))

    @screens.get(TOLD)
    def customer(request: Request, at: int) -> Response:
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


def _offer(number: int, paper: str) -> Answer:
    if paper not in ("A4", "Letter"):
        raise PersonError("paper: A4 or Letter.")
    return offer_pdf(the_door().store, number, paper=paper), "application/pdf", f"proposal-{number}-{paper}.pdf"


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


def _site(number: int) -> Answer:
    store = the_door().store
    with store.read() as work:
        title = found_row(work, Job, number).title
    return page(store, number, title=title).encode("utf-8"), "text/html", f"job-{number}.html"


def _customer(number: int) -> Answer:
    with the_door().store.read() as work:
        content = json.dumps(told(work, number), indent=1, ensure_ascii=False, default=str)
        return content.encode(), "application/json", f"customer-{number}.json"
