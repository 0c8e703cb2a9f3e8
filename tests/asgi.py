"""The page alone as an ASGI app, and requests to one, one after the other, without a network."""

import asyncio
from collections.abc import AsyncIterator, Iterable, Sequence
from typing import Any

import httpx
from starlette.routing import BaseRoute
from starlette.types import ASGIApp

from reminders.daemon.desk import Desk
from reminders.web.guard import guarded, page_gate
from reminders.web.limits import Limits

HERE = "http://127.0.0.1:4870"


def page_app(
    desk: Desk, routes: Sequence[BaseRoute], *, hosts: Iterable[str] = (), limits: Limits | None = None
) -> ASGIApp:
    """Return the page without the feed. ``hosts`` are names and addresses besides this computer's own."""
    return guarded([page_gate(desk, routes)], hosts=hosts, limits=limits, now=desk.now)


def ask(
    app: ASGIApp, method: str, path: str, *, base: str = HERE, client: str = "127.0.0.1", **wanted: Any
) -> httpx.Response:
    """Send one request and return the answer; an error of the app is an error of the test."""

    async def asked() -> httpx.Response:
        transport = httpx.ASGITransport(app, client=(client, 50000))
        async with httpx.AsyncClient(transport=transport, base_url=base) as http:
            return await http.request(method, path, **wanted)

    return asyncio.run(asked())


async def pieces(*parts: bytes) -> AsyncIterator[bytes]:
    """Yield a body in pieces, so that it is sent without a length."""
    for part in parts:
        yield part
