"""The ways to people: the weekly test counts only with an answer, and lines of the day come."""

from dataclasses import replace

import pytest

from logic.play import Watch, sample, watch
from monitor.inputs import Answer, Moment
from monitor.logic.gsm import LIMIT, places
from monitor.logic.paths import WAIT, path_lines
from monitor.logic.scan import Scan
from monitor.logic.state import decode, encode
from monitor.setup import Channel, Duty, Person, Setup

THURSDAY = Moment(1, 1_000.0, 1_792_695_600.0)
"""Thursday 22 October 2026, 14:00 at Ostrel Hill."""
HOUR, WEEK = 3600.0, 7 * 86_400.0
FRIDAY_NINE = THURSDAY.elapsed + 19 * HOUR
PEOPLE = (
    Person("tavrin", "Tavrin", "t@example.org", "+19405550141", channels=("modem", "mail")),
    Person("oskel", "Oskel", "o@example.org", channels=("mail", "files")),
)
CHANNELS = (Channel("modem", "modem"), Channel("mail", "mail"), Channel("files", "folder"))


def setup(**changes: object) -> Setup:
    """Two people, a modem and a mail; no tag, so that nothing else is ever told."""
    base = sample("first-night")
    rig = replace(base.rig, tags=())
    made = replace(
        base, rig=rig, limits=(), people=PEOPLE, channels=CHANNELS, run=None,
        duty=Duty(("tavrin", "oskel")), path_test=(4, 9 * HOUR), worked_out={},
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def said(watched: Watch, at: float, kind: str, who: str, **more: object) -> None:
    """Somebody answers."""
    given = {"way": "text", **more}
    watched.idle(at)
    watched.take(at, [Answer(watched.now(at), kind, who, **given)])  # type: ignore[arg-type]


def shown(watched: Watch, at: float) -> list[str]:
    """What is shown of the paths."""
    watched.idle(at)
    return path_lines(Scan(watched.setup, watched.state, watched.now(at)))


def test_each_path_is_tested_by_itself_once_a_week() -> None:
    """Friday at nine one text goes by each path alone, and again the week after."""
    watched = watch(setup(), THURSDAY, 90)
    watched.idle(FRIDAY_NINE + WEEK + 1.0)
    tests = [text for text in watched.texts if text.turn == "path test"]
    assert [("tavrin", "modem", 90), ("tavrin", "mail", 91)] == [
        (text.person, text.channel, text.event) for text in tests[:2]
    ]
    assert [FRIDAY_NINE] * 2 + [FRIDAY_NINE + WEEK] * 2 == [t.moment.elapsed for t in tests]
    assert (
        "TEST Ostrel Fri 09:00. Weekly test of this path. Nothing is wrong. No answer by 09:30: "
        "the next on duty is told you were not reached. Reply OK 90." == tests[0].body
    )


def test_only_an_answer_proves_a_path() -> None:
    """OK with the number of the test proves its path, whichever way it comes."""
    watched = watch(setup(), THURSDAY, 90)
    assert "Path modem: never proven by an answer." == shown(watched, FRIDAY_NINE + 1.0)[0]
    said(watched, FRIDAY_NINE + 120.0, "take", "tavrin", event=90, way="command")
    lines = shown(watched, FRIDAY_NINE + WAIT + 1.0)
    assert "Path modem: last proven Fri 23 Oct 09:02 by Tavrin." == lines[0]
    assert "Path mail: NOT PROVEN, test of Fri 23 Oct 09:00 not answered." == lines[1]
    assert [("oskel", "path not proven")] == [
        (text.person, text.turn) for text in watched.texts if text.turn != "path test"
    ]


def test_test_is_put_to_one_person() -> None:
    """Somebody else cannot prove that it reached Tavrin; a test number takes no event."""
    watched = watch(setup(), THURSDAY, 90)
    said(watched, FRIDAY_NINE + 60.0, "take", "oskel", event=90, way="command")
    assert ["test 90 is put to Tavrin"] == [refusal.why for refusal in watched.refusals]
    assert {} == watched.state.durable.events


def test_late_answer_proves_by_the_way_it_came() -> None:
    """Its number is spent after half an hour, but a text that came in proves the modem."""
    watched = watch(setup(), THURSDAY, 90)
    said(watched, FRIDAY_NINE + WAIT + 60.0, "note", "tavrin", text="sorry")
    assert (
        "Path modem: last proven Fri 23 Oct 09:31 by Tavrin."
        == shown(watched, FRIDAY_NINE + WAIT + 61.0)[0]
    )


def test_answer_by_command_proves_nothing_but_its_test() -> None:
    """Whoever answers at the board shows nothing of modem and mail."""
    watched = watch(setup(), THURSDAY, 90)
    said(watched, 2_000.0, "note", "tavrin", text="x", way="command")
    assert ["Path modem: never proven by an answer."] == shown(watched, 2_001.0)[:1]


def test_age_of_a_proof_is_shown() -> None:
    """After days the line says how many."""
    watched = watch(setup(path_test=None), THURSDAY, 90)
    said(watched, 2_000.0, "note", "tavrin", text="x")
    line = shown(watched, 2_000.0 + 9 * 86_400.0)[0]
    assert line.endswith("by Tavrin, 9 days ago.")


def test_missed_test_is_made_up_for_within_three_hours() -> None:
    """A watch that was away at nine tests at its start; one that comes in the evening waits."""
    for late, expected in ((2 * HOUR, 2), (4 * HOUR, 0)):
        before = watch(setup(), THURSDAY, 90)
        durable = before.state.durable
        start = Moment(1, FRIDAY_NINE + late, THURSDAY.utc_at(FRIDAY_NINE + late))
        after = watch(setup(), start)
        after.state = replace(after.state, durable=decode(encode(durable)))
        after.take(start.elapsed + 1.0)
        after.idle(start.elapsed + 10.0)
        assert expected == len([text for text in after.texts if text.turn == "path test"])


def test_clock_that_is_not_trusted_tests_nothing() -> None:
    """Without a clock that is known to be right nobody knows that it is Friday."""
    watched = watch(setup(), THURSDAY, 90)
    at = FRIDAY_NINE + 10.0
    watched.take(FRIDAY_NINE - 10.0)
    now = replace(watched.now(at), trusted=False)
    from monitor.logic.step import step

    result = step(watched.setup, watched.state, [], now)
    assert () == result.effects


def test_lines_of_the_day_without_a_listener() -> None:
    """In the evening a line promises the next; in the morning it comes, to the same person."""
    later = Duty(("oskel", "tavrin"))
    watched = watch(setup(path_test=None, day_lines=True), THURSDAY)
    watched.idle(THURSDAY.elapsed + 5 * HOUR)
    watched.setup = replace(watched.setup, duty=later, worked_out={})
    watched.idle(THURSDAY.elapsed + 18 * HOUR)
    assert [
        ("evening line", "tavrin", "18:00:00"),
        ("morning line", "tavrin", "07:00:00"),
    ] == watched.told
    assert (
        "EVENING Ostrel Thu 18:00. Watch runs, no open event. "
        "If no line comes by 07:15 the watch is dead: go and look." == watched.texts[0].body
    )
    assert watched.texts[1].body.startswith("MORNING Ostrel Fri 07:00. Watch runs, no open event.")


def test_with_a_listener_only_the_morning_line_comes() -> None:
    """Somebody elsewhere hears the signs of life: silence is told from there."""
    channels = (*CHANNELS, Channel("life", "sign_mqtt"))
    watched = watch(setup(path_test=None, day_lines=True, channels=channels), THURSDAY)
    watched.idle(THURSDAY.elapsed + 48 * HOUR)
    assert ["morning line", "morning line"] == [text.turn for text in watched.texts]


@pytest.mark.parametrize(
    ("channels", "people", "words"),
    [
        (CHANNELS, PEOPLE, ["NOBODY WATCHES THIS WATCH"]),
        ((*CHANNELS, Channel("l", "sign_http")), PEOPLE, []),
        (CHANNELS[1:], PEOPLE[1:], ["ONE PATH ONLY", "NOBODY WATCHES THIS WATCH"]),
    ],
)
def test_standing_warnings(
    channels: tuple[Channel, ...], people: tuple[Person, ...], words: list[str]
) -> None:
    """What is missing stands there all the time."""
    watched = watch(setup(channels=channels, people=people, path_test=None), THURSDAY)
    lines = [line for line in shown(watched, 1_001.0) if not line.startswith("Path ")]
    assert words == [line.split(":")[0] for line in lines]


def test_texts_fit_with_the_longest_names() -> None:
    """Every text about the paths stays within one part."""
    people = (replace(PEOPLE[0], name="M" * 16), replace(PEOPLE[1], name="W" * 16))
    base = setup(people=people, day_lines=True)
    rig = replace(base.rig, label="Ostrellb")
    watched = watch(replace(base, rig=rig, worked_out={}), THURSDAY, 9990)
    watched.idle(THURSDAY.elapsed + 48 * HOUR)
    turns = {"path test", "path not proven", "evening line", "morning line"}
    assert turns == {text.turn for text in watched.texts}
    for text in watched.texts:
        assert (places(text.body) or LIMIT + 1) <= LIMIT
