"""What the page and `holdwater now` say of the water, against what the logic knows."""

import re
from dataclasses import replace

import pytest

from logic.play import Watch, sample, watch
from monitor.inputs import Moment
from monitor.logic.aside import SuppressedRecord
from monitor.logic.scene import scene
from monitor.logic.screen import now_lines
from monitor.simulator import SimulatedRig
from monitor.simulator.nights import night_outage


def played(name: str, minutes: float) -> tuple[Watch, Moment]:
    """The demo outage on a sample rig until so many minutes after the story began."""
    setup = sample(name)
    rig = SimulatedRig(setup, night_outage(41), 41)
    end = rig.origin.elapsed + minutes * 60.0
    seen = watch(setup, rig.origin).feed(list(rig.until(end)), end)
    return seen, Moment(rig.origin.boot, end, rig.origin.utc_at(end))


@pytest.mark.long
@pytest.mark.parametrize("name", ["ostrel-hill", "first-night"])
def test_page_and_event_tell_the_same_break_time(name: str) -> None:
    """While supply is lost the sentence over the page and the line of the event name one time."""
    story = night_outage(41)
    off = next(action.at for action in story.actions if action.do == "mains off")
    for after in (5.0, 10.0, 15.0):
        seen, now = played(name, off / 60.0 + after)
        setup, state = seen.setup, seen.state
        view = scene(setup, state, now)
        sentence = re.search(
            r"SUPPLY LOST: the siphon breaks about (\d\d:\d\d)", view["waters"][0]["sentence"]
        )
        event = re.search(r"siphon breaks about (\d\d:\d\d)", view["events"][0]["line"])
        assert sentence is not None
        assert event is not None
        assert event[1] == sentence[1]
        assert view["waters"][0]["sentence"] in now_lines(setup, state, now)


def test_level_that_counts_from_the_lip_is_drawn_from_the_floor() -> None:
    """A level sensor that can read below zero counts from the lip; others from the floor."""
    setup = sample("ostrel-hill")
    seen, now = played("ostrel-hill", 1.0)
    vessels = {vessel["id"]: vessel for vessel in scene(setup, seen.state, now)["vessels"]}

    assert pytest.approx(0.83, abs=0.01) == vessels["LT1"]["level"]
    assert pytest.approx(0.38, abs=0.02) == vessels["HD1"]["level"]
    assert vessels["ROOM"]["level"] is None


def test_what_a_cause_explains_is_one_line() -> None:
    """Consequences are named once each, by their cause, and are not among what people put aside."""
    suppressed = {
        "header low/HD1/warn": SuppressedRecord("supply lost/HD1", 0.0),
        "header low/HD1/alarm": SuppressedRecord("supply lost/HD1", 0.0),
        "sump high/SU1/warn": SuppressedRecord("supply lost/HD1", 0.0),
        "air low/A1/warn": SuppressedRecord("mains lost/B1", 0.0),
    }
    setup = sample("ostrel-hill")
    seen, now = played("ostrel-hill", 1.0)
    state = replace(seen.state, durable=replace(seen.state.durable, suppressed=suppressed))

    view = scene(setup, state, now)
    assert [
        "Quiet, for supply lost HD1 explains it: header low HD1, sump high SU1.",
        "Quiet, for mains lost B1 explains it: air low A1.",
    ] == view["explained"]
    assert [] == view["standing"]
