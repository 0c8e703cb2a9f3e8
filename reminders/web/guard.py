"""What stands between the network and this program's pages: who is let in, how often, and what every answer carries.

Every address holds a secret that nobody can guess (a *gate*); whoever does not know it gets the answer that any unknown
address gets. Against other websites in the household's own browser: the Host header must be one of ours (DNS
rebinding), a form must come from our own page (``Origin``, ``Sec-Fetch-Site``) and carry its token.
"""

import hmac
import html
import logging
import time
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from email.utils import formatdate
from typing import Protocol, TypeAlias

from starlette.applications import Starlette
from starlette.datastructures import FormData, Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from reminders.daemon.log import where
from reminders.web.limits import Limits
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

LOG = logging.getLogger(__name__)

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "::1")
"""What this computer calls itself."""

LARGEST_FORM = 64 * 1024
"""Bytes of a form; the longest that our pages send is a note."""

PAGE_HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    # Not no-referrer: with that a browser sends "Origin: null" with our own forms (Fetch, 3.2.2).
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cache-Control": "no-store",
}
"""What every answer of the page carries, unless a route has set its own."""

FEED_HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'; base-uri 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""The same for the feed, and for whatever is refused before anybody is let in."""

Handler: TypeAlias = Callable[[Request, FormData], Awaitable[Response]]

ERROR_WORDS: Mapping[int, str] = {
    400: _("This request cannot be understood."),
    403: _("This was not sent from the reminder page itself, so nothing was done. Open the page again and repeat it."),
    404: _("There is nothing at this address. Check that it was copied whole."),
    405: _("This address cannot be used in this way."),
    412: _("The calendar is another one by now."),
    413: _("This is too much for one form. Nothing was done; say it in fewer words."),
    415: _("This form was sent in a way that is not understood. Nothing was done."),
    421: _("This computer is not known here by that name. Use the address as it was given."),
    429: _("Too many requests in a short time. Wait a minute, then try again."),
    500: _("Something went wrong here. Go back and look whether it was done; if not, try again."),
    503: _("The calendar is not there yet. Try again in a minute."),
}
"""What a person reads when a request is refused; no word of it tells a secret."""


class Keyed(Protocol):
    """What has pages behind a secret, with a token in every form of theirs."""

    @property
    def secret(self) -> str:
        """Return what the pages' address begins with."""

    @property
    def form_token(self) -> str:
        """Return what every form of theirs carries."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """One thing that is served behind a secret.

    Its addresses are ``prefix``, the secret, and what ``app`` serves below that. ``holder`` returns whom a secret belongs to,
    None for nobody; the app finds it as ``request.scope["holder"]``. It must compare in constant time (:func:`same`).
    """

    prefix: str
    holder: Callable[[str], object | None]
    app: ASGIApp
    headers: Mapping[str, str] = field(default_factory=lambda: PAGE_HEADERS)


def same(given: str, right: str) -> bool:
    """Compare a secret in constant time; whatever was given, of any letters."""
    return hmac.compare_digest(given.encode("utf-8", "surrogatepass"), right.encode())


def plain_page(status: int, headers: Mapping[str, str] | None = None) -> Response:
    """Return the short page that says why a request was refused."""
    words = html.escape(ERROR_WORDS.get(status, ERROR_WORDS[500 if status >= 500 else 400]))
    content = (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{words}</title></head><body><h1>{words}</h1></body></html>\n"
    )
    return Response(content, status, headers, media_type="text/html; charset=utf-8")


def plain_errors(routes: Sequence[BaseRoute]) -> Starlette:
    """Return routes as an app whose errors are plain pages; a route may raise Starlette's ``HTTPException``."""

    def said(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException), "only these are handed over"
        return plain_page(error.status_code, error.headers)

    def failed(request: Request, error: Exception) -> Response:
        return plain_page(500)  # and the error goes on, to be logged by guarded

    app = Starlette(routes=routes, exception_handlers={HTTPException: said, Exception: failed})
    app.router.redirect_slashes = False
    return app


def page_gate(desk: Keyed, routes: Sequence[BaseRoute]) -> Gate:
    """Return the gate of the pages of a desk: below ``/<secret>/``."""
    return Gate(
        prefix="/",
        holder=lambda given: desk if same(given, desk.secret) else None,
        app=plain_errors(routes),
    )


def guarded(
    gates: Sequence[Gate],
    *,
    hosts: Iterable[str] = (),
    limits: Limits | None = None,
    now: Callable[[], float] = time.time,
) -> ASGIApp:
    """Return an ASGI app that serves what is behind some gates, and nothing else.

    ``hosts``: names and addresses, besides this computer's own, by which it may be called; the address that a caller has
    really reached is always one. ``now``: seconds since 1970, for the date of each answer. Requests are limited by
    ``limits``; none of it ever keeps out whoever knows one, however many wrong ones come from the same address: any
    website can make the household's own browser send those.
    """
    known = frozenset(name.lower() for name in (*LOOPBACK_NAMES, *hosts))
    limits = limits or Limits()

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        client = scope["client"][0] if scope.get("client") else ""
        answer = _Answer(send, now)
        try:
            reached = scope["server"][0] if scope.get("server") else ""  # a laptop gets another one now and then
            if _host(Headers(scope=scope)) not in {*known, reached} - {""}:
                await plain_page(421)(scope, receive, answer.send)
                return
            entered = _enter(gates, scope["path"])
            if entered is None:
                refused = limits.wrong(client)
                await _refused(404, refused)(scope, receive, answer.send)
                return
            gate, holder, root = entered
            answer.headers = gate.headers
            if wait := limits.right(
                f"{gate.prefix} {client}"
            ):  # what asks for the feed does not keep the page from anybody
                await _refused(404, wait)(scope, receive, answer.send)
                return
            inner = {**scope, "root_path": root, "holder": holder}
            if scope["path"] == root:  # links on the page are relative, so its address must end in a slash
                await RedirectResponse(f"{root}/", 308)(inner, receive, answer.send)
                return
            await gate.app(inner, receive, answer.send)
        except ClientDisconnect:
            return
        except Exception as error:  # no fault of a page stops the daemon; what it holds may be private
            LOG.error("A request failed: %s", where(error))
            if not answer.started:
                await plain_page(500)(scope, receive, answer.send)

    return app


def posted(
    desk: Keyed, handler: Handler, *, largest: int = LARGEST_FORM, fields: int = 500, files: int = 0
) -> Callable[[Request], Awaitable[Response]]:
    """Return the endpoint of a form: ``handler`` is asked only if the form was sent by our own page.

    The form carries a field ``token`` with the value of ``desk.form_token``. It has at most ``largest`` bytes with all its
    ``fields`` and ``files``, of which there are no more than so many.
    """

    async def endpoint(request: Request) -> Response:
        if request.method != "POST":
            return plain_page(405, {"Allow": "POST"})
        if not _from_here(request):
            return plain_page(403)
        body = await _body(request, largest)
        if body is None:
            # What is not read must not be taken for the next request.
            return plain_page(413, {"Connection": "close"})
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if kind not in ("application/x-www-form-urlencoded", "multipart/form-data"):
            return plain_page(415)
        again = Request(request.scope, _replayed(body))
        async with again.form(max_files=files, max_fields=fields, max_part_size=largest) as form:
            given = form.get("token")
            if not isinstance(given, str) or not same(given, desk.form_token):
                return plain_page(403)
            return await handler(again, form)

    return endpoint


class _Answer:
    """What is sent, with the headers that every answer carries. The body of a HEAD is left out by the server."""

    def __init__(self, send: Send, now: Callable[[], float]) -> None:
        self.headers: Mapping[str, str] = FEED_HEADERS
        self.started = False
        self._send, self._now = send, now

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            carried = MutableHeaders(scope=message)
            for name, value in {**self.headers, "Date": formatdate(self._now(), usegmt=True)}.items():
                carried.setdefault(name, value)
        await self._send(message)


def _refused(status: int, wait: float) -> Response:
    return plain_page(429, {"Retry-After": str(int(wait) + 1)}) if wait else plain_page(status)


def _enter(gates: Sequence[Gate], path: str) -> tuple[Gate, object, str] | None:
    """Return the gate that a path leads through, whose secret it names, and the path as far as that."""
    for gate in gates:
        if path.startswith(gate.prefix):
            given = path[len(gate.prefix) :].partition("/")[0]
            holder = gate.holder(given)
            if holder is not None:
                return gate, holder, gate.prefix + given
    return None


def _host(headers: Headers) -> str:
    """Return the name in the Host header (RFC 9110, 7.2) without its port; empty if there is none, or more than one."""
    said = headers.getlist("host")
    if len(said) != 1:
        return ""
    name = said[0].strip().lower()
    if name.startswith("["):  # an IPv6 address
        return name[1:].partition("]")[0]
    return name.rpartition(":")[0] if ":" in name else name


def _from_here(request: Request) -> bool:
    """Say whether a form can come from our own page. A browser that says neither is left to the form's token.

    Another port of this computer is another origin, though browsers call it the same site.
    """
    origins = request.headers.getlist("origin")
    here = f"{request.url.scheme}://{request.headers['host'].strip().lower()}"
    if any(origin.strip().lower() != here for origin in origins):
        return False
    return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")


async def _body(request: Request, largest: int) -> bytes | None:
    """Return the body of a request; None if it is larger than so many bytes, however large it says that it is."""
    said = request.headers.get("content-length", "0")
    if not said.isascii() or not said.isdigit() or int(said) > largest:
        return None
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > largest:
            return None
    return bytes(body)


def _replayed(body: bytes) -> Receive:
    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    return receive
