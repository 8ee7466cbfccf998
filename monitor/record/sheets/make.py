"""All sheets of a rig, and how they become files."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monitor.errors import HoldwaterError
from monitor.logic.state import Durable, fresh
from monitor.record.files import write_new
from monitor.record.report.pages import environment
from monitor.record.sheets.duty import duty_sheet
from monitor.record.sheets.handover import Last, handover_sheet
from monitor.record.sheets.limits import limits_sheet
from monitor.record.sheets.paper import Place, Sheet
from monitor.record.sheets.rounds import round_sheet
from monitor.record.sheets.testlog import log_sheet
from monitor.setup import Setup

TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True)
class Now:
    """How things stand. utc: now. ahead: UTC less watch time. last: readings of the last day."""

    utc: float
    ahead: float = 0.0
    durable: Durable = field(default_factory=fresh)
    last: Mapping[str, Last] = field(default_factory=dict)


def sheets_of(setup: Setup, now: Now, with_numbers: bool = False) -> list[Sheet]:
    """The five sheets, in the order in which they are needed."""
    place = Place(setup, now.utc)
    return [
        limits_sheet(place),
        duty_sheet(place, now.durable, with_numbers),
        round_sheet(place),
        handover_sheet(place, now.durable, now.last, now.ahead),
        log_sheet(place),
    ]


def write_sheets(sheets: list[Sheet], folder: Path, again: bool) -> list[Path]:
    """One HTML file each. again: those of an earlier time are replaced, nothing else is."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        template = environment(TEMPLATES).get_template("sheet.html")
        paths = []
        for sheet in sheets:
            path = folder / f"{sheet.name}.html"
            if again and path.is_file() and MARK in path.read_text("utf-8", errors="replace"):
                path.unlink()
            paths.append(write_new(path, template.render(sheet=sheet, mark=MARK)))
    except OSError as error:
        raise HoldwaterError(f"{error.filename}: cannot be written ({error.strerror})") from error
    return paths


MARK = "holdwater sheet"
"""Stands in every sheet, so that only sheets are ever replaced."""
