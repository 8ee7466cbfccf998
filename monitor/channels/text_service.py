"""A service that sends texts, as the set-up describes it: read, checked, and ready to be filled."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, TypeVar
from urllib.parse import quote

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import Message, Secrets, many_lines, one_line, read_options
from monitor.channels.meaning import plain_number
from monitor.channels.templates import Form, Json, Url, places, strange_place
from monitor.errors import Problem, SetupError
from monitor.setup import Channel

Template = TypeVar("Template")

LONGEST_DETAIL = 200

PAGE = "docs/reference/channels-text-gateway.md lists the options"

_HEADER = re.compile(r"([A-Za-z0-9-]{1,60}): ?([ -~]{1,2000})")
_PRINTABLE = re.compile(r"[ -~]*")


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class TextGatewayOptions:
    """One service. json, form: template of the body, one of them or none.

    plus: what stands for the + of a phone number. ok_path, ok_equals: where success stands in the
    answer, and how it looks. deadline: s over look-up, request and answer.
    """

    url: str
    method: Literal["POST", "PUT", "GET"] = "POST"
    headers: tuple[str, ...] = ()
    json: str = ""
    form: str = ""
    token_secret: str = ""
    user: str = ""
    password_secret: str = ""
    plus: Annotated[str, Field(max_length=4)] = "+"
    ok_path: str = ""
    ok_equals: str | tuple[str, ...] = ()
    plain_http: bool = False
    ca_file: str = ""
    deadline: Annotated[int | float, Field(gt=0, le=300)] = 30.0


@dataclass(frozen=True, slots=True)
class Service:
    """A service as it was understood, with its secrets."""

    options: TextGatewayOptions
    url: Url
    body: Json | Form | None
    headers: tuple[tuple[str, str], ...]
    token: str
    password: str

    def values(self, message: Message) -> dict[str, str]:
        """What is filled in for one text."""
        number = plain_number(message.person.phone)
        return {
            "to": self.options.plus + number[1:],
            "text": many_lines(message.body),
            "number": str(message.text.number),
            "token": self.token,
        }

    def shown(self, words: str) -> str:
        """Words of the service fit to be shown: on one line, short, without our secrets."""
        for secret in filter(None, (self.token, self.password)):
            for form in (secret, quote(secret, safe=""), json.dumps(secret)[1:-1]):
                words = words.replace(form, "***")
        return one_line(words)[:LONGEST_DETAIL]


def service_of(setup: Channel, secrets: Secrets) -> Service:
    """The service of a channel; SetupError with every problem."""
    place = f"channel {setup.id}"
    options, problems = read_options(TextGatewayOptions, setup.options, place)
    if options is None:
        raise SetupError(problems)
    wrong: list[tuple[str, str]] = []

    def read(key: str, make: Callable[[str], Template], text: str) -> Template | None:
        try:
            return make(text)
        except (ValueError, RecursionError) as error:
            wrong.append((key, f"{error or 'cannot be read'}"))
            return None

    url = read("url", Url, options.url)
    body = read("json", Json, options.json) if options.json else None
    form = read("form", Form, options.form) if options.form else None
    headers, odd = _headers(options.headers)
    wrong += odd + _clashes(options, url, secrets)
    if url is None or wrong:
        raise SetupError([Problem(place, None, key, why, PAGE) for key, why in wrong])
    kind = body or form
    if kind is not None and "content-type" not in {name.lower() for name, _ in headers}:
        headers.append(("Content-Type", kind.content_type))
    return Service(
        options,
        url,
        kind,
        (*headers, ("Accept-Encoding", "identity")),
        secrets.get(options.token_secret, ""),
        secrets.get(options.password_secret, ""),
    )


def _headers(lines: tuple[str, ...]) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Names and values, and what is wrong; a line is not shown, for it may hold a secret."""
    headers, wrong = [], []
    for number, line in enumerate(lines, 1):
        found = _HEADER.fullmatch(line)
        if found is None:
            wrong.append(("headers", f"line {number} is not Name: value in plain letters"))
        elif found[1].lower() == "authorization" and "token" not in places(line):
            wrong.append(("headers", f"line {number}: the secret belongs in {{token}}"))
        else:
            headers.append((found[1], found[2]))
    return headers, wrong


def _clashes(
    options: TextGatewayOptions, url: Url | None, secrets: Secrets
) -> list[tuple[str, str]]:
    """What no single option shows, as pairs of key and what is wrong."""
    templates = [options.url, options.json, options.form, *options.headers]
    used = set().union(*map(places, templates))
    strange = next(filter(None, map(strange_place, templates)), "")
    token = secrets.get(options.token_secret, "")
    is_plain = url is not None and url.parts.scheme == "http"
    in_headers = set().union(*map(places, options.headers))
    checks = (
        (bool(options.json and options.form), "form", "json is given too; a request has one body"),
        (
            options.method == "GET" and bool(options.json or options.form),
            "method",
            "GET has no body; put the places into url",
        ),
        (
            not {"to", "text"} <= used,
            "json",
            "neither url nor body has {to} and {text}, so nothing would arrive",
        ),
        (bool(strange), "url", f"{{{strange}}} is no place; there are to, text, number, token"),
        (
            bool({"to", "text"} & in_headers),
            "headers",
            "may hold {token} and {number} only",
        ),
        *_secret_checks(options, used, secrets),
        (
            bool(token) and "token" in in_headers and not _PRINTABLE.fullmatch(token),
            "token_secret",
            "the secret holds letters that no header carries",
        ),
        (
            is_plain and not options.plain_http,
            "url",
            "begins with http: texts and secrets would cross the net in clear; use https, or say "
            "plain_http = true for a device in your own net",
        ),
        (bool(options.ca_file) and is_plain, "ca_file", "is of no use without https"),
        (
            bool(options.ca_file) and not Path(options.ca_file).is_absolute(),
            "ca_file",
            f"{options.ca_file!r} is not a full path; begin it with /",
        ),
        (not re.fullmatch(r"[+0-9]*", options.plus), "plus", "is + or digits, or empty"),
        (
            bool(options.ok_equals) and not options.ok_path,
            "ok_equals",
            "needs ok_path, the way to the value",
        ),
    )
    return [(key, why) for is_so, key, why in checks if is_so]


def _secret_checks(
    options: TextGatewayOptions, used: set[str], secrets: Secrets
) -> tuple[tuple[bool, str, str], ...]:
    missing = [
        (bool(name) and name not in secrets, key, f"there is no secret named {name!r}; add it")
        for key, name in (
            ("token_secret", options.token_secret),
            ("password_secret", options.password_secret),
        )
    ]
    return (
        *missing,
        ("token" in used and not options.token_secret, "token_secret", "is wanted for {token}"),
        (bool(options.token_secret) and "token" not in used, "token_secret", "is used nowhere"),
        (
            not (options.user + secrets.get(options.password_secret, "")).isascii(),
            "user",
            "or its password holds letters beyond ASCII, which not every service reads alike",
        ),
        (
            bool(options.user) != bool(options.password_secret),
            "user",
            "is wanted together with password_secret; give both, or neither",
        ),
    )
