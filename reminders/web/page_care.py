"""Care tasks on the page: the cards of those that wait, what comes next of each, and what can be said of them.

Draws through a lumen are events of their lumen and have their cards there; what comes next of them is named here too.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from reminders.care_words import (
    ask_dose_words,
    doer_words,
    if_not_words,
    tied_words,
    was_it_words,
    window_words,
    with_doer_words,
)
from reminders.plan.care import CareTask, Doer, TaskKind
from reminders.record.facts import Record
from reminders.saying.care_answer import OF_THE_LINE
from reminders.saying.phrases import Verb
from reminders.schedule.care import through_lumen
from reminders.schedule.care_now import CareNow, CareWait, CareWaiting, by_others, care_now, care_status, occurrences_of
from reminders.schedule.model import BLOCKS, Schedule, Status, TaskEvent
from reminders.times import Instant
from reminders.web import page_actions as can
from reminders.web.page_actions import Button, Link
from reminders.web.page_cards import Card, Form, Tone, late_words, reworded, was_it_done
from reminders.web.page_forms import fixed
from reminders.web.page_frame import query
from reminders.web.page_stops import Bar, bars
from reminders.web.page_times import short_time
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

ALL_THE_SAME = _("It was done all the same, or something else happened")


@dataclass(frozen=True, slots=True, kw_only=True)
class CareView:
    """The care tasks on the page. ``older``: times of a task of which a later one has its card, each a link to its page;
    ``next``: the next time of each task that does not wait; ``lines``: what else there is to say."""

    cards: Sequence[Card] = ()
    older: Sequence[Link] = ()
    next: Sequence[Link] = ()
    lines: Sequence[str] = ()


def care_view(schedule: Schedule, record: Record, now: Instant) -> CareView | None:
    """Return what stands under the care tasks, the most pressing first; None where there is nothing, or the line is out."""
    if schedule.removed is not None and now >= schedule.removed:
        return None
    found = care_now(schedule, now)
    barred = bars(schedule, record, now)
    last: dict[str, CareWaiting] = {waits.event.task: waits for waits in found.waits}
    older = [waits.event for waits in found.waits if waits is not last[waits.event.task]]
    cards = [care_card(waits, schedule, now, barred) for waits in last.values()]
    held = found.held and bool(schedule.tasks)
    view = CareView(
        cards=sorted(cards, key=lambda card: card.tone),
        older=[Link(_heading(event, schedule, now), query("event", uid=event.uid)) for event in older],
        next=_next(found, schedule, now),
        lines=[_("They are looked after elsewhere, and nothing is to be done here.")] if held else [],
    )
    return view if view.cards or view.next or view.lines else None


def care_mark(schedule: Schedule, record: Record, now: Instant) -> str:
    """Return a text that changes whenever other care tasks wait or come next, or there is another button for one."""
    return hashlib.sha256(repr(care_view(schedule, record, now)).encode()).hexdigest()[:8]


def _next(found: CareNow, schedule: Schedule, now: Instant) -> list[Link]:
    """Return what comes next of each task, draws through a lumen among them, in order of time."""
    coming = [(event.at, event.uid, with_doer_words(event.care)) for event in found.next]
    for name, task in schedule.plan.tasks.items():
        if not through_lumen(task):
            continue
        for event in occurrences_of(schedule, name):
            if event.outcome is None and care_status(event, schedule, now) is Status.PLANNED and event.at >= now:
                coming.append((event.at, event.uid, with_doer_words(task)))
                break
    return [
        Link(_("{what}, {at}").format(what=what, at=short_time(schedule.plan, at, now)), query("event", uid=uid))
        for at, uid, what in sorted(coming)
    ]


# Cards


def care_card(found: CareWaiting, schedule: Schedule, now: Instant, barred: Mapping[str, Bar]) -> Card:
    """Return the card of a care task that waits; ``barred``: why lumens are barred, by their names."""
    event, plan = found.event, schedule.plan
    base = _base(event, schedule, now)
    if found.wait in (CareWait.ASK_FIRST, CareWait.NOT_NOW):
        return _asking(base, event, schedule)
    bar = _bar(event, barred)
    if bar is not None:
        return _barred(base, event, bar)
    asked, others = was_it_words(event.care), by_others(event)
    if found.wait is CareWait.DUE:
        tag = _("Expected") if others else _("Due")
        form = Form(asked if others else "", [_done(event)], when="now")
        return replace(base, tag=tag, lines=[*base.lines, *_when(event, schedule, now)], forms=[form])
    forms = _was_it(event, schedule, now, asked)
    lines = [late_words(event.planned, now), *base.lines]
    if others or event.dose is not None:
        lines.append(if_not_words(event, plan))
    else:
        forms.append(Form(if_not_words(event, plan), [reworded(_done(event), _("Just now: {done}"))]))
    return replace(base, tone=Tone.PERHAPS, tag=asked, lines=lines, forms=forms)


def planned_care_card(event: TaskEvent, schedule: Schedule, now: Instant, barred: Mapping[str, Bar]) -> Card:
    """Return the card of a care task that does not wait: it is still to come, or its time has passed."""
    base = _base(event, schedule, now)
    if event.dose is not None and event.dose.asks:
        return _asking(base, event, schedule)
    bar = _bar(event, barred)
    if bar is not None:
        return _barred(base, event, bar)
    if care_status(event, schedule, now) is Status.PLANNED:
        return replace(base, tone=Tone.CALM, more_words=_("It was done early"), buttons=[_done(event)])
    forms = _was_it(event, schedule, now, was_it_words(event.care))
    return replace(base, tone=Tone.CALM, forms=forms, links=())


def _base(event: TaskEvent, schedule: Schedule, now: Instant) -> Card:
    return Card(
        tone=Tone.DUE,
        tag="",
        heading=_heading(event, schedule, now),
        lines=[doer_words(event.care)],
        links=can.task_moved(event.uid, event.task),
        uid=event.uid,
        page_words=_("What to know, and what to lay out"),
    )


def _heading(event: TaskEvent, schedule: Schedule, now: Instant) -> str:
    return _("{what}, {at}").format(what=event.care.label, at=short_time(schedule.plan, event.planned, now))


def _when(event: TaskEvent, schedule: Schedule, now: Instant) -> list[str]:
    day = schedule.plan.clock.local(now).date()
    tied = [] if event.dose is None else [tied_words(event, day)]
    return [*tied, window_words(event, day)]


def _was_it(event: TaskEvent, schedule: Schedule, now: Instant, asks: str) -> list[Form]:
    """Ask whether a task was done: when it was planned, if that is past, or at another time."""
    then = [_done(event)]
    if event.planned > now:
        return was_it_done(asks, [], then, "")
    as_planned = [_done(event, when=fixed(event.planned, schedule.plan.clock))]
    return was_it_done(asks, as_planned, then, short_time(schedule.plan, event.planned, now))


def _done(event: TaskEvent, *, when: str = "") -> Button:
    return can.button(_done_words(event.care), Verb.TASK_DONE, name=event.task, when=when)


def _done_words(task: CareTask) -> str:
    if task.kind is TaskKind.DELIVERY:
        return _("It came")
    return _("The nurse did it") if task.done_by is Doer.NURSE else _("Done")


def _asking(card: Card, event: TaskEvent, schedule: Schedule) -> Card:
    """Offer no plain button for what goes with a dose that must be asked about, or must not be given."""
    asks = () if event.dose is None else event.dose.asks
    shut = any(ask.why in BLOCKS for ask in asks)
    lines = [ask_dose_words(event, schedule.plan, shut=shut)]
    if shut:
        card = replace(card, tone=Tone.CALM, tag=_("Not to be done now"), lines=lines)
    else:
        card = replace(card, tone=Tone.ASK, tag=_("ASK FIRST"), lines=[*lines, *card.lines], call="now")
    return replace(card, more_words=ALL_THE_SAME, links=[_all_the_same(event), *card.links])


def _barred(card: Card, event: TaskEvent, bar: Bar) -> Card:
    """Offer no plain button for what is done with a lumen while something is wrong elsewhere in the line."""
    tag = _("STOP") if bar.whole else _("ASK FIRST")
    links = [_all_the_same(event), *card.links]
    call = "" if bar.whole else "now"
    return replace(card, tone=Tone.ASK, tag=tag, lines=bar.lines, more_words=ALL_THE_SAME, links=links, call=call)


def _all_the_same(event: TaskEvent) -> Link:
    return can.form_link(_("It was done: say when"), Verb.TASK_DONE, name=event.task, past="yes")


def _bar(event: TaskEvent, barred: Mapping[str, Bar]) -> Bar | None:
    """Return why a task of the household is barred: that of its dose's lumen or, of what is done to the line, of all of it."""
    if by_others(event):
        return None
    if event.dose is not None:
        return barred.get(event.dose.lumen)
    if event.care.kind not in OF_THE_LINE:
        return None
    return next((bar for bar in barred.values() if bar.whole), None)
