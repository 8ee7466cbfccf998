"""What the balance of one way of the water remembers between two looks. Plain records."""

from dataclasses import dataclass, field

from monitor.effects import Evidence
from monitor.rig import Vessel


@dataclass(frozen=True, slots=True)
class Found:
    """One thing the balance found: since when, in which words, and when harm comes.

    mark: the level that was usual before, m (or the flow, m3/s). why: what speaks for it, and
    what was ruled out or could not be. cause: the same in a few words for a text. harm: elapsed
    time of the harm, told early; None where it is not known. harm_is: "rim", "break", "pump dry".
    """

    since: float
    mark: float
    why: Evidence
    cause: str = ""
    harm: float | None = None
    harm_is: str = ""


@dataclass(frozen=True, slots=True)
class Books:
    """The balance of one way: the ten seconds it was last drawn up for, and what it found.

    found: by condition id; one that is missing is not true. held: ids that nothing usable could
    judge, so that their last truth is held. totals: (time, m3) of all water that is seen, means
    of five minutes, unbroken since the last jump; sums: count, m3, seconds of the next of them.
    """

    key: int = -1
    found: dict[str, Found] = field(default_factory=dict)
    held: frozenset[str] = frozenset()
    totals: tuple[tuple[float, float], ...] = ()
    sums: tuple[int, float, float] = (0, 0.0, 0.0)

    def harm(self, name: str, vessel: Vessel | None) -> float | None:
        """Time of the harm of a condition of a vessel, where it was found and that is known."""
        found = self.found.get(f"{name}/{vessel.id}") if vessel is not None else None
        return found.harm if found is not None else None
