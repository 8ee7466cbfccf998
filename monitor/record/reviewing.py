"""The review of the alarms of a record, read from the archive."""

from collections.abc import Iterator
from math import inf
from pathlib import Path

from monitor.archive import Reader
from monitor.config import load_texts
from monitor.control import RECORD
from monitor.errors import HoldwaterError
from monitor.logic.quiet import in_quiet_hours
from monitor.record.review import lines, review
from monitor.setup import DAY


def review_lines(state: Path, days: float | None) -> Iterator[str]:
    """The review of a state folder as lines; days: only so many before its last row."""
    with Reader(state / RECORD) as reader:
        rows = reader.journal()
        if not rows:
            raise HoldwaterError(f"the record in {state} has no journal yet")
        since = -inf if days is None else rows[-1].moment.utc - days * DAY
        versions = reader.setups()
        setup = load_texts(versions[-1].files, versions[-1].version) if versions else None
    kept = [row for row in rows if row.moment.utc >= since]
    yield from lines(review(kept, lambda utc: setup is not None and in_quiet_hours(setup, utc)))
