"""What all pages share: the templates, what stands on every page, and texts made into HTML.

Templates and static files are read as data of the package. Every value is escaped; links are relative, so that the pages
work below any address.
"""

import mimetypes
import re
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote, urlencode

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from reminders.daemon.desk import Desk
from reminders.daemon.life import STALE
from reminders.places import command_for
from reminders.plan.model import TIERS, Contact, Plan
from reminders.read_back_words import read_back_words
from reminders.schedule.model import Schedule
from reminders.times import Instant
from reminders.units import ago
from reminders.web.page_forms import LONGEST
from reminders.web.page_times import short_time
from reminders.words import CATALOGUE, call_words, clock_words, moment_words, zone_words

_ = CATALOGUE.gettext


def data(folder: str, name: str) -> bytes:
    """Return a file that belongs to the package.

    Raises:
        FileNotFoundError: there is none of that name.
    """
    return files("reminders.web").joinpath(folder, name).read_bytes()


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FunctionLoader(lambda name: data("templates", name).decode()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals.update(_=_, query=query, longest=LONGEST)
    return made


def query(address: str, /, **values: str) -> str:
    """Return a relative address with its values, those that are not empty."""
    told = {name: value for name, value in values.items() if value}
    return f"{address}?{urlencode(told, quote_via=quote)}" if told else address


def tel(phone: str) -> str:
    """Return the address that calls a number (RFC 3966), from however the plan writes it."""
    return "tel:" + re.sub(r"[^0-9+*#]", "", phone)


class Linker:
    """Makes the numbers to call in a text into links; everything else in it is escaped."""

    def __init__(self, plan: Plan) -> None:
        """Know the contacts of a plan, the longest first, as one may hold another."""
        self._links = {
            str(escape(call_words(contact))): f'{escape(contact.who)}, <a href="{escape(tel(contact.phone))}">'
            f"{escape(contact.phone)}</a>"
            for contact in plan.contacts.values()
        }
        parts = sorted(self._links, key=len, reverse=True)
        self._any = re.compile("|".join(map(re.escape, parts)) or r"(?!)")

    def __call__(self, text: str) -> Markup:
        """Return a text as HTML."""
        return Markup(self._any.sub(lambda found: self._links[found[0]], str(escape(text))))


def contacts(plan: Plan) -> list[tuple[Contact, str]]:
    """Return whom to call, with the address that calls, the most urgent first."""
    return [(plan.contacts[tier], tel(plan.contacts[tier].phone)) for tier in TIERS if tier in plan.contacts]


def seconds_ago(seconds: float) -> str:
    """Say how long ago something was: ``12 s``, ``5 min``, ``3 h 20 min``, ``2 days``."""
    return _("{count} s").format(count=max(0, int(seconds))) if seconds < 60 else ago(int(seconds // 60))


def warnings(desk: Desk) -> list[str]:
    """Say what is wrong with the program itself, and what lies in the file and is not in use; often nothing."""
    health, keeper = desk.health(), desk.keeper
    found = []
    if keeper.trouble:
        found.append(
            _("The plan or its record cannot be read now, so this page shows what was known before. {why}").format(
                why=keeper.trouble
            )
        )
    late = desk.now() - (health.started if health.last_tick is None else health.last_tick)
    if late > STALE:
        found.append(
            _(
                "The program last looked at what is due {ago} ago. Reminders may not come: restart it, and go by the plan "
                "on paper until then."
            ).format(ago=seconds_ago(late))
        )
    if health.pop_ups:
        found.append(_("No reminder can pop up on this computer: {why}").format(why=health.pop_ups))
    if keeper.household.waiting is not None:
        found.append(
            _(
                "Revision {revision} of the plan lies in the file {file} and is not in use. Nothing changes before somebody "
                "says:  {command}"
            ).format(
                revision=keeper.household.waiting,
                file=keeper.household.path.name,
                command=command_for("record", keeper.household.path, "in use"),
            )
        )
    return found + [trouble for trouble in health.troubles if trouble != keeper.trouble]  # that one is said above


def page(desk: Desk, template: str, *, here: str = "", status: int = 200, **values: Any) -> HTMLResponse:
    """Return a page, with what all of them show. ``here`` names its entry of the navigation."""
    plan = desk.keeper.schedule.plan
    now = desk.keeper.instant
    context = {
        "here": here,
        "token": desk.form_token,
        "contacts": contacts(plan),
        "calls": {tier: (contact, tel(contact.phone)) for tier, contact in plan.contacts.items()},
        "linked": Linker(plan),
        "provider": plan.protocol.provider,
        "drawn": moment_words(plan.clock.local(now)),
        "clock": clock_words(plan.clock.local(now)),
        "zone": zone_words(plan.clock.local(now)),
        "warnings": warnings(desk),
        "revisions": revision_words(desk.keeper.schedule, now),
        "read_back": read_back_words(desk.keeper.schedule.revision_at(now)),
        **values,
    }
    return rendered(template, status, **context)


def rendered(template: str, status: int = 200, /, **values: Any) -> HTMLResponse:
    """Return a page of a template and values alone."""
    return HTMLResponse(_environment().get_template(template).render(values), status)


def static_files(names: Iterable[str]) -> Route:
    """Return the route of the files that are served as they are, and of no others."""
    served = frozenset(names)

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in served:
            return Response(status_code=404)
        kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
        return Response(data("static", name), media_type=kind, headers={"Cache-Control": "private, no-cache"})

    return Route("/static/{name}", static, methods=["GET"])


def revision_words(schedule: Schedule, now: Instant) -> str:
    """Say which revision of the plan is in force, and from when on another one is that is in use already."""
    plan = schedule.plan
    said = _("Plan revision {revision}").format(revision=schedule.plan_at(now).course.revision)
    for begins, later in schedule.plans:
        if begins > now:
            at = short_time(plan, begins, now)
            said += _("; revision {revision} from {at} on").format(revision=later.course.revision, at=at)
    return said + "."


def coming_words(schedule: Schedule, now: Instant) -> str:
    """Say that a revision in use takes effect later; nothing if none does."""
    later = next(((begins, plan) for begins, plan in schedule.plans if begins > now), None)
    if later is None:
        return ""
    return _(
        "Revision {revision} of the plan is in use and takes effect later: from {at} on. Until then revision {before} holds."
    ).format(
        revision=later[1].course.revision,
        at=short_time(schedule.plan, later[0], now),
        before=schedule.plan_at(now).course.revision,
    )


def lines_of(texts: Iterable[str]) -> list[str]:
    """Return texts as the page says them: without the blanks that set them in for a terminal, and without commands."""
    return [said for text in texts if (said := without_commands(text.strip()))]


def without_commands(text: str) -> str:
    """Return a text without the sentences that tell what to type; there, two blanks stand before the words to be typed."""
    if "  " not in text:
        return text
    sentences = re.split(r"(?<=[.?!]) (?=[^ a-z.])", text)
    return " ".join(sentence for sentence in sentences if "  " not in sentence)


def moment_of(desk: Desk, at: Instant) -> str:
    """Write an instant on the household's clock, with its day."""
    return moment_words(desk.keeper.schedule.plan.clock.local(at))
