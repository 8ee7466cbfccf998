"""A rig with two larval tanks, each with a header of its own: one never speaks for the other."""

from dataclasses import replace

from logic.play import Watch, sample, watch, with_tags
from monitor.inputs import Answer, Moment, Reading
from monitor.rig import Rig
from monitor.setup import Setup

ORIGIN = Moment(1, 0.0, 1_792_303_080.0)


def two_tanks() -> Setup:
    """The demo rig's water twice: tank, header, siphon, pump, circuit and their sensors."""
    one = with_tags(sample("ostrel-hill"), "MP", "QS", "QL", "LH", "TW1")
    names = {"LT1": "LT2", "HD1": "HD2", "S1": "S2", "P1": "P2", "B1": "B5"}
    rig = one.rig
    twins = {tag.id: f"{tag.id}b" for tag in rig.tags}
    vessels = tuple(
        replace(vessel, id=names[vessel.id]) for vessel in rig.vessels if vessel.id in names
    )
    lines = tuple(
        replace(
            line,
            id=names[line.id],
            source=names.get(line.source or "", line.source),
            target=names.get(line.target or "", line.target),
            circuit=names.get(line.circuit or ""),
        )
        for line in rig.lines
        if line.id in names
    )
    tags = tuple(replace(tag, id=twins[tag.id], of=names[tag.of]) for tag in rig.tags)
    both = Rig(
        rig.board,
        rig.id,
        rig.label,
        rig.zone,
        (*rig.vessels, *vessels),
        (*rig.lines, *lines),
        (*rig.circuits, "B5"),
        (*rig.tags, *tags),
    )
    return replace(
        one,
        rig=both,
        flows=(*one.flows, replace(one.flows[0], line="S2")),
        limits=(*one.limits, *(replace(limit, tag=twins[limit.tag]) for limit in one.limits)),
        worked_out={},
    )


def play(*, first_off: float, second_falls: float, until: float) -> Watch:
    """The mains of the first tank goes off at one second, the second header sinks from another."""
    setup = two_tanks()
    under = watch(setup, ORIGIN, 41)
    for at in range(0, int(until), 5):
        now = under.now(float(at))
        gone, sunk = max(0.0, at - first_off), max(0.0, at - second_falls)
        values = {
            "MP": 0.0 if gone else 1.0,
            "QS": 0.0 if gone else 9.0,
            "QL": 6.0,
            "LH": round(38.3 - 0.02 * gone, 1),
            "TW1": 26.5,
            "MPb": 1.0,
            "QSb": 5.0 if sunk else 9.0,
            "QLb": 6.0,
            "LHb": round(38.3 - 0.02 * sunk, 1),
            "TW1b": 26.5,
        }
        under.feed([Reading(tag, now, value) for tag, value in values.items()], at + 1.0)
    return under


def test_each_tank_has_its_own_event() -> None:
    """The outage of one is told of that tank; the header that sinks in the other of the other,
    though sinking headers are expected while supply is lost."""
    under = play(first_off=600.0, second_falls=700.0, until=1200.0)
    lost = next(text for text in under.texts if text.turn == "supply lost")
    low = next(text for text in under.texts if text.turn == "header low")
    assert (41, "LT1") == (lost.event, under.event(lost.event).vessel)
    assert (42, "LT2") == (low.event, under.event(low.event).vessel)
    assert "LT1" in lost.body
    assert "LT2" in low.body
    assert not [a for a in under.event(41).alarms if "HD2" in a or "S2" in a]


def test_no_flow_in_the_second_tank_is_that_of_the_second() -> None:
    """A bucket check is refused by the meter of the tank the event is about, not by another's."""
    under = watch(two_tanks(), ORIGIN, 41)
    for at in range(0, 600, 5):
        now = under.now(float(at))
        values = {"QL": 6.0, "QLb": 0.0 if at > 120 else 6.0, "LH": 38.3, "LHb": 38.4}
        values |= {"MP": 1.0, "MPb": 1.0, "QS": 9.0, "QSb": 9.0}
        under.feed([Reading(tag, now, value) for tag, value in values.items()], at + 1.0)
    text = next(text for text in under.texts if text.turn == "no flow")
    assert "LT2" in text.body
    under.take(601.0, [Answer(under.now(601.0), "flow", "tavrin", text.event)])
    assert ["LT2: a sensor shows no flow; prime again and look"] == [r.why for r in under.refusals]
