"""What the pages share on which a plan is written."""

import secrets
from datetime import datetime

from starlette.responses import Response

from reminders.web.page_frame import rendered
from reminders.web.write_desk import WriteDesk
from reminders.web.write_form import MOST_LETTERS


def desk_page(desk: WriteDesk, template: str, status: int = 200, /, **values: object) -> Response:
    """Return a page of a desk. Each is known by a name of its own, so that one that is older can be told."""
    return rendered(
        template,
        status,
        token=desk.form_token,
        version=desk.version,
        page_id=secrets.token_urlsafe(9),
        name=desk.name,
        path="" if desk.path is None else str(desk.path),
        messages=desk.messages,
        trouble=desk.trouble,
        longest_answer=MOST_LETTERS,
        **values,
    )


def told_time(desk: WriteDesk, seconds: float) -> str:
    """Return a moment on this computer's clock: ``14:05``, with the date if it is another day."""
    at, now = datetime.fromtimestamp(seconds).astimezone(), datetime.fromtimestamp(desk.now()).astimezone()
    return f"{at:%H:%M}" if at.date() == now.date() else f"{at:%Y-%m-%d %H:%M}"
