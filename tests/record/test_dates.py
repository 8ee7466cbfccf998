"""Dates as people write them: what is read, and what is refused."""

from datetime import date, datetime

import pytest

from monitor.record.dates import Order, Span, UnclearDate, read_date, read_dph

RUN = Span(date(2026, 10, 3), date(2026, 11, 5))
THE_DAY = date(2026, 10, 18)


@pytest.mark.parametrize(
    "cell",
    [
        THE_DAY,
        datetime(2026, 10, 18, 9, 15),
        20261018,
        "2026-10-18",
        "2026/10/18",
        "2026-10-18T09:15:00",
        "2026-10-18 09:15",
        "18.10.2026",
        "18.10.26",
        "18.10.",
        " 18. 10. 2026 ",
        "Sun 18 Oct 2026",
        "So, 18. Okt. 2026",
        "18-Oct-26",
        "18 oct",
        "18th October 2026",
        "18 de octubre de 2026",
        "18 octobre 2026",
        "Oct 18, 2026",
        "Sunday, October 18, 2026",
        "October 18th",
        "10/18/2026",
        "18/10/2026",
        "18/10",
        "10/18/2026 7:15 pm",
    ],
)
def test_a_date_is_read(cell: object) -> None:
    """All these mean the day of the outage."""
    assert THE_DAY == read_date(cell, Order.UNKNOWN, RUN)


def test_two_figures_need_an_order() -> None:
    """4/10/2026 is refused until somebody says what comes first; 10/10 needs no order."""
    with pytest.raises(UnclearDate, match="--day-first"):
        read_date("4/10/2026", Order.UNKNOWN, RUN)
    assert date(2026, 10, 4) == read_date("4/10/2026", Order.DAY_FIRST, RUN)
    assert date(2026, 4, 10) == read_date("4/10/2026", Order.MONTH_FIRST, RUN)
    assert date(2026, 10, 10) == read_date("10/10/2026", Order.UNKNOWN, RUN)


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        (46313, "bare number"),
        ("18.10", "bare number"),
        ("31.11.2026", "no day of the calendar"),
        ("30 Feb", "does not lie in the run"),
        ("18 Jun", "does not lie in the run"),
        ("18 Brumaire 2026", "names no month"),
        ("yesterday", "no date that is known"),
        ("18.10.2026-19.10.2026", "no date that is known"),
        (True, "no date"),
        ("=A1+1", "no date that is known"),
        ("9" * 5000, "bare number"),
    ],
)
def test_what_is_no_date_is_refused(cell: object, why: str) -> None:
    """Neither a guess nor a crash, but a reason."""
    with pytest.raises(UnclearDate, match=why):
        read_date(cell, Order.UNKNOWN, RUN)


def test_blank_is_no_date() -> None:
    """Blank cells are passed over, also those that hold only spaces."""
    assert [None] * 3 == [read_date(cell, Order.UNKNOWN, RUN) for cell in (None, "", " \u00a0 ")]


def test_days_without_a_year_over_new_year() -> None:
    """The year is the one that puts the day into the run."""
    winter = Span(date(2026, 12, 20), date(2027, 1, 20))
    days = [read_date(cell, Order.UNKNOWN, winter) for cell in ("31 Dec", "1 Jan")]
    assert [date(2026, 12, 31), date(2027, 1, 1)] == days


def test_days_post_hatch() -> None:
    """Numbers, with the words people add; halves and ranges are refused."""
    cells = (5, 5.0, "5", "dph 5", "5 dph", "D5", "-3", "\u22123", None)
    assert [5, 5, 5, 5, 5, 5, -3, -3, None] == [read_dph(cell) for cell in cells]
    for cell in (5.5, "5-6", "week 2", True):
        with pytest.raises(UnclearDate):
            read_dph(cell)
