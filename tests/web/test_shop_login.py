"""Who gets in at the shop's door, without a browser: tries counted also where many come at once, numbers no row can have."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from nicegui.testing.user_simulation import user_simulation

from cabinwright.shop.access import Attempts, add_user
from cabinwright.shop.store import Store
from cabinwright.web.shop import add_shop
from cabinwright.web.shop.door import COOKIE, LOGIN, LONGEST_FORM, Door

WORDS = "kick panels of felt"


@pytest.fixture
def place(tmp_path: Path) -> str:
    """An empty shop."""
    Store.open(str(tmp_path)).close()
    return str(tmp_path)


def with_user(place: str) -> None:
    store = Store.open(place)
    store.change(lambda work: add_user(work, name="Ute", role="bench", password=WORDS).id, by="owner")
    store.close()


def test_many_at_once_get_no_more_tries_than_one_after_another(place: str) -> None:
    with_user(place)
    at = [0.0]
    door = Door(place, network=True)
    door.attempts = Attempts(clock=lambda: at[0])
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda number: door.admit("Ute", f"wrong words {number}", "192.0.2.7"), range(16)))
    assert not any(mark for mark, _why in answers)
    assert sum("is wrong" in why for _mark, why in answers) == door.attempts.most
    assert "Too many" in door.admit("Ute", WORDS, "192.0.2.7")[1]  # also with the right one
    assert "Too many" in door.admit("ute", WORDS, "192.0.2.8")[1]  # from elsewhere, spelt otherwise
    at[0] += door.attempts.within_s + 1
    mark, why = door.admit("Ute", WORDS, "192.0.2.7")
    assert mark and not why
    person = door.person(mark, here=False)
    assert person is not None and person.role == "bench"
    assert door.person(mark + "x", here=False) is None and door.person("", here=False) is None
    door.leave(mark)
    assert door.person(mark, here=False) is None
    door.close()


def test_a_form_that_is_no_form_and_numbers_that_no_row_has(place: str) -> None:
    async def whole() -> None:
        async with user_simulation(root=lambda: None) as user:
            door = Door(place)
            add_shop(door)
            asked = await user.http_client.get(LOGIN)
            assert "Nobody can log in yet" in asked.text and "cabinwright shop user add NAME owner" in asked.text
            with_user(place)
            assert "Nobody can log in yet" not in (await user.http_client.get(LOGIN)).text
            for body in (b"\xff\xfe=\x00", b"name=Ute&password=" + b"a" * (2 * LONGEST_FORM), b""):
                refused = await user.http_client.post(LOGIN, content=body)
                assert refused.status_code == 401 and COOKIE not in refused.headers.get("set-cookie", "")
            door.attempts = Attempts()
            for to, where in (
                ("/shop/jobs", "/shop/jobs"),
                ("//car.example", "/shop"),
                ("/shop\\\\car.example", "/shop"),
            ):
                told = {"name": "Ute", "password": WORDS, "to": to}
                let_in = await user.http_client.post(LOGIN, data=told, follow_redirects=False)
                assert let_in.headers["location"] == where
                cookie = let_in.headers["set-cookie"]
                assert cookie.startswith(f"{COOKIE}=") and "HttpOnly" in cookie and "SameSite=strict" in cookie
            for number in ("-1", "x", "99999999999999999999"):
                assert (await user.http_client.get(f"/shop/customer.json?at={number}")).status_code == 422
            assert (await user.http_client.get("/shop/customer.json?at=999")).status_code == 403
            door.close()

    asyncio.run(whole())
