"""What comes in with a request: fields of a form, an address to go back to, where it comes from."""

import re

from starlette.requests import Request

LONGEST_FORM = 16_384
"""Bytes of a form without files."""

_LOCAL = re.compile(r"/(?:[a-z0-9-]+(?:/[a-z0-9-]+)*)?")


def local(path: str) -> str:
    """An address within this page, the front page for any other."""
    return path if _LOCAL.fullmatch(path) and not path.startswith("/do/") else "/"


async def fields_of(request: Request) -> dict[str, str]:
    """The fields of a form that are text; none of a form that is too long."""
    size = request.headers.get("content-length", "")
    if not size.isdigit() or int(size) > LONGEST_FORM:
        return {}
    form = await request.form(max_files=0, max_fields=50)
    return {key: value for key, value in form.items() if isinstance(value, str)}


def address_of(request: Request) -> str:
    """Where a request comes from, for pauses after wrong passwords."""
    return request.client.host if request.client is not None else ""
