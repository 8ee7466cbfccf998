"""The run of the scenario as one story, and what its day table should say without noise.

Turnovers and the stops are computed from the protocol; temperatures are those of the scenario's
table, which has a column of means and one of the least and the highest.
"""

from dataclasses import dataclass

from monitor.simulator import Action, Day, Say, Story
from monitor.units import L_PER_MIN, LITRE

DAY = 86_400.0
FIRST, LAST = -3, 30
"""First and last day post hatch: Sat 3 Oct from 09:30 to Thu 5 Nov 2026, 10:00."""
ENDS = 10.0 * 3600.0
FEEDS = ("07:15", "12:30", "17:45")
BACK = 26
"""The day of 25 hours: what follows it is an hour later on a clock that does not step."""

TURNS = {-3: 3.62, -2: 6.0, -1: 6.0, 0: 6.0, 1: 6.0, 2: 5.5, 3: 5.41, 4: 5.5, 5: 7.08, 10: 10.17,
         12: 10.59, 26: 12.0, 30: 4.83}  # fmt: skip
WATER = {12: (26.4, 26.2, 26.6), 15: (26.6, 26.4, 26.8), 16: (26.8, 26.4, 27.4),
         17: (26.9, 26.5, 27.5), 18: (26.5, 26.4, 26.9), 30: (26.4, 26.4, 26.5)}  # fmt: skip
"""Mean, least, highest, C; on other days the water is within the chiller's band."""
NO_FLOW = {3: 21.0, 12: 107.0}
"""Minutes without flow outside holds."""


@dataclass(frozen=True, slots=True)
class Expected:
    """The noise-free row of a day. water: mean, least and highest, C."""

    turnovers: float
    water: tuple[float, float, float]
    no_flow: float


def expected(dph: int) -> Expected:
    """What the scenario says of a day."""
    turns = TURNS.get(dph, 8.25 if dph < 10 else 11.5)
    return Expected(turns, WATER.get(dph, (26.5, 26.4, 26.6)), NO_FLOW.get(dph, 0.0))


def second(dph: int, clock: str) -> float:
    """Seconds from the midnight of dph -3 to a clock time of a day."""
    hours, minutes = clock.split(":")
    hour_more = 3600.0 if dph > BACK or (dph == BACK and int(hours) >= 2) else 0.0
    return (dph - FIRST) * DAY + int(hours) * 3600.0 + int(minutes) * 60.0 + hour_more


def flow(dph: int) -> float:
    """Set flow at the end of a day, m3/s."""
    return (3.0 if dph < 5 else 4.5 if dph < 10 else 6.0) * L_PER_MIN


def feeding(dph: int, clock: str) -> tuple[float, float, float]:
    """Minutes, flow within (m3/s) and flow after a hold."""
    late = dph > 10 or (dph == 10 and clock != FEEDS[0])
    after = flow(dph - 1) if dph in (5, 10) and clock == FEEDS[0] else flow(dph)
    return (30.0, 2.0 * L_PER_MIN, after) if late else (40.0, 0.0, after)


def _hands(dph: int) -> list[Action | Say]:
    """What people do on a day: top-up, flow changes, holds."""
    done: list[Action | Say] = []
    if dph > FIRST:
        done.append(Action(second(dph, "09:00"), "add fresh water", value=4.5 * LITRE))
    if dph in (5, 10):
        done.append(Action(second(dph, "10:00"), "valve", value=flow(dph)))
    for clock in FEEDS if dph >= 2 else ():
        minutes, within, after = feeding(dph, clock)
        at = second(dph, clock)
        overrun = 21.0 if (dph, clock) == (3, "12:30") else 0.0
        done += [
            Say(at, "tavrin", "hold", minutes=minutes),
            Action(at, "valve", value=within),
            Action(at + (minutes + overrun) * 60.0, "valve", value=after),
        ]
    return done


def _outage() -> list[Action | Say]:
    """The night of dph 12."""
    return [
        Action(second(12, "01:18"), "mains off"),
        Action(second(12, "03:05"), "mains on"),
        Action(second(12, "03:28") + 20.0, "prime"),
    ]


def _heat() -> list[Action | Say]:
    """Somebody clears the air conditioner and cuts half the lights on dph 17."""
    return [
        Action(second(17, "15:40"), "room", value=28.2, seconds=0.6 * 3600.0),
        Action(second(17, "15:40"), "lights", value=0.5),
        Action(second(18, "00:00"), "room"),
        Action(second(18, "00:00"), "lights"),
    ]


def air() -> tuple[Day, ...]:
    """Air of each day; every third is a little warmer, dph 15 to 18 are hot."""
    hot = {15: Day(27.4, 29.4), 16: Day(28.0, 31.6), 17: Day(28.0, 34.8), 18: Day(27.4, 28.6)}
    warm = Day(room_peak=27.7)
    days = [hot.get(dph, warm if dph % 3 == 0 else Day()) for dph in range(FIRST, LAST + 1)]
    return tuple(days)


def story(first: int, last: int) -> Story:
    """The run from one day to another, both included."""
    begin = second(first, "09:30" if first == FIRST else "00:00")
    hour_more = 3600.0 if last >= BACK else 0.0
    end = (last - FIRST) * DAY + (ENDS if last == LAST else DAY) + hour_more
    done = [item for dph in range(first, last + 1) for item in _hands(dph)] + _outage() + _heat()
    within = [item for item in done if begin <= item.at < end]
    start = 3 + first - FIRST
    date = f"2026-10-{start:02}" if start <= 31 else f"2026-11-{start - 31:02}"
    return Story(
        "whole run",
        f"{date}T{'09:30:00' if first == FIRST else '00:00:00'}",
        end - begin,
        flow(first - 1) if first in (5, 10) else flow(first),
        actions=tuple(_moved(item, begin) for item in within if isinstance(item, Action)),
        says=tuple(_said(item, begin) for item in within if isinstance(item, Say)),
        days=air()[first - FIRST :],
    )


def _moved(item: Action, begin: float) -> Action:
    return Action(item.at - begin, item.do, item.what, item.value, item.seconds)


def _said(item: Say, begin: float) -> Say:
    return Say(item.at - begin, item.who, item.kind, item.event, item.minutes, item.text)
