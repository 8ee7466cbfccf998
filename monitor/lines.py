"""Effects as flat objects for JSON lines, and as lines to read. The form is promised to others:
docs/reference/replay.md."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from monitor.effects import Effect, JournalRow, Refusal, Text
from monitor.inputs import Moment

Line = dict[str, object]


def as_line(zone: ZoneInfo, effect: Effect, now: Moment) -> Line | None:
    """One effect as a flat object, its time in this zone.

    None for the flags of single readings, and for the journal's copy of a text.
    """
    match effect:
        case JournalRow(what="text"):
            return None
        case JournalRow():
            return of_row(zone, effect)
        case Text():
            return _line(
                zone,
                effect.moment,
                what="text",
                name=effect.turn,
                number=effect.event or None,
                grade=effect.grade,
                who=effect.person,
                text=effect.body,
            )
        case Refusal():
            return _line(
                zone, now, what="refused", name=effect.way, who=effect.who, text=effect.why
            )
    return None


def of_row(zone: ZoneInfo, row: JournalRow) -> Line:
    """A row of the journal as a flat object."""
    return _line(
        zone,
        row.moment,
        what=row.what,
        name=row.subject,
        number=int(row.subject) if row.subject.isdecimal() else None,
        state=row.state,
        grade=row.grade,
        cause=row.cause,
        who=row.who,
        evidence=dict(row.evidence),
        text=row.text,
    )


def _line(zone: ZoneInfo, moment: Moment, **given: object) -> Line:
    local = datetime.fromtimestamp(round(moment.utc), UTC).astimezone(zone)
    line: Line = {"time": local.isoformat(), "what": "", "name": "", "number": None}
    line |= {"state": "", "grade": "", "cause": "", "who": "", "evidence": {}, "text": ""}
    return line | given


def readable(line: Line) -> str:
    """One line of the timeline for people: local time, what, and what there is to say."""
    time = str(line["time"])
    begin = f"{time[:10]} {time[11:19]} {line['what']:<9}"
    if line["what"] == "text":
        return f"{begin} to {line['who']} ({line['name']}): {line['text']}"
    said = [str(line[key]) for key in ("name", "state") if line[key]]
    if line["grade"]:
        said.append(f"({line['grade']})")
    if line["who"]:
        said.append(f"by {line['who']}")
    if line["cause"]:
        said.append(f"[{line['cause']}]")
    evidence = line["evidence"]
    if isinstance(evidence, dict) and evidence:
        said.append(", ".join(f"{label} {value}" for label, value in evidence.items() if value))
    if line["text"]:
        said.append(str(line["text"]))
    return " ".join([begin, *said])
