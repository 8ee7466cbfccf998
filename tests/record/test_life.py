"""The life of a run: a hatch that changes, batches, a split, an end, and runs beside each other."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.archive import Reader
from monitor.cli import commands
from monitor.config import load_texts
from monitor.control import RECORD
from monitor.errors import ControlError, HoldwaterError, SetupError
from monitor.record import Wish
from monitor.record.gather import day_span, dph_of, runs_of
from monitor.record.life import changed
from monitor.setup import Profile
from record.test_table import HOUR, Pen, files_of, kept, local, rows_of

FIRST = (
    'id = "OH-07"  # the seventh\ntank = "LT1"\nhatch = "2026-10-04"\nbegun = "2026-10-05 09:30"\n'
)


def files(*changes: str, before: str = FIRST) -> dict[str, str]:
    """The small set-up with a run that was changed."""
    return files_of() | {"run.toml": changed(before, changes)}


def two_versions(pen: Pen) -> None:
    """From 22:00 on 4 Oct; the reference hatch is changed on 6 Oct at 06:50."""
    pen.set_up(pen.begin, 1, files("batch.A.stocked=2026-10-03 09:30", "batch.A.eggs=4700"))
    pen.minutes(pen.begin, pen.begin + 34 * HOUR)
    more = (
        "hatch=2026-10-06",
        "batch.A.stocked=2026-10-03 09:30",
        "batch.A.hatch=2026-10-04 04:00",
        "batch.B.eggs=~11900",
    )
    pen.set_up(local("2026-10-06T06:50"), 2, files(*more))
    pen.minutes(local("2026-10-06T08:00"), local("2026-10-06T20:00"))


def test_a_changed_hatch_is_told_with_what_was_before(tmp_path: Path) -> None:
    """The run shows its batches with their age, and the amendment with old and new numbers."""
    state = kept(tmp_path, "2026-10-04T22:00", two_versions)
    told = CliRunner().invoke(commands, ["run", "--state", str(state)]).output.splitlines()
    assert "Run OH-07 in LT1, from Mon 05 Oct 2026" == told[0]
    assert "dph 0 is Tue 06 Oct 2026; the number changes at 00:00" == told[1]
    assert told[2].endswith("hatched 04 Oct 04:00, ?, age +2")
    assert "  batch B, ~11900 eggs" == told[3]
    assert "Observation not signed on 2 days, the last: 05 Oct, 06 Oct" == told.pop(4)
    assert "Amended Tue 06 Oct 2026 06:50 by tavrin (set-up 2): test" == told[4]
    assert [
        "  hatch: 2026-10-04 -> 2026-10-06",
        "  batches: B added",
        "  all day numbers moved by -2; tables count by the new ones",
    ] == told[5:]


def test_days_before_the_hatch_and_before_the_stocking(tmp_path: Path) -> None:
    """The day of the stocking begins with it and is dph -1; the evening before is no day of it."""
    rows = rows_of(kept(tmp_path, "2026-10-04T22:00", two_versions))
    assert [-1, 0] == [row.dph for row in rows]
    assert local("2026-10-06T00:00") - local("2026-10-05T09:30") == rows[0].temperatures[0].seen


def test_an_end_cuts_the_last_day(tmp_path: Path) -> None:
    """What is read after the end is not of the run."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files("closed=2026-10-06 10:00"))
        pen.minutes(local("2026-10-06T00:00"), local("2026-10-07T02:00"))

    (row,) = rows_of(kept(tmp_path, "2026-10-05T22:00", write))
    assert 10 * HOUR == row.temperatures[0].seen


def test_runs_beside_each_other_have_tables_of_their_own(tmp_path: Path) -> None:
    """A second run in another tank counts by its own hatch, and has its own tank's water."""
    other = '[[other_run]]\nid = "OH-08"\ntank = "HD1"\nhatch = "2026-10-07"\n'
    text = files_of() | {"run.toml": FIRST + other}

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, text)
        pen.minutes(local("2026-10-06T00:00"), local("2026-10-07T00:00"))

    state = kept(tmp_path, "2026-10-05T22:00", write)
    (first,), (second,) = rows_of(state), rows_of(state, Wish(run="OH-08"))
    assert (("OH-07", 2), ("OH-08", -1)) == ((first.run, first.dph), (second.run, second.dph))
    assert (1, ()) == (len(first.temperatures), second.temperatures)
    with Reader(state / RECORD) as reader:
        assert ("OH-07", "OH-08") == runs_of(reader)
    with pytest.raises(HoldwaterError, match="no run 'OH-09'; it has OH-07, OH-08"):
        rows_of(state, Wish(run="OH-09"))


def test_days_that_begin_at_the_hour_of_the_hatch() -> None:
    """At 04:29 it is still the day before; the day of the clock change has 25 hours."""
    setup = load_texts(files("day_begins=04:30", "hatch=2026-10-06"), 1)
    clocks = ("2026-10-06T04:29", "2026-10-06T04:30", "2026-10-07T00:00", "2026-10-07T04:30")
    assert [-1, 0, 0, 1] == [setup.dph(local(clock)) for clock in clocks]
    lengths = []
    for day in (setup.local_day(local("2026-10-31T12:00")), setup.local_day(local("2026-11-01"))):
        start, end = day_span(setup, day)
        lengths.append((dph_of(setup, day), (end - start) / HOUR))
        assert dph_of(setup, day) == setup.dph(start) == setup.dph(end - 1.0)
    assert [(25, 25.0), (26, 24.0)] == lengths


def test_a_step_of_the_day_holds_until_the_number_changes_again() -> None:
    """Set by hand at 10:00 of dph 5, it holds at 02:00 of the next date, which is still dph 5."""
    setup = load_texts(files("day_begins=04:30", "hatch=2026-10-06"), 1)
    flow = Profile(((0, 3.0), (5, 4.5)), changes_at=10 * HOUR)
    clocks = ("2026-10-11T09:59", "2026-10-11T10:00", "2026-10-12T02:00", "2026-10-12T05:00")
    found = [flow.at(setup.dph(local(c)), setup.seconds_into_age(local(c))) for c in clocks]
    assert [3.0, 4.5, 4.5, 4.5] == found


def test_the_first_day_may_be_day_one() -> None:
    """Where the hatch day is day 1, the day before it is day 0."""
    setup = load_texts(files("hatch_day=1", "hatch=2026-10-06"), 1)
    assert (1, 0) == (setup.dph(local("2026-10-06T12:00")), setup.dph(local("2026-10-05T12:00")))


def test_remarks_stay_and_keys_can_be_taken_out() -> None:
    """run.toml keeps its remarks; an empty value removes a key."""
    text = changed(FIRST, ["begun=", "also_in=NT1,NT2", "watch_set=false", "batch.B.eggs=~9"])
    assert 'id = "OH-07"  # the seventh' == text.splitlines()[0]
    assert "begun" not in text
    assert 'also_in = ["NT1", "NT2"]' in text
    assert "watch_set = false" in text
    assert '[[batch]]\nid = "B"\neggs = "~9"' in text


@pytest.mark.parametrize("change", ["hatch", "batch.B=3", "batch.=3"])
def test_a_change_that_is_none(change: str) -> None:
    """A change is KEY=VALUE or batch.NAME.KEY=VALUE."""
    with pytest.raises(HoldwaterError, match="write"):
        changed(FIRST, [change])


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("tank=ROOM", "is a room"),
        ("also_in=NT9", "vessel of rig.toml"),
        ("closed=2026-10-01 10:00", "lies before begun"),
        ("lights=06:30", "where 2 are wanted"),
        ("batch.B.eggs=many", "is not a count"),
        ("day_begins=25:00", "is not a time"),
    ],
)
def test_a_run_that_cannot_be(change: str, told: str) -> None:
    """File, key and remedy are told, as with every file of the folder."""
    with pytest.raises(SetupError, match=told):
        load_texts(files(change), 1)


def test_a_run_without_a_watch_says_so_loudly(tmp_path: Path) -> None:
    """Larvae in the tank and nobody called: it stands in capitals."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files("watch_set=false"))
        pen.minutes(pen.begin, pen.begin + 24 * HOUR)

    state = kept(tmp_path, "2026-10-05T22:00", write)
    told = CliRunner().invoke(commands, ["run", "--state", str(state)]).output
    assert "THE WATCH IS STOOD DOWN: larvae in LT1, and nobody is called." in told


def test_a_change_that_the_watch_does_not_take_leaves_the_file(tmp_path: Path) -> None:
    """Without a watch, and with a wrong value, run.toml is as it was before."""
    for name, text in files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    for change, error in (("tank=LT1", ControlError), ("tank=ROOM", SetupError)):
        words = ["amend", str(tmp_path), change, "--reason", "x", "--state", str(tmp_path)]
        assert isinstance(CliRunner().invoke(commands, words).exception, error)
        assert changed(FIRST, []) == (tmp_path / "run.toml").read_text("utf-8")
