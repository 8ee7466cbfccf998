"""Who may use the page: people with their own password, sessions, and codes that admit somebody.

Kept in a small file beside the record, never in it. Passwords are kept by scrypt (RFC 7914),
tokens and codes by their SHA-256, so a stolen file opens nothing. There is no default account:
the first code is made on the machine itself (`holdwater admit`).
"""

import hashlib
import hmac
import os
import secrets
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from monitor.errors import HoldwaterError

ACCESS = "page.db"
"""Name in the state folder."""

ROLES = ("look", "act", "set up")
"""What somebody may do, each including the one before."""

SHORTEST, LONGEST = 8, 128
"""Characters of a password (OWASP ASVS 5.0, 6.2.1 and 6.2.9); digits alone are allowed."""

IDLE, ABSOLUTE = 14 * 86_400.0, 60 * 86_400.0
"""Seconds until a session ends unused, and in any case: a phone that is opened at 03:00 must not
ask for a password, and a run lasts some sixty days."""

ADMISSION = 600.0
"""Seconds that a code admits (OWASP ASVS 5.0, 6.5.5: at most ten minutes)."""

FREE_TRIES, LONGEST_PAUSE = 5, 60.0
"""Wrong passwords from one address before it must pause, and the longest pause, s."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What one check of a password costs, by scrypt: 128 * n * r bytes, p times over.

    As it is: 16 MB, five times (OWASP password storage: N 2^14, r 8, p 5).
    """

    n: int = 2**14
    r: int = 8
    p: int = 5


class Denied(HoldwaterError):
    """Somebody may not do this, with the reason they are told."""


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who looks at the page. token: of the session, "" for nobody."""

    person: str
    role: str
    token: str

    def may(self, role: str) -> bool:
        """Whether this role is included in the visitor's."""
        return ROLES.index(self.role) >= ROLES.index(role)

    @property
    def form_token(self) -> str:
        """What every form of this session carries, so that no other site can send one."""
        return hmac.new(self.token.encode(), b"form", hashlib.sha256).hexdigest()


class Access:
    """The accounts. now: wall-clock UTC seconds; boot: seconds that never step, for pauses."""

    def __init__(
        self, path: Path, now: Callable[[], float], boot: Callable[[], float], cost: Cost
    ) -> None:
        self._path, self.now, self._boot, self._cost = path, now, boot, cost
        self._wrong: dict[str, tuple[int, float]] = {}
        self._checking = threading.BoundedSemaphore(1)
        with self._file() as file:
            file.executescript(files("monitor.page").joinpath("access.sql").read_text("utf-8"))

    @contextmanager
    def _file(self) -> Iterator[sqlite3.Connection]:
        try:
            if not self._path.exists():
                self._path.touch(mode=0o600)
            file = sqlite3.connect(self._path, timeout=5.0)
        except (OSError, sqlite3.Error) as error:
            raise HoldwaterError(
                f"{self._path}: {error}; who may use the page is kept there"
            ) from error
        try:
            with file:
                yield file
        except sqlite3.Error as error:
            raise HoldwaterError(
                f"{self._path}: {error}; who may use the page is kept there"
            ) from error
        finally:
            file.close()

    # Codes that admit

    def admit(self, person: str, role: str) -> str:
        """A code by which a person sets a password within ten minutes, once."""
        if role not in ROLES:
            raise Denied(f"{role}: no role; it is one of {', '.join(ROLES)}")
        code = secrets.token_hex(5)
        with self._file() as file:
            file.execute(
                "delete from admission where expires < ? or person = ?", (self.now(), person)
            )
            expires = self.now() + ADMISSION
            file.execute(
                "insert into admission values (?, ?, ?, ?)", (_digest(code), person, role, expires)
            )
        return code

    def enter(self, code: str, password: str, address: str) -> Visitor:
        """Use a code: set the password and begin a session. Denied says what is wrong."""
        self._pause_of(address)
        _check(password)
        salt = os.urandom(16)
        with self._file() as file:
            row = file.execute(
                "delete from admission where code = ? and expires >= ? returning person, role",
                (_digest(code.strip().lower()), self.now()),
            ).fetchone()
            if row is None:
                self._count_wrong(address)
                raise Denied("This code is wrong, used or older than ten minutes. Ask for another.")
            person, role = row
            file.execute("delete from session where person = ?", (person,))
            file.execute(
                "insert or replace into account values (?, ?, ?, ?, ?)",
                (person, salt, self._hash(password, salt), role, self.now()),
            )
        return self._begin(person, role)

    # Sessions

    def log_in(self, person: str, password: str, address: str) -> Visitor:
        """Begin a session; Denied in the same words whoever the person is."""
        self._pause_of(address)
        with self._file() as file:
            row = file.execute(
                "select salt, hash, role from account where person = ?", (person,)
            ).fetchone()
        salt, kept, role = row or (b"\0" * 16, b"", "look")
        right = hmac.compare_digest(self._hash(password[:LONGEST], salt), kept)
        if not right:
            self._count_wrong(address)
            raise Denied("Name or password is wrong.")
        self._wrong.pop(address, None)
        return self._begin(person, role)

    def visitor(self, token: str) -> Visitor | None:
        """Who a session belongs to; None when it is over or never was."""
        if not token:
            return None
        now = self.now()
        with self._file() as file:
            row = file.execute(
                "select person, role, begun, seen from session join account using (person)"
                " where token = ?",
                (_digest(token),),
            ).fetchone()
            if row is None:
                return None
            person, role, begun, seen = row
            if now - seen > IDLE or now - begun > ABSOLUTE:
                file.execute("delete from session where token = ?", (_digest(token),))
                return None
            if now - seen > 600.0:
                file.execute("update session set seen = ? where token = ?", (now, _digest(token)))
        return Visitor(person, role, token)

    def log_out(self, token: str) -> None:
        """End a session on this side."""
        with self._file() as file:
            file.execute("delete from session where token = ?", (_digest(token),))

    def remove(self, person: str) -> bool:
        """Take a person's account and sessions away; whether there was one."""
        with self._file() as file:
            file.execute("delete from session where person = ?", (person,))
            return file.execute("delete from account where person = ?", (person,)).rowcount > 0

    def has_accounts(self) -> bool:
        """Whether anybody can log in at all."""
        with self._file() as file:
            return file.execute("select 1 from account limit 1").fetchone() is not None

    def _begin(self, person: str, role: str) -> Visitor:
        token = secrets.token_urlsafe(32)
        now = self.now()
        with self._file() as file:
            file.execute(
                "insert into session values (?, ?, ?, ?)", (_digest(token), person, now, now)
            )
        return Visitor(person, role, token)

    # Guessing

    def _hash(self, password: str, salt: bytes) -> bytes:
        """One at a time: sixteen megabytes each."""
        with self._checking:
            cost, room = self._cost, 64 * 1024 * 1024
            return hashlib.scrypt(
                password.encode(), salt=salt, n=cost.n, r=cost.r, p=cost.p, maxmem=room
            )

    def _pause_of(self, address: str) -> None:
        """Denied while this address has to pause; other addresses are not held up by it."""
        count, last = self._wrong.get(address, (0, 0.0))
        if count < FREE_TRIES:
            return
        left = last + min(LONGEST_PAUSE, 2.0 ** (count - FREE_TRIES)) - self._boot()
        if left > 0.0:
            raise Denied(f"Too many wrong passwords from here. Try again in {left:.0f} seconds.")

    def _count_wrong(self, address: str) -> None:
        if len(self._wrong) >= 1000 and address not in self._wrong:
            self._wrong.pop(next(iter(self._wrong)))
        count, _ = self._wrong.pop(address, (0, 0.0))
        self._wrong[address] = (count + 1, self._boot())


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


def _check(password: str) -> None:
    if not SHORTEST <= len(password) <= LONGEST:
        raise Denied(f"A password has {SHORTEST} to {LONGEST} characters; digits alone will do.")
