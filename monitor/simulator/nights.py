"""The stories that come with holdwater: the demo rig's worked nights and days.

They name parts by kind only (an empty `what`), so they play on any rig with a siphon and a pump;
the thermometer fault names its tag. Event numbers are those the demo run had; give others when
the watch under test counts differently.
"""

from collections.abc import Callable

from monitor.simulator.climate import Day
from monitor.simulator.extras import DAY
from monitor.simulator.story import Action, Say, Story, after
from monitor.units import L_PER_MIN, LITRE

FULL = 6.0 * L_PER_MIN
"""Flow to the larvae from day 10 on, m3/s."""
EARLY = 3.0 * L_PER_MIN
"""Flow to day 4."""
FEEDING = 2.0 * L_PER_MIN
"""Flow in a feeding hold from day 10 on."""
HOLD = 30.0
"""Minutes of such a hold."""
WARM = Day(room_peak=27.7)
"""Every third day is a little warmer."""


def steady() -> Story:
    """Nothing happens: the rig runs at 6.0 L/min."""
    return Story("steady", "2026-10-27T12:00:00", 3600.0, FULL)


def night_outage(event: int = 41, flow_told: bool = False) -> Story:
    """107 minutes without mains and a siphon that has to be primed twice.

    The first on duty falls asleep again, the second comes. flow_told: no sensor sees the flow,
    so that person sends bucket checks.
    """
    start = "2026-10-18T00:45:00"
    says = [
        Say(after(start, "01:22:00"), "tavrin", "take", event, 30.0),
        Say(after(start, "02:00:00"), "oskel", "take", event),
        Say(after(start, "02:32:00"), "oskel", "here", event),
        Say(after(start, "04:05:00"), "oskel", "done", event, text="dead count"),
        Say(after(start, "04:35:00"), "oskel", "done", event, text="timers"),
        Say(after(start, "04:40:00"), "oskel", "done", event, text="cause"),
    ]
    if flow_told:
        says += [
            Say(after(start, "03:33:00"), "oskel", "flow", event),
            Say(after(start, "04:05:00"), "oskel", "flow", event),
        ]
    return Story(
        "night outage, flow told" if flow_told else "night outage",
        start,
        after(start, "05:00:00"),
        FULL,
        actions=(
            Action(after(start, "01:18:00"), "mains off"),
            Action(after(start, "03:05:00"), "mains on"),
            Action(after(start, "03:16:00"), "failed priming", value=2.1 * L_PER_MIN, seconds=40.0),
            Action(after(start, "03:28:20"), "prime"),
            Action(after(start, "04:35:00"), "light timer"),
        ),
        says=tuple(says),
        days=(WARM,),
        water=26.46,
    )


def storm_night(event: int = 44, valve_shut: str | None = None) -> Story:
    """Three outages in one night, the header not refilled between them.

    valve_shut: clock time (HH:MM:SS) at which somebody shuts the siphon valve, which keeps the
    prime; it is opened again at 02:50. Without it the siphon breaks and is primed at 02:41.
    """
    start = "2026-10-16T23:50:00"
    power = tuple(
        Action(after(start, clock), mains)
        for clock, mains in (
            ("00:10:00", "mains off"),
            ("00:13:00", "mains on"),
            ("00:19:00", "mains off"),
            ("00:26:00", "mains on"),
            ("00:32:00", "mains off"),
            ("02:32:00", "mains on"),
        )
    )
    hands: tuple[Action, ...] = (Action(after(start, "02:41:00"), "prime"),)
    if valve_shut is not None:
        hands = (
            Action(after(start, valve_shut), "valve", value=0.0),
            Action(after(start, "02:50:00"), "valve", value=FULL),
        )
    return Story(
        "storm night" if valve_shut is None else "storm night, valve shut",
        start,
        after(start, "03:15:00"),
        FULL,
        actions=power + hands,
        says=(
            Say(after(start, "00:12:00"), "oskel", "take", event),
            Say(after(start, "00:54:00"), "oskel", "here", event),
        ),
    )


def short_dip() -> Story:
    """Three minutes without mains at night; the flow never stops and nobody answers."""
    start = "2026-10-28T01:45:00"
    return Story(
        "short dip",
        start,
        after(start, "02:45:00"),
        FULL,
        actions=(
            Action(after(start, "02:07:00"), "mains off"),
            Action(after(start, "02:10:00"), "mains on"),
        ),
    )


def hold_overrun(event: int = 17) -> Story:
    """A feeding hold whose valve is not opened again for 21 minutes."""
    start = "2026-10-09T12:00:00"
    return Story(
        "hold overrun",
        start,
        after(start, "14:00:00"),
        EARLY,
        actions=(
            Action(after(start, "12:30:00"), "valve", value=0.0),
            Action(after(start, "13:31:00"), "valve", value=EARLY),
        ),
        says=(
            Say(after(start, "12:30:00"), "tavrin", "hold", minutes=40.0),
            Say(after(start, "13:23:00"), "tavrin", "take", event),
        ),
        days=(WARM,),
    )


def thermometer_fault(tag: str = "TW1") -> Story:
    """A wet connector: one start-up value, then no reading for nearly three hours."""
    start = "2026-10-10T09:50:00"
    return Story(
        "thermometer fault",
        start,
        after(start, "13:30:00"),
        EARLY,
        actions=(
            Action(after(start, "10:17:30"), "sensor start-up", tag),
            Action(after(start, "10:17:45"), "sensor cut", tag),
            Action(after(start, "13:05:00"), "sensor well", tag),
        ),
    )


def screen_clogs(event: int = 61) -> Story:
    """Feed clogs the outlet screen: after the hold it passes 4.3 of 6.0 L/min until changed.

    Late in the hold it passes 1.78 of 2.0, which lifts the tank from its -2.5 mm to 0.
    """
    start = "2026-10-26T17:15:00"
    return Story(
        "screen clogs",
        start,
        after(start, "19:00:00"),
        FULL,
        actions=(
            Action(after(start, "17:45:00"), "valve", value=FEEDING),
            Action(after(start, "18:05:00"), "outlet", value=1.78 * L_PER_MIN),
            Action(after(start, "18:15:00"), "outlet", value=4.3 * L_PER_MIN),
            Action(after(start, "18:15:00"), "valve", value=FULL),
            Action(after(start, "18:29:00"), "outlet"),
        ),
        says=(
            Say(after(start, "17:45:00"), "tavrin", "hold", minutes=HOLD),
            Say(after(start, "18:24:00"), "tavrin", "take", event),
            Say(after(start, "18:26:00"), "tavrin", "here", event),
        ),
    )


def quiet_day() -> Story:
    """An ordinary day of 24 h: three feeding holds at 2.0 L/min and the morning's top-up."""
    start = "2026-10-27T00:00:00"
    actions = [Action(after(start, "09:00:00"), "add fresh water", value=4.5 * LITRE)]
    says = []
    for clock in ("07:15:00", "12:30:00", "17:45:00"):
        at = after(start, clock)
        actions.append(Action(at, "valve", value=FEEDING))
        actions.append(Action(at + HOLD * 60.0, "valve", value=FULL))
        says.append(Say(at, "tavrin", "hold", minutes=HOLD))
    return Story(
        "quiet day", start, DAY, FULL, actions=tuple(actions), says=tuple(says), days=(WARM,)
    )


STORIES: dict[str, Callable[[], Story]] = {
    "steady": steady,
    "quiet day": quiet_day,
    "night outage": night_outage,
    "night outage, flow told": lambda: night_outage(flow_told=True),
    "storm night": storm_night,
    "storm night, valve shut": lambda: storm_night(valve_shut="00:49:50"),
    "short dip": short_dip,
    "hold overrun": hold_overrun,
    "thermometer fault": thermometer_fault,
    "screen clogs": screen_clogs,
}
"""Every story by its name."""
