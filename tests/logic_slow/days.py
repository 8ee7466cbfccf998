"""Days of means by the hour, made up, on the demo rig."""

from collections.abc import Callable
from datetime import datetime

from logic.play import SAMPLES
from monitor.config import load
from monitor.logic.slow import KEPT, Hours
from monitor.setup import Setup


def utc_of(setup: Setup, local: str) -> float:
    """UTC seconds of a site time such as `2026-10-16T18:00`."""
    return datetime.fromisoformat(local).replace(tzinfo=setup.zone).timestamp()


def kept(
    setup: Setup, until: float, course: Callable[[float], float | None], kept_hours: int = KEPT
) -> Hours:
    """Hours of a course (UTC seconds to value), up to the last full hour before `until`."""
    last = int(until // 3600.0) - 1
    means = tuple(course((last - back) * 3600.0) for back in reversed(range(kept_hours)))
    top = max((mean for mean in means if mean is not None), default=0.0)
    return Hours(last, means, top)


def demo() -> Setup:
    """The demo rig."""
    return load(SAMPLES / "ostrel-hill")
