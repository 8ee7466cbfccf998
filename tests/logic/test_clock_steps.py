"""The wall clock steps in an outage: no alarm comes of it, none is lost, no timer stops.

The same night is played once with a clock that is right and once for each step. What the watch
found and when, on watch time, has to be the same.
"""

from dataclasses import replace

import pytest

from logic.play import Watch, cast, inputs_of, watch
from monitor.clock import WallWatch
from monitor.inputs import Input

pytestmark = pytest.mark.long

MINUTE, HOUR, DAY = 60.0, 3600.0, 86_400.0
STEPS = {"-14 min": -14 * MINUTE, "+12 h": 12 * HOUR, "+180 d": 180 * DAY}
AT = ("01:18:30", "01:45:00", "03:11:00")
"""Within the delay of `supply lost`, with a promise running, while flow is to be proven."""
Found = list[tuple[float, str, str, str]]


def stepped(step: float, at: str) -> Watch:
    """The outage of the worked scenario, the wall clock stepping once at a time of that night."""
    setup, story, first = cast("outage")
    origin, inputs = inputs_of(setup, story)
    under = watch(setup, origin, first)
    when = under.elapsed(at)
    under.clock = lambda elapsed: origin.utc_at(elapsed) + (step if elapsed >= when else 0.0)
    walls = WallWatch(origin)
    fed: list[Input] = []
    told = False
    for item in inputs:
        now = under.now(item.moment.elapsed)
        if not told and now.elapsed >= when:
            note = walls.look(now)
            told = True
            if note is not None:
                fed.append(note)
        fed.append(replace(item, moment=now))
    return under.feed(fed, origin.elapsed + story.length)


def found(under: Watch) -> Found:
    """Conditions and alarms with their watch time; the note of the clock itself is left out."""
    return [
        (round(row.moment.elapsed, 3), row.what, row.subject, row.state)
        for row in under.rows
        if row.what in ("condition", "alarm", "event")
    ]


def turns(under: Watch) -> list[tuple[float, str, str]]:
    """Who was told what, by watch time."""
    return [(round(text.moment.elapsed, 3), text.turn, text.person) for text in under.texts]


@pytest.fixture(scope="module")
def steady() -> Watch:
    """The night with a clock that is right."""
    return stepped(0.0, AT[0])


@pytest.mark.parametrize("at", AT)
@pytest.mark.parametrize("step", STEPS)
def test_step_changes_nothing_that_is_found(steady: Watch, step: str, at: str) -> None:
    """Conditions, alarms, events and the texts of the outage come when they would have come."""
    under = stepped(STEPS[step], at)
    assert any("clock" in f"{row.what} {row.subject}" for row in under.rows)
    assert found(steady) == found(under)
    assert turns(steady) == turns(under)
