"""What waited through the night is told in the morning: one text for all of it."""

from logic.play import Watch, sample, watch, with_tags
from logic.test_duty import HOUR, utc
from monitor.inputs import Answer, Moment, Reading

SETUP = with_tags(sample("ostrel-hill"), "LS", "TW1", "TW2")
WELL = {"LS": 32.0, "TW1": 26.5, "TW2": 26.5}


def night(*wrong: str) -> Watch:
    """From 02:00 to 08:00 of a Wednesday; at 03:00 the sump goes low, or a sensor silent."""
    under = watch(SETUP, Moment(1, 0.0, utc("2026-10-28 02:00")), 41)
    for second in range(0, int(6 * HOUR), 30):
        now = under.now(float(second))
        values = dict(WELL)
        if second >= HOUR:
            values |= {"LS": 29.0} if "sump" in wrong else {}
            if "sensor" in wrong:
                del values["TW2"]
        under.feed([Reading(tag, now, value) for tag, value in values.items()], second + 1.0)
    return under


def test_one_notice_has_its_own_text() -> None:
    """A sump that went low at 03:00 is told at 07:00, as it always was."""
    assert [("sump low", "tavrin", "07:00:00")] == night("sump").told


def test_several_are_one_line() -> None:
    """Two events that waited: one text to the first on duty, with both numbers; each is answered
    to by its own."""
    under = night("sump", "sensor")
    assert [("morning", "tavrin", "07:00:00")] == under.told
    (text,) = under.texts
    assert text.body == (
        "NOTICE Ostrel Wed 07:00. 2 waited: 41 SENSOR SILENT TW2 03:04. 42 SUMP LOW SU1 03:00. "
        "See to them today. Reply OK and the number."
    )
    under.take(22_000.0, [Answer(under.now(22_000.0), "take", "tavrin", 42)])
    assert ("taken", "open") == (under.event(42).stage, under.event(41).stage)


def test_what_is_over_by_the_morning_is_not_told() -> None:
    """Nothing went wrong: no line at all."""
    assert [] == night().told
