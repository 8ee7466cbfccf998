"""What a browser may do with an answer of the page (OWASP ASVS 5.0, 3.4.3 to 3.4.6)."""

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send


def policy(nonce: str = "") -> str:
    """What a browser may do with an answer; style and script of a page carry its nonce."""
    own = f"'nonce-{nonce}'" if nonce else "'none'"
    return (
        f"default-src 'none'; style-src {own}; script-src {own}; img-src 'self' data:;"
        " connect-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none';"
        " frame-ancestors 'none'"
    )


HEADERS = {
    "Content-Security-Policy": policy(),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""With TLS in front, Strict-Transport-Security is the matter of what ends the TLS."""


class Dressed:
    """Puts the headers on every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, dressed)
