"""Starts the page: one process, on loopback unless told otherwise."""

import logging
from pathlib import Path

import uvicorn

from monitor.clock import always_trusted, board_time, boottime
from monitor.errors import HoldwaterError
from monitor.page.access import ACCESS, Access, Cost
from monitor.page.advice import Advice
from monitor.page.app import Page, application
from monitor.page.watcher import Watcher

log = logging.getLogger(__name__)

PHONES = 200
"""Connections at once; more are told to come again (503)."""


def access_of(folder: Path) -> Access:
    """The accounts kept in a folder."""
    if not folder.is_dir():
        raise HoldwaterError(f"{folder} is no folder; name one with --state or --accounts")
    return Access(folder / ACCESS, _wall, boottime, Cost())


def _wall() -> float:
    return board_time(always_trusted).utc


def serve(
    state: Path, accounts: Path, advice: Path, host: str, port: int, behind_tls: bool
) -> None:
    """Serve until stopped."""
    access = access_of(accounts)
    if not access.has_accounts():
        log.warning("page=nobody_can_log_in remedy='let somebody in: holdwater admit PERSON'")
    page = Page(state, access, Watcher(state, boottime), Advice(advice), behind_tls)
    config = uvicorn.Config(
        application(page),
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        limit_concurrency=PHONES,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=3,
        server_header=False,
        date_header=True,
        lifespan="off",
        ws="none",
        proxy_headers=behind_tls,
        forwarded_allow_ips="127.0.0.1",
    )
    log.info("page=serving host=%s port=%d", host, port)
    uvicorn.Server(config).run()
