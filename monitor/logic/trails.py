"""Means and sure changes read off the trail of a tag: its sums of ten seconds."""

from math import sqrt

from monitor.logic.state import TagState

MEAN_SPAN = 30.0
"""Seconds of the mean level; 1 mm of noise shrinks to 0.4 mm at 5 s sampling."""
FLOW_SPAN = 600.0
"""Seconds of the mean flow before a loss."""
FALL_SURE = 0.005
"""A change of 5 mm over 30, 60 or 120 s is no noise of a 1 mm sensor: between means of two readings
each it is five standard deviations; fewer readings must differ by more."""


def mean_level(state: TagState, span: float = MEAN_SPAN) -> tuple[float, float]:
    """Mean value and mean time of the accepted readings of the last `span` seconds."""
    count, values, times = 0, 0.0, 0.0
    for bucket in reversed(state.trail):
        if bucket.at < state.at - span:
            break
        count += bucket.count
        values += bucket.value_sum
        times += bucket.time_sum
    return values / count, times / count


def sure_change(state: TagState, span: float) -> float:
    """Value now less value `span` seconds ago (both means of ten seconds); 0.0 if that is noise.

    The noise of a difference of two means goes with the root of 1/n + 1/m, for n and m readings.
    """
    newest = state.trail[-1]
    wanted = newest.at - span
    for bucket in reversed(state.trail[:-1]):
        if bucket.at <= wanted + 5.0:
            change = newest.value - bucket.value
            sure = FALL_SURE * max(1.0, sqrt(1.0 / newest.count + 1.0 / bucket.count))
            return change if bucket.at > wanted - 15.0 and abs(change) >= sure else 0.0
    return 0.0


def sure_fall(state: TagState) -> float | None:
    """Metres a level fell over 30, 60 or 120 s, where that is more than noise."""
    changes = (sure_change(state, span) for span in (30.0, 60.0, 120.0))
    return next((-change for change in changes if change < 0.0), None)


def rises(state: TagState) -> bool:
    """Whether a level rose by more than noise over 30, 60 or 120 s."""
    return any(sure_change(state, span) > 0.0 for span in (30.0, 60.0, 120.0))
