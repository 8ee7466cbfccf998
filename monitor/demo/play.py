"""Plays the demo night: simulated rig, people and clock around the real loop and archive."""

import threading
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TextIO

from monitor.archive import Writer
from monitor.channels import CHANNELS
from monitor.channels.base import Message, Sender
from monitor.clock import Pace, VirtualClock
from monitor.config import load, snapshot
from monitor.control import RECORD, SOCKET, ControlServer
from monitor.demo.hands import HELP, Prompt, understand
from monitor.demo.narrator import STAGE_DIRECTIONS, Narrator
from monitor.demo.screen import Screen
from monitor.desk import Desk
from monitor.effects import Effect, Text
from monitor.errors import HoldwaterError, RefusedInput
from monitor.inputs import Answer, DeliveryReport, Moment, Reading, SetupChange
from monitor.live import Inbox, Live, Post
from monitor.logic.events import is_open
from monitor.logic.state import fresh
from monitor.logic.step import resume
from monitor.loop import PLAYED, Loop
from monitor.setup import Channel, Setup
from monitor.simulator import Action, SimulatedRig, Story
from monitor.simulator.hands import act
from monitor.simulator.nights import FULL, night_outage
from monitor.simulator.story import after

EVENT = 41
SEED = 41
SPEED, SPEED_BY_HAND = 60.0, 15.0
"""Night time over real time: the outage takes two minutes, or nine where people type answers."""
FASTER_AFTER = 4.0
"""How much faster it goes once the flow is proven."""
CURTAIN = "01:15:00"
"""What lies before only fills the memory of the watch and is not waited for."""
WATER_LINE = 300
"""Seconds of the night between two looks at the water."""
CLOSE_WITHIN = 10.0
"""Seconds for the last words of the record."""
BY_PEOPLE = ("prime", "failed priming", "valve", "light timer")

TITLE = (
    "holdwater demo: one night on a simulated rig, watched by the real watch.",
    "Larval tank LT1 is fed by a siphon from a header tank; a pump fills the header. When the",
    "power fails the header runs empty, and a siphon that has broken does not start again by",
    "itself: when the power is back everything looks well, and no water reaches the larvae.",
)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the demo is asked for. speed: night time over real time, None for the usual one.

    program: how the reader calls this program, for the commands that are shown.
    """

    config: Path
    folder: Path
    by_hand: bool = False
    speed: float | None = None
    program: str = "holdwater"


def play(wishes: Wishes, out: TextIO, typed: Iterable[str]) -> None:
    """Play the night to its end. Everything it leaves behind is in `wishes.folder`."""
    setup = _own_outbox(load(wishes.config, 1), wishes.folder)
    screen = Screen(out, shows_progress=not wishes.by_hand)
    try:
        _Night(wishes, setup, Narrator(setup, screen), typed).run()
    finally:
        screen.clear()


def _own_outbox(setup: Setup, folder: Path) -> Setup:
    """The set-up with every channel as a folder beside the record: the demo texts nobody."""
    channels = tuple(
        Channel(channel.id, "folder", (("folder", str(folder / channel.id)),))
        for channel in setup.channels
    )
    return replace(setup, channels=channels, worked_out={})


def _story(setup: Setup, by_hand: bool) -> Story:
    """The outage; in by hand nobody of the story answers or touches the rig."""
    sees_flow = any(tag.measures in ("flow", "flow witness") for tag in setup.rig.tags)
    story = night_outage(EVENT, flow_told=not sees_flow)
    if not by_hand:
        return story
    nature = tuple(action for action in story.actions if action.do not in BY_PEOPLE)
    return replace(story, actions=nature, says=())


class _Night:
    """The night under way."""

    def __init__(
        self, wishes: Wishes, setup: Setup, narrator: Narrator, typed: Iterable[str]
    ) -> None:
        self._wishes, self._setup, self._narrator, self._typed = wishes, setup, narrator, typed
        usual = SPEED_BY_HAND if wishes.by_hand else SPEED
        self._speed = usual if wishes.speed is None else wishes.speed
        self._pace = Pace(0.0)
        self._wake = threading.Event()
        self._story = _story(setup, wishes.by_hand)
        self._rig = SimulatedRig(setup, self._story, SEED)
        self._directions = deque(
            action for action in self._story.actions if action.do in STAGE_DIRECTIONS
        )
        self._clock = VirtualClock(self._rig.origin)
        self._inbox = Inbox()
        self._texted = next(iter(setup.person), "")
        self._ended = False
        record = wishes.folder / RECORD
        self._writer = Writer(record, setup.rig.board, setup.rig.id, self._trouble)
        self._senders: dict[str, Sender] = {
            channel.id: CHANNELS[channel.kind](channel, {}) for channel in setup.channels
        }

    def run(self) -> None:
        """The whole night, then the curtain."""
        begin = self._clock.now()
        self._writer.start(begin.utc)
        self._writer.open_boot("demo", begin.elapsed)
        try:
            self._begin()
            self._introduce()
            self._play()
        finally:
            self._writer.close(CLOSE_WITHIN)
        self._conclude()

    def _begin(self) -> None:
        clock = self._clock
        begin = resume(self._setup, fresh(EVENT), clock.now())
        self._loop = Loop(
            self._setup, begin, clock, self._writer, self._send, self._observe, patience=PLAYED
        )
        self._live = Live(self._loop, self._inbox, clock, lambda _now: None)
        change = SetupChange(clock.now(), self._setup, "demo", "the set-up of the demo")
        self._loop.turn([change], snapshot(self._wishes.config), waited_for=True)

    def _introduce(self) -> None:
        say = self._narrator.say
        say("", *TITLE, "")
        if self._wishes.by_hand:
            program, state = self._wishes.program, self._wishes.folder
            say("Nobody answers but you. Type here:", *HELP)
            say("or in a second terminal:", f"  {program} now --state {state}")
            say(f"  {program} take {EVENT} --there-in 30 --as tavrin --state {state}")
        if self._speed > 0.0:
            say(f"Times are those of the night; a minute of it takes {60.0 / self._speed:.1f} s.")
        say("")

    def _play(self) -> None:
        stop = threading.Event()
        desk = Desk(self._inbox, self._clock, lambda: self._loop.snapshot, _cannot_change)
        server = ControlServer(self._wishes.folder / SOCKET, desk.handlers)
        server.open()
        listener = threading.Thread(target=server.run, args=(stop,), daemon=True)
        listener.start()
        prompt = Prompt(self._typed) if self._wishes.by_hand else None
        curtain = after(self._story.start, CURTAIN)
        begin = self._clock.now().elapsed
        try:
            for second in range(1, int(self._story.length) + 1):
                self._set_pace(second < curtain)
                self._pace.wait(self._wake, begin + second)
                if prompt is not None:
                    prompt.take(self._typed_line)
                self._play_to(begin + second)
                if second > curtain and second % WATER_LINE == WATER_LINE // 2:
                    self._narrator.water(self._loop.state, self._clock.now())
                self._narrator.progress(self._clock.now(), second / self._story.length)
                if self._ended:
                    break
        finally:
            stop.set()
            listener.join(5.0)

    def _set_pace(self, before_the_curtain: bool) -> None:
        event = self._loop.state.durable.events.get(EVENT)
        self._pace.speed = 0.0 if before_the_curtain else self._speed
        if event is not None and event.proven is not None:
            self._pace.speed *= FASTER_AFTER
        self._ended = self._ended or (event is not None and not is_open(event))

    def _play_to(self, elapsed: float) -> None:
        while self._directions and self._directions[0].at + self._rig.origin.elapsed <= elapsed:
            action = self._directions.popleft()
            self._narrator.happened(action, self._moment(action.at))
        for item in self._rig.until(elapsed):
            self._move_to(item.moment.elapsed)
            if isinstance(item, Reading):
                self._inbox.reading(item)
            else:
                self._answer(item)
        self._move_to(elapsed)

    def _move_to(self, elapsed: float) -> None:
        """Work off what came at the moment before, then let time pass up to this one."""
        if elapsed > self._clock.now().elapsed:
            self._live.scan()
            self._loop.run_on_to(self._clock, elapsed)

    def _moment(self, at: float) -> Moment:
        origin = self._rig.origin
        return Moment(origin.boot, origin.elapsed + at, origin.utc + at)

    def _answer(self, answer: Answer) -> None:
        self._narrator.answers(answer)
        self._inbox.put(Post(answer, self._reply))

    def _reply(self, refused: str) -> None:
        if refused:
            self._narrator.refused(refused)

    def _typed_line(self, line: str) -> None:
        now = self._clock.now()
        if line.lower() in ("help", "?"):
            self._narrator.say(*HELP)
            return
        try:
            meant = understand(self._setup, line, self._texted, now, FULL)
            if isinstance(meant, Action):
                act(self._rig.world, meant)
        except RefusedInput as refused:
            self._narrator.say(f"          {refused}")
            return
        if meant is None:
            self._ended = True
        elif isinstance(meant, Action):
            self._narrator.happened(meant, now)
        else:
            self._answer(meant)

    def _trouble(self, wrong: str, _over: bool) -> None:
        self._narrator.say(f"          the record: {wrong}")

    def _observe(self, effects: Iterable[Effect], now: Moment) -> None:
        self._narrator.effects(tuple(effects), now)

    def _send(self, text: Text, channels: tuple[str, ...]) -> None:
        """Deliver at once, in this thread: the folder is always there."""
        self._texted = text.person
        local = self._setup.local(text.moment.utc)
        person = self._setup.person[text.person]
        message = Message(text, person, self._setup.rig.label, local)
        for channel in channels:
            delivery = self._senders[channel].send(message)
            now = self._clock.now()
            self._writer.delivery(text.number, channel, delivery.outcome, delivery.detail, now)
            report = DeliveryReport(now, text.number, channel, delivery.outcome, delivery.detail)
            self._inbox.put(Post(report))

    def _conclude(self) -> None:
        folder, program = self._wishes.folder, self._wishes.program
        event = self._loop.state.durable.events.get(EVENT)
        end = "no event was opened" if event is None else f"event {EVENT} is {event.stage}"
        self._narrator.say(
            "",
            f"The night is over: {end}.",
            f"  the record    {folder / RECORD}",
            *(f"  the texts     {folder / channel.id}" for channel in self._setup.channels),
            "Try next:",
            f"  {program} why {EVENT} --state {folder}",
            f"  {program} demo --by-hand        you are the one who is called",
            f"  {program} demo --first-night    the same night with the cheapest sensors",
            f"  {program} check {self._wishes.config}",
        )


def _cannot_change(_setup: Setup) -> None:
    raise HoldwaterError("the set-up of the demo stays as it is")


def sample(name: str, config: Path | None) -> Path:
    """The folder of a sample set-up: beside the package in a checkout, or in `config`."""
    folder = (config or Path(__file__).parents[2] / "sample_config") / name
    if not folder.is_dir():
        raise HoldwaterError(
            f"{folder} is not there; name the folder sample_config of the checkout with --config"
        )
    return folder
