"""The condition `changed`: feeds the followed tags of each place to the change detection.

It is a notice and belongs to a group of its own, so that it waits for the morning and never joins
an event that calls people. What people do on purpose (a feeding hold, another set flow) and what
is told anyway (supply lost, siphon broken) is no change: meanwhile nothing is judged, and after
it all begins anew, because a valve set by hand never gives the same flow twice.
"""

from functools import partial

from monitor.effects import Evidence
from monitor.logic import change
from monitor.logic.conditions import holds_quiet, settle
from monitor.logic.plan import FollowPlan
from monitor.logic.scan import Scan
from monitor.logic.sums import direction


def judge_followed(scan: Scan, plan: FollowPlan, touched: frozenset[str]) -> None:
    """Take what the followed tags of a place said, and judge whether it has changed.

    A change that is told ends after the time in which a new state is accepted, even if nothing
    is read any more; until a course is learnt (cold start) the last truth is held.
    """
    place, tags = plan.spec.subject, plan.tags
    state = scan.running.followed.get(place)
    if any(tag.id in touched for tag in tags):
        if _explained(scan, plan):
            state = change.begin(tags, scan.t)
        else:
            values = tuple(_newest(scan, tag.id) if tag.id in touched else None for tag in tags)
            state = change.take(tags, state, values, scan.t, _setting(scan, plan))
        scan.set_followed(place, state)
    if state is None or state.tags != tags:
        return
    learnt = state.learnt
    truth: bool | None = learnt.changed_at is not None if learnt.judged else None
    if learnt.changed_at is not None:
        end = learnt.changed_at + change.LONGEST * state.seconds
        truth = scan.t < end
        scan.due(end)
    settle(scan, plan.spec, truth, partial(_shown, plan, learnt), learnt.zero_at)


def _explained(scan: Scan, plan: FollowPlan) -> bool:
    """Whether something known moves the readings of this place now."""
    if plan.line is not None and holds_quiet(scan, plan.line):
        return True
    standing = scan.running.conditions
    return any(other in standing for other in plan.explained_by)


def _setting(scan: Scan, plan: FollowPlan) -> float | None:
    """The flow that is due through the line of this place."""
    due = scan.setup.flow_due.get(plan.line or "")
    return None if due is None else due.set_flow.at(scan.dph, scan.clock)


def _newest(scan: Scan, tag: str) -> tuple[float, float] | None:
    """The last accepted reading, not smoothed: a median would hide the steps of a coarse meter."""
    last = scan.tag_state(tag).last
    return last[-1] if last else None


def _shown(plan: FollowPlan, learnt: change.Learnt) -> Evidence:
    """The tags that moved most, with what was usual; once it is over, what is usual now."""
    moved = [direction(sums) for sums in learnt.sums]
    most = max((abs(item) for item in moved), default=0.0)
    pairs: list[tuple[str, str]] = []
    for place, tag in enumerate(plan.tags):
        mean, scatter = moved[2 * place : 2 * place + 2]
        usual = learnt.usual[2 * place]
        if usual is not None and abs(mean) >= most / 2.0:
            way = "usual" if mean == 0.0 else "up from" if mean > 0.0 else "down from"
            pairs.append((tag.id, f"{way} {tag.unit.show(usual.level)}"))
        elif scatter and abs(scatter) >= most / 2.0:
            pairs.append((tag.id, "scatters more" if scatter > 0.0 else "scatters less"))
    return tuple(pairs)
