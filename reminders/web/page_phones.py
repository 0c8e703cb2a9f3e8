"""The page about phones: which subscribe, how to add one, a test alarm, and what each kind of phone makes of it all."""

from dataclasses import dataclass

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from reminders import phone_words
from reminders.daemon.desk import Desk
from reminders.files import FileError
from reminders.household import NotInUseError
from reminders.phones import LONGEST_NAME, Phone, PhonesError
from reminders.publishing import FEED_NAME, TESTS, current_test, publish_feed, test_at
from reminders.record.store import RecordError
from reminders.views.kept_current import TEST_STAYS
from reminders.web.feed import FEED_PREFIX
from reminders.web.guard import posted
from reminders.web.page_frame import moment_of, page
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

TEST_WORDS = {
    "soon": _("In about 10 minutes"),
    "hour": _("In about an hour"),
    "tomorrow": _("Tomorrow at this time"),
}
"""When a test alarm can be, in words."""


@dataclass(frozen=True, slots=True)
class _Way:
    """One address that a phone is to be given, as it is tapped, and as the code that a camera reads."""

    address: str
    link: str
    code: Markup


def phone_routes(desk: Desk) -> list[BaseRoute]:
    """Return the routes of the page about phones, to be served with those of the page."""

    async def show(request: Request) -> Response:
        return _phones(desk, request.query_params.get("shown", ""))

    async def add(request: Request, form: FormData) -> Response:
        try:
            phone = desk.phones.add(_text(form, "name"))
        except PhonesError as error:
            return _phones(desk, problem=str(error), typed=_text(form, "name"))
        return _to(f"phones?shown={_number(desk, phone)}#phone-{_number(desk, phone)}")

    async def remove(request: Request, form: FormData) -> Response:
        try:
            desk.phones.revoke(_text(form, "name"))
        except PhonesError as error:
            return _phones(desk, problem=str(error))
        return _to("phones")

    async def test(request: Request, form: FormData) -> Response:
        minutes = TESTS.get(_text(form, "when"))
        if minutes is None:
            return _phones(desk, problem=_("Choose when the test alarm is to ring."))
        now = desk.keeper.instant
        at = test_at(now, minutes)
        try:
            desk.keeper.took(publish_feed(desk.keeper.household, desk.feed.folder, now, at))
        except (FileError, RecordError, NotInUseError) as error:
            return _phones(desk, problem=str(error))
        desk.changed()
        return _to("phones#test")

    return [
        Route("/phones", show, methods=["GET"]),
        Route("/phone-add", posted(desk, add), methods=["POST"]),
        Route("/phone-remove", posted(desk, remove), methods=["POST"]),
        Route("/phone-test", posted(desk, test), methods=["POST"]),
    ]


def address_beginnings(desk: Desk) -> tuple[str, ...]:
    """Return the beginnings of the feed's addresses: those for phones, or else the one for this computer alone."""
    return tuple(desk.feeds) or (desk.home.removesuffix(f"/{desk.secret}/") + FEED_PREFIX,)


def _phones(desk: Desk, shown: str = "", problem: str = "", typed: str = "") -> Response:
    plan, now = desk.keeper.schedule.plan, desk.now()
    body = desk.feed.body()
    test = current_test(desk.keeper.household, desk.feed.folder)
    if test is not None and desk.keeper.instant >= test + TEST_STAYS:
        test = None
    phones = []
    for number, phone in enumerate(desk.phones.all(), start=1):
        phones.append(
            {
                "number": number,
                "name": phone.name,
                "asked": phone_words.asked_words(phone, now),
                "current": body is not None and phone.has == body.etag,
                "fetched": phone.fetched is not None,
                "silent": phone_words.silent_words(phone) if phone_words.silent(phone, plan, now) else "",
                "ways": [_way_to_feed(begin, phone) for begin in address_beginnings(desk)],
                "shown": str(number) == shown,
            }
        )
    return page(
        desk,
        "phones.html",
        here="phones",
        status=400 if problem else 200,
        problem=problem,
        trouble=desk.phones.trouble,
        phones=phones,
        typed=typed,
        longest_name=LONGEST_NAME,
        reachable=bool(desk.feeds),
        encrypted=any(begin.startswith("https:") for begin in desk.feeds),
        pages=[_way(address, address, _("Code that opens the reminder page")) for address in desk.pages],
        said=phone_words,
        tests=[
            (name, TEST_WORDS[name], moment_of(desk, test_at(desk.keeper.instant, ahead)))
            for name, ahead in TESTS.items()
        ],
        test=() if test is None else phone_words.test_asked_words(plan, test),
    )


def _way_to_feed(begin: str, phone: Phone) -> _Way:
    address = f"{begin}{phone.token}/{FEED_NAME}"
    return _way(address, phone_words.webcal(address), _("Code that subscribes {name}").format(name=phone.name))


def _way(address: str, link: str, title: str) -> _Way:
    import segno  # needed on this page alone, and it brings much with it

    code = segno.make(link, error="m", micro=False)
    drawn = code.svg_inline(
        scale=5, border=4, dark="#000", light="#fff", svgclass=None, lineclass=None,
        title=title,
    )  # fmt: skip
    return _Way(address, link, Markup(drawn))


def _text(form: FormData, name: str) -> str:
    value = form.get(name)
    return value if isinstance(value, str) else ""


def _number(desk: Desk, phone: Phone) -> int:
    """Return a phone's place in the list; its name has no business in an address."""
    return next(number for number, one in enumerate(desk.phones.all(), start=1) if one.token == phone.token)


def _to(address: str) -> Response:
    return RedirectResponse(address, 303)
