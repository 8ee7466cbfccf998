"""Duty: whose turn it is, what people are asked, swaps, and who sleeps on site."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from logic.play import Watch, sample, watch, with_tags
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.duty import next_turn, night_of, order_at, turns, written
from monitor.logic.gsm import places
from monitor.logic.state import Durable, decode, encode
from monitor.logic.step import resume
from monitor.setup import Duty, Setup, WeekTurn

HILL = with_tags(sample("ostrel-hill"), "TW1")
MINUTE, HOUR = 60.0, 3600.0
Asked = list[tuple[str, str, str]]


def utc(local: str, setup: Setup = HILL) -> float:
    """UTC of a site time."""
    return datetime.fromisoformat(local).replace(tzinfo=setup.zone).astimezone(UTC).timestamp()


def weekly(*rows: tuple[int, float, float, str], standing: str = "lendow") -> Setup:
    """Ostrel Hill with this week: day, hours of start and end, order."""
    week = tuple(
        WeekTurn(day, start * HOUR, end * HOUR, tuple(order.split()))
        for day, start, end, order in rows
    )
    return replace(HILL, duty=Duty(tuple(standing.split()), (), week), worked_out={})


class Evening:
    """A quiet evening at the site with a thermometer, and people who answer."""

    def __init__(self, start: str, setup: Setup = HILL, restarts: bool = False) -> None:
        self.watch: Watch = watch(setup, Moment(1, 0.0, utc(start, setup)), 90)
        self.at = 0.0
        self.restarts = restarts

    def until(self, local: str) -> "Evening":
        """Go on to a site time; a reading each minute, and a restart with it where wanted."""
        end = utc(local, self.watch.setup) - self.watch.origin.utc
        while self.at + MINUTE <= end:
            self.at += MINUTE
            self.watch.feed([Reading("TW1", self.watch.now(self.at), 26.5)], self.at)
            if self.restarts:
                kept = decode(json.loads(json.dumps(encode(self.watch.state.durable))))
                again = resume(self.watch.setup, kept, self.watch.now(self.at))
                self.watch.state, self.watch.due = again.state, again.next_due
                self.watch.effects.extend(again.effects)
        self.watch.idle(self.at + 0.5)
        return self

    def say(self, who: str, kind: str, event: int | None = None, text: str = "") -> "Evening":
        """Somebody says something now."""
        said = Answer(self.watch.now(self.at), kind, who, event, text=text)
        self.watch.take(self.at, [said])
        self.watch.idle(self.at + 0.5)
        return self

    @property
    def asked(self) -> Asked:
        """Turn, person and clock of every text."""
        return [(turn, who, clock[:5]) for turn, who, clock in self.watch.told]

    @property
    def bodies(self) -> list[str]:
        """The texts."""
        return [text.body for text in self.watch.texts]

    def order(self, local: str) -> str:
        """The call order at a site time."""
        at = utc(local, self.watch.setup)
        return " ".join(order_at(self.watch.setup, self.watch.state.durable, at))


# The list


def test_nights_and_weekends() -> None:
    """Nights of the week, whole weekend days, and the standing order for the rest."""
    setup = weekly(
        *((day, 18.0, 31.0, "tavrin oskel") for day in range(5)),
        (5, 7.0, 31.0, "korrin oskel"),
        (6, 7.0, 31.0, "korrin tavrin"),
    )
    for local, order in (
        ("2026-10-19 17:59", "lendow"),  # Monday by day
        ("2026-10-19 18:00", "tavrin oskel"),
        ("2026-10-20 06:59", "tavrin oskel"),
        ("2026-10-20 07:00", "lendow"),
        ("2026-10-24 06:59", "tavrin oskel"),  # the night of Friday
        ("2026-10-24 07:00", "korrin oskel"),
        ("2026-10-26 06:59", "korrin tavrin"),
        ("2026-10-26 07:00", "lendow"),
    ):
        assert order == " ".join(written(setup, utc(local))), local


@pytest.mark.parametrize(
    ("evening", "hours"), [("2026-10-30", 13.0), ("2026-10-31", 14.0), ("2027-03-13", 12.0)]
)
def test_nights_on_which_the_clocks_change(evening: str, hours: float) -> None:
    """18:00 to 07:00 is an hour longer when the clocks go back, an hour shorter when forward."""
    setup = weekly(*((day, 18.0, 31.0, "tavrin") for day in range(7)))
    start = utc(f"{evening} 18:00")
    night = turns(setup, Durable(), start, start + 20 * HOUR)[0]
    assert (start, hours) == (night.start, (night.end - night.start) / HOUR)


def test_the_hour_that_comes_twice_belongs_to_one_turn() -> None:
    """A turn that ends at 01:30 ends the first time; every second has exactly one order."""
    setup = weekly(
        (5, 18.0, 25.5, "tavrin"),
        (6, 1.5, 18.0, "oskel"),
        *((day, 18, 42, "korrin") for day in range(5)),
        (6, 18.0, 42.0, "korrin"),
        standing="",
    )
    first = utc("2026-11-01 01:30")
    assert ["tavrin", "oskel", "oskel"] == [
        written(setup, at)[0] for at in (first - 1.0, first, first + HOUR)
    ]


def test_a_dated_turn_is_the_exception_to_the_week() -> None:
    """The week says Korrin on each day; the dated turns of the sample go before it."""
    week = weekly(*((day, 18.0, 42.0, "korrin") for day in range(7))).duty.week
    setup = replace(HILL, duty=replace(HILL.duty, week=week), worked_out={})
    assert ("oskel", "tavrin", "lendow") == written(setup, utc("2026-10-29 18:00"))
    assert ("korrin",) == written(setup, utc("2026-11-06 18:00"))


@pytest.mark.parametrize("order", ["", "ghost nobody"])
def test_if_nobody_can_be_found_all_are_called(order: str) -> None:
    """A list that names nobody who is known is no excuse."""
    setup = weekly(*((day, 0.0, 24.0, order) for day in range(7)), standing="")
    assert tuple(setup.person) == order_at(setup, Durable(), utc("2026-10-20 03:00"))


def test_next_turn_is_where_somebody_else_is_first() -> None:
    """From Mon 12 Oct on Lendow is away: no new turn. On Fri 16 Oct Oskel begins."""
    turn = next_turn(HILL, Durable(), utc("2026-10-12 19:00"))
    assert turn is not None
    assert (utc("2026-10-16 18:00"), utc("2026-10-17 18:00")) == (turn.start, turn.end)
    assert "oskel" == turn.order[0]


def test_which_night_is_meant() -> None:
    """By day tonight, before the morning the night under way, with a weekday the next such."""
    tonight = (utc("2026-10-29 18:00"), utc("2026-10-30 18:00"))
    assert tonight == night_of(HILL, utc("2026-10-29 17:20"))
    assert tonight == night_of(HILL, utc("2026-10-30 02:00"))
    long = (utc("2026-10-31 18:00"), utc("2026-11-01 18:00"))
    assert long == night_of(HILL, utc("2026-10-29 17:20"), 5)
    assert 25 * HOUR == long[1] - long[0]


# The question of the evening


def test_first_evening_of_a_turn() -> None:
    """Fri 16 Oct: Oskel is asked at 17:45 and says OK; nobody else hears of it, that night or the
    next days."""
    evening = Evening("2026-10-16 17:00").until("2026-10-16 17:50").say("oskel", "take", 90)
    evening.until("2026-10-17 12:00")
    assert [("asked: duty", "oskel", "17:45")] == evening.asked
    assert evening.bodies == [
        "DUTY Ostrel Fri 17:45. You are on duty from 18:00 to Sat 18:00. No answer by 18:15: "
        "Tavrin is asked. Reply OK 90, or NO 90."
    ]
    assert {} == evening.watch.state.durable.questions


def test_no_answer_and_the_next_stands_in() -> None:
    """Oskel is silent; Tavrin is asked at 18:15, says OK, and is called first for that turn."""
    evening = Evening("2026-10-16 17:00").until("2026-10-16 18:20").say("tavrin", "take", 91)
    assert [
        ("asked: duty", "oskel", "17:45"),
        ("asked: duty", "tavrin", "18:15"),
        ("stands in", "oskel", "18:20"),
    ] == evening.until("2026-10-16 23:00").asked
    assert "tavrin oskel" == evening.order("2026-10-16 23:00")
    assert "Oskel does not answer. Can you be first on duty from 18:00?" in evening.bodies[1]
    evening.say("oskel", "take", 90)
    assert "there is no event 90" == evening.watch.refusals[-1].why


def test_nobody_answers() -> None:
    """All are silent: the lab manager is told before the night, and the list stays as it is."""
    evening = Evening("2026-10-16 17:00").until("2026-10-17 12:00")
    assert [
        ("asked: duty", "oskel", "17:45"),
        ("asked: duty", "tavrin", "18:15"),
        ("nobody answers", "lendow", "18:45"),
    ] == evening.asked
    assert "oskel tavrin" == evening.order("2026-10-16 23:00")


def test_no_passes_the_question_on_at_once() -> None:
    """NO without a number, while no event is open, is an answer to the only question."""
    evening = Evening("2026-10-16 17:00").until("2026-10-16 17:46").say("oskel", "cannot")
    assert ("asked: duty", "tavrin", "17:46") == evening.asked[-1]


def test_turn_that_begins_in_the_quiet_hours_is_asked_before_the_night() -> None:
    """Korrin takes over on Saturday at 07:00: asked on Friday at 19:30, not at 06:45."""
    evening = Evening("2026-10-23 18:30").until("2026-10-23 19:35").say("korrin", "take", 90)
    assert [("asked: duty", "korrin", "19:30")] == evening.until("2026-10-24 12:00").asked


def test_only_who_is_asked_can_answer() -> None:
    """OK of somebody else to the number of a question is refused, and settles nothing."""
    evening = Evening("2026-10-16 17:00").until("2026-10-16 17:50").say("lendow", "take", 90)
    assert "question 90 is put to Oskel" == evening.watch.refusals[-1].why
    assert [90] == list(evening.watch.state.durable.questions)


def test_clock_that_is_not_trusted_asks_nothing() -> None:
    """Schedules are not judged until the clock is known to be right."""
    evening = Evening("2026-10-16 17:00")
    for minute in range(120):
        now = replace(evening.watch.now(minute * MINUTE), trusted=False)
        step = evening.watch
        step.state = resume(step.setup, step.state.durable, now).state
    assert {} == evening.watch.state.durable.questions


@pytest.mark.long
def test_evening_survives_a_restart_at_every_minute() -> None:
    """The same texts at the same minutes, whether or not the watch restarts each minute."""
    said = {
        "2026-10-16 18:20": ("tavrin", "take", 91),
        "2026-10-16 18:30": ("tavrin", "sleep", None),
    }
    told = []
    for restarts in (False, True):
        evening = Evening("2026-10-16 17:00", restarts=restarts)
        for local, (who, kind, number) in said.items():
            evening.until(local).say(who, kind, number)
        told.append((evening.until("2026-10-17 08:00").asked, evening.bodies))
        assert "tavrin oskel" == evening.order("2026-10-16 23:00")
    assert told[0] == told[1]


def test_watch_that_was_away_asks_late_and_never_at_night() -> None:
    """Started again at 18:10 it asks then; started again at 02:00 it lets people sleep."""
    for back, asked in (("2026-10-16 18:10", ["18:10"]), ("2026-10-17 02:00", [])):
        evening = Evening("2026-10-16 17:00").until("2026-10-16 17:30")
        now = Moment(1, utc(back) - evening.watch.origin.utc, utc(back))
        again = resume(HILL, evening.watch.state.durable, now)
        evening.watch.state, evening.watch.due = again.state, again.next_due
        evening.watch.effects.extend(again.effects)
        evening.watch.idle(now.elapsed + 60.0)
        assert asked == [clock for _, _, clock in evening.asked]


# Swaps


def before_the_swap() -> Setup:
    """Thu 29 Oct as it was written before the two swapped: Tavrin until Friday."""
    turns = tuple(
        replace(turn, order=("tavrin", "oskel", "lendow"))
        if turn.start == utc("2026-10-29 18:00")
        else turn
        for turn in HILL.duty.turns
    )
    return replace(HILL, duty=replace(HILL.duty, turns=turns), worked_out={})


def test_swap_from_the_car_park() -> None:
    """Thu 29 Oct: Tavrin sends SWAP at 17:20, Oskel OK; Oskel is first until Fri 18:00."""
    evening = Evening("2026-10-29 17:00", before_the_swap()).until("2026-10-29 17:20")
    evening.say("tavrin", "swap").until("2026-10-29 17:25").say("oskel", "take", 90)
    assert [("asked: swap", "oskel", "17:20"), ("stands in", "tavrin", "17:25")] == evening.asked
    assert evening.bodies[0] == (
        "SWAP Ostrel Thu 17:20. Tavrin asks you to take the duty from 18:00 to Fri 18:00. "
        "No answer by 17:50: Tavrin stays on duty. Reply OK 90, or NO 90."
    )
    assert "tavrin oskel lendow" == evening.order("2026-10-29 17:59")
    assert "oskel tavrin lendow" == evening.order("2026-10-29 18:00")
    assert "oskel tavrin lendow" == evening.order("2026-10-30 17:59")


@pytest.mark.parametrize("answer", ["cannot", ""])
def test_swap_that_fails_changes_nothing(answer: str) -> None:
    """NO, or nothing within half an hour: who asked is told that he stays on duty."""
    evening = Evening("2026-10-29 17:00", before_the_swap()).until("2026-10-29 17:10")
    evening.say("tavrin", "swap", text="oskel").until("2026-10-29 17:15")
    if answer:
        evening.say("oskel", answer, 90)
    evening.until("2026-10-29 17:42")
    assert ("swap failed", "tavrin") == evening.asked[-1][:2]
    assert "You stay on duty from 18:00." in evening.bodies[-1]
    assert "tavrin oskel lendow" == evening.order("2026-10-29 23:00")


def test_swap_with_somebody_off_the_list() -> None:
    """Korrin is not on the list of Saturday: she takes Tavrin's place there, Oskel stays second."""
    evening = Evening("2026-10-29 12:00").until("2026-10-29 12:10")
    evening.say("oskel", "swap", text="Korrin, Saturday").say("korrin", "take")
    assert "korrin tavrin lendow" == evening.order("2026-10-31 20:00")
    assert "oskel tavrin lendow" == evening.order("2026-10-30 20:00")


@pytest.mark.parametrize(
    ("who", "text", "why"),
    [
        ("korrin", "", "you are not on the duty list of that night"),
        ("tavrin", "tavrin", "name whom you ask, such as SWAP OSKEL"),
        ("tavrin", "nemo", "'nemo' is nobody here"),
        ("tavrin", "oskel lendow", "a swap names one person and one day, such as SWAP OSKEL SAT"),
        ("tavrin", "oskel sat sun", "a swap names one person and one day, such as SWAP OSKEL SAT"),
    ],
)
def test_swaps_that_cannot_be_taken(who: str, text: str, why: str) -> None:
    """Each is refused with its reason, and nobody is asked."""
    evening = Evening("2026-10-27 12:00").until("2026-10-27 12:10").say(who, "swap", text=text)
    assert [why] == [refusal.why for refusal in evening.watch.refusals]
    assert [] == evening.asked


# Sleeping on site


def test_who_sleeps_on_site_is_first_until_the_morning() -> None:
    """Korrin sleeps there: first of all, due two minutes after the text, until 07:00."""
    evening = Evening("2026-10-27 20:00").until("2026-10-27 20:10").say("korrin", "sleep")
    assert "korrin tavrin oskel lendow" == evening.order("2026-10-28 06:59")
    assert "tavrin oskel lendow" == evening.order("2026-10-28 07:00")
    assert "tavrin oskel lendow" == evening.until("2026-10-28 07:10").order("2026-10-28 06:00")


def test_every_text_about_duty_fits() -> None:
    """Whatever was sent above with the sample names has at most 160 places."""
    evening = Evening("2026-10-16 17:00").until("2026-10-16 19:00")
    evening.say("oskel", "storm", text="sat 22:00").until("2026-10-17 23:00")
    assert all(0 < (places(body) or 999) <= 160 for body in evening.bodies)
