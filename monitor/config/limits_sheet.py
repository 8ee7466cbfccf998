"""limits.toml: set flows, limits, delays and quiet hours."""

import math
from dataclasses import fields
from itertools import pairwise
from typing import Any

from monitor.config import keys
from monitor.config.flow_band import (
    PUMPED,
    SIPHON,
    check_band,
    flow_profile,
    limit_of_witness,
    limits_of_flow,
)
from monitor.config.lines import Path
from monitor.config.models import FlowRow, LimitRow, LimitsHead, TagRow
from monitor.config.profiles import EVER, Steps, at_dph, is_off, read_profile
from monitor.config.rig_sheet import MINUTE, RigRows
from monitor.config.rows import read_rows, refer, unique
from monitor.config.rules import check_row, is_number, seconds_of_day
from monitor.config.sheet import Sheet, nearest, shown
from monitor.setup import GRADES, Delays, Limit, LineFlow, Profile
from monitor.units import STATES, unit_of

BUILT_IN = (
    "outlet blocked",
    "overflow blocked",
    "header sinking",
    "header drains back",
    "meter doubtful",
    "flow doubtful",
    "leak",
    "sump falling",
    "sump filling",
    "supply lost", "siphon broken", "mains lost", "hold overrun", "sensor faulty", "sensor silent",
    "flow not seen", "record not kept", "watch faulty", "changed",
)  # fmt: skip
"""Conditions that the watch has without a limit."""
FLOW_CONDITIONS = ("flow low", "flow high", "flow far too low", "no flow")
REPEATS = ("repeat_call", "power_back_repeat", "ask_again")
"""Delays after which something is said again; they may not be shorter than a minute."""
LONGEST_DELAY = 7 * 86_400.0
_HEAD = ("quiet_hours", "owed_by")
_SIDES = {"low": -math.inf, "high": math.inf}


class LimitRows:
    """The checked rows of limits.toml, with the steps of their values in shown units."""

    def __init__(self, sheet: Sheet, rig: RigRows) -> None:
        sheet.check_top((*_HEAD, "delays", "flow", "limit"))
        self.sheet, self.rig = sheet, rig
        raw = {key: sheet.data[key] for key in _HEAD if key in sheet.data}
        self.head = check_row(sheet, (), raw, LimitsHead, keys.LIMITS_HEAD)
        self.delays = _delays(sheet)
        no_flow = (self.delays.get("no_flow") or Delays().no_flow) / MINUTE
        self.flows: list[tuple[Path, FlowRow, Steps]] = []
        self.limits: list[tuple[Path, LimitRow, Steps]] = []
        for path, flow in read_rows(sheet, "flow", FlowRow, keys.FLOW):
            steps = read_profile(sheet, (*path, "set_l_min"), flow.set_l_min, 0.0, 100_000.0)
            if flow.no_flow_after_min is None:
                flow.no_flow_after_min = no_flow
            if steps is not None:
                self.flows.append((path, flow, steps))
        for path, limit in read_rows(sheet, "limit", LimitRow, keys.LIMIT):
            steps = _value(sheet, path, limit)
            if steps is not None:
                self.limits.append((path, limit, steps))

    @property
    def has_urgent(self) -> bool:
        """Whether anything urgent can come of these limits."""
        limits = any(row.grade == "urgent" for _, row, _ in self.limits)
        return limits or any(row.far_too_low or row.no_flow for _, row, _ in self.flows)


def _value(sheet: Sheet, path: Path, row: LimitRow) -> Steps | None:
    """The steps of a limit: one value, or values by dph, but not both."""
    if (row.value is None) == (row.by_dph is None):
        if all(sheet.is_sound(*path, key) for key in ("value", "by_dph")):
            wrong = "is missing" if row.value is None else "stands beside by_dph"
            sheet.problem((*path, "value"), wrong, "Write either value or by_dph")
        return None
    if row.value is not None:
        return [(EVER, row.value)]
    off = _SIDES.get(row.side)
    return read_profile(sheet, (*path, "by_dph"), row.by_dph, -keys.LARGEST, keys.LARGEST, off)


def _delays(sheet: Sheet) -> dict[str, Any]:
    """[delays]: every delay of `Delays`, as name_s in seconds or name_min in minutes."""
    raw = sheet.data.get("delays", {})
    if not isinstance(raw, dict):
        sheet.problem(("delays",), f"is {shown(raw)}", "Write [delays] and its keys below it")
        return {}
    names = [item.name for item in fields(Delays)]
    found: dict[str, Any] = {}
    for key, value in raw.items():
        name, _, suffix = key.rpartition("_")
        if name not in names or suffix not in ("s", "min"):
            remedy = nearest(key, [f"{item}_s" for item in names], "Keys of [delays]")
            sheet.problem(("delays", key), "is not a key of [delays]", remedy)
        elif name in found:
            wrong = "is given in seconds and in minutes"
            sheet.problem(("delays", key), wrong, "Leave one of them out")
        else:
            found[name] = _delay(sheet, key, name, value, MINUTE if suffix == "min" else 1.0)
    return found


def _delay(sheet: Sheet, key: str, name: str, value: Any, factor: float) -> Any:
    is_list = isinstance(getattr(Delays(), name), tuple)
    items = value if isinstance(value, list) else [value]
    if is_list != isinstance(value, list) or not items or not all(map(is_number, items)):
        wanted = "a rising list of numbers" if is_list else "a number"
        sheet.problem(("delays", key), f"is {shown(value)}, not {wanted}", f"Write {wanted}")
        return None
    seconds = tuple(float(item) * factor for item in items)
    least = MINUTE if name in REPEATS else 1.0
    if not all(least <= item <= LONGEST_DELAY for item in seconds):
        wrong = f"is not between {least:g} s and {LONGEST_DELAY / 86_400:g} days"
        sheet.problem(("delays", key), wrong, "Correct the number, and look at its unit")
    elif any(later <= item for item, later in pairwise(seconds)):
        sheet.problem(("delays", key), "does not rise", "Count each from the first call")
    return seconds if is_list else seconds[0]


def check_limits(rows: LimitRows) -> None:
    """What no single key shows: tags that are not there, limits that contradict each other."""
    sheet, rig = rows.sheet, rows.rig
    if rows.head is not None and rows.head.quiet_hours is not None:
        start, *end = rows.head.quiet_hours
        if [start] == end:
            sheet.problem(("quiet_hours",), "begin when they end", "Write two different times")
    if rig.sheet.is_there:
        for path, raw in sheet.rows("flow"):
            refer(sheet, (*path, "line"), raw.get("line"), rig.line_ids, "line of rig.toml")
        for path, raw in sheet.rows("limit"):
            refer(sheet, (*path, "tag"), raw.get("tag"), rig.tag_ids, "tag of rig.toml")
    unique(sheet, "flow", "line")
    for path, flow, steps in rows.flows:
        _check_flow(rows, path, flow, steps)
    for path, row, steps in rows.limits:
        _check_limit(rows, path, row, steps)
    _check_names(rows)
    _check_order(rows)


def _check_flow(rows: LimitRows, path: Path, flow: FlowRow, steps: Steps) -> None:
    sheet, rig = rows.sheet, rows.rig
    check_band(sheet, path, flow, steps)
    is_metered = rig.has_tag("flow", flow.line)
    if flow.line in rig.line_ids and flow.known_by == "meter" and not is_metered:
        wrong = f"says meter, but no tag measures the flow of {flow.line}"
        remedy = 'Write how it is known: known_by = "bucket 17 Oct"'
        sheet.problem((*path, "known_by"), wrong, remedy)


def _check_limit(rows: LimitRows, path: Path, row: LimitRow, steps: Steps) -> None:
    sheet = rows.sheet
    if row.condition in BUILT_IN:
        wrong = "is a condition the watch has of itself"
        sheet.problem((*path, "condition"), wrong, "Give the limit another name")
    if row.grade in ("high", "urgent") and not row.first_action:
        wrong = f"is missing, and a text of grade {row.grade} must say what to do first"
        remedy = f"Add first_action: {keys.LIMIT['first_action'].help}"
        sheet.problem((*path, "first_action"), wrong, remedy)
    tag = rows.rig.tag(row.tag)
    if tag is None:
        return
    key = "value" if row.value is not None else "by_dph"
    reach = tag.sensor_range
    if tag.measures in STATES:
        reach = [0.0, 1.0]
    if reach is None or len(reach) != 2:
        return
    for _, value in steps:
        if not is_off(value) and not reach[0] < value < reach[1]:
            wrong = f"{shown(value)} is never passed: {row.tag} says {reach[0]:g} to {reach[1]:g}"
            sheet.problem((*path, key), wrong, "Look at the unit of the tag and its sensor_range")


def _check_names(rows: LimitRows) -> None:
    """Each limit makes one alarm, known by its condition, what it belongs to, and its step."""
    sheet, rig = rows.sheet, rows.rig
    seen: dict[tuple[str, str, str], tuple[Path, TagRow]] = {}
    flows = {row.line for _, row, _ in rows.flows}
    for path, row, _ in rows.limits:
        tag = rig.tag(row.tag)
        if tag is None:
            continue
        if row.condition in FLOW_CONDITIONS and tag.of in flows and not row.step:
            wrong = f"is made by [[flow]] for {tag.of}"
            sheet.problem((*path, "condition"), wrong, "Change it there, or add a step")
        place = (row.condition, tag.of, row.step)
        earlier = seen.setdefault(place, (path, tag))
        if earlier[0] != path and (earlier[1] is tag or earlier[1].measures != tag.measures):
            wrong = f"is there already, in line {sheet.line(earlier[0])}, with the same step"
            sheet.problem((*path, "condition"), wrong, "Give one of them another step")


def _check_order(rows: LimitRows) -> None:
    """Between low and high there must be room, and the worse limit must come later."""
    by_tag: dict[str, list[tuple[Path, LimitRow, Steps]]] = {}
    for item in rows.limits:
        by_tag.setdefault(item[1].tag, []).append(item)
    for items in by_tag.values():
        for at, (path, row, steps) in enumerate(items):
            for _, other, other_steps in items[:at]:
                wrong = _clash(row, steps, other, other_steps)
                if wrong:
                    key = "value" if row.value is not None else "by_dph"
                    remedy = "Change one of the two, or its grade"
                    rows.sheet.problem((*path, key), wrong, remedy)


def _clash(row: LimitRow, steps: Steps, other: LimitRow, other_steps: Steps) -> str:
    """What is wrong between two limits of one tag, at any age."""
    if row.grade not in GRADES or other.grade not in GRADES:
        return ""
    worse = GRADES.index(row.grade) - GRADES.index(other.grade)
    for dph in sorted({dph for dph, _ in (*steps, *other_steps)}):
        mine, its = at_dph(steps, dph), at_dph(other_steps, dph)
        if is_off(mine) or is_off(its):
            continue
        named = f"{other.condition} {other.step}".strip()
        if row.side != other.side:
            low, high = (mine, its) if row.side == "low" else (its, mine)
            if low >= high:
                return f"leaves no room between low and high: {named} is at {its:g}"
        elif row.condition == other.condition:
            further = (mine - its) * (1.0 if row.side == "high" else -1.0)
            if worse * further < 0:
                return f"comes in the wrong order: {named} ({other.grade}) is at {its:g}"
    return ""


def build_limits(rows: LimitRows) -> tuple[tuple[Limit, ...], tuple[LineFlow, ...]]:
    """Limits and set flows in SI units. Only once nothing at all is wrong."""
    limits: list[Limit] = []
    flows = []
    for _, flow, steps in rows.flows:
        limits += _flow_limits(rows.rig, flow, steps)
        flows.append(LineFlow(flow.line, flow_profile(flow, steps), flow.known_by))
    limits += [_limit(rows.rig, row, steps) for _, row, steps in rows.limits]
    return tuple(limits), tuple(flows)


def _flow_limits(rig: RigRows, flow: FlowRow, steps: Steps) -> list[Limit]:
    """On the first meter of the line; without a meter its witness still sees no flow."""
    meters = rig.tags_of("flow", flow.line)
    is_siphon = any(line.id == flow.line and line.kind == "siphon" for _, line in rig.lines)
    actions = SIPHON if is_siphon else PUMPED
    if meters:
        return limits_of_flow(flow, meters[0], steps, actions)
    witnesses = rig.tags_of("flow witness", flow.line) if flow.no_flow else []
    return [limit_of_witness(flow, tag, steps, actions) for tag in witnesses[:1]]


def _limit(rig: RigRows, row: LimitRow, steps: Steps) -> Limit:
    tag = rig.tag(row.tag)
    assert tag is not None
    unit = unit_of(tag.measures, tag.unit)
    return Limit(
        condition=row.condition,
        step=row.step,
        tag=row.tag,
        side=row.side,
        value=Profile(tuple((dph, unit.to_si(value)) for dph, value in steps)),
        grade=row.grade,
        on_delay=row.on_delay_s,
        off_delay=row.off_delay_s,
        deadband=unit.difference_to_si(row.deadband),
        held_off=row.held_off,
        latching=row.latching,
        first_action=row.first_action,
    )


def build_delays(rows: LimitRows) -> Delays:
    """The delays of the built-in conditions and of the call-out."""
    return Delays(**rows.delays)


def build_hours(rows: LimitRows) -> dict[str, Any]:
    """quiet and owed_by of a set-up, where the file says something."""
    head = rows.head
    found: dict[str, Any] = {}
    if head is not None and head.quiet_hours is not None:
        start, end = head.quiet_hours
        found["quiet"] = (seconds_of_day(start), seconds_of_day(end))
    if head is not None and head.owed_by is not None:
        found["owed_by"] = seconds_of_day(head.owed_by)
    return found
