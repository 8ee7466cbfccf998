"""What people wrote down of one day, as figures of its row. Pure.

Estimates stay estimates, and what nobody wrote down is not zero.
"""

from collections.abc import Iterable, Sequence

from monitor.record.notes import Entry
from monitor.record.rows import Counted, Fed, Measure, Missing, Noted, Test
from monitor.record.spans import Span


def noted_of(entries: Sequence[Entry], span: Span) -> Noted:
    """The row's part of the notes that stand. entries: of the whole run, by time."""
    today = [entry for entry in entries if span.start <= entry.note.at < span.end]
    before = [entry for entry in entries if entry.note.at < span.start]
    signed = [entry.note.who for entry in _of(today, "observation")]
    return Noted(
        dead=_counted(today, "dead found", "count"),
        fed=_fed(today, before),
        tests=tuple(_tests(today)),
        changed=_litres(today, "water change"),
        topped_up=_litres(today, "top-up"),
        stages=tuple(_stage(entry) for entry in _of(today, "stage")),
        firsts=tuple(_firsts(today, before)),
        signed_by=signed[-1] if signed else "",
        first_feed=next((entry.note.at for entry in _of(today, "feeding")), None),
        back_dated=sum(entry.is_back_dated for entry in today),
        amended=sum(bool(entry.earlier) for entry in today),
    )


def _of(entries: Iterable[Entry], kind: str) -> list[Entry]:
    return [entry for entry in entries if entry.note.kind == kind]


def _counted(entries: Sequence[Entry], kind: str, field: str) -> Counted:
    """The sum of the counts of a kind; an estimate among them makes it one."""
    amounts = [amount for e in _of(entries, kind) if (amount := e.amount(field)) is not None]
    values = [amount.value for amount in amounts if amount.value is not None]
    return Counted(
        sum(values) if values else Missing.NOT_NOTED,
        any(amount.is_estimate for amount in amounts),
        len(amounts) - len(values),
    )


def _litres(entries: Sequence[Entry], kind: str) -> Measure:
    """m3 of all notes of a kind."""
    litres = _counted(entries, kind, "litres").value
    return litres if isinstance(litres, Missing) else litres / 1000.0


def _fed(today: Sequence[Entry], before: Sequence[Entry]) -> tuple[Fed, ...]:
    """Feeds of the day by food and unit, with the totals of the run up to its end."""
    found = []
    names = dict.fromkeys(_food(entry) for entry in _of(today, "feeding"))
    for food, unit in names:
        mine = [entry for entry in _of(today, "feeding") if _food(entry) == (food, unit)]
        past = [entry for entry in _of(before, "feeding") if _food(entry) == (food, unit)]
        amount = _counted(mine, "feeding", "amount")
        total = _counted([*past, *mine], "feeding", "amount")
        found.append(Fed(food, unit, len(mine), amount, total))
    return tuple(found)


def _food(entry: Entry) -> tuple[str, str]:
    return entry.note.said.get("food", ""), entry.note.said.get("unit", "")


def _tests(entries: Sequence[Entry]) -> Iterable[Test]:
    for entry in _of(entries, "water test"):
        amount, said = entry.amount("value"), entry.note.said
        if amount is not None and amount.value is not None:
            yield Test(said["of"], amount.value, said["unit"], amount.is_estimate)


def _stage(entry: Entry) -> str:
    said = entry.note.said
    more = [f"{said['share']} %" if "share" in said else "", said.get("sure", "")]
    more += [f"by {said['criterion']}" if "criterion" in said else ""]
    more += [f"expected dph {said['expected']}" if "expected" in said else ""]
    return ", ".join(filter(None, [said["stage"], *more]))


def _firsts(today: Sequence[Entry], before: Sequence[Entry]) -> Iterable[str]:
    """Foods and stages that no earlier note has."""
    for kind, field in (("feeding", "food"), ("stage", "stage")):
        known = {entry.note.said.get(field, "").lower() for entry in _of(before, kind)}
        for word in dict.fromkeys(e.note.said.get(field, "") for e in _of(today, kind)):
            if word.lower() not in known:
                yield f"first {'feed' if kind == 'feeding' else 'seen'}: {word}"
