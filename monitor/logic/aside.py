"""What people have put aside, or told the watch of, each with its end. Elapsed seconds."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AsideRecord:
    """One alarm put aside by a person, always with an end.

    how: "SHLVD" shelved, "OOSRV" out of service. check: what is looked at by hand meanwhile, each
    `every` seconds ("" and 0 for a shelf); ask_at: when it is asked for next; asks: how often it
    has been since it was last done. said: when those on duty were last told of it.
    """

    how: str
    who: str
    reason: str
    since: float
    end: float
    check: str = ""
    every: float = 0.0
    ask_at: float = 0.0
    asks: int = 0
    said: float | None = None


@dataclass(frozen=True, slots=True)
class SuppressedRecord:
    """A consequence that is suppressed by design while its cause, another alarm, explains it.

    over: since when the cause no longer does; None while it does.
    """

    cause: str
    since: float
    over: float | None = None


@dataclass(frozen=True, slots=True)
class WorksRecord:
    """Planned work near the rig, with an end; `second` is whoever else knows of it.

    asked: when it was last asked after its end what stands closed or unplugged. said: when those
    on duty were last told of it.
    """

    what: str
    who: str
    second: str
    since: float
    end: float
    asks: int = 0
    asked: float | None = None
    said: float | None = None


@dataclass(frozen=True, slots=True)
class FuelRecord:
    """A backup that a person has told of: running since, and fuel till `end` if that is known.

    of: what runs, such as "generator". reminded: when people were last reminded of it.
    """

    of: str
    who: str
    since: float
    end: float | None
    reminded: float
