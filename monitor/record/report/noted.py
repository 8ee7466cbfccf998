"""What people wrote down over the run: totals, peaks, ranges, firsts, and a line for each day."""

from collections.abc import Iterator, Sequence

from monitor.record.material import Material
from monitor.record.privacy import Veil
from monitor.record.report.key_figures import Fact, days_of, numbers
from monitor.record.rows import Counted, DayRow, Fed, Missing
from monitor.units import LITRE

Cells = tuple[str, ...]


def noted_facts(material: Material, veil: Veil) -> Iterator[Fact]:
    """Feeds by kind, dead found, water tests, water changed, firsts, animals, signatures."""
    rows = material.rows
    yield from _fed(rows, veil)
    dead = [row.noted.dead for row in rows]
    if numbers(count.value for count in dead):
        total = sum(numbers(count.value for count in dead))
        days = len(numbers(count.value for count in dead))
        mark = "~" if any(count.is_estimate for count in dead) else ""
        uncounted = sum(count.uncounted for count in dead)
        more = f", {uncounted} times not countable" if uncounted else ""
        words = f"{mark}{total:,.0f} noted on {days_of(days)}{more}; never the number lost"
        yield Fact("Dead found", words)
    yield from _tests(rows)
    for name, values in (
        ("Water changed", numbers(row.noted.changed for row in rows)),
        ("Topped up", numbers(row.noted.topped_up for row in rows)),
    ):
        if values:
            yield Fact(name, f"{sum(values) / LITRE:,.0f} litres on {days_of(len(values))}")
    firsts = [f"{first} (dph {row.dph})" for row in rows for first in row.noted.firsts]
    if firsts:
        yield Fact("Firsts", veil.text("; ".join(firsts)))
    animals = [
        f"{entry.note.said.get('what', '')} {entry.note.said.get('count', '')} "
        f"(dph {material.dph_at(entry.note.at) // 1:.0f})"
        for entry in material.entries
        if entry.note.kind == "animals"
    ]
    if animals:
        yield Fact("Animals", veil.text("; ".join(animals)))
    signed = sum(bool(row.noted.signed_by) for row in rows)
    yield Fact("Daily observation", f"signed on {signed} of {len(rows)} days")


def _fed(rows: Sequence[DayRow], veil: Veil) -> Iterator[Fact]:
    foods: dict[tuple[str, str], list[tuple[int, Fed]]] = {}
    for row in rows:
        for fed in row.noted.fed:
            foods.setdefault((fed.food, fed.unit), []).append((row.dph, fed))
    for (food, unit), days in foods.items():
        words = f"{days_of(len(days))}, dph {days[0][0]} to {days[-1][0]}"
        values = [
            (fed.amount.value, dph)
            for dph, fed in days
            if not isinstance(fed.amount.value, Missing)
        ]
        if values:
            mark = "~" if any(fed.amount.is_estimate for _, fed in days) else ""
            most, at = max(values)
            total = sum(value for value, _ in values)
            words += f"; {mark}{total:,.6g} {unit} in all, most on dph {at} ({most:,.6g})"
        yield Fact(veil.text(f"Fed: {food}"), veil.text(words))


def _tests(rows: Sequence[DayRow]) -> Iterator[Fact]:
    found: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        for test in row.noted.tests:
            found.setdefault((test.of, test.unit), []).append(test.value)
    for (of, unit), values in found.items():
        words = f"{min(values):g} to {max(values):g} {unit}, {len(values)} tests"
        yield Fact(of[:1].upper() + of[1:], words)


def noted_table(material: Material, veil: Veil) -> tuple[Cells, tuple[Cells, ...], str]:
    """Head, lines and note: a line for each day on which somebody wrote something down."""
    head = ("dph", "date", "dead found", "fed", "tests", "changed, L", "topped up, L",
            "stages and firsts", "signed by")  # fmt: skip
    lines = []
    for row in material.rows:
        noted = row.noted
        cells = (
            shown(noted.dead),
            "; ".join(f"{fed.food} {shown(fed.amount)} {fed.unit}".strip() for fed in noted.fed),
            "; ".join(f"{t.of} {'~' * t.is_estimate}{t.value:g} {t.unit}" for t in noted.tests),
            _litres(noted.changed),
            _litres(noted.topped_up),
            "; ".join(dict.fromkeys((*noted.firsts, *noted.stages))),
        )
        if any(cell not in ("", "-") for cell in cells) or noted.signed_by:
            signed = veil.who(noted.signed_by) if noted.signed_by else ""
            words = [veil.text(cell) for cell in cells]
            lines.append((str(row.dph), f"{row.day:%a %d %b}", *words, signed))
    note = "~: an estimate. A dash: nobody wrote it down, which is not none."
    return head, tuple(lines), note


def shown(count: Counted) -> str:
    """A count as written: ~250, 250, not countable, or a dash."""
    if isinstance(count.value, Missing):
        return "not countable" if count.uncounted else "-"
    return f"{'~' * count.is_estimate}{count.value:,.6g}"


def _litres(value: float | Missing) -> str:
    return "-" if isinstance(value, Missing) else f"{value / LITRE:.0f}"
