"""The condition `changed`: feeds the followed tags of each place to the change detection.

It is a notice and belongs to a group of its own, so that it waits for the morning and never joins
an event that calls people.
"""

from functools import partial

from monitor.effects import Evidence
from monitor.logic import change
from monitor.logic.conditions import settle
from monitor.logic.plan import FollowPlan
from monitor.logic.scan import Scan


def judge_followed(scan: Scan, plan: FollowPlan, touched: frozenset[str]) -> None:
    """Take what the followed tags of a place said, and judge whether it has changed.

    A change that is told ends after the time in which a new state is accepted, even if nothing
    is read any more; until a baseline is there (cold start) the last truth is held.
    """
    place, tags = plan.spec.subject, plan.tags
    was = scan.running.followed.get(place)
    state = was
    if any(tag.id in touched for tag in tags):
        values = tuple(_newest(scan, tag.id) if tag.id in touched else None for tag in tags)
        state = change.take(tags, was, values, scan.t)
        scan.set_followed(place, state)
    if state is None or state.tags != tags:
        return
    learnt = state.learnt
    truth: bool | None = learnt.changed_at is not None if learnt.judged else None
    if learnt.changed_at is not None:
        end = learnt.changed_at + change.WINDOW * state.seconds
        truth = scan.t < end
        scan.due(end)
    settle(scan, plan.spec, truth, partial(_shown, plan, learnt), learnt.zero_at)


def _newest(scan: Scan, tag: str) -> tuple[float, float] | None:
    """The last accepted reading, not smoothed: a median would hide the steps of a coarse meter."""
    last = scan.tag_state(tag).last
    return last[-1] if last else None


def _shown(plan: FollowPlan, learnt: change.Learnt) -> Evidence:
    """The tags that moved most, with what was usual; once it is over, what is usual now."""
    most = max((abs(item) for item in learnt.sums), default=0.0)
    pairs: list[tuple[str, str]] = []
    for tag, base, moved in zip(plan.tags, learnt.usual, learnt.sums, strict=True):
        if base is not None and abs(moved) >= most / 2.0:
            way = "usual" if moved == 0.0 else "up from" if moved > 0.0 else "down from"
            pairs.append((tag.id, f"{way} {tag.unit.show(base.level)}"))
    return tuple(pairs)
