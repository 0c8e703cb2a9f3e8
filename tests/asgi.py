"""Asks an ASGI app one request after the other, without a network."""

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import httpx
from starlette.types import ASGIApp

HERE = "http://127.0.0.1:4870"


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
