"""The text about a watch elsewhere that has gone silent."""

from monitor.logic.gsm import Part
from monitor.logic.tale import Tale


def watch_silent(tale: Tale) -> list[Part]:
    """No sign of life: since when nobody is told of faults at the tank, and what to do."""
    spec = tale.spec
    plans = [plan for found in tale.scan.plan.limits.values() for plan in found]
    plan = next((plan for plan in plans if plan.spec is spec), None)
    age = tale.scan.value(plan.tag) if plan is not None else None
    since = tale.clock(tale.scan.t - age if age is not None else tale.event.first_sign)
    action = spec.first_action if spec is not None else ""
    return [
        tale.head(tale.event.grade.upper()),
        Part(f"WATCH SILENT since {since}: tank faults will not reach you.", 9),
        Part(action or "Go, or call the site.", 9, "Go, or call the site."),
        tale.who_has_it(),
    ]
