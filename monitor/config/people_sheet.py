"""duty.toml and channels.toml: who is called, and by which way."""

from collections.abc import Collection
from datetime import UTC
from typing import Any
from zoneinfo import ZoneInfo

from monitor.config import keys
from monitor.config.lines import Path
from monitor.config.models import ChannelsHead, DutyHead, PersonRow, TurnRow, WeekRow
from monitor.config.rig_sheet import MINUTE
from monitor.config.rows import options, read_rows, refer, services
from monitor.config.rules import WEEK_DAYS, check_row, plain_phone, read_local, seconds_of_day
from monitor.config.sheet import Sheet, shown
from monitor.config.week_sheet import check_week, week_turns
from monitor.setup import Channel, Duty, DutyTurn, Person

_HEAD = tuple(keys.DUTY_HEAD)


class PeopleRows:
    """The checked rows of duty.toml and channels.toml."""

    def __init__(self, duty: Sheet, channels: Sheet, secrets: Collection[str] | None) -> None:
        duty.check_top((*_HEAD, "person", "turn", "week"))
        channels.check_top((*keys.CHANNELS_HEAD, "channel"))
        head = {key: channels.data[key] for key in keys.CHANNELS_HEAD if key in channels.data}
        self.ways = check_row(channels, (), head, ChannelsHead, keys.CHANNELS_HEAD)
        self.duty, self.channels_sheet = duty, channels
        self.channels = services(channels, "channel", keys.CHANNEL, secrets)
        raw = {key: duty.data[key] for key in _HEAD if key in duty.data}
        self.head = check_row(duty, (), raw, DutyHead, keys.DUTY_HEAD) if duty.is_there else None
        self.people = read_rows(duty, "person", PersonRow, keys.PERSON)
        self.turns = read_rows(duty, "turn", TurnRow, keys.TURN)
        self.week = read_rows(duty, "week", WeekRow, keys.WEEK)
        self.person_ids = duty.ids("person")

    @property
    def standing(self) -> list[str]:
        """The order when no turn applies; empty where there is none."""
        return (self.head.standing or []) if self.head is not None else []

    @property
    def called(self) -> set[str]:
        """Everybody who may be called."""
        orders = [self.standing, *(row.order for _, row in (*self.turns, *self.week))]
        return {name for order in orders for name in order}


def check_people(rows: PeopleRows, zone: ZoneInfo | None, has_urgent: bool) -> None:
    """People who cannot be reached, nights that have nobody, turns that overlap."""
    if rows.head is not None:
        if rows.head.standing is not None:
            _check_order(rows, ("standing",), rows.head.standing)
        if rows.head.manager is not None:
            there = "[[person]] of duty.toml"
            refer(rows.duty, ("manager",), rows.head.manager, rows.person_ids, there)
    for path, row in (*rows.turns, *rows.week):
        _check_order(rows, (*path, "order"), row.order)
    kinds = {row.id: row.kind for _, row in rows.channels}
    for path, person in rows.people:
        _check_person(rows, path, person, kinds)
    for path, order in _orders(rows) if has_urgent else ():
        _check_reached(rows, path, order)
    check_week(rows.duty, rows.week, rows.head is not None and rows.head.standing is None)
    if zone is not None:
        _check_turns(rows, zone)


def _orders(rows: PeopleRows) -> list[tuple[Path, list[str]]]:
    """Every order of the list, and where it stands."""
    dated = [((*path, "order"), row.order) for path, row in (*rows.turns, *rows.week)]
    return [(("standing",), rows.standing), *dated]


def _check_order(rows: PeopleRows, path: Path, order: list[str]) -> None:
    duty = rows.duty
    if not order:
        duty.problem(path, "is empty, so that nobody would be called", "Name one person at least")
    if len(set(order)) < len(order):
        duty.problem(path, "names somebody twice", "Name each person once")
    for at, name in enumerate(order):
        refer(duty, (*path, at), name, rows.person_ids, "[[person]] of duty.toml")


def _check_person(rows: PeopleRows, path: Path, person: PersonRow, kinds: dict[str, str]) -> None:
    duty = rows.duty
    for at, name in enumerate(person.channels):
        if rows.channels_sheet.is_there:
            known = rows.channels_sheet.ids("channel")
            refer(duty, (*path, "channels", at), name, known, "[[channel]] of channels.toml")
        if kinds.get(name) in keys.CARRIES_NO_TEXT:
            wrong = f"{shown(name)} carries no texts"
            duty.problem((*path, "channels", at), wrong, "Name a channel that does")
        need = keys.ADDRESS_FOR.get(kinds.get(name, ""))
        if need and not getattr(person, need) and duty.is_sound(*path, need):
            wrong = f"is missing, and channel {name} needs it"
            duty.problem((*path, need), wrong, f"Add {need}: {keys.PERSON[need].help}")
    for key in ("channels", "bed_to_door_min") if person.id in rows.called else ():
        if not getattr(person, key) and duty.is_sound(*path, key):
            is_there = getattr(person, key) is not None and key in person.model_fields_set
            said = "is empty" if is_there else "is missing"
            wrong = f"{said}, and this person is on the duty list"
            duty.problem((*path, key), wrong, f"Add {key}: {keys.PERSON[key].help}")


def _check_reached(rows: PeopleRows, path: Path, order: list[str]) -> None:
    """Urgent things can happen at any hour: every order has to reach somebody."""
    reached = {row.id for _, row in rows.people if row.channels}
    are_known = all(name in rows.person_ids for name in order)
    if order and are_known and not reached.intersection(order):
        wrong = "reaches nobody, and limits.toml has urgent limits"
        rows.duty.problem(path, wrong, "Give one of these people a channel")


def _check_turns(rows: PeopleRows, zone: ZoneInfo) -> None:
    duty = rows.duty
    spans = []
    for path, row in rows.turns:
        if all(duty.is_sound(*path, key) for key in ("start", "end")):
            start, end = utc(row.start, zone), utc(row.end, zone)
            if end <= start:
                wrong = f"{shown(row.end)} does not come after the start {shown(row.start)}"
                duty.problem((*path, "end"), wrong, "Correct one of them")
            else:
                spans.append((start, end, path))
    spans.sort()
    latest = spans[0] if spans else None
    for span in spans[1:]:
        assert latest is not None
        if span[0] < latest[1]:
            wrong = f"overlaps the turn in line {duty.line(latest[2])}"
            duty.problem((*span[2], "start"), wrong, "Let one begin when the other ends")
        latest = max(latest, span, key=lambda item: item[1])


def utc(text: str, zone: ZoneInfo) -> float:
    """UTC seconds of a site time.

    A time that occurs twice is its first; one that does not exist is read with the offset before
    the gap (RFC 5545, section 3.3.5).
    """
    return read_local(text).replace(tzinfo=zone).astimezone(UTC).timestamp()


def build_duty(rows: PeopleRows, zone: ZoneInfo) -> Duty:
    """Turns in UTC, the earliest first. Only once nothing at all is wrong."""
    assert rows.head is not None
    turns = [
        DutyTurn(utc(row.start, zone), utc(row.end, zone), tuple(row.order))
        for _, row in rows.turns
    ]
    evening = rows.head.evening
    return Duty(
        tuple(rows.standing),
        tuple(sorted(turns, key=lambda turn: turn.start)),
        week_turns(row for _, row in rows.week),
        **({} if evening is None else {"evening": seconds_of_day(evening)}),
        asks=rows.head.ask,
    )


def build_manager(rows: PeopleRows) -> str:
    """The lab manager; the last of the first order where none is named."""
    assert rows.head is not None
    if rows.head.manager is not None:
        return rows.head.manager
    return next(order[-1] for _, order in _orders(rows) if order)


def build_people(rows: PeopleRows) -> tuple[Person, ...]:
    """Everybody of the list, with times in seconds and plain phone numbers."""
    return tuple(
        Person(
            row.id,
            row.name,
            mail=row.mail,
            phone=plain_phone(row.phone),
            channels=tuple(row.channels),
            **_times(row),
        )
        for _, row in rows.people
    )


def _times(row: PersonRow) -> dict[str, float]:
    """night and day, where anything is said; by day as at night where only that is."""
    night = row.bed_to_door_min
    day = row.day_to_door_min if row.day_to_door_min is not None else night
    said = {"night": night, "day": day}
    return {key: value * MINUTE for key, value in said.items() if value is not None}


def build_ways(rows: PeopleRows) -> dict[str, Any]:
    """When the ways to people are tested, and whether there are lines of the day."""
    assert rows.ways is not None
    test = rows.ways.path_test
    if test is None:
        return {"day_lines": rows.ways.day_lines}
    day_, _, clock = test.partition(" ")
    at = WEEK_DAYS.index(day_), seconds_of_day(clock)
    return {"day_lines": rows.ways.day_lines, "path_test": at}


def build_channels(rows: PeopleRows) -> tuple[Channel, ...]:
    """The ways to reach people."""
    return tuple(Channel(row.id, row.kind, options(row)) for _, row in rows.channels)
