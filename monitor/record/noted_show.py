"""Light, holds, and what people wrote down, as columns of the day table. No names of people."""

import re
from collections.abc import Iterator

from monitor.record.rows import Counted, DayRow, Measure, Missing
from monitor.units import LITRE

HOUR, MINUTE = 3600.0, 60.0


def more_figures(row: DayRow) -> dict[str, float | str]:
    """Columns with their units in the names; words where there is no figure."""
    light, noted = row.light, row.noted
    missing = Missing.NOT_MEASURED
    found: dict[str, float | str] = {
        "holds_min": round(row.held / MINUTE, 1),
        "lit_h": _figure(light.lit if light is not None else missing, HOUR, 2),
        "light_off_schedule_h": _figure(light.differs if light is not None else missing, HOUR, 2),
        "lights_on_to_first_feed_min": _figure(row.light_before_feed, MINUTE, 0),
        "dead_found": _count(noted.dead),
        "water_changed_l": _figure(noted.changed, LITRE, 1),
        "topped_up_l": _figure(noted.topped_up, LITRE, 1),
    }
    for tag, value in row.measured:
        found[f"{tag}_mean"] = _figure(value, 1.0, 3)
    for test in noted.tests:
        found[f"{_name(test.of)}_{_name(test.unit)}"] = _marked(test.value, test.is_estimate)
    for fed in noted.fed:
        name = f"fed_{_name(fed.food)}" + (f"_{_name(fed.unit)}" if fed.unit else "")
        found[f"{name}_times"] = fed.times
        found[name] = _count(fed.amount)
        found[f"{name}_of_run"] = _count(fed.total)
    found["stages"] = "; ".join(noted.stages)
    found["firsts"] = "; ".join(noted.firsts)
    found["observation_signed"] = "yes" if noted.signed_by else Missing.NOT_NOTED.value
    return found


def more_lines(row: DayRow) -> Iterator[str]:
    """The same for people, only what there is."""
    quiet = {word.value for word in Missing} | {""}
    shown = [
        f"{name} {figure}"
        for name, figure in more_figures(row).items()
        if figure not in quiet and figure != 0.0
    ]
    if shown:
        yield f"dph {row.dph}: {', '.join(shown)}"


def _figure(value: Measure, scale: float, decimals: int) -> float | str:
    return value.value if isinstance(value, Missing) else round(value / scale, decimals)


def _count(counted: Counted) -> float | str:
    """A sum; with ~ where an estimate is in it, with + where something was not countable."""
    if isinstance(counted.value, Missing):
        return "not countable" if counted.uncounted else counted.value.value
    shown = _marked(counted.value, counted.is_estimate)
    return f"{shown}+" if counted.uncounted else shown


def _marked(value: float, is_estimate: bool) -> float | str:
    return f"~{value:g}" if is_estimate else value


def _name(words: str) -> str:
    """Words as part of a heading."""
    return re.sub(r"[^a-zA-Z0-9]+", "_", words).strip("_")
