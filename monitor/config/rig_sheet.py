"""rig.toml: the installation, and the sources its readings come from."""

from collections.abc import Collection

from monitor.config import keys
from monitor.config.models import LineRow, SiteRow, TagRow, VesselRow
from monitor.config.rows import options, read_rows, services
from monitor.config.rules import check_row
from monitor.config.sheet import Sheet
from monitor.rig import DrainTest, Line, Rig, Tag, Vessel
from monitor.setup import SourceSetup
from monitor.units import L_PER_MIN, LITRE, Unit, unit_of

CM, MM, MINUTE = 1e-2, 1e-3, 60.0
EVERY = 10.0
"""Seconds between two readings where nothing is said (common practice for slow water)."""
STALE, STALE_TEMPERATURE = 60.0, 300.0
"""Silence after which a tag counts as silent, s: 60, temperature 300, and never under three
readings (common practice, no source)."""
STALE_BY_HAND = 86_400.0
"""For how long a value that a person entered stands for the water where nothing is said, s (common
practice: a daily round; no source)."""


class RigRows:
    """The checked rows of rig.toml. Names count as known even where their row is wrong."""

    def __init__(self, sheet: Sheet, secrets: Collection[str] | None) -> None:
        sheet.check_top(("site", "vessel", "line", "source", "tag"))
        self.sheet = sheet
        self.site = _site(sheet)
        self.vessels = read_rows(sheet, "vessel", VesselRow, keys.VESSEL)
        self.lines = read_rows(sheet, "line", LineRow, keys.LINE)
        self.tags = read_rows(sheet, "tag", TagRow, keys.TAG)
        self.sources = services(sheet, "source", keys.SOURCE, secrets)
        site = sheet.data.get("site")
        circuits = site.get("circuits") if isinstance(site, dict) else None
        self.circuits = circuits if isinstance(circuits, list) else []
        self.vessel_ids, self.line_ids = sheet.ids("vessel"), sheet.ids("line")
        self.tag_ids = sheet.ids("tag")

    def tag(self, name: str) -> TagRow | None:
        return next((row for _, row in self.tags if row.id == name), None)

    def has_tag(self, measures: str, place: str) -> bool:
        """Whether some row, right or wrong, means to measure this there."""
        wanted = (measures, place)
        rows = self.sheet.rows("tag")
        return any((raw.get("measures"), raw.get("of")) == wanted for _, raw in rows)

    def tags_of(self, measures: str, place: str) -> list[TagRow]:
        return [row for _, row in self.tags if (row.measures, row.of) == (measures, place)]


def _site(sheet: Sheet) -> SiteRow | None:
    raw = sheet.data.get("site")
    if not sheet.is_there:
        return None
    if not isinstance(raw, dict):
        wrong = "is missing" if raw is None else "is not a table"
        sheet.problem(("site",), wrong, "Add [site] with board, rig, label and zone")
        return None
    return check_row(sheet, ("site",), raw, SiteRow, keys.SITE)


def build_rig(rows: RigRows) -> Rig:
    """The rig in SI units. Only once nothing at all is wrong."""
    site = rows.site
    assert site is not None
    by_hand = {row.id for _, row in rows.sources if row.kind == "manual"}
    return Rig(
        board=site.board,
        id=site.rig,
        label=site.label,
        zone=site.zone,
        vessels=tuple(_vessel(row) for _, row in rows.vessels),
        lines=tuple(_line(row) for _, row in rows.lines),
        circuits=tuple(site.circuits),
        tags=tuple(_tag(row, row.source in by_hand) for _, row in rows.tags),
    )


def build_sources(rows: RigRows) -> tuple[SourceSetup, ...]:
    """Where the readings come from."""
    return tuple(SourceSetup(row.id, row.kind, options(row)) for _, row in rows.sources)


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _vessel(row: VesselRow) -> Vessel:
    return Vessel(
        row.id,
        row.kind,
        area=row.area_m2,
        lip=_times(row.lip_cm, CM),
        rim=_times(row.rim_cm, CM),
        volume=_times(row.volume_l, LITRE),
    )


def _line(row: LineRow) -> Line:
    test = None
    if row.drain_flow_l_min is not None and row.endurance_min is not None:
        float_to_break = _times(row.float_to_break_min, MINUTE)
        test = DrainTest(
            row.drain_flow_l_min * L_PER_MIN, row.endurance_min * MINUTE, float_to_break
        )
    return Line(
        row.id,
        row.kind,
        source=row.from_vessel,
        target=row.to_vessel,
        bore=_times(row.bore_mm, MM),
        head=row.head_m,
        break_level=_times(row.break_cm, CM),
        pump_flow=_times(row.pump_l_min, L_PER_MIN),
        mouth=_times(row.mouth_cm, CM),
        circuit=row.circuit,
        drain_test=test,
    )


def _tag(row: TagRow, is_by_hand: bool) -> Tag:
    unit = unit_of(row.measures, row.unit)
    every = row.every_s or EVERY
    if is_by_hand:
        stale = row.stale_s or row.every_s or STALE_BY_HAND
    else:
        stale = row.stale_s or max(_usual_stale(row), 3.0 * every)
    given = {
        "address": row.address,
        "gain": row.gain,
        "zero": row.zero,
        "calibration": row.calibration,
        "quantum": row.quantum,
        "sensor_range": _range(unit, row.sensor_range),
        "usual_range": _range(unit, row.usual_range),
        "max_step": _times(row.max_step, unit.scale),
        "max_rate": _times(row.max_rate_per_s, unit.scale),
        "spike": tuple(unit.difference_to_si(item) for item in row.spike or ()) or None,
        "flat_after": _times(row.flat_after_min, MINUTE),
        "start_up_values": tuple(row.start_up_values or ()),
        "median": row.median,
        "height": _times(row.opens_at_cm, CM),
        "followed": row.followed,
    }
    return Tag(
        row.id,
        row.measures,
        row.of,
        unit,
        row.source,
        every=every,
        stale=stale,
        is_owed=not is_by_hand or bool(row.every_s or row.stale_s),
        **{key: value for key, value in given.items() if value is not None},  # type: ignore[arg-type]
    )


def _usual_stale(row: TagRow) -> float:
    return STALE_TEMPERATURE if row.measures == "temperature" else STALE


def _range(unit: Unit, pair: list[float] | None) -> tuple[float, float] | None:
    return None if pair is None else (unit.to_si(pair[0]), unit.to_si(pair[1]))
