"""Sheets to print, from the same data as the watch: limits, duty, daily round, handover, tests."""

from monitor.record.sheets.make import Now, sheets_of, write_sheets

__all__ = ["Now", "sheets_of", "write_sheets"]
