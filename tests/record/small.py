"""A small rig and plain readings of it, from which a day can be reckoned by hand."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from monitor.record.course import Chunk
from monitor.record.days import day_row
from monitor.record.frame import Force, Frame, Read
from monitor.record.rows import DayRow
from monitor.record.spans import Spans, local_day
from monitor.rig import Line, Rig, Tag, Vessel
from monitor.setup import Limit, LineFlow, Profile, Run, Setup
from monitor.units import L_PER_MIN, unit_of

TANK = Vessel("LT1", "larval tank", area=0.866, volume=0.720)
FLOW = Tag("QL", "flow", "S1", unit_of("flow"), "sim", every=60.0)
SUPPLY = Tag("QS", "flow", "P1", unit_of("flow"), "sim", every=60.0)
MAINS = Tag("MP", "mains", "B1", unit_of("mains"), "sim", every=60.0)
WITNESS = Tag("QW", "flow witness", "S1", unit_of("flow witness"), "sim", every=60.0)
WATER = Tag("TW1", "temperature", "LT1", unit_of("temperature"), "sim", every=60.0)
ROOM = Tag("TR", "temperature", "ROOM", unit_of("temperature"), "sim", every=60.0)

RIG = Rig(
    board="ostrel-1",
    id="OH",
    label="Ostrel",
    zone="America/Chicago",
    vessels=(TANK, Vessel("HD1", "header"), Vessel("SU1", "sump"), Vessel("ROOM", "room")),
    lines=(
        Line("S1", "siphon", source="HD1", target="LT1"),
        Line("P1", "pump", source="SU1", target="HD1", circuit="B1"),
    ),
    circuits=("B1",),
    tags=(FLOW, SUPPLY, MAINS, WATER, ROOM),
)


def warning(side: str, value: float) -> Limit:
    """The milder temperature limit of the tank on one side."""
    profile = Profile.constant(value)
    return Limit(f"temperature {side}", "warn", "TW1", side, profile, "notice", 120.0)


SETUP = Setup(
    version=1,
    rig=RIG,
    limits=(warning("low", 25.7), warning("high", 27.3)),
    flows=(LineFlow("S1", Profile.constant(6.0 * L_PER_MIN)),),
    run=Run("OH-07", "LT1", date(2026, 10, 6)),
)
ORDINARY = date(2026, 10, 27)
LONG = date(2026, 11, 1)
SHORT = date(2026, 3, 8)


def with_tags(*tags: Tag, setup: Setup = SETUP) -> Setup:
    """The small set-up on a rig that has these tags."""
    return replace(setup, rig=replace(setup.rig, tags=tags), worked_out={})


def frame_of(day: date, setup: Setup = SETUP, holds: Mapping[str, Spans] | None = None) -> Frame:
    """A day with one set-up in force all through."""
    span = local_day(setup.zone, day)
    assert setup.run is not None
    dph = (day - setup.run.hatch).days + setup.run.hatch_day
    return Frame(day, dph, span, (Force(span, setup),), dict(holds or {}))


def each_minute(frame: Frame, values: Iterable[tuple[float, float | None]]) -> Chunk:
    """The same as a chunk of any kind."""
    return readings_each_minute(frame, values)


def readings_each_minute(
    frame: Frame, values: Iterable[tuple[float, float | None]]
) -> tuple[list[float], list[float | None]]:
    """A reading a minute; values: (hours, value) one after the other; None for no reading."""
    at = frame.span.start
    times: list[float] = []
    readings: list[float | None] = []
    for hours, value in values:
        count = round(hours * 60.0)
        if value is not None:
            times += [at + 60.0 * minute for minute in range(count)]
            readings += [value] * count
        at += 60.0 * count
    return times, readings


def reader_of(chunks: Mapping[str, Chunk]) -> Read:
    """Gives the chunk of a tag; nothing for the others."""
    return lambda tag, cares: [chunks[tag.id]] if tag.id in chunks else []


def row_of(frame: Frame, **values: list[tuple[float, float | None]]) -> DayRow:
    """The row of a day from values by tag, one after the other."""
    chunks = {tag: each_minute(frame, given) for tag, given in values.items()}
    return day_row(frame, reader_of(chunks))
