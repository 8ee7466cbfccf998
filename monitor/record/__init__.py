"""The record of a run as people read it, made from the archive: the day table.

`day_table` gives the rows; `text_lines`, `csv_lines` and `json_lines` show them. What each column
means and what it cannot say: docs/reference/day-table.md.
"""

from monitor.record.gather import Wish, day_count, day_table
from monitor.record.rows import DayRow, Missing
from monitor.record.show import Site, csv_lines, json_lines, site_of
from monitor.record.text import text_lines

__all__ = [
    "DayRow",
    "Missing",
    "Site",
    "Wish",
    "csv_lines",
    "day_count",
    "day_table",
    "json_lines",
    "site_of",
    "text_lines",
]
