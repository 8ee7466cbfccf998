"""The archive: what was read, what happened and what must last, in one SQLite file.

One `Writer` keeps it; any number of `Reader`s read it meanwhile. Tables and encodings are
described in docs/reference/archive.md, the reasons in docs/explanation/decisions/archive-*.md.
"""

from monitor.archive.reader import Reader
from monitor.archive.records import (
    Boot,
    Note,
    Offset,
    Opening,
    OutboxRow,
    Rollup,
    Series,
    SetupVersion,
)
from monitor.archive.work import Ticket
from monitor.archive.writer import Writer

__all__ = [
    "Boot",
    "Note",
    "Offset",
    "Opening",
    "OutboxRow",
    "Reader",
    "Rollup",
    "Series",
    "SetupVersion",
    "Ticket",
    "Writer",
]
