"""What the page shows of a moment, lumen by lumen: what waits, runs or is wrong, the most pressing first."""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from reminders.event_words import marked_next
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Record, Sign
from reminders.saying.phrases import Verb
from reminders.schedule.model import Dose, Schedule, Touch, TouchKind
from reminders.schedule.whole_line import WHOLE_LINE_SIGNS, dressing_signs, named, whole_line_signs
from reminders.times import Instant
from reminders.views import waiting_words as say
from reminders.views.waiting import Flow, LumenNow, Running, Wait, Waiting, lumens_now, sort_of
from reminders.web import page_actions as can
from reminders.web.page_actions import Link
from reminders.web.page_cards import STILL_RUNS, Card, Form, Tone, event_card, just_now, was_it_done
from reminders.web.page_forms import fixed
from reminders.web.page_frame import query
from reminders.web.page_stops import Bar, bars
from reminders.web.page_times import short_time
from reminders.words import (
    CATALOGUE,
    call_words,
    dose_words,
    drug_words,
    lumen_words,
    sign_words,
    what_words,
)

_ = CATALOGUE.gettext

RELEASED = _("A clinician has released it")

SHOWN = 4
"""Older events of one lumen that wait and are named one by one: the last ones; the history lists the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenView:
    """One lumen on the page. ``older``: events of a sort of which a later one has its card, each a link to its page;
    ``more``: how many there are besides. ``next``: what comes next."""

    name: str
    words: str
    cards: Sequence[Card]
    older: Sequence[Link] = ()
    more: int = 0
    lines: Sequence[str] = ()
    next: Link | None = None

    @property
    def tone(self) -> Tone:
        """Return how pressing the lumen is."""
        return min((card.tone for card in self.cards), default=Tone.CALM)


def lumen_views(schedule: Schedule, record: Record, now: Instant) -> list[LumenView]:
    """Return all lumens with what waits, the most pressing first, else in the plan's order."""
    barred = bars(schedule, record, now)
    views = [_lumen(found, schedule, now, barred.get(found.name)) for found in lumens_now(schedule, now)]
    return sorted(views, key=lambda view: view.tone)


def stops(schedule: Schedule, record: Record, now: Instant) -> list[Card]:
    """Return the cards that stand above all lumens: signs about the line, until everything is released or the dressing changed."""
    plan = schedule.plan
    if schedule.removed is not None and now >= schedule.removed:
        return []
    cards = []
    for fact in whole_line_signs(record):
        heading = _("{sign}, since {since}").format(sign=fact.note, since=short_time(plan, fact.happened, now))
        call = _("Call {who} now.").format(who=call_words(plan.contacts[WHOLE_LINE_SIGNS[named(fact)]]))
        first = [_("Clamp between the break and your body."), call] if named(fact) == "line broken" else [call]
        lines = [*first, _("Use no lumen until a clinician says so.")]
        cards.append(
            Card(
                tone=Tone.STOP,
                tag=_("STOP"),
                heading=heading[0].upper() + heading[1:],
                lines=[" ".join(lines)],
                call=WHOLE_LINE_SIGNS[named(fact)],
                more_words=RELEASED,
                links=[can.line_released()],
            )
        )
    stopped = bool(cards)
    return [*cards, *(_dressing(fact, plan, now, stopped=stopped) for fact in dressing_signs(record, schedule))]


def _dressing(fact: Fact, plan: Plan, now: Instant, *, stopped: bool) -> Card:
    """Say what is wrong with the dressing, and whom to call about it; it stops nothing."""
    heading = _("{sign}, since {since}").format(sign=named(fact), since=short_time(plan, fact.happened, now))
    return Card(
        tone=Tone.ASK,
        tag=_("Call the same day"),
        heading=heading[0].upper() + heading[1:],
        lines=[say.dressing_words(plan)],
        call="same_day" if "same_day" in plan.contacts else "now",
        links=can.dressing_seen_to(plan, stopped=stopped),
    )


def fingerprint(schedule: Schedule, record: Record, now: Instant) -> str:
    """Return a text that changes whenever the page would show something else to be done, or another button for it."""
    told: list[object] = [
        (
            view.name,
            view.next,
            view.older,
            view.more,
            [
                (card.tone, card.tag, card.heading, card.uid, card.forms, card.buttons, card.links)
                for card in view.cards
            ],
        )
        for view in lumen_views(schedule, record, now)
    ]
    told += [(card.heading, card.links) for card in stops(schedule, record, now)]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def _lumen(found: LumenNow, schedule: Schedule, now: Instant, bar: Bar | None) -> LumenView:
    plan = schedule.plan
    words = lumen_words(plan, found.name)
    words = words[0].upper() + words[1:]
    if found.removed is not None:
        line = say.line_out_words(plan, found.removed, now)
        return LumenView(name=found.name, words=words, cards=(), lines=[line])
    last, older = _last_of_each_sort(found.waits)
    cards = [*_troubles(found, schedule, now)]
    cards += [event_card(waits, schedule, now, bar) for waits in last]
    if found.passed is not None:
        cards = _with_limit(cards, last, found, found.passed, schedule, now)
    ending = {(dose.order, dose.key) for waits in last for dose in waits.touch.ends}
    cards += [
        _running(running, found, schedule, now, bar)
        for running in found.running
        if (running.dose.order, running.dose.key) not in ending
    ]
    return LumenView(
        name=found.name,
        words=words,
        cards=sorted(cards, key=lambda card: card.tone),
        older=[_link(waits.touch, schedule, now) for waits in older[-SHOWN:]],
        more=max(0, len(older) - SHOWN),
        lines=[*(bar.lines if bar is not None and not cards else ()), *_plain_lines(found, schedule, now)],
        next=None if found.next is None else _link(found.next, schedule, now),
    )


def _last_of_each_sort(waits: Sequence[Waiting]) -> tuple[list[Waiting], list[Waiting]]:
    """Split what waits: the last of each sort, which may still be done, and what went before it, which may only be said."""
    last: list[Waiting] = []
    older: list[Waiting] = []
    seen = set()
    for found in reversed(waits):
        sort = (*sort_of(found.touch), found.touch.outstanding)
        (older if sort in seen else last).append(found)
        seen.add(sort)
    return last[::-1], older[::-1]


def _plain_lines(found: LumenNow, schedule: Schedule, now: Instant) -> list[str]:
    plan = schedule.plan
    lines = []
    if not found.in_use:
        lines.append(say.OUT_OF_USE)
    if found.unfinished:
        lines.append(say.unfinished_words(plan, found.unfinished, now))
    if found.last_flush is not None:
        lines.append(_("Last recorded flush: {at}.").format(at=short_time(plan, found.last_flush, now)))
    elif found.in_use:
        lines.append(say.never_flushed_words(plan, found.name, now))
    return lines


def _link(touch: Touch, schedule: Schedule, now: Instant) -> Link:
    plan = schedule.plan
    at = short_time(plan, touch.at, now)
    return Link(f"{marked_next(what_words(touch, touch.plan), touch)}, {at}", query("event", uid=touch.uid))


def _troubles(found: LumenNow, schedule: Schedule, now: Instant) -> Iterator[Card]:
    """Say what is wrong with a lumen now; only a clinician's word ends it."""
    plan = schedule.plan
    stop = Card(
        tone=Tone.STOP,
        tag=_("STOP"),
        heading="",
        call="now",
        more_words=RELEASED,
        links=[can.released(found.name, plan)],
    )
    for since in found.blocked:
        heading = _("Do not use this lumen, since {since}").format(since=short_time(plan, since, now))
        yield replace(stop, heading=heading, lines=[say.blocked_words(plan)])
    for sign, since in found.problems:
        at = short_time(plan, since, now)
        if sign is Sign.NOT_FLOWING:
            heading = _("Not flowing since {since}").format(since=at)
            line = say.not_flowing_words(plan)
        else:
            heading = _("{sign}, since {since}").format(sign=sign_words(sign), since=at)
            line = say.problem_words(plan)
        yield replace(stop, tag=_("ASK FIRST"), heading=heading[0].upper() + heading[1:], lines=[line])
    if found.held:
        home = can.form_link(_("Home again"), Verb.RELEASED, everything="yes")
        line = _("It is looked after elsewhere, and nothing is to be done here.")
        heading = _("Looked after elsewhere")
        yield Card(tone=Tone.CALM, tag=_("Held"), heading=heading, lines=[line], links=[home])


# What runs


def _running(found: Running, lumen: LumenNow, schedule: Schedule, now: Instant, bar: Bar | None) -> Card:
    dose = found.dose
    plan = schedule.plan_at(dose.start)
    at = "" if found.at is None else short_time(schedule.plan, found.at, now)
    buttons, links = can.while_it_runs(dose, schedule)
    finish = finish_of(dose, schedule)
    number = dose_words(dose, plan)
    card = Card(
        tone=Tone.RUNS,
        tag=_("Runs"),
        heading=drug_words(plan.orders[dose.order]) + (f", {number}" if number else ""),
        uid="" if finish is None else finish.uid,
        more_words=_("Something happened with it"),
        buttons=buttons,
        links=links,
    )
    if lumen.blocked or lumen.problems or bar is not None or found.flow is Flow.UNKNOWN:
        # Nothing is offered on this lumen; what happened can be said all the same.
        lines = [*([] if bar is None else bar.lines), STILL_RUNS]
        more = [*links, *([] if finish is None else can.at_another_time(finish, plan))]
        if found.flow is Flow.UNKNOWN and found.at is not None:
            lines = [say.unknown_words(schedule.plan, plan.orders[dose.order].drug, found.at, now)]
            more = [can.goes_on_form(dose), *more]
            tag = _("Not known whether it runs")
            return replace(card, tone=Tone.ASK, tag=tag, lines=lines, more_words="", buttons=(), links=more)
        if found.flow is Flow.PAUSED:
            return replace(card, tag=_("Interrupted"), lines=lines, buttons=[can.goes_on(dose)], links=more)
        return replace(card, tag=_("Recorded as running"), lines=lines, more_words="", buttons=(), links=more)
    finished = can.has_finished(dose, plan, finish)
    if finish is not None and can.must_ask(finish):
        finished = []
        card = replace(card, links=[*can.at_another_time(finish, plan), *links])
    if found.flow is Flow.PAUSED:
        lines = [_("Interrupted since {since}; when it will finish is not known.").format(since=at)]
        forms = [Form("", [can.goes_on(dose)], when="now")]
        return replace(card, tone=Tone.DUE, tag=_("Interrupted"), lines=lines, forms=forms, buttons=finished)
    if found.flow is Flow.RUNS:
        lines = [_("Until {end}.").format(end=at) if at else _("It runs on.")]
        return replace(card, lines=lines, buttons=[*finished, *buttons])
    lines = [_("It should have finished: {end}. Has it? {why}").format(end=at, why=say.EMPTY_BAG)]
    card = replace(card, tone=Tone.URGENT, tag=_("Should have finished"), lines=lines)
    if not finished:
        return replace(card, call="now")
    assert found.at is not None, "what is over has a finish"
    if now - found.at <= plan.course.handling_time:
        return replace(card, forms=[Form(_("It has finished:"), finished, when="now")])
    # Long past: no time is taken for granted, as for everything that is overdue.
    then = fixed(found.at, schedule.plan.clock)
    at_that_time = can.has_finished(dose, plan, finish, when=then)
    forms = was_it_done(_("Has it finished?"), at_that_time, finished, at)
    return replace(card, forms=[*forms, just_now(finished)])


def finish_of(dose: Dose, schedule: Schedule) -> Touch | None:
    """Return the event in which an infusion finishes, if the schedule has one."""
    names = (dose.order, dose.key)
    return next((t for t in schedule.touches if any((d.order, d.key) == names for d in t.ends)), None)


# Limits that have passed


def _with_limit(
    cards: Sequence[Card],
    waits: Sequence[Waiting],
    lumen: LumenNow,
    passed: tuple[Instant, Instant],
    schedule: Schedule,
    now: Instant,
) -> list[Card]:
    """Say that a lumen's limit has passed: on the card of its flush that waits, if there is one, else on a card of its own."""
    plan = schedule.plan
    since, deadline = passed
    line = say.limit_passed_words(plan, lumen.name, since, deadline, now)
    unsure = say.not_sure_words(plan)
    flush = next(
        (
            found.touch.uid
            for found in reversed(waits)
            if found.touch.kind is TouchKind.IDLE_FLUSH and found.wait in (Wait.DUE, Wait.PERHAPS)
        ),
        "",
    )
    if any(card.uid == flush and card.forms for card in cards):
        return [
            replace(card, tone=Tone.URGENT, lines=[line, *card.lines, unsure]) if card.uid == flush else card
            for card in cards
        ]
    flushed = can.form_link(_("Yes, it was flushed: say when"), Verb.FLUSHED, lumen=lumen.name, past="yes")
    own = Card(
        tone=Tone.URGENT,
        tag=_("Was it flushed?"),
        heading=_("This lumen has gone too long without a recorded flush"),
        lines=[line, unsure],
        links=[flushed],
        call="now",
    )
    return [*cards, own]
