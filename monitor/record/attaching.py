"""The days of a record as `attach` needs them."""

from pathlib import Path

from monitor.archive import Reader
from monitor.control import RECORD
from monitor.errors import HoldwaterError
from monitor.record.attach import Day
from monitor.record.gather import Wish, day_table
from monitor.record.local_units import in_units
from monitor.record.show import cells_of, site_of


def days_of(state: Path, base: float, fahrenheit: bool, gallons: bool) -> list[Day]:
    """Every day of the run in this state folder, in the units asked for."""
    with Reader(state / RECORD) as reader:
        site = site_of(reader, base)
        days = [
            Day(row.day, row.dph, in_units(cells_of(site, row), fahrenheit, gallons))
            for row in day_table(reader, Wish(base=base))
        ]
    if not days:
        raise HoldwaterError("the record has no day of the run yet")
    return days
