"""What a text may say about an event: its people, its times, and what the tags show."""

from dataclasses import dataclass

from monitor.logic.alarms import ACTIVE
from monitor.logic.derived import Water, break_forecast
from monitor.logic.gsm import Part
from monitor.logic.plan import Spec
from monitor.logic.scan import DAYS, Scan
from monitor.logic.state import EventRecord, SupplyRecord
from monitor.logic.trails import mean_level


def dated(scan: Scan, first: str, vessel: str) -> str:
    """How every text begins: its first word, site and tank, day and clock time."""
    local, label = scan.setup.local(scan.now.utc), scan.setup.rig.label
    place = label if vessel == label else f"{label} {vessel}"
    return f"{first} {place} {DAYS[local.weekday()]} {local:%H:%M}"


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
    def prime_lost(self) -> bool:
        """Whether the siphon counts as broken; else its valve was shut in time."""
        siphons = self.scan.durable.siphons
        return self.event.losses == 0 or self.water is None or self.water.chain.line.id in siphons

    @property
    def stopped_at(self) -> str:
        """When flow ended; to the nearest minute where that is only presumed."""
        since = self.event.no_flow_since
        if since is not None and self.event.no_flow_presumed:
            since += 30.0
        return self.clock(since)

    def head(self, first: str, more: str = "", shorter: str = "") -> Part:
        said = dated(self.scan, first, self.event.vessel)
        return Part(f"{said}{more}.", 9, f"{said}{shorter}." if shorter else None)

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
            shorter = f"{name} due {due}."
            return Part(shorter if short else f"{name} has {self.number}, due {due}.", 9, shorter)
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
    def supply(self) -> SupplyRecord:
        """What is remembered of the supply into the header of this water."""
        header = self.water.chain.header if self.water is not None else None
        found = self.scan.durable.supplies.get(header.id) if header is not None else None
        return found or SupplyRecord()

    @property
    def mains_returned(self) -> float | None:
        """When the mains came back; None where it is off or had never gone.

        A watch that was restarted since saw the supply earlier than this mains reading.
        """
        water, back = self.water, self.event.back_since
        if water is None or water.mains is not True or back is None or self.supply.mains_not_off:
            return None
        return min(water.mains_since, back)

    def back(self) -> str:
        """What came back and when: the power, or the supply where the power had not gone."""
        mains = self.mains_returned
        if mains is None:
            return f"Supply back {self.clock(self.event.back_since)}"
        return f"Power back {self.clock(mains)}"

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

    def breaks(self, worth: int = 9) -> Part:
        """When the siphon breaks, told early; how that is known where there is room."""
        told = self.break_time()
        if not told:
            return Part("")
        return Part(f"S{told}.", worth, f"S{told.partition(' (')[0]}.")

    def break_time(self) -> str:
        """When the siphon breaks, told early, with how that is known."""
        if self.water is None or self.water.chain.line.id in self.scan.durable.siphons:
            return ""
        forecast = break_forecast(self.scan, self.water)
        if forecast is None or (forecast.told < self.scan.t and self.water.flow_none is False):
            return ""  # it should have broken by now, and flow is seen: the reckoning was early
        test = self.water.chain.line.drain_test is not None
        how = "" if forecast.measured else " (drain test)" if test else " (reckoned)"
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

    def worst(self) -> str:
        """The gravest condition of the event that is still active, else its first."""
        alarms = self.scan.durable.alarms
        active = [
            spec
            for alarm in self.event.alarms
            if alarm in alarms and alarms[alarm].state in ACTIVE
            if (spec := self.scan.plan.spec(alarm)) is not None
        ]
        if not active:
            return self.event.first_out.split("/")[0]
        return max(active, key=lambda spec: spec.rank).name

    def state(self) -> str:
        """The state in a few words, for reminders and further calls."""
        words = []
        away = self.event.losses and self.event.back_since is None
        if self.event.losses:
            words.append(self.power() if away else self.back())
        if self.event.no_flow_since is not None:
            words.append(self.stopped())
        elif away:
            breaks = self.break_time()
            words += [f"s{breaks}"] if breaks else []
        elif words and self.water is not None:
            words.append(_FLOW[self.water.flow_none])
        if not words:
            words.append(self.worst().upper())
        text = ", ".join(words)
        return f"{text[0].upper()}{text[1:]}."


_FLOW = {True: "no flow", False: "flow runs", None: "flow not seen"}
