"""The rows of exported tables, made from the material of a run."""

from collections.abc import Iterator, Sequence

from monitor.effects import JournalRow
from monitor.logic.quality import FAIL, MISSING, PASS
from monitor.record.material import Material
from monitor.record.privacy import Veil
from monitor.record.show import cells_of
from monitor.record.spans import Span
from monitor.rig import Tag

Row = dict[str, object]
MINUTE = 60.0


def day_rows(material: Material, veil: Veil) -> list[Row]:
    """The day table as `holdwater days --csv` has it, with the ends of each day."""
    found = []
    for row in material.rows:
        cells = cells_of(material.site, row)
        begin = {key: cells.pop(key) for key in ("run", "dph", "date")}
        ends = {"day_start": row.span.start, "day_end": row.span.end}
        found.append(begin | ends | {key: _veiled(veil, value) for key, value in cells.items()})
    return found


def _veiled(veil: Veil, value: object) -> object:
    return veil.text(value) if isinstance(value, str) else value


def event_rows(material: Material) -> Iterator[Row]:
    """The events by number."""
    for row in material.rows:
        for event in row.events:
            yield {
                "event": event.number,
                "dph": row.dph,
                "grade": event.grade,
                "cause": event.cause,
                "local": material.site.iso(event.first_sign),
                "first_sign": event.first_sign,
                "taken": event.taken,
                "on_site": event.on_site,
                "flow_proven": event.proven,
                "closed": event.closed,
            }


def note_rows(material: Material, veil: Veil) -> Iterator[Row]:
    """Notes that stand, by the time they tell of."""
    for entry in material.entries:
        note = entry.note
        said = "; ".join(f"{name}: {text}" for name, text in note.said.items())
        yield {
            "note": note.number,
            "time": round(note.at, 3),
            "local": material.site.iso(note.at),
            "dph": int(material.dph_at(note.at) // 1),
            "kind": note.kind,
            "said": veil.text(said),
            "who": veil.who(note.who),
            "way": note.way,
            "entered": round(note.entered.utc, 3),
            "back_dated": "true" if entry.is_back_dated else "false",
            "amendments": len(entry.earlier),
            "reason": veil.text(note.reason),
            "origin": veil.text(note.origin),
        }


def answer_rows(material: Material, veil: Veil) -> Iterator[Row]:
    """What people answered and did, in order of time."""
    for row in answers(material.journal):
        at = row.moment.utc
        yield {
            "time": round(at, 3),
            "local": material.site.iso(at),
            "dph": int(material.dph_at(at) // 1),
            "who": veil.who(row.who),
            "event": int(row.subject) if row.subject.isdecimal() else None,
            "said": veil.text(row.state),
            "way": row.cause,
            "text": veil.text(row.text),
        }


def answers(journal: Sequence[JournalRow]) -> Iterator[JournalRow]:
    """The rows of the journal that a person made."""
    return (row for row in journal if row.what == "answer")


def limit_rows(material: Material) -> Iterator[Row]:
    """Every limit of every set-up of the run, a row for each step by age."""
    for force in material.forces:
        for limit in force.setup.limits:
            tag = force.setup.rig.tag[limit.tag]
            for first, value in limit.value.steps:
                yield {
                    "version": force.setup.version,
                    "condition": limit.condition,
                    "step": limit.step,
                    "tag": limit.tag,
                    "side": limit.side,
                    "from_dph": None if first <= -999 else first,
                    "value": round(tag.unit.from_si(value), 4),
                    "unit": tag.unit.name,
                    "grade": limit.grade,
                    "on_delay": limit.on_delay,
                }


def reading_rows(material: Material, tag: Tag, which: str) -> Iterator[Sequence[object]]:
    """All readings of a tag with their flags, or its minutes; one day at a time in memory."""
    for row in material.rows:
        for force in material.forces:
            span = Span(max(row.span.start, force.span.start), min(row.span.end, force.span.end))
            if span.start < span.end:
                rows = _readings if which == "all" else _minutes
                yield from rows(material, tag, span)


def _readings(material: Material, tag: Tag, span: Span) -> Iterator[Sequence[object]]:
    start, end = span
    flags: dict[int, int] = {}
    for flag in material.reader.flags(tag.id, start, end, by="utc"):
        key = round(flag.elapsed * 1000.0)
        flags[key] = max(flag.flag, flags.get(key, PASS))
    for part in material.reader.series(tag.id, start, end, by="utc"):
        gain, zero = material.scale(tag, part.calibration)
        ahead = material.timeline.offset(part.boot, part.elapsed[0]).ahead
        for position, (elapsed, raw) in enumerate(zip(part.elapsed, part.values, strict=True)):
            problem = part.problems.get(position, "")
            least = MISSING if raw is None else FAIL if problem else PASS
            known = flags.get(round(elapsed * 1000.0), PASS) if flags else PASS
            value = "" if raw is None else f"{raw * gain + zero:.9g}"
            yield f"{elapsed + ahead:.3f}", value, max(least, known), problem


def _minutes(material: Material, tag: Tag, span: Span) -> Iterator[Sequence[object]]:
    for cell in material.reader.rollup(tag.id, *span, MINUTE, by="utc"):
        if cell.n:
            gain, zero = material.scale_at(tag, cell.moment.utc)
            low, mean, high = (raw * gain + zero for raw in (cell.low, cell.mean, cell.high))
            low, high = min(low, high), max(low, high)
            time = f"{cell.moment.utc:.3f}"
            yield time, f"{low:.9g}", f"{mean:.9g}", f"{high:.9g}", cell.n
