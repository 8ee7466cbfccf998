"""Has the rig changed? Small or slow shifts of the followed tags, against what was usual lately.

The tags of one place (a vessel or a line) are judged together, in blocks of five readings of the
fastest of them. Two quantities of each tag are followed: the mean of a block, and the scatter
within it. Each is compared with its usual course (usual.py), learnt from the last 180 blocks, and
what is new in it is summed (sums.py). The usual course follows the rig with a guard of 12 blocks,
stands still while the evidence is up or a change is told, and takes a new state that has settled.

How the figures were chosen, and what is not seen: docs/explanation/change-detection.md.
"""

from dataclasses import dataclass, replace
from math import log, sqrt
from statistics import median
from typing import NamedTuple

from monitor.logic import sums as evidence
from monitor.logic.blocks import Block, Filling, Said, scatter
from monitor.logic.sums import Sums
from monitor.logic.usual import ENOUGH, Course, Usual, wandered
from monitor.logic.usual import learn as learn_usual
from monitor.rig import Tag

READINGS = 5
"""Readings of the fastest tag in one block: averages the steps of a coarse meter."""
WINDOW = 180
"""Blocks a course is learnt from, and after which a new state is accepted: 15 min at 1 Hz."""
LONGEST = 4 * WINDOW
"""Blocks after which a new state is accepted although it still moves: an hour at 1 Hz."""
GUARD = 12
"""Blocks that wait before the course learns from them, so that it does not follow a fault."""
OVER_BLOCKS = 6
"""A change is over when the mean of so many blocks is back."""
BACK = 2.5
"""How far that mean may be off, in its own standard deviations (or half of what is worth)."""
MOST_BACK = 1.0 / 3.0
"""Share of the largest difference that may be left when a change counts as over all the same."""
BUMP, MOST_DEAF, DEAF_BLOCKS = 2.0, 4.0, 120_960
"""After a change that went away by itself surprises count half, a quarter at least, and
half of that is forgotten after so many blocks (a week at 1 Hz): one who cries wolf is believed
less."""

WORTH_SHARE = {"flow": 0.02, "level": 0.02, "pressure": 0.05}
WORTH_SHARE_ELSE = 0.05
WORTH_CELSIUS = 1.0
WORTH_SCATTER = log(2.0)
"""The smallest lasting shift worth telling: a share of the level, kelvins of a temperature; twice
or half the scatter (own choice, no source)."""
MOVING_SHARE = 0.9
"""Share of the blocks in which readings must differ for their scatter to be judged: a coarse
meter that stands on one step has none."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """What is known of one place after its last full block. Two quantities a tag.

    past: blocks the courses were learnt from; fresh: those since. grains: what scatter of a tag is
    too small to count. rests: last differences from the courses. wander: how far means of blocks
    were really off, over hours. zero_at: when the evidence was last nil, the best guess of when a
    change began. changed_at: when it was told, None while there is none; most: how far the
    quantities have been since. deaf: see BUMP.
    """

    past: tuple[Block, ...] = ()
    fresh: tuple[Block, ...] = ()
    usual: tuple[Usual | None, ...] = ()
    grains: tuple[float, ...] = ()
    rests: tuple[float | None, ...] = ()
    sums: tuple[Sums, ...] = ()
    wander: tuple[float, ...] = ()
    zero_at: float = 0.0
    changed_at: float | None = None
    most: tuple[float, ...] = ()
    deaf: float = 1.0

    @property
    def judged(self) -> bool:
        """Whether any quantity has a usual course."""
        return any(item is not None for item in self.usual)


@dataclass(frozen=True, slots=True)
class Followed:
    """One place: the block being filled, and what is learnt.

    seconds: length of a block. taken: time of the last reading taken of each tag. setting: what
    people want of the place (its set flow); another setting begins anew.
    """

    tags: tuple[Tag, ...]
    seconds: float
    key: int
    filling: tuple[Filling, ...]
    taken: tuple[float, ...]
    learnt: Learnt
    setting: float | None = None


def block_seconds(tags: tuple[Tag, ...]) -> float:
    """Length of a block of these tags, s."""
    return READINGS * min(tag.every for tag in tags)


def begin(tags: tuple[Tag, ...], now: float, setting: float | None = None) -> Followed:
    """A place of which nothing is known yet."""
    seconds = block_seconds(tags)
    never, empty = (float("-inf"),) * len(tags), (_EMPTY,) * len(tags)
    return Followed(tags, seconds, int(now // seconds), empty, never, Learnt(zero_at=now), setting)


_EMPTY = Filling()


def take(
    tags: tuple[Tag, ...],
    state: Followed | None,
    values: tuple[tuple[float, float] | None, ...],
    now: float,
    setting: float | None = None,
) -> Followed:
    """Take the newest accepted readings of a place, (value in SI, time) or None for each tag.

    A value whose time was taken before is not counted again. A block closes when the first
    reading of the next one comes. After a gap as long as the whole window, and when the tags,
    their calibration or the setting change, all begins anew.
    """
    if (
        state is None
        or state.tags != tags
        or state.setting != setting
        or now // state.seconds - state.key > WINDOW
    ):
        state = begin(tags, now, setting)
    learnt, filling = state.learnt, state.filling
    key = int(now // state.seconds)
    if key != state.key:
        said = tuple(item.said for item in filling)
        learnt = close(tags, learnt, (state.key, said), now)
        filling = (_EMPTY,) * len(tags)
    fuller, taken = list(filling), list(state.taken)
    for place, given in enumerate(values):
        if given is not None and given[1] > taken[place]:
            fuller[place] = fuller[place].plus(given[0])
            taken[place] = given[1]
    return Followed(tags, state.seconds, key, tuple(fuller), tuple(taken), learnt, setting)


def close(tags: tuple[Tag, ...], learnt: Learnt, block: Block, now: float) -> Learnt:
    """Judge one full block: learn from it, sum it up, or look whether a change is over."""
    if not learnt.judged:
        past = (*learnt.past, block)[-WINDOW:]
        if len(past) < ENOUGH:
            return replace(learnt, past=past, zero_at=now)
        return _at_nil(_learn(tags, replace(learnt, zero_at=now), past))
    if learnt.changed_at is not None:
        fresh = (*learnt.fresh, block)[-LONGEST:]
        return _look_for_end(tags, replace(learnt, fresh=fresh), now)
    rests, sums = _sum_up(learnt, block)
    height = evidence.height(sums)
    fresh = (*learnt.fresh, block)[-WINDOW:]
    if height > evidence.LIMIT:
        nil = (0.0,) * len(sums)
        return replace(learnt, fresh=(), rests=rests, sums=sums, changed_at=now, most=nil)
    zero_at = now if height == 0.0 else learnt.zero_at
    learnt = replace(learnt, fresh=fresh, rests=rests, sums=sums, zero_at=zero_at)
    quiet = height <= evidence.LIMIT / 4.0 or len(fresh) == WINDOW
    if len(fresh) < 2 * GUARD or not quiet:
        return learnt
    learnt = replace(learnt, wander=_wandered(learnt, fresh[:-GUARD]), fresh=fresh[-GUARD:])
    return _learn(tags, learnt, (*learnt.past, *fresh[:-GUARD])[-WINDOW:])


def _quantities(learnt: Learnt, block: Block) -> list[float | None]:
    """Mean and scatter of each tag in a block."""
    found: list[float | None] = []
    for said, grain in zip(block[1], learnt.grains, strict=True):
        found += (None, None) if said is None else (said.mean, scatter(said, grain))
    return found


def _sum_up(learnt: Learnt, block: Block) -> tuple[tuple[float | None, ...], tuple[Sums, ...]]:
    """Differences of a block from the usual courses, and the sums with it."""
    number, rests, sums = block[0], list[float | None](), list[Sums]()
    follows = bool(learnt.fresh) and learnt.fresh[-1][0] == number - 1
    for value, usual, before, was in zip(
        _quantities(learnt, block), learnt.usual, learnt.rests, learnt.sums, strict=True
    ):
        if usual is None or value is None:
            rests.append(None)
            sums.append(was)
            continue
        rest = value - usual.expected(number)
        rests.append(rest)
        surprise = usual.surprise(rest, before if follows else None) / learnt.deaf
        sums.append(evidence.add(was, surprise, usual.worth_in_scales))
    return tuple(rests), tuple(sums)


def _learn(tags: tuple[Tag, ...], learnt: Learnt, past: tuple[Block, ...]) -> Learnt:
    """The usual courses from these blocks."""
    usual, grains = list[Usual | None](), list[float]()
    wander = learnt.wander or (0.0,) * (2 * len(tags))
    at = past[-1][0]
    for place, tag in enumerate(tags):
        said = [(number, item) for number, found in past if (item := found[place]) is not None]
        means = [(number, item.mean) for number, item in said]
        worth = _worth(tag, means)
        steps = [item.step for _, item in said if item.step > 0.0]
        grain = max(worth / 4.0, tag.quantum or 0.0, median(steps) if steps else 0.0)
        drifts = tag.measures == "temperature"
        usual += (
            learn_usual(means, at, worth, wander[2 * place], drifts),
            learn_usual(_scatters(said, grain), at, WORTH_SCATTER, wander[2 * place + 1]),
        )
        grains.append(grain)
    deaf = 1.0 + (learnt.deaf - 1.0) * 0.5 ** (GUARD / DEAF_BLOCKS)
    return replace(
        learnt, past=past, usual=tuple(usual), grains=tuple(grains), wander=wander, deaf=deaf
    )


def _worth(tag: Tag, means: Course) -> float:
    """The smallest lasting shift of a tag worth telling, SI; never under its quantum."""
    if tag.measures == "temperature":
        return WORTH_CELSIUS
    level = abs(median([value for _, value in means])) if means else 0.0
    share = WORTH_SHARE.get(tag.measures, WORTH_SHARE_ELSE)
    return max(share * level, tag.quantum or 0.0)


def _scatters(said: list[tuple[int, Said]], grain: float) -> Course:
    """Course of the scatter; nothing where it means nothing."""
    moving = sum(item.step > 0.0 for _, item in said)
    if grain <= 0.0 or moving < MOVING_SHARE * len(said):
        return []
    found = [(number, scatter(item, grain)) for number, item in said]
    return [(number, value) for number, value in found if value is not None]


def _wandered(learnt: Learnt, blocks: tuple[Block, ...]) -> tuple[float, ...]:
    """How far the courses were really off, with the blocks that are learnt from next."""
    away = _away(learnt, blocks)
    return tuple(
        was if usual is None or off is None else wandered(was or usual.wander, off.rest, off.blocks)
        for usual, was, off in zip(learnt.usual, learnt.wander, away, strict=True)
    )


def _at_nil(learnt: Learnt) -> Learnt:
    """Nothing summed, nothing fresh."""
    count = len(learnt.usual)
    sums = (evidence.none(),) * count
    return replace(learnt, fresh=(), sums=sums, rests=(None,) * count)


def _look_for_end(tags: tuple[Tag, ...], learnt: Learnt, now: float) -> Learnt:
    """While a change is told: is it over, or has the new state become usual?"""
    fresh = learnt.fresh
    if len(fresh) < OVER_BLOCKS:
        return learnt
    away = _away(learnt, fresh[-OVER_BLOCKS:])
    off = [0.0 if item is None else abs(item.rest) / item.allowed for item in away]
    deaf = min(MOST_DEAF, learnt.deaf * BUMP)
    if max(off) <= 1.0:
        usual = tuple(
            replace(item, level=item.level + gone.rest)
            if item is not None and item.drift and gone is not None
            else item
            for item, gone in zip(learnt.usual, away, strict=True)
        )
        return _at_nil(replace(learnt, usual=usual, changed_at=None, zero_at=now, deaf=deaf))
    most = tuple(max(now_off, was) for now_off, was in zip(off, learnt.most, strict=True))
    if all(now_off <= max(1.0, far * MOST_BACK) for now_off, far in zip(off, most, strict=True)):
        return Learnt(past=fresh[-OVER_BLOCKS:], zero_at=now, deaf=deaf)
    if len(fresh) >= LONGEST or (len(fresh) >= WINDOW and _has_settled(learnt)):
        begun = replace(learnt, changed_at=None, zero_at=now)
        return _at_nil(_learn(tags, begun, fresh[-WINDOW:]))
    return replace(learnt, most=most)


def _has_settled(learnt: Learnt) -> bool:
    """Whether the last blocks lie where those before lie: the new state no longer moves."""
    half = ENOUGH // 2
    before = _away(learnt, learnt.fresh[-2 * half : -half])
    after = _away(learnt, learnt.fresh[-half:])
    return all(
        one is None or two is None or abs(two.rest - one.rest) <= one.allowed
        for one, two in zip(before, after, strict=True)
    )


class Away(NamedTuple):
    """How far the mean of some blocks is off, how far it may be, and in how many it was said."""

    rest: float
    allowed: float
    blocks: int


def _away(learnt: Learnt, blocks: tuple[Block, ...]) -> list[Away | None]:
    """How far the means of these blocks are off, None where nothing is known."""
    columns = zip(*(_quantities(learnt, block) for block in blocks), strict=True)
    middle = (blocks[0][0] + blocks[-1][0]) / 2.0
    found = list[Away | None]()
    for usual, column in zip(learnt.usual, columns, strict=True):
        seen = [value for value in column if value is not None]
        if usual is None or not seen:
            found.append(None)
            continue
        rest = sum(seen) / len(seen) - usual.expected(middle)
        own = BACK * learnt.deaf * usual.wander / sqrt(len(seen))
        found.append(Away(rest, max(own, usual.worth / 2.0), len(seen)))
    return found
