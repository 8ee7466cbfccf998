"""The rig in figures, against the worked figures of the demo rig and against a hand calculation."""

from dataclasses import replace

import pytest

from logic.play import sample
from monitor.drill.rig_sheet import figures, flow_number, flows_of, sentences, sheet_lines
from monitor.logic.plan import plan_of
from monitor.rig import Line
from monitor.setup import Setup
from monitor.units import L_PER_MIN

HILL = sample("ostrel-hill")


def said(setup: Setup, flow: float | None = None) -> str:
    """The sentences on the first water of a set-up."""
    return " ".join(sentences(setup, plan_of(setup).chains[0], flow))


def values(setup: Setup, flow: float) -> dict[str, str]:
    """The figures at a flow in L/min."""
    chain = plan_of(setup).chains[0]
    return {f.what.strip(): f.value for f in figures(setup, chain, flow * L_PER_MIN)}


def test_demo_rig_is_told_what_it_has_to_know() -> None:
    """The sentence that matters: at which flow who can come before the siphon breaks."""
    text = said(HILL)

    assert (
        "At 6.0 L/min the header lasts 22.7 minutes; the fastest night arrival is 1 min (text) + "
        "30 min. The siphon WILL break in every night outage at 4.5 and 6.0 L/min. "
        "Only at 3.0 L/min (45.4 min) can Tavrin (31 min) or Oskel (36 min) arrive in time." in text
    )
    assert "Korrin (51 min)" in text
    assert "cannot at any of these flows" in text


def test_night_throttle_is_told_with_its_price() -> None:
    """At 2.0 L/min all would be in time, but a 13 mm siphon does not clear its air."""
    text = said(HILL, 2.0 * L_PER_MIN)

    assert "At 2.0 L/min the header lasts 68.1 minutes" in text
    assert "WILL break" not in text
    assert "flow number of S1 is 0.70, under the usual 0.9: it may air-lock" in text


def test_a_closer_person_changes_the_sentence() -> None:
    """Somebody ten minutes away is in time at 4.5 and 6.0 L/min."""
    near = tuple(
        replace(person, night=600.0) if person.id == "oskel" else person for person in HILL.people
    )
    text = said(replace(HILL, people=near, worked_out={}))

    assert "WILL break" not in text
    assert "At 6.0 L/min (22.7 min) Oskel (11 min) can arrive in time." in text


def test_figures_of_the_demo_rig() -> None:
    """Worked by hand for 6.0 L/min: 720 L, 0.866 m2, 0.49 m2, 127.4 L, 9.0 L/min, 13 mm."""
    found = values(HILL, 6.0)

    assert {
        "turnovers a day": "12.0",
        "tank rises if the screen blocks": "6.9 mm/min",
        "and is at its rim after": "10.1 min",
        "header lasts without supply": "22.7 min",
        "header falls, at first": "12.2 mm/min",
        "flow when the siphon breaks": "5.2 L/min",
        "usable water in the header": "127.4 L",
        "header refills, siphon broken": "14.2 min",
        "supply margin": "50%",
        "flow number of the siphon": "2.11",
    } == found


def test_bigger_header_lasts_longer() -> None:
    """Without a drain test, twice the area lasts twice as long, by geometry."""
    chain = plan_of(HILL).chains[0]
    lines = tuple(replace(line, drain_test=None) for line in HILL.rig.lines)
    vessels = tuple(
        replace(v, area=2 * 0.490) if v.id == chain.header.id else v  # type: ignore[union-attr]
        for v in HILL.rig.vessels
    )
    rig = replace(HILL.rig, lines=lines, vessels=vessels)

    assert (
        "45.5 min"
        == values(replace(HILL, rig=rig, worked_out={}), 6.0)["header lasts without supply"]
    )


@pytest.mark.parametrize(("flow", "bore", "number"), [(2.0, 0.013, 0.70), (2.0, 0.011, 1.07)])
def test_flow_number(flow: float, bore: float, number: float) -> None:
    """v / sqrt(g d), computed by hand for two bores."""
    assert number == round(flow_number(Line("S1", "siphon", bore=bore), flow * L_PER_MIN) or 0.0, 2)


def test_what_the_rig_does_not_say_is_left_out() -> None:
    """A rig described by nothing but its tags has a sheet that asks for what it needs."""
    lines = tuple(
        replace(line, bore=None, head=None, break_level=None, drain_test=None, pump_flow=None)
        for line in HILL.rig.lines
    )
    vessels = tuple(
        replace(vessel, area=None, lip=None, rim=None, volume=None) for vessel in HILL.rig.vessels
    )
    bare = replace(HILL, rig=replace(HILL.rig, lines=lines, vessels=vessels), worked_out={})

    assert {} == values(bare, 6.0)
    assert "how long the header lasts is not known" in said(bare)
    assert "how long the header lasts" in "\n".join(
        sheet_lines(replace(bare, flows=(), worked_out={}))
    )


def test_flows_of_the_protocol() -> None:
    """The greatest first, each once."""
    found = flows_of(HILL, plan_of(HILL).chains[0])

    assert [6.0, 4.5, 3.0] == [round(flow / L_PER_MIN, 6) for flow in found]


@pytest.mark.parametrize("name", ["first-night", "loop-recording", "loop-watched"])
def test_every_sample_has_a_sheet(name: str) -> None:
    """Rigs without siphon or header too."""
    assert list(sheet_lines(sample(name)))
