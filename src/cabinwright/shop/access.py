"""Who may do what: roles, passwords (Argon2id), and devices on which a user is known for a while.

On one computer's own address nobody logs in: whoever sits there is the owner. Over a network everybody is somebody, and a view is
made for a role before it leaves this room: costs and margins are not in what a bench is given, so that no page can show them.
Sources: RFC 9106 (Argon2; the library's defaults are its second recommended set); OWASP on storing passwords and on sessions.
"""

from __future__ import annotations

import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from hashlib import sha256
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError, VerifyMismatchError
from sqlalchemy import delete, func, select

from cabinwright.errors import PersonError
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Customer, Job, Login, User
from cabinwright.shop.rows.people import ROLES
from cabinwright.shop.store import found_row
from cabinwright.shop.trail import Work

__all__ = [
    "HIDDEN",
    "MAY",
    "Attempts",
    "Person",
    "add_user",
    "admitted",
    "barred",
    "job_for",
    "known",
    "let_go",
    "refuse_unless",
    "seen_by",
]

SHORTEST, LONGEST = 10, 200  #: characters of a password
LASTS = timedelta(hours=12)
HIDDEN = frozenset({"cost", "margin"})  #: columns and figures for the owner's eyes only
MAY: dict[str, frozenset[str]] = {
    "owner": frozenset({"look", "read", "work", "price", "users", "erase", "backup", "settings", "people", "places"}),
    "bench": frozenset({"look", "read", "work", "people"}),
    "guest": frozenset({"look"}),
}
"""Role -> what it may: look is at jobs, a guest's own only; read is the rest of the shop; people are customers' names and
contacts, price is prices, offers and costs; places are folders on the computer that serves."""
_HASHER = PasswordHasher()


@cache
def _nobody() -> str:
    """A password that nobody has, so that an unknown name takes as long as a wrong password; slow to make."""
    return _HASHER.hash(secrets.token_hex())


@dataclass(frozen=True, slots=True)
class Person:
    """Who works."""

    name: str
    role: str
    user_id: int | None = None
    customer_id: int | None = None  #: a guest's

    def may(self, what: str) -> bool:
        """Whether their role allows it."""
        return what in MAY[self.role]

    def sees(self, customer_id: int) -> bool:
        """Whether they may look at the jobs of a customer."""
        return self.may("read") or (self.customer_id is not None and self.customer_id == customer_id)


def refuse_unless(person: Person, what: str) -> None:
    """Raises ``PersonError`` where ``person`` may not do this."""
    if not person.may(what):
        able = " or ".join(role for role, things in MAY.items() if what in things)
        raise PersonError(f"{person.name} ({person.role}) may not do this. Ask somebody who is {able} in this shop.")


def seen_by(person: Person, view: dict[str, Any]) -> dict[str, Any]:
    """A view without what is not for these eyes, however deep it lies."""
    if person.may("price"):
        return view
    return {name: _seen(person, value) for name, value in view.items() if name not in HIDDEN}


def _seen(person: Person, value: Any) -> Any:
    if isinstance(value, dict):
        return seen_by(person, value)
    return [_seen(person, item) for item in value] if isinstance(value, list) else value


def add_user(work: Work, *, name: str, role: str, password: str, customer_id: int | None = None) -> User:
    """One more user; a guest is a customer's. Raises ``PersonError`` for a taken name, an unknown role, a weak password."""
    name = " ".join(name.split())
    if not name or len(name) > 80:
        raise PersonError("A user needs a name of 1 to 80 characters.")
    if role not in ROLES:
        raise PersonError(f'"{role}" is no role. Choose {", ".join(ROLES)}.')
    if not SHORTEST <= len(password) <= LONGEST or password.lower() == name.lower() or len(set(password)) < 5:
        raise PersonError(
            f"The password needs {SHORTEST} to {LONGEST} characters, not all alike and not the name. Several words are good."
        )
    if work.scalar(select(func.count()).select_from(User).where(func.lower(User.name) == name.lower())):
        raise PersonError(f"There is a user called {name} already. Choose another name.")
    if (role == "guest") != (customer_id is not None):
        raise PersonError("A guest, and nobody else, needs a customer: the one whose jobs they may look at.")
    if customer_id is not None:
        found_row(work, Customer, customer_id)
    user = User(name=name, role=role, password=_HASHER.hash(password), customer_id=customer_id)
    work.add(user)
    work.flush()
    return user


def admitted(work: Work, *, name: str, password: str) -> tuple[Person, str] | None:
    """Who this is and the mark for their device, or None where name or password is wrong; both take the same time."""
    user = work.scalars(select(User).where(func.lower(User.name) == name.strip().lower(), User.active)).first()
    try:
        nobody = _nobody()  # whoever it is: the first of a day takes longer with every name
        _HASHER.verify(user.password if user else nobody, password[:LONGEST])
    except (VerifyMismatchError, VerificationError, InvalidHashError):
        return None
    if user is None:
        return None
    if _HASHER.check_needs_rehash(user.password):
        user.password = _HASHER.hash(password)
    work.execute(delete(Login).where(Login.ends_at < now()))
    mark = secrets.token_urlsafe(32)
    work.add(Login(user_id=user.id, digest=_digest(mark), ends_at=now() + LASTS))
    return _person(user), mark


def known(work: Work, mark: str) -> Person | None:
    """Whose device this is, while the login lasts and the user is active."""
    find = select(Login).join(User).where(Login.digest == _digest(mark), Login.ends_at > now(), User.active)
    login = work.scalars(find).first()
    return _person(login.user) if login else None


def _person(user: User) -> Person:
    return Person(user.name, user.role, user.id, user.customer_id)


def let_go(work: Work, *, mark: str | None = None, user_id: int | None = None) -> None:
    """Forget one device, or every device of a user."""
    if mark is not None:
        work.execute(delete(Login).where(Login.digest == _digest(mark)))
    if user_id is not None:
        work.execute(delete(Login).where(Login.user_id == user_id))


def job_for(work: Work, person: Person, job_id: int) -> Job:
    """A job that they may look at. Another's is answered as one that is not there: nobody learns which numbers exist."""
    job = work.get(Job, job_id)
    if job is None or not person.sees(job.car.customer_id):
        raise PersonError(f"There is no job {job_id}; look at the list again.")
    return job


def barred(work: Work, user_id: int) -> User:
    """Let somebody in no more, on no device. Raises ``PersonError``."""
    user = found_row(work, User, user_id)
    user.active = False
    let_go(work, user_id=user.id)
    return user


def _digest(mark: str) -> str:
    return sha256(mark.encode()).hexdigest()


class Attempts:
    """How often a name, or an address, was tried lately: after so many wrong tries both have to wait."""

    def __init__(self, *, most: int = 5, within_s: float = 300.0, clock: Callable[[], float] = time.monotonic) -> None:
        self.most, self.within_s, self.clock = most, within_s, clock
        self._wrong: dict[str, deque[float]] = {}

    def wait_s(self, *whose: str) -> float:
        """Seconds until the next try is allowed; 0: now."""
        at, longest = self.clock(), 0.0
        for who in whose:
            tries = self._wrong.get(who, deque())
            while tries and tries[0] <= at - self.within_s:
                tries.popleft()
            if len(tries) >= self.most:
                longest = max(longest, tries[0] + self.within_s - at)
        return longest

    def wrong(self, *whose: str) -> None:
        """Count one wrong try; the oldest are forgotten before memory grows."""
        for who in whose:
            self._wrong.setdefault(who, deque(maxlen=self.most)).append(self.clock())
        while len(self._wrong) > 10_000:
            self._wrong.pop(next(iter(self._wrong)))

    def right(self, *whose: str) -> None:
        """Start again after a right one."""
        for who in whose:
            self._wrong.pop(who, None)
