"""What a drill found, as lines for people and as one sheet to print."""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from monitor.drill.faults import FAULTS
from monitor.drill.play import Outcome
from monitor.drill.rig_sheet import flows_of, sentences
from monitor.errors import HoldwaterError
from monitor.logic.plan import plan_of
from monitor.logic.sight import cheapest_help
from monitor.setup import Setup
from monitor.units import L_PER_MIN

BAD = ("TOO LATE", "NOBODY COMES", "NOT NOTICED")
"""Verdicts that somebody has to accept by name before a drill counts as passed."""

ACCEPTED = "accepted.jsonl"
"""File beside the configuration: what somebody has accepted, one JSON object a line."""


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Somebody lives with a verdict, for the configuration with this mark only."""

    fault: str
    time: str
    who: str
    reason: str
    mark: str


def mark_of(texts: Mapping[str, str]) -> str:
    """Short mark of a configuration; any change of it makes another."""
    joined = json.dumps(sorted(texts.items())).encode()
    return hashlib.sha256(joined).hexdigest()[:12]


def read_accepted(folder: Path) -> list[Acceptance]:
    """What has been accepted for the rig of a folder; HoldwaterError names a bad line."""
    path = folder / ACCEPTED
    try:
        lines = path.read_text("utf-8").splitlines() if path.exists() else []
    except (OSError, UnicodeDecodeError) as error:
        raise HoldwaterError(f"{path}: cannot be read: {error}") from error
    found = []
    for number, line in enumerate(lines, 1):
        if line.strip():
            try:
                found.append(Acceptance(**json.loads(line)))
            except (ValueError, TypeError, RecursionError) as error:
                raise HoldwaterError(
                    f"{path}:{number}: is no acceptance; delete the line, and accept again with: "
                    "holdwater drill DIR --accept FAULT --as PERSON --reason TEXT"
                ) from error
    return found


def accept(folder: Path, acceptance: Acceptance) -> None:
    """Add an acceptance to the file."""
    with (folder / ACCEPTED).open("a", encoding="utf-8") as file:
        data = {name: getattr(acceptance, name) for name in Acceptance.__slots__}
        file.write(json.dumps(data, ensure_ascii=False) + "\n")


def accepted_by(outcome: Outcome, accepted: Sequence[Acceptance], mark: str) -> Acceptance | None:
    """Who has accepted this verdict for this very configuration."""
    for item in accepted:
        if (item.fault, item.time, item.mark) == (outcome.fault, time_of(outcome), mark):
            return item
    return None


def time_of(outcome: Outcome) -> str:
    """Night or day, in a word."""
    return "night" if outcome.when.night else "day"


def span(seconds: float | None) -> str:
    """Seconds as people read them: 45 s, 22.7 min, 4.2 h, "-" for none."""
    if seconds is None:
        return "-"
    if abs(seconds) < 99.5:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.1f} min" if abs(seconds) < 5940.0 else f"{seconds / 3600:.1f} h"


def row(setup: Setup, outcome: Outcome) -> dict[str, str]:
    """One outcome as words, for text and sheet alike."""
    margin = outcome.margin
    harm = outcome.harm
    return {
        "fault": outcome.fault,
        "what": FAULTS[outcome.fault].what,
        "time": time_of(outcome),
        "sight": outcome.sight,
        "recognised": span(outcome.recognised),
        "called": span(outcome.called),
        "there": "nobody"
        if outcome.arrival is None
        else f"{setup.person[outcome.taker].name} {span(outcome.arrival)}",
        "harm": "none seen" if harm is None else f"{harm.what} {span(harm.at)}",
        "margin": "-" if margin is None else span(margin),
        "verdict": outcome.verdict,
        "names": ", ".join(outcome.names) or "nothing",
    }


def lines_of(
    setup: Setup, outcomes: Sequence[Outcome], accepted: Sequence[Acceptance], mark: str
) -> Iterator[str]:
    """The table and the findings."""
    rows = [row(setup, outcome) for outcome in outcomes]
    heads = {"fault": "fault", "time": "", "sight": "sight", "called": "called", "there": "there",
             "harm": "first harm", "margin": "in hand", "verdict": "verdict"}  # fmt: skip
    width = {key: max(len(item[key]) for item in [heads, *rows]) for key in heads}
    for item in [heads, *rows]:
        yield "  ".join(f"{item[key]:<{width[key]}}" for key in heads).rstrip()
        if "names" in item:
            yield f"    {item['what']}; named: {item['names']}"
    yield ""
    yield from findings(setup, outcomes, accepted, mark)


def findings(
    setup: Setup, outcomes: Sequence[Outcome], accepted: Sequence[Acceptance], mark: str
) -> Iterator[str]:
    """What follows, in plain words, with remedies."""
    flow = outcomes[0].flow if outcomes else None
    for chain in plan_of(setup).chains:
        if chain.drawn_by_siphon:
            known = flow in flows_of(setup, chain)
            yield from sentences(setup, chain, None if known else flow)
    if any(outcome.verdict == "TOO LATE" and _breaks(outcome) for outcome in outcomes):
        yield from REMEDIES
    for outcome in outcomes:
        if outcome.verdict in BAD:
            who = accepted_by(outcome, accepted, mark)
            name = f"{outcome.fault} by {time_of(outcome)}"
            if who is not None:
                yield f"{name}: {outcome.verdict}, accepted by {who.who}: {who.reason}"
            else:
                yield f"{name}: {outcome.verdict}, accepted by nobody."
    blind = list(dict.fromkeys(o.fault for o in outcomes if o.recognised is None))
    if blind:
        yield f"Not noticed at all: {', '.join(blind)}."
    best = cheapest_help(setup)
    if best is not None:
        yield f"The cheapest help: {best[0]}. It would improve {best[1]} lines of the sight."
    yield "A drill is a calculation on a simulated rig. Prove it on the real one."


def _breaks(outcome: Outcome) -> bool:
    return outcome.harm is not None and outcome.harm.what == "the siphon breaks"


REMEDIES = (
    "What can be done, each with its price:",
    "  - less flow by night: lasts longer, fewer turnovers; a wide bore may air-lock (flow number)",
    "  - a larger header, or a deeper one: weight on its stand, more water to refill",
    "  - a bulkhead instead of a siphon, or an inverted U into a weir box at header height:",
    "    it starts again by itself; a hole in the header, and work on it before the run",
    "  - a second pump on a battery: must be tested monthly; batteries ventilated, never covered",
    "  - somebody sleeping on site: minutes away; nobody alone, and rested enough to drive home",
)


def passed(outcomes: Sequence[Outcome], accepted: Sequence[Acceptance], mark: str) -> bool:
    """Whether nothing bad is left that nobody has accepted by name."""
    bad = [outcome for outcome in outcomes if outcome.verdict in BAD]
    return all(accepted_by(outcome, accepted, mark) is not None for outcome in bad)


def sheet(
    setup: Setup, outcomes: Sequence[Outcome], accepted: Sequence[Acceptance], mark: str
) -> str:
    """The drill as one HTML page that needs nothing else and prints in black and white."""
    words = Environment(
        loader=PackageLoader("monitor.drill"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    first: Mapping[str, Any] = {
        "place": setup.rig.label,
        "rig": setup.rig.id,
        "day": f"{outcomes[0].when.day:%d %b %Y}",
        "flow": f"{outcomes[0].flow / L_PER_MIN:.1f}",
        "mark": mark,
        "bad": BAD,
        "rows": [
            row(setup, outcome)
            | {"texts": [(span(at), who, body) for at, who, body in outcome.told]}
            for outcome in outcomes
        ],
        "findings": list(findings(setup, outcomes, accepted, mark)),
    }
    return words.get_template("sheet.html").render(first)
