"""Texts on the care of alarms: what has eased, what is put aside, works, what runs on a backup."""

from collections.abc import Mapping

from monitor.logic.aside import AsideRecord, FuelRecord, WorksRecord
from monitor.logic.gsm import Part, fit
from monitor.logic.names import WORDS
from monitor.logic.plan import RANK_OF_GRADE, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord
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


def flood(tale: Tale) -> list[Part]:
    """Many alarms at once: how many, which came first, the worst of them first, by number."""
    scan = tale.scan
    led = [event for event in scan.durable.events.values() if event.led_by == tale.number]
    led.sort(key=lambda event: (-RANK_OF_GRADE[event.grade], event.number))
    comings = [item for item in scan.running.comings if not item.again]
    many = sum(scan.t - item.at < FLOOD_WITHIN for item in comings)
    others = [f"{_short(tale, event)} {event.number}" for event in led]
    return [
        tale.head(tale.event.grade.upper()),
        Part(f"{many} ALARMS at once, first {_named(tale.event.first_out)}."),
        Part(f"Worst: {_short(tale, tale.event)} {tale.number};"),
        *(Part(f"{other};", 7 - min(place, 5)) for place, other in enumerate(others)),
        Part("Go: worst first."),
        tale.who_has_it(short=True),
    ]


FLOOD_WITHIN = 600.0
"""Seconds in which the alarms of a flood are counted."""


def _short(tale: Tale, event: EventRecord) -> str:
    """The gravest condition of an event, as texts name it."""
    return _named(Tale(tale.scan, event, "", None, tale.water).worst())


def _named(alarm: str) -> str:
    name = alarm.split("/", maxsplit=1)[0]
    return WORDS.get(name, (name.upper(), ""))[0]


def still_there(tale: Tale) -> list[Part]:
    """Somebody has been on site for hours and the alarm stands: the question whether they are."""
    return [
        tale.head("STILL"),
        Part(f"You are on site for {tale.number} since {tale.clock(tale.event.on_site)}."),
        Part(tale.state(), 7, f"{tale.worst().upper()}."),
        Part(f"Send HERE {tale.number} if you are, NO {tale.number} if not."),
        Part("Else the next is called.", 5),
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


def works_begun(scan: Scan, place: str, record: WorksRecord) -> str:
    """Work goes on near the rig: who, where, till when; for the second person and for the duty."""
    second = person_name(scan, record.second)
    return fit(
        [
            Part(f"{dated(scan, 'WORKS', scan.setup.rig.label)}."),
            Part(f"{record.what[:40]} at {place} till {scan.site_clock(record.end)}", 9),
            Part(f"by {person_name(scan, record.who)}, {second} knows of it."),
            Part("All alarms stay. What is shut or unplugged goes back at the end.", 6),
        ]
    )


def works_ended(scan: Scan, place: str, record: WorksRecord) -> str:
    """Work has come to its end, or has overrun it: what stands closed or unplugged?"""
    end = scan.site_clock(record.end)
    late = f"OVERRUN: end was {end}, {person_name(scan, record.who)} has not said it is over."
    return fit(
        [
            Part(f"{dated(scan, 'WORKS', scan.setup.rig.label)}. {record.what[:30]} at {place}."),
            Part(late if record.asks else f"The end is {end}."),
            Part("What is still shut or unplugged? Put it back, see water run, then say it:", 7),
            Part("holdwater works over"),
        ]
    )


def works_over(scan: Scan, place: str, record: WorksRecord, who: str, left: str) -> str:
    """Somebody said that work is over, and what was left."""
    return fit(
        [
            Part(f"{dated(scan, 'WORKS', scan.setup.rig.label)}. {record.what[:30]} at {place}"),
            Part(f"is over, says {person_name(scan, who)}."),
            Part(f"Still shut or unplugged: {left[:50]}."),
        ]
    )


def backup_runs(scan: Scan, record: FuelRecord) -> str:
    """The hourly reminder of a backup that a person told of, with its fuel clock."""
    fuel = f"Fuel till about {scan.site_clock(record.end)}." if record.end is not None else ""
    return fit(
        [
            Part(f"{dated(scan, 'BACKUP', scan.setup.rig.label)}."),
            Part(f"Still on {record.of} since {scan.site_clock(record.since)}. {fuel}"),
            Part("Somebody stays. Outdoors only; let it cool before you fill it.", 8),
            Part("Hours anew: holdwater fuel.", 5),
        ]
    )


def still_on_backup(tale: Tale) -> list[Part]:
    """A circuit still has no mains, and water is supplied all the same."""
    running = tale.scan.durable.fuel
    fuel = f"Fuel till about {tale.clock(running.end)}." if running and running.end else ""
    return [
        tale.head("REMINDER"),
        Part(f"STILL ON BATTERY or backup since {tale.clock(tale.event.first_sign)}."),
        Part(fuel),
        Part("Look how long it lasts; get the mains back.", 8),
        tale.who_has_it(),
    ]


def fuel_low(tale: Tale) -> list[Part]:
    """The fuel of a backup nears its end, by the hours that a person gave."""
    running = tale.scan.durable.fuel
    of = running.of if running is not None else "backup"
    till = tale.clock(running.end) if running is not None else ""
    return [
        tale.head(tale.event.grade.upper()),
        Part(f"FUEL LOW: {of} runs till about {till}." if till else f"FUEL LOW: {of}."),
        Part("Go: let it cool, fill it outdoors, then give the new hours.", 9),
        tale.who_has_it(),
    ]
