"""Files that the shop's pages hand out, each to who may have it and to nobody else."""

from __future__ import annotations

import json
from collections.abc import Callable

from nicegui import app as screens
from sqlalchemy import select
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from cabinwright.errors import CabinwrightError
from cabinwright.shop.access import Person, refuse_unless
from cabinwright.shop.parts_csv import written_out
from cabinwright.shop.people import told
from cabinwright.shop.rows import Part
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.pages.customers import TOLD
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


def _customer(number: int) -> Answer:
    with the_door().store.read() as work:
        content = json.dumps(told(work, number), indent=1, ensure_ascii=False, default=str)
        return content.encode(), "application/json", f"customer-{number}.json"
