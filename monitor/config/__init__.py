"""The configuration folder: TOML files for people, checked as a whole, made into a Setup.

Every problem is told at once, with file, line, key, what is wrong and what to do. Only a folder
without any problem becomes a Setup. Secrets stand in a file of their own, and in no message.
"""

from collections.abc import Collection, Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.config.folder import FILES, SECRETS, read_texts
from monitor.config.limits_sheet import (
    LimitRows,
    build_delays,
    build_hours,
    build_limits,
    check_limits,
)
from monitor.config.people_sheet import (
    PeopleRows,
    build_channels,
    build_duty,
    build_manager,
    build_people,
    build_ways,
    check_people,
)
from monitor.config.rig_checks import check_rig
from monitor.config.rig_sheet import RigRows, build_rig, build_sources
from monitor.config.run_sheet import build_runs, check_runs
from monitor.config.secrets import Secrets, may_read, read_secrets
from monitor.config.sheet import Sheet, parse
from monitor.errors import Problem, SetupError
from monitor.setup import Setup

__all__ = ["Secrets", "load", "load_secrets", "load_texts", "snapshot"]


def load(folder: Path, version: int = 0) -> Setup:
    """The set-up in a folder. SetupError holds every problem, those of the secrets too.

    Somebody who may not read the secrets can still check everything else.
    """
    problems: list[Problem] = []
    texts = read_texts(folder, problems)
    secrets = read_secrets(folder, problems) if may_read(folder) else None
    return _build(texts, version, problems, secrets)


def load_texts(texts: Mapping[str, str], version: int) -> Setup:
    """The set-up of a snapshot. Whether its secrets are there is not asked."""
    return _build(dict(texts), version, [], None)


def load_secrets(folder: Path) -> Secrets:
    """The secrets of a folder, none if it has no such file. SetupError if it cannot be used."""
    problems: list[Problem] = []
    secrets = read_secrets(folder, problems)
    if problems or secrets is None:
        raise SetupError(problems)
    return secrets


def snapshot(folder: Path) -> dict[str, str]:
    """The texts of a set-up by file name, without the secrets, to be kept with its version."""
    problems: list[Problem] = []
    texts = read_texts(folder, problems)
    if problems:
        raise SetupError(problems)
    return texts


def _build(
    texts: Mapping[str, str],
    version: int,
    problems: list[Problem],
    secrets: Collection[str] | None,
) -> Setup:
    """Check everything, and only then make the set-up. secrets: their names, None if unknown."""
    sheets = {name: _sheet(name, texts, problems) for name in FILES}
    rig = RigRows(sheets["rig.toml"], secrets)
    limits = LimitRows(sheets["limits.toml"], rig)
    people = PeopleRows(sheets["duty.toml"], sheets["channels.toml"], secrets)
    check_rig(rig)
    check_limits(limits)
    zone = _zone(rig)
    check_people(people, zone, limits.has_urgent)
    runs = check_runs(sheets["run.toml"], rig, zone)
    if problems or zone is None:
        raise SetupError(sorted(problems, key=_place))
    found, flows = build_limits(limits)
    run, *others = build_runs(runs, zone) or (None,)
    return Setup(
        version,
        build_rig(rig),
        limits=found,
        flows=flows,
        people=build_people(people),
        duty=build_duty(people, zone),
        manager=build_manager(people),
        run=run,
        other_runs=tuple(other for other in others if other is not None),
        delays=build_delays(limits),
        channels=build_channels(people),
        **build_ways(people),
        sources=build_sources(rig),
        **build_hours(limits),
    )


def _sheet(name: str, texts: Mapping[str, str], problems: list[Problem]) -> Sheet:
    if name in texts:
        return parse(name, texts[name], problems)
    if FILES[name] and not any(problem.file == name for problem in problems):
        remedy = "Copy it from a folder of sample_config and change it"
        problems.append(Problem(name, None, "file", "is missing", remedy))
    return Sheet(name, problems)


def _zone(rig: RigRows) -> ZoneInfo | None:
    if rig.site is None or not rig.sheet.is_sound("site", "zone"):
        return None
    return ZoneInfo(rig.site.zone)


def _place(problem: Problem) -> tuple[int, int]:
    """Problems in the order of files, then of lines; those of the folder come first."""
    order = [*FILES, SECRETS]
    file = order.index(problem.file) if problem.file in order else -1
    return file, problem.line or 0
