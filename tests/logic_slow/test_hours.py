"""Means by the hour in the watch: taken by the minute, kept over a restart, told once a day."""

import json
from collections.abc import Callable
from dataclasses import replace

from logic.play import Watch, watch
from logic_slow.days import demo, kept, utc_of
from monitor.effects import JournalRow, Text
from monitor.inputs import Moment, Reading
from monitor.logic import wording_paths
from monitor.logic.scan import Scan
from monitor.logic.slow import Hours, Slow
from monitor.logic.state import Durable, Running, State, decode, encode
from monitor.logic.step import resume, step
from monitor.setup import Setup
from monitor.units import L_PER_MIN

MORNING = "2026-10-16T06:00"


def rig(*tags: str) -> Setup:
    """The demo rig with these tags, watch set, and no limits, so that only trends speak."""
    setup = demo()
    kept_tags = tuple(tag for tag in setup.rig.tags if tag.id in tags)
    return replace(setup, rig=replace(setup.rig, tags=kept_tags), limits=(), worked_out={})


def fed(begun: Watch, tag: str, minutes: range, value: Callable[[int], float | None]) -> Watch:
    """One reading each 30 s of a tag, in its own unit, in these minutes of elapsed time."""
    for half in range(2 * minutes.start, 2 * minutes.stop):
        at, shown = half * 30.0 + 1.0, value(half // 2)
        begun.idle(at)
        if shown is not None:
            begun.take(at, [Reading(tag, begun.now(at), shown)])
    return begun


def began(setup: Setup, local: str = MORNING) -> Watch:
    """A watch that begins at a site time."""
    return watch(setup, Moment(1, 0.0, utc_of(setup, local)))


def means(found: Watch, tag: str) -> tuple[float | None, ...]:
    """What is kept of a tag."""
    return found.state.durable.slow.hours[tag].means


def test_an_hour_is_the_mean_of_its_minutes() -> None:
    """9.0 L/min in the first hour, 8.0 in the second: two means in SI."""
    found = fed(began(rig("QS")), "QS", range(125), lambda m: 9.0 if m < 60 else 8.0)
    first, second = means(found, "QS")
    assert first is not None
    assert second is not None
    assert round(9.0 * L_PER_MIN, 6) == round(first, 6)
    assert round(8.0 * L_PER_MIN, 6) == round(second, 6)


def test_flow_to_the_larvae_is_kept_as_a_share() -> None:
    """After 10:00 of dph 10 the set flow is 6.0; 5.7 L/min is 0.95 of it."""
    found = fed(began(rig("QL"), "2026-10-16T11:00"), "QL", range(65), lambda _: 5.7)
    assert (0.95,) == means(found, "QL")


def test_a_pump_that_stands_does_not_count() -> None:
    """Half an hour without flow leaves the mean of the other half; fewer minutes leave a gap."""
    found = fed(began(rig("QS")), "QS", range(125), lambda m: 0.0 if m % 60 < 30 else 9.0)
    assert [round(9.0 * L_PER_MIN, 6)] * 2 == [round(mean or 0.0, 6) for mean in means(found, "QS")]
    gone = fed(began(rig("QS")), "QS", range(185), lambda m: 9.0 if m < 60 or m > 170 else None)
    assert (None, None) == means(gone, "QS")[1:]


def test_nothing_is_taken_by_a_wrong_clock() -> None:
    """While the wall clock is not trusted no hour is kept."""
    begun = began(rig("QS"))
    state = begun.state
    for minute in range(125):
        now = replace(begun.now(minute * 60.0 + 1.0), trusted=False)
        state = step(begun.setup, state, [Reading("QS", now, 9.0)], now).state
    assert {} == state.durable.slow.hours


def test_kept_over_a_restart_and_read_from_older_documents() -> None:
    """What is kept survives as JSON; a document from before has nothing, and is read."""
    found = fed(began(rig("QS")), "QS", range(125), lambda _: 9.0)
    durable = found.state.durable
    assert durable.slow == decode(encode(durable)).slow
    older = encode(durable)
    del older["slow"]
    assert Slow() == decode(older).slow


def clogging(setup: Setup, local: str) -> Durable:
    """A watch that has kept six days of a supply that falls by 0.6 L/min a day."""
    utc = utc_of(setup, local)
    course = kept(setup, utc, lambda at: (7.4 + 0.6 * (utc - at) / 86_400.0) * L_PER_MIN)
    return Durable(slow=Slow({"QS": course}))


def told_in(setup: Setup, local: str, minutes: int) -> list[JournalRow]:
    """Rows on trends in the minutes after a site time."""
    start = Moment(1, 0.0, utc_of(setup, local))
    first = resume(setup, clogging(setup, local), start)
    begun = Watch(setup, start, first.state, first.next_due, list(first.effects), start.utc_at)
    fed(begun, "QS", range(minutes), lambda _: 7.4)
    assert not [effect for effect in begun.effects if isinstance(effect, Text)]
    return [row for row in begun.rows if row.what == "trend"]


def test_a_trend_is_told_once_a_day() -> None:
    """From 09:00 to 13:00 one line of the strainer, with its date, and no text to anybody."""
    (row,) = told_in(rig("QS"), "2026-10-16T09:00", 245)
    assert ("supply margin/S1", "notice") == (row.subject, row.grade)
    assert "clean the strainer" in row.text


def test_no_trend_is_told_at_night() -> None:
    """From 22:00 to 02:00 nothing."""
    assert [] == told_in(rig("QS"), "2026-10-16T22:00", 245)


def test_an_hour_ends_by_itself() -> None:
    """With nothing read after the hour the next due time keeps it, in its first full minute."""
    begun = fed(began(rig("QS")), "QS", range(59), lambda _: 9.0)
    begun.idle(3600.0)
    assert {} == begun.state.durable.slow.hours
    begun.idle(3601.0)
    assert 1 == len(means(begun, "QS"))


def test_morning_line_has_the_trend_in_a_few_words() -> None:
    """The strainer stands in the morning line with its date and what to do, within one text."""
    setup = rig("QS")
    durable = clogging(setup, "2026-10-16T07:00")
    now = Moment(1, 0.0, utc_of(setup, "2026-10-16T07:00"))
    body = wording_paths.morning(Scan(setup, State(durable, Running(0.0)), now))
    assert "Supply meets the set flow about S" in body
    assert "clean strainer." in body
    assert len(body) <= 160


def dropped_out(lengths: tuple[int, ...]) -> tuple[int, ...]:
    """Drop-outs counted, where the flow is down for so many seconds, again and again."""
    begun = began(rig("QL"), "2026-10-16T11:00")
    at = 0.0
    for length in lengths:
        for span, flow in ((600, 6.0), (length, 3.0), (60, 6.0)):
            for _ in range(0, span, 5):
                at += 5.0
                begun.idle(at)
                begun.take(at, [Reading("QL", begun.now(at), flow)])
    dips = begun.state.durable.slow.dips.get("S1")
    return () if dips is None else dips.counts


def test_drop_outs_are_counted() -> None:
    """Two of a minute count; one of five seconds is a bubble, one of a quarter hour an alarm."""
    assert (2,) == dropped_out((60, 60))
    assert () == dropped_out((5, 900))


def test_state_is_small() -> None:
    """Twelve tags with all they can keep are less than 20 kB as they are stored."""
    full = Hours(500_000, tuple(float(f"{1.2345678 * n:.6g}") for n in range(144)), 9.0)
    durable = Durable(slow=Slow({f"TAG{n}": full for n in range(12)}))
    assert len(json.dumps(encode(durable))) < 20_000
    assert durable == decode(encode(durable))
