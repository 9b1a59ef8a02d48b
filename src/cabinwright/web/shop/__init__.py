"""The shop's pages on the screen, beside a build's or alone.

Every page is asked for by somebody: the owner at this computer, or whoever logged in over a network. What their role may not
see is not looked up for them, and what it may not do is refused on the server.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from urllib.parse import urlencode

from nicegui import ui
from starlette.requests import Request
from starlette.responses import Response

from cabinwright.errors import CabinwrightError
from cabinwright.web.shop.door import Door, add_login, login_first
from cabinwright.web.shop.downloads import add_downloads
from cabinwright.web.shop.frame import ShopPage, show
from cabinwright.web.shop.pages import (
    bench,
    customers,
    house,
    job,
    jobs,
    log,
    offers,
    parts,
    returned,
    today,
    wishes,
)

__all__ = ["SHOP_PAGES", "add_shop"]

LONGEST = 200  #: characters of what an address says was chosen
SHOP_PAGES: tuple[ShopPage, ...] = (
    today.PAGE,
    jobs.PAGE,
    job.PAGE,
    wishes.PAGE,
    offers.PAGE,
    bench.PAGE,
    log.PAGE,
    returned.PAGE,
    customers.PAGE,
    customers.ONE,
    parts.PAGE,
    parts.ONE,
    house.PAGE,
)


def add_shop(door: Door, *, title: str = "") -> None:
    """Every page of the shop; ``title`` of the build that is shown beside it, empty for none."""
    add_login(door)
    add_downloads()
    for page in SHOP_PAGES:
        ui.page(page.path, language="en-US")(_shown(page, door, title))


def _shown(page: ShopPage, door: Door, title: str) -> Callable[[Request, str], Awaitable[Response | None]]:
    async def shown(request: Request, at: str = "") -> Response | None:
        return await _show(page, door, title, request, at)

    return shown


async def _show(page: ShopPage, door: Door, title: str, request: Request, at: str) -> Response | None:
    visitor = door.visitor(request)
    try:
        person = visitor.person
    except CabinwrightError:
        asked = {"at": at} if at else {}
        return login_first(f"{page.path}?{urlencode(asked)}" if asked else page.path)
    if not person.may("read") and page.path == today.PAGE.path:
        page = jobs.PAGE
    chosen = {key: request.query_params[key][:LONGEST] for key in page.kept if key in request.query_params}
    await show(page, SHOP_PAGES, visitor, title, {"at": at, **chosen})
    return None
