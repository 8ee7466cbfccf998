"""What the record tells of an event, read without the watch."""

from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.archive import Reader
from monitor.config import load_texts
from monitor.control import RECORD
from monitor.effects import JournalRow
from monitor.errors import HoldwaterError
from monitor.lines import of_row, readable

SIGNS = 300.0
"""Seconds before an event is opened in which its first signs are looked for: the on-delays."""


def told(state: Path, number: int) -> list[str]:
    """The story of an event from its first sign: conditions with evidence, texts, answers."""
    with Reader(state / RECORD) as reader:
        own = reader.journal(event=number)
        if not own:
            raise HoldwaterError(f"the record in {state} knows no event {number}")
        begin, end = own[0].moment.elapsed - SIGNS, own[-1].moment.elapsed
        alarms = _alarms(reader, number)
        rows = [
            row
            for row in reader.journal(begin, end + 1e-3)
            if row.subject == str(number) or row.subject in alarms
        ]
        zone = _zone(reader)
    return [_readable(zone, row) for row in rows if row.what != "alarm"]


def _alarms(reader: Reader, number: int) -> set[str]:
    """Alarms of the event, as far as they are still remembered."""
    events = (reader.durable() or {}).get("events", {})
    return set(events.get(str(number), {}).get("alarms", ()))


def _zone(reader: Reader) -> ZoneInfo:
    versions = reader.setups()
    if not versions:
        return ZoneInfo("UTC")
    return load_texts(versions[-1].files, versions[-1].version).zone


def _readable(zone: ZoneInfo, row: JournalRow) -> str:
    line = of_row(zone, row)
    return readable(line | {"name": line["state"], "state": ""} if row.what == "text" else line)
