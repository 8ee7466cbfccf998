"""Every text that goes to a person: one template a turn, at most 160 places of the GSM 7-bit set.

Order: grade, place, tank, day and clock time, what, by what clock time harm comes, state, first
action, how to answer. Clock times, never durations, because texts come late. What is not known
is left out; what is inferred says PRESUMED. Parts that do not fit are dropped, least first.
"""

from collections.abc import Callable
from itertools import chain

from monitor.inputs import SENDING
from monitor.logic import duty, wording_balance, wording_care, wording_signs, wording_water
from monitor.logic.gsm import Part, fit
from monitor.logic.names import WORDS
from monitor.logic.plan import LimitPlan, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord, called_now
from monitor.logic.tale import Tale
from monitor.units import STATES


def compose(scan: Scan, event: EventRecord, turn: str, person: str, spec: Spec | None) -> str:
    """The text of a turn of an event for one person; at most 160 GSM 7-bit places."""
    water = next(
        (item for item in scan.waters if item.chain.tank and item.chain.tank.id == event.vessel),
        scan.waters[0] if scan.waters else None,
    )
    tale = Tale(scan, event, person, spec, water)
    return fit(TEMPLATES.get(turn, _alarm)(tale))


def plain(scan: Scan, event: EventRecord, turn: str) -> str:
    """The least a text must say, for when its own template fails: grade, place, what, number."""
    place = f"{scan.setup.rig.label} {event.vessel}"
    said = f"{event.grade.upper()} {place}. {turn.upper()}. Go and look. Reply OK {event.number}."
    return fit([Part(said)])


def _reminder(tale: Tale) -> list[Part]:
    wait = tale.scan.t + tale.scan.setup.delays.after_promise
    setup, event = tale.scan.setup, tale.event
    passed = {event.taken_by, *called_now(event)}
    people = duty.order_at(setup, tale.scan.durable, tale.scan.now.utc)
    through = event.calls >= len(setup.delays.call_after)
    fresh = "" if through else next((item for item in people if item not in passed), "")
    then = f"{tale.name(fresh)} is called" if fresh else "All are called"
    return [
        tale.head("REMINDER"),
        Part(f"You took {tale.number}, due now."),
        Part(tale.state()),
        Part(
            f"Send HERE {tale.number} when in, NO {tale.number} if you cannot.",
            9,
            f"Send HERE {tale.number} or NO {tale.number}.",
        ),
        Part(f"{then} {tale.clock(wait)}.", 5),
    ]


def _next_call(tale: Tale) -> list[Part]:
    head = "2ND CALL" if tale.event.calls == 1 else "3RD CALL"
    return _call(tale, head, "You are next: go")


def _call_to_all(tale: Tale) -> list[Part]:
    return _call(tale, "CALL TO ALL", "Whoever can: go")


def _call(tale: Tale, head: str, plea: str) -> list[Part]:
    event = tale.event
    if event.stage == "flow proven":
        return _look_again(tale, head)
    before, shorter = "Nobody has taken it.", None
    if event.taken_by:
        name, due = tale.name(event.taken_by), tale.clock(event.promise)
        before = f"{name} took {tale.number}, due {due}, not on site."
        shorter = f"{name} due {due}, not on site."
    siphon = tale.water is not None and tale.water.chain.drawn_by_siphon
    brings = ", air first, bring primer" if event.group == "water" and siphon else ""
    return [
        tale.head(head),
        Part(before, 8, shorter),
        Part(tale.state()),
        Part(f"{plea}{brings}."),
        tale.reply,
    ]


def _look_again(tale: Tale, head: str) -> list[Part]:
    """Somebody proved the flow by hand, was asked again, and has not answered."""
    name = tale.name(tale.event.proven_by)
    return [
        tale.head(head),
        Part(
            f"{name} sent FLOW {tale.number} at {tale.clock(tale.event.proven)}, no answer since."
        ),
        Part("Is the siphon running? Look, prime it if not,"),
        Part(f"then send FLOW {tale.number}."),
    ]


def _somebody_has_it(tale: Tale) -> list[Part]:
    at = tale.clock(tale.event.on_site)
    return [
        tale.head("NOTICE"),
        Part(f"{tale.name(tale.event.taken_by)} has {tale.number}, on site {at}."),
        Part("You need not go."),
    ]


def _asked_again(tale: Tale) -> list[Part]:
    wait = tale.clock(tale.scan.t + tale.scan.setup.delays.ask_again_wait)
    return [
        tale.head("ASK"),
        Part(f"Is the siphon still running? Look at it, then send FLOW {tale.number}."),
        Part("If not: prime it first."),
        Part(f"No answer by {wait}: the next is called.", 5),
    ]


def _sensor(tale: Tale) -> list[Part]:
    spec = tale.spec
    subject = spec.subject if spec is not None else ""
    state = tale.scan.tag_state(subject)
    silent = spec is not None and spec.name == "sensor silent"
    heard = state.heard > float("-inf")
    since = tale.clock(state.heard if silent else state.fault_since) if heard else "the start"
    why = "no answer" if silent else state.fault or "bad readings"
    return [
        tale.head("NOTICE"),
        Part(f"Sensor {subject} bad since {since} ({why})."),
        Part(_also_bad(tale, subject), 6),
        Part(_looks_well(tale, subject), 4),
        Part("Fix today."),
        tale.reply,
    ]


def _flow_not_seen(tale: Tale) -> list[Part]:
    """The last sensor that shows flow is silent or bad: nobody knows whether water runs."""
    line = tale.spec.subject if tale.spec is not None else ""
    chain = next((item.chain for item in tale.scan.waters if item.chain.line.id == line), None)
    bad = ", ".join(tag.id for tag in chain.sighted) if chain is not None else ""
    return [
        tale.head(tale.event.grade.upper()),
        Part(f"FLOW NOT SEEN since {_since(tale)}: {bad} silent or bad."),
        Part(_also_bad(tale, bad), 3),
        Part(_well(tale, bad), 4),
        Part("Go and look: does water run in? Then mend the sensor."),
        tale.reply,
    ]


def _also_bad(tale: Tale, without: str) -> str:
    """Other sensors that are faulty or silent now, the first few by name."""
    names = [
        alarm.split("/")[1]
        for alarm, state in tale.scan.running.conditions.items()
        if alarm.startswith(("sensor faulty/", "sensor silent/")) and state.truth
    ]
    others = [name for name in dict.fromkeys(names) if name not in without.split(", ")]
    more = f" and {len(others) - 4} more" if len(others) > 4 else ""
    return f"Also bad: {', '.join(others[:4])}{more}." if others else ""


def _since(tale: Tale) -> str:
    """When the condition that is told began; of an event that is long under way, not its start."""
    spec = tale.spec
    state = tale.scan.running.conditions.get(spec.id) if spec is not None else None
    return tale.clock(state.first_sign if state is not None else tale.event.first_sign)


def _looks_well(tale: Tale, without: str) -> str:
    shown = _well(tale, without)
    grave = any(
        event.grade in ("high", "urgent") and event.stage not in ("flow proven", "closed")
        for event in tale.scan.durable.events.values()
    )
    water = tale.water
    flows = water is not None and water.flow_none is False
    seen_by = water.chain.flow or water.chain.witness if water is not None else None
    if grave or not shown or not flows or (seen_by is not None and seen_by.id == without):
        return shown
    return f"{shown[:-1]}: tank looks well."


def _well(tale: Tale, without: str) -> str:
    """What the other sensors still show, so that a sensor fault does not read as a fish fault."""
    water = tale.water
    if water is None:
        return ""
    shown = []
    if tale.flow and water.chain.flow is not None and water.chain.flow.id != without:
        shown.append(f"flow {tale.flow}")
    if tale.level and water.chain.level is not None and water.chain.level.id != without:
        shown.append(tale.level)
    others = [
        tag.id
        for tag in tale.scan.setup.rig.tags
        if tag.measures == "temperature" and tag.id != without
    ]
    for tag_id in others[:1]:
        value = tale.scan.value(tale.scan.setup.rig.tag[tag_id])
        if value is not None:
            shown.insert(0, f"{tag_id} says {value:.1f}C")
    text = ", ".join(shown)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _well_again(tale: Tale) -> list[Part]:
    what = tale.event.first_out.split("/")[0]
    span = f"{tale.clock(tale.event.first_sign)}-{tale.clock(tale.event.clear_since)}"
    return [
        tale.head("IN BAND"),
        Part(f"{what[0].upper()}{what[1:]} {span} is over."),
        Part(_well(tale, ""), 3),
        Part(f"Nothing more to do; {tale.number} is closed."),
    ]


def _owed_nag(tale: Tale) -> list[Part]:
    return [
        tale.head("OWED"),
        Part(f"Event {tale.number} still owes: {', '.join(tale.event.owed)}."),
        Part(f"Enter each: DONE {tale.number} and the line."),
    ]


def _watch(tale: Tale) -> list[Part]:
    """A part of the watch itself has failed; what goes on all the same."""
    part = tale.spec.subject if tale.spec is not None else ""
    wrong = tale.scan.running.faults.get(part, "")
    if part == "record":
        what, action = "RECORD NOT KEPT", "The watch goes on from memory. Look at card and disk."
    elif part.endswith(f" {SENDING}"):
        way = part.removesuffix(f" {SENDING}").partition(" ")[2]
        what, action = f"PATH DOWN: nothing goes out by {way}", "Mend it; call others by phone."
    else:
        what, action = f"THE WATCH ITSELF: {part} fails", "See holdwater now; mend it today."
    return [
        tale.head(tale.event.grade.upper()),
        Part(f"{what} since {_since(tale)}."),
        Part(f"({wrong[:60]})" if wrong else "", 2),
        Part(action),
        tale.reply,
    ]


def _mains(tale: Tale) -> list[Part]:
    subject = tale.spec.subject if tale.spec is not None else ""
    return [
        tale.head(tale.event.grade.upper()),
        Part(f"MAINS OFF at {subject} since {_since(tale)}."),
        Part(_well(tale, ""), 3),
        Part("Look for water first, then reset the breaker once."),
        tale.reply,
    ]


def _alarm(tale: Tale) -> list[Part]:
    """A limit passed: value, limit, since when, first action."""
    spec = tale.spec
    name = spec.name if spec is not None else tale.event.first_out.split("/")[0]
    plan = _limit_of(tale)
    what, action = WORDS.get(name, (name.upper(), "Go and look."))
    if spec is not None and spec.first_action:
        action = spec.first_action
    worse = len(tale.event.told) > 1
    return [
        tale.head("WORSE" if worse else tale.event.grade.upper()),
        Part(
            f"{what}{_value(plan, tale)} since {_since(tale)}.", 9, f"{what} since {_since(tale)}."
        ),
        tale.breaks(6) if name == "header low" and tale.supply.lost_since else Part(""),
        *wording_balance.because(tale, name),
        Part(_well(tale, plan.tag.id if plan is not None else ""), 2),
        Part(action),
        tale.who_has_it(),
    ]


def _limit_of(tale: Tale) -> LimitPlan | None:
    plans = chain.from_iterable(tale.scan.plan.limits.values())
    return next((plan for plan in plans if plan.spec is tale.spec), None)


def _value(plan: LimitPlan | None, tale: Tale) -> str:
    """The value now beside its limit, in the tag's unit; nothing for a yes or no."""
    value = tale.scan.value(plan.tag) if plan is not None else None
    if plan is None or value is None or plan.tag.measures in STATES:
        return ""
    unit = plan.tag.unit
    border = unit.from_si(plan.limit.value.at(tale.scan.dph, tale.scan.clock))
    return f" {unit.show(value)} (limit {border:.{unit.decimals}f})"


TEMPLATES: dict[str, Callable[[Tale], list[Part]]] = {
    "supply lost": wording_water.supply_lost,
    "supply lost again": wording_water.supply_lost_again,
    "siphon broken": wording_water.siphon_broken,
    "power back, no flow": wording_water.power_back,
    "still no flow": wording_water.still_no_flow,
    "flow proven": wording_water.flow_proven,
    "flow proven by hand": wording_water.flow_proven_by_hand,
    "asked again": _asked_again,
    "flow never stopped": wording_water.never_stopped,
    "reminder": _reminder,
    "next call": _next_call,
    "call to all": _call_to_all,
    "somebody has it": _somebody_has_it,
    "owed": _owed_nag,
    "hold overrun": wording_water.hold_overrun,
    "sensor faulty": _sensor,
    "sensor silent": _sensor,
    "flow not seen": _flow_not_seen,
    "mains lost": _mains,
    "record not kept": _watch,
    "watch faulty": _watch,
    "watch silent": wording_signs.watch_silent,
    "well again": _well_again,
    "eased": wording_care.eased,
    "flood": wording_care.flood,
    "still there": wording_care.still_there,
    "still on backup": wording_care.still_on_backup,
    "fuel low": wording_care.fuel_low,
    **dict.fromkeys(wording_balance.SAYS, wording_balance.balance),
}
"""One template a turn; a turn without one is a limit and told by its value."""
