"""What one value may be: a check for each kind of value, and the words that help to mend it.

Types, missing and unknown keys are the models' business; a check looks only at values of the
right type, and says what is wrong with one, or nothing.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from monitor.config.lines import Path
from monitor.config.sheet import Sheet, nearest, shown
from monitor.logic.gsm import fold

Check = Callable[[Any], str]
Model = TypeVar("Model", bound=BaseModel)

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_MAIL = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
_PHONE = re.compile(r"\+[1-9][0-9]{7,14}")
_TIME = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])(?::00)?")
_LOCAL = re.compile(r"(\d{4})-(\d\d)-(\d\d)[ T]([01]\d|2[0-3]):([0-5]\d)(?::00)?", re.ASCII)
_COUNT = re.compile(r"~?[0-9]{1,9}", re.ASCII)
_DAY = re.compile(r"(\d{4})-(\d\d)-(\d\d)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Rule:
    """One key: what it is, in words that follow 'Write', and the check of its values."""

    help: str
    check: Check = lambda value: ""


Rules = dict[str, Rule]


def is_number(value: Any) -> bool:
    """Whether this is a number that can be reckoned with (true and false are none)."""
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and (abs(value) < 1e300 if isinstance(value, int) else math.isfinite(value))
    )


def between(low: float, high: float) -> Check:
    """A number within plausible bounds, both included."""

    def check(value: Any) -> str:
        if not is_number(value) or low <= value <= high:
            return ""
        return f"{shown(value)} is not between {low:g} and {high:g}"

    return check


def one_of(known: tuple[str, ...]) -> Check:
    """A word out of a list."""

    def check(value: Any) -> str:
        if not isinstance(value, str) or value in known:
            return ""
        return f"{shown(value)} is not one of the words known here"

    return check


def identifier(longest: int) -> Check:
    """A name for machines and texts: letters, digits, point, dash and underscore."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            return ""
        if not _ID.fullmatch(value):
            return f"{shown(value)} must be letters, digits, and . - _ after the first"
        return _too_long(value, longest)

    return check


def words(longest: int) -> Check:
    """Words that go into text messages.

    Only letters of the GSM 7-bit basic table (3GPP TS 23.038, section 6.2.1): one other letter
    would cut a message from 160 to 70 places.
    """

    def check(value: Any) -> str:
        if not isinstance(value, str):
            return ""
        if not value.strip() or value != value.strip():
            return f"{shown(value)} is empty or has spaces at its ends"
        odd = [sign for sign in value if fold(sign) != sign]
        if odd:
            return f"{shown(value)} holds {shown(odd[0])}, which makes text messages short"
        return _too_long(value, longest)

    return check


def _too_long(value: str, longest: int) -> str:
    if len(value) <= longest:
        return ""
    return f"{shown(value)} has {len(value)} characters, at most {longest} fit"


def mail(value: Any) -> str:
    """A mail address in its plain form (RFC 5321 section 4.1.2, without quoted local parts)."""
    if not isinstance(value, str) or (len(value) <= 254 and _MAIL.fullmatch(value)):
        return ""
    return f"{shown(value)} is not a mail address"


def phone(value: Any) -> str:
    """A phone number with its country (ITU-T E.164: at most 15 digits), spaces allowed."""
    if not isinstance(value, str) or _PHONE.fullmatch(plain_phone(value)):
        return ""
    return f"{shown(value)} is not a phone number with + and country code"


def plain_phone(value: str) -> str:
    """A phone number without the spaces and dashes people write."""
    return value.replace(" ", "").replace("-", "")


def time_of_day(value: Any) -> str:
    """A time on the wall clock, HH:MM."""
    if not isinstance(value, str) or _TIME.fullmatch(value):
        return ""
    return f"{shown(value)} is not a time such as 07:00"


def seconds_of_day(value: str) -> float:
    """Seconds after midnight of a time that `time_of_day` accepts."""
    return int(value[:2]) * 3600.0 + int(value[3:5]) * 60.0


WEEK_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def time_of_week(value: Any) -> str:
    """A weekday and a time of day, such as "Fri 09:00"."""
    if not isinstance(value, str):
        return ""
    name, _, clock = value.partition(" ")
    if name in WEEK_DAYS and not time_of_day(clock):
        return ""
    return f"{shown(value)} is not a weekday and a time such as Fri 09:00"


def local_time(value: Any) -> str:
    """A point in site time, YYYY-MM-DD HH:MM."""
    if not isinstance(value, str) or _is_real(_LOCAL.fullmatch(value)):
        return ""
    return f"{shown(value)} is not a day and time such as 2026-10-03 18:00"


def read_local(value: str) -> datetime:
    """The naive site time of a text that `local_time` accepts."""
    return datetime.fromisoformat(value)


def day(value: Any) -> str:
    """A day, YYYY-MM-DD."""
    if not isinstance(value, str) or _is_real(_DAY.fullmatch(value)):
        return ""
    return f"{shown(value)} is not a day such as 2026-10-06"


def _is_real(found: re.Match[str] | None) -> bool:
    """Whether year, month, day, and so on are a point in the calendar, and in our time."""
    if found is None:
        return False
    year, *rest = map(int, found.groups())
    try:
        datetime(year, *rest)  # type: ignore[arg-type]
    except ValueError:
        return False
    return 2000 <= year < 2200


def each(check: Check, count: int | None = None, most: int = 50) -> Check:
    """A list, every item of which passes a check; of exactly `count` items if that is given."""

    def checked(value: Any) -> str:
        if not isinstance(value, list):
            return ""
        if count is not None and len(value) != count:
            return f"holds {len(value)} values where {count} are wanted"
        if len(value) > most:
            return f"holds {len(value)} values, at most {most} make sense"
        return next((wrong for item in value if (wrong := check(item))), "")

    return checked


def count(value: Any) -> str:
    """A count that people wrote down: a whole number in quotes, ~ before an estimate."""
    if not isinstance(value, str) or _COUNT.fullmatch(value):
        return ""
    return f'{shown(value)} is not a count such as "4700" or "~2100"'


def rising_pair(value: Any) -> str:
    """Two numbers, the lower first."""
    wrong = each(between(-1e9, 1e9), 2)(value)
    if wrong or not isinstance(value, list) or not all(map(is_number, value)):
        return wrong
    return "" if value[0] < value[1] else "the second number must be higher than the first"


def check_row(
    sheet: Sheet, path: Path, raw: dict[str, Any], model: type[Model], rules: Rules
) -> Model | None:
    """Tell everything wrong with one table; give its model, less what was wrong, if it can be.

    Problems of single keys are told here; what is left may still be compared with other keys.
    """
    for key, value in raw.items():
        rule = rules.get(key)
        if rule is not None and (wrong := rule.check(value)):
            sheet.problem((*path, key), wrong, f"Write {rule.help}")
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        bad = set()
        for item in error.errors(include_url=False, include_input=False, include_context=False):
            bad.add(item["loc"][0])
            _tell(sheet, path, raw, item["type"], item["loc"], rules)
    try:
        return model.model_validate({key: raw[key] for key in raw if key not in bad})
    except ValidationError:
        return None  # a key it cannot do without is missing, which has been told


def _tell(
    sheet: Sheet, path: Path, raw: dict[str, Any], kind: str, where: Path, rules: Rules
) -> None:
    """One finding of the models in words people know."""
    key = str(where[0])
    rule = rules.get(key)
    remedy = f"Write {rule.help}" if rule is not None else ""
    if kind == "missing":
        sheet.problem((*path, key), "is missing", f"Add {key}: {rule.help if rule else ''}")
        return
    if kind == "extra_forbidden":
        name = path[0] if path else sheet.name
        remedy = nearest(key, tuple(rules), f"Keys of {name}")
        if path and key in _ELSEWHERE:
            remedy = f"Move it to {_ELSEWHERE[key]}"
        sheet.problem((*path, key), f"is not a key of {name}", remedy)
        return
    value: Any = raw
    for part in where:
        value = value[part]
    sheet.problem((*path, *where), f"is {shown(value)}, not {_WANTED.get(kind, kind)}", remedy)


_TOP = "the top of the file, above the first ["
_ELSEWHERE = {
    "standing": _TOP,
    "quiet_hours": _TOP,
    "owed_by": _TOP,
    "evening": _TOP,
    "circuits": "[site]",
}
"""Keys that end up in the wrong table when they are added at the end of a file."""
_WANTED = {
    "bool_type": "true or false",
    "dict_type": "a table",
    "finite_number": "a finite number",
    "float_type": "a number",
    "int_type": "a whole number",
    "list_type": "a list in [ ]",
    "string_type": 'text in "quotes"',
}
