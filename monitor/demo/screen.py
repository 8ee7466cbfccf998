"""The terminal of the demo: lines that stay, and below them one line of progress that moves."""

from typing import TextIO

WIDTH = 78
BAR = 30


class Screen:
    """Writes to a terminal or a file; only a terminal has the line of progress."""

    def __init__(self, out: TextIO, shows_progress: bool) -> None:
        self._out = out
        self._shows_progress = shows_progress and out.isatty()
        self._drawn = ""

    def line(self, text: str) -> None:
        """One line that stays."""
        self.clear()
        self._out.write(f"{text}\n")
        self._out.flush()

    def progress(self, clock: str, share: float) -> None:
        """Draw the line of progress anew if it has changed; share is 0 to 1."""
        done = round(BAR * share)
        text = f"{clock}  [{'#' * done}{'-' * (BAR - done)}] {share:4.0%}"
        if self._shows_progress and text != self._drawn:
            self._out.write(f"\r{text} ")
            self._out.flush()
            self._drawn = text

    def clear(self) -> None:
        """Take the line of progress away."""
        if self._drawn:
            self._out.write("\r" + " " * WIDTH + "\r")
            self._drawn = ""
