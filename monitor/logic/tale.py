"""What a text may say about an event: its people, its times, and what the tags show."""

from dataclasses import dataclass

from monitor.logic.derived import Water, break_forecast, mean_level
from monitor.logic.gsm import Part
from monitor.logic.plan import Spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord


@dataclass(frozen=True, slots=True)
class Tale:
    """All a template may draw on."""

    scan: Scan
    event: EventRecord
    person: str
    spec: Spec | None
    water: Water | None

    def clock(self, elapsed: float | None) -> str:
        """Wall-clock time of a moment on the watch's own time line, "" for none."""
        if elapsed is None:
            return ""
        return f"{self.scan.setup.local(self.scan.now.utc_at(elapsed)):%H:%M}"

    @property
    def stopped_at(self) -> str:
        """When flow ended; to the nearest minute where that is only presumed."""
        since = self.event.no_flow_since
        if since is not None and self.event.no_flow_presumed:
            since += 30.0
        return self.clock(since)

    def head(self, first: str, more: str = "") -> Part:
        local = self.scan.setup.local(self.scan.now.utc)
        day = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[local.weekday()]
        place = f"{self.scan.setup.rig.label} {self.event.vessel}"
        if self.event.vessel == self.scan.setup.rig.label:
            place = self.event.vessel
        return Part(f"{first} {place} {day} {local:%H:%M}{more}.")

    def name(self, person: str) -> str:
        known = self.scan.setup.person.get(person)
        return (known.name if known is not None else person).split(" ")[-1]

    @property
    def number(self) -> int:
        return self.event.number

    @property
    def reply(self) -> Part:
        return Part(f"Reply OK {self.number}.")

    def who_has_it(self, short: bool = False) -> Part:
        """Who has the event and when they are due, or how to take it."""
        event = self.event
        if event.stage == "on site":
            return Part(f"{self.name(event.taken_by)} has {self.number}, on site.")
        if event.stage == "taken":
            due = self.clock(event.promise)
            name = self.name(event.taken_by)
            return Part(f"{name} due {due}." if short else f"{name} has {self.number}, due {due}.")
        return self.reply

    def owed_by(self) -> str:
        hours, minutes = divmod(int(self.scan.setup.owed_by) // 60, 60)
        return f"{hours:02d}:{minutes:02d}"

    # What the tags say

    @property
    def mains_off(self) -> bool:
        return self.water is not None and self.water.mains is False

    def power(self) -> str:
        return "MAINS OFF" if self.mains_off else "SUPPLY LOST"

    @property
    def level(self) -> str:
        if self.water is None or self.water.level is None:
            return ""
        return f"header {self.water.level * 100:.0f}cm"

    @property
    def temperature(self) -> str:
        value = self.scan.value(self.water.chain.temperature) if self.water is not None else None
        return f"{value:.1f}C." if value is not None else ""

    @property
    def flow(self) -> str:
        """Flow to the larvae, mean of the last minute, in the tag's unit."""
        tag = self.water.chain.flow if self.water is not None else None
        state = self.scan.usable(tag)
        if tag is None or state is None or not state.trail:
            return ""
        return f"{tag.unit.from_si(mean_level(state, 60.0)[0]):.1f}"

    def break_time(self) -> str:
        """When the siphon breaks, told early, with how that is known."""
        forecast = break_forecast(self.scan, self.water) if self.water is not None else None
        if forecast is None:
            return ""
        how = "" if forecast.measured else " (drain test)"
        return f"iphon breaks about {self.clock(forecast.told)}{how}"

    @property
    def by_cup(self) -> bool:
        return self.water is not None and self.water.flow is None and self.water.witness is not None

    def stopped(self, capital: bool = False) -> str:
        """Since when the larvae have no water, in the words of how that is known."""
        since = self.stopped_at
        if self.event.no_flow_presumed:
            return f"siphon PRESUMED broken {since}"
        return f"{'NO FLOW' if capital else 'no flow'} since {since}"

    def state(self) -> str:
        """The state in a few words, for reminders and further calls."""
        words = []
        if self.event.losses and self.event.back_since is None:
            words.append(self.power())
        if self.event.no_flow_since is not None:
            words.append(self.stopped())
        elif words and (breaks := self.break_time()):
            words.append(f"s{breaks}")
        if not words:
            words.append(self.event.first_out.split("/")[0].upper())
        return ", ".join(words) + "."
