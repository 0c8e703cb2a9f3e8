"""The form that says one thing, with what was wrong in it; and the page of everything that can be said."""

import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from urllib.parse import urlencode

from starlette.responses import Response

from reminders.care_words import with_doer_words
from reminders.daemon.desk import Desk
from reminders.plan.items import named_items
from reminders.plan.model import Plan
from reminders.record.facts import Sign
from reminders.saying.phrases import Verb
from reminders.saying.when import UnclearTimeError, when
from reminders.schedule.care import through_lumen
from reminders.schedule.care_now import occurrences_of
from reminders.schedule.model import Schedule
from reminders.times import Instant
from reminders.web import page_forms
from reminders.web.page_forms import FLAGS, Fault, Told, first
from reminders.web.page_frame import page, query
from reminders.web.page_words import Offered, Saying, others, saying, wrong
from reminders.words import CATALOGUE, clock_beside, day_words, drug_words, lumen_words, sign_words

_ = CATALOGUE.gettext

HIDDEN = ("dose", "event", "again", "everything", "asked", "past")
"""Fields that a form carries without showing them, where they are given."""

THE_ONE = _("The one that fits")

NO_ORDER = {Verb.RELEASED: _("No drug: it is about a lumen"), Verb.SKIPPED: _("No dose: it is about a flush")}
"""What it means that no drug is chosen, where that is not the one that fits."""

NO_LUMEN = {
    Verb.STARTED: _("As the plan says"),
    Verb.RELEASED: _("No lumen: it is about a drug"),
    Verb.SKIPPED: _("No flush: it is about a dose"),
    Verb.TASK_DONE: _("None, or all of them"),
}
"""What it means that no lumen is chosen, where that is not the one that fits."""

DOSE_DAYS, TASK_DAYS = 3, 14
"""So many days ahead a dose, or a care task, can be put off on the page."""

NOT_BY_ITSELF = frozenset({Verb.IN_USE})


def fresh_key() -> str:
    """Return a new name of a report."""
    return str(uuid.uuid4())


def say_page(desk: Desk, told: Told, faults: Sequence[Fault] = (), *, status: int = 200) -> Response:
    """Return the form that says what ``told`` begins to say; without a verb, the page of everything that can be said."""
    try:
        verb = Verb(first(told, "verb"))
    except ValueError:
        verb = Verb.IN_USE
    if verb in NOT_BY_ITSELF:
        return other_page(desk, "", faults, status=status)
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    plan = schedule.plan
    how = _how(verb, told, schedule)
    known_dose = bool(first(told, "dose")) and first(told, "order") in plan.orders
    task = _task(told, plan)
    known_task = bool(first(told, "event") and task)
    known = {"order", "lumen"} if known_dose else {"task"} if known_task else set()
    asks = tuple(name for name in how.asks if name not in known)
    hidden = [(name, first(told, name)) for name in HIDDEN if first(told, name)]
    if "order" not in asks and first(told, "order"):
        hidden.append(("order", first(told, "order")))
    if "lumen" not in asks and first(told, "lumen"):
        hidden.append(("lumen", first(told, "lumen")))
    if known_task:
        hidden.append(("name", task))
    noted = verb is Verb.PROBLEM and bool(first(told, "note"))  # what was pressed, not a remark
    if noted:
        hidden.append(("note", first(told, "note")))
    return page(
        desk,
        "say.html",
        status=status,
        verb=verb.value,
        heading=how.words,
        hint=how.hint,
        asks=asks,
        needs=(*how.needs, *(("said_by",) if first(told, "asked") else ())),
        ask_said_by="said_by" in how.asks or bool(first(told, "asked")),
        about=_about_what(told, schedule, now, asks),
        hidden=hidden,
        told={**{name: first(told, name) for name in told}, **({"task": task, "name": ""} if task else {})},
        tasks=[(name, with_doer_words(task)) for name, task in plan.tasks.items()],
        fluids_told=[name for name in told.get("fluids", ()) if name],
        flags={name: first(told, name) == page_forms.YES for name in FLAGS},
        faults=faults,
        key=first(told, "key") or fresh_key(),
        noted=noted,
        times=_times(told, schedule, now),
        days=days(plan, now),
        days_ahead=days(plan, now, ahead=TASK_DAYS if verb is Verb.TASK_PUT_OFF else DOSE_DAYS),
        orders=[(name, drug_words(order)) for name, order in plan.orders.items()],
        no_order=NO_ORDER.get(verb, THE_ONE),
        no_lumen=_("Choose the lumen") if page_forms.needs_lumen(verb, plan) else NO_LUMEN.get(verb, THE_ONE),
        lumens=[(name, lumen_words(plan, name)) for name in plan.lumens],
        fluids=[(name, fluid.label) for name, fluid in plan.fluids.items()],
        signs=[(sign.value, sign_words(sign)) for sign in Sign],
        items=sorted(named_items(plan)) if "item" in asks else [],
    )


def _how(verb: Verb, told: Told, schedule: Schedule) -> Saying:
    """Return how a form asks for something, without what is known of it already."""
    asked = bool(first(told, "asked"))
    how = saying(verb, everything=first(told, "everything") == page_forms.YES, asked=asked)
    if verb is Verb.RELEASED and first(told, "lumen") in schedule.plan.lumens:
        how = replace(how, words=_("A clinician has released it"), asks=("when", "said_by"))
    draws = {name for name, task in schedule.plan.tasks.items() if through_lumen(task)}
    if verb is Verb.TASK_DONE and (_task(told, schedule.plan) or next(iter(draws), "")) in draws:
        how = replace(how, asks=(*how.asks, "flushed"))
    if verb is Verb.STARTED and asked:
        how = replace(how, hint=_("Start it first; then record here who said that it may be started."))
    return how


def _task(told: Told, plan: Plan) -> str:
    """Return the task of the plan that a form is about already; "" if there is none."""
    name = first(told, "task") or first(told, "name")
    return name if name in plan.tasks else ""


def _about_what(told: Told, schedule: Schedule, now: Instant, asks: Sequence[str]) -> str:
    """Name what a form is about, where it does not ask for that."""
    plan = schedule.plan
    if first(told, "dose") and first(told, "order") in plan.orders:
        return _about(told, schedule, now)
    if first(told, "event") and (name := _task(told, plan)):
        return _about_task(name, first(told, "event"), schedule, now)
    return "" if "lumen" in asks else _about_lumen(told, plan)


def _about_task(name: str, uid: str, schedule: Schedule, now: Instant) -> str:
    """Name the time of a care task that a form is about."""
    plan = schedule.plan
    label = plan.tasks[name].label
    event = next((event for event in occurrences_of(schedule, name) if event.uid == uid), None)
    if event is None:
        return label
    at = clock_beside(plan, event.planned, plan.clock.local(now).date())
    return _("{label}, the one of {planned}").format(label=label, planned=at)


def _about_lumen(told: Told, plan: Plan) -> str:
    name = first(told, "lumen")
    words = lumen_words(plan, name) if name in plan.lumens else ""
    return words[:1].upper() + words[1:]


def _about(told: Told, schedule: Schedule, now: Instant) -> str:
    """Name the dose that a form is about."""
    plan, name = schedule.plan, first(told, "order")
    drug = drug_words(plan.orders[name])
    dose = next((dose for dose in schedule.connected.get(name, ()) if dose.key == first(told, "dose")), None)
    if dose is None:
        return drug
    due = clock_beside(plan, dose.due, plan.clock.local(now).date())
    return _("{drug}, the dose of {due}").format(drug=drug, due=due)


def _times(told: Told, schedule: Schedule, now: Instant) -> list[tuple[str, str]]:
    """Return the times that can be chosen, and the one that was said before, which must not turn into another."""
    known = times(first(told, "past") == page_forms.YES)
    chosen = first(told, "when")
    if not chosen or chosen in dict(known):
        return known
    clock = schedule.plan.clock
    try:
        at = when(chosen, clock, now, earliest=schedule.start)
    except UnclearTimeError:
        return known
    return [(chosen, _("at {at}").format(at=clock_beside(schedule.plan, at, clock.local(now).date()))), *known]


def times(past: bool) -> list[tuple[str, str]]:
    """Return the times that can be chosen; none is taken for granted where ``past``."""
    words = [
        ("5 min ago", _("5 min ago")),
        ("10 min ago", _("10 min ago")),
        ("15 min ago", _("15 min ago")),
        ("30 min ago", _("30 min ago")),
        ("60 min ago", _("1 h ago")),
    ]
    return (
        [("", _("Choose, or write it")), ("now", _("just now")), *words] if past else [("now", _("just now")), *words]
    )


def days(plan: Plan, now: Instant, *, ahead: int = 0) -> list[tuple[str, str]]:
    """Return the days that a report can be about, today first; or so many days ahead."""
    found = page_forms.days_to_choose(plan.clock, now, ahead=ahead)
    return [(day.isoformat(), _day(day, found[0])) for day in found]


def _day(day: date, today: date) -> str:
    names = {0: _("today"), -1: _("yesterday"), 1: _("tomorrow")}
    named = names.get((day - today).days)
    return _("{named}, {day}").format(named=named, day=day_words(day)) if named else day_words(day)


def other_page(desk: Desk, text: str = "", faults: Sequence[Fault] = (), *, status: int = 200) -> Response:
    """Return the page of everything that can be said, with the free words that were not understood."""
    plan = desk.keeper.schedule.plan
    groups = [(heading, [(offer.words, _address(offer)) for offer in offers]) for heading, offers in others(plan)]
    as_needed = [
        (drug_words(order), query("say", verb=Verb.STARTED.value, order=name))
        for name, order in plan.orders.items()
        if order.as_needed
    ]
    return page(
        desk,
        "other.html",
        here="other",
        status=status,
        text=text,
        faults=faults,
        key=fresh_key(),
        sign_key=fresh_key(),
        wrong=sign_buttons(),
        groups=groups,
        as_needed=as_needed,
    )


def sign_buttons(lumen: str = "") -> list[tuple[str, str]]:
    """Return the buttons that say what is wrong: the words, and what pressing them says."""
    return [(offer.words, urlencode({"verb": offer.verb.value, **offer.fields})) for offer in wrong(lumen)]


def _address(offer: Offered) -> str:
    return query("say", verb=offer.verb.value, **offer.fields)
