"""What stands in the report, put together from the material of a run. No HTML here."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import groupby, pairwise
from math import isfinite

from monitor import __version__
from monitor.config import load_texts
from monitor.logic.plan import plan_of
from monitor.logic.quiet import in_quiet_hours
from monitor.record.curves import run_figures
from monitor.record.figures import Figure
from monitor.record.material import Material, Told
from monitor.record.privacy import Veil
from monitor.record.report.events import EventPage, event_pages
from monitor.record.report.key_figures import Fact, key_figures, weeks
from monitor.record.report.lived import Cells, Table, as_lived, as_plan
from monitor.record.report.noted import noted_facts, noted_table
from monitor.record.review import HEAD, review, table
from monitor.record.rows import DayRow, Missing
from monitor.record.show import HOUR, MINUTE
from monitor.rig import Tag
from monitor.setup import Limit, Setup
from monitor.units import LITRE, STATES


@dataclass(frozen=True, slots=True)
class Report:
    """All parts of the report in the order in which they stand."""

    title: str
    about: tuple[Fact, ...]
    key: tuple[Fact, ...]
    noted: tuple[Fact, ...]
    weeks: Table
    lived: Table
    plan: tuple[str, ...]
    figures: tuple[Figure, ...]
    days: Table
    written: Table
    gaps: Table
    review: Table
    alarms: Table
    events: tuple[EventPage, ...]
    limits: Table
    changes: Table
    sensors: Table
    files: Table


def report_of(material: Material, veil: Veil, told: Told = lambda _: None) -> Report:
    """Put the report together. told: hears what is being done."""
    told("curves")
    figures = tuple(run_figures(material))
    told("events")
    pages = tuple(event_pages(material, veil, told))
    rig = material.setup.rig
    return Report(
        title=veil.text(f"Run {material.run}, {rig.label}"),
        about=tuple(_about(material, veil)),
        key=tuple(key_figures(material)),
        noted=tuple(noted_facts(material, veil)),
        weeks=Table(*weeks(material)),
        lived=as_lived(material),
        plan=tuple(as_plan(material)),
        figures=figures,
        days=_days(material),
        written=Table(*noted_table(material, veil)),
        gaps=_gaps(material),
        review=_review(material, pages),
        alarms=_alarms(material, veil),
        events=pages,
        limits=_limits(material.setup),
        changes=_changes(material, veil),
        sensors=_sensors(material),
        files=_files(material, veil),
    )


def _about(material: Material, veil: Veil) -> Iterator[Fact]:
    run, rig = material.setup.run, material.setup.rig
    assert run is not None
    first, last = material.rows[0], material.rows[-1]
    volume = rig.vessel[run.tank].volume
    yield Fact("Tank", run.tank + (f", {volume / LITRE:.0f} litres" if volume else ""))
    words = f"{first.day:%d %b %Y} to {last.day:%d %b %Y}, dph {first.dph} to {last.dph}"
    if len(material.rows) == 1:
        words = f"{first.day:%d %b %Y}, dph {first.dph} only"
    yield Fact("Record", words)
    yield Fact("Reference hatch", f"{run.hatch:%d %b %Y} is dph {run.hatch_day}; dph is counted "
               "in local dates")  # fmt: skip
    yield Fact("Times", f"local, {rig.zone}")
    yield Fact("Program", f"holdwater {__version__}")
    reason = material.versions[-1].reason if material.versions else ""
    yield Fact("Set-up", f"version {material.setup.version} ({veil.text(reason)})")


def _days(material: Material) -> Table:
    head = ("dph", "date", "turn-overs", "litres", "no flow, min", "in holds, min",
            "mains off, min", "least C", "mean C", "highest C", "in band, h", "degree-days",
            "night texts", "seen, %", "events")  # fmt: skip
    rows = tuple(_day(material, row) for row in material.rows)
    tags = {t.tag for row in material.rows for t in row.temperatures[:1]}
    note = (
        f"Temperature by {', '.join(sorted(tags)) or 'no tag'}. Degree-days over "
        f"{material.site.base:g} C. Seen: mean share of the day over all sensors. A dash: not "
        "measured, not observed, or no limit to judge by."
    )
    return Table(head, rows, note)


def _day(material: Material, row: DayRow) -> Cells:
    water = row.water
    warm = row.temperatures[0] if row.temperatures else None
    shares = [seen.seen / row.length for seen in row.coverage]
    date = f"{row.day:%a %d %b}" + ("" if row.length == 86_400.0 else f" ({row.length / HOUR:g} h)")
    return (
        str(row.dph),
        date,
        _cell(water.turnovers, 2),
        _cell(water.delivered, 0, LITRE),
        _cell(water.no_flow, 0, MINUTE),
        _cell(water.no_flow_in_holds, 0, MINUTE),
        _cell(water.mains_lost, 0, MINUTE),
        *(_cell(value, 2) for value in ((warm.low, warm.mean, warm.high) if warm else ())),
        *(() if warm else ("-", "-", "-")),
        _cell(warm.in_band, 1, HOUR) if warm else "-",
        _cell(warm.degree_days, 1) if warm else "-",
        str(row.night_texts),
        f"{100.0 * sum(shares) / len(shares):.0f}" if shares else "-",
        " ".join(str(event.number) for event in row.events),
    )


def _cell(value: float | Missing, decimals: int, scale: float = 1.0) -> str:
    return "-" if isinstance(value, Missing) else f"{value / scale:.{decimals}f}"


def _gaps(material: Material) -> Table:
    """Times in which nothing was seen at all, with the reason."""
    rows = []
    for row in material.rows:
        for gap in row.unwatched:
            begin, end = (material.site.clock(at, row) for at in gap.span)
            minutes = (gap.span.end - gap.span.start) / MINUTE
            rows.append((str(row.dph), f"{row.day:%a %d %b}", f"{begin} to {end}",
                         f"{minutes:.0f}", gap.reason))  # fmt: skip
    return Table(("dph", "date", "from, to", "min", "why"), tuple(rows))


def _review(material: Material, pages: Sequence[EventPage]) -> Table:
    """Causes of events: how often, how graded, who was woken, and how long things took."""
    rows = []
    for cause, group in groupby(sorted(pages, key=lambda p: p.cause), lambda p: p.cause):
        found = list(group)
        rows.append((
            cause,
            str(len(found)),
            ", ".join(sorted({page.grade for page in found})),
            str(sum(page.texts for page in found)),
            str(sum(page.taken is not None for page in found)),
            _median([page.taken for page in found]),
            _median([page.on_site for page in found]),
            _median([page.proven for page in found]),
        ))  # fmt: skip
    nights = sum(row.night_texts for row in material.rows)
    head = ("cause", "events", "grades", "texts", "taken by somebody", "to taken, min",
            "to on site, min", "to flow proven, min")  # fmt: skip
    note = f"Medians, from the first sign. Texts in quiet hours over the run: {nights}."
    return Table(head, tuple(rows), note)


def _alarms(material: Material, veil: Veil) -> Table:
    """Alarm by alarm: how often it came, whether anybody did something, and a proposed cure."""
    setup = material.setup
    found = review(material.journal, lambda utc: in_quiet_hours(setup, utc))
    return Table(HEAD, tuple(tuple(veil.text(word) for word in row) for row in table(found)))


def _median(values: Sequence[float | None]) -> str:
    there = sorted(value for value in values if value is not None)
    if not there:
        return "-"
    middle = len(there) // 2
    value = there[middle] if len(there) % 2 else (there[middle - 1] + there[middle]) / 2
    return f"{value / MINUTE:.0f}"


def _limits(setup: Setup) -> Table:
    rows = tuple(
        (
            " ".join(filter(None, (limit.condition, limit.step))),
            limit.tag,
            _when(setup.rig.tag[limit.tag], limit),
            values_of(setup.rig.tag[limit.tag], limit),
            limit.grade,
            f"{limit.on_delay:g} s",
        )
        for limit in setup.limits
    )
    return Table(("condition", "tag", "when", "value", "grade", "after"), rows)


def values_of(tag: Tag, limit: Limit) -> str:
    """The value of a limit as people read it, step by step where it goes by age."""
    if tag.measures in STATES:
        return STATES[tag.measures][limit.side == "high"]
    steps = limit.value.steps
    if len(steps) == 1:
        return tag.unit.show(steps[0][1])
    parts = [
        f"{f'{tag.unit.from_si(value):g}' if isfinite(value) else 'off'} from dph {first}"
        for first, value in steps
    ]
    return f"{tag.unit.name}: {', '.join(parts)}"


def _when(tag: Tag, limit: Limit) -> str:
    if tag.measures in STATES:
        return "is"
    return "above" if limit.side == "high" else "below"


def _changes(material: Material, veil: Veil) -> Table:
    """What each later version of the set-up changed in the limits, with who and why."""
    rows = []
    setups = [load_texts(v.files, v.version) for v in material.versions]
    for (before, after), version in zip(pairwise(setups), material.versions[1:], strict=True):
        lines = list(limit_changes(before, after)) or ["limits unchanged"]
        at = material.site.local(version.moment.utc)
        rows.append((str(version.version), f"{at:%d %b %H:%M}", veil.who(version.who),
                     veil.text(version.reason), "; ".join(lines)))  # fmt: skip
    return Table(("version", "from", "by", "reason", "change"), tuple(rows))


def limit_changes(before: Setup, after: Setup) -> Iterator[str]:
    """The limits that differ between two set-ups, in words."""
    old, new = ({_key(limit): limit for limit in setup.limits} for setup in (before, after))
    for key in dict.fromkeys((*old, *new)):
        one, other = old.get(key), new.get(key)
        words = " ".join(filter(None, key))
        if one is None or other is None:
            yield f"{words}: {'new' if one is None else 'taken out'}"
        elif one != other:
            yield f"{words}: {_shown(before, one)} -> {_shown(after, other)}"


def _key(limit: Limit) -> Cells:
    return limit.condition, limit.step, limit.tag, limit.side


def _shown(setup: Setup, limit: Limit) -> str:
    tag = setup.rig.tag[limit.tag]
    return f"{values_of(tag, limit)}, {limit.grade}, after {limit.on_delay:g} s"


def _sensors(material: Material) -> Table:
    rows = []
    length = sum(row.length for row in material.rows)
    for tag in material.tags:
        mine = [seen for row in material.rows for seen in row.coverage if seen.tag == tag.id]
        scales = {
            f"v{t.calibration}: x{t.gain:g} {t.zero:+g}"
            for force in material.forces for t in force.setup.rig.tags if t.id == tag.id
        }  # fmt: skip
        rows.append((tag.id, f"{tag.measures} of {tag.of}", f"{tag.every:g} s", tag.source,
                     ", ".join(sorted(scales)), str(sum(seen.got for seen in mine)),
                     str(sum(seen.unusable for seen in mine)),
                     f"{100.0 * sum(seen.seen for seen in mine) / length:.1f}"))  # fmt: skip
    conditions = len(plan_of(material.setup).specs)
    note = (
        "Calibration: shown = raw x gain + zero, by version. Checks against a reference before and "
        f"after the run are not in the record. The watch judged {conditions} conditions."
    )
    head = ("tag", "measures", "every", "source", "calibration", "readings used", "not usable",
            "seen, %")  # fmt: skip
    return Table(head, tuple(rows), note)


def _files(material: Material, veil: Veil) -> Table:
    rows = tuple(
        (str(version.version), f"{material.site.local(version.moment.utc):%d %b %Y %H:%M}",
         veil.text(name), sha256(text.encode()).hexdigest())
        for version in material.versions
        for name, text in sorted(version.files.items())
    )  # fmt: skip
    return Table(("version", "in force from", "file", "SHA-256"), rows)
