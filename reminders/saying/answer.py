"""What a report is answered with: what to do now and whom to call, and what it changed ahead (R15-R18, S1-S14, R27)."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from reminders.event_words import ask_words
from reminders.plan.model import FluidKind, Plan
from reminders.record.facts import ASKS_FIRST, SUSPENDS, Fact, Kind, Sign
from reminders.schedule.happened import within
from reminders.schedule.model import BLOCKS, Ask, Schedule, Touch, TouchKind
from reminders.schedule.status import cut_off
from reminders.times import Instant
from reminders.units import span
from reminders.words import (
    CATALOGUE,
    call_words,
    caution_lines,
    clock_beside,
    lumen_words,
    moment_words,
    step_words,
    what_words,
)

_ = CATALOGUE.gettext

SHOWN = 8
"""Changes that are told one by one; the others are counted."""


def answer(facts: Sequence[Fact], before: Schedule, after: Schedule, now: Instant) -> list[str]:
    """Return what to say to somebody who has just reported ``facts``: warnings first, then what changed ahead."""
    lines = list(dict.fromkeys(line for fact in facts for line in _advice(fact, before, after, now)))
    lumens = _lumens_of(facts, after)
    waiting = [touch for touch in after.touches if touch.outstanding and touch.steps and touch.lumen in lumens]
    if waiting:
        lines += _flush_now(waiting[-1], after.plan)
    return [*lines, *changes(before, after, now)]


def changes(before: Schedule, after: Schedule, now: Instant) -> list[str]:
    """Return what has changed ahead, lumen by lumen, each with what it was."""
    lines = []
    for name in after.plan.lumens:
        lines += list(_of_lumen(name, before, after, now))
    return lines or [_("Nothing changes ahead.")]


def _lumens_of(facts: Iterable[Fact], schedule: Schedule) -> set[str]:
    found = set()
    for fact in facts:
        order = schedule.plan.orders.get(fact.order)
        found.add(fact.lumen or (order.lumen if order else ""))
    return found


def _flush_now(touch: Touch, plan: Plan) -> list[str]:
    """Say that the flush is still to come, how it goes, when to stop and whom to call (R15, R27)."""
    lines = [
        _("The {lumen} still has to be flushed: due now.").format(lumen=lumen_words(plan, touch.lumen)),
    ]
    lines += [f"  {step_words(step, touch.plan)}" for step in touch.steps]
    lines += caution_lines(plan)
    lines.append(_("When it is flushed, say so:  flushed {lumen}").format(lumen=touch.lumen))
    return lines


def _advice(fact: Fact, before: Schedule, after: Schedule, now: Instant) -> Iterator[str]:
    plan = after.plan
    call, emergency = call_words(plan.contacts["now"]), call_words(plan.contacts["emergency"])
    if fact.sign in SUSPENDS:
        yield _(
            "STOP. Clamp. Do not flush and do not lock this lumen. Call {now} now. Short of breath, chest pain or faint: "
            "call {emergency}. Nothing is planned on it until a clinician releases it."
        ).format(now=call, emergency=emergency)
    elif fact.sign is Sign.NOT_FLOWING:
        yield _("Look at the clamp and for a kink in the tube. Never force a flush. Call {now}.").format(now=call)
        yield _("When it will finish is not known: say  resumed  or  stopped early .")
    elif fact.sign in ASKS_FIRST:
        yield _("STOP. Clamp. Never force a flush. Call {now} before this lumen is used again.").format(now=call)
        yield _("This does not count as a flush: the lumen's limit goes on.")
    elif fact.sign is Sign.OTHER:
        yield _("Noted. Not sure whether it matters? Call {now}.").format(now=call)
    if fact.kind is Kind.STARTED:
        yield from _about_start(fact, before, after, call)
    elif fact.kind is Kind.FLUSHED:
        yield from _about_flush(fact, before, after, call)
    elif fact.kind is Kind.STOPPED and fact.sign is None:
        yield _("How much was given decides what follows: call {now} before the next dose.").format(now=call)
    elif fact.kind is Kind.NOT_GIVEN:
        yield _("Do not make it up and do not double the next one. Call {now}.").format(now=call)
    elif fact.kind is Kind.DELAYED:
        yield from _about_delay(fact, after, call)
    elif fact.kind is Kind.HEPARIN_STOPPED:
        yield _(
            "No heparin is in the plan from now on. Throw none of it away before you have asked. Ask {now} with what, and "
            "how often, the lumens are to be locked now."
        ).format(now=call)
    elif fact.kind is Kind.EXCHANGED:
        yield _(
            "Ask {now} for the plan of the new line. Until it is in use nothing is offered on the old lumens."
        ).format(now=call)
    elif fact.kind is Kind.NEEDLE_OUT and plan.line.needle_out_idle_limit is None:
        yield _("The plan does not say how often the port is flushed without its needle: ask {now}.").format(now=call)
    elif fact.kind is Kind.RELEASED and not fact.order and not fact.lumen:
        yield _("Ask whether the orders are still the same as before the stay: {now}.").format(now=call)


def _about_start(fact: Fact, before: Schedule, after: Schedule, call: str) -> Iterator[str]:
    plan = after.plan
    order = plan.orders.get(fact.order)
    if order is None:
        return
    day = plan.clock.local(fact.happened).date()
    dose = next((dose for dose in after.connected[fact.order] if dose.key == fact.dose), None)
    if fact.again:
        yield _("A second start is recorded. Never give a dose twice. Call {now} now.").format(now=call)
    earlier = [
        other for other in after.connected[fact.order] if other.started is not None and other.start < fact.happened
    ]
    if earlier and order.least_spacing is not None:
        apart = fact.happened - earlier[-1].start
        if apart < order.least_spacing and not fact.again:
            yield _("This is {apart} after the dose of {since}; the order says at least {least}. Call {now}.").format(
                apart=span(apart),
                since=clock_beside(plan, earlier[-1].start, day),
                least=span(order.least_spacing),
                now=call,
            )
    if order.as_needed and order.most_in_24h is not None:
        lately = [
            other for other in after.connected[fact.order] if fact.happened - 24 * 60 < other.start <= fact.happened
        ]
        if len(lately) > order.most_in_24h:
            yield _("That makes {count} in 24 h; the order says at most {most}. Call {now}.").format(
                count=len(lately), most=order.most_in_24h, now=call
            )
    if dose is not None and order.cut_off is not None and fact.happened > dose.ordered + order.cut_off:
        yield _("It was started {late} after its time, past its cut-off. Call {now}.").format(
            late=span(fact.happened - dose.ordered), now=call
        )
    told = next(
        (
            touch
            for touch in before.touches
            if touch.asks and any(d.key == fact.dose and d.order == fact.order for d in touch.starts)
        ),
        None,
    )
    if told is not None:
        yield _("You were to ask first: {why} Call {now}.").format(
            why=" ".join(ask_words(ask, plan, day) for ask in told.asks), now=call
        )


def _about_flush(fact: Fact, before: Schedule, after: Schedule, call: str) -> Iterator[str]:
    plan = after.plan_at(fact.happened)
    lumen = plan.lumens[fact.lumen]
    state = before.lumens[fact.lumen]
    if any(begin <= fact.happened < end for begin, end, _why in state.blocked) or not lumen.in_use:
        yield _("The {lumen} must not be used. It is recorded. Call {now}.").format(
            lumen=lumen_words(plan, fact.lumen), now=call
        )
    lock = plan.lock(lumen)
    if fact.fluids and lock.name not in fact.fluids and lock.kind is FluidKind.HEPARIN:
        if plan.protocol.flush_without_lock_counts:
            yield _("Recorded without {lock}. The plan lets it count for the limit.").format(lock=lock.label)
        else:
            yield _(
                "Recorded without {lock}. It does not count for the limit unless the plan says so: ask {now}."
            ).format(lock=lock.label, now=call)
    touch = next((t for t in after.touches if t.at == fact.happened and t.lumen == fact.lumen and t.outcome), None)
    if touch is None or touch.kind is not TouchKind.IDLE_FLUSH:
        return
    day = plan.clock.local(fact.happened).date()
    if touch.planned != touch.at:
        yield _("It takes the place of the flush planned for {planned}.").format(
            planned=clock_beside(plan, touch.planned, day)
        )


def _about_delay(fact: Fact, after: Schedule, call: str) -> Iterator[str]:
    touch = next(
        (t for t in after.touches if any(d.key == fact.dose and d.order == fact.order for d in t.starts)), None
    )
    if touch is None or fact.until is None:
        return
    dose = touch.starts[0]
    last = cut_off(touch)
    order = touch.plan.orders[dose.order]
    if last is not None and fact.until > dose.ordered + (order.cut_off or 0):
        yield _("That is {late} after its time, past its cut-off. Call {now} before you give it.").format(
            late=span(fact.until - dose.ordered), now=call
        )


def _of_lumen(name: str, before: Schedule, after: Schedule, now: Instant) -> Iterator[str]:
    """Yield what changed ahead on one lumen."""
    old = {touch.uid: touch for touch in before.touches if touch.lumen == name and touch.outcome is None}
    new = {touch.uid: touch for touch in after.touches if touch.lumen == name and touch.outcome is None}
    day = after.plan.clock.local(now).date()
    lumen = lumen_words(after.plan, name)
    yield from _next_flush(lumen, list(old.values()), list(new.values()), after, now, day)
    told: list[str] = []
    asked: dict[tuple[Ask, ...], list[Touch]] = {}
    for uid, touch in new.items():
        was = old.get(uid)
        if touch.at < now or touch.kind is TouchKind.IDLE_FLUSH:
            continue
        what = what_words(touch, touch.plan)
        if was is None:
            told.append(
                _("New on the {lumen}: {what} at {at}.").format(
                    lumen=lumen, what=what, at=clock_beside(after.plan, touch.at, day)
                )
            )
        elif was.at != touch.at:
            told.append(
                _("On the {lumen}, {what} moves to {at} (was {was}).").format(
                    lumen=lumen,
                    what=what,
                    at=clock_beside(after.plan, touch.at, day),
                    was=clock_beside(after.plan, was.at, day),
                )
            )
        if touch.asks and (was is None or was.asks != touch.asks):
            asked.setdefault(touch.asks, []).append(touch)
        elif was is not None and was.asks and not touch.asks:
            told.append(
                _("No need to ask first any more: {what} at {at}.").format(
                    what=what, at=clock_beside(after.plan, touch.at, day)
                )
            )
    gone = [
        touch
        for uid, touch in old.items()
        if uid not in new and touch.at >= now and touch.kind is not TouchKind.IDLE_FLUSH
    ]
    told += [
        _("No longer planned on the {lumen}: {what} at {at}.").format(
            lumen=lumen, what=what_words(touch, touch.plan), at=clock_beside(after.plan, touch.at, day)
        )
        for touch in gone
    ]
    yield from (_asks(touches, lumen, after.plan, day) for touches in asked.values())
    yield from told[:SHOWN]
    if len(told) > SHOWN:
        yield _("And {count} more changes on the {lumen}; see the agenda.").format(count=len(told) - SHOWN, lumen=lumen)


def _asks(touches: Sequence[Touch], lumen: str, plan: Plan, day: date) -> str:
    """Say of all touches that must be asked about for one reason: the first of them, how many more, and why."""
    first = touches[0]
    blocked = any(ask.why in BLOCKS for ask in first.asks)
    said = _("Do not use the {lumen}") if blocked else _("Ask first on the {lumen}")
    more = _(", and {count} more after it").format(count=len(touches) - 1) if len(touches) > 1 else ""
    return _("{said}: {what} at {at}{more}. {why}").format(
        said=said.format(lumen=lumen),
        what=what_words(first, first.plan),
        at=clock_beside(plan, first.at, day),
        more=more,
        why=" ".join(ask_words(ask, plan, day) for ask in first.asks),
    )


def _next_flush(
    lumen: str, old: Sequence[Touch], new: Sequence[Touch], after: Schedule, now: Instant, day: date
) -> Iterator[str]:
    """Say when the next idle flush is, where that has changed; and a flush that a report puts into the quiet hours."""
    was, now_is = _idle_ahead(old, now), _idle_ahead(new, now)
    plan = after.plan
    if now_is and (not was or was[0].at != now_is[0].at):
        before = _(" (was {was})").format(was=clock_beside(plan, was[0].at, day)) if was else ""
        yield _("Next flush of the {lumen} {at}{before}.").format(
            lumen=lumen, at=clock_beside(plan, now_is[0].at, day), before=before
        )
    elif was and not now_is:
        yield _("No more flush of the {lumen} is planned besides its infusions.").format(lumen=lumen)
    asleep = {touch.uid for touch in was if within(after.quiet, touch.at)}
    night = next((touch for touch in now_is if within(after.quiet, touch.at) and touch.uid not in asleep), None)
    if night is not None:
        yield _("That puts a flush of the {lumen} into the quiet hours: {at}.").format(
            lumen=lumen, at=moment_words(plan.clock.local(night.at))
        )


def _idle_ahead(touches: Iterable[Touch], now: Instant) -> list[Touch]:
    return [touch for touch in touches if touch.kind is TouchKind.IDLE_FLUSH and touch.at >= now]
