"""The phone page in a real browser through the demo outage, while it happens."""

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, sync_playwright
from playwright.sync_api import Error as PlaywrightError

from monitor.page.serve import access_of
from real.servers import HOST, PATIENCE, free_port

CHROMIUM = "/usr/bin/chromium"
PASSWORD = "0123 4567"
PHONE: ViewportSize = {"width": 360, "height": 740}
SPEED = "300"
NIGHT = 90.0
"""Real seconds within which the demo at that speed has told everything."""

RUN = "import sys; from monitor.cli import main; sys.argv[0] = 'holdwater'; main()"
STATES = {
    "full": [
        r"SUPPLY LOST: the siphon breaks about 01:[34]\d",
        r"NO FLOW since 01:4\d, siphon broken",
        r"is on site",
        r"Power back .* no flow since",
        r"flow proven",
    ],
    "first-night": [
        r"SUPPLY LOST",
        r"NO FLOW since 01:4\d, siphon broken \(witness",
        r"is on site",
        r"Power back .* no flow since",
        r"flow proven",
    ],
}
"""What the page says in the course of the night, whatever else it says."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's Chromium."""
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


class Night:
    """A demo night and the page on it, each its own process."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.state = folder / "night"
        self.url = f"http://{HOST}:{(port := free_port())}"
        demo = ["demo", "--speed", SPEED, "--folder", str(self.state), *more]
        page = ["page", "--state", str(self.state), "--port", str(port)]
        with (folder / "demo.log").open("w") as log:
            self._processes = [self._run(demo, log.fileno())]
            self._wait_for(self.state / "control.sock")
            self._processes.append(self._run(page, log.fileno()))

    def _run(self, words: list[str], log: int) -> "subprocess.Popen[bytes]":
        command = [sys.executable, "-c", RUN, *words]
        return subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT
        )

    def _wait_for(self, path: Path) -> None:
        until = time.monotonic() + PATIENCE
        while not path.exists():
            assert time.monotonic() < until, f"{path} did not come"
            time.sleep(0.05)

    def enter(self, context: BrowserContext, person: str) -> Page:
        """Log somebody in with a code, as a person does on a new phone."""
        page = context.new_page()
        until = time.monotonic() + PATIENCE
        while True:
            try:
                page.goto(f"{self.url}/first")
                break
            except PlaywrightError:  # it does not listen yet
                assert time.monotonic() < until
                time.sleep(0.1)
        page.fill("[name=code]", access_of(self.state).admit(person, "act"))
        page.fill("[name=password]", PASSWORD)
        page.click("main button")
        page.wait_for_selector("#inside h1")
        return page

    def close(self) -> None:
        """End both processes."""
        for process in reversed(self._processes):
            process.terminate()
            process.wait(PATIENCE)


@pytest.fixture(params=STATES)
def night(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, Night]]:
    """The demo night on the full rig, and on the first-night set."""
    more = ["--first-night"] if request.param == "first-night" else []
    begun = Night(tmp_path, *more)
    yield request.param, begun
    begun.close()


def test_outage_on_the_phone(night: tuple[str, Night], browser: Browser, tmp_path: Path) -> None:
    """Each state of the night is seen by itself, in its order, and fits the phone."""
    rig, begun = night
    page = begun.enter(browser.new_context(viewport=PHONE), "tavrin")
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda line: errors.append(line.text) if line.type == "error" else None)
    waiting = list(STATES[rig])
    until = time.monotonic() + NIGHT
    while waiting:
        assert time.monotonic() < until, f"never seen: {waiting[0]}\n{page.inner_text('#inside')}"
        if re.search(waiting[0], page.inner_text("#inside")):
            page.screenshot(path=str(tmp_path / f"{len(waiting)}.png"), full_page=True)
            wide = page.evaluate("document.scrollingElement.scrollWidth")
            assert PHONE["width"] == wide, waiting[0]
            waiting.pop(0)
        page.wait_for_timeout(50)
    assert [] == errors


def test_without_javascript_everything_can_be_pressed(tmp_path: Path, browser: Browser) -> None:
    """Two presses from the front page: take with a promise, begin and end a hold, keep a note."""
    begun = Night(tmp_path)
    try:
        page = begun.enter(browser.new_context(viewport=PHONE, java_script_enabled=False), "oskel")
        until = time.monotonic() + NIGHT
        while page.locator("form[action='/do/take'] button").count() == 0:
            assert time.monotonic() < until
            page.wait_for_timeout(200)
            page.reload()
        page.click("form[action='/do/take'] button[value='30']")
        assert "You have event 41" in page.inner_text(".said")
        page.click("form[action='/do/hold'] button[value='15']")
        assert "Feeding hold of 15 minutes" in page.inner_text(".said")
        page.click("form[action='/do/hold-end'] button")
        page.fill("form[action='/do/note'] textarea", "stone 3 weak")
        page.click("form[action='/do/note'] button")
        assert "Noted: stone 3 weak" in page.inner_text(".said")
        page.click("section.event h2 a")
        assert "What happened, in order" in page.inner_text("main")
    finally:
        begun.close()
