"""The day table for other programs: CSV and JSON lines. The form for people is in text.py.

Times are local, with their offset from UTC. Names of people and phone
numbers are in no form of it.
"""

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from io import StringIO
from zoneinfo import ZoneInfo

from monitor.archive import Reader
from monitor.record.gather import forces_of
from monitor.record.noted_show import more_figures
from monitor.record.rows import DayRow, EventOfDay, Gap, Measure, Missing, Temperature
from monitor.units import LITRE, Unit

HOUR, MINUTE = 3600.0, 60.0


@dataclass(frozen=True, slots=True)
class Site:
    """What a table needs to know of the place. units: of the temperature tags; base: C."""

    zone: ZoneInfo
    units: dict[str, Unit]
    base: float

    def local(self, utc: float) -> datetime:
        return datetime.fromtimestamp(utc, UTC).astimezone(self.zone)

    def clock(self, utc: float, day: DayRow) -> str:
        """HH:MM, with the date where it is another day."""
        local = self.local(round(utc))
        return f"{local:%H:%M}" if local.date() == day.day else f"{local:%d %b %H:%M}"

    def iso(self, utc: float | None) -> str | None:
        return None if utc is None else self.local(round(utc)).isoformat()


def site_of(reader: Reader, base: float) -> Site:
    """Zone of the set-up in force, and units of all that ever were; of two the later."""
    forces = forces_of(reader)
    tags = [tag for force in forces for tag in force.setup.rig.tags]
    units = {tag.id: tag.unit for tag in tags if tag.measures == "temperature"}
    return Site(forces[-1].setup.zone, units, base)


def _number(
    value: Measure, decimals: int, scale: float = 1.0, unit: Unit | None = None
) -> float | str:
    """A figure in the unit of its column, or the words that say why there is none."""
    if isinstance(value, Missing):
        return value.value
    shown = value / scale if unit is None else unit.from_si(value)
    return round(shown, decimals)


# CSV and JSON: one flat and one nested form of the same figures


def _water_figures(row: DayRow) -> dict[str, float | str]:
    water = row.water
    return {
        "turnovers": _number(water.turnovers, 3),
        "delivered_l": _number(water.delivered, 1, LITRE),
        "flow_seen_h": round(water.seen / HOUR, 3),
        "no_flow_outside_holds_min": _number(water.no_flow, 1, MINUTE),
        "no_flow_in_holds_min": _number(water.no_flow_in_holds, 1, MINUTE),
        "supply_lost_min": _number(water.supply_lost, 1, MINUTE),
        "mains_lost_min": _number(water.mains_lost, 1, MINUTE),
    }


def _temperature_figures(site: Site, found: Temperature) -> dict[str, float | str]:
    unit = site.units[found.tag]
    return {
        f"min_{unit.name}": _number(found.low, 2, unit=unit),
        f"mean_{unit.name}": _number(found.mean, 3, unit=unit),
        f"max_{unit.name}": _number(found.high, 2, unit=unit),
        "in_band_h": _number(found.in_band, 3, HOUR),
        "degree_days_C_d": _number(found.degree_days, 3),
        "seen_h": round(found.seen / HOUR, 3),
    }


def json_lines(site: Site, rows: Iterable[DayRow]) -> Iterator[str]:
    """One JSON object a day."""
    for row in rows:
        yield json.dumps(_document(site, row), ensure_ascii=False)


def _document(site: Site, row: DayRow) -> dict[str, object]:
    return {
        "run": row.run,
        "dph": row.dph,
        "date": row.day.isoformat(),
        "start": site.iso(row.span.start),
        "end": site.iso(row.span.end),
        "hours": row.length / HOUR,
        "degree_day_base_C": site.base,
        "water": {"by": row.water.by or Missing.NOT_MEASURED.value, **_water_figures(row)},
        "temperature": {found.tag: _temperature_figures(site, found) for found in row.temperatures},
        "coverage": {
            found.tag: {
                "share": round(found.seen / row.length, 5),
                "readings_due": found.due,
                "readings_got": found.got,
                "readings_unusable": found.unusable,
                "gaps": [_gap(site, gap) for gap in found.gaps],
            }
            for found in row.coverage
        },
        "events": [_event(site, event) for event in row.events],
        "texts_in_quiet_hours": row.night_texts,
        "texts_in_quiet_hours_not_sent": row.night_texts_failed,
        "more": more_figures(row),
        "notes": list(row.notes),
    }


def _gap(site: Site, gap: Gap) -> dict[str, object]:
    start, end = gap.span
    return {"start": site.iso(start), "end": site.iso(end), "reason": gap.reason}


def _event(site: Site, event: EventOfDay) -> dict[str, object]:
    return {
        "number": event.number,
        "grade": event.grade,
        "cause": event.cause,
        "first_sign": site.iso(event.first_sign),
        "taken": site.iso(event.taken),
        "on_site": site.iso(event.on_site),
        "flow_proven": site.iso(event.proven),
        "closed": site.iso(event.closed),
    }


def csv_lines(site: Site, rows: Iterable[DayRow]) -> Iterator[str]:
    """A line a day under one of headers with units; tags that came or went leave cells empty.

    All rows are looked at before the first line is given: the headers need every tag.
    """
    flat = [cells_of(site, row) for row in rows]
    headers = list(dict.fromkeys(key for cells in flat for key in cells))
    for cells in ([dict(zip(headers, headers, strict=True))] if headers else []) + flat:
        line = StringIO()
        csv.writer(line, lineterminator="").writerow(cells.get(header, "") for header in headers)
        yield line.getvalue()


def cells_of(site: Site, row: DayRow) -> dict[str, object]:
    """A day as one row: heading with its unit -> figure, or the words why there is none."""
    cells: dict[str, object] = {
        "run": row.run,
        "dph": row.dph,
        "date": row.day.isoformat(),
        "hours_h": row.length / HOUR,
        "flow_by": row.water.by or Missing.NOT_MEASURED.value,
        **_water_figures(row),
        "texts_in_quiet_hours": row.night_texts,
        "texts_in_quiet_hours_not_sent": row.night_texts_failed,
        "degree_day_base_C": site.base,
    }
    if not row.temperatures:
        cells["temperature"] = Missing.NOT_MEASURED.value
    for found in row.temperatures:
        for name, figure in _temperature_figures(site, found).items():
            cells[f"{found.tag}_{name}"] = figure
    cells["events"] = "; ".join(event_line(event, site.iso) for event in row.events)
    for seen in row.coverage:
        cells[f"{seen.tag}_coverage_%"] = round(100.0 * seen.seen / row.length, 2)
        cells[f"{seen.tag}_gaps"] = len(seen.gaps)
    cells |= more_figures(row)
    cells["notes"] = "; ".join(row.notes)
    return cells


def event_line(event: EventOfDay, time: Callable[[float], str | None]) -> str:
    """An event in one line, with the times it has."""
    times = {
        "taken": event.taken,
        "on site": event.on_site,
        "flow proven": event.proven,
        "closed": event.closed,
    }
    had = [f"{word} {time(at)}" for word, at in times.items() if at is not None]
    head = f"{event.number} {event.grade} {event.cause}, first sign {time(event.first_sign)}"
    return ", ".join([head, *had])
