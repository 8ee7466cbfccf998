"""The texts about the ways to people themselves: the weekly test and the lines of the day."""

from monitor.logic import events, lately
from monitor.logic.gsm import Part, fit
from monitor.logic.path_records import PathRecord
from monitor.logic.scan import Scan
from monitor.logic.tale import dated
from monitor.logic.wording_care import person_name


def _head(scan: Scan, first: str) -> Part:
    return Part(f"{dated(scan, first, scan.setup.rig.label)}.")


def test(scan: Scan, record: PathRecord) -> str:
    """A text by one path alone, that wants an answer."""
    wait = scan.site_clock(record.wait)
    return fit(
        [
            _head(scan, "TEST"),
            Part("Weekly test of this path. Nothing is wrong."),
            Part(f"No answer by {wait}: the next on duty is told you were not reached.", 5),
            Part(f"Reply OK {record.number}."),
        ]
    )


def not_reached(scan: Scan, channel: str, record: PathRecord) -> str:
    """To the next on duty: somebody did not answer a test."""
    name = person_name(scan, record.who)
    return fit(
        [
            _head(scan, "NOTICE"),
            Part(f"{name} has not answered the test by {channel}."),
            Part("Path dead, or phone silent? Call, then mend it.", 8),
            Part("No reply needed."),
        ]
    )


def evening(scan: Scan, by: float) -> str:
    """The line that makes silence mean something where nobody listens. by: s after midnight."""
    hours, minutes = divmod(int(by) // 60, 60)
    return fit(
        [
            _head(scan, "EVENING"),
            _state(scan),
            Part(f"If no line comes by {hours:02d}:{minutes:02d} the watch is dead: go and look."),
        ]
    )


def morning(scan: Scan) -> str:
    """The line that was promised in the evening."""
    values = [
        f"{tag.id} {tag.unit.show(value)}"
        for tag in scan.setup.rig.tags
        if tag.measures in ("flow", "level", "temperature")
        and (value := scan.value(tag)) is not None
    ]
    return fit(
        [
            _head(scan, "MORNING"),
            _state(scan),
            *(Part(line.short, 7) for line in lately.lines(scan).values()),
            *(Part(f"{value}.", 5) for value in values[:6]),
            Part("No reply needed.", 6),
        ]
    )


def _state(scan: Scan) -> Part:
    open_now = [e.number for e in scan.durable.events.values() if events.is_open(e)]
    faults = "" if not scan.running.faults else " A part of the watch fails: holdwater now."
    if not open_now:
        return Part(f"Watch runs, no open event.{faults}")
    return Part(f"Watch runs, open: {', '.join(map(str, open_now[:6]))}.{faults}")
