"""What the archive knows of earlier boots, and the timeline that follows from it."""

import sqlite3

from monitor.archive.records import Boot, Offset
from monitor.archive.timeline import Timeline
from monitor.clock import EarlierBoot
from monitor.inputs import Moment

LATEST = (
    "SELECT boot, max(elapsed) FROM journal",
    "SELECT boot, max(elapsed) FROM outbox",
    "SELECT boot, max(since) FROM offsets",
    "SELECT boot, max(start_ms + span_ms) / 1000.0 FROM"
    " (SELECT boot, start_ms, span_ms FROM readings ORDER BY boot DESC, start_ms DESC LIMIT 1000)",
)
"""Where the latest moment may stand. A thousand rows of readings are more than an hour of 60 tags,
and no row is longer than an hour."""


def load_boots(connection: sqlite3.Connection) -> list[Boot]:
    """All boots, oldest first."""
    found = connection.execute(
        "SELECT boot, name, boot_id, base FROM boots LEFT JOIN names ON id = board ORDER BY boot"
    )
    return [Boot(number, board or "", boot_id, base) for number, board, boot_id, base in found]


def load_offsets(connection: sqlite3.Connection) -> list[Offset]:
    """All offsets, in the order in which they were found."""
    found = connection.execute("SELECT boot, since, ahead, trusted FROM offsets ORDER BY id")
    return [Offset(boot, since, ahead, bool(trusted)) for boot, since, ahead, trusted in found]


def earlier_boot(connection: sqlite3.Connection) -> EarlierBoot | None:
    """The last boot and the latest moment of all that is stored; None in a new archive."""
    boots = load_boots(connection)
    if not boots:
        return None
    last = boots[-1]
    found = [connection.execute(query).fetchone() for query in LATEST]
    latest = max(
        ((elapsed, boot) for boot, elapsed in found if elapsed is not None),
        default=(last.base, last.number),
    )
    moment = Timeline(load_offsets(connection)).moment(latest[1], latest[0])
    return EarlierBoot(last.boot_id, last.base, moment)


def stand_in(utc: float) -> EarlierBoot:
    """For an archive that cannot be read now: watch time goes on from the wall clock.

    Its boots count from the minutes since 1970, far above any that were counted one by one.
    """
    return EarlierBoot("", 0.0, Moment(int(utc // 60.0), utc, utc, trusted=False))
