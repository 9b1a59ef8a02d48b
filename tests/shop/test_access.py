"""Users: passwords, devices, roles, and patience with wrong tries."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from cabinwright.errors import PersonError
from cabinwright.shop import access
from cabinwright.shop.access import (
    Attempts,
    Person,
    add_user,
    admitted,
    job_for,
    known,
    let_go,
    refuse_unless,
    seen_by,
)
from cabinwright.shop.rows import Login, Trace, User
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from shop import invented

WORDS = "kick panels of felt"


def test_who_knows_the_password_is_known_for_a_while(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    store.change(lambda work: add_user(work, name="Ute", role="bench", password=WORDS), by="owner")
    person, mark = store.change(lambda work: admitted(work, name="ute", password=WORDS), by="Ute") or pytest.fail(
        "not admitted"
    )
    assert (person.name, person.role) == ("Ute", "bench")
    with store.read() as work:
        assert known(work, mark) == person
        assert known(work, mark + "x") is None
        stored = work.scalars(select(User)).one()
        assert stored.password.startswith("$argon2id$")  # RFC 9106, the encoded form
        assert mark not in str([row.digest for row in work.scalars(select(Login))])
        monkeypatch.setattr(access, "now", lambda real=access.now: real() + timedelta(hours=13))
        assert known(work, mark) is None


def test_wrong_or_gone_is_not_admitted(store: Store) -> None:
    user = store.change(lambda work: add_user(work, name="Jo", role="bench", password=WORDS), by="owner")
    mark = (
        store.change(lambda work: admitted(work, name="Jo", password=WORDS), by="Jo") or pytest.fail("not admitted")
    )[1]
    for name, password in (("Jo", WORDS + "!"), ("Jim", WORDS), ("", ""), ("Jo' --", WORDS)):
        assert store.change(lambda work, n=name, p=password: admitted(work, name=n, password=p), by="x") is None  # type: ignore[misc]
    store.change(lambda work: let_go(work, mark=mark), by="Jo")
    with store.read() as work:
        assert known(work, mark) is None
    store.change(lambda work: setattr(work.get(User, user.id), "active", False), by="owner")
    assert store.change(lambda work: admitted(work, name="Jo", password=WORDS), by="Jo") is None


@pytest.mark.parametrize(
    ("name", "role", "password", "words"),
    [
        ("Ute", "bench", "short", "characters"),
        ("Ute", "bench", "aaaaaaaaaaaa", "alike"),
        ("Ute of it all", "bench", "ute of it all", "name"),
        ("Ute", "boss", WORDS, "role"),
        ("", "bench", WORDS, "name"),
    ],
)
def test_weak_users_are_refused(store: Store, name: str, role: str, password: str, words: str) -> None:
    with pytest.raises(PersonError, match=words):
        store.change(lambda work: add_user(work, name=name, role=role, password=password), by="owner")


def test_a_name_is_taken_in_any_case_and_the_trail_holds_no_password(store: Store) -> None:
    store.change(lambda work: add_user(work, name="Ute", role="bench", password=WORDS), by="owner")
    with pytest.raises(PersonError, match="called ute already"):
        store.change(lambda work: add_user(work, name="ute", role="bench", password=WORDS), by="owner")
    with store.read() as work:
        assert "argon2" not in str([row.after for row in work.scalars(select(Trace))])


def test_a_bench_is_never_given_costs() -> None:
    view = {
        "name": "wire",
        "cost": 2,
        "lines": [{"price": 3, "cost": 1, "more": {"margin": 0.4, "x": [1, {"cost": 5}]}}],
    }
    bench = seen_by(Person("Ute", "bench"), view)
    assert "cost" not in str(bench)
    assert "margin" not in str(bench)
    assert bench["lines"][0]["price"] == 3
    assert seen_by(Person("Mo", "owner"), view) == view


def test_roles(store: Store) -> None:
    for role, may in (
        ("owner", {"look", "read", "work", "price", "erase"}),
        ("bench", {"look", "read", "work"}),
        ("guest", {"look"}),
    ):
        for what in ("look", "read", "work", "price", "erase"):
            if what in may:
                refuse_unless(Person("x", role), what)
            else:
                with pytest.raises(PersonError, match="may not do this"):
                    refuse_unless(Person("x", role), what)


def test_a_guest_sees_the_jobs_of_one_customer_and_learns_nothing_of_others(store: Store) -> None:
    def make(work: Work) -> tuple[int, int, int]:
        own, other = invented.job(work), invented.job(work, name="Jonas Invented")
        guest = add_user(work, name="Mara", role="guest", password=WORDS, customer_id=own.car.customer_id)
        return own.id, other.id, guest.id

    own, other, guest = store.change(make, by="owner")
    found = store.change(lambda work: admitted(work, name="mara", password=WORDS), by="login")
    assert found is not None
    with store.read() as work:
        person = known(work, found[1])
        assert person == found[0] and person.user_id == guest
        assert job_for(work, person, own).id == own
        told = []
        for number in (other, other + 1000):
            with pytest.raises(PersonError) as refused:
                job_for(work, person, number)
            told.append(str(refused.value).replace(str(number), "N"))
        assert told[0] == told[1]  # another's job and none at all are answered alike
        assert job_for(work, Person("Ute", "bench"), other).id == other
        with pytest.raises(PersonError, match="no job"):
            job_for(work, Person("Old", "guest"), own)  # whose they are was never said
    for role, whose in (("guest", None), ("bench", 1)):
        with pytest.raises(PersonError, match="needs a customer"):
            store.change(
                lambda work, r=role, w=whose: add_user(work, name="x", role=r, password=WORDS, customer_id=w),  # type: ignore[misc]
                by="owner",
            )
    with pytest.raises(PersonError, match="no customer 999"):
        store.change(lambda work: add_user(work, name="x", role="guest", password=WORDS, customer_id=999), by="owner")


def test_wrong_tries_have_to_wait() -> None:
    at = [0.0]
    tries = Attempts(most=3, within_s=60, clock=lambda: at[0])
    for _ in range(3):
        assert tries.wait_s("Ute", "10.0.0.7") == 0
        tries.wrong("Ute", "10.0.0.7")
    assert tries.wait_s("Jo", "10.0.0.7") == 60
    at[0] = 61
    assert tries.wait_s("Ute") == 0
    for number in range(20_000):
        tries.wrong(f"made up {number}")
    assert len(tries._wrong) <= 10_000
