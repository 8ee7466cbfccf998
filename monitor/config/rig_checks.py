"""What no single key of rig.toml shows: names that nothing bears, levels that contradict."""

from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from monitor.config import keys
from monitor.config.lines import Path
from monitor.config.models import LineRow, TagRow, VesselRow
from monitor.config.rig_sheet import EVERY, RigRows
from monitor.config.rows import refer
from monitor.config.sheet import Sheet, nearest, shown
from monitor.units import STATES, UNITS


def check_rig(rows: RigRows) -> None:
    """What no single key shows: names that nothing bears, levels that contradict each other."""
    sheet = rows.sheet
    if not sheet.is_there:
        return
    if rows.site is not None:
        _check_zone(sheet, rows.site.zone)
    _check_places(rows)
    if not rows.tag_ids:
        sheet.problem(("tag",), "is missing", "Add [[tag]] for each sensor, one at least")
    for path, vessel in rows.vessels:
        _check_vessel(sheet, path, vessel)
    for path, line in rows.lines:
        _check_line(rows, path, line)
    for path, raw in sheet.rows("tag"):
        places = [*rows.vessel_ids, *rows.line_ids, *rows.circuits]
        refer(sheet, (*path, "of"), raw.get("of"), places, "vessel, line or circuit of this rig")
        refer(sheet, (*path, "source"), raw.get("source"), sheet.ids("source"), "[[source]]")
        _check_unit(sheet, path, raw)
    for path, tag in rows.tags:
        _check_tag(rows, path, tag)


def _check_zone(sheet: Sheet, zone: str) -> None:
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        zones = sorted(available_timezones())
        remedy = nearest(zone, zones, "", other=f"Write {keys.SITE['zone'].help}")
        sheet.problem(("site", "zone"), f"{shown(zone)} is not a time zone", remedy)


def _check_places(rows: RigRows) -> None:
    """Vessels, lines and circuits share one space of names, since a tag names any of them."""
    sheet = rows.sheet
    seen = set(rows.vessel_ids)
    for at, name in enumerate(sheet.ids("line")):
        if name in seen:
            sheet.problem(("line", at, "id"), f"{shown(name)} is a vessel too", "Rename one")
    seen |= set(rows.line_ids)
    for at, name in enumerate(rows.circuits):
        if isinstance(name, str):
            if name in seen:
                wrong = f"{shown(name)} is named twice"
                sheet.problem(("site", "circuits", at), wrong, "Rename one")
            seen.add(name)


def _check_vessel(sheet: Sheet, path: Path, vessel: VesselRow) -> None:
    if vessel.lip_cm is not None and vessel.rim_cm is not None and vessel.lip_cm > vessel.rim_cm:
        wrong = f"the lip ({vessel.lip_cm:g} cm) lies above the rim ({vessel.rim_cm:g} cm)"
        sheet.problem((*path, "lip_cm"), wrong, "Measure both from the floor of the vessel")


def _check_line(rows: RigRows, path: Path, line: LineRow) -> None:
    sheet = rows.sheet
    for key in ("from_vessel", "to_vessel"):
        refer(sheet, (*path, key), getattr(line, key), rows.vessel_ids, "vessel of this rig")
    refer(sheet, (*path, "circuit"), line.circuit, rows.circuits, "circuit of [site] circuits")
    needed = {"siphon": ("from_vessel", "to_vessel"), "pump": ("to_vessel",)}.get(line.kind, ())
    for key in needed:
        if getattr(line, key) is None:
            remedy = f"Add {key}: {keys.LINE[key].help}"
            sheet.problem((*path, key), f"is missing, and a {line.kind} needs it", remedy)
    if line.from_vessel is not None and line.kind == "siphon":
        _check_break(rows, path, line)
    if (line.drain_flow_l_min is None) != (line.endurance_min is None):
        key = "drain_flow_l_min" if line.drain_flow_l_min is None else "endurance_min"
        wrong = "is missing: a drain test has a flow and an endurance"
        sheet.problem((*path, key), wrong, f"Add {key}: {keys.LINE[key].help}")
    if line.float_to_break_min is not None:
        if line.endurance_min is None:
            wrong, remedy = "belongs to a drain test", "Add drain_flow_l_min and endurance_min"
            sheet.problem((*path, "float_to_break_min"), wrong, remedy)
        elif line.float_to_break_min >= line.endurance_min:
            wrong = "is not shorter than endurance_min"
            remedy = "The float opens after the supply stops: measure again"
            sheet.problem((*path, "float_to_break_min"), wrong, remedy)


def _check_break(rows: RigRows, path: Path, line: LineRow) -> None:
    source = next((row for _, row in rows.vessels if row.id == line.from_vessel), None)
    if source is None or source.lip_cm is None:
        return
    if line.break_cm is not None and line.break_cm >= source.lip_cm:
        wrong = f"is not below the lip of {source.id} ({source.lip_cm:g} cm)"
        remedy = "Measure both from the floor of the header"
        rows.sheet.problem((*path, "break_cm"), wrong, remedy)
    if line.from_vessel == line.to_vessel:
        wrong = "is the vessel the siphon leaves"
        rows.sheet.problem((*path, "to_vessel"), wrong, "Name the vessel it enters")


def _check_unit(sheet: Sheet, path: Path, raw: dict[str, Any]) -> None:
    measures, unit = raw.get("measures"), raw.get("unit")
    if not isinstance(measures, str) or measures not in UNITS:
        return
    names = [item.name for item in UNITS[measures]]
    listed = " or ".join(f'"{name}"' for name in names)
    if unit is None and "" not in names:
        sheet.problem((*path, "unit"), "is missing", f"Write unit = {listed}")
    elif isinstance(unit, str) and unit not in names:
        remedy = f"Write unit = {listed}" if "" not in names else "Leave unit out"
        sheet.problem((*path, "unit"), f"{shown(unit)} is not a unit of {measures}", remedy)


def _check_tag(rows: RigRows, path: Path, tag: TagRow) -> None:
    sheet = rows.sheet
    if tag.gain == 0.0:
        wrong = "is 0, so that every reading would be the same"
        sheet.problem((*path, "gain"), wrong, "Write 1.0 where nothing is known")
    if tag.followed and tag.measures in STATES:
        wrong = f"is true, but {tag.measures} says only no or yes"
        sheet.problem((*path, "followed"), wrong, "Leave it out: its own limit tells it at once")
    every = tag.every_s or EVERY
    if tag.stale_s is not None and tag.stale_s <= every:
        wrong = f"is not longer than the {every:g} s between two readings"
        sheet.problem((*path, "stale_s"), wrong, "Write three times that at least")
    inner, outer = tag.usual_range, tag.sensor_range
    if inner and outer and (inner[0] < outer[0] or inner[-1] > outer[-1]):
        sheet.problem((*path, "usual_range"), "goes beyond sensor_range", "Correct one of them")
    if tag.spike and tag.spike[0] < 0:
        sheet.problem((*path, "spike"), "begins below 0", "Write two heights above 0")
    if tag.opens_at_cm is not None:
        _check_float(rows, path, tag)


def _check_float(rows: RigRows, path: Path, tag: TagRow) -> None:
    assert tag.opens_at_cm is not None
    here = (*path, "opens_at_cm")
    if tag.measures != "float":
        rows.sheet.problem(here, "belongs to a float", "Leave it out, or write measures = float")
    vessel = next((row for _, row in rows.vessels if row.id == tag.of), None)
    top = (vessel.lip_cm or vessel.rim_cm) if vessel is not None else None
    if top is not None and tag.opens_at_cm >= top:
        wrong = f"is not below the lip of {tag.of} ({top:g} cm)"
        rows.sheet.problem(here, wrong, "Measure from the floor of the vessel")
