"""The handover sheet: state against band, what is put aside, open, owed; to be read and signed."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

from monitor.logic.state import Durable
from monitor.record.report.events import in_words
from monitor.record.sheets.limits import named, now, when
from monitor.record.sheets.paper import BLANK, Block, Cells, Place, Sheet
from monitor.rig import Tag
from monitor.setup import Limit
from monitor.units import STATES

HOW = {"SHLVD": "shelved", "OOSRV": "out of service"}


@dataclass(frozen=True, slots=True)
class Last:
    """The last reading of a tag: UTC s, and the value in SI."""

    at: float
    value: float


def handover_sheet(place: Place, durable: Durable, last: Mapping[str, Last], ahead: float) -> Sheet:
    """ahead: UTC less watch time now, by which times of the memory become clock times."""
    clock = _Clock(place, ahead)
    blocks = (
        Block(
            "State",
            () if last else ("No reading of the last day is in the record.",),
            ("tag", "value", "read", "limits of today"),
            _state(place, last),
            wide=(26, 16, 14, 44),
            small=True,
        ),
        Block(
            "Open events and what is owed",
            _none(durable, "events"),
            ("event", "what", "who has it", "state", "owed"),
            tuple(_events(place, durable, clock)),
            wide=(8, 28, 16, 18, 30),
        ),
        Block(
            "Put aside: shelved, out of service, works, holds",
            _none(durable, "aside"),
            ("what", "how", "till", "by", "why, what is looked at by hand"),
            tuple(_aside(place, durable, clock)),
            wide=(26, 14, 16, 12, 32),
        ),
        Block(
            "To be said and written",
            head=("what", "words"),
            rows=tuple(
                (words, BLANK)
                for words in ("trends, with a date by which they matter",
                              "feeding, top-up, water change: done, owed",
                              "spares used, to be bought", "weather, announced outages",
                              "who is on duty next, who cannot come")
            ),
            wide=(36, 64),
            tall=True,
        ),
    )  # fmt: skip
    return Sheet(
        "handover",
        "Handover",
        f"{place.about} Face to face, spoken and written, read back.",
        blocks,
        sign=("Given by, at", "Read and taken over by, at"),
    )


@dataclass(frozen=True, slots=True)
class _Clock:
    """Watch time as site time."""

    place: Place
    ahead: float

    def __call__(self, elapsed: float) -> str:
        return self.place.time(elapsed + self.ahead)


def _state(place: Place, last: Mapping[str, Last]) -> tuple[Cells, ...]:
    dph = place.setup.dph(place.utc)
    rows = []
    for tag in place.setup.rig.tags:
        words = STATES.get(tag.measures)
        limits = ", ".join(
            f"{limit.step or limit.condition} {_value(tag, limit, dph)}"
            for limit in place.setup.limits_of.get(tag.id, ())
            if isfinite(limit.value.at(dph))
        )
        if limits and not words:
            limits = f"{limits} {tag.unit.name}"
        shown, read = "not read", ""
        found = last.get(tag.id)
        if found is not None:
            shown = words[round(found.value)] if words else tag.unit.show(found.value)
            read = place.clock(found.at)
        rows.append((named(tag), shown, read, limits))
    return tuple(rows)


def _value(tag: Tag, limit: Limit, dph: int | None) -> str:
    if tag.measures in STATES:
        return f"if it {when(tag, limit)}"
    return f"{when(tag, limit)} {now(tag, limit, dph)}"


def _events(place: Place, durable: Durable, clock: _Clock) -> list[Cells]:
    rows: list[Cells] = []
    for event in durable.events.values():
        if event.stage == "closed":
            continue
        person = place.setup.person.get(event.taken_by)
        who = person.name if person is not None else event.taken_by or "nobody"
        what = f"{in_words(event.first_out)}, since {clock(event.first_sign)}"
        owed = ", ".join(event.owed) or "-"
        rows.append((str(event.number), what, who, event.stage, owed))
    return rows


def _aside(place: Place, durable: Durable, clock: _Clock) -> list[Cells]:
    rows: list[Cells] = []
    for alarm, record in durable.aside.items():
        why = record.reason + (f"; looked at: {record.check}" if record.check else "")
        how = HOW.get(record.how, record.how)
        rows.append((in_words(alarm), how, clock(record.end), record.who, why))
    for where, works in durable.works.items():
        why = f"second: {works.second}" if works.second else ""
        rows.append((works.what, f"works, {where}", clock(works.end), works.who, why))
    rows += [
        (f"flow of {hold.line}", "feeding hold", clock(hold.end), hold.who, "")
        for hold in durable.holds.values()
    ]
    if durable.fuel is not None:
        end = clock(durable.fuel.end) if durable.fuel.end is not None else "not known"
        rows.append((durable.fuel.of, "on backup, fuel", end, durable.fuel.who, ""))
    if durable.storm is not None and durable.storm.until > place.utc:
        until = place.time(durable.storm.until)
        rows.append(("storm footing", "in force", until, durable.storm.who, ""))
    return rows


def _none(durable: Durable, part: str) -> tuple[str, ...]:
    if part == "events":
        opened = any(event.stage != "closed" for event in durable.events.values())
        return () if opened else ("None in the record.",)
    aside = (durable.aside, durable.works, durable.holds, durable.fuel, durable.storm)
    return () if any(aside) else ("Nothing in the record.",)
