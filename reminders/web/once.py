"""The door through which a browser comes from a pop-up or from the command ``page``: an address that works once."""

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from reminders.daemon.desk import Desk
from reminders.daemon.once import Once
from reminders.web.guard import Gate, plain_errors, plain_page


def once_gate(desk: Desk, once: Once) -> Gate:
    """Return the gate of ``/once/<token>/``, which leads to the page and uses the token up."""

    async def enter(request: Request) -> Response:
        token = request.scope["root_path"].rpartition("/")[2]
        return RedirectResponse(desk.home, 303) if once.redeem(token) else plain_page(404)

    return Gate(
        prefix="/once/",
        holder=lambda token: once if once.waits(token) else None,
        app=plain_errors([Route("/", enter, methods=["GET"])]),
    )
