"""The protocol as lived: stretches of days with one set flow, and what came of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from monitor.record.curves import planned_turnovers
from monitor.record.frame import line_into_tank
from monitor.record.material import Material
from monitor.record.report.key_figures import numbers
from monitor.record.rows import DayRow
from monitor.record.show import HOUR, MINUTE
from monitor.units import L_PER_MIN

Cells = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of words, ready to be set. note: what must be known to read it."""

    head: Cells
    rows: tuple[Cells, ...]
    note: str = ""


def as_lived(material: Material) -> Table:
    """Stretches of days with one set flow: what was planned, and what the tank lived through."""
    rows = []
    for flow, group in groupby(material.rows, lambda row: _set_flow(material, row)):
        days = list(group)
        first, last = days[0].dph, days[-1].dph
        delivered = numbers(row.water.turnovers for row in days)
        plan = [p for row in days for p in [planned_turnovers(material, row.span)] if p]
        holds = numbers(row.water.no_flow_in_holds for row in days)
        light = numbers(row.light.lit for row in days if row.light is not None)
        warmth = numbers(t.mean for row in days for t in row.temperatures[:1])
        rows.append((
            f"{first}" if first == last else f"{first} to {last}",
            "not set" if flow is None else f"{flow / L_PER_MIN:.1f}",
            _mean(plan, 2),
            _mean(delivered, 2),
            _mean([row.held / MINUTE for row in days], 0),
            _mean([hold / MINUTE for hold in holds], 0),
            _mean([lit / HOUR for lit in light], 1),
            f"{min(warmth):.1f} to {max(warmth):.1f}" if warmth else "not measured",
        ))  # fmt: skip
    head = ("dph", "set flow at the day's end, L/min", "turnovers a day by set flow",
            "turnovers a day, delivered", "holds, min a day", "without flow in holds, min a day",
            "light, h a day",
            "daily mean temperature, C")  # fmt: skip
    return Table(head, tuple(rows), "Means over the days that have the figure. Names no person.")


def as_plan(material: Material) -> Iterator[str]:
    """The set flow by age as it stood day by day, in the words of the configuration."""
    steps: list[tuple[int, float]] = []
    for row in material.rows:
        flow = _set_flow(material, row)
        if flow is not None and (not steps or steps[-1][1] != flow):
            steps.append((row.dph, flow))
    chain = line_into_tank(material.setup)
    if steps and chain is not None:
        pairs = ", ".join(f"[{dph}, {flow / L_PER_MIN:.4g}]" for dph, flow in steps)
        yield "[[flow]]"
        yield f'line = "{chain.line.id}"'
        yield f"set_l_min = [{pairs}]"


def _set_flow(material: Material, row: DayRow) -> float | None:
    setup = material.setup_at(row.span.end - 1.0)
    chain = line_into_tank(setup)
    due = setup.flow_due.get(chain.line.id) if chain is not None else None
    return due.set_flow.at(setup.dph(row.span.start)) if due is not None else None


def _mean(values: Sequence[float], decimals: int) -> str:
    return f"{sum(values) / len(values):.{decimals}f}" if values else "not measured"
