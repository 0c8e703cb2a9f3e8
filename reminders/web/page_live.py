"""The page of now, and what an open page asks again and again: whether it is still right."""

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from reminders import phone_words
from reminders.daemon.desk import Desk
from reminders.daemon.journal import Raised
from reminders.phones import Phone
from reminders.times import minute_of
from reminders.web.page_cards import Tone
from reminders.web.page_frame import page, seconds_ago, warnings
from reminders.web.page_now import fingerprint, lumen_views
from reminders.web.page_report import last_report
from reminders.web.page_say import days, fresh_key, times
from reminders.words import CATALOGUE, caution_lines, clock_words, moment_words

_ = CATALOGUE.gettext


def now_page(desk: Desk, look_every: float) -> Response:
    """Show what is due, runs and comes next, lumen by lumen; below it how the program itself is."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    health = desk.health()
    views = lumen_views(schedule, now)
    phones = [_phone(phone, desk) for phone in desk.phones.all()]
    return page(
        desk,
        "now.html",
        here="now",
        lumens=[(view, [(fresh_key(), card) for card in view.cards]) for view in views],
        nothing_waits=all(view.tone >= Tone.RUNS for view in views),
        times=times(past=False),
        times_past=times(past=True),
        days=days(schedule.plan, now),
        last=last_report(desk),
        cautions=caution_lines(schedule.plan),
        shown=_shown(desk),
        look_every=look_every,
        phones=phones,
        phone_trouble=desk.phones.trouble,
        looked=_looked(desk),
        raised=[_raised(item, desk) for item in list(health.raised)[:5]],
    )


def _phone(phone: Phone, desk: Desk) -> tuple[str, str]:
    """Say when a phone last asked for the calendar, and what is to be looked into, if anything is."""
    plan, now = desk.keeper.schedule.plan, desk.now()
    silent = phone_words.silent_words(phone) if phone_words.silent(phone, plan, now) else ""
    return f"{phone.name} {phone_words.asked_words(phone, now)}.", silent


def _raised(item: Raised, desk: Desk) -> str:
    at = moment_words(desk.keeper.schedule.plan.clock.local(minute_of(item.at)))
    if item.shown:
        return _("{at}: {title}").format(at=at, title=item.title)
    return _("{at}: {title} - not shown: {why}").format(at=at, title=item.title, why=item.why)


def _shown(desk: Desk) -> str:
    """Return a text that changes whenever plan or record do, something else is to be done, or there are more or fewer warnings."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    return f"{desk.keeper.version}-{fingerprint(schedule, now)}-{len(warnings(desk))}"


def state(desk: Desk, request: Request) -> Response:
    """Say whether an open page is still right, and what time it is on the household's clock."""
    return JSONResponse(
        {
            "shown": _shown(desk),
            "clock": clock_words(desk.keeper.schedule.plan.clock.local(desk.keeper.instant)),
            "looked": _looked(desk),
        }
    )


def _looked(desk: Desk) -> str:
    """Say how long ago the daemon last finished looking at everything; nothing if it never did."""
    last = desk.health().last_tick
    return "" if last is None else seconds_ago(desk.now() - last)
