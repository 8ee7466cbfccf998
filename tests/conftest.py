"""What all tests share: the recorded series of others, and the rule that a skip can be a failure.

HOLDWATER_RECORDINGS: the folder with the recorded series (see DEVELOPERS.md). Without it the tests
    that need it are skipped, with the reason.
HOLDWATER_NO_SKIPS: when 1, a session in which anything was skipped fails.
"""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# No deadline: on a slow board a time limit per example fails without anything being wrong.
settings.register_profile("holdwater", deadline=None, print_blob=True)
settings.load_profile("holdwater")


@pytest.fixture(scope="session")
def recordings() -> Path:
    """The folder of recorded series made by others; without one the test is skipped."""
    named = os.environ.get("HOLDWATER_RECORDINGS", "")
    if not named:
        pytest.skip("HOLDWATER_RECORDINGS names no folder of recorded series")
    folder = Path(named)
    assert folder.is_dir(), f"HOLDWATER_RECORDINGS={named} is not a folder"
    return folder


class NoSkips:
    """Turns a session that skipped anything into a failed one, and says what was skipped."""

    def __init__(self) -> None:
        self.skipped: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.skipped and not hasattr(report, "wasxfail"):
            self.skipped.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.skipped:
            self.skipped.append(report.nodeid)

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        if self.skipped and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        for nodeid in self.skipped:
            terminalreporter.line(f"HOLDWATER_NO_SKIPS: skipped, which fails here: {nodeid}")


def pytest_configure(config: pytest.Config) -> None:
    """Register the rule against skips where it is asked for."""
    if os.environ.get("HOLDWATER_NO_SKIPS") == "1":
        config.pluginmanager.register(NoSkips())
