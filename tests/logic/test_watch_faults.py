"""Faults of the watch itself: told like other trouble, and never in the way of the water."""

from dataclasses import replace

from logic.play import sample, watch
from monitor.effects import Text
from monitor.inputs import Fault, Moment
from monitor.logic.state import AlarmRecord, EventRecord, fresh
from monitor.logic.step import resume

NIGHT = Moment(1, 1000.0, 1792303200.0)
"""Sun 18 Oct 2026, 01:00 site time."""


def fault(second: float, part: str, wrong: str) -> Fault:
    """A fault of a part so many seconds after the start; an empty word ends it."""
    at = Moment(1, NIGHT.elapsed + second, NIGHT.utc + second)
    return Fault(at, part, wrong, over=not wrong)


def test_record_not_kept_is_told_by_night() -> None:
    """A disk that has refused for two minutes is told to the first on duty, with the reason."""
    watched = watch(sample("first-night"), NIGHT)
    watched.feed([fault(10.0, "record", "disk full")], NIGHT.elapsed + 200.0)
    told = [text for text in watched.texts if text.turn == "record not kept"]
    assert [130.0] == [round(text.moment.elapsed - NIGHT.elapsed) for text in told]
    assert "RECORD NOT KEPT" in told[0].body and "disk full" in told[0].body


def test_record_that_recovers_is_no_event() -> None:
    """A disk that takes writes again within two minutes wakes nobody."""
    watched = watch(sample("first-night"), NIGHT)
    faults = [fault(10.0, "record", "disk full"), fault(70.0, "record", "")]
    watched.feed(faults, NIGHT.elapsed + 900.0)
    assert [] == [text for text in watched.texts if text.turn == "record not kept"]


def test_other_parts_wait_for_the_morning() -> None:
    """A mail channel that fails at night is a notice: it is told at seven, with the rest."""
    watched = watch(sample("first-night"), NIGHT)
    watched.feed([fault(10.0, "channel mail", "refused")], NIGHT.elapsed + 9 * 3600.0)
    told = [
        (watched.at(text.moment.elapsed), text.turn)
        for text in watched.texts
        if "WATCH FAULTY channel mail" in text.body
    ]
    assert [("07:00:00", "morning")] == told


def test_dead_path_is_told_by_night() -> None:
    """A way by which nothing goes out for two minutes is told by night, over all that are left."""
    watched = watch(sample("first-night"), NIGHT)
    watched.feed([fault(10.0, "channel modem sending", "no credit")], NIGHT.elapsed + 200.0)
    (told,) = [text for text in watched.texts if text.turn == "watch faulty"]
    assert "high" == told.grade
    assert "PATH DOWN: nothing goes out by modem since 01:00. (no credit)" in told.body


def test_lost_time_makes_every_promise_due() -> None:
    """After a reboot of unknown length the taker is reminded at once, and the next called after."""
    setup = sample("first-night")
    event = EventRecord(
        41, "water", "LT1", "supply lost/HD1", 900.0, 960.0, "urgent", "taken",
        calls=1, taken_by="tavrin", promise=NIGHT.elapsed + 1500.0,
        alarms=("supply lost/HD1",), losses=1, lost_since=900.0,
    )  # fmt: skip
    alarm = AlarmRecord("ACKED", 960.0, 41, 1, "urgent")
    durable = replace(fresh(42), events={41: event}, alarms={"supply lost/HD1": alarm})
    known, lost = resume(setup, durable, NIGHT), resume(setup, durable, NIGHT, time_lost=True)
    told = [
        [effect.turn for effect in start.effects if isinstance(effect, Text)]
        for start in (known, lost)
    ]
    assert [[], ["reminder"]] == told
