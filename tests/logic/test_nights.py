"""Whole nights of the worked scenario through the logic: who is told what, and when.

Times may differ by 30 s from the scenario's; whole texts are compared, temperatures within 0.1 C.
"""

import re
from dataclasses import replace

import pytest

from logic.play import Watch, cast, night, on_story, play, sample, unhurried, with_tags, without
from monitor.rig import Tag
from monitor.simulator import Story, nights
from monitor.simulator.story import Action, Say, after
from monitor.units import L_PER_MIN

pytestmark = pytest.mark.long

TOLERANCE = 30.0
Told = list[tuple[str, str, str]]

OUTAGE: Told = [
    ("supply lost", "tavrin", "01:19:00"),
    ("siphon broken", "tavrin", "01:41:17"),
    ("reminder", "tavrin", "01:52:00"),
    ("next call", "oskel", "01:57:00"),
    ("power back, no flow", "oskel", "03:10:20"),
    ("still no flow", "oskel", "03:25:00"),
    ("flow proven", "oskel", "03:32:00"),
    ("flow proven", "tavrin", "03:32:00"),
]
OUTAGE_TEXTS = """
URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling. Siphon breaks about 01:40. Go: check air, then shut siphon valve. 26.5C. Reply OK 41.
WORSE Ostrel LT1 Sun 01:41. SIPHON BROKEN 01:41, no flow to larvae. Mains off. Air first; bring primer, prime when power is back. Tavrin has 41, due 01:52.
REMINDER Ostrel LT1 Sun 01:52. You took 41, due now. MAINS OFF, no flow since 01:41. Send HERE 41 when in, NO 41 if you cannot. Oskel is called 01:57.
2ND CALL Ostrel LT1 Sun 01:57. Tavrin took 41, due 01:52, not on site. MAINS OFF, no flow since 01:41. You are next: go, air first, bring primer. Reply OK 41.
URGENT Ostrel LT1 Sun 03:10. Power back 03:05 but NO FLOW to larvae since 01:41. Header full about 03:19. Prime siphon by hand, see it run. Reply OK 41.
URGENT Ostrel LT1 Sun 03:25. STILL NO FLOW since 01:41. Bleed crest, prime again. Header full and spilling: it looks well and is not. 26.2C. Reply OK 41.
FLOW BACK Ostrel LT1 Sun 03:32. Flow 6.0 since 03:28, header 38cm, mains on 03:05. No flow 01:41-03:28. Owed by 09:00: dead count, cause, timers. 41 open.
FLOW BACK Ostrel LT1 Sun 03:32. Flow 6.0 since 03:28, header 38cm, mains on 03:05. No flow 01:41-03:28. Owed by 09:00: dead count, cause, timers. 41 open.
"""
CUP_TEXTS = """
URGENT Ostrel LT1 Sun 01:19. MAINS OFF at pump 01:18: supply PRESUMED lost. Siphon breaks about 01:39 (drain test). Go: air, shut siphon valve. Reply OK 41.
WORSE Ostrel LT1 Sun 01:41. Cup shows NO FLOW since 01:41. Mains off. Air first; bring primer, prime when power is back. Tavrin has 41, due 01:52.
REMINDER Ostrel LT1 Sun 01:52. You took 41, due now. MAINS OFF, no flow since 01:41. Send HERE 41 when in, NO 41 if you cannot. Oskel is called 01:57.
2ND CALL Ostrel LT1 Sun 01:57. Tavrin took 41, due 01:52, not on site. MAINS OFF, no flow since 01:41. You are next: go, air first, bring primer. Reply OK 41.
URGENT Ostrel LT1 Sun 03:10. Power back 03:05 but cup shows NO FLOW since 01:41. Prime siphon by hand, see the cup fill and stay full. Reply OK 41.
URGENT Ostrel LT1 Sun 03:25. Power back 03:05 but cup shows NO FLOW since 01:41. Prime siphon by hand, see the cup fill and stay full. Reply OK 41.
FLOW BACK Ostrel LT1 Sun 03:32. Cup shows flow since 03:28, litres not measured. No flow 01:41-03:28. Owed by 09:00: dead count, cause, timers. 41 open.
FLOW BACK Ostrel LT1 Sun 03:32. Cup shows flow since 03:28, litres not measured. No flow 01:41-03:28. Owed by 09:00: dead count, cause, timers. 41 open.
"""
BLIND: Told = [
    *OUTAGE[:6],
    ("flow proven by hand", "oskel", "03:33:00"),
    ("flow proven by hand", "tavrin", "03:33:00"),
    ("asked again", "oskel", "04:03:00"),
]
BLIND_TEXTS = """
URGENT Ostrel LT1 Sun 01:19. MAINS OFF at pump 01:18: supply PRESUMED lost. Siphon breaks about 01:39 (drain test). Go: air, shut siphon valve. Reply OK 41.
WORSE Ostrel LT1 Sun 01:41. Siphon PRESUMED broken about 01:41 (drain test; flow not measured). Mains off. Air first, bring primer. Tavrin has 41.
REMINDER Ostrel LT1 Sun 01:52. You took 41, due now. MAINS OFF, siphon PRESUMED broken 01:41. Send HERE 41 when in, NO 41 if you cannot. Oskel is called 01:57.
2ND CALL Ostrel LT1 Sun 01:57. Tavrin due 01:52, not on site. MAINS OFF, siphon PRESUMED broken 01:41. You are next: go, air first, bring primer. Reply OK 41.
URGENT Ostrel LT1 Sun 03:10. Power back 03:05. Siphon PRESUMED broken since 01:41, flow not measured. Prime by hand, bucket check, then send FLOW 41.
URGENT Ostrel LT1 Sun 03:25. Power back 03:05. Siphon PRESUMED broken since 01:41, flow not measured. Prime by hand, bucket check, then send FLOW 41.
FLOW BACK Ostrel LT1 Sun 03:33 by bucket check, Oskel. No flow PRESUMED 01:41-03:33. Asked again 04:03. Owed by 09:00: dead count, cause, timers. 41 open.
FLOW BACK Ostrel LT1 Sun 03:33 by bucket check, Oskel. No flow PRESUMED 01:41-03:33. Asked again 04:03. Owed by 09:00: dead count, cause, timers. 41 open.
ASK Ostrel LT1 Sun 04:03. Is the siphon still running? Look at it, then send FLOW 41. If not: prime it first. No answer by 04:18: the next is called.
"""
STORM: Told = [
    ("storm footing", "oskel", "23:50:00"),
    ("storm footing", "tavrin", "23:50:00"),
    ("supply lost", "oskel", "00:10:30"),
    ("supply lost again", "oskel", "00:19:30"),
    ("supply lost again", "oskel", "00:32:30"),
    ("reminder", "oskel", "00:47:00"),
    ("siphon broken", "oskel", "00:50:40"),
    ("next call", "tavrin", "00:52:00"),
    ("somebody has it", "tavrin", "00:54:00"),
    ("power back, no flow", "oskel", "02:37:20"),
    ("flow proven", "oskel", "02:45:00"),
    ("flow proven", "tavrin", "02:45:00"),
]


STORM_TEXTS = """
STORM FOOTING Ostrel Fri 23:50. By Oskel, till Sat 22:00. Mains is told at once, nothing waits for the morning, you are asked for a sign of life each 2 hours.
STORM FOOTING Ostrel Fri 23:50. By Oskel, till Sat 22:00. Mains is told at once, nothing waits for the morning, you are asked for a sign of life each 2 hours.
URGENT Ostrel LT1 Sat 00:10. MAINS OFF 00:10, header 38cm falling. Siphon breaks about 00:32. Go: check air, then shut siphon valve. 26.5C. Reply OK 44.
URGENT Ostrel LT1 Sat 00:19. MAINS OFF AGAIN 00:19, header 37cm. Siphon breaks about 00:40. Still event 44: check air, shut siphon valve. Oskel due 00:47.
URGENT Ostrel LT1 Sat 00:32. MAINS OFF AGAIN 00:32, header 32cm, 26 L short. Siphon breaks about 00:49. Still event 44: shut siphon valve. Oskel due 00:47.
REMINDER Ostrel LT1 Sat 00:47. You took 44, due now. MAINS OFF, siphon breaks about 00:50. Send HERE 44 when in, NO 44 if you cannot. Tavrin is called 00:52.
WORSE Ostrel LT1 Sat 00:50. SIPHON BROKEN 00:50, no flow to larvae. Mains off. Air first; bring primer, prime when power is back. Oskel has 44, due 00:47.
2ND CALL Ostrel LT1 Sat 00:52. Oskel took 44, due 00:47, not on site. MAINS OFF, no flow since 00:50. You are next: go, air first, bring primer. Reply OK 44.
NOTICE Ostrel LT1 Sat 00:54. Oskel has 44, on site 00:54. You need not go.
URGENT Ostrel LT1 Sat 02:37. Power back 02:32 but NO FLOW to larvae since 00:50. Header full about 02:46. Prime siphon by hand, see it run. Reply OK 44.
FLOW BACK Ostrel LT1 Sat 02:45. Flow 5.8 since 02:41, header 30cm, mains on 02:32. No flow 00:50-02:41. Owed by 09:00: dead count, cause, timers. 44 open.
FLOW BACK Ostrel LT1 Sat 02:45. Flow 5.8 since 02:41, header 30cm, mains on 02:32. No flow 00:50-02:41. Owed by 09:00: dead count, cause, timers. 44 open.
"""


def same_told(wanted: Told, played: Watch) -> None:
    """Exactly these turns to these people, each within half a minute."""
    assert [item[:2] for item in wanted] == [item[:2] for item in played.told]
    for (turn, _, clock), text in zip(wanted, played.texts, strict=True):
        late = text.moment.elapsed - played.elapsed(clock)
        assert abs(late) <= TOLERANCE, (turn, clock, late)


def same_bodies(wanted: str, played: Watch) -> None:
    """The same texts place by place, a temperature within 0.1 C."""
    lines = wanted.strip().splitlines()
    assert len(lines) == len(played.texts)
    for line, text in zip(lines, played.texts, strict=True):
        warm = re.compile(r"\b(\d\d\.\d)C")
        assert warm.sub("_", line) == warm.sub("_", text.body)
        for ours, theirs in zip(warm.findall(line), warm.findall(text.body), strict=True):
            assert float(theirs) == pytest.approx(float(ours), abs=0.11)


# The night outage, I4


def test_outage_second_by_second() -> None:
    """I4 on the rig as it is, every sensor at its own pace: the texts, their times, their words."""
    played = on_story("ostrel-hill", nights.night_outage(), 41)
    same_told(OUTAGE, played)
    same_bodies(OUTAGE_TEXTS, played)
    assert ("closed", ()) == (played.event(41).stage, played.event(41).owed)
    assert {41} == {text.event for text in played.texts}


@pytest.mark.parametrize("seed", [1, 2])
def test_outage_whatever_the_noise(seed: int) -> None:
    """Other noise gives the same texts at the same times."""
    played = night("outage") if seed == 1 else play(*cast("outage"), seed)
    same_told(OUTAGE, played)
    same_bodies(OUTAGE_TEXTS, played)


def test_outage_is_latched_through_the_return() -> None:
    """Neither power, nor a full header, nor 40 s of 2.1 L/min ends it: only the proof at 03:32."""
    played = night("outage")
    rows = [
        (played.at(row.moment.elapsed), row.state)
        for row in played.rows
        if row.what == "event" and row.state != "joined"
    ]
    assert ["open", "promise missed", "flow proven", "closed"] == [state for _, state in rows]
    assert "03:32:00" == rows[2][0]
    broken = [row for row in played.rows if row.subject == "siphon broken/S1"]
    cleared = next(row for row in broken if row.what == "condition" and row.state == "false")
    assert played.elapsed("03:32:00") <= cleared.moment.elapsed


def test_stopped_span_of_the_outage() -> None:
    """No flow from 01:41 to 03:28: 107 minutes."""
    event = night("outage").event(41)
    assert event.no_flow_since is not None
    assert event.flow_since is not None
    assert 107 == round((event.flow_since - event.no_flow_since) / 60.0)
    assert not event.no_flow_presumed


def test_only_the_texts_wake_anybody() -> None:
    """What follows from the outage (header, sump, sensors of it) is recorded and not told."""
    played = night("outage")
    conditions = {row.subject for row in played.rows if row.what == "condition"}
    assert {"header low/HD1/warn", "header low/HD1/alarm", "sump high/SU1/warn"} <= conditions
    assert {41} == set(played.state.durable.events)


# W1: three losses, one number


def test_storm_night() -> None:
    """W1 on storm footing: ten texts under one number, word for word; the driver is never told to
    turn round, and nobody is asked for a sign of life while an event is called."""
    played = night("storm")
    same_told(STORM, played)
    same_bodies(STORM_TEXTS, played)
    assert {44} == set(played.state.durable.events)


def test_storm_night_with_the_valve_shut_in_time() -> None:
    """The branch with the valve shut at 00:49:50: the prime is kept, no siphon is called broken;
    the missing flow is told once power is back, with its own time, and proof ends it."""
    played = night("storm, valve shut")
    turns = [turn for turn, _, _ in played.told]
    assert not {"siphon broken", "no flow"} & set(turns)
    text = next(text for text in played.texts if text.turn == "power back, no flow")
    assert "since 00:49" in text.body and "open the siphon valve" in text.body
    assert "flow proven" == turns[-1]


# W2: a short dip


def test_short_dip() -> None:
    """W2: one text, then one notice and nobody else called; the event closes itself."""
    played = night("dip")
    same_told(
        [("supply lost", "tavrin", "02:08:00"), ("flow never stopped", "tavrin", "02:12:20")],
        played,
    )
    assert played.texts[1].body == (
        "NOTICE Ostrel LT1 Wed 02:12. Power off 02:07, back 02:10. Flow NEVER stopped. "
        "Header full about 02:16. No reply needed. Owed by 09:00: light timer, cooling."
    )
    event = played.event(71)
    assert ("closed", ()) == (event.stage, event.owed)
    assert event.closed == pytest.approx(played.elapsed("02:21:25"), abs=TOLERANCE)


def test_answer_to_a_dip_is_taken_and_not_needed() -> None:
    """Between the notice and the close an OK is taken; it calls nobody and owes nothing."""
    setup, story, number = cast("dip")
    said = Say(after(story.start, "02:15:00"), "tavrin", "take", number)
    played = play(setup, replace(story, says=(said,)), number)
    assert ([], 2) == (played.refusals, len(played.texts))
    assert "closed" == played.event(number).stage


def test_short_dip_by_the_cup() -> None:
    """W2 on the first-night set: what the cup shows is said as such, litres are not made up."""
    played = night("dip, cup")
    same_told(
        [("supply lost", "tavrin", "02:08:00"), ("flow never stopped", "tavrin", "02:12:10")],
        played,
    )
    assert "Cup shows flow throughout." in played.texts[1].body
    assert "header" not in played.texts[1].body


def test_short_dip_without_a_witness() -> None:
    """Where nothing shows flow, that it never stopped is PRESUMED and so called; still nobody
    else is woken for three minutes without power."""
    for setup in (cast("dip, no witness")[0], with_tags(cast("dip")[0], "MP")):
        played = play(setup, nights.short_dip(), 71)
        same_told(
            [("supply lost", "tavrin", "02:08:00"), ("flow never stopped", "tavrin", "02:12:10")],
            played,
        )
        assert "Flow PRESUMED never stopped" in played.texts[1].body
        assert "closed" == played.event(71).stage


# W3: the outage on the first-night set


def test_outage_by_the_cup() -> None:
    """W3 with the flow witness: seen by the cup, word for word."""
    played = night("outage, cup")
    same_told(OUTAGE, played)
    same_bodies(CUP_TEXTS, played)


def test_outage_without_a_witness() -> None:
    """W3 without: presumed by drain test, ended by a named person's bucket, and asked again."""
    played = night("outage, no witness")
    same_told(BLIND, played)
    same_bodies(BLIND_TEXTS, played)
    assert "closed" == played.event(41).stage


def test_nothing_inferred_without_the_word() -> None:
    """On a rig that sees no flow, every text that speaks of the siphon or its flow says PRESUMED,
    or that a person looked, or asks."""
    for text in night("outage, no witness").texts:
        if re.search(r"broken|[Nn]o flow|FLOW BACK", text.body):
            assert "PRESUMED" in text.body, text.body


# Days


def test_hold_overrun() -> None:
    """I1: told at 13:20 to the person who began the hold, ended by proof at 13:35."""
    played = night("hold overrun")
    same_told(
        [("hold overrun", "tavrin", "13:20:00"), ("flow proven", "tavrin", "13:35:00")], played
    )
    assert played.texts[0].body == (
        "HIGH Ostrel LT1 Fri 13:20. FLOW STILL OFF. Feeding hold ended 13:10, off since 12:30. "
        "Open the siphon valve and see it run. More time: HOLD 30. Reply OK 17."
    )
    assert "No flow 13:10-13:31." in played.texts[1].body
    assert ("closed", ()) == (played.event(17).stage, played.event(17).owed)


def test_thermometer_fault() -> None:
    """I2: one notice at 10:20 to the first on duty, no heat alarm, over ten minutes after 13:05."""
    played = night("thermometer")
    same_told([("sensor faulty", "oskel", "10:20:00")], played)
    body = played.texts[0].body
    assert body.startswith("NOTICE Ostrel LT1 Sat 10:20. Sensor TW1 bad since 10:17")
    assert "TW2 says 26.5C" in body
    assert not [row for row in played.rows if row.subject.startswith("temperature")]
    over = next(
        row for row in played.rows if row.subject == "sensor faulty/TW1" and row.state == "false"
    )
    assert over.moment.elapsed == pytest.approx(played.elapsed("13:15:00"), abs=TOLERANCE)


def test_outlet_screen() -> None:
    """I7: one text, high, 60 s after +15 mm; the sinking sump is folded in."""
    played = night("screen")
    same_told([("tank high", "tavrin", "18:23:40"), ("well again", "tavrin", "18:32:10")], played)
    assert "Lower flow, change the outlet screen." in played.texts[0].body
    assert {61} == set(played.state.durable.events)


# Stories of one fault each. The clock of all of them starts on the night of the outage.

START = "2026-10-18T00:45:00"
FULL = 6.0 * L_PER_MIN


def do(clock: str, verb: str, what: str = "", value: float | None = None) -> Action:
    """What happens at a clock time."""
    return Action(after(START, clock), verb, what, value)


def say(clock: str, who: str, kind: str, number: int | None = None, **more: float | str) -> Say:
    """What a person says at a clock time."""
    return Say(after(START, clock), who, kind, number, **more)  # type: ignore[arg-type]


def story(end: str, *steps: Action | Say) -> Story:
    """A story from 00:45 to `end`."""
    actions = tuple(step for step in steps if isinstance(step, Action))
    says = tuple(step for step in steps if isinstance(step, Say))
    return Story("test", START, after(START, end), FULL, actions=actions, says=says)


def turns(played: Watch) -> list[str]:
    """The turns told, each once, in order."""
    return list(dict.fromkeys(turn for turn, _, _ in played.told))


HILL = unhurried(sample("ostrel-hill"), 5.0)
SLOW = unhurried(sample("ostrel-hill"))
LEAN = with_tags(SLOW, "MP", "MA", "QS", "QL", "LH", "TW1", "PA")
FIRST = unhurried(sample("first-night"))
BLIND_SET = without(FIRST, "QW")


def test_level_echo() -> None:
    """One echo of the header gauge (383, 70, 383 mm) makes no event and no condition."""
    played = play(LEAN, story("01:30:00", do("01:18:05", "sensor reads", "LH", 7.0)))
    assert ([], {}) == (played.texts, played.state.durable.events)


@pytest.mark.parametrize("setup", [sample("ostrel-hill"), sample("first-night")])
def test_flicker(setup: object) -> None:
    """Three dips of the mains of 2 s, 1 s and 2 s: no text to anybody."""
    dips = ("01:18:00", "01:18:02", "01:18:05", "01:18:06", "01:18:20", "01:18:22")
    actions = [do(clock, ("mains off", "mains on")[place % 2]) for place, clock in enumerate(dips)]
    played = play(setup, story("01:30:00", *actions))  # type: ignore[arg-type]
    assert [] == played.texts
    assert all(event.stage == "closed" for event in played.state.durable.events.values())


def test_answers_that_cannot_be_taken() -> None:
    """An OK from a stranger at 01:20, a bucket check at 02:40 while the meter shows nothing, an OK
    after the close: each is refused with its reason, and the night goes on as if never said."""
    setup, outage, number = cast("outage")
    strange = [
        say("01:20:00", "stranger", "take", number),
        say("02:40:00", "oskel", "flow", number),
        say("04:50:00", "tavrin", "take", number),
    ]
    played = play(setup, replace(outage, says=(*outage.says, *strange)), number)
    assert [
        "'stranger' is not in the list of people",
        "LT1: a sensor shows no flow; prime again and look",
        f"event {number} is closed",
    ] == [refusal.why for refusal in played.refusals]
    assert ["stranger", "oskel", "tavrin"] == [refusal.who for refusal in played.refusals]
    assert night("outage").state.durable == played.state.durable
    assert [t.body for t in night("outage").texts] == [t.body for t in played.texts]


# Holds


def test_hold_quiets_only_the_flow() -> None:
    """A full hold makes no text; air that fails in it does."""
    steps: list[Action | Say] = [
        do("01:00:00", "valve", value=0.0),
        say("01:00:00", "tavrin", "hold", minutes=40.0),
    ]
    quiet = play(LEAN, story("01:39:00", *steps))
    assert [] == quiet.texts
    air = play(LEAN, story("01:39:00", *steps, do("01:05:00", "sensor gain", "PA", 0.1)))
    assert ["air low"] == turns(air)[:1]


def test_outage_in_a_full_hold() -> None:
    """The valve is shut by intent when the power dips: told, ended by one notice that says why
    nothing flows; the break is reckoned from the flow to come, not from the one just shut off."""
    played = play(
        LEAN,
        story(
            "02:00:00",
            do("01:00:00", "valve", value=0.0),
            say("01:00:00", "tavrin", "hold", minutes=40.0),
            do("01:05:00", "mains off"),
            do("01:08:00", "mains on"),
            do("01:39:00", "valve", value=FULL),
        ),
        41,
    )
    same_told(
        [("supply lost", "tavrin", "01:06:00"), ("flow never stopped", "tavrin", "01:10:20")],
        played,
    )
    assert "Siphon breaks about 01:27." in played.texts[0].body
    assert "Flow is off for feeding till 01:40." in played.texts[1].body
    assert "closed" == played.event(41).stage


def test_long_outage_in_a_hold() -> None:
    """Power stays away past the hold and somebody opens the valve: the siphon breaks and is told."""
    played = play(
        LEAN,
        story(
            "02:20:00",
            do("01:00:00", "valve", value=0.0),
            say("01:00:00", "tavrin", "hold", minutes=30.0),
            do("01:05:00", "mains off"),
            do("01:30:00", "valve", value=FULL),
        ),
        41,
    )
    assert ["supply lost", "next call"] == turns(played)[:2]
    broken = next(text for text in played.texts if text.turn == "siphon broken")
    assert broken.moment.elapsed == pytest.approx(played.elapsed("01:53:00"), abs=60.0)


def test_hold_whose_valve_was_never_shut_ends_by_itself() -> None:
    """A hold without a shut valve is over at its end; a later failure is no overrun of it."""
    played = play(
        LEAN,
        story(
            "02:40:00",
            say("01:00:00", "tavrin", "hold", minutes=30.0),
            do("02:30:00", "air lock"),
        ),
    )
    same_told([("no flow", "tavrin", "02:33:00"), ("next call", "oskel", "02:38:00")], played)
    assert ("urgent", {}) == (played.texts[0].grade, played.state.durable.holds)


def test_overrun_of_a_reduced_hold() -> None:
    """Flow left at 2.0 L/min is still low, not off; nothing is recorded as stopped, none owed."""
    played = play(
        LEAN,
        story(
            "02:10:00",
            do("01:00:00", "valve", value=2.0 * L_PER_MIN),
            say("01:00:00", "tavrin", "hold", minutes=30.0),
            do("01:44:00", "valve", value=FULL),
        ),
        17,
    )
    same_told(
        [
            ("hold overrun", "tavrin", "01:40:00"),
            ("next call", "oskel", "01:45:00"),
            ("well again", "oskel", "01:47:00"),
            ("well again", "tavrin", "01:47:00"),
        ],
        played,
    )
    assert "FLOW STILL LOW, 2.0." in played.texts[0].body
    assert "OFF" not in played.texts[0].body
    assert ("closed", None) == (played.event(17).stage, played.event(17).no_flow_since)


def test_overrun_that_nobody_can_see() -> None:
    """The meter dies in the hold: the text says that flow is not seen, not that it is off."""
    played = play(
        LEAN,
        story(
            "01:45:00",
            do("01:00:00", "valve", value=0.0),
            say("01:00:00", "tavrin", "hold", minutes=30.0),
            do("01:10:00", "sensor silent", "QL"),
        ),
    )
    text = next(text for text in played.texts if text.turn == "hold overrun")
    assert "FLOW NOT SEEN." in text.body


# Other ways to lose the water


def test_pump_stopped_with_the_mains_on() -> None:
    """The plug is in and the pump dead: told by meter and header as if by an outage, and the
    return is called one of the supply, the mains having never gone."""
    played = play(
        LEAN,
        story(
            "03:35:00",
            do("01:18:00", "pump stop"),
            say("01:22:00", "tavrin", "take", 41, minutes=150.0),
            do("03:05:00", "pump start"),
            do("03:28:20", "prime"),
        ),
        41,
    )
    same_told(
        [
            ("supply lost", "tavrin", "01:19:10"),
            ("siphon broken", "tavrin", "01:41:20"),
            ("power back, no flow", "tavrin", "03:10:20"),
            ("still no flow", "tavrin", "03:25:20"),
            ("flow proven", "tavrin", "03:32:00"),
        ],
        played,
    )
    bodies = [text.body for text in played.texts]
    assert bodies[0] == (
        "URGENT Ostrel LT1 Sun 01:19. SUPPLY LOST 01:18, mains on, header 37cm falling. "
        "Siphon breaks about 01:40. Go: look at pump, shut siphon valve. Reply OK 41."
    )
    assert "prime when header is full" in bodies[1]
    assert "Supply back 03:05 but NO FLOW" in bodies[2]
    assert all("ower back" not in body and "mains on 0" not in body for body in bodies)


PUMP_FAILS = story(
    "03:40:00",
    do("01:18:00", "pump stop"),
    say("02:00:00", "tavrin", "take", 41, minutes=150.0),
    do("03:05:00", "pump start"),
    say("03:33:00", "tavrin", "flow", 41),
)
"""Nobody primes and no sensor sees the flow: a header that fills again proves nothing."""


@pytest.mark.parametrize(
    "setup",
    [
        with_tags(SLOW, "LH", "MP"),
        with_tags(SLOW, "LH"),
        with_tags(SLOW, "LHf", "MP"),
        with_tags(SLOW, "LHf"),
        without(SLOW, "QL"),
        BLIND_SET,
    ],
    ids=["level, mains", "level", "float, mains", "float", "all but the flow", "first night"],
)
def test_pump_stopped_where_nothing_sees_the_flow(setup: object) -> None:
    """However the header's emptying is known, the siphon is presumed broken and stays so while
    the header fills again; only a person's word ends it, and it is asked for."""
    played = play(setup, PUMP_FAILS, 41)  # type: ignore[arg-type]
    told = turns(played)
    assert told[0] in ("supply lost", "header low")
    assert "well again" not in told
    assert "flow never stopped" not in told
    broken = next(text for text in played.texts if text.turn == "siphon broken")
    assert broken.moment.elapsed == pytest.approx(played.elapsed("01:41:15"), abs=TOLERANCE)
    assert "PRESUMED" in broken.body
    back = next(text for text in played.texts if text.turn == "power back, no flow")
    assert played.elapsed("03:10:00") <= back.moment.elapsed <= played.elapsed("03:20:30")
    assert "Supply back" in back.body
    assert "send FLOW 41" in back.body
    assert "flow proven by hand" == told[-1]
    assert "flow proven" == played.event(41).stage


def test_float_that_opens_tells_when_the_siphon_breaks() -> None:
    """A rig whose float is all it has says by what time to be there, from the drain test."""
    played = play(with_tags(SLOW, "LHf"), PUMP_FAILS, 41)
    first = played.texts[0]
    assert "header low" == first.turn
    assert "Siphon breaks about 01:40 (drain test)." in first.body


def test_header_gauge_silent_in_the_outage() -> None:
    """LH dies at 01:25: the texts go on by flow, mains and clock, without a header level."""
    _, outage, number = cast("outage")
    silent = do("01:25:00", "sensor silent", "LH")
    played = play(LEAN, replace(outage, actions=(*outage.actions, silent)), number)
    same_told(OUTAGE, replace_texts(played, number))
    later = [text.body for text in played.texts if text.event == number][1:]
    assert not [body for body in later if "eader" in body]


def replace_texts(played: Watch, number: int) -> Watch:
    """The same night with the texts of one event only."""
    kept = [e for e in played.effects if getattr(e, "event", number) == number]
    return replace(played, effects=kept)


def test_header_gauge_silent_and_no_witness() -> None:
    """LH dies in an outage on a rig without a flow sensor: the drain test takes over, and the
    siphon is presumed broken when it must be, not when a reading says so."""
    setup = with_tags(SLOW, "LH", "MP", "TW1")
    steps = [do("01:18:00", "mains off"), do("01:25:00", "sensor silent", "LH")]
    played = play(setup, story("02:00:00", *steps), 41)
    broken = next(text for text in played.texts if text.turn == "siphon broken")
    assert broken.moment.elapsed == pytest.approx(played.elapsed("01:41:02"), abs=TOLERANCE)
    assert "(drain test; flow not measured)" in broken.body


def test_flow_meter_silent_before_the_outage() -> None:
    """QL dies at 01:10, told at once as the last witness; the outage that follows is told by the
    header, the break is PRESUMED by its level, and a bucket check ends it."""
    _, outage, _ = cast("outage")
    played = play(
        LEAN,
        replace(
            outage,
            actions=(*outage.actions, do("01:10:00", "sensor silent", "QL")),
            says=(
                say("01:14:00", "tavrin", "take", 41),
                say("01:22:00", "tavrin", "take", 42, minutes=130.0),
                say("03:33:00", "tavrin", "flow", 42),
            ),
            length=after(START, "03:40:00"),
        ),
        41,
    )
    assert ("flow not seen", "tavrin") == played.told[0][:2]
    assert played.texts[0].moment.elapsed <= played.elapsed("01:13:30")
    assert "FLOW NOT SEEN since 01:1" in played.texts[0].body
    broken = next(text for text in played.texts if text.turn == "siphon broken")
    assert "Siphon PRESUMED broken about 01:41 (header run down; flow not measured)." in broken.body
    back = next(text for text in played.texts if text.turn == "power back, no flow")
    assert "bucket check, then send FLOW 42" in back.body
    assert "flow proven by hand" == played.texts[-1].turn


def test_air_lock_while_the_only_meter_is_dead() -> None:
    """With QL dead a siphon that stops with power on is seen by nothing: so its death is urgent."""
    steps = [do("01:10:00", "sensor silent", "QL"), do("01:30:00", "air lock")]
    played = play(LEAN, story("01:40:00", *steps))
    assert ("flow not seen", "urgent") == (played.texts[0].turn, played.texts[0].grade)


@pytest.mark.parametrize("setup", [HILL, FIRST, BLIND_SET, with_tags(SLOW, "MP")])
def test_every_sensor_silent_at_night(setup: object) -> None:
    """The broker dies at 01:18: the watch sees nothing of the water any more, and says so in the
    night with a first action, not in the morning."""
    tags = [tag.id for tag in setup.rig.tags]  # type: ignore[attr-defined]
    played = play(setup, story("01:30:00", *(do("01:18:00", "sensor silent", t) for t in tags)))  # type: ignore[arg-type]
    first = played.texts[0]
    assert ("flow not seen", "urgent") == (first.turn, first.grade)
    assert first.moment.elapsed <= played.elapsed("01:21:30")
    assert "Go and look" in first.body
    assert ["flow not seen", "next call"] == turns(played)


def test_second_sensor_that_fails_later_is_told() -> None:
    """One dead thermometer is told; so is a dead flow meter of the supply two hours after it."""
    day = replace(
        story("00:00:00"),
        start="2026-10-18T08:00:00",
        length=4 * 3600.0,
        actions=(
            Action(600.0, "sensor silent", "TW1"),
            Action(7200.0, "sensor silent", "QS"),
        ),
    )
    played = play(LEAN, day)
    assert ["sensor silent", "sensor silent"] == [turn for turn, _, _ in played.told]
    assert "Sensor TW1" in played.texts[0].body
    assert "Sensor QS" in played.texts[1].body
    assert "Also bad: TW1." in played.texts[1].body


def test_sensors_that_fail_together_are_one_text() -> None:
    """A broken bus takes three sensors at once: one notice that names them all."""
    day = replace(
        story("00:00:00"),
        start="2026-10-18T08:00:00",
        length=3600.0,
        actions=tuple(Action(600.0, "sensor silent", tag) for tag in ("QS", "LS", "LT")),
    )
    played = play(SLOW, day)
    assert 1 == len(played.texts)
    assert all(tag in played.texts[0].body for tag in ("QS", "LS", "LT"))


def test_air_that_fails_on_battery_is_told() -> None:
    """Battery air (6.0 kPa) is expected in an outage and not told; its end (1.8 kPa) is."""
    steps = [do("01:18:00", "mains off"), do("01:40:00", "sensor gain", "PA", 0.3)]
    played = play(LEAN, story("01:50:00", *steps), 41)
    air = [text for text in played.texts if text.turn == "air low"]
    assert ["high"] == [text.grade for text in air]
    assert played.elapsed("01:42:00") <= air[0].moment.elapsed
    assert "Fit the spare air pump." in air[0].body


def test_circuit_that_stays_off_after_the_dip_is_told() -> None:
    """Power is back but for the chiller's circuit: when the dip closes, that stands as its own."""
    setup = replace(
        HILL, rig=replace(HILL.rig, tags=tuple(on_b3(tag) for tag in HILL.rig.tags)), worked_out={}
    )
    day = replace(
        story("00:00:00"),
        start="2026-10-18T10:00:00",
        length=3600.0,
        actions=(
            Action(600.0, "mains off"),
            Action(780.0, "mains on", "B1"),
            Action(1200.0, "mains on", "B2"),
        ),
    )
    played = play(without(setup, "MC"), day, 71)
    assert "closed" == played.event(71).stage
    assert "mains lost" in turns(played)
    assert "MAINS OFF at B3" in played.texts[-1].body


def on_b3(tag: Tag) -> Tag:
    """The mains sensor of the watch circuit, put on the chiller's."""
    return replace(tag, of="B3") if tag.id == "MA" else tag


def test_nothing_measured_is_no_comfort() -> None:
    """Mains alone, no drain test, no geometry: after 107 minutes without power nobody is told
    that the flow never stopped; the siphon counts as broken and a bucket check is asked for."""
    bare = tuple(replace(line, break_level=None, drain_test=None) for line in FIRST.rig.lines)
    setup = with_tags(FIRST, "MP")
    setup = replace(setup, rig=replace(setup.rig, lines=bare), worked_out={})
    played = play(setup, nights.night_outage(flow_told=True), 41)
    assert "flow never stopped" not in turns(played)
    same = [turn for turn, _, _ in BLIND]
    assert same == [turn for turn, _, _ in played.told]
    assert "(endurance unknown; flow not measured)" in played.texts[1].body
    assert "breaks about" not in played.texts[0].body


def test_only_a_flow_meter() -> None:
    """QL alone sees no outage coming, only the end of the flow, 3 minutes late; proof ends it."""
    steps: list[Action | Say] = [
        do("01:18:00", "mains off"),
        say("01:46:00", "tavrin", "take", 41, minutes=120.0),
        do("03:05:00", "mains on"),
        do("03:16:00", "failed priming", value=2.1 * L_PER_MIN),
        do("03:28:20", "prime"),
    ]
    played = play(with_tags(SLOW, "QL"), story("03:40:00", *steps), 41)
    same_told([("no flow", "tavrin", "01:44:00"), ("flow proven", "tavrin", "03:32:00")], played)
    assert "since 01:41" in played.texts[0].body


def test_only_a_header_level_on_a_quiet_night() -> None:
    """LH alone, nine hours with a feeding hold in each three: its noise is no loss of supply."""
    hold = [
        Action(2700.0, "valve", value=2.0 * L_PER_MIN),
        Action(4500.0, "valve", value=FULL),
    ]
    quiet = replace(story("03:45:00"), actions=tuple(hold))
    for seed in (1, 2, 3):
        assert [] == play(with_tags(HILL, "LH"), quiet, seed=seed).texts


def test_partial_supply_without_a_flow_meter() -> None:
    """Half the supply, seen by its meter, runs the header down: broken is PRESUMED at the break
    level though supply was never lost, and the refilling header does not call it well."""
    steps = [do("00:50:00", "supply", value=3.0 * L_PER_MIN), do("02:00:00", "supply")]
    played = play(without(SLOW, "QL"), story("02:40:00", *steps), 41)
    assert "siphon broken" in turns(played)
    assert "well again" not in turns(played)
    assert "open" == played.event(41).stage


def test_question_without_an_answer() -> None:
    """The bucket check is asked again after 30 minutes; unanswered, the next are told what they
    are to find out, and it goes on until somebody looks. DONE does not end it."""
    setup, outage, number = cast("outage, no witness")
    says = [item for item in outage.says if item.at < after(START, "04:00:00")]
    says += [
        say(clock, "oskel", "done", number, text=line)
        for clock, line in (
            ("03:40:00", "dead count"),
            ("03:41:00", "cause"),
            ("03:42:00", "timers"),
        )
    ]
    says.append(say("04:30:00", "lendow", "flow", number))
    played = play(setup, replace(outage, says=tuple(says)), number)
    told = played.told[BLIND.index(("asked again", "oskel", "04:03:00")) :]
    assert ("asked again", "oskel", "04:03:00") == told[0]
    assert ("next call", "lendow") == told[1][:2]
    assert {"call to all"} == {turn for turn, _, _ in told[2:]}
    assert all("Is the siphon running?" in text.body for text in played.texts[-3:])
    assert all("send FLOW 41" in text.body for text in played.texts[-3:])
    assert "closed" == played.event(number).stage


def test_flow_proven_by_hand_without_an_outage_closes() -> None:
    """An overrun ended by a bucket check is asked for once more and then closed, owing nothing."""
    setup = without(SLOW, "QL")
    stopped = with_tags(FIRST, "QW", "MP")
    del setup
    played = play(
        stopped,
        story(
            "02:30:00",
            do("01:00:00", "valve", value=0.0),
            do("01:08:00", "sensor silent", "QW"),
            say("01:15:00", "tavrin", "take", 41),
            say("01:20:00", "tavrin", "flow", 41),
            say("01:55:00", "tavrin", "flow", 41),
        ),
        41,
    )
    assert "asked again" in turns(played)
    assert ("closed", ()) == (played.event(41).stage, played.event(41).owed)
