"""The sign of life that a full pass of the loop leaves."""

from monitor.logic import storm
from monitor.logic.events import is_open
from monitor.logic.scan import Scan
from monitor.loop import Snapshot
from monitor.sign import Sign


def sign_of(snapshot: Snapshot) -> Sign:
    """What the watch says of itself to those who listen elsewhere."""
    setup, state, now = snapshot.setup, snapshot.state, snapshot.moment
    events = [event for event in state.durable.events.values() if is_open(event)]
    return Sign(
        board=setup.rig.board,
        rig=setup.rig.id,
        boot=now.boot,
        elapsed=now.elapsed,
        utc=now.utc,
        trusted=now.trusted,
        every=0.0,
        open=len(events),
        untaken=sum(event.stage == "open" for event in events),
        faults=len(state.running.faults),
        storm=storm.is_on(Scan(setup, state, now)),
    )
