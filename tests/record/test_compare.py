"""Runs side by side: reckoned by hand, aligned by age and by warmth, honest about gaps."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.errors import HoldwaterError
from monitor.record import rows as kinds
from monitor.record.compare import RunRows, Table, csv_lines, marks, tables, text_lines
from monitor.record.comparing import run_of, with_own_names
from monitor.record.rows import DayRow, Light, Missing, Noted, Temperature, Water
from monitor.record.spans import local_day
from monitor.setup import DAY
from record.small import SETUP
from record.test_table import kept, three_days

HATCH = date(2026, 10, 6)


def day(dph: int, mean: float | Missing, turnovers: float, stopped: float = 0.0) -> DayRow:
    """A day of a run. stopped: minutes without flow."""
    at = HATCH + timedelta(days=dph)
    warm = Temperature("TW1", mean, mean, mean, DAY, 0.0, DAY)
    water = Water("QL", DAY, 0.0, turnovers, stopped * 60.0, 0.0, 0.0, 0.0)
    return DayRow("r", dph, at, local_day(SETUP.zone, at), (warm,), water, (), ())


def run(name: str, warmth: float, turnovers: float, days: int = 14) -> RunRows:
    """A run of equal days."""
    return RunRows(name, tuple(day(n, warmth, turnovers) for n in range(days)))


def named(found: list[Table], words: str) -> Table:
    """The table whose title begins so."""
    (table,) = [table for table in found if table.title.startswith(words)]
    return table


def test_weeks_side_by_side() -> None:
    """Mean of the week, the days it rests on, and second less first."""
    first, second = run("A", 26.0, 6.0), run("B", 27.5, 9.0, days=10)
    table = named(list(tables([first, second])), "turnovers delivered: mean")
    assert ("dph", "A", "n", "B", "n", "second less first") == table.head
    assert [("0 to 6", "6.00", "7", "9.00", "7", "+3.00"),
            ("7 to 13", "6.00", "7", "9.00", "3", "+3.00")] == list(table.lines)  # fmt: skip


def test_minutes_without_flow_are_summed() -> None:
    """A week has the sum of its minutes; a day that was not measured is not one of n."""
    one = RunRows("A", (day(0, 26.0, 6.0, 20.0), day(1, 26.0, 6.0, 87.0)))
    lost = replace(day(1, 26.0, 6.0).water, no_flow=Missing.NOT_OBSERVED)
    other = RunRows("B", (day(0, 26.0, 6.0, 3.0), replace(day(1, 26.0, 6.0), water=lost)))
    table = named(list(tables([one, other])), "without flow outside holds, min: sum")
    assert (("0 to 6", "107", "2", "3", "1", "-104"),) == table.lines
    days = named(list(tables([one, other])), "without flow outside holds, min, by days")
    assert [("0", "20", "3", "-17"), ("1", "87", "-", "-")] == list(days.lines)


def test_degree_days_by_hand() -> None:
    """25 C reaches 50 after two days, 20 C after two and a half: sums go along."""
    assert [(2.0, 12.0), (4.0, 24.0)] == [
        (mark.dph, mark.turnovers) for mark in marks(run("A", 25.0, 6.0, days=5)).values()
    ][:2]
    cold = marks(run("B", 20.0, 6.0, days=5))
    assert [(50.0, 2.5, 15.0), (100.0, 5.0, 30.0)] == [
        (at, mark.dph, mark.turnovers) for at, mark in cold.items()
    ]
    over = marks(RunRows("C", run("C", 25.0, 6.0, days=11).rows, base=20.0))
    assert [(50.0, 10.0)] == [(at, mark.dph) for at, mark in over.items()]


def test_a_missing_day_ends_the_line_by_degree_days() -> None:
    """What came after a day without a temperature, or without a row, is not known."""
    rows = run("A", 25.0, 6.0, days=9).rows
    assert [50.0] == list(marks(RunRows("A", (*rows[:3], *rows[4:]))))
    blind = (*rows[:3], day(3, Missing.NOT_OBSERVED, 6.0), *rows[4:])
    assert [50.0] == list(marks(RunRows("A", blind)))
    eggs = (day(-1, 25.0, 6.0), *rows)
    assert marks(RunRows("A", rows)) == marks(RunRows("A", eggs))


def test_a_long_day_is_warmer() -> None:
    """A day of 25 h counts 25/24."""
    rows = [day(0, 24.0, 6.0)]
    span = replace(rows[0], span=rows[0].span._replace(end=rows[0].span.end + 3600.0))
    (mark,) = marks(RunRows("A", (span,)), step=25.0).values()
    assert 1.0 == mark.dph


def test_no_word_says_why() -> None:
    """The text shows n and claims nothing; quantities nobody measured are left out."""
    text = "\n".join(text_lines([run("A", 26.0, 6.0), run("B", 27.0, 9.0)]))
    assert "n = 2 runs" in text
    assert "nitrate" not in text
    for word in ("because", "caused", "due to", "better", "worse", "led to", "effect"):
        assert word not in text
    assert all(len(line) <= 100 for line in text.splitlines())


def test_csv_has_every_day() -> None:
    """A line a quantity, run and day; what is not measured is empty."""
    changed = replace(day(0, 27.0, 9.0), noted=Noted(changed=0.110))
    runs = [run("A", 26.0, 6.0, days=2), RunRows("B,x", (changed,))]
    lines = list(csv_lines(runs))
    assert '"water changed, L",0,"B,x",110' in lines
    assert '"nitrate, mg/L NO3",0,"B,x",' in lines
    assert 1 + 6 * 3 == len(lines)


def test_water_light_and_nitrate() -> None:
    """Litres, hours where the day was seen all through, and nitrogen made nitrate (4.4268)."""
    tests = (
        kinds.Test("nitrate", 10.0, "mg/L NO3"),
        kinds.Test("nitrate", 2.0, "mg/L NO3-N"),
        kinds.Test("nitrate", 99.0, "ppm"),
        kinds.Test("salinity", 34.0, "PSU"),
    )
    plain = day(0, 26.0, 6.0)
    seen = Light("LX", DAY, 13 * 3600.0, 0.0)
    full = replace(plain, light=seen, noted=Noted(tests=tests, changed=0.110))
    half = replace(plain, light=replace(seen, seen=DAY / 2))
    found = list(tables([RunRows("A", (full,)), RunRows("B", (half,))]))
    assert (("0", "13.0", "-", "-"),) == named(found, "light, h, by days").lines
    assert (("0", "110", "-", "-"),) == named(found, "water changed, L, by days").lines
    assert (("0", "9.4", "-", "-"),) == named(found, "nitrate, mg/L NO3, by days").lines


def test_runs_of_one_name_are_told_apart(tmp_path: Path) -> None:
    """The same record twice, by folder and by name; an unknown name is refused with the known."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    runs = with_own_names([run_of(str(state), state, 0.0), run_of("OH-07", state, 0.0)])
    assert ["OH-07 Oct 2026 (1)", "OH-07 Oct 2026 (2)"] == [found.name for found in runs]
    assert ["OH-07"] == [r.name for r in with_own_names([run_of(f"{state}:OH-07", state, 0.0)])]
    with pytest.raises(HoldwaterError, match="it has OH-07"):
        run_of("OH-08", state, 0.0)


def test_the_command(tmp_path: Path) -> None:
    """Two runs give tables and a file; one run is not enough."""
    state = str(kept(tmp_path, "2026-10-05T22:00", three_days))
    table = tmp_path / "both.csv"
    words = ["compare", state, state, "--csv", str(table), "--base", "10"]
    result = CliRunner().invoke(commands, words)
    assert 0 == result.exit_code, result.output
    assert "By degree-days over 10 C" in result.output
    assert '"mean temperature, C",-1,OH-07 Oct 2026 (1),26.50' in table.read_text("utf-8")
    assert 2 == CliRunner().invoke(commands, ["compare", state]).exit_code
