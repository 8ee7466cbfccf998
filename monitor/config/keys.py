"""Every key of the configuration: what it is, its unit, and what it may be.

The bounds are wide: they catch a slipped decimal point or a wrong unit, not an unusual rig (common
practice, no source). docs/reference/configuration.md says the same at length.
"""

from monitor.config.rules import (
    WEEK_DAYS,
    Check,
    Rule,
    Rules,
    between,
    count,
    day,
    each,
    identifier,
    local_time,
    mail,
    one_of,
    phone,
    rising_pair,
    time_of_day,
    time_of_week,
    words,
)
from monitor.rig import LINE_KINDS, VESSEL_KINDS
from monitor.setup import GRADES
from monitor.units import UNITS

SOURCE_KINDS = (
    "mqtt", "onewire", "gpio", "counter", "iio", "power_supply", "hwmon", "ups", "modbus", "http",
    "manual", "signs", "simulated", "recording",
)  # fmt: skip
"""Kinds of source: a driver of monitor/sources, the simulated rig, or a file that is replayed."""
CHANNEL_KINDS = (
    "mail", "folder", "mailbox", "modem", "sign_http", "sign_mqtt", "siren", "text_gateway",
)  # fmt: skip
"""Kinds of channel, as in monitor/channels."""
CARRIES_NO_TEXT = ("mailbox", "sign_http", "sign_mqtt")
"""Kinds of channel that reach nobody."""
ADDRESS_FOR = {"mail": "mail", "modem": "phone", "text_gateway": "phone"}
"""What a person needs to be reached by a kind of channel; the others need nothing."""

ID = 8
"""Letters of a name that stands in texts: 160 places have to hold all of one."""
LONG_ID = 20
LARGEST = 1e9
_NAMES = each(identifier(LONG_ID))


def _list(known: tuple[str, ...]) -> str:
    return "one of " + ", ".join(f'"{word}"' for word in known)


def _odd(low: float, high: float) -> Check:
    inside = between(low, high)

    def check(value: object) -> str:
        if wrong := inside(value):
            return wrong
        if isinstance(value, int) and value % 2 == 0:
            return f"{value} is not an odd number"
        return ""

    return check


SITE: Rules = {
    "board": Rule('the name of the computer, such as "ostrel-1"', identifier(LONG_ID)),
    "rig": Rule('the short name of the rig, such as "OH"', identifier(LONG_ID)),
    "label": Rule('the place as texts name it, at most 8 letters: "Ostrel"', words(ID)),
    "zone": Rule('the time zone of the site, such as "America/Chicago"'),
    "circuits": Rule(
        'the electric circuits, at most 8 letters each: ["B1", "B2"]', each(identifier(ID))
    ),
}
VESSEL: Rules = {
    "id": Rule('the name of the vessel in texts, at most 8 letters: "LT1"', identifier(ID)),
    "kind": Rule(_list(VESSEL_KINDS), one_of(VESSEL_KINDS)),
    "area_m2": Rule("the area of the water surface in m2: 0.49", between(0.001, 10_000)),
    "lip_cm": Rule("the height of the overflow lip above its floor in cm: 38", between(0.5, 2_000)),
    "rim_cm": Rule("the height of the rim above its floor in cm: 46", between(0.5, 2_000)),
    "volume_l": Rule("the litres it holds at the lip: 720", between(0.1, 10_000_000)),
}
LINE: Rules = {
    "id": Rule('the name of the line, at most 8 letters: "S1"', identifier(ID)),
    "kind": Rule(_list(LINE_KINDS), one_of(LINE_KINDS)),
    "from_vessel": Rule('the vessel the line leaves: "HD1"'),
    "to_vessel": Rule('the vessel the line enters: "LT1"'),
    "bore_mm": Rule("the inner width of the pipe in mm: 13", between(1, 1_000)),
    "head_m": Rule(
        "the height from the larval surface up to the header lip in m: 1.05", between(0.01, 50)
    ),
    "break_cm": Rule(
        "the measured level in the header at which the siphon breaks in cm: 12", between(0.1, 2_000)
    ),
    "pump_l_min": Rule("what the pump delivers up there in L/min: 9.0", between(0.01, 100_000)),
    "mouth_cm": Rule("level in cm at which the pump draws air: 9", between(0.0, 10_000)),
    "circuit": Rule('the circuit that feeds the pump: "B1"'),
    "drain_flow_l_min": Rule(
        "the flow at which the drain test was done in L/min: 6.0", between(0.01, 100_000)
    ),
    "endurance_min": Rule(
        "the minutes from supply off to the break in the drain test: 22.7", between(0.1, 10_000)
    ),
    "float_to_break_min": Rule(
        "the minutes from the float opening to the break: 15.5", between(0.1, 10_000)
    ),
}
TAG: Rules = {
    "id": Rule('the name of the tag, at most 12 letters: "LH"', identifier(12)),
    "measures": Rule(_list(tuple(UNITS)), one_of(tuple(UNITS))),
    "of": Rule('the vessel, line or circuit it belongs to: "HD1"'),
    "source": Rule("the id of a [[source]]"),
    "unit": Rule('the unit of its readings and limits: "cm"'),
    "address": Rule("where the source finds it, such as a topic"),
    "every_s": Rule("the seconds between two readings: 5", between(0.1, 86_400)),
    "stale_s": Rule("the seconds of silence until it counts as silent: 60", between(1, 604_800)),
    "gain": Rule("the factor of the calibration: 1.0", between(-LARGEST, LARGEST)),
    "zero": Rule("what the calibration adds, in the tag's unit: 0.0", between(-LARGEST, LARGEST)),
    "calibration": Rule("the number of the calibration, from 1: 1", between(1, 1_000_000)),
    "quantum": Rule("the smallest step of the sensor, in the tag's unit: 0.1", between(1e-9, 1e6)),
    "sensor_range": Rule("what the sensor can say at all, in the tag's unit: [0, 46]", rising_pair),
    "usual_range": Rule("what is credible here, in the tag's unit: [10, 42]", rising_pair),
    "max_step": Rule(
        "the largest true step between two readings, in the tag's unit: 1.0", between(0, LARGEST)
    ),
    "max_rate_per_s": Rule(
        "the fastest true change, in the tag's unit per second: 0.05", between(0, LARGEST)
    ),
    "spike": Rule(
        "two heights of a spike, suspect and bad, in the tag's unit: [1, 2]", rising_pair
    ),
    "flat_after_min": Rule("the minutes without any change: 60", between(0.1, 100_000)),
    "start_up_values": Rule(
        "the values that mean a fault, such as [85.0, -127.0]",
        each(between(-LARGEST, LARGEST), most=10),
    ),
    "median": Rule("how many readings the median runs over, an odd number: 5", _odd(1, 99)),
    "opens_at_cm": Rule("the level at which the float opens in cm: 28", between(0.1, 2_000)),
    "followed": Rule("true if small or slow changes of it are to be told, else false"),
}
SOURCE: Rules = {
    "id": Rule('the name of the source, such as "broker"', identifier(LONG_ID)),
    "kind": Rule(_list(SOURCE_KINDS), one_of(SOURCE_KINDS)),
}
CHANNELS_HEAD: Rules = {
    "path_test": Rule('when each way is tested, a weekday and a time: "Fri 09:00"', time_of_week),
    "day_lines": Rule("true for a line each morning, else false"),
}
CHANNEL: Rules = {
    "id": Rule('the name of the channel, such as "mail"', identifier(LONG_ID)),
    "kind": Rule(_list(CHANNEL_KINDS), one_of(CHANNEL_KINDS)),
}
_GRADE = Rule(_list(GRADES), one_of(GRADES))
_FIRST_ACTION = Rule(
    'the first thing to do, at most 60 letters: "Clear the header lip."', words(60)
)
FLOW: Rules = {
    "line": Rule("the id of a [[line]]"),
    "changes_at": Rule('the time of day at which a new set flow is set: "10:00"', time_of_day),
    "set_l_min": Rule("the set flow in L/min: 6.0, or [[-9, 3.0], [5, 4.5]] by dph"),
    "known_by": Rule('how the flow is known: "meter", or "bucket 17 Oct"', words(20)),
    "band_percent": Rule("the band on both sides in percent: 20", between(1, 99)),
    "low_percent": Rule("the band below the set flow in percent: 20", between(1, 99)),
    "high_percent": Rule("the band above the set flow in percent: 20", between(1, 1_000)),
    "grade": _GRADE,
    "on_delay_s": Rule("the seconds outside the band until it counts: 300", between(0, 86_400)),
    "off_delay_s": Rule("the seconds back inside until it is over: 0", between(0, 86_400)),
    "deadband_percent": Rule("the percent it must come back inside: 5", between(0, 50)),
    "far_too_low": Rule("true, or false to leave this limit out"),
    "far_too_low_percent": Rule("the percent of the set flow: 50", between(1, 98)),
    "far_too_low_after_min": Rule("the minutes until it counts: 10", between(0, 1_440)),
    "no_flow": Rule("true, or false to leave this limit out"),
    "no_flow_below_l_min": Rule(
        "the flow in L/min under which the meter shows none: 0.5", between(0.001, 100_000)
    ),
    "no_flow_after_min": Rule("the minutes until it counts: 3", between(0.1, 1_440)),
}
LIMIT: Rules = {
    "condition": Rule('what it is called: "header low"', words(24)),
    "step": Rule('a word that tells it from others of the name: "warn"', words(8)),
    "tag": Rule("the id of a [[tag]]"),
    "side": Rule('"high" or "low"', one_of(("high", "low"))),
    "value": Rule("the limit in the tag's unit: 36.0", between(-LARGEST, LARGEST)),
    "by_dph": Rule('pairs of first dph and value, rising, "off" for none: [[-9, 5.0], [5, "off"]]'),
    "grade": _GRADE,
    "on_delay_s": Rule("the seconds past the limit until it counts: 60", between(0, 86_400)),
    "off_delay_s": Rule("the seconds back inside until it is over: 0", between(0, 86_400)),
    "deadband": Rule("how far inside it must come back, in the tag's unit: 0.5", between(0, 1e6)),
    "held_off": Rule("true if a feeding hold quiets it, else false"),
    "latching": Rule("true if it stays until a person has looked at it, else false"),
    "first_action": _FIRST_ACTION,
}
LIMITS_HEAD: Rules = {
    "quiet_hours": Rule('the quiet hours: ["21:00", "07:00"]', each(time_of_day, 2)),
    "owed_by": Rule('the time by which owed lines are asked for: "09:00"', time_of_day),
}
DUTY_HEAD: Rules = {
    "standing": Rule('the call order when no turn applies: ["tavrin", "oskel"]', _NAMES),
    "evening": Rule('the time at which the duty of a night begins: "18:00"', time_of_day),
    "ask": Rule("true if people are asked before their turn, else false"),
    "manager": Rule('the id of the lab manager: "lendow"', identifier(LONG_ID)),
}
PERSON: Rules = {
    "id": Rule('a short name for lists and answers: "tavrin"', identifier(LONG_ID)),
    "name": Rule('the name as texts have it, at most 16 letters: "Tavrin"', words(16)),
    "bed_to_door_min": Rule(
        "the minutes from a text at night to the door: 30", between(0.5, 1_440)
    ),
    "day_to_door_min": Rule("the minutes from a text by day to the door: 20", between(0.5, 1_440)),
    "mail": Rule('a mail address: "tavrin@example.org"', mail),
    "phone": Rule('a phone number with country: "+1 940-555-0141"', phone),
    "channels": Rule('the ids of channels that reach the person: ["mail"]', _NAMES),
}
TURN: Rules = {
    "start": Rule("the beginning in site time: 2026-10-03 18:00", local_time),
    "end": Rule("the end in site time: 2026-10-04 18:00", local_time),
    "order": Rule('who is called first, second, ...: ["tavrin", "oskel"]', _NAMES),
}
WEEK: Rules = {
    "days": Rule('the days on which it begins: ["Mon", "Tue"]', each(one_of(WEEK_DAYS), most=7)),
    "start": Rule('the time of day at which it begins: "18:00"', time_of_day),
    "end": Rule('the time at which it ends, the next day if need be: "07:00"', time_of_day),
    "order": Rule('who is called first, second, ...: ["tavrin", "oskel"]', _NAMES),
}
RUN: Rules = {
    "id": Rule('the name of the run: "OH-07"', identifier(LONG_ID)),
    "tank": Rule('the vessel the larvae are in: "LT1"'),
    "hatch": Rule("the day of the reference hatch: 2026-10-06", day),
    "watch_set": Rule("true if the watch is in force, else false"),
    "hatch_day": Rule("the number of the hatch day, 0 or 1", between(0, 1)),
    "day_begins": Rule('the time at which dph changes: "00:00" or "04:30"', time_of_day),
    "also_in": Rule('other vessels that hold larvae of it: ["NT1"]'),
    "begun": Rule('the first stocking: "2026-10-03 09:30"', local_time),
    "closed": Rule('the end of the run: "2026-11-05 10:00"', local_time),
    "protocol": Rule('the number of the animal protocol: "AP-26-14"', words(LONG_ID)),
    "animals_approved": Rule("the animals approved in the protocol", between(0, LARGEST)),
    "lights": Rule('when lights go on and off: ["06:30", "19:30"]', each(time_of_day, 2)),
}
BATCH: Rules = {
    "id": Rule('a short name: "B"', identifier(ID)),
    "run": Rule("the id of its run, where several stand here"),
    "source": Rule('where it came from: "spawn of 4 Oct"', words(60)),
    "stocked": Rule('when it came into the water: "2026-10-05 09:10"', local_time),
    "hatch": Rule('when half had hatched: "2026-10-06 04:30"', local_time),
    "eggs": Rule('how many, "~" for an estimate: "11900"', count),
    "hatched": Rule('how many, "~" for an estimate: "~2100"', count),
}
