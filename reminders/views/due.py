"""What is due now, lumen by lumen: what waits, what runs, what comes next, and when each lumen was last flushed (R14, R16)."""

from collections.abc import Iterator

from reminders.event_words import ask_lines, marked
from reminders.record.facts import Sign
from reminders.schedule.happened import within
from reminders.schedule.limits import limit_of, limit_words
from reminders.schedule.model import (
    ENDLESS,
    Dose,
    DoseState,
    Schedule,
    Status,
    Touch,
    TouchKind,
)
from reminders.schedule.status import cut_off, overtaken, status
from reminders.times import Instant
from reminders.units import span
from reminders.words import (
    CATALOGUE,
    call_words,
    caution_lines,
    clock_beside,
    lumen_words,
    moment_words,
    sign_words,
    what_words,
)

_ = CATALOGUE.gettext

SHOWN = 4
"""Events of one lumen that wait to be recorded and are told one by one: the last ones."""

WAITS = frozenset({Status.DUE, Status.OVERDUE})


def due(schedule: Schedule, now: Instant) -> str:
    """Return the list of what is due at ``now``, as plain text with a final newline.

    What is not recorded is asked about before it is asked for (S13): it may have been done.
    """
    plan = schedule.plan
    lines = [moment_words(plan.clock.local(now))]
    for name in plan.lumens:
        told = list(_of_lumen(name, schedule, now))
        lines += ["", lumen_words(plan, name), *(f"  {line}" for line in told)]
    return "\n".join([*lines, "", *caution_lines(plan)]) + "\n"


def _of_lumen(name: str, schedule: Schedule, now: Instant) -> Iterator[str]:
    plan, state = schedule.plan, schedule.lumens[name]
    lumen = plan.lumens[name]
    day = plan.clock.local(now).date()
    if schedule.removed is not None and now >= schedule.removed:
        yield _("The line is out since {since}: nothing is due.").format(
            since=clock_beside(plan, schedule.removed, day)
        )
        return
    if not lumen.in_use:
        yield _("Out of use: nothing is planned into it.")
    yield from _open_troubles(name, schedule, now)
    for dose in _running(name, schedule):
        yield _runs(dose, schedule, now)
    touches = [touch for touch in schedule.touches if touch.lumen == name]
    waiting = [told for touch in touches if (told := list(_waiting(touch, schedule, now)))]
    if len(waiting) > SHOWN:
        yield _("{count} earlier events are not recorded; the history lists them.").format(count=len(waiting) - SHOWN)
    for told in waiting[-SHOWN:]:
        yield from told
    outstanding = any(touch.outstanding for touch in touches)
    if not outstanding and (passed := _limit_passed(name, schedule, now)) is not None:
        since, deadline = passed
        yield _(
            "The limit of {limit} has passed: the last flush that is known was {since}, so by {deadline}. Was it flushed "
            "since? Then record it. Not sure? Ask {now}."
        ).format(
            limit=limit_words(plan.idle_limit(lumen)),
            since=clock_beside(plan, since, day),
            deadline=clock_beside(plan, deadline, day),
            now=call_words(plan.contacts["now"]),
        )
    ahead = next((t for t in touches if status(t, schedule, now) is Status.PLANNED and t.at >= now), None)
    if ahead is not None:
        yield _("Next: {what}, {at}.").format(
            what=marked(what_words(ahead, ahead.plan), ahead), at=clock_beside(plan, ahead.at, day)
        )
    if state.last_flush is not None:
        yield _("Last recorded flush: {at}, {ago} ago.").format(
            at=clock_beside(plan, state.last_flush, day), ago=span(max(0, now - state.last_flush))
        )
    elif lumen.in_use:
        stated = clock_beside(plan, lumen.last_flushed.instant, day)
        yield _("No flush of it is recorded; the plan says that it was last flushed {stated}.").format(stated=stated)


def _open_troubles(name: str, schedule: Schedule, now: Instant) -> Iterator[str]:
    """Say what is wrong with a lumen now, and whom to call."""
    plan, state = schedule.plan, schedule.lumens[name]
    call = call_words(plan.contacts["now"])
    day = plan.clock.local(now).date()
    for begin, end, _why in state.blocked:
        if begin <= now < end:
            yield _("DO NOT USE IT, since {since}. Clamp it, flush nothing, call {now}.").format(
                since=clock_beside(plan, begin, day), now=call
            )
    for begin, end, sign in state.problems:
        if begin <= now < end:
            if sign is Sign.NOT_FLOWING:
                yield _("Not flowing since {since}: look at the clamp and for a kink, never force, call {now}.").format(
                    since=clock_beside(plan, begin, day), now=call
                )
            else:
                yield _("ASK FIRST: {sign}, since {since}. Never force a flush. Call {now}.").format(
                    sign=sign_words(sign), since=clock_beside(plan, begin, day), now=call
                )
    if any(begin <= now < end for begin, end in state.held):
        yield _("Held: looked after elsewhere.")


def _running(name: str, schedule: Schedule) -> list[Dose]:
    return [
        dose
        for doses in schedule.connected.values()
        for dose in doses
        if dose.lumen == name and dose.state is DoseState.RUNNING
    ]


def _runs(dose: Dose, schedule: Schedule, now: Instant) -> str:
    plan = schedule.plan
    drug, day = plan.orders[dose.order].drug, plan.clock.local(now).date()
    paused = next((begin for begin, end in dose.pauses if end == ENDLESS), None)
    if paused is not None:
        return _("{drug} is interrupted since {since}; when it will finish is not known.").format(
            drug=drug, since=clock_beside(plan, paused, day)
        )
    if dose.end is None:
        return _("{drug} runs.").format(drug=drug)
    if dose.end >= now:
        return _("{drug} runs, until {end}.").format(drug=drug, end=clock_beside(plan, dose.end, day))
    return _("{drug} should have finished at {end}, {ago} ago. Has it? An empty bag lets the lumen clot.").format(
        drug=drug, end=clock_beside(plan, dose.end, day), ago=span(now - dose.end)
    )


def _waiting(touch: Touch, schedule: Schedule, now: Instant) -> Iterator[str]:
    plan, how = schedule.plan, status(touch, schedule, now)
    what = what_words(touch, touch.plan)
    at = clock_beside(plan, touch.planned, plan.clock.local(now).date())
    blocked = any(begin <= now < end for begin, end, _why in schedule.lumens[touch.lumen].blocked)
    if touch.outstanding and blocked:
        pass  # nothing is offered on this lumen: that stands above
    elif touch.outstanding and how in WAITS:
        finished = clock_beside(plan, touch.at, plan.clock.local(now).date())
        if touch.nurse_only or touch.asks:
            yield _("Not flushed since {what} at {at}, as far as is recorded. Ask {now}.").format(
                what=what, at=finished, now=call_words(plan.contacts["now"])
            )
        else:
            yield _("FLUSH NOW: {what} was at {at}, and no flush is recorded since.").format(what=what, at=finished)
    elif how in WAITS and blocked:
        if touch.kind is TouchKind.FINISH and all(dose.state is DoseState.UNRECORDED for dose in touch.ends):
            return  # that of a start which stands there already
        yield _("Not to be done now: {what}, {at}.").format(what=what, at=at)
    elif how is Status.DUE:
        yield _("Due: {what}, {at}.").format(what=what, at=at)
    elif touch.kind is TouchKind.FINISH and all(dose.state is DoseState.UNRECORDED for dose in touch.ends):
        return  # nobody has said that it was started: that is asked for
    elif how is Status.OVERDUE:
        said = _("Was it done? {what}, {at} ({late} ago). Record it.").format(
            what=what, at=at, late=span(now - touch.planned)
        )
        yield f"{said} {_else(touch, schedule, now)}"
    elif how is Status.UNCONFIRMED and _past_cut_off(touch, schedule, now):
        yield _(
            "Unconfirmed, past its cut-off: {what}, {at}. It may have been given. Call {now} before you give it."
        ).format(what=what, at=at, now=call_words(plan.contacts["now"]))
    else:
        return
    for line in ask_lines(touch, plan):
        yield f"  {line}"


def _else(touch: Touch, schedule: Schedule, now: Instant) -> str:
    """Say what to do with an overdue event that was not done: do it, or ask. Only the last of its sort is done at all."""
    plan = schedule.plan
    call = call_words(plan.contacts["now"])
    held = within(schedule.lumens[touch.lumen].held, now)
    later = any(
        other.lumen == touch.lumen
        and touch.planned < other.planned
        and other.outcome is None
        and status(other, schedule, now) in WAITS
        and _sort(other) == _sort(touch)
        for other in schedule.touches
    )
    if later or held or touch.nurse_only or touch.asks:
        return _("If it was not done, do not make it up: ask {now}.").format(now=call)
    last = cut_off(touch)
    if last is not None:
        until = clock_beside(plan, last, plan.clock.local(now).date())
        return _("Only if it was not given: it may be started late until {until}; after that call {now} first.").format(
            until=until, now=call
        )
    return _("Only if it was not done, do it now.")


def _sort(touch: Touch) -> tuple[bool, str]:
    """Name what an event is one of many of: the starts of an order's doses, their finishes, the flushes of a lumen."""
    return bool(touch.starts), touch.dose.order if touch.dose else touch.kind.value


def _past_cut_off(touch: Touch, schedule: Schedule, now: Instant) -> bool:
    """Say whether a dose is past its cut-off and nothing was recorded of its lumen since (R18)."""
    last = cut_off(touch)
    waits = schedule.plan.course.household_records and not overtaken(touch, schedule)
    return last is not None and now > last and waits


def _limit_passed(name: str, schedule: Schedule, now: Instant) -> tuple[Instant, Instant] | None:
    """Return the last recorded flush of an idle lumen and when its limit passed, where nothing is recorded since (R16).

    Where the household does not record, nothing is known, and nothing is said.
    """
    plan, state = schedule.plan, schedule.lumens[name]
    lumen = plan.lumens[name]
    if not plan.course.household_records or not lumen.in_use or _running(name, schedule):
        return None
    closed = [*state.held, *((begin, end) for begin, end, _why in state.blocked)]
    if within(closed, now):
        return None
    since = max(lumen.last_flushed.instant, state.last_flush or lumen.last_flushed.instant)
    deadline = limit_of(plan, lumen).last_chance(since)
    waits = any(
        touch.lumen == name and touch.at <= now and status(touch, schedule, now) not in (Status.DONE, Status.LATE)
        for touch in schedule.touches
        if touch.kind is TouchKind.IDLE_FLUSH or touch.starts or touch.ends
    )
    return (since, deadline) if deadline < now and waits else None
