"""The report on a run: one HTML file that holds all of it, and its figures as files."""

from monitor.record.report.content import Report, report_of
from monitor.record.report.pages import html_of, write_figures

__all__ = ["Report", "html_of", "report_of", "write_figures"]
