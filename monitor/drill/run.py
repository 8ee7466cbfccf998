"""Plays many faults, on as many processors as there are."""

import os
from collections.abc import Collection, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from multiprocessing import get_context

from monitor.clock import always_trusted, board_time
from monitor.drill.faults import FAULTS, faults_of
from monitor.drill.play import Outcome, When, play, set_up_at
from monitor.drill.rig_sheet import flows_of
from monitor.errors import HoldwaterError
from monitor.logic.plan import plan_of
from monitor.setup import Setup

Job = tuple[str, When]
"""A fault by name, and when it is played."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a drill is asked for. names: none for every fault; flow: m3/s, None for what is due."""

    day: date
    names: Collection[str] = ()
    nights: tuple[bool, ...] = (True, False)
    dph: int | None = None
    flow: float | None = None
    asleep: Collection[str] = ()


def today(setup: Setup) -> date:
    """The day at the site, as the clock of this computer has it."""
    return setup.local_day(board_time(always_trusted).utc)


@dataclass(frozen=True, slots=True)
class Jobs:
    """All that is to be played at one flow."""

    setup: Setup
    flow: float
    jobs: tuple[Job, ...]


def jobs_of(setup: Setup, wishes: Wishes) -> Jobs:
    """The faults that the rig can have, as often as is wished; HoldwaterError for a bad wish."""
    for name in wishes.names:
        if name not in FAULTS:
            raise HoldwaterError(f"no fault {name!r}; there are {', '.join(FAULTS)}")
    for person in wishes.asleep:
        if person not in setup.person:
            raise HoldwaterError(f"--asleep {person!r}: there are {', '.join(setup.person)}")
    aged = set_up_at(setup, wishes.day, wishes.dph)
    flow = wishes.flow if wishes.flow is not None else _due(aged, wishes.day)
    found = [fault.name for fault, _ in faults_of(aged, flow)]
    missing = set(wishes.names) - set(found)
    if missing:
        raise HoldwaterError(f"this rig has no part for: {', '.join(sorted(missing))}")
    names = [name for name in found if not wishes.names or name in wishes.names]
    jobs = tuple(
        (name, When(wishes.day, night, tuple(wishes.asleep)))
        for name in names
        for night in wishes.nights
    )
    return Jobs(aged, flow, jobs)


def _due(setup: Setup, day: date) -> float:
    """The flow that is due on a day, m3/s; before a run the greatest of the protocol."""
    for chain in plan_of(setup).chains:
        flows = flows_of(setup, chain)
        due = setup.flow_due.get(chain.line.id)
        if flows and due is not None:
            dph = None if setup.run is None else (day - setup.run.hatch).days + setup.run.hatch_day
            return due.set_flow.at(dph) if dph is not None else flows[0]
    raise HoldwaterError("no flow is due in this set-up; give one with --flow")


def run(jobs: Jobs) -> Iterator[Outcome]:
    """The outcomes, as they come."""
    workers = min(len(jobs.jobs), os.cpu_count() or 1)
    if workers < 2:
        yield from (_one(jobs.setup, jobs.flow, job) for job in jobs.jobs)
        return
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        tasks = [pool.submit(_one, jobs.setup, jobs.flow, job) for job in jobs.jobs]
        for task in tasks:
            yield task.result()


def _one(setup: Setup, flow: float, job: Job) -> Outcome:
    name, when = job
    fault = FAULTS[name]
    case = fault.begin(setup, flow)
    assert case is not None
    return play(setup, fault, case, flow, when)
