"""The calendar that phones subscribe to: ``/f/<token>/calendar.ics``, with the conditional requests of RFC 9110.

What is served is the file that was published last, byte for byte. While nothing can be compiled that is the last good one; a
calendar is never answered with an empty one, nor with "there is none": phones would delete what they have.
"""

import re
from collections.abc import Callable
from datetime import UTC, datetime
from email.utils import format_datetime, parsedate_to_datetime

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from reminders.daemon.desk import Desk
from reminders.feed_file import Body
from reminders.phones import Phone
from reminders.publishing import FEED_NAME
from reminders.web.guard import FEED_HEADERS, Gate, plain_errors, plain_page

FEED_PREFIX = "/f/"

ENTITY_TAG = re.compile(r'(W/)?("[\x21\x23-\x7e\x80-\xff]*")')
"""RFC 9110, 8.8.3."""

SETTLED = 2
"""Seconds after which no second change can fall into the second in which a file was changed."""


def feed_gate(desk: Desk) -> Gate:
    """Return the gate of the feed: below ``/f/<token>/``, one token for each phone."""
    return Gate(
        prefix=FEED_PREFIX,
        holder=desk.phones.find,
        app=plain_errors(feed_routes(desk)),
        headers=FEED_HEADERS,
    )


def feed_routes(desk: Desk) -> list[BaseRoute]:
    """Return what a phone finds below its address; ``scope["holder"]`` is the phone."""

    async def calendar(request: Request) -> Response:
        body = desk.feed.body()
        if body is None:
            return plain_page(503, {"Retry-After": "60"})
        phone: Phone = request.scope["holder"]
        answer = answered(request.headers, body, desk.now)
        if request.method == "GET" and answer.status_code in (200, 304):
            desk.phones.fetched(phone, body.etag)
        return answer

    return [Route(f"/{FEED_NAME}", calendar, methods=["GET", "HEAD"])]


def answered(headers: Headers, body: Body, now: Callable[[], float]) -> Response:
    """Return the answer to a GET or HEAD, its conditions taken in the order of RFC 9110, 13.2.2."""
    carried = {"ETag": body.etag, "Cache-Control": "private, no-cache"}
    # A moment that a second change might share is none to compare by (RFC 9110, 8.8.2.2).
    settled = body.changed < now() - SETTLED
    if settled:
        carried["Last-Modified"] = format_datetime(datetime.fromtimestamp(body.changed, UTC), usegmt=True)
    if "if-match" in headers:
        if not _names(headers, "if-match", body.etag, weakly=False):
            return plain_page(412)
    elif _passed(headers, "if-unmodified-since", body.changed) is False:
        return plain_page(412)
    if "if-none-match" in headers:
        unchanged = _names(headers, "if-none-match", body.etag, weakly=True)
    else:
        unchanged = settled and _passed(headers, "if-modified-since", body.changed) is True
    if unchanged:
        return Response(status_code=304, headers=carried)
    carried["Content-Disposition"] = f'inline; filename="{FEED_NAME}"'
    return Response(body.content, headers=carried, media_type="text/calendar; charset=utf-8")


def _names(headers: Headers, name: str, etag: str, *, weakly: bool) -> bool:
    """Say whether a list of entity tags names one (RFC 9110, 8.8.3.2); ``*`` names any."""
    said = ", ".join(headers.getlist(name)).strip()
    return said == "*" or any(tag == etag and (weakly or not weak) for weak, tag in ENTITY_TAG.findall(said))


def _passed(headers: Headers, name: str, changed: int) -> bool | None:
    """Say whether the date in a header is at or after a moment; None if it is not there, or no date."""
    said = headers.getlist(name)
    if len(said) != 1:
        return None
    try:
        date = parsedate_to_datetime(said[0])
    except (ValueError, OverflowError):
        return None
    return changed <= (date if date.tzinfo else date.replace(tzinfo=UTC)).timestamp()
