"""The page as an application: routes, who may see what, and the headers of every answer."""

import asyncio
import hmac
import json
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import wraps
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from monitor.errors import ControlError, HoldwaterError
from monitor.page.access import LONGEST, SHORTEST, Access, Denied, Visitor
from monitor.page.actions import ACTIONS, confirmation
from monitor.page.advice import Advice
from monitor.page.curves import SPANS, curves
from monitor.page.drawing import section
from monitor.page.forms import address_of, fields_of, local
from monitor.page.headers import Dressed, policy
from monitor.page.watcher import Watcher
from monitor.past import told

LIVE_EVERY = 2.0
"""Seconds between two looks for news of an open page."""


Handler = Callable[["Page", Request], Awaitable[Response]]
ForVisitors = Callable[["Page", Request, Visitor], Awaitable[Response]]


def _for_visitors(handler: ForVisitors) -> Handler:
    """A handler for people who have logged in; others are led to the door."""

    @wraps(handler)
    async def guarded(self: "Page", request: Request) -> Response:
        visitor = await self.visitor(request)
        return _to_log_in(request) if visitor is None else await handler(self, request, visitor)

    return guarded


class Page:
    """The handlers. behind_tls: whether people reach it by https, so that cookies may say so."""

    def __init__(
        self, state: Path, access: Access, watcher: Watcher, advice: Advice, behind_tls: bool
    ) -> None:
        self._state, self._access, self._watcher = state, access, watcher
        self._advice, self._behind_tls = advice, behind_tls
        self._cookie = "__Host-session" if behind_tls else "session"
        self._said: dict[str, str] = {}
        self._style, self._script = _static("page.css"), _static("live.js")
        self._words = Environment(
            loader=PackageLoader("monitor.page"),
            autoescape=select_autoescape(default=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )

    @property
    def routes(self) -> list[Route]:
        """Every address of the page; what changes anything is reached by POST only."""
        return [
            Route("/", self._front),
            Route("/main", self._main),
            Route("/live", self._live),
            Route("/event/{number:int}", self._event),
            Route("/curves/{span}", self._curves),
            Route("/tonight", self._tonight),
            Route("/aside", self._aside),
            Route("/do/{action}", self._do, methods=["POST"]),
            Route("/advice", self._advice_list),
            Route("/advice/{name}", self._advice_page),
            Route("/log-in", self._log_in, methods=["GET", "POST"]),
            Route("/first", self._first, methods=["GET", "POST"]),
            Route("/log-out", self._log_out, methods=["POST"]),
        ]

    # What is seen

    @_for_visitors
    async def _front(self, request: Request, visitor: Visitor) -> Response:
        inside = await self._inside(visitor)
        said = self._said.pop(visitor.token, "")
        return self._page("front.html", visitor, inside=inside, said=said, title="holdwater")

    async def _main(self, request: Request) -> Response:
        """The changing part of the front page alone."""
        visitor = await self.visitor(request)
        if visitor is None:
            return PlainTextResponse("Log in again.", 401)
        return HTMLResponse(await self._inside(visitor))

    async def _inside(self, visitor: Visitor) -> Markup:
        scene, why = await run_in_threadpool(self._watcher.scene)
        drawings = []
        if scene is not None:
            vessels = {vessel["id"]: vessel for vessel in scene["vessels"]}
            drawings = [Markup(section(water, vessels)) for water in scene["waters"]]
        template = self._words.get_template("inside.html")
        return Markup(
            template.render(
                scene=scene, why=why, drawings=drawings, visitor=visitor, advice=self._advice
            )
        )

    async def _live(self, request: Request) -> Response:
        """Server-sent events (WHATWG HTML, section 9.2): a line whenever the scene has changed."""
        if await self.visitor(request) is None:
            return PlainTextResponse("Log in again.", 401)
        return StreamingResponse(self._news(request), media_type="text/event-stream")

    async def _news(self, request: Request) -> AsyncIterator[str]:
        last = None
        while not await request.is_disconnected():
            scene, why = await run_in_threadpool(self._watcher.scene)
            seen = json.dumps(scene) if scene is not None else why
            if seen != last:
                last = seen
                yield "data: changed\n\n"
            else:
                yield ": still here\n\n"
            await asyncio.sleep(LIVE_EVERY)

    @_for_visitors
    async def _event(self, request: Request, visitor: Visitor) -> Response:
        number = request.path_params["number"]
        scene, _ = await run_in_threadpool(self._watcher.scene)
        events = scene["events"] if scene is not None else []
        event = next((event for event in events if event["number"] == number), None)
        try:
            story = await run_in_threadpool(told, self._state, number)
        except HoldwaterError as error:
            story = [str(error)]
        said = self._said.pop(visitor.token, "")
        return self._page(
            "event.html",
            visitor,
            event=event,
            number=number,
            story=story,
            said=said,
            title=f"Event {number}",
        )

    @_for_visitors
    async def _tonight(self, _request: Request, visitor: Visitor) -> Response:
        """Duty, swaps, who sleeps on site, storm footing, a backup that runs."""
        return await self._with_scene(visitor, "tonight.html", "Tonight")

    @_for_visitors
    async def _aside(self, _request: Request, visitor: Visitor) -> Response:
        """What is put aside, and shelving one alarm."""
        return await self._with_scene(visitor, "aside.html", "Put aside")

    async def _with_scene(self, visitor: Visitor, template: str, title: str) -> Response:
        scene, why = await run_in_threadpool(self._watcher.scene)
        if scene is None:
            return self._trouble(visitor, why, 503)
        said = self._said.pop(visitor.token, "")
        return self._page(template, visitor, scene=scene, said=said, title=title)

    @_for_visitors
    async def _curves(self, request: Request, visitor: Visitor) -> Response:
        """The last hours, day, week or the whole run, from the record."""
        name = request.path_params["span"]
        if name not in SPANS:
            return self._trouble(visitor, "There is no such span.", 404)
        scene, _ = await run_in_threadpool(self._watcher.scene)
        now = scene["utc"] if scene is not None else self._access.now()
        try:
            drawn = await run_in_threadpool(curves, self._state, name, now)
        except HoldwaterError as error:
            return self._trouble(visitor, str(error), 503)
        return self._page("curves.html", visitor, drawn=drawn, spans=SPANS, title="Curves")

    @_for_visitors
    async def _advice_list(self, request: Request, visitor: Visitor) -> Response:
        return self._page(
            "advice-list.html", visitor, pages=self._advice.titles, title="What to do"
        )

    @_for_visitors
    async def _advice_page(self, request: Request, visitor: Visitor) -> Response:
        text = self._advice.page(request.path_params["name"])
        if text is None:
            return self._trouble(visitor, "There is no such page.", 404)
        return self._page("advice.html", visitor, text=text, title="What to do")

    # What is done

    @_for_visitors
    async def _do(self, request: Request, visitor: Visitor) -> Response:
        action = ACTIONS.get(request.path_params["action"])
        if action is None:
            return self._trouble(visitor, "There is no such action.", 404)
        fields = await fields_of(request)
        if not hmac.compare_digest(fields.get("form", ""), visitor.form_token):
            return self._trouble(visitor, "This form is too old. Go back and press again.", 403)
        if not visitor.may(action.role):
            return self._trouble(visitor, "You may look, not act. Ask who set this up.", 403)
        try:
            await run_in_threadpool(self._watcher.tell, visitor.person, action.request(fields))
        except (Denied, ControlError) as error:
            return self._trouble(visitor, str(error), 409)
        self._said[visitor.token] = confirmation(action, fields)
        return RedirectResponse(local(fields.get("back", "/")), 303)

    async def _log_in(self, request: Request) -> Response:
        back = local(request.query_params.get("back", "/"))
        if request.method == "GET":
            return self._page("log-in.html", None, back=back, said="", title="Log in")
        fields = await fields_of(request)
        back = local(fields.get("back", "/"))
        try:
            visitor = await run_in_threadpool(
                self._access.log_in,
                fields.get("person", "").strip().lower(),
                fields.get("password", ""),
                address_of(request),
            )
        except Denied as error:
            return self._page("log-in.html", None, 403, back=back, said=str(error), title="Log in")
        return self._begun(visitor, back)

    async def _first(self, request: Request) -> Response:
        """The page for somebody who has a code and sets a password."""
        limits = {"shortest": SHORTEST, "longest": LONGEST}
        if request.method == "GET":
            return self._page("first.html", None, said="", title="Your password", **limits)
        fields = await fields_of(request)
        try:
            visitor = await run_in_threadpool(
                self._access.enter,
                fields.get("code", ""),
                fields.get("password", ""),
                address_of(request),
            )
        except Denied as error:
            said = str(error)
            return self._page("first.html", None, 403, said=said, title="Your password", **limits)
        return self._begun(visitor, "/")

    async def _log_out(self, request: Request) -> Response:
        visitor = await self.visitor(request)
        fields = await fields_of(request)
        if visitor is not None and hmac.compare_digest(fields.get("form", ""), visitor.form_token):
            await run_in_threadpool(self._access.log_out, visitor.token)
        response = RedirectResponse("/log-in", 303)
        response.delete_cookie(self._cookie, path="/", secure=self._behind_tls, httponly=True)
        return response

    # Helpers

    def _begun(self, visitor: Visitor, back: str) -> Response:
        response = RedirectResponse(back, 303)
        response.set_cookie(
            self._cookie,
            visitor.token,
            path="/",
            httponly=True,
            samesite="lax",
            secure=self._behind_tls,
            max_age=60 * 86_400,
        )
        return response

    async def visitor(self, request: Request) -> Visitor | None:
        """Who asks, by the cookie; None for nobody."""
        token = request.cookies.get(self._cookie, "")
        return await run_in_threadpool(self._access.visitor, token) if token else None

    def _page(
        self, template: str, visitor: Visitor | None, status: int = 200, **more: Any
    ) -> Response:
        nonce = secrets.token_urlsafe(16)
        text = self._words.get_template(template).render(
            visitor=visitor, nonce=nonce, style=self._style, script=self._script, **more
        )
        return HTMLResponse(text, status, {"Content-Security-Policy": policy(nonce)})

    def _trouble(self, visitor: Visitor, why: str, status: int) -> Response:
        return self._page("trouble.html", visitor, status, why=why, title="Not done")


def application(page: Page) -> Starlette:
    """The whole application."""

    async def failed(_request: Request, error: Exception) -> Response:
        return PlainTextResponse(f"{error}\n", 503)

    return Starlette(
        routes=page.routes,
        middleware=[Middleware(Dressed)],
        exception_handlers={HoldwaterError: failed},
    )


def _static(name: str) -> Markup:
    """Style or script of our own, which goes into the page as it is."""
    return Markup(files("monitor.page").joinpath("static", name).read_text("utf-8"))


def _to_log_in(request: Request) -> Response:
    back = local(request.url.path)
    return RedirectResponse("/log-in" if back == "/" else f"/log-in?back={back}", 303)
