"""Storm footing: how it begins and ends, what is told sooner, and signs of life of people."""

from dataclasses import replace

import pytest

from logic.play import Watch, sample, watch, with_tags
from logic.test_duty import HILL, MINUTE, Evening, utc
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.duty_records import Storm
from monitor.logic.gsm import places
from monitor.logic.preview import with_longest_names
from monitor.logic.scan import Scan
from monitor.logic.step import step
from monitor.logic.wording_duty import storm_began

NIGHT = "2026-10-27 22:30"
"""Tavrin, Oskel and Lendow are called in this order; no turn begins in this night."""


def stormy(until: str = "wed 20:00", restarts: bool = False) -> Evening:
    """Tavrin begins storm footing in the evening before."""
    evening = Evening("2026-10-27 22:00", restarts=restarts).until(NIGHT)
    return evening.say("tavrin", "storm", text=until)


def test_all_on_the_list_are_told_of_it_with_its_end() -> None:
    """Begin and end are told to those who are called, with the clock time of the end."""
    evening = stormy("23:30").until("2026-10-27 23:00").say("oskel", "storm end")
    began = [("storm footing", who, "22:30") for who in ("tavrin", "oskel", "lendow")]
    assert [*began, *(("storm over", who, "23:00") for _, who, _ in began)] == evening.asked
    assert "By Tavrin, till 23:30." in evening.bodies[0]
    assert evening.watch.state.durable.storm is None


@pytest.mark.parametrize(
    ("text", "end"),
    [("22:00", "2026-10-28 22:00"), ("wed 6.30", "2026-10-28 06:30"), ("23:00", "2026-10-27 23:00"),
     ("Friday 22:00", "2026-10-30 22:00")],
)  # fmt: skip
def test_end_by_a_clock_time(text: str, end: str) -> None:
    """The next such time, on the day that is named."""
    storm = stormy(text).watch.state.durable.storm
    assert storm is not None
    assert utc(end) == storm.until


@pytest.mark.parametrize("text", ["", "soon", "25:00", "someday 22:00", "sat 22:00", "tue 22:00"])
def test_storm_without_a_sound_end_is_refused(text: str) -> None:
    """No end, no clock time, or one more than three days off: refused, nobody is told."""
    evening = stormy(text)
    assert [] == evening.asked
    assert evening.watch.state.durable.storm is None
    assert 1 == len(evening.watch.refusals)


def test_it_ends_by_itself() -> None:
    """At its clock time the usual footing is back, with a line in the record."""
    evening = stormy("23:15").until("2026-10-27 23:20")
    assert evening.watch.state.durable.storm is None
    assert ["began", "ended"] == [row.state for row in evening.watch.rows if row.subject == "storm"]


def test_sign_of_life_of_people() -> None:
    """Two hours after the last word of anybody Tavrin is asked; he answers, and is asked again two
    hours after that."""
    evening = stormy().until("2026-10-28 00:35").say("tavrin", "take")
    evening.until("2026-10-28 02:36")
    signs = [item for item in evening.asked if item[0] == "asked: sign"]
    assert [("asked: sign", "tavrin", "00:30"), ("asked: sign", "tavrin", "02:35")] == signs
    first = next(body for body in evening.bodies if "Are you well" in body)
    assert first == (
        "STORM Ostrel Wed 00:30. Are you well, and is the tank? No answer by 00:45: Oskel is "
        "asked. Reply OK 90."
    )


def test_no_sign_of_life() -> None:
    """Nobody answers: each of the list is asked, then all are told to go and look."""
    evening = stormy().until("2026-10-28 01:20")
    assert [
        ("asked: sign", "tavrin", "00:30"),
        ("asked: sign", "oskel", "00:45"),
        ("asked: sign", "lendow", "01:00"),
        *(("nobody answers", who, "01:15") for who in ("tavrin", "oskel", "lendow")),
    ] == evening.asked[3:]
    assert "NO SIGN OF LIFE from 00:30." in evening.bodies[-1]


def test_any_word_is_a_sign_of_life() -> None:
    """A note of Oskel settles the question that was put to Tavrin."""
    evening = stormy().until("2026-10-28 00:40").say("oskel", "note", text="raining")
    evening.until("2026-10-28 02:30")
    assert [("asked: sign", "tavrin", "00:30")] == evening.asked[3:]


def test_two_people_are_asked_on_each_evening_of_a_storm() -> None:
    """At 17:45 both the first and the second, though no turn begins; on Thursday nobody."""
    evening = stormy("wed 20:00").until("2026-10-28 17:46")
    asked = [item for item in evening.asked if item[0] == "asked: duty"]
    assert [("asked: duty", "tavrin", "17:45"), ("asked: duty", "oskel", "17:45")] == asked


def test_storm_survives_a_restart_at_every_minute() -> None:
    """The same texts at the same times, whether or not the watch restarts each minute."""
    assert (
        stormy("02:00").until("2026-10-28 03:00").asked
        == stormy("02:00", restarts=True).until("2026-10-28 03:00").asked
    )


def mains_off(storm: bool) -> Watch:
    """The chiller's circuit loses mains at night, for ten minutes."""
    setup = with_tags(sample("ostrel-hill"), "MA", "TW1")
    under = watch(setup, Moment(1, 0.0, utc(NIGHT)), 41)
    if storm:
        under.take(0.0, [Answer(under.now(0.0), "storm", "tavrin", text="wed 20:00")])
    for second in range(5, 600, 5):
        value = 1.0 if second < 60 else 0.0
        now = under.now(float(second))
        under.feed([Reading("MA", now, value), Reading("TW1", now, 26.5)], float(second) + 0.5)
    return under


def test_mains_is_told_at_once_in_a_storm() -> None:
    """A notice that would wait for the morning goes 40 s after its first sign."""
    assert [] == mains_off(storm=False).texts
    told = [item for item in mains_off(storm=True).told if item[0] != "storm footing"]
    assert [("mains lost", "tavrin", "22:31:40")] == told


def test_untrusted_clock_ends_no_storm() -> None:
    """A clock that may be wrong leaves the stricter watch in force; one that is right ends it."""
    evening = stormy("23:00")
    late = evening.watch.now(evening.at + 40 * MINUTE)
    for trusted in (False, True):
        now = replace(late, trusted=trusted)
        after = step(HILL, evening.watch.state, (), now).state
        assert trusted == (after.durable.storm is None)


def test_text_of_a_storm_fits_with_the_longest_names() -> None:
    """160 places hold it with a name of 16 letters and a place of 8."""
    evening = stormy()
    scan = Scan(with_longest_names(HILL), evening.watch.state, evening.watch.now(evening.at))
    body = storm_began(scan, Storm("tavrin", 0.0, utc("2026-10-28 20:00"), 0.0))
    assert 0 < (places(body) or 999) <= 160
