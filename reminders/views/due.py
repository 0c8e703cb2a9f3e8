"""What is due now, as text: lumen by lumen what waits, what runs, what comes next and when it was last flushed; then care tasks."""

from collections.abc import Iterator, Sequence

from reminders.care_words import (
    CARE_TASKS,
    ask_dose_words,
    doer_words,
    if_not_words,
    was_it_words,
    window_words,
)
from reminders.event_words import ask_lines, marked_next
from reminders.record.facts import Fact, Sign
from reminders.schedule.care_now import CareWait, CareWaiting, care_now, drawn_by_others
from reminders.schedule.model import Schedule
from reminders.schedule.stock import Stocked
from reminders.schedule.whole_line import is_dressing
from reminders.times import Instant
from reminders.units import ago
from reminders.views import waiting_words as say
from reminders.views.stock_text import pressing_lines
from reminders.views.waiting import Flow, IfNot, LumenNow, Running, Wait, Waiting, lumens_now
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

NEXT = 3
"""Care tasks that come next and are told."""


def due(schedule: Schedule, now: Instant, signs: Sequence[Fact] = (), stocked: Sequence[Stocked] = ()) -> str:
    """Return the list of what is due at ``now``, as plain text with a final newline.

    ``signs`` are those about the line that stand: they come first. Of ``stocked`` comes last what must be ordered
    soon. What is not recorded is asked about before it is asked for (S13): it may have been done.
    """
    plan = schedule.plan
    lines = [moment_words(plan.clock.local(now))]
    if waits := say.nothing_before_words(schedule.plans[0][1], now):
        lines += ["", waits]
    standing = [] if schedule.removed is not None and now >= schedule.removed else signs
    for sign in standing:
        heading = say.whole_line_heading(plan, sign, now)
        said, do = _("{heading}. {do}"), say.dressing_words(plan)
        if not is_dressing(sign):
            said, do = _("STOP: {heading}. {do}"), say.whole_line_words(plan, sign)
        lines += ["", said.format(heading=heading, do=do)]
    for lumen in lumens_now(schedule, now):
        lines += ["", lumen_words(plan, lumen.name), *(f"  {line}" for line in _lumen(lumen, schedule, now))]
    if care := list(_care(schedule, now)):
        lines += ["", CARE_TASKS, *(f"  {line}" for line in care)]
    if pressing := pressing_lines(stocked, plan, now):
        lines += ["", _("Supplies"), *(f"  {line}" for line in pressing)]
    return "\n".join([*lines, "", *caution_lines(plan)]) + "\n"


def _care(schedule: Schedule, now: Instant) -> Iterator[str]:
    """Say which care tasks wait, and which come next; a draw through a lumen stands with the lumen."""
    plan, found = schedule.plan, care_now(schedule, now)
    if found.held and schedule.tasks:
        yield _("Held: looked after elsewhere.")
    for waits in found.waits:
        yield _task(waits, schedule, now)
    for event in found.next[:NEXT]:
        at = clock_beside(plan, event.at, plan.clock.local(now).date())
        yield _("Next: {what}, {at}. {doer}").format(what=event.care.label, at=at, doer=doer_words(event.care))


def _task(waits: CareWaiting, schedule: Schedule, now: Instant) -> str:
    plan, event = schedule.plan, waits.event
    what, at = event.care.label, clock_beside(plan, event.planned, plan.clock.local(now).date())
    if waits.wait is CareWait.NOT_NOW:
        do = ask_dose_words(event, plan, shut=True)
        return _("Not to be done now: {what}, {at}. {do}").format(what=what, at=at, do=do)
    if waits.wait is CareWait.ASK_FIRST:
        do = ask_dose_words(event, plan, shut=False)
        return _("ASK FIRST: {what}, {at}. {do}").format(what=what, at=at, do=do)
    if waits.wait is CareWait.DUE:
        when = window_words(event, plan.clock.local(now).date())
        said = _("Due: {what}, {at}. {when} {doer}")
        return said.format(what=what, at=at, when=when, doer=doer_words(event.care))
    said = _("{asked} {what}, {at} ({late} ago). Record it. {if_not}")
    return said.format(
        asked=was_it_words(event.care),
        what=what,
        at=at,
        late=ago(now - event.planned),
        if_not=if_not_words(event, plan),
    )


def _lumen(found: LumenNow, schedule: Schedule, now: Instant) -> Iterator[str]:
    plan = schedule.plan
    day = plan.clock.local(now).date()
    if found.removed is not None:
        yield say.line_out_words(plan, found.removed, now)
        return
    if not found.in_use:
        yield say.OUT_OF_USE
    yield from _open_troubles(found, schedule, now)
    for running in found.running:
        yield _runs(running, schedule, now)
    if len(found.waits) > SHOWN:
        yield _("{count} earlier events are not recorded; the history lists them.").format(
            count=len(found.waits) - SHOWN
        )
    for waits in found.waits[-SHOWN:]:
        yield from _waiting(waits, schedule, now)
    if found.unfinished:
        yield say.unfinished_words(plan, found.unfinished, now)
    if found.passed is not None:
        since, deadline = found.passed
        passed = say.limit_passed_words(plan, found.name, since, deadline, now)
        yield " ".join([passed, _("Was it flushed since? Then record it."), say.not_sure_words(plan)])
    if found.next is not None:
        yield _("Next: {what}, {at}.").format(
            what=marked_next(what_words(found.next, found.next.plan), found.next),
            at=clock_beside(plan, found.next.at, day),
        )
    if found.last_flush is not None:
        yield _("Last recorded flush: {at}, {ago} ago.").format(
            at=clock_beside(plan, found.last_flush, day), ago=ago(max(0, now - found.last_flush))
        )
    elif found.in_use:
        yield say.never_flushed_words(plan, found.name, now)


def _open_troubles(found: LumenNow, schedule: Schedule, now: Instant) -> Iterator[str]:
    """Say what is wrong with a lumen now, and whom to call."""
    plan = schedule.plan
    day = plan.clock.local(now).date()
    for since in found.blocked:
        at = clock_beside(plan, since, day)
        yield _("DO NOT USE IT, since {since}. {do}").format(since=at, do=say.blocked_words(plan))
    for sign, since in found.problems:
        at = clock_beside(plan, since, day)
        if sign is Sign.NOT_FLOWING:
            yield _("Not flowing since {since}. {do}").format(since=at, do=say.not_flowing_words(plan))
        else:
            said = _("ASK FIRST: {sign}, since {since}. {do}")
            yield said.format(sign=sign_words(sign), since=at, do=say.problem_words(plan))
    if found.held:
        yield _("Held: looked after elsewhere.")


def _runs(running: Running, schedule: Schedule, now: Instant) -> str:
    plan = schedule.plan
    drug, day = plan.orders[running.dose.order].drug, plan.clock.local(now).date()
    if running.at is None:
        return _("{drug} runs.").format(drug=drug)
    at = clock_beside(plan, running.at, day)
    if running.flow is Flow.UNKNOWN:
        return say.unknown_words(plan, drug, running.at, now)
    if running.flow is Flow.PAUSED:
        return _("{drug} is interrupted since {since}; when it will finish is not known.").format(drug=drug, since=at)
    if running.flow is Flow.RUNS:
        return _("{drug} runs, until {end}.").format(drug=drug, end=at)
    said = _("{drug} should have finished at {end}, {ago} ago. Has it? {why}")
    return said.format(drug=drug, end=at, ago=ago(now - running.at), why=say.EMPTY_BAG)


def _waiting(found: Waiting, schedule: Schedule, now: Instant) -> Iterator[str]:
    plan, touch = schedule.plan, found.touch
    day, call = plan.clock.local(now).date(), call_words(plan.contacts["now"])
    what, at = what_words(touch, touch.plan), clock_beside(plan, touch.planned, day)
    if found.wait is Wait.FLUSH_ASK:
        yield _("Not flushed since {what} at {at}, as far as is recorded. Ask {now}.").format(
            what=what, at=clock_beside(plan, touch.at, day), now=call
        )
    elif found.wait is Wait.FLUSH:
        yield _("FLUSH NOW: {what}").format(what=say.unflushed_words(plan, what, touch.at, now))
    elif found.wait is Wait.CLOSED:
        yield _("Not to be done now: {what}, {at}.").format(what=what, at=at)
    elif found.wait is Wait.DUE:
        yield _("Due: {what}, {at}.").format(what=what, at=at)
    elif found.wait is Wait.PERHAPS:
        asked = was_it_words(touch.plan.tasks[touch.tasks[0]]) if drawn_by_others(touch) else _("Was it done?")
        said = _("{asked} {what}, {at} ({late} ago). Record it.").format(
            asked=asked, what=what, at=at, late=ago(now - touch.planned)
        )
        yield f"{said} {_if_not(found, schedule, now)}"
    else:
        said = _("Unconfirmed, past its cut-off: {what}, {at}. {do}")
        yield said.format(what=what, at=at, do=say.past_cut_off_words(plan))
    for line in ask_lines(touch, plan):
        yield f"  {line}"


def _if_not(found: Waiting, schedule: Schedule, now: Instant) -> str:
    plan = schedule.plan
    if found.if_not is IfNot.ASK:
        return say.not_made_up_words(plan)
    if found.first is not None:
        return say.first_say_words(plan, found.first, now)
    return say.do_it_words(plan, found.until, now)
