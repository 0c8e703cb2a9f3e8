"""The page of now, and what an open page asks again and again: whether it is still right."""

from collections.abc import Sequence

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from reminders import phone_words
from reminders.daemon.desk import Desk
from reminders.daemon.journal import Raised
from reminders.phones import Phone
from reminders.times import minute_of
from reminders.web.page_cards import Card, Tone
from reminders.web.page_care import CareView, care_mark, care_view
from reminders.web.page_frame import coming_words, page, seconds_ago, warnings
from reminders.web.page_now import LumenView, fingerprint, lumen_views, stops
from reminders.web.page_report import last_report
from reminders.web.page_say import days, fresh_key, times
from reminders.web.page_supplies import now_card, supplies_mark
from reminders.words import CATALOGUE, caution_lines, clock_words, moment_words

_ = CATALOGUE.gettext


def now_page(desk: Desk, look_every: float, *, by: str = "", unsaid: bool = False) -> Response:
    """Show what is due, runs and comes next, lumen by lumen; below it how the program itself is.

    ``unsaid``: a form was sent without a press of a button that says something; ``by`` is who reports it.
    """
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    health = desk.health()
    record = desk.keeper.household.record
    views, stopped = lumen_views(schedule, record, now), stops(schedule, record, now)
    care, order = care_view(schedule, record, now), now_card(schedule, record, now)
    lumens = [(view, [(fresh_key(), card) for card in view.cards]) for view in views]
    waits = _open(views, care, order)
    phones = [_phone(phone, desk) for phone in desk.phones.all()]
    return page(
        desk,
        "now.html",
        here="now",
        status=400 if unsaid else 200,
        unsaid=unsaid,
        coming=coming_words(schedule, now),
        by=by,
        lumens=lumens,
        stops=[(fresh_key(), card) for card in stopped],
        open=waits,
        care=care,
        care_cards=[] if care is None else [(fresh_key(), card) for card in care.cards],
        order=order,
        nothing_waits=not stopped and not waits,
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


def _open(views: Sequence[LumenView], care: CareView | None, order: Card | None) -> list[tuple[str, str]]:
    """Return one line for each thing that waits, the most pressing first, with the mark of its card on the page."""
    found = []
    for number, view in enumerate(views, start=1):
        for n, card in enumerate(view.cards, start=1):
            if card.tone < Tone.RUNS:
                words = _("{lumen}: {what}").format(lumen=view.words, what=card.heading[0].lower() + card.heading[1:])
                found.append((card.tone, f"{words} - {_tag(card)}", f"c{number}-{n}-title"))
    for n, card in enumerate(() if care is None else care.cards, start=1):
        if card.tone < Tone.RUNS:
            found.append((card.tone, f"{card.heading} - {_tag(card)}", f"care-{n}-title"))
    if order is not None and order.tone < Tone.RUNS:
        words = _("Supplies: {what}").format(what=order.heading)
        found.append((order.tone, f"{words} - {order.tag}", "order-title"))
    return [(words, mark) for _tone, words, mark in sorted(found, key=lambda item: item[0])]


def _tag(card: Card) -> str:
    """Return what is the matter with a card, within a line; what is written in capitals stays so."""
    return card.tag[0].lower() + card.tag[1:] if card.tag.istitle() else card.tag


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
    record = desk.keeper.household.record
    marks = [mark(schedule, record, now) for mark in (fingerprint, supplies_mark, care_mark)]
    return "-".join([str(desk.keeper.version), *marks, str(len(warnings(desk)))])


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
