"""The review of alarms: a prepared journal with known counts, and a real night."""

from pathlib import Path

import pytest

from logic.play import night, sample
from monitor.effects import JournalRow
from monitor.errors import HoldwaterError
from monitor.inputs import Moment
from monitor.logic.quiet import in_quiet_hours
from monitor.record.review import HEAD, AlarmReview, lines, review, table
from monitor.record.reviewing import review_lines

AHEAD = 1_790_000_000.0
HOUR, DAY = 3600.0, 86_400.0


def row(
    at: float, what: str, subject: str, state: str, cause: str = "", grade: str = ""
) -> JournalRow:
    """One row of the journal, so many seconds after the start."""
    return JournalRow(Moment(1, at, at + AHEAD), what, subject, state, grade, cause)


def comings(
    alarm: str, times: list[float], grade: str = "notice", lasts: float = 10.0
) -> list[JournalRow]:
    """An alarm that comes at these times and goes again."""
    rows = []
    for at in times:
        rows += [
            row(at, "alarm", alarm, "UNACK", "true", grade),
            row(at + lasts, "alarm", alarm, "RTNUN", "false", grade),
            row(at + lasts, "alarm", alarm, "NORM", "acknowledge", grade),
        ]
    return rows


def event(number: int, alarm: str, at: float, *answers: str) -> list[JournalRow]:
    """An event of one alarm, and what people said to it."""
    opened = row(at, "event", str(number), "open", alarm, "notice")
    return [opened, *(row(at + 60.0, "answer", str(number), said) for said in answers)]


def of(rows: list[JournalRow], night: bool = False) -> dict[str, AlarmReview]:
    """The alarms of the review of these rows, put in their order."""
    ordered = sorted(rows, key=lambda item: item.moment.elapsed)
    return review(ordered, lambda _: night).alarms


def cure(rows: list[JournalRow], alarm: str) -> str:
    """What is proposed for an alarm."""
    return of(rows)[alarm].cure


FOUR = [HOUR, 2 * HOUR, 3 * HOUR, 4 * HOUR]


def test_an_alarm_that_led_to_an_action_is_kept() -> None:
    """Somebody came for one of its events: four comings, and it stays as it is."""
    rows = comings("air low/A1/warn", FOUR) + event(41, "air low/A1/warn", HOUR, "taken", "on site")
    alarm = of(rows)["air low/A1/warn"]
    assert (4, 1, 1, "keep") == (alarm.came, alarm.acted, alarm.answered, alarm.cure)


def test_an_alarm_that_never_led_to_an_action() -> None:
    """Taken from bed and nothing to do: another limit, and of a grave one a lower grade."""
    rows = comings("air low/A1/warn", FOUR) + event(41, "air low/A1/warn", HOUR, "taken")
    assert "only a line in the record" in cure(rows, "air low/A1/warn")
    assert "a lower grade" in cure(comings("air low/A1", FOUR, "high"), "air low/A1")
    assert "too few to judge" == cure(comings("air low/A1", FOUR[:2]), "air low/A1")


def test_an_alarm_that_came_within_an_event() -> None:
    """An alarm that joined an event shares what people did in it."""
    rows = [*event(41, "supply lost/HD1", 60.0, "on site"), *comings("header low/HD1", [90.0])]
    rows.append(row(90.0, "event", "41", "joined", "header low/HD1"))
    assert 1 == of(rows)["header low/HD1"].acted


def test_chatter_is_three_comings_in_a_minute() -> None:
    """Three within 60 s are chatter; three in 61 s, or two, are not."""
    chatter = comings("tank high/LT1", [0.0, 29.0, 59.0], lasts=1.0)
    assert 1 == of(chatter)["tank high/LT1"].chattered
    assert "off-delay" in cure(chatter, "tank high/LT1")
    assert (
        0 == of(comings("tank high/LT1", [0.0, 30.0, 60.0], lasts=1.0))["tank high/LT1"].chattered
    )


def test_a_stale_alarm_stands_longer_than_a_day() -> None:
    """A day and a second: mend it. Exactly a day counts too, a second less does not."""
    for lasts, found in ((DAY + 1.0, True), (DAY, True), (DAY - 1.0, False)):
        rows = comings("sump low/SU1", [0.0], lasts=lasts)
        assert found == ("stands for days" in cure(rows, "sump low/SU1"))


def test_an_alarm_that_still_stands_counts_to_the_last_row() -> None:
    """It came and has not gone when the record ends."""
    rows = [row(0.0, "alarm", "sump low/SU1", "UNACK", "true", "notice")]
    rows.append(row(2 * DAY, "answer", "note", "noted"))
    assert 2 * DAY == of(rows)["sump low/SU1"].longest


def test_sensors_that_fail_again_and_again() -> None:
    """The cure of a sensor is no limit."""
    assert "mend sensor" in cure(comings("sensor silent/TW1", FOUR), "sensor silent/TW1")


def test_what_is_put_aside_again_and_again() -> None:
    """Three shelves: the work needs a hold of its own. Suppression by design is no shelf."""
    rows = [
        row(at, "alarm", "sump low/SU1", "SHLVD", "shelve: water change", "notice") for at in FOUR
    ]
    rows += [row(5 * HOUR, "alarm", "flow low/S1", "DSUPR", "suppress: siphon broken/S1", "high")]
    assert "put aside again" in cure(rows, "sump low/SU1")
    alarm = of(rows)["flow low/S1"]
    assert (0, 1, 0) == (alarm.came, alarm.suppressed, alarm.shelved)


def test_floods_and_the_worst_ten_minutes() -> None:
    """Eleven in ten minutes begin a flood, ten do not; it is over below five."""
    ten = [row(at * 60.0, "alarm", f"a/{at}", "UNACK", "true", "high") for at in range(10)]
    assert (10, 0) == counts(ten)
    eleven = [*ten, row(570.0, "alarm", "a/10", "UNACK", "true", "high")]
    assert (11, 1) == counts(eleven)
    assert (11, 2) == counts([*eleven, *(later(item, DAY) for item in eleven)])


def later(item: JournalRow, seconds: float) -> JournalRow:
    """The same row so much later."""
    at = item.moment.elapsed + seconds
    return row(at, item.what, item.subject, item.state, item.cause, item.grade)


def counts(rows: list[JournalRow]) -> tuple[int, int]:
    """Alarms in the worst ten minutes, and floods."""
    found = review(rows, lambda _: False)
    return found.most, found.floods


def test_grades_top_ten_and_nights() -> None:
    """Twelve alarms, one of them often: its share, the split by grade, and wakes without action."""
    rows = [row(at * HOUR, "alarm", f"a/{at}", "UNACK", "true", "high") for at in range(11)]
    rows += comings("b/1", [(20 + at) * HOUR for at in range(9)])
    rows += [*event(41, "b/1", DAY, "taken"), row(DAY, "text", "41", "b")]
    rows += [*event(42, "a/1", 2 * DAY, "here", "on site"), row(2 * DAY, "text", "42", "a")]
    found = review(rows, lambda utc: True)
    assert {"high": 11, "notice": 9} == dict(found.by_grade)
    assert 18 / 20 == found.top_share
    assert (2, 2, 2, 1) == (found.texts, found.night_texts, found.nights, found.nights_acted)
    assert "Night events with a text: 2; without an action: 1." in lines(found)


def test_an_empty_journal() -> None:
    """Nothing happened, and it says so."""
    found = review([], lambda _: False)
    assert (0, 0.0, []) == (found.came, found.top_share, list(table(found)))
    assert "Alarms that came: 0 (none); most in ten minutes: 0." == next(lines(found))


@pytest.mark.long
def test_the_night_outage_reviewed() -> None:
    """In the worked night people came for the water: its alarms are kept, the header's was a
    known consequence."""
    played = night("outage")
    setup = sample("ostrel-hill")
    found = review(played.rows, lambda utc: in_quiet_hours(setup, utc))
    kept = {alarm.alarm for alarm in found.worst_first() if alarm.cure == "keep"}
    assert {"supply lost/HD1", "siphon broken/S1"} <= kept
    assert found.alarms["header low/HD1/alarm"].suppressed
    assert len(played.texts) == found.night_texts
    assert all(len(HEAD) == len(cells) for cells in table(found))


def test_a_folder_without_a_record(tmp_path: Path) -> None:
    """There is nothing to review, and it is told why."""
    with pytest.raises(HoldwaterError):
        list(review_lines(tmp_path, None))
