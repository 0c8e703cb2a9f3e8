"""The household's page: what is due, what happened, and everything beside it. Its addresses, one level deep.

The page is usable without scripts; what a live page can do besides stands in ``static/page.js``.
"""

from collections.abc import Awaitable, Callable, Sequence

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from reminders.daemon.desk import Desk
from reminders.web import page_days
from reminders.web.guard import posted
from reminders.web.page_event import event
from reminders.web.page_frame import page, static_files
from reminders.web.page_live import now_page, state
from reminders.web.page_phones import phone_routes
from reminders.web.page_report import Reports
from reminders.web.page_say import fresh_key, other_page, say_page, sign_buttons
from reminders.web.page_supplies import supplies_view
from reminders.words import caution_lines, lumen_words

STATIC = ("page.css", "page.js", "icon.svg")
"""Files that are served as they are."""

LOOK_EVERY = 15.0
"""Seconds between two looks of an open page whether something has changed."""

View = Callable[[Desk, Request], Response]


def page_routes(desk: Desk, *, look_every: float = LOOK_EVERY) -> list[BaseRoute]:
    """Return the page's routes, to be served below a secret address (:func:`reminders.web.guard.page_gate`).

    ``look_every``: seconds between two looks of an open page whether something has changed.
    """
    reports = Reports(desk, lambda by: now_page(desk, look_every, by=by, unsaid=True))
    views: Sequence[tuple[str, View]] = (
        ("/", lambda desk, request: now_page(desk, look_every)),
        ("/state", state),
        ("/event", event),
        ("/say", _say),
        ("/other", lambda desk, request: other_page(desk)),
        ("/signs", _signs),
        ("/day", page_days.day),
        ("/week", page_days.week),
        ("/history", page_days.history),
        ("/history.csv", page_days.history_table),
        ("/supplies", supplies_view),
        ("/answer", reports.answer),
    )
    return [
        *(Route(path, _fresh(desk, view), methods=["GET"]) for path, view in views),
        Route("/report", posted(desk, reports.report), methods=["POST"]),
        Route("/words", posted(desk, reports.words), methods=["POST"]),
        Route("/undo", posted(desk, reports.undo), methods=["POST"]),
        *phone_routes(desk),
        static_files(STATIC),
    ]


def _fresh(desk: Desk, view: View) -> Callable[[Request], Awaitable[Response]]:
    """Return a view that sees what was recorded elsewhere a moment ago."""

    async def endpoint(request: Request) -> Response:
        if desk.keeper.refresh():
            desk.changed()
        return view(desk, request)

    return endpoint


def _say(desk: Desk, request: Request) -> Response:
    return say_page(desk, {name: request.query_params.getlist(name) for name in request.query_params})


def _signs(desk: Desk, request: Request) -> Response:
    plan = desk.keeper.schedule.plan
    lumen = request.query_params.get("lumen", "")
    if lumen not in plan.lumens:
        lumen = ""
    return page(
        desk,
        "signs.html",
        here="signs",
        cautions=caution_lines(plan),
        lumen=lumen_words(plan, lumen) if lumen else "",
        buttons=sign_buttons(lumen),
        key=fresh_key(),
    )
