"""The door through which a browser comes from a pop-up or from the command ``page``: an address that works once."""

import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from reminders.daemon.once import Once
from reminders.web.guard import Gate, plain_errors, plain_page


class Entered(Protocol):
    """What is entered through such an address."""

    @property
    def home(self) -> str:
        """Return the address that lasts."""

    @property
    def changed(self) -> Callable[[], None]:
        """Return what is called when one was used up."""


def once_gate(desk: Entered, once: Once) -> Gate:
    """Return the gate of ``/once/<token>/``, which leads to the page and uses the token up."""

    async def enter(request: Request) -> Response:
        token = request.scope["root_path"].rpartition("/")[2]
        if request.method != "GET" or _of_another_user(request.scope) or not once.redeem(token):
            return plain_page(404)
        desk.changed()  # the command is given a new one
        return RedirectResponse(desk.home, 303)

    return Gate(
        prefix="/once/",
        holder=lambda token: once if once.waits(token) else None,
        app=plain_errors([Route("/", enter, methods=["GET"])]),
    )


def _of_another_user(scope: Mapping[str, Any]) -> bool:
    """Say whether a call comes from a process of another user of this computer, as far as the system tells (Linux, proc(5)).

    Who reads a browser's arguments at the right moment could come before the browser.
    """
    ends = f":{scope['client'][1]:04X}", f":{scope['server'][1]:04X}"
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        with suppress(OSError):
            for line in Path(table).read_text().splitlines()[1:]:
                words = line.split()
                if words[1].endswith(ends[0]) and words[2].endswith(ends[1]):
                    return int(words[7]) != os.getuid()
    return False
