"""Mains and battery from an uninterruptible supply, by the power-status protocol of RFC 9271.

Read only: variables are asked for, nothing is ever set, switched or tested. Addressed by the
variable, such as `battery.charge`; `ups.status` gives mains, `ups.status/LB` one symbol of it.
"""

import math
import re
from typing import Annotated

from pydantic import AfterValidator, Field
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import payload, power_status
from monitor.sources.addresses import OPTIONS, FullPath, Sheet, alone, fit
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value, in_unit
from monitor.sources.power_status import Session

PROBLEMS = (
    *power_status.PROBLEMS,
    "status unknown",
    "forced shutdown",
    "battery test",
    *("empty", "not a number", "number too large"),
)
"""Every problem word of this driver."""

QUANTITIES = {
    "charge": ("share", 100.0),
    "load": ("share", 100.0),
    "runtime": ("age", 1.0),
    "voltage": ("voltage", 1.0),
    "current": ("current", 1.0),
    "temperature": ("temperature", 1.0),
}
"""By the last word of a variable: what it measures, and how many of its units make one of SI."""

SYMBOLS = (
    *("ALARM", "BOOST", "BYPASS", "CAL", "CHRG", "COMM", "DISCHRG", "FSD", "LB"),
    *("NOCOMM", "OB", "OFF", "OL", "OVER", "RB", "TEST", "TRIM"),
)
"""What ups.status may hold (RFC 9271)."""

PORT = 3493
AGAIN = 2.0
"""Seconds after a session that failed to open until the next attempt, for all tags together."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,62}")


def _plain_name(text: str) -> str:
    """A name that is one word of a command, whatever a set-up holds."""
    if not _NAME.fullmatch(text):
        raise ValueError("is not a name of letters, digits, and . - _ after the first")
    return text


@checked(frozen=True, slots=True, config=OPTIONS)
class UpsOptions:
    """ups: its name at the server. timeout in s. test_limit: how long a battery test, during which
    the supply runs on its battery, may hide that mains is off, s."""

    host: Annotated[str, Field(min_length=1)]
    ups: Annotated[str, AfterValidator(_plain_name)]
    port: Annotated[int, Field(ge=1, le=65_535)] = PORT
    user: str = ""
    password_secret: str = ""
    starttls: bool = False
    ca_file: FullPath | None = None
    timeout: Annotated[float, Field(ge=0.05, le=15.0)] = 3.0
    test_limit: Annotated[float, Field(ge=0.0, le=7200.0)] = 600.0


def ups(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    """One supply at one server. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(UpsOptions)
    variables = sheet.points(_variable)
    if read is not None:
        _check_access(sheet, read, secrets)
    options = sheet.sound(read)
    password = secrets.get(options.password_secret, "")
    return PolledSource(
        setup.id, sheet.tags, lambda clock, _tell: _Supply(options, password, variables, clock)
    )


def _variable(tag: Tag) -> tuple[str, str]:
    """Name of the variable, and the symbol of its status that is wanted ("" for none)."""
    variable, parted, symbol = alone(tag.address).partition("/")
    if not _NAME.fullmatch(variable):
        raise ValueError("is not the name of a variable, such as ups.status or battery.charge")
    if parted:
        if variable != "ups.status" or symbol not in SYMBOLS:
            raise ValueError(f"is not ups.status/SYMBOL, with one of {', '.join(SYMBOLS)}")
        fit(tag, "number")
    elif variable == "ups.status":
        fit(tag, "mains")
    else:
        quantity = QUANTITIES.get(variable.rpartition(".")[2])
        fit(tag, quantity[0] if quantity else "number")
    return variable, symbol


def _check_access(sheet: Sheet, options: UpsOptions, secrets: Secrets) -> None:
    secret = options.password_secret
    if secret and secret not in secrets:
        sheet.problem("password_secret", f"there is no secret named {secret!r}", "Add it")
    if bool(secret) != bool(options.user):
        sheet.problem("user", "is wanted together with password_secret", "Give both, or neither")
    for key, word in (("user", options.user), ("password_secret", secrets.get(secret, ""))):
        if not (word.isascii() and word.isprintable()):
            sheet.problem(key, "holds signs that the protocol cannot carry", "Use plain letters")
    if options.ca_file is not None and not options.starttls:
        sheet.problem("ca_file", "is of no use", "Set starttls = true")


class _Supply:
    """One supply. The session is opened when first needed, and again after it was lost."""

    def __init__(
        self,
        options: UpsOptions,
        password: str,
        variables: dict[str, tuple[str, str]],
        clock: Clock,
    ) -> None:
        self._options = options
        self._password = password
        self._variables = variables
        self._clock = clock
        self._session: Session | None = None
        self._not_before = -math.inf
        self._test_since: float | None = None
        self._looked: set[str] = set()

    def read(self, tag: Tag) -> Value:
        variable, symbol = self._variables[tag.id]
        text = self._ask(variable)
        if symbol:
            symbols = text.split()
            check_status(symbols)
            return float(symbol in symbols), ""
        if variable == "ups.status":
            return self._mains(text.split()), ""
        value, problem = payload.parse(text.encode("ascii"), (), state=False)
        if value is None:
            raise NoReading(problem if problem in PROBLEMS else "not a number", text[:80])
        units = QUANTITIES.get(variable.rpartition(".")[2], ("", 1.0))[1]
        return in_unit(tag, value / units), ""

    def close(self) -> None:
        if self._session is not None:
            self._session.close()
        self._session = None

    def _mains(self, symbols: list[str]) -> float:
        """1 on mains, 0 on battery; a test runs on battery with mains there, but not for ever."""
        check_status(symbols)
        if "OL" in symbols:
            self._test_since = None
            return 1.0
        if "CAL" not in symbols and "TEST" not in symbols:
            self._test_since = None
            return 0.0
        now = self._clock.now().elapsed
        if self._test_since is None:
            self._test_since = now
        if now - self._test_since < self._options.test_limit:
            raise NoReading("battery test", " ".join(symbols))
        return 0.0

    def _ask(self, variable: str) -> str:
        """The value of a variable. What breaks the order of answers ends the session."""
        session = self._opened()
        try:
            return session.value(self._options.ups, variable)
        except NoReading as trouble:
            if trouble.problem in ("no answer", "wrong answer"):
                self.close()
            elif trouble.problem in ("no such variable", "unknown ups"):
                raise self._with_names(session, trouble) from trouble
            raise

    def _with_names(self, session: Session, trouble: NoReading) -> NoReading:
        """The same trouble, with the names there are; they are asked for once a kind of trouble."""
        if trouble.problem in self._looked:
            return trouble
        self._looked.add(trouble.problem)
        what = "UPS" if trouble.problem == "unknown ups" else f"VAR {self._options.ups}"
        try:
            names = session.names(what)
        except NoReading as again:
            self.close()
            return NoReading(trouble.problem, f"{trouble.detail}, and no list: {again.detail}")
        return NoReading(trouble.problem, f"{trouble.detail}; there are: {', '.join(names)}")

    def _opened(self) -> Session:
        """The session, with TLS and log-in where they are set up."""
        if self._session is None:
            now = self._clock.now().elapsed
            if now < self._not_before:
                raise NoReading("no connection", "the next attempt is still to come")
            try:
                self._open()
            except NoReading:
                self.close()
                self._not_before = self._clock.now().elapsed + AGAIN
                raise
        assert self._session is not None
        return self._session

    def _open(self) -> None:
        options = self._options
        self._session = Session(options.host, options.port, options.timeout, self._clock)
        if options.starttls:
            self._session.start_tls(options.host, options.ca_file)
        if options.user:
            self._session.log_in(options.user, self._password)


def check_status(symbols: list[str]) -> None:
    """A status says OL or OB, and not both; else it is not known whether there is mains."""
    if ("OL" in symbols) != ("OB" in symbols):
        return
    if "FSD" in symbols and "OL" not in symbols:
        raise NoReading("forced shutdown", " ".join(symbols))
    raise NoReading("status unknown", " ".join(symbols)[:80])
