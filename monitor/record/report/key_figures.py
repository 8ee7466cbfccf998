"""The figures of a run that people ask for first. Each says what it covers."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from monitor.record.curves import planned_turnovers
from monitor.record.material import Material
from monitor.record.rows import DayRow, Missing
from monitor.record.show import HOUR, MINUTE
from monitor.setup import GRADES
from monitor.units import LITRE

Cells = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fact:
    """A name and what is said of it."""

    name: str
    words: str


def numbers(values: Iterable[float | Missing]) -> list[float]:
    """Those that are figures."""
    return [value for value in values if not isinstance(value, Missing)]


def days_of(count: int) -> str:
    """1 day, 2 days."""
    return f"{count} day" if count == 1 else f"{count} days"


def key_figures(material: Material) -> Iterator[Fact]:
    """Water first, then warmth, events, and how much of the run was seen."""
    rows = material.rows
    yield from _water(material)
    yield from _warmth(rows)
    by_grade = {
        grade: sum(event.grade == grade for event in material.events) for grade in reversed(GRADES)
    }
    counted = ", ".join(f"{count} {grade}" for grade, count in by_grade.items() if count)
    yield Fact("Events", counted or "none")
    wakes = sum(row.night_texts for row in rows)
    nights = sum(row.night_texts > 0 for row in rows)
    yield Fact("Texts in quiet hours", f"{wakes} on {days_of(nights)}")
    seen = [seen.seen / row.length for row in rows for seen in row.coverage]
    if seen:
        yield Fact(
            "Seen", f"{100.0 * sum(seen) / len(seen):.1f} % of the time, mean of all sensors"
        )
    gaps = [gap.span.end - gap.span.start for row in rows for gap in row.unwatched]
    if gaps:
        yield Fact("Not seen at all", f"{sum(gaps) / HOUR:.1f} h in {len(gaps)} gaps, listed below")


def _water(material: Material) -> Iterator[Fact]:
    rows = material.rows
    delivered = numbers(row.water.turnovers for row in rows)
    if delivered:
        litres = sum(numbers(row.water.delivered for row in rows)) / LITRE
        seen = sum(row.water.seen for row in rows) / HOUR
        plan = sum(
            (planned_turnovers(material, row.span) or 0.0) * row.water.seen / row.length
            for row in rows
        )
        against = f"; the set flow without holds or stops: {plan:.1f}" if plan else ""
        yield Fact("Turnovers delivered", f"{sum(delivered):.1f} in {seen:.0f} h seen "
                   f"({litres:,.0f} litres){against}")  # fmt: skip
        yield Fact("Turnovers a day", f"{min(delivered):.2f} to {max(delivered):.2f}")
    else:
        yield Fact("Turnovers delivered", "not measured")
    stopped = numbers(row.water.no_flow for row in rows)
    if stopped:
        held = sum(numbers(row.water.no_flow_in_holds for row in rows)) / MINUTE
        worst = max(rows, key=lambda row: _or_nothing(row.water.no_flow))
        words = f"{sum(stopped) / MINUTE:.0f} min outside feeding holds"
        if _or_nothing(worst.water.no_flow):
            words += (
                f", most on dph {worst.dph} ({_or_nothing(worst.water.no_flow) / MINUTE:.0f} min)"
            )
        yield Fact("Without flow", f"{words}; {held:.0f} min within holds")
    else:
        yield Fact("Without flow", "not measured")


def _or_nothing(value: float | Missing) -> float:
    return 0.0 if isinstance(value, Missing) else value


def _warmth(rows: Iterable[DayRow]) -> Iterator[Fact]:
    tags: dict[str, list[DayRow]] = {}
    for row in rows:
        for found in row.temperatures:
            tags.setdefault(found.tag, []).append(row)
    for tag, days in tags.items():
        mine = [t for row in days for t in row.temperatures if t.tag == tag]
        lows, highs = numbers(t.low for t in mine), numbers(t.high for t in mine)
        seen = sum(t.seen for t in mine)
        if not lows or not seen:
            yield Fact(f"Temperature {tag}", "not observed")
            continue
        mean = sum(t.mean * t.seen for t in mine if not isinstance(t.mean, Missing)) / seen
        degree_days = sum(numbers(t.degree_days for t in mine))
        band = numbers(t.in_band for t in mine)
        inside = f"; in band {100.0 * sum(band) / seen:.1f} % of the time seen" if band else ""
        words = f"{min(lows):.2f} to {max(highs):.2f} C, mean {mean:.2f} C over {seen / HOUR:.0f} h"
        yield Fact(f"Temperature {tag}", f"{words}{inside}; {degree_days:.0f} degree-days")


def weeks(material: Material) -> tuple[Cells, tuple[Cells, ...], str]:
    """Head, rows and note: what each week of age brought."""
    found: dict[int, list[DayRow]] = {}
    for row in material.rows:
        found.setdefault(row.dph // 7, []).append(row)
    rows = []
    for week, days in sorted(found.items()):
        turnovers = numbers(day.water.turnovers for day in days)
        stopped = numbers(day.water.no_flow for day in days)
        warm = numbers(t.mean for day in days for t in day.temperatures[:1])
        rows.append((
            f"{week * 7} to {week * 7 + 6}",
            str(len(days)),
            f"{sum(turnovers) / len(turnovers):.2f}" if turnovers else "not measured",
            f"{sum(stopped) / MINUTE:.0f}" if stopped else "not measured",
            f"{sum(warm) / len(warm):.2f}" if warm else "not measured",
            str(sum(len(day.events) for day in days)),
        ))  # fmt: skip
    head = ("dph", "days", "turnovers a day", "without flow outside holds, min",
            "mean temperature, C", "events")  # fmt: skip
    return head, tuple(rows), "Days of the record only; means of the days, each weighing the same."
