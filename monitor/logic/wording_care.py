"""Texts on the care of alarms: what has eased, what is put aside, checks that are due."""

from collections.abc import Mapping

from monitor.logic.aside import AsideRecord
from monitor.logic.gsm import Part, fit
from monitor.logic.names import WORDS
from monitor.logic.plan import Spec
from monitor.logic.scan import Scan
from monitor.logic.tale import Tale, dated

HOW = {"SHLVD": "shelved", "OOSRV": "out of service"}
"""How an alarm is put aside, in words."""


def eased(tale: Tale) -> list[Part]:
    """What called people is over; only something that can wait for the day is left."""
    name = tale.worst()
    what, _ = WORDS.get(name, (name.upper(), ""))
    return [
        tale.head("EASED"),
        Part(f"No longer {tale.event.grade} since {tale.clock(tale.event.milder_since)}."),
        Part(f"Left: {what}."),
        Part("Nobody need go for that now; look at it by day."),
        Part(f"{tale.number} open."),
    ]


def person_name(scan: Scan, person: str) -> str:
    """How a text calls a person: by the last of the names."""
    known = scan.setup.person.get(person)
    return (known.name if known is not None else person).split(" ")[-1]


def tonight(scan: Scan, standing: Mapping[str, AsideRecord]) -> str:
    """What stays put aside over a night, for those on duty, with its ends; the longest first."""
    items = [
        f"{alarm} till {scan.site_clock(record.end)} ({person_name(scan, record.who)})"
        for alarm, record in sorted(standing.items(), key=lambda item: -item[1].end)
    ]
    return fit(
        [
            Part(f"{dated(scan, 'NOTICE', scan.setup.rig.label)}. PUT ASIDE, does not call:"),
            *(Part(f"{item};", 8 - min(place, 6)) for place, item in enumerate(items)),
            Part(f"{len(items)} in all. Look at it before the night."),
        ]
    )


def check(scan: Scan, spec: Spec, record: AsideRecord) -> str:
    """A check by hand is due, since the alarm that would call is out of service."""
    missed = "again: not done yet. " if record.asks else ""
    return fit(
        [
            Part(f"{dated(scan, 'CHECK', spec.vessel)}. {missed}{record.check[:60]}."),
            Part(f"{spec.id} is out of service till {scan.site_clock(record.end)}", 7),
            Part(f"({record.reason[:40]}).", 3),
            Part(f"Then send DONE {spec.id} and what you saw."),
        ]
    )
