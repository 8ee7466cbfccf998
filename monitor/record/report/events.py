"""One page for each event: from the first sign to the close, with the readings that prove it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from monitor.archive import OutboxRow
from monitor.effects import JournalRow
from monitor.logic.chains import Chain
from monitor.record.curves import evidence, readings
from monitor.record.figures import Figure
from monitor.record.frame import line_into_tank
from monitor.record.material import Material, Told
from monitor.record.privacy import Veil
from monitor.record.report.key_figures import Fact
from monitor.record.rows import EventOfDay
from monitor.record.spans import Span, seconds, without
from monitor.rig import Tag
from monitor.setup import DAY
from monitor.units import LITRE

SIGNS = 300.0
"""Seconds before an event is opened in which its first signs are looked for: the on-delays."""
LONGEST = 2 * DAY
"""An event that is still open is told so far from its first sign."""
DRAWN = ("notice", "high", "urgent")
WENT = {"accepted": "sent", "unknown": "may have gone", "waiting": "waiting"}


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the story: local time, what kind of thing, and the words."""

    time: str
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class EventPage:
    """taken, on_site, proven: seconds from the first sign; None where it did not come to that."""

    number: int
    grade: str
    cause: str
    dph: int
    facts: tuple[Fact, ...]
    steps: tuple[Step, ...]
    figure: Figure | None
    texts: int
    taken: float | None
    on_site: float | None
    proven: float | None


def event_pages(material: Material, veil: Veil, told: Told) -> Iterator[EventPage]:
    """The events of a run in the order of their numbers."""
    for row in material.rows:
        for event in row.events:
            told(f"event {event.number}")
            yield _page(material, veil, event, row.dph)


def _page(material: Material, veil: Veil, event: EventOfDay, dph: int) -> EventPage:
    rows = rows_of(material, event)
    texts = [out for out in material.texts if out.text.event == event.number]
    figure = None
    if event.grade in DRAWN:
        figure = evidence(material, event, tags_of(material, event, rows))

    def after(at: float | None) -> float | None:
        return None if at is None else max(0.0, at - event.first_sign)

    return EventPage(
        event.number,
        event.grade,
        veil.text(in_words(event.cause)),
        dph,
        tuple(_facts(material, veil, event, texts)),
        tuple(steps_of(material, veil, rows, texts)),
        figure,
        len({out.text.number for out in texts}),
        after(event.taken),
        after(event.on_site),
        after(event.proven),
    )


def rows_of(material: Material, event: EventOfDay) -> list[JournalRow]:
    """Journal rows of an event: its own, and the conditions of its alarms while it ran."""
    number = str(event.number)
    own = [row for row in material.journal if row.subject == number]
    begin = event.first_sign - SIGNS
    end = event.closed if event.closed is not None else event.first_sign + LONGEST
    kept = material.durable.events.get(event.number)
    alarms = set(kept.alarms) if kept is not None else {event.cause}
    return [
        row
        for row in material.journal
        if row in own
        or (row.what == "condition" and row.subject in alarms and begin <= row.moment.utc <= end)
    ]


def in_words(condition: str) -> str:
    """A condition as people say it: its name, then what it is about."""
    name, _, rest = condition.partition("/")
    return f"{name} ({rest.replace('/', ', ')})" if rest else name


def steps_of(
    material: Material, veil: Veil, rows: Sequence[JournalRow], texts: Sequence[OutboxRow]
) -> Iterator[Step]:
    """The story in order of time; a text has who got it and how it went."""
    ways: dict[int, list[OutboxRow]] = {}
    for out in texts:
        ways.setdefault(out.text.number, []).append(out)
    found = [(row.moment.utc, _step(veil, row)) for row in rows if row.what != "text"]
    for outs in ways.values():
        text = outs[0].text
        went = ", ".join(f"{o.channel}: {WENT.get(o.state, o.state)}" for o in outs)
        words = f"to {veil.who(text.person)} ({went}): {veil.text(text.body)}"
        found.append((text.moment.utc, ("text", words)))
    last = ""
    for at, (kind, words) in sorted(found, key=lambda item: item[0]):
        local = material.site.local(round(at))
        day = f"{local:%a %d %b}"
        yield Step(f"{local:%H:%M:%S}" if day == last else f"{day} {local:%H:%M:%S}", kind, words)
        last = day


def _step(veil: Veil, row: JournalRow) -> tuple[str, str]:
    shown = ", ".join(f"{label} {value}" for label, value in row.evidence if value)
    if row.what == "condition":
        state = "sign" if row.state == "true" else "over"
        words = in_words(row.subject) + (f": {shown}" if shown else "")
        return state, veil.text(words)
    parts = [row.state]
    if row.who:
        parts.append(f"by {veil.who(row.who)}")
    if row.cause and row.what == "event":
        parts.append(f"({in_words(row.cause)})")
    if row.what == "answer" and row.cause:
        parts.append(f"({row.cause})")
    words = " ".join(parts) + "".join(f": {part}" for part in (shown, row.text) if part)
    return ("person" if row.what == "answer" else "watch"), veil.text(words)


def tags_of(material: Material, event: EventOfDay, rows: Sequence[JournalRow]) -> list[Tag]:
    """The tags that tell the story: the way of the water, then those named as evidence."""
    setup = material.setup_at(event.first_sign)
    chain = line_into_tank(setup)
    named = [label for row in rows for label, _ in row.evidence]
    way: list[Tag | None] = []
    if chain is not None and any(
        word in event.cause for word in ("mains", "supply", "flow", "siphon", "header", "hold")
    ):
        way = [chain.mains, chain.supply, chain.level, chain.flow or chain.witness]
    if setup.run is not None:
        way += setup.rig.tags_for("temperature", setup.run.tank)[:1]
    found = [tag for tag in way if tag is not None]
    found += [setup.rig.tag[label] for label in named if label in setup.rig.tag]
    return list(dict.fromkeys(found))


def _facts(
    material: Material, veil: Veil, event: EventOfDay, texts: Sequence[OutboxRow]
) -> Iterator[Fact]:
    site = material.site
    times = (
        ("First sign", event.first_sign),
        ("Taken", event.taken),
        ("On site", event.on_site),
        ("Flow proven", event.proven),
        ("Closed", event.closed),
    )
    for name, at in times:
        if at is not None:
            minutes = (at - event.first_sign) / 60.0
            later = f", {minutes:.0f} min after the first sign" if at > event.first_sign else ""
            yield Fact(name, f"{site.local(round(at)):%a %d %b %H:%M:%S}{later}")
    if event.closed is None:
        yield Fact("Closed", "not by the end of the record")
    called: dict[str, str] = {}
    for out in texts:
        clock = f"{site.local(round(out.text.moment.utc)):%H:%M}"
        called.setdefault(veil.who(out.text.person), clock)
    if called:
        yield Fact("Called", ", ".join(f"{who} {at}" for who, at in called.items()))
    litres = not_delivered(material, event)
    if litres is not None and litres >= 1.0:
        yield Fact("Water not delivered", f"{litres:.0f} litres against the set flow, "
                   "feeding holds apart")  # fmt: skip


def not_delivered(material: Material, event: EventOfDay) -> float | None:
    """Litres that the set flow would have brought and the meter did not see; None if not metered.

    From the first sign until flow was proven; planned feeding holds are left out.
    """
    setup = material.setup_at(event.first_sign)
    chain = line_into_tank(setup)
    if event.proven is None or chain is None or chain.flow is None:
        return None
    due = setup.flow_due.get(chain.line.id)
    if due is None:
        return None
    clock = setup.seconds_into_day(event.first_sign)
    flow = due.set_flow.at(setup.dph(event.first_sign), clock)
    holds = material.holds.get(chain.line.id, ())
    spans = without([Span(event.first_sign, event.proven)], holds)
    brought = sum(_brought(material, chain, span) for span in spans)
    return max(0.0, (flow * seconds(spans) - brought) / LITRE)


def _brought(material: Material, chain: Chain, span: Span) -> float:
    """Cubic metres that the meter saw in a span; a reading stands until the next."""
    assert chain.flow is not None
    total, last_at, last = 0.0, span.start, None
    for at, value in readings(material, chain.flow, span):
        if last is not None:
            total += last * (at - last_at)
        last_at, last = at, value
    if last is not None:
        total += last * (span.end - last_at)
    return chain.flow.unit.to_si(total)
