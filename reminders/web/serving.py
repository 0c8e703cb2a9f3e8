"""Uvicorn as a guest in the daemon's event loop: it takes no signals, ticks no clock, and is not held up by slow callers."""

import asyncio
import contextlib
import socket
import ssl
from collections.abc import Generator
from typing import Any

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_CONNECTIONS = 100
"""So many connections are held open by one listener; further ones are closed. A household has a few phones."""

PATIENCE = 15.0
"""Seconds after which a caller is dropped who has begun a request and does not go on with it; at most twice that."""

KEEP_ALIVE = 5
"""Seconds that an idle connection is kept for a next request."""

BACKLOG = 32
"""So many callers wait to be let in, and are let in at one go."""

GRACE = 2
"""Seconds that answers under way are given when the daemon stops."""


class Door(socket.socket):
    """A listening socket that holds so many connections and no more: for a new caller the oldest gives way.

    They are counted here, since TLS has a connection open for a minute before anybody else hears of it.
    """

    _open: tuple[socket.socket, ...] = ()

    def accept(self) -> tuple[socket.socket, Any]:
        """Let a caller in."""
        caller, address = super().accept()
        held = [one for one in self._open if one.fileno() != -1]
        for one in held[: max(0, len(held) + 1 - MOST_CONNECTIONS)]:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        self._open = (*held[-MOST_CONNECTIONS + 1 :], caller)
        return caller, address


class Serving(uvicorn.Server):
    """One listener: an app on a socket that is already bound."""

    def __init__(self, app: ASGIApp, bound: socket.socket, tls: ssl.SSLContext | None = None) -> None:
        """Take an app and its socket; ``tls`` holds the certificate, if there is one."""
        super().__init__(
            uvicorn.Config(
                app,
                http=_Protocol,
                ws="none",
                lifespan="off",
                access_log=False,  # addresses hold secrets
                log_config=None,
                log_level="warning",
                proxy_headers=False,  # nobody says for somebody else where they call from
                server_header=False,
                date_header=False,
                backlog=BACKLOG,
                timeout_keep_alive=KEEP_ALIVE,
                timeout_graceful_shutdown=GRACE,
                ssl_context_factory=None if tls is None else (lambda _config, _default: tls),
            )
        )
        self._bound = bound
        self._ready, self._end = asyncio.Event(), asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Begin to listen; return when it does."""
        self._task = asyncio.create_task(self.serve(sockets=[self._bound]))
        ready = asyncio.create_task(self._ready.wait())
        await asyncio.wait({self._task, ready}, return_when=asyncio.FIRST_COMPLETED)
        if not self._ready.is_set():
            ready.cancel()
            self._task.result()

    async def stop(self) -> None:
        """Stop listening, and return when all is closed."""
        self.should_exit = True
        self._end.set()
        if self._task is not None:
            await self._task
        self._bound.close()

    @property
    def alive(self) -> bool:
        """Say whether it listens."""
        return self._task is not None and not self._task.done()

    @contextlib.contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        """Leave signals to the daemon; uvicorn would take them, and raise them once more when it has stopped."""
        yield

    async def main_loop(self) -> None:
        """Wait for the end. Uvicorn's own loop wakes ten times a second, to know the date for its answers."""
        self._ready.set()
        await self._end.wait()


class _Protocol(H11Protocol):
    """HTTP/1.1, without callers who hold a connection and say nothing."""

    _timer: asyncio.TimerHandle | None = None
    _waited: object = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        if len(self.connections) > 2 * MOST_CONNECTIONS:  # where the system accepts past the door
            transport.abort()
            return
        self._timer = self.loop.call_later(PATIENCE, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
        super().connection_lost(exc)

    def _look(self) -> None:
        """Drop a caller on whom has been waited since the last look; an idle connection that may be used again has a
        time-out of its own."""
        answered = self.cycle is None or self.cycle.response_complete
        waits = answered and self.timeout_keep_alive_task is None
        mark = (self.cycle, "waits") if waits else None
        if waits and self._waited == mark:
            self.transport.abort()
            return
        self._waited = mark
        self._timer = self.loop.call_later(PATIENCE, self._look)
