"""Signs of life by HTTPS: each is one POST to somebody who listens at another site."""

from typing import Annotated
from urllib.parse import urlsplit

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import (
    Delivery,
    Message,
    Secrets,
    checked_options,
    no_full_path,
    no_secret,
    one_line,
    wrong_in,
)
from monitor.channels.beacon import NO_TEXTS
from monitor.errors import Problem
from monitor.setup import Channel
from monitor.sign import Sign, to_json

TIMEOUTS = (5.0, 10.0)
"""Seconds for the connection, and between two pieces of the answer."""


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class SignHttpOptions:
    """One address. every: s between two signs. plain_http: allows http: in one's own net."""

    url: Annotated[str, Field(min_length=8)]
    token_secret: Annotated[str, Field(min_length=1)]
    ca_file: str = ""
    plain_http: bool = False
    every: Annotated[int | float, Field(ge=1, le=300)] = 60.0


class SignHttpChannel:
    """One address. Building it checks options and secret; SetupError names all."""

    def __init__(self, setup: Channel, secrets: Secrets) -> None:
        self.id = setup.id
        self._options = options = checked_options(SignHttpOptions, setup, secrets, _clashes)
        self.every = float(options.every)
        self._token = secrets[options.token_secret]

    def send(self, _message: Message) -> Delivery:
        return Delivery("refused", NO_TEXTS)

    def send_sign(self, sign: Sign) -> str:
        import requests

        try:
            with requests.Session() as session:
                session.trust_env = False
                session.verify = self._options.ca_file or True
                answer = session.post(
                    self._options.url,
                    data=to_json(sign),
                    headers={
                        "Authorization": f"Bearer {self._token}",
                        "Content-Type": "application/json",
                    },
                    timeout=TIMEOUTS,
                    allow_redirects=False,
                )
        except (requests.RequestException, OSError) as error:
            return one_line(f"{type(error).__name__}: {error}")[:150]
        return "" if 200 <= answer.status_code < 300 else f"answered {answer.status_code}"


def _clashes(options: SignHttpOptions, secrets: Secrets, place: str) -> list[Problem]:
    """What no single option shows."""
    token = secrets.get(options.token_secret, "")
    try:
        parts = urlsplit(options.url)
        scheme = parts.scheme if parts.hostname and parts.port != 0 else ""
    except ValueError:
        scheme = ""
    checks = (
        no_secret("token_secret", options.token_secret, secrets),
        (not (token.isascii() and token.isprintable()), "token_secret",
         "the secret holds letters that no header carries", "Use plain letters and digits"),
        (scheme not in ("http", "https"), "url", "is not an address",
         "Write it as https://far.example.org:8443/life"),
        (scheme == "http" and not options.plain_http, "url",
         "begins with http: the token would cross the net in clear",
         "Use https, or say plain_http = true in your own net"),
        no_full_path("ca_file", options.ca_file),
    )  # fmt: skip
    return wrong_in(place, checks)
