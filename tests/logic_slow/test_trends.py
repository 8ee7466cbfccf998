"""Slow trends: what moves over days is told with its date, what does not is not."""

import random
from collections.abc import Callable

import pytest

from logic_slow.days import demo, kept, utc_of
from monitor.logic.slow import Dips, Hours, Slow
from monitor.logic.trend_lines import trend_lines
from monitor.logic.trends import reach, trend
from monitor.units import L_PER_MIN

SETUP = demo()
DAY = 86_400.0


def noisy(
    course: Callable[[float], float], spread: float, seed: int = 1
) -> Callable[[float], float]:
    """A course with noise of means by the hour."""
    chance = random.Random(seed)
    return lambda utc: course(utc) + chance.gauss(0.0, spread)


def lines_of(local: str, **hours: Callable[[float], float | None]) -> dict[str, str]:
    """The lines at a site time, with these tags kept."""
    utc = utc_of(SETUP, local)
    slow = Slow({tag: kept(SETUP, utc, course) for tag, course in hours.items()})
    return {name: line.whole for name, line in trend_lines(SETUP, slow, utc).items()}


def clogging(utc: float) -> float:
    """Supply of the demo's strainer: 9.0 L/min until 13 Oct, then 0.6 a day less."""
    begun = utc_of(SETUP, "2026-10-12T20:00")
    return (9.0 - 0.6 * max(0.0, utc - begun) / DAY) * L_PER_MIN


def test_strainer_is_told_before_the_flow_is_raised() -> None:
    """Thu 15 Oct: set flow 4.5 still hides it, but 6.0 is due from Friday and is met on Sunday."""
    lines = lines_of("2026-10-15T07:00", QS=noisy(clogging, 0.02 * L_PER_MIN))
    line = lines["supply margin/S1"]
    assert "falls 0.6 L/min a day" in line or "falls 0.5 L/min a day" in line
    assert "about Sun" in line or "about Sat" in line
    assert "clean the strainer" in line


def test_date_of_the_strainer_is_that_of_the_scenario() -> None:
    """Fri 16 Oct 18:00: margin 15 %, the set flow is met about Sunday 06:00, within half a day."""
    line = lines_of("2026-10-16T18:00", QS=noisy(clogging, 0.02 * L_PER_MIN))["supply margin/S1"]
    assert line.startswith("Supply margin 1")
    told = line.split("about ")[1].split(" (")[0]
    assert told in [f"Sat {hour:02d}:00" for hour in range(18, 24)] + [
        f"Sun {hour:02d}:00" for hour in range(19)
    ]


def test_steady_supply_has_no_line() -> None:
    """Noise of a hundredth about 9.0 L/min for six days: nothing to tell."""
    steady = noisy(lambda _: 9.0 * L_PER_MIN, 0.09 * L_PER_MIN)
    assert {} == lines_of("2026-10-16T18:00", QS=steady)


def test_three_days_are_needed() -> None:
    """With two days kept there is no trend, however steep."""
    utc = utc_of(SETUP, "2026-10-16T18:00")
    assert trend(kept(SETUP, utc, clogging, 48), int(utc // 3600.0) - 1) is None
    assert trend(kept(SETUP, utc, clogging, 80), int(utc // 3600.0) - 1) is not None


def test_course_of_the_day_is_no_trend() -> None:
    """A quantity that swings by a tenth every day, the same each day, does not move."""

    def swing(utc: float) -> float:
        return 13_000.0 + (1300.0 if 6 <= utc % DAY / 3600.0 < 14 else 0.0)

    assert {} == lines_of("2026-10-23T07:00", PA=noisy(swing, 20.0))


def test_air_line_goes_towards_its_next_limit() -> None:
    """A diaphragm that tears: 10.1 kPa, 1.0 a day down, warning limit 8.5 on Saturday evening."""
    begun = utc_of(SETUP, "2026-10-20T06:00")

    def tearing(utc: float) -> float:
        return 13_000.0 - 970.0 * max(0.0, utc - begun) / DAY

    line = lines_of("2026-10-23T07:00", PA=noisy(tearing, 10.0))["towards its limit/PA"]
    assert "limit 8.5 kPa" in line
    assert "about Sat" in line or "about Sun 0" in line
    assert "1.0 kPa a day" in line or "0.9 kPa a day" in line


def test_creeping_valve_is_told_by_its_share_of_the_set_flow() -> None:
    """Flow 2 % a day less, of what is set: it leaves the band in some days."""
    begun = utc_of(SETUP, "2026-10-20T06:00")
    lines = lines_of("2026-10-26T07:00", QL=noisy(lambda t: 1.0 - 0.02 * (t - begun) / DAY, 0.004))
    assert "leaves its band about" in lines["flow creeps/S1"]
    assert "falls 2.0 % a day" in lines["flow creeps/S1"]


def test_top_up_owed_in_litres() -> None:
    """Topped up on Friday 09:00 and not since: 0.82 cm a day of 0.55 m2, 9 L on Sunday morning."""
    topped = utc_of(SETUP, "2026-10-23T09:00")

    def sump(utc: float) -> float:
        days = (utc - topped) / DAY
        return 0.32 - 0.0082 * (days if days >= 0.0 else days % 1.0)

    line = lines_of("2026-10-25T11:00", LS=noisy(sump, 0.0002))["top-up owed/SU1"]
    assert "No top-up seen since Fri 09:00" in line or "No top-up seen since Fri 10:00" in line
    assert "about 9 L" in line
    assert "top-up owed/SU1" not in lines_of("2026-10-23T20:00", LS=noisy(sump, 0.0002))


def test_thermometers_that_drift_apart() -> None:
    """A gap that grows by 0.08 C a day is told; a fixed gap is not."""
    begun = utc_of(SETUP, "2026-10-20T06:00")
    fixed = noisy(lambda _: 26.5, 0.02, 2)
    drifting = noisy(lambda utc: 26.6 + 0.08 * (utc - begun) / DAY, 0.02, 3)
    told = lines_of("2026-10-26T07:00", TW1=drifting, TW2=fixed)
    assert "TW1 shows 0.4 C more against TW2" in told["thermometers apart/S1"]
    steady = noisy(lambda _: 26.6, 0.02, 3)
    assert "thermometers apart/S1" not in lines_of("2026-10-26T07:00", TW1=steady, TW2=fixed)


def test_cooling_against_this_rigs_own_days() -> None:
    """A chiller at work a fifth of each day, then for 6 hours on end; flat out always is not."""
    hot = utc_of(SETUP, "2026-10-21T05:00")

    def chiller(utc: float) -> float:
        return 0.90 if utc >= hot or utc % DAY < DAY / 5.0 else 0.03

    now = lines_of("2026-10-21T11:00", MC=chiller)
    assert "MC on 100 % of the last 6 h" in now["works more than usual/MC"]
    assert {} == lines_of("2026-10-21T11:00", MC=lambda _: 0.90)


def test_water_warmer_than_at_this_hour_of_its_own_days() -> None:
    """0.4 C over the median of five days at the same clock hour is told, 0.2 C is not."""
    today = utc_of(SETUP, "2026-10-22T00:00")

    def water(more: float) -> dict[str, str]:
        return lines_of("2026-10-22T16:00", TW1=lambda utc: 26.5 + (more if utc >= today else 0.0))

    assert "warmer than usual/S1" in water(0.4)
    assert "warmer than usual/S1" not in water(0.2)


def test_drop_outs_are_told_by_day() -> None:
    """Two days with drop-outs are air at the crest; one alone is not."""
    utc = utc_of(SETUP, "2026-10-16T07:00")
    today = SETUP.local_day(utc).toordinal()
    told = trend_lines(SETUP, Slow(dips={"S1": Dips((today - 1, today), (1, 3))}), utc)
    assert "(Thu 1, Fri 3)" in told["flow drops out/S1"].whole
    assert {} == trend_lines(SETUP, Slow(dips={"S1": Dips((today,), (1,))}), utc)
    assert {} == trend_lines(SETUP, Slow(dips={"S1": Dips((today - 5,), (9,))}), utc)


def test_nothing_known_nothing_told() -> None:
    """A watch that has just begun has no lines."""
    assert {} == trend_lines(SETUP, Slow(), utc_of(SETUP, "2026-10-16T07:00"))


def test_reach_has_an_honest_range() -> None:
    """The quick end of the slopes comes first, the slow end last."""
    utc = utc_of(SETUP, "2026-10-16T18:00")
    found = trend(kept(SETUP, utc, noisy(clogging, 0.03 * L_PER_MIN)), int(utc // 3600.0) - 1)
    assert found is not None
    reached = reach(found, lambda _: 6.0 * L_PER_MIN)
    assert reached is not None
    assert reached.earliest <= reached.hours
    assert reached.latest is None or reached.latest >= reached.hours


@pytest.mark.parametrize("seed", range(20))
def test_noise_is_no_trend(seed: int) -> None:
    """Six days of a tag that wanders about its level: no slope is believed."""
    chance = random.Random(seed)
    level, wander = 13_000.0, 0.0

    def course(_: float) -> float:
        nonlocal wander
        wander = 0.9 * wander + chance.gauss(0.0, 60.0)
        return level + wander

    assert {} == lines_of("2026-10-23T07:00", PA=course)


def test_hours_are_kept_and_dropped() -> None:
    """Missing hours are gaps, old ones are dropped, an hour that comes again changes nothing."""
    hours = Hours(100, (1.0,), 1.0).plus(103, 3.0, 4.0)
    assert (1.0, None, None, 3.0) == hours.means
    assert hours.at(102) is None
    assert 4.0 == hours.top
    assert hours == hours.plus(103, 9.0, 9.0)
    assert 144 == len(hours.plus(5000, 5.0, 5.0).means)
