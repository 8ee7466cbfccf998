"""The tables of docs/reference/conditions.md as they follow from the code."""

from collections.abc import Iterable, Mapping, Sequence

from monitor.logic import alarms, events, plan, sight, suppression
from monitor.logic.plan import Spec


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A markdown table."""
    lines = [f"| {' | '.join(line)} |" for line in (head, *rows)]
    return "\n".join([lines[0], "|" + "---|" * len(head), *lines[1:]])


def moves(states: Sequence[str], transitions: Mapping[tuple[str, str], str]) -> str:
    """A state machine: one row a state, one column a trigger; an empty cell is refused."""
    triggers = list(dict.fromkeys(trigger for _, trigger in transitions))
    rows = [
        [f"**{state}**", *(transitions.get((state, trigger), "") for trigger in triggers)]
        for state in states
    ]
    return table(["", *triggers], rows)


def alarm_moves() -> str:
    """The life of an alarm."""
    return moves(alarms.STATES, alarms.TRANSITIONS)


def event_moves() -> str:
    """The life of an event."""
    return moves(events.STAGES, events.TRANSITIONS)


def causes() -> str:
    """What explains what."""
    rows = [[name, ", ".join(known), ""] for name, known in suppression.CAUSES.items()]
    rows += [[name, ", ".join(known), "notices"] for name, known in suppression.ON_BATTERY.items()]
    return table(["consequence", "while this is active", "only"], rows)


def groups() -> str:
    """Group -> what is measured by the tags whose limits belong to it."""
    found: dict[str, list[str]] = {}
    for measures, group in plan.GROUPS.items():
        found.setdefault(group, []).append(measures)
    return table(["group", "limits on"], [[group, ", ".join(of)] for group, of in found.items()])


def sights() -> str:
    """How each kind of trouble can be seen, by the sensors of a rig."""

    def by(name: str, how: str) -> str:
        return ", or ".join(
            " and ".join(need) for is_how, need in sight.LINES[name] if is_how == how
        )

    rows = [
        [name, *(by(name, how) for how in ("seen", "seen late", "presumed"))]
        for name in sight.LINES
    ]
    return table(["trouble", "seen by", "seen late by", "presumed from"], rows)


def roles() -> str:
    """What the short words of the table of sights mean."""
    return table(["word", "is"], list(sight.ROLES.items()))


def duration(seconds: float) -> str:
    """So many seconds in the largest unit that divides them."""
    for size, unit in ((3600, "h"), (60, "min")):
        if seconds >= size and seconds % size == 0:
            return f"{seconds / size:g} {unit}"
    return f"{seconds:g} s"


def steps_of(specs: Iterable[Spec], name: str) -> str:
    """The steps of a condition in a sample, mildest first: grade and on-delay of each."""
    found = sorted({(spec.rank, spec.grade, spec.on_delay) for spec in specs if spec.name == name})
    return ", ".join(f"{grade} after {duration(delay)}" for _, grade, delay in found)
