"""Water of the simulated rig against the worked tables and an independent integrator."""

import math
from collections.abc import Callable
from dataclasses import replace
from operator import ge, le

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from monitor.errors import RefusedInput
from monitor.rig import Line, Rig, Vessel
from monitor.simulator.extras import DEMO
from monitor.simulator.physics import World
from monitor.units import L_PER_MIN, LITRE
from simulator.rigs import ZONE, demo, do, run_until, world

pytestmark = pytest.mark.long

HOURS = 3600.0
Reached = Callable[[World], bool]


def stands(vessel: str, compare: Callable[[float, float], bool], level: float) -> Reached:
    """Whether a vessel's level has come to or passed a level, m."""
    return lambda made: compare(made.level(vessel), level)


def broken(made: World) -> bool:
    """Whether the siphon has lost its prime."""
    return not made.primed("S1")


@pytest.mark.parametrize(
    ("flow", "warn", "alarm", "float_opens", "breaks", "last_flow"),
    [
        (2.0, 4.9, 8.6, 25.1, 68.2, 1.73),
        (3.0, 3.3, 5.8, 16.7, 45.5, 2.60),
        (4.5, 2.2, 3.8, 11.2, 30.3, 3.90),
        (6.0, 1.6, 2.9, 8.4, 22.7, 5.20),
    ],
)
def test_endurance_from_the_lip(
    flow: float, warn: float, alarm: float, float_opens: float, breaks: float, last_flow: float
) -> None:
    """Without supply the header passes each level and breaks when the worked table says."""
    made = world(flow, HD1=0.38)
    do(made, "mains off", "B1")
    passed = []
    for level in (0.36, 0.345, 0.28):
        run_until(made, stands("HD1", le, level), 2 * HOURS)
        passed.append(made.elapsed / 60.0)
    flow_before = 0.0
    while made.primed("S1"):
        flow_before = made.flow("S1")
        made.advance(0.1)
    assert [warn, alarm, float_opens] == pytest.approx(passed, abs=0.051)
    assert breaks == pytest.approx(made.elapsed / 60.0, abs=0.05)
    assert last_flow == pytest.approx(flow_before / L_PER_MIN, abs=0.005)


@pytest.mark.parametrize("step", [0.1, 1.0])
@pytest.mark.parametrize("flow", [3.0, 4.5, 6.0, 9.0])
def test_drain_agrees_with_an_adaptive_integrator(flow: float, step: float) -> None:
    """The break time is that of scipy's solver within one step and 0.1 s."""
    made = world(flow, step=step, HD1=0.38)
    do(made, "mains off", "B1")
    while made.primed("S1"):
        made.advance(step)
    setting = flow * L_PER_MIN

    def falls(_: float, level: list[float]) -> list[float]:
        return [-setting * math.sqrt((1.05 - 0.38 + level[0]) / 1.05) / 0.490]

    def break_level(_: float, level: list[float]) -> float:
        return level[0] - 0.12

    break_level.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(falls, (0.0, 9000.0), [0.38], events=break_level, rtol=1e-10, atol=1e-12)
    assert solved.t_events[0][0] == pytest.approx(made.elapsed, abs=step + 0.1)


@pytest.mark.parametrize(
    ("area", "seconds"),
    [(0.1, 5.19 * 60), (0.2, 10.37 * 60), (0.36, 1119.17), (0.5, 25.94 * 60), (1.0, 51.87 * 60)],
)
def test_an_overhead_header_of_another_rig(area: float, seconds: float) -> None:
    """7.5 L/min, 1.32 m of head, 42 cm down to 6 cm: the constant-coefficient closed form.

    1119.17 s for 0.36 m2; the other plan areas are from the full friction law, 0.1 % longer.
    """
    rig = Rig(
        "b", "r", "R", ZONE,
        (Vessel("T", "larval tank", area=1.0, lip=0.8), Vessel("H", "header", area, 0.42, 0.5)),
        (Line("S", "siphon", "H", "T", head=1.32, break_level=0.06), Line("P", "pump", None, "H")),
    )  # fmt: skip
    made = World(rig, {"S": 7.5 * L_PER_MIN}, step=0.1)
    made.water.basins["H"].level = 0.42
    do(made, "pump stop")
    found = run_until(made, lambda now: not now.primed("S"), 2 * HOURS)
    assert seconds == pytest.approx(found, rel=0.002 if area != 0.36 else 0.0002)


@pytest.mark.parametrize(
    ("supply", "setting", "minutes"),
    [(3.0, 6.0, 49), (4.5, 6.0, 120), (5.0, 6.0, 250), (9.0, 10.5, 234), (8.5, 10.5, 107)],
)
def test_partial_supply_breaks_the_siphon(supply: float, setting: float, minutes: int) -> None:
    """Less supply than the valve takes breaks the siphon after the worked time, in whole minutes.

    The last one is 107.4999 min by quadrature, so its rounding needs 0.6 s of slack.
    """
    made = world(6.0, step=0.5, HD1=0.38)
    do(made, "supply", "P1", supply * L_PER_MIN)
    do(made, "valve", "S1", setting * L_PER_MIN)
    assert minutes == pytest.approx(run_until(made, broken, 5 * HOURS) / 60.0, abs=0.51)


def test_partial_supply_may_settle_above_the_break() -> None:
    """At 5.4 L/min of supply for 6.0 the header settles at 18.1 cm with flow equal to supply."""
    made = world(6.0, step=1.0)
    do(made, "supply", "P1", 5.4 * L_PER_MIN)
    made.advance(48 * HOURS)
    assert 18.1 == pytest.approx(made.level("HD1") * 100.0, abs=0.05)
    assert 5.4 == pytest.approx(made.flow("S1") / L_PER_MIN, abs=0.001)


@pytest.mark.parametrize(
    ("flow", "header", "tank", "total", "rise", "rest"),
    [(3.0, 2.4, 2.7, 135.5, 24.6, 56.6), (4.5, 2.0, 3.5, 135.9, 24.7, 56.7),
     (6.0, 1.5, 4.3, 136.2, 24.8, 56.8)],
)  # fmt: skip
def test_drain_down_into_the_sump(
    flow: float, header: float, tank: float, total: float, rise: float, rest: float
) -> None:
    """What runs down after a stop: lip layers, riser, and where the sump comes to rest."""
    made = world(flow)
    basins = made.water.basins
    layers = [(basins[name].level - (basins[name].lip or 0.0)) * basins[name].area / LITRE
              for name in ("HD1", "LT1")]  # fmt: skip
    do(made, "mains off", "B1")
    made.advance(3 * HOURS)
    risen = made.level("SU1") - 0.32
    assert [header, tank] == pytest.approx(layers, abs=0.06)
    assert total == pytest.approx(risen * 0.550 / LITRE, abs=0.25)
    assert rise == pytest.approx(risen * 100.0, abs=0.06)
    assert rest == pytest.approx(made.level("SU1") * 100.0, abs=0.06)


@pytest.mark.parametrize(("flow", "layer"), [(6.0, 3.1), (4.5, 4.1), (3.0, 4.9), (0.0, 6.5)])
def test_layer_on_the_header_lip(flow: float, layer: float) -> None:
    """The surplus of the pump stands on the header lip as deep as the worked rig says."""
    made = world(flow)
    assert layer == pytest.approx((made.level("HD1") - 0.38) * 1000.0, abs=0.06)


@pytest.mark.parametrize(("flow", "rise", "sinks"), [(3.0, 1.5, 3), (4.5, 2.4, 4), (6.0, 3.4, 5)])
def test_a_lost_siphon_hardly_shows_in_the_levels(flow: float, rise: float, sinks: int) -> None:
    """The header rises by millimetres and the larval tank sinks to its lip."""
    made = world(flow)
    before = made.level("HD1")
    do(made, "air lock", "S1")
    made.advance(600.0)
    assert rise == pytest.approx((made.level("HD1") - before) * 1000.0, abs=0.06)
    assert -sinks == round(made.above_running("LT1") * 1000.0)


def test_refill_with_the_siphon_broken() -> None:
    """From the break level to the lip takes 14.2 min after the riser is full."""
    made = world(6.0, HD1=0.12, LT1=0.83, SU1=0.56)
    do(made, "air lock", "S1")
    seconds = run_until(made, stands("HD1", ge, 0.38), HOURS)
    assert 14.2 == pytest.approx(seconds / 60.0, abs=0.05)


def test_supply_returns_after_the_riser_has_filled() -> None:
    """Three litres at 9 L/min: the flow is back 20 s after the mains, not before."""
    made = world(6.0)
    do(made, "mains off", "B1")
    made.advance(60.0)
    do(made, "mains on", "B1")
    seconds = run_until(made, lambda now: now.flow("P1") > 0.0, 60.0)
    assert 20.0 == pytest.approx(seconds, abs=0.11)


@pytest.mark.parametrize(
    ("flow", "to_15", "to_30", "to_rim", "pump_mouth"),
    [(3.0, 4.3, 8.7, 20.2, 42.2), (4.5, 2.9, 5.8, 13.5, 28.1), (6.0, 2.2, 4.3, 10.1, 21.1)],
)
def test_blocked_outlet_screen(
    flow: float, to_15: float, to_30: float, to_rim: float, pump_mouth: float
) -> None:
    """The larval tank rises at inflow over area from its lip; the rim goes before the sump."""
    made = world(flow, LT1=0.83)
    do(made, "outlet", "LT1", 0.0)
    times, start = [], made.elapsed
    for level in (0.845, 0.860, 0.90 - 1e-9):
        run_until(made, stands("LT1", ge, level), HOURS)
        times.append((made.elapsed - start) / 60.0)
    run_until(made, stands("SU1", le, 0.09), HOURS)
    sump = (made.elapsed - start) / 60.0
    assert [to_15, to_30, to_rim] == pytest.approx(times, abs=0.06)
    assert pump_mouth == pytest.approx(sump, abs=0.15)
    assert made.floor_wet


@pytest.mark.parametrize(("setting", "by_division"), [(6.0, 13.1), (0.0, 4.4)])
def test_blocked_header_overflow(setting: float, by_division: float) -> None:
    """The surplus lifts the header to its rim in the time that quadrature says.

    Dividing 39.2 L by the first surplus gives the worked 13.1 min; the siphon takes more as the
    header rises, so the rim comes half a minute later than that.
    """
    made = world(6.0, HD1=0.38)
    do(made, "valve", "S1", setting * L_PER_MIN)
    do(made, "outlet", "HD1", 0.0)
    minutes = run_until(made, stands("HD1", ge, 0.46 - 1e-9), HOURS) / 60.0

    def minutes_a_metre(level: float) -> float:
        return 490.0 / (9.0 - setting * math.sqrt((0.67 + level) / 1.05))

    assert quad(minutes_a_metre, 0.38, 0.46)[0] == pytest.approx(minutes, abs=0.005)
    assert by_division == pytest.approx(minutes, abs=0.5)


def test_evaporation_lowers_the_sump_and_leaves_the_salt() -> None:
    """One day without top-up: 0.82 cm of sump, salinity 34.13; topped up it is 34.0 again."""
    made = world(6.0, step=1.0, evaporation=True)
    made.advance(24 * HOURS)
    assert 0.82 == pytest.approx((0.32 - made.level("SU1")) * 100.0, abs=0.01)
    assert 34.135 == pytest.approx(made.salinity, abs=0.001)
    do(made, "add fresh water", value=4.5 * LITRE)
    assert 34.0 == pytest.approx(made.salinity, abs=1e-6)
    assert 0.32 == pytest.approx(made.level("SU1"), abs=1e-6)


def test_an_empty_sump_stops_the_pump_at_its_mouth() -> None:
    """A leaking sump falls to the pump mouth; the supply then comes in fits and starts."""
    made = world(6.0, step=1.0)
    do(made, "leak", "SU1", 20.0 * L_PER_MIN)
    made.advance(600.0)
    assert made.level("SU1") < 0.0901
    assert made.flow("P1") == 0.0
    assert made.floor_wet


@settings(max_examples=25, deadline=None)
@given(
    scale=st.lists(st.floats(0.9, 1.1), min_size=6, max_size=6),
    flow=st.floats(1.0, 8.0),
    with_sump=st.booleans(),
    events=st.lists(
        st.sampled_from(
            [("mains off", None), ("mains on", None), ("air lock", None), ("prime", None),
             ("valve", 0.0), ("valve", 7.0), ("outlet", 0.0), ("outlet", None), ("leak", 2.0),
             ("failed priming", 2.1), ("supply", 5.0)]
        ),
        max_size=8,
    ),
)  # fmt: skip
def test_water_is_conserved_on_random_rigs(
    scale: list[float],
    flow: float,
    with_sump: bool,
    events: list[tuple[str, float | None]],
) -> None:
    """Whatever happens on whatever rig, water in it plus what left is what came."""
    vessels = [
        Vessel("LT1", "larval tank", area=0.866 * scale[0], lip=0.83, rim=0.90),
        Vessel("HD1", "header", area=0.490 * scale[1], lip=0.38 * scale[2], rim=0.46 * scale[2]),
    ]
    if with_sump:
        vessels.append(Vessel("SU1", "sump", area=0.550 * scale[3], rim=0.62))
    lines = (
        Line("S1", "siphon", "HD1", "LT1", head=1.05 * scale[4], break_level=0.12 * scale[5]),
        Line("P1", "pump", "SU1" if with_sump else None, "HD1", circuit="B1"),
    )
    made = World(
        Rig("b", "r", "R", ZONE, tuple(vessels), lines, ("B1",)),
        {"S1": flow * L_PER_MIN},
    )
    before = made.water.unaccounted
    for verb, litres in events:
        do(made, verb, value=None if litres is None else litres * L_PER_MIN)
        made.advance(300.0)
        assert all(0.0 <= basin.level for basin in made.water.basins.values())
    assert before == pytest.approx(made.water.unaccounted, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(
    area=st.floats(0.3, 0.7),
    lip=st.floats(0.3, 0.5),
    head=st.floats(0.6, 1.5),
    break_level=st.floats(0.05, 0.2),
    flow=st.floats(2.0, 10.0),
    share=st.floats(0.0, 0.6),
)
def test_random_headers_drain_as_the_integrator_says(
    area: float, lip: float, head: float, break_level: float, flow: float, share: float
) -> None:
    """Header level under partial supply follows scipy's solution within 0.5 mm for 15 min."""
    rig = Rig(
        "b", "r", "R", ZONE,
        (Vessel("T", "larval tank", area=0.9, lip=0.8),
         Vessel("H", "header", area, lip, lip + 0.1)),
        (Line("S", "siphon", "H", "T", head=head, break_level=break_level),
         Line("P", "pump", None, "H", pump_flow=12.0 * L_PER_MIN)),
    )  # fmt: skip
    made = World(rig, {"S": flow * L_PER_MIN})
    made.water.basins["H"].level = lip
    do(made, "supply", "P", share * flow * L_PER_MIN)
    setting = flow * L_PER_MIN

    def change(_: float, level: list[float]) -> list[float]:
        return [(share - math.sqrt((head - lip + level[0]) / head)) * setting / area]

    for _ in range(15):
        made.advance(60.0)
        if not made.primed("S"):
            break
        solved = solve_ivp(change, (0.0, made.elapsed), [lip], rtol=1e-9, atol=1e-10)
        assert solved.y[0][-1] == pytest.approx(made.level("H"), abs=0.0005)


def test_a_loop_alone_moves_no_water() -> None:
    """A pumped loop on one vessel flows and changes no level."""
    rig = Rig(
        "b", "r", "R", ZONE, (Vessel("C", "culture", area=0.2, rim=0.5),),
        (Line("L", "loop", "C", "C", pump_flow=4.0 * L_PER_MIN, circuit="B1"),), ("B1",),
    )  # fmt: skip
    made = World(rig, {}, extras=replace(DEMO, evaporation=0.0))
    level = made.level("C")
    made.advance(600.0)
    assert 4.0 == pytest.approx(made.flow("L") / L_PER_MIN)
    do(made, "mains off")
    assert made.flow("L") == 0.0
    assert level == made.level("C")


def test_a_line_takes_no_more_than_there_is() -> None:
    """A pump on a vessel with little water, and a siphon that never breaks, empty both to 0."""
    rig = Rig(
        "b", "r", "R", ZONE,
        (Vessel("C", "culture", area=0.01, rim=0.5), Vessel("H", "header", area=0.01, lip=0.3)),
        (Line("P", "pump", "C", None), Line("S", "siphon", "H", None, break_level=-0.1)),
    )  # fmt: skip
    made = World(rig, {"S": 6.0 * L_PER_MIN})
    before = made.water.unaccounted
    made.advance(3600.0)
    assert [0.0, 0.0] == pytest.approx([made.level("C"), made.level("H")], abs=1e-12)
    assert before == pytest.approx(made.water.unaccounted, abs=1e-12)


def test_a_siphon_without_a_header_is_refused() -> None:
    """A siphon whose source has no area cannot be played, and the error says what to do."""
    rig = Rig("b", "r", "R", ZONE, (), (Line("S", "siphon", "H", "T"),))
    with pytest.raises(RefusedInput, match="siphon S has no source vessel"):
        World(rig, {})


@pytest.mark.parametrize("step", [0.0, -1.0, 1.5, math.nan])
def test_steps_that_would_be_too_coarse_are_refused(step: float) -> None:
    """Steps above a second, or none at all, are refused."""
    with pytest.raises(RefusedInput, match="step"):
        World(demo(()).rig, {"S1": 1e-4}, step=step)
