"""The sign of life says how the watch is: events, faults, storm footing, and the moment."""

from dataclasses import replace

from monitor.inputs import Moment
from monitor.logic.duty_records import Storm
from monitor.logic.state import Durable, EventRecord, Running, State
from monitor.loop import Snapshot
from monitor.sign import Sign
from monitor.watch.signing import sign_of
from shell.fakes import SETUP

NOW = Moment(3, 500.0, 1_792_304_400.0)
OPEN = EventRecord(41, "water", "LT1", "no flow/S1", 1.0, 2.0, "urgent")
STORM = Storm("tavrin", 100.0, NOW.utc + 60.0, 100.0)


def sign(durable: Durable, **faults: str) -> Sign:
    """The sign after a pass with this state."""
    return sign_of(Snapshot(SETUP, State(durable, Running(0.0, faults=faults)), NOW))


def test_sign_counts_what_is_open() -> None:
    """Open events, those that nobody has, and parts of the watch that fail."""
    taken = replace(OPEN, number=42, stage="taken")
    closed = replace(OPEN, number=43, stage="closed")
    found = sign(Durable(events={41: OPEN, 42: taken, 43: closed}), disk="full", inbox="full")
    assert (2, 1, 2) == (found.open, found.untaken, found.faults)
    assert (SETUP.rig.board, SETUP.rig.id) == (found.board, found.rig)
    assert (3, 500.0, NOW.utc, True) == (found.boot, found.elapsed, found.utc, found.trusted)


def test_storm_footing_is_said_while_it_holds() -> None:
    """The listener is stricter then, and only then."""
    assert sign(Durable(storm=STORM)).storm
    assert not sign(Durable(storm=replace(STORM, until=NOW.utc - 1.0))).storm
    assert not sign(Durable()).storm
