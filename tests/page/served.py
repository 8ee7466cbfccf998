"""A page that is really served, in front of a control socket that answers as a watch would."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import requests
import uvicorn

from logic.play import sample, watch
from monitor.control import SOCKET, ControlServer, Request
from monitor.errors import RefusedInput
from monitor.inputs import Moment, Reading
from monitor.logic.scene import Scene, scene
from monitor.page.access import ACCESS, Access, Cost
from monitor.page.advice import Advice
from monitor.page.app import Page, application
from monitor.page.watcher import Watcher

RESPOND = Path(__file__).parents[2] / "docs" / "respond"
PASSWORD = "0123 4567"
NOW = 1_790_000_000.0
CHEAP = Cost(16, 1, 1)
"""Tests check what is done with passwords, not how hard they are to guess."""

START = Moment(1, 1000.0, 1_792_303_200.0)


def a_scene() -> Scene:
    """The sample rig with one reading of each kind, and one event that calls."""
    setup = sample("ostrel-hill")
    played = watch(setup, START)
    readings = [("MP", 0.0), ("QS", 0.0), ("QL", 6.0), ("LH", 37.0), ("TW1", 26.5)]
    inputs = [
        Reading(tag, Moment(1, START.elapsed + s, START.utc + s), value)
        for s in range(1, 200, 5)
        for tag, value in readings
    ]
    played.feed(inputs, START.elapsed + 200.0)
    now = Moment(1, START.elapsed + 200.0, START.utc + 200.0)
    return scene(setup, played.state, now)


class Clock:
    """Seconds that stand until they are set."""

    def __init__(self, at: float) -> None:
        self.at = at

    def __call__(self) -> float:
        return self.at


class Served:
    """The page at `url`. told: what reached the watch; seen: the scene it shows, None for none."""

    def __init__(self, state: Path) -> None:
        self.wall, self.boot = Clock(NOW), Clock(5.0)
        self.access = Access(state / ACCESS, self.wall, self.boot, CHEAP)
        self.seen: dict[str, Any] | None = None
        self.told: list[dict[str, Any]] = []
        self.refuse = ""
        self.url = ""
        self.looks = Clock(0.0)
        self.watcher = Watcher(state, self._every_look_is_new)

    def _every_look_is_new(self) -> float:
        self.looks.at += 10.0
        return self.looks.at

    def answer(self, request: Request) -> dict[str, Any]:
        """What the watch says."""
        if request.data["ask"] == "snapshot":
            return {"scene": self.seen}
        if self.refuse:
            raise RefusedInput(self.refuse)
        self.told.append(dict(request.data))
        return {"who": request.data["as"], "lines": []}

    def person(self, name: str = "tavrin", role: str = "act") -> requests.Session:
        """Somebody who has logged in."""
        someone = requests.Session()
        fields = {"code": self.access.admit(name, role), "password": PASSWORD}
        assert someone.post(f"{self.url}/first", fields, allow_redirects=False).status_code == 303
        return someone

    def press(self, someone: requests.Session, action: str, **fields: str) -> requests.Response:
        """Press a button with the token of this session's forms."""
        return someone.post(
            f"{self.url}/do/{action}", {"form": self.form(someone), **fields}, allow_redirects=False
        )

    def form(self, someone: requests.Session) -> str:
        """The token that the forms of this session carry."""
        visitor = self.access.visitor(someone.cookies["session"])
        assert visitor is not None
        return visitor.form_token


@contextmanager
def served(state: Path, with_watch: bool = True) -> Iterator[Served]:
    """Serve the page on a free port of this machine until the block ends."""
    here = Served(state)
    stop = threading.Event()
    handlers = {"snapshot": here.answer, "answer": here.answer}
    control = ControlServer(state / SOCKET, handlers)
    threads = []
    if with_watch:
        control.open()
        threads.append(threading.Thread(target=control.run, args=(stop,)))
    page = Page(state, here.access, here.watcher, Advice(RESPOND), behind_tls=False)
    config = uvicorn.Config(
        application(page), host="127.0.0.1", port=0, log_level="error", lifespan="off", ws="none"
    )
    server = uvicorn.Server(config)
    socket = config.bind_socket()
    socket.listen()
    here.url = f"http://127.0.0.1:{socket.getsockname()[1]}"
    threads.append(threading.Thread(target=server.run, kwargs={"sockets": [socket]}))
    for thread in threads:
        thread.start()
    try:
        yield here
    finally:
        stop.set()
        server.should_exit = True
        for thread in threads:
            thread.join(10.0)
        socket.close()
