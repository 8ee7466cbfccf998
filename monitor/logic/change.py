"""Has the rig changed? Small or slow shifts of the followed tags, against what was usual lately.

The tags of one place (a vessel or a line) are judged together, in blocks of five readings of the
fastest of them. Each block mean is compared with a baseline learnt from the last 180 blocks; the
standardised differences of all tags are one vector, summed by the multivariate CUSUM of Crosier
(Technometrics 30, 1988, 291-303). A baseline follows the rig with a guard of 12 blocks, stands
still while the sum is up or the change is told, and takes the new state after 180 blocks.

How the figures were chosen, and what is not seen: docs/explanation/change-detection.md.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from math import hypot, sqrt
from statistics import median

from monitor.rig import Tag

READINGS = 5
"""Readings of the fastest tag in one block: averages the steps of a coarse meter."""
WINDOW = 180
"""Blocks a baseline is learnt from, and after which a new state is accepted: 15 min at 1 Hz."""
ENOUGH = 72
"""Blocks without which nothing is judged (cold start): 6 min at 1 Hz."""
GUARD = 12
"""Blocks that wait before the baseline learns from them, so that it does not follow a fault."""
ALLOWANCE = 2.5
"""Length of a difference that is not summed (k of the CUSUM), in scales: half of a shift of 5."""
DECISION = 4.0
"""Length of the sum at which a change is told (h of the CUSUM), in scales."""
CLIP = 5.5
"""Largest difference one block of one tag can say: one outlier alone is never a change."""
OVER_BLOCKS = 6
"""A change is over when the mean of so many blocks lies within the allowance of the baseline."""
WIDER = 1.25
"""The scale is the spread of blocks times this at least: they are never quite independent."""
OUTLIER = 2.5
"""Differences beyond so many robust scales are pulled in before mean and spread are taken."""
MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation, normal distribution."""

SMALLEST_SHARE = {"flow": 0.0225}
SMALLEST_SHARE_ELSE = 0.06
SMALLEST_CELSIUS = 1.0
"""The smallest shift worth telling: a share of the level, or kelvins of a temperature (own choice).
A scale is never under a quarter of it."""

Block = tuple[float | None, ...]
"""Means of one block in SI, one a tag; None where the tag said nothing."""


@dataclass(frozen=True, slots=True)
class Usual:
    """Baseline of one tag: level at the next block, drift a block, and scale of block means."""

    level: float
    drift: float
    scale: float

    def away(self, value: float, blocks: float = 0.0) -> float:
        """Difference in scales of a value that lies so many blocks after the level."""
        return (value - self.level - self.drift * blocks) / self.scale


@dataclass(frozen=True, slots=True)
class Learnt:
    """What is known of one place after its last full block.

    past: blocks the baseline was learnt from; fresh: those since. sums: the CUSUM vector.
    zero_at: when the sum was last nil, the best guess of when a change began. changed_at: when
    it was told, None while there is none.
    """

    past: tuple[Block, ...] = ()
    fresh: tuple[Block, ...] = ()
    usual: tuple[Usual | None, ...] = ()
    sums: tuple[float, ...] = ()
    zero_at: float = 0.0
    changed_at: float | None = None

    @property
    def judged(self) -> bool:
        """Whether any tag has a baseline."""
        return any(item is not None for item in self.usual)


@dataclass(frozen=True, slots=True)
class Followed:
    """One place: the block being filled (its number, sums and counts), and what is learnt.

    seconds: length of a block. taken: time of the last reading taken of each tag.
    """

    tags: tuple[Tag, ...]
    seconds: float
    key: int
    totals: tuple[float, ...]
    counts: tuple[int, ...]
    taken: tuple[float, ...]
    learnt: Learnt


def block_seconds(tags: tuple[Tag, ...]) -> float:
    """Length of a block of these tags, s."""
    return READINGS * min(tag.every for tag in tags)


def take(
    tags: tuple[Tag, ...],
    state: Followed | None,
    values: tuple[tuple[float, float] | None, ...],
    now: float,
) -> Followed:
    """Take the newest accepted readings of a place, (value in SI, time) or None for each tag.

    A value whose time was taken before is not counted again. A block closes when the first
    reading of the next one comes. After a gap as long as the whole window, and when the tags or
    their calibration change, all begins anew.
    """
    if state is None or state.tags != tags or now // state.seconds - state.key > WINDOW:
        state = _begin(tags, now)
    seconds, totals, counts, learnt = state.seconds, state.totals, state.counts, state.learnt
    key = int(now // seconds)
    if key != state.key:
        means = tuple(t / n if n else None for t, n in zip(totals, counts, strict=True))
        learnt = close(tags, learnt, means, now, WINDOW * seconds)
        totals, counts = (0.0,) * len(tags), (0,) * len(tags)
    sums, numbers, taken = list(totals), list(counts), list(state.taken)
    for place, given in enumerate(values):
        if given is not None and given[1] > taken[place]:
            sums[place] += given[0]
            numbers[place] += 1
            taken[place] = given[1]
    return Followed(tags, seconds, key, tuple(sums), tuple(numbers), tuple(taken), learnt)


def _begin(tags: tuple[Tag, ...], now: float) -> Followed:
    seconds = block_seconds(tags)
    nil, never = (0.0,) * len(tags), (float("-inf"),) * len(tags)
    empty = (0,) * len(tags)
    return Followed(tags, seconds, int(now // seconds), nil, empty, never, Learnt(zero_at=now))


def close(tags: tuple[Tag, ...], learnt: Learnt, block: Block, now: float, limit: float) -> Learnt:
    """Judge one full block: learn from it, sum it up, or look whether a change is over."""
    if not learnt.judged:
        past = (*learnt.past, block)[-WINDOW:]
        return _learn(tags, learnt, past, ()) if len(past) >= ENOUGH else replace(learnt, past=past)
    fresh = (*learnt.fresh, block)[-WINDOW:]
    if learnt.changed_at is not None:
        if now - learnt.changed_at >= limit:
            return _learn(tags, replace(learnt, changed_at=None, zero_at=now), fresh, ())
        if len(fresh) >= OVER_BLOCKS and _is_back(learnt.usual, fresh):
            usual = _resumed(learnt.usual, fresh)
            nil = (0.0,) * len(tags)
            return replace(learnt, fresh=(), usual=usual, sums=nil, zero_at=now, changed_at=None)
        return replace(learnt, fresh=fresh)
    sums = add(learnt.sums, away(learnt.usual, block, len(learnt.fresh)))
    height = hypot(*sums)
    if height > DECISION:
        usual = _ahead(learnt.usual, len(fresh))
        return replace(learnt, fresh=(), usual=usual, sums=sums, changed_at=now)
    zero_at = now if height == 0.0 else learnt.zero_at
    learnt = replace(learnt, fresh=fresh, sums=sums, zero_at=zero_at)
    quiet = height <= DECISION / 2.0 or len(fresh) == WINDOW
    if len(fresh) >= 2 * GUARD and quiet:
        return _learn(tags, learnt, (*learnt.past, *fresh[:-GUARD])[-WINDOW:], fresh[-GUARD:])
    return learnt


def add(sums: tuple[float, ...], difference: tuple[float, ...]) -> tuple[float, ...]:
    """One step of Crosier's multivariate CUSUM: add, then shorten the vector by the allowance."""
    added = [a + b for a, b in zip(sums, difference, strict=True)]
    length = hypot(*added)
    if length <= ALLOWANCE:
        return (0.0,) * len(sums)
    left = 1.0 - ALLOWANCE / length
    return tuple(item * left for item in added)


def away(usual: tuple[Usual | None, ...], block: Block, blocks: int) -> tuple[float, ...]:
    """Differences of a block from the baseline, in scales, clipped; 0.0 where nothing is known."""
    return tuple(
        0.0 if base is None or value is None else max(-CLIP, min(CLIP, base.away(value, blocks)))
        for base, value in zip(usual, block, strict=True)
    )


def learn(tag: Tag, values: list[tuple[int, float]], ahead: int) -> Usual | None:
    """Baseline of one tag from (block number, mean); None while there are too few, or no spread.

    Level and spread are mean and standard deviation with outliers pulled in: the median of a
    meter with coarse steps jumps from step to step, the mean does not. Only a temperature has a
    drift, from the medians of both halves of its newest blocks: heating and cooling bend it.
    ahead: number of the next block.
    """
    if len(values) < ENOUGH:
        return None
    if tag.measures == "temperature":
        values = values[-ENOUGH:]
    numbers = [number for number, _ in values]
    half = len(values) // 2
    drift, middle = 0.0, (numbers[0] + numbers[-1]) / 2.0
    if tag.measures == "temperature":
        rise = median(v for _, v in values[half:]) - median(v for _, v in values[:half])
        drift = rise * 2.0 / (numbers[-1] - numbers[0] + 1)
    level = [value - drift * (number - middle) for number, value in values]
    centre = median(level)
    floor = _smallest(tag, centre) / 4.0
    spread = MAD_TO_SIGMA * median([abs(value - centre) for value in level])
    reach = OUTLIER * max(spread, floor)
    pulled = [max(-reach, min(reach, value - centre)) for value in level]
    shift = sum(pulled) / len(pulled)
    scale = max(_long_spread([item - shift for item in pulled]), floor)
    if scale <= 0.0:
        return None
    return Usual(centre + shift + drift * (ahead - middle), drift, scale)


def _long_spread(rests: list[float]) -> float:
    """Standard deviation of block means, made wider because they are not independent.

    A sum of AR(1) values spreads sqrt((1 + phi) / (1 - phi)) times as far as one of independent
    values (long-run variance). Counted is the part of phi beyond three times its standard error,
    1 / sqrt(n), and WIDER at least.
    """
    squares = sum(item * item for item in rests)
    if squares <= 0.0:
        return 0.0
    phi = sum(a * b for a, b in pairwise(rests)) / squares - 3.0 / sqrt(len(rests))
    wider = sqrt((1.0 + phi) / (1.0 - phi)) if phi > 0.0 else 1.0
    return max(WIDER, wider) * sqrt(squares / len(rests))


def _smallest(tag: Tag, level: float) -> float:
    if tag.measures == "temperature":
        return SMALLEST_CELSIUS
    return max(
        SMALLEST_SHARE.get(tag.measures, SMALLEST_SHARE_ELSE) * abs(level), tag.quantum or 0.0
    )


def _learn(
    tags: tuple[Tag, ...], learnt: Learnt, past: tuple[Block, ...], fresh: tuple[Block, ...]
) -> Learnt:
    """The baseline from these blocks; `fresh` follow them and are not learnt from yet."""
    columns = [
        [(number, value) for number, value in enumerate(column) if value is not None]
        for column in zip(*past, strict=True)
    ]
    usual = tuple(learn(tag, column, len(past)) for tag, column in zip(tags, columns, strict=True))
    sums = learnt.sums if fresh else (0.0,) * len(tags)
    return replace(learnt, past=past, fresh=fresh, usual=usual, sums=sums)


def _ahead(usual: tuple[Usual | None, ...], blocks: int) -> tuple[Usual | None, ...]:
    """The baselines as they will be so many blocks later, with nothing new learnt."""
    return tuple(
        base if base is None else replace(base, level=base.level + base.drift * blocks)
        for base in usual
    )


def _resumed(usual: tuple[Usual | None, ...], fresh: tuple[Block, ...]) -> tuple[Usual | None, ...]:
    """The old baselines after a change; one that drifts goes on from where the tag is now."""
    return tuple(
        replace(base, level=mean) if base is not None and base.drift and mean is not None else base
        for base, mean in zip(usual, _last_means(fresh), strict=True)
    )


def _is_back(usual: tuple[Usual | None, ...], fresh: tuple[Block, ...]) -> bool:
    """Whether the last blocks lie, on the mean, where the baseline is."""
    lengths = [
        base.away(mean, len(fresh) - OVER_BLOCKS / 2.0)
        for base, mean in zip(usual, _last_means(fresh), strict=True)
        if base is not None and mean is not None
    ]
    return bool(lengths) and hypot(*lengths) < ALLOWANCE


def _last_means(fresh: tuple[Block, ...]) -> list[float | None]:
    """Mean of each tag over the last blocks, None where it said nothing."""
    columns = zip(*fresh[-OVER_BLOCKS:], strict=True)
    seen = [[value for value in column if value is not None] for column in columns]
    return [sum(values) / len(values) if values else None for values in seen]
