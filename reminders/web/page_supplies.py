"""The page of supplies: what is left, how long it lasts, when to order; and the forms that say what came and what was counted."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from starlette.requests import Request
from starlette.responses import Response

from reminders.daemon.desk import Desk
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind, Record
from reminders.saying.household import not_said
from reminders.saying.phrases import Verb
from reminders.schedule.counts import supplies
from reminders.schedule.model import Schedule
from reminders.schedule.stock import Standing, Stocked, brings, stock
from reminders.stock_words import (
    AS_RECKONED,
    NOT_BEFORE_IT_CAME,
    PRESSES,
    act_words,
    delivery_words,
    left_words,
    reach_words,
    reckoned_words,
    short_stock_lines,
    tag_words,
)
from reminders.times import DAY, Instant
from reminders.views.stock_text import by_need
from reminders.web.page_actions import Link
from reminders.web.page_cards import Card, Tone
from reminders.web.page_forms import Fault, Told, first
from reminders.web.page_frame import moment_of, page
from reminders.web.page_say import days, fresh_key, times
from reminders.web.page_times import short_time
from reminders.words import CATALOGUE, day_words

_ = CATALOGUE.gettext

SUPPLY_DAYS = 7
"""For how many days ahead the supplies are counted."""

SHOWN = 3
"""So many items that press are named one by one on the page of now."""

TONES = {
    Standing.COUNT: Tone.URGENT,
    Standing.LACKING: Tone.URGENT,
    Standing.LATE: Tone.ASK,
    Standing.TODAY: Tone.DUE,
    Standing.SOON: Tone.CALM,
    Standing.ENOUGH: Tone.CALM,
}

NOTHING_TOLD: Told = {}


@dataclass(frozen=True, slots=True)
class Asked:
    """One number that a form asks for: of which item, a hint beside it, and what was written before."""

    item: str
    hint: str
    value: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AmountForm:
    """A form with one number for each item."""

    verb: str
    words: str
    press: str
    rows: Sequence[Asked]
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemView:
    """One item of stock as the page shows it: ``figures`` are pairs of what it is and how much."""

    tone: Tone
    tag: str
    item: str
    act: str
    figures: Sequence[tuple[str, str]]
    lines: Sequence[str]
    reckoned: str


def supplies_view(desk: Desk, request: Request) -> Response:
    """Show the page of supplies."""
    return supplies_page(desk)


def supplies_page(
    desk: Desk, told: Told = NOTHING_TOLD, faults: Sequence[Fault] = (), *, status: int = 200
) -> Response:
    """Return the page of supplies, with what was written into one of its forms and what was wrong in that."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    plan = schedule.plan
    kept = stock(schedule, desk.keeper.household.record, now)
    until = Instant(now + SUPPLY_DAYS * DAY)
    verb = first(told, "verb")
    return page(
        desk,
        "supplies.html",
        here="supplies",
        status=status,
        faults=[replace(fault, field=_field(fault.field, verb)) for fault in faults],
        items=[_item_view(found, plan, now) for found in by_need(kept, plan, now)],
        how=[AS_RECKONED, NOT_BEFORE_IT_CAME],
        came=_came(kept, told),
        came_expected=any(_expected(found, plan, now) for found in kept),
        counted=_counted(kept, told),
        told={name: first(told, name) for name in told},
        times=times(past=False),
        hours=days(plan, now),
        days=SUPPLY_DAYS,
        until=moment_of(desk, until),
        needs=sorted(supplies(schedule, now, until).items()),
    )


def _field(field: str, verb: str) -> str:
    """Return the mark of a field of a form: the two forms have their times apart."""
    return f"{verb}-{field}" if field.startswith("when") or field == "by" else field


def _item_view(found: Stocked, plan: Plan, now: Instant) -> ItemView:
    standing = found.standing(plan, now)
    return ItemView(
        tone=_tone(found, plan, now),
        tag=tag_words(found, standing),
        item=found.item,
        act=act_words(standing, plan),
        figures=_figures(found, plan, now),
        lines=delivery_words(found, plan, now),
        reckoned=reckoned_words(found, plan, now),
    )


def _tone(found: Stocked, plan: Plan, now: Instant) -> Tone:
    standing = found.standing(plan, now)
    if standing is Standing.LATE and found.lasts_to_delivery:
        return Tone.DUE
    return TONES[standing]


def _figures(found: Stocked, plan: Plan, now: Instant) -> list[tuple[str, str]]:
    figures = [(_("Left"), str(max(0, found.left)))]
    if found.entry.kept_back:
        figures.append((_("Kept back of these"), str(found.entry.kept_back)))
    out = _("not before the plan ends") if found.runs_out is None else short_time(plan, found.runs_out, now)
    past = found.runs_out is not None and found.runs_out <= now
    kept_only = _("Only what is kept back since") if found.left > 0 else _("Ran out, as reckoned")
    figures.append((kept_only if past else _("Runs out"), out))
    if found.order_by is not None:
        size = found.entry.comes_in
        packs = _("{packs} × {size}").format(packs=found.packs, size=size) if size > 1 else str(found.packs)
        assert found.reach is not None, "what is to be ordered reaches until something"
        until = reach_words(found, short_time(plan, found.reach, now))
        to_order = _("{packs}, to last until {until}").format(packs=packs, until=until)
        figures += [(_("Last day to order"), day_words(found.order_by)), (_("To order"), to_order)]
    used = str(found.used)
    if found.unrecorded:
        used = _("{used} ({unrecorded} not recorded)").format(used=used, unrecorded=found.unrecorded)
    return [*figures, (_("Used since the count"), used), (_("Delivered since"), str(found.delivered))]


# Forms


def _came(kept: Sequence[Stocked], told: Told) -> AmountForm:
    """Return the form that says what came; what should have come stands beside each number, and none is filled in."""
    rows = []
    for found in kept:
        event = found.awaited or found.delivery
        hint = "" if event is None else _("should be {number}").format(number=brings(event, found.item))
        rows.append((found.item, hint))
    return _form(Verb.DELIVERED, rows, told)


def _expected(found: Stocked, plan: Plan, now: Instant) -> bool:
    """Say whether a delivery of an item is due today, or past and not recorded."""
    event = found.awaited or found.delivery
    return event is not None and plan.clock.local(event.planned).date() <= plan.clock.local(now).date()


def _counted(kept: Sequence[Stocked], told: Told) -> AmountForm:
    rows = [(found.item, _("{left}, as reckoned").format(left=left_words(found).split(",")[0])) for found in kept]
    return _form(Verb.COUNTED, rows, told)


WORDS: Mapping[Verb, tuple[str, str]] = {
    Verb.DELIVERED: (_("A delivery came: how many of each?"), _("Record what came")),
    Verb.COUNTED: (_("I have counted: how many are there of each?"), _("Record what I counted")),
}


def _form(verb: Verb, rows: Sequence[tuple[str, str]], told: Told) -> AmountForm:
    """Return a form with what was written into it before; a form with other words in it is another report."""
    mine = first(told, "verb") == verb.value
    written = dict(zip(told.get("item", ()), told.get("number", ()), strict=False)) if mine else {}
    words, press = WORDS[verb]
    return AmountForm(
        verb=verb.value,
        words=words,
        press=press,
        rows=[Asked(item, hint, written.get(item, "").strip()) for item, hint in rows],
        key=first(told, "key") if mine and first(told, "key") else fresh_key(),
    )


def came_after(facts: Sequence[Fact], schedule: Schedule, record: Record) -> AmountForm | None:
    """Return the form that asks what a delivery brought which a report says was done; None if it says of none."""
    rows: dict[str, str] = {}
    for fact in facts:
        task = schedule.plan_at(fact.happened).tasks.get(fact.name) if fact.kind is Kind.TASK_DONE else None
        if task is not None:
            for item, number in not_said(task.brings, fact.happened, schedule, record).items():
                rows[item] = _("should be {number}").format(number=number)
    return _form(Verb.DELIVERED, list(rows.items()), NOTHING_TOLD) if rows else None


# The page of now


def now_card(schedule: Schedule, record: Record, now: Instant) -> Card | None:
    """Return the card of what must be ordered in the next days or has run out; None if there is nothing."""
    plan = schedule.plan
    found = _pressing(schedule, record, now)
    if not found or (schedule.removed is not None and now >= schedule.removed):
        return None
    lines = []
    for entry in found[:SHOWN]:
        standing = entry.standing(plan, now)
        act = act_words(standing, plan)
        said = " ".join([*([act] if act else []), *short_stock_lines(entry, plan, now)])
        lines.append(said if len(found) == 1 else _("{item}: {said}").format(item=entry.item, said=said))
    if len(found) > SHOWN:
        lines.append(_("and {count} more").format(count=len(found) - SHOWN))
    heading = found[0].item
    if len(found) > 1:
        heading = _("{item}, and {count} more").format(item=heading, count=len(found) - 1)
    return Card(
        tone=_tone(found[0], plan, now),
        tag=tag_words(found[0], found[0].standing(plan, now)),
        heading=heading,
        lines=lines,
        links=[Link(_("All supplies; say what came or what you counted"), "supplies")],
    )


def supplies_mark(schedule: Schedule, record: Record, now: Instant) -> str:
    """Return a text that changes whenever other supplies press, or press otherwise."""
    told = [
        (entry.item, tag_words(entry, entry.standing(schedule.plan, now))) for entry in _pressing(schedule, record, now)
    ]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:8]


def _pressing(schedule: Schedule, record: Record, now: Instant) -> list[Stocked]:
    kept = by_need(stock(schedule, record, now), schedule.plan, now)
    return [entry for entry in kept if entry.standing(schedule.plan, now) in PRESSES]
