"""Faults played against the demo rig and changed ones: who comes, is it in time, who accepts it."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from logic.play import sample, with_tags
from monitor.drill.faults import FAULTS, faults_of
from monitor.drill.harm import Harm
from monitor.drill.play import Outcome, When, play, set_up_at
from monitor.drill.report import (
    ACCEPTED,
    Acceptance,
    accept,
    lines_of,
    passed,
    read_accepted,
    sheet,
)
from monitor.drill.run import Wishes, jobs_of
from monitor.errors import HoldwaterError
from monitor.setup import Setup
from monitor.units import L_PER_MIN

HILL = sample("ostrel-hill")
DAY = date(2026, 10, 20)
FULL = 6.0 * L_PER_MIN


def drilled(setup: Setup, fault: str, *asleep: str, flow: float = FULL) -> Outcome:
    """One fault by night."""
    aged = set_up_at(setup, DAY, None)
    case = FAULTS[fault].begin(aged, flow)
    assert case is not None
    return play(aged, FAULTS[fault], case, flow, When(DAY, True, asleep))


@pytest.mark.long
def test_outage_on_the_demo_rig_breaks_the_siphon() -> None:
    """22.7 min and the running level's 13 s against a text after 60 s, a minute, and 30 min."""
    outcome = drilled(HILL, "power cut")

    assert ("TOO LATE", "seen", "tavrin") == (outcome.verdict, outcome.sight, outcome.taker)
    assert (60.0, 1920.0) == (outcome.called, outcome.arrival)
    assert outcome.harm is not None
    assert "the siphon breaks" == outcome.harm.what
    assert pytest.approx(22.7 * 60.0 + 13.0, abs=15.0) == outcome.harm.at


@pytest.mark.long
def test_half_the_flow_leaves_time() -> None:
    """At 3.0 L/min the header lasts 45.5 min, and somebody is there after 32."""
    outcome = drilled(HILL, "power cut", flow=3.0 * L_PER_MIN)

    assert "in time" == outcome.verdict
    assert outcome.margin is None or outcome.margin > 600.0


@pytest.mark.long
def test_a_closer_person_saves_the_siphon() -> None:
    """With the first on duty 15 minutes away the margin is what a hand calculation says."""
    near = tuple(replace(p, night=900.0) if p.id == "tavrin" else p for p in HILL.people)
    outcome = drilled(replace(HILL, people=near, worked_out={}), "power cut")

    assert ("in time", 1020.0) == (outcome.verdict, outcome.arrival)


@pytest.mark.long
def test_somebody_asleep_costs_five_minutes_and_the_longer_way() -> None:
    """The second is called five minutes after the first, reads for one, and needs 35."""
    outcome = drilled(HILL, "power cut", "tavrin")

    assert "oskel" == outcome.taker
    assert 60.0 + 300.0 + 60.0 + 35 * 60.0 == outcome.arrival


@pytest.mark.long
def test_if_all_sleep_nobody_comes() -> None:
    """Everybody is called, and the verdict says so."""
    everybody = [person.id for person in HILL.people]
    outcome = drilled(HILL, "power cut", *everybody)

    assert "NOBODY COMES" == outcome.verdict
    assert {"tavrin", "oskel", "lendow"} <= {who for _, who, _ in outcome.told}


@pytest.mark.long
def test_a_sensor_less_is_a_blind_spot() -> None:
    """A siphon that air-locks with the power on is seen by its flow meter, and else by nobody."""
    with_flow = drilled(with_tags(HILL, "MP", "QL"), "siphon air-locks")
    without = drilled(with_tags(HILL, "MP", "QS"), "siphon air-locks")

    assert ("seen", "at once") == (with_flow.sight, with_flow.verdict)
    assert ("blind", "NOT NOTICED") == (without.sight, without.verdict)


def an_outcome(verdict: str) -> Outcome:
    """An outcome with this verdict."""
    when = When(DAY, True)
    if verdict == "TOO LATE":
        return Outcome(
            "power cut",
            when,
            FULL,
            recognised=10.0,
            names=("mains lost",),
            told=((60.0, "tavrin", "<b>text</b>"),),
            taker="tavrin",
            arrival=1920.0,
            harm=Harm("the siphon breaks", 1380.0),
        )
    return Outcome("heater sticks", when, FULL)


def test_a_bad_verdict_needs_a_name(tmp_path: Path) -> None:
    """It fails until somebody accepts it, for this configuration only."""
    late = an_outcome("TOO LATE")
    mine = Acceptance("power cut", "night", "tavrin", "bulkhead comes in spring", "mark1")

    assert not passed([late], [], "mark1")
    accept(tmp_path, mine)
    found = read_accepted(tmp_path)
    assert [mine] == found
    assert passed([late, an_outcome("")], found, "mark1")
    assert not passed([late], found, "mark2")
    text = "\n".join(lines_of(HILL, [late], found, "mark1"))
    assert "TOO LATE, accepted by tavrin: bulkhead comes in spring" in text


@pytest.mark.parametrize("line", ["{", "[]", '{"fault": 1}', "null", '"x"', "[" * 5000])
def test_a_spoilt_acceptance_is_told_with_its_line(tmp_path: Path, line: str) -> None:
    """File, line and remedy; nothing is accepted by mistake."""
    (tmp_path / ACCEPTED).write_text(f"\n{line}\n")
    with pytest.raises(HoldwaterError, match=rf"{ACCEPTED}:2: is no acceptance; delete the line"):
        read_accepted(tmp_path)


def test_verdicts() -> None:
    """Each by what happened when."""
    harm = Harm("the siphon breaks", 1380.0)
    base = an_outcome("TOO LATE")
    cases = {
        "in time": replace(base, arrival=1000.0),
        "TOO LATE": base,
        "NOBODY COMES": replace(base, arrival=None),
        "NOT NOTICED": Outcome("power cut", base.when, FULL, harm=harm),
        "not noticed": Outcome("power cut", base.when, FULL),
        "no harm yet": replace(base, harm=None, arrival=None),
        "at once": replace(base, harm=Harm("no water reaches the larvae", 0.0)),
    }
    assert {name: name for name in cases} == {name: o.verdict for name, o in cases.items()}
    assert (-540.0, 380.0) == (base.margin, cases["in time"].margin)


def test_sheet_shows_hostile_texts_as_text() -> None:
    """Names and texts cannot become markup, and nothing is fetched."""
    page = sheet(HILL, [an_outcome("TOO LATE")], [], "mark1")

    assert "&lt;b&gt;text&lt;/b&gt;" in page
    assert "<b>text" not in page
    assert "http" not in page


def test_wishes_that_cannot_be_met() -> None:
    """Unknown faults and people, and parts that the rig lacks, are told with what there is."""
    with pytest.raises(HoldwaterError, match="no fault 'power cuts'; there are power cut"):
        jobs_of(HILL, Wishes(DAY, ["power cuts"]))
    with pytest.raises(HoldwaterError, match="--asleep 'bob': there are tavrin"):
        jobs_of(HILL, Wishes(DAY, asleep=["bob"]))
    with pytest.raises(HoldwaterError, match="no part for: header level sticks"):
        jobs_of(sample("first-night"), Wishes(DAY, ["header level sticks"]))


def test_flow_due_on_the_day_is_drilled() -> None:
    """By the age of the larvae, unless another flow is asked for."""
    young = jobs_of(HILL, Wishes(DAY, dph=2))
    asked = jobs_of(HILL, Wishes(DAY, dph=2, flow=5.0 * L_PER_MIN))

    assert pytest.approx(3.0 * L_PER_MIN) == young.flow
    assert 5.0 * L_PER_MIN == asked.flow
    assert 2 * len(list(faults_of(HILL, FULL))) == len(young.jobs)
