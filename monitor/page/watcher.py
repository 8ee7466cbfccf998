"""What the page asks of the watch over its socket; one look a second serves every phone."""

import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from monitor.control import SOCKET, ask
from monitor.errors import ControlError

FRESH = 1.0
"""Seconds that a look at the watch is shown to everybody who asks."""


class Watcher:
    """The running watch as the page sees it. now: seconds that never step."""

    def __init__(self, state: Path, now: Callable[[], float]) -> None:
        self._socket = state / SOCKET
        self._now = now
        self._looking = threading.Lock()
        self._seen: dict[str, Any] | None = None
        self._why = ""
        self._at = float("-inf")

    def scene(self) -> tuple[dict[str, Any] | None, str]:
        """The scene, or None and why there is none. Everybody waits for the same look."""
        with self._looking:
            if self._now() - self._at >= FRESH:
                try:
                    self._seen, self._why = (
                        ask(self._socket, ask="snapshot", view="scene")["scene"],
                        "",
                    )
                except ControlError as error:
                    self._seen, self._why = None, str(error)
                self._at = self._now()
            return self._seen, self._why

    def why(self, number: int) -> list[str]:
        """Why an event was called; ControlError where the watch does not answer."""
        return list(ask(self._socket, ask="why", event=number)["lines"])

    def tell(self, person: str, request: Mapping[str, object]) -> None:
        """Carry out what a person asked for; ControlError says why it was refused."""
        ask(self._socket, **{**request, "as": person, "way": "page"})
        with self._looking:
            self._at = float("-inf")
