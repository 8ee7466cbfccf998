"""The table of who was called when, by which way, while two people do nothing for eight hours."""

from dataclasses import replace

from docs.pages import DOCS
from docs.tables import table
from logic.play import Watch, sample, watch, with_tags
from monitor.inputs import Moment, Reading
from monitor.loop import channels_of
from monitor.setup import Channel, Duty, Setup

PAGE = DOCS / "reference" / "calling.md"
START = Moment(1, 0.0, 1_792_303_080.0)
"""Sun 18 Oct 2026, 00:58:00 at the site."""
EIGHT_HOURS = 8 * 3600.0


def two_people() -> Setup:
    """The mains sensor alone, and two people who have a phone and mail."""
    setup = with_tags(sample("first-night"), "MP")
    people = tuple(
        replace(person, channels=("modem", "mail"))
        for person in setup.people
        if person.id in ("tavrin", "oskel")
    )
    channels = (Channel("modem", "modem"), Channel("mail", "mail"))
    duty = Duty(("tavrin", "oskel"))
    return replace(setup, people=people, channels=channels, duty=duty, worked_out={})


def played() -> Watch:
    """Eight hours without mains and without a word of anybody."""
    night = watch(two_people(), START, 41)
    for second in range(0, int(EIGHT_HOURS), 30):
        night.feed([Reading("MP", night.now(float(second)), 0.0)], second + 15.0)
    night.idle(EIGHT_HOURS)
    return night


def calls() -> str:
    """One row a turn: clock, minutes from the first sign, what, who, by which way."""
    night = played()
    rows: list[list[str]] = []
    for text in night.texts:
        at = text.moment.elapsed
        who = night.setup.person[text.person].name
        ways = " and ".join(channels_of(night.setup, night.state.durable, text))
        row = [night.at(at)[:5], f"{at / 60.0:.0f}", text.turn, who, ways]
        if rows and rows[-1][:3] == row[:3]:
            rows[-1][3] += f", {who}"
        else:
            rows.append(row)
    return table(("clock", "minute", "turn", "who", "by"), rows)


def test_table_of_calls() -> None:
    """The page has exactly the calls of the played night, to the eighth hour."""
    shown = PAGE.read_text(encoding="utf-8")
    assert calls() in shown
    assert "08:4" in calls().splitlines()[-1] or "08:5" in calls().splitlines()[-1]
