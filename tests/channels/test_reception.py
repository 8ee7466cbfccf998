"""Answers come in: who says it, what becomes of it, and what is said back."""

from dataclasses import replace

import pytest

from channels.people import EVENT, NOW, OSKEL, TAVRIN, SmallWatch, setup
from monitor.channels.base import Message
from monitor.channels.hearing import Heard, NotTaken
from monitor.channels.letter import compose
from monitor.channels.meaning import LATE, Puzzle, Stranger, meaning, thread_mark
from monitor.channels.reception import ASK_AGAIN, MOST, TOLD_AGAIN
from monitor.effects import Text
from monitor.inputs import Answer, Moment
from monitor.logic.gsm import LIMIT, places
from monitor.logic.state import Durable
from monitor.setup import Person

ONE_OPEN = Durable(events={41: EVENT})


def heard(text: str, sender: str = TAVRIN.phone, **more: object) -> Heard:
    """A message, by text unless told otherwise."""
    given: dict[str, object] = {"way": "text", "channel": "modem", **more}
    return Heard(sender, text, **given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("sender", "way", "who"),
    [
        ("+19405550141", "text", "tavrin"),
        ("+1 (940) 555-0142", "text", "oskel"),
        ("tavrin@example.org", "mail", "tavrin"),
        ("OSKEL@example.ORG", "mail", "oskel"),
    ],
)
def test_people_are_known_by_number_or_address(sender: str, way: str, who: str) -> None:
    """The exact number or address of the set-up names the person, however it is written."""
    found = meaning(setup(), ONE_OPEN, heard("OK 41", sender, way=way), NOW)
    assert Answer(NOW, "take", who, 41, way=way) == found


@pytest.mark.parametrize(
    ("sender", "way"),
    [
        ("+19405550199", "text"),
        ("9405550141", "text"),
        ("+194055501411", "text"),
        ("+1940555014", "text"),
        ("+19405550141;x", "text"),
        ("tavrin", "text"),
        ("Tavrin", "text"),
        ("", "text"),
        ("+", "text"),
        ("\uff0b19405550141", "text"),
        ("tavrin@example.org", "text"),
        ("+19405550141", "mail"),
        ("xtavrin@example.org", "mail"),
        ("tavrin@example.org.evil.example", "mail"),
        ("", "mail"),
    ],
)
def test_anybody_else_is_a_stranger(sender: str, way: str) -> None:
    """A number that only resembles one, a name, or the wrong way is nobody."""
    nobody = Person("korrin", "Korrin")
    found = meaning(setup(nobody), ONE_OPEN, heard("OK 41", sender, way=way), NOW)
    assert Stranger("sender is nobody of the set-up", "take", 41) == found


def test_stranger_is_refused_recorded_and_told_nothing() -> None:
    """OK 41 from an unknown number changes nothing, stands in the record, and gets no reply."""
    watch = SmallWatch(EVENT)
    assert [] == watch.text("OK 41", "+19405550199")
    assert EVENT == watch.state.durable.events[41]
    assert [("answer", "refused", "unknown sender +19405550199")] == [
        (row.what, row.state, row.who) for row in watch.journal
    ]


def test_manager_hears_of_a_stranger_once_an_hour() -> None:
    """An answer of nobody is told to the lab manager by all ways, in one text an hour."""
    lendow = Person("lendow", "Lendow", "lendow@example.org", channels=("modem", "mail"))
    watch = SmallWatch(EVENT, people=(lendow,))
    told = watch.text("OK 41", "+19405550199")
    assert 2 == len(told)
    assert (
        'Ostrel: "OK 41" came from +19405550199, who is nobody of duty.toml. '
        "Not taken. If it is one of you, correct duty.toml." == told[0]
    )
    assert [(lendow, "modem"), (lendow, "mail")] == [(s.person, s.channel) for s in watch.said]
    assert [] == watch.text("WHO", "+19405550198")
    watch.clock.advance_to(NOW.elapsed + TOLD_AGAIN)
    assert 2 == len(watch.text("HERE 41 " + "x" * 300, f"{'+1' * 100}"))
    assert all((places(said.body) or LIMIT + 1) <= LIMIT for said in watch.said)


def test_manager_sleeps_while_nothing_is_open() -> None:
    """By night and without an event a stranger wakes nobody; what is no command never does."""
    lendow = Person("lendow", "Lendow", "lendow@example.org", channels=("mail",))
    watch = SmallWatch(people=(lendow,))
    assert [] == watch.text("OK 41", "+19405550199")
    watch = SmallWatch(EVENT, people=(lendow,))
    assert [] == watch.text("You have won", "+19405550199")


def test_sender_named_like_a_person_is_a_stranger() -> None:
    """Whoever lets a text come from the name "tavrin" does not answer for Tavrin."""
    watch = SmallWatch(EVENT)
    assert [] == watch.text("OK 41", "tavrin")
    assert "" == watch.state.durable.events[41].taken_by


def test_small_letters_without_a_blank_take_the_event() -> None:
    """ok41 from Oskel takes the event, and it is confirmed with the time due."""
    watch = SmallWatch(EVENT)
    expected = "Ostrel: you have 41, due 01:50. HERE 41 when in, NO 41 if you cannot."
    assert [expected] == watch.text("ok41", "+19405550142")
    assert "oskel" == watch.state.durable.events[41].taken_by
    assert (OSKEL, "modem", 41) == (
        watch.said[0].person, watch.said[0].channel, watch.said[0].event,
    )  # fmt: skip


def test_answers_of_a_night_are_confirmed_as_they_stand() -> None:
    """Each answer is confirmed by what is now so, also who has it if somebody else does."""
    watch = SmallWatch(EVENT)
    assert ["Ostrel: you have 41, due 02:00. HERE 41 when in, NO 41 if you cannot."] == watch.text(
        "OK 41 40"
    )
    assert ["Ostrel: 41: noted. Tavrin has it."] == watch.text("OK 41 50", OSKEL.phone)
    assert ["Ostrel: 41: on site noted. See water run before you leave."] == watch.text("HERE 41")
    assert ["Ostrel: 41: noted. Still owed: cause, timers."] == watch.text("DEAD 61")
    assert ["Ostrel: 41: noted. Still owed: timers."] == watch.text("DONE 41 Cause breaker B1")
    assert ["dead count: 61", "cause: breaker B1"] == [
        row.text for row in watch.journal if row.state == "done"
    ]
    assert ["Ostrel: 41: noted that you cannot. Tavrin has it."] == watch.text("NO 41", OSKEL.phone)
    assert ["Ostrel: 41: noted that you cannot. The next is called."] == watch.text("NO 41")
    assert ["Ostrel: your note is in the record."] == watch.text("NOTE pump hot")
    assert ["Ostrel: hold till 02:05. HOLD END ends it."] == watch.text("HOLD S1 45")
    assert ["Ostrel: the hold is over."] == watch.text("HOLD END S1")


def test_refusal_of_the_watch_is_told() -> None:
    """What the watch cannot take comes back with its reason."""
    watch = SmallWatch(EVENT)
    assert ["Not taken: there is no event 40."] == watch.text("OK 40")
    assert ["Not taken: a promise is between 0 and 600 minutes."] == watch.text("OK 41 700")
    assert ["Not taken: no line ''; a hold names one of S1, S2."] == watch.text("HOLD 45")


def test_number_may_be_left_out_while_one_event_is_open() -> None:
    """A bare OK takes the only open event, and is refused where there are two."""
    watch = SmallWatch(EVENT)
    assert ["Ostrel: you have 41, due 01:50. HERE 41 when in, NO 41 if you cannot."] == watch.text(
        "OK"
    )
    watch = SmallWatch(EVENT, replace(EVENT, number=42, group="heat"))
    assert ["Not taken: 2 events are open: name the number."] == watch.text("OK")


def test_puzzle_is_asked_back_once() -> None:
    """The second unclear text within an hour gets no question; a clear one ends that."""
    watch = SmallWatch(EVENT)
    assert 1 == len(watch.text("driving, will call later"))
    assert [] == watch.text("driving, will call later")
    assert 1 == len(watch.text("hm", OSKEL.phone))
    assert 1 == len(watch.text("NOTE parked"))
    assert 1 == len(watch.text("eh"))
    assert [] == watch.text("eh")
    watch.clock.advance_to(NOW.elapsed + ASK_AGAIN)
    assert 1 == len(watch.text("eh"))
    assert [] == [row for row in watch.journal if row.state == "taken"]


def test_flood_is_cut_off_and_does_not_silence_others() -> None:
    """A sender that floods is not looked at for a while; another person is."""
    watch = SmallWatch(EVENT)
    for _ in range(MOST):
        watch.text("OK 99", "+19405550199")
    rows = len(watch.journal)
    watch.text("OK 41", "+19405550198")
    assert rows == len(watch.journal)
    assert 1 == len(watch.text("OK 41"))
    for _ in range(MOST):
        watch.text("NOTE x")
    assert [] == watch.text("HERE 41")
    assert 1 == len(watch.text("HERE 41", OSKEL.phone))
    watch.clock.advance_to(NOW.elapsed + 600.0)
    assert 1 == len(watch.text("NOW"))


def test_what_the_watch_did_not_get_to_is_offered_again() -> None:
    """A watch that is stuck takes nothing, so the channel keeps the message."""
    watch = SmallWatch(EVENT)
    watch.is_stuck = True
    with pytest.raises(NotTaken):
        watch.text("OK 41")
    watch.is_stuck = False
    assert 1 == len(watch.text("OK 41"))


def test_shared_number_names_nobody() -> None:
    """Two people with one number are told so, and nothing is taken for either."""
    watch = SmallWatch(EVENT, people=(Person("korrin", "Korrin", phone=TAVRIN.phone),))
    (reply,) = watch.text("OK 41")
    assert "Tavrin and Korrin share this sender" in reply
    assert "" == watch.state.durable.events[41].taken_by


@pytest.mark.parametrize(
    ("text", "late", "is_taken"),
    [
        ("OK 41", LATE, True),
        ("OK 41", LATE + 1.0, False),
        ("HOLD S1 45", LATE + 1.0, False),
        ("FLOW 41", 5 * LATE, False),
        ("NOTE hot", 5 * LATE, True),
        ("NO 41", 5 * LATE, True),
    ],
)
def test_late_answer_is_asked_for_again(text: str, late: float, is_taken: bool) -> None:
    """An OK of hours ago does not stop the calling now; a note loses nothing by its age."""
    found = meaning(setup(), ONE_OPEN, heard(text, written=NOW.utc - late), NOW)
    assert is_taken == isinstance(found, Answer)
    if isinstance(found, Puzzle):
        assert found.puzzle.reply.endswith("late. Send it again if it still holds.")


def test_age_counts_only_by_a_trusted_clock() -> None:
    """A board whose clock is not set yet does not call an answer late."""
    now = Moment(1, 5_000.0, NOW.utc, trusted=False)
    assert isinstance(meaning(setup(), ONE_OPEN, heard("OK 41", written=0.0), now), Answer)


def test_reply_to_a_mail_of_another_rig_is_not_ours() -> None:
    """Event 41 of another rig in the same mailbox is not event 41 of this one."""
    ours, other = thread_mark("Ostrel", 41), thread_mark("Other", 41)
    mail = {"way": "mail", "channel": "mail", "event": 41}
    taken = meaning(setup(), ONE_OPEN, heard("OK", TAVRIN.mail, mark=ours, **mail), NOW)
    assert Answer(NOW, "take", "tavrin", 41, way="mail") == taken
    found = meaning(setup(), ONE_OPEN, heard("OK", TAVRIN.mail, mark=other, **mail), NOW)
    assert isinstance(found, Puzzle)
    assert "answers a mail of another rig" == found.puzzle.reason


def test_mark_is_the_one_that_mails_bear() -> None:
    """The mark of a thread is what `letter.compose` puts into References."""
    text = Text(7, 41, "tavrin", "supply lost", "urgent", "MAINS OFF", NOW, 9_999.0)
    message = Message(text, TAVRIN, "Ostrel", setup().local(NOW.utc))
    references = compose(message, "watch@example.org", "")["References"]
    assert f"<event-41-{thread_mark('Ostrel', 41)}@example.org>" == references


def test_now_tells_each_value_with_its_age() -> None:
    """NOW gives open events and each good value; a tag without a reading is left out."""
    watch = SmallWatch(EVENT)
    assert ["Ostrel Sun 01:20. Open: 41."] == watch.text("NOW")
    watch.read("LH", 37.0)
    watch.clock.advance_to(NOW.elapsed + 4.0)
    assert ["Ostrel Sun 01:20. Open: 41. LH 37.0 cm 4s"] == watch.text("NOW")
    assert [] == watch.answers


def test_who_tells_the_call_order() -> None:
    """WHO gives who is called in which order, and who has what."""
    watch = SmallWatch(EVENT)
    assert ["Ostrel on duty: Tavrin, Oskel. 41: nobody has it."] == watch.text("WHO")
    watch.text("OK 41")
    assert ["Ostrel on duty: Tavrin, Oskel. 41: Tavrin has it."] == watch.text("who?")


def test_whatever_is_said_fits_one_text() -> None:
    """Replies stay in 160 places and in the alphabet, whatever came in."""
    many = tuple(replace(EVENT, number=number) for number in range(100, 160))
    watch = SmallWatch(*many, people=tuple(Person(f"p{n}", "Korrin" * 3) for n in range(20)))
    hostile = ["WHO", "NOW", "OK", "HOLD \u4e2d" + "x" * 500 + " 45", "DONE 100 " + "\u4e2d" * 400]
    for text in hostile:
        for reply in watch.text(text):
            assert LIMIT >= (places(reply) or LIMIT + 1)


def test_channel_without_a_way_back_says_nothing() -> None:
    """Where no channel is named for answers, none is tried."""
    watch = SmallWatch(EVENT)
    watch.reception.take(Heard(TAVRIN.mail, "OK 41", "mail", ""))
    assert "tavrin" == watch.state.durable.events[41].taken_by
    assert [] == watch.said
