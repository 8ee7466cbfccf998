"""run.toml: the run in the tank, the runs beside it, and the batches they were made of."""

from datetime import date
from zoneinfo import ZoneInfo

from monitor.config import keys
from monitor.config.lines import Path
from monitor.config.models import BatchRow, RunRow
from monitor.config.people_sheet import utc
from monitor.config.rig_sheet import RigRows
from monitor.config.rows import read_rows, refer
from monitor.config.rules import check_row, seconds_of_day
from monitor.config.sheet import Sheet, shown
from monitor.setup import Batch, Run

TABLES = ("other_run", "batch")


class RunRows:
    """The checked rows of run.toml; the first run is the one whose age the limits follow."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        head = {key: value for key, value in sheet.data.items() if key not in TABLES}
        row = check_row(sheet, (), head, RunRow, keys.RUN) if sheet.is_there else None
        self.runs: list[tuple[Path, RunRow]] = [] if row is None else [((), row)]
        self.runs += read_rows(sheet, "other_run", RunRow, keys.RUN)
        self.batches = read_rows(sheet, "batch", BatchRow, keys.BATCH)


def check_runs(sheet: Sheet, rig: RigRows, zone: ZoneInfo | None) -> RunRows:
    """Runs in vessels that are there and hold water, each in its own; times in order."""
    rows = RunRows(sheet)
    names = [row.id for _, row in rows.runs]
    for path, row in rows.runs:
        if names.count(row.id) > 1 and path:
            sheet.problem((*path, "id"), f"{shown(row.id)} is there already", "Give it another")
        _check_vessels(rows, path, row, rig)
        if zone is not None:
            _check_order(sheet, path, ("begun", row.begun), ("closed", row.closed), zone)
    for path, batch in rows.batches:
        if batch.run or len(names) > 1:
            refer(sheet, (*path, "run"), batch.run, names, "run of run.toml")
        if zone is not None:
            _check_order(sheet, path, ("stocked", batch.stocked), ("hatch", batch.hatch), zone)
    return rows


def _check_vessels(rows: RunRows, path: Path, row: RunRow, rig: RigRows) -> None:
    sheet = rows.sheet
    places: list[tuple[Path, str]] = [((*path, "tank"), row.tank)]
    places += [((*path, "also_in", at), name) for at, name in enumerate(row.also_in)]
    for place, name in places:
        if rig.sheet.is_there:
            refer(sheet, place, name, rig.vessel_ids, "vessel of rig.toml")
        if any(item.id == name and item.kind == "room" for _, item in rig.vessels):
            sheet.problem(place, f"{shown(name)} is a room", "Name the tank of the larvae")
        others = [other for _, other in rows.runs if other is not row and other.closed is None]
        taken = [other.id for other in others if name in (other.tank, *other.also_in)]
        if path and taken and row.closed is None:
            wrong = f"{shown(name)} holds the run {taken[0]} already"
            sheet.problem(place, wrong, "Close that run, or name another tank")


def _check_order(
    sheet: Sheet,
    path: Path,
    first: tuple[str, str | None],
    then: tuple[str, str | None],
    zone: ZoneInfo,
) -> None:
    """Complain of a time that lies before the one it follows."""
    (early, start), (late, end) = first, then
    if start is None or end is None:
        return
    if not all(sheet.is_sound(*path, key) for key in (early, late)):
        return
    if utc(end, zone) < utc(start, zone):
        sheet.problem((*path, late), f"{shown(end)} lies before {early}", "Correct one of them")


def build_runs(rows: RunRows, zone: ZoneInfo) -> tuple[Run, ...]:
    """The runs with times in UTC, the leading one first. Only once nothing at all is wrong."""
    return tuple(_run(row, rows, zone) for _, row in rows.runs)


def _run(row: RunRow, rows: RunRows, zone: ZoneInfo) -> Run:
    return Run(
        row.id,
        row.tank,
        date.fromisoformat(row.hatch),
        row.watch_set,
        row.hatch_day,
        seconds_of_day(row.day_begins),
        tuple(row.also_in),
        _utc(row.begun, zone),
        _utc(row.closed, zone),
        tuple(_batch(item, zone) for _, item in rows.batches if item.run in ("", row.id)),
        row.protocol,
        row.animals_approved,
        (seconds_of_day(row.lights[0]), seconds_of_day(row.lights[1])) if row.lights else None,
    )


def _batch(row: BatchRow, zone: ZoneInfo) -> Batch:
    stocked, hatch = _utc(row.stocked, zone), _utc(row.hatch, zone)
    return Batch(row.id, row.source, stocked, hatch, row.eggs, row.hatched)


def _utc(text: str | None, zone: ZoneInfo) -> float | None:
    return None if text is None else utc(text, zone)
