"""Dates as people write them in their sheets. Pure; what can be read in two ways is not guessed.

Read are dates of a spreadsheet, 2026-10-18 (ISO 8601) and 20261018, 18.10.2026, 18 Oct 2026 and
Oct 18, 2026 in four languages, and 10/18/2026 where only one order is possible. A weekday before it
and a time of day after it are passed over. Two figures of a year mean 20yy.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


class Order(StrEnum):
    """Which of two figures joined by a slash or a hyphen is the day."""

    UNKNOWN = "unknown"
    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"


@dataclass(frozen=True, slots=True)
class Span:
    """The days of the run, by which a date without a year is placed."""

    first: date
    last: date


class UnclearDate(ValueError):
    """A cell that is no date, or could be several; the text says why."""


_MONTHS = (
    "jan januar january janv janvier ene enero",
    "feb februar february fév fev février fevrier febrero",
    "mar märz mär marz march mars mrz marzo",
    "apr april avr avril abr abril",
    "may mai mayo",
    "jun juni june juin junio",
    "jul juli july juil juillet julio",
    "aug august août aout ago agosto",
    "sep sept september septembre septiembre",
    "oct okt oktober october octobre octubre",
    "nov november novembre noviembre",
    "dec dez dezember december déc décembre decembre dic diciembre",
)
MONTHS = {name: number for number, names in enumerate(_MONTHS, 1) for name in names.split()}
"""Names of months in English, German, French and Spanish, and how they are shortened."""

_TIME = re.compile(r"[T ,]+\d{1,2}[:.]\d{2}([:.]\d{2}(\.\d+)?)?\s*([ap]\.?m\.?|h|uhr|z)?$", re.I)
_WEEKDAY = re.compile(r"^[^\W\d]+\.?[, ]+(?=\d)|^[^\W\d]+\.?, +(?=[^\W\d])")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_BASIC = re.compile(r"(20\d{2})(\d{2})(\d{2})")
_DOTTED = re.compile(r"(\d{1,2})\.\s*(\d{1,2})\.\s*(\d{4}|\d{2})?")
_TWO_WAYS = re.compile(r"(\d{1,2})[/-](\d{1,2})(?:[/-](\d{4}|\d{2}))?")
_DAY_NAME = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th|\.)?[ -]*(?:de )?([^\W\d]+)\.?,?(?:[ -]+(?:de )?(\d{4}|\d{2}))?"
)
_NAME_DAY = re.compile(r"([^\W\d]+)\.?[ -]*(\d{1,2})(?:st|nd|rd|th)?(?:,?[ -]+(\d{4}|\d{2}))?")


def read_date(cell: object, order: Order, run: Span) -> date | None:
    """The date a cell means; None where it is blank. UnclearDate with the reason otherwise."""
    if cell is None:
        return None
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    if isinstance(cell, bool) or not isinstance(cell, int | float | str):
        raise UnclearDate("is no date")
    text = " ".join(str(cell).replace("\N{NO-BREAK SPACE}", " ").split())
    if not text:
        return None
    return _written(text, order, run)


def _written(text: str, order: Order, run: Span) -> date:
    bare = _TIME.sub("", text).strip()
    for form in (_ISO, _BASIC):
        found = form.fullmatch(bare)
        if found:
            return _date(int(found[1]), int(found[2]), int(found[3]))
    if re.fullmatch(r"-?\d+(\.\d+)?", bare):
        raise UnclearDate("is a bare number; give the cells a date format in the spreadsheet")
    bare = _WEEKDAY.sub("", bare) if not _begins_with_month(bare) else bare
    found = _DOTTED.fullmatch(bare)
    if found:
        return _placed(found[3], int(found[2]), int(found[1]), run)
    found = _TWO_WAYS.fullmatch(bare)
    if found:
        day, month = _which(int(found[1]), int(found[2]), order)
        return _placed(found[3], month, day, run)
    found = _DAY_NAME.fullmatch(bare)
    if found:
        return _placed(found[3], _month(found[2]), int(found[1]), run)
    found = _NAME_DAY.fullmatch(bare)
    if found:
        return _placed(found[3], _month(found[1]), int(found[2]), run)
    raise UnclearDate("is no date that is known here; write it as 2026-10-18")


def _begins_with_month(text: str) -> bool:
    return text.split(" ", maxsplit=1)[0].rstrip(".,").casefold() in MONTHS


def _month(name: str) -> int:
    number = MONTHS.get(name.casefold())
    if number is None:
        raise UnclearDate(f"names no month that is known here ({name!r}); write it as 2026-10-18")
    return number


def _which(one: int, other: int, order: Order) -> tuple[int, int]:
    """Day and month of two figures."""
    if order is Order.DAY_FIRST:
        return one, other
    if order is Order.MONTH_FIRST:
        return other, one
    if one > 12:
        return one, other
    if other > 12:
        return other, one
    if one == other:
        return one, other
    raise UnclearDate("may be day/month or month/day; say --day-first or --month-first")


def _placed(year: str | None, month: int, day: int, run: Span) -> date:
    """A date whose year may be missing: then the one year that puts it into the run."""
    if year is not None:
        return _date(int(year) + (2000 if len(year) == 2 else 0), month, day)
    fits = []
    for candidate in range(run.first.year, run.last.year + 1):
        try:
            at = date(candidate, month, day)
        except ValueError:
            continue
        if run.first <= at <= run.last:
            fits.append(at)
    if len(fits) != 1:
        raise UnclearDate(f"has no year, and does not lie in the run {run.first} to {run.last}")
    return fits[0]


def _date(year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError as error:
        raise UnclearDate(f"is no day of the calendar ({error})") from error


_DPH = re.compile(r"(?:dph|d|day)?\s*([-+\N{MINUS SIGN}]?\d+)(?:\.0+)?\s*(?:dph|d|days?)?", re.I)


def read_dph(cell: object) -> int | None:
    """Days post hatch as written: 5, -3, "dph 5", "5 dph"; None where blank."""
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return None
    if isinstance(cell, int | float | str) and not isinstance(cell, bool):
        found = _DPH.fullmatch(str(cell).strip())
        if found:
            return int(found[1].replace("\N{MINUS SIGN}", "-"))
    raise UnclearDate("is no whole number of days post hatch")
