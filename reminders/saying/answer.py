"""What a report is answered with: what to do now, and what it changed ahead (R15, R27)."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date

from reminders.event_words import ask_words, steps_left
from reminders.plan.model import Plan
from reminders.record.facts import Fact
from reminders.saying.advice import advice
from reminders.saying.care_answer import care_advice, care_changes
from reminders.saying.phrases import lumen_to_say
from reminders.schedule.happened import within
from reminders.schedule.model import BLOCKS, Ask, AskWhy, Outcome, Schedule, Status, Touch, TouchKind
from reminders.schedule.status import status
from reminders.step_words import step_words
from reminders.times import Instant
from reminders.words import (
    CATALOGUE,
    call_words,
    caution_lines,
    clock_beside,
    clocks_beside,
    lumen_words,
    moment_words,
    nurse_only_line,
    what_words,
)

_ = CATALOGUE.gettext

OPEN = (Status.DUE, Status.OVERDUE)
"""How things stand with what waits."""

SHOWN = 3
"""Events that move are told one by one up to here; the others are counted."""


def answer(facts: Sequence[Fact], before: Schedule, after: Schedule, now: Instant) -> list[str]:
    """Return what to say to somebody who has just reported ``facts``: warnings first, then what changed ahead."""
    advised = [line for fact in facts for line in (*advice(fact, before, after), *care_advice(fact, before, after))]
    lines = list(dict.fromkeys(advised))
    lumens = _lumens_of(facts, after)
    waiting = [touch for touch in after.touches if touch.outstanding and not touch.asks and touch.lumen in lumens]
    if waiting:
        lines += _flush_now(waiting[-1], after.plan)
    lines += _not_through([touch for touch in after.touches if touch.lumen in lumens], after, now)
    told = changes(before, after, now, facts)
    return [*lines, *(line for line in told if line not in lines)]


def changes(before: Schedule, after: Schedule, now: Instant, facts: Iterable[Fact] = ()) -> list[str]:
    """Return what has changed ahead, lumen by lumen and then the care tasks, each with what it was.

    Of a task that ``facts`` say was done it is said when it is due next, changed or not. Where a change makes a flush due
    at once, the cautions stand below it (R27).
    """
    lines = []
    for name in after.plan.lumens:
        lines += list(_of_lumen(name, before, after, now))
    lines += care_changes(before, after, now, facts)
    if any(_at_once(touch, before, now) for touch in after.touches):
        lines += caution_lines(after.plan)
    return lines or [_("Nothing changes ahead.")]


def _at_once(touch: Touch, before: Schedule, now: Instant) -> bool:
    """Say whether a report has put an idle flush to this minute, which nobody knew of before."""
    if touch.kind is not TouchKind.IDLE_FLUSH or touch.at != now or touch.outcome is not None or touch.asks:
        return False
    return not any(other.lumen == touch.lumen and other.at == now for other in before.touches)


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
    if touch.nurse_only:
        return [*lines, nurse_only_line(plan)]
    lines += [f"  {step_words(step, touch.plan)}" for step in steps_left(touch)]
    lines += caution_lines(plan)
    lines.append(_("When it is flushed, say so:  flushed {lumen}").format(lumen=lumen_to_say(touch.lumen, plan)))
    return lines


def _not_through(touches: Sequence[Touch], after: Schedule, now: Instant) -> list[str]:
    """Say that a flush which is still to come is not to be given into the drug that is in the lumen, and whom to call (R6)."""
    waiting = [touch for touch in touches if touch.outstanding and status(touch, after, now) in OPEN]
    kept = [(touch, ask) for touch in waiting for ask in touch.asks if ask.why is AskWhy.NOT_THROUGH]
    if not kept:
        return []
    touch, ask = kept[-1]
    plan = after.plan
    said = _("Do not flush the {lumen}: ask first. {why} {call}")
    day, lumen = plan.clock.local(now).date(), lumen_words(plan, touch.lumen)
    return [said.format(lumen=lumen, why=ask_words(ask, plan, day), call=_call(plan))]


def _of_lumen(name: str, before: Schedule, after: Schedule, now: Instant) -> Iterator[str]:
    """Yield what changed ahead on one lumen; much of one sort is told once, with the first of it."""
    old = {touch.uid: touch for touch in before.touches if touch.lumen == name and touch.outcome is None}
    whole = {touch.uid: touch for touch in after.touches if touch.lumen == name}
    new = {uid: touch for uid, touch in whole.items() if touch.outcome is None and touch.at >= now}
    plan, day, state = after.plan, after.plan.clock.local(now).date(), after.lumens[name]
    lumen = lumen_words(plan, name)
    closed = within([*state.held, *((first, last) for first, last, _why in state.blocked)], now)
    closed = closed or (after.removed is not None and now >= after.removed)
    if not closed:
        yield from _next_flush(lumen, list(old.values()), list(whole.values()), after, now, day)
    handled = [touch for touch in new.values() if touch.kind is not TouchKind.IDLE_FLUSH]
    moved = [touch for touch in handled if touch.uid in old and old[touch.uid].at != touch.at]
    for touch in moved[:SHOWN]:
        at, was = clocks_beside(plan, (touch.at, old[touch.uid].at), day)
        yield _("On the {lumen}, {what} moves to {at} (was {was}).").format(
            lumen=lumen,
            what=what_words(touch, touch.plan),
            at=at,
            was=was,
        )
    if len(moved) > SHOWN:
        yield _("{count} more move with it.").format(count=len(moved) - SHOWN)
    asked: dict[tuple[Ask, ...], list[Touch]] = {}
    for touch in new.values():
        if touch.asks and (touch.uid not in old or old[touch.uid].asks != touch.asks):
            asked.setdefault(touch.asks, []).append(touch)
    standing = next((ask.other for asks in asked for ask in asks if _stands(ask)), "")
    if standing:
        yield _("Until {drug} runs again: ask first before anything on the {lumen}. {call}").format(
            drug=plan.orders[standing].drug, lumen=lumen, call=_call(plan)
        )
    for asks, touches in asked.items():
        if not standing or _blocked(asks):
            yield _asks(touches, lumen, plan, day)
    for template, touches in _sorts(old, new, whole, handled, closed, now):
        if touches:
            yield template.format(
                lumen=lumen,
                what=what_words(touches[0], touches[0].plan),
                at=clock_beside(plan, touches[0].at, day),
                more=_more(touches),
            )


def _sorts(
    old: Mapping[str, Touch],
    new: Mapping[str, Touch],
    whole: Mapping[str, Touch],
    handled: Sequence[Touch],
    closed: bool,
    now: Instant,
) -> list[tuple[str, list[Touch]]]:
    """Return the sorts of change that are told once each, with the events that they are about."""
    both = [touch for uid, touch in new.items() if uid in old]
    seen = {(dose.order, dose.key) for touch in both for dose in touch.starts}
    gone = [touch for uid, touch in old.items() if touch.at >= now and _is_gone(whole.get(uid))]
    return [
        (
            _("New on the {lumen}: {what} at {at}{more}."),
            [t for t in handled if t.uid not in old and not t.asks and not _with_start(t, seen)],
        ),
        (
            _("No need to ask first any more on the {lumen}: {what} at {at}{more}."),
            [touch for touch in both if old[touch.uid].asks and not touch.asks],
        ),
        (
            _("Done in another way on the {lumen}: {what} at {at}{more}. Look at the steps."),
            [t for t in both if old[t.uid].steps and t.steps and old[t.uid].steps != t.steps],
        ),
        (
            _("No longer planned on the {lumen}: {what} at {at}{more}."),
            # Idle flushes come and go with every report; that they stop is said where the lumen is closed.
            [t for t in gone if (closed or t.kind is not TouchKind.IDLE_FLUSH) and not _with_start(t, seen)],
        ),
    ]


def _with_start(touch: Touch, seen: Collection[tuple[str, str]]) -> bool:
    """Say whether a finish comes or goes with a start that stays ahead, of which something is said already."""
    return touch.kind is TouchKind.FINISH and all((dose.order, dose.key) in seen for dose in touch.ends)


def _is_gone(touch: Touch | None) -> bool:
    return touch is None or touch.outcome in (Outcome.HELD, Outcome.SKIPPED, Outcome.NOT_GIVEN)


def _more_doses(touches: Sequence[Touch]) -> str:
    """Say how many doses come after the first event; that a dose finishes is no second one."""
    if touches[0].starts:
        return _more([touch for touch in touches if touch.starts])
    doses = sum(bool(touch.starts) for touch in touches)
    said = _(", and 1 dose after it") if doses == 1 else _(", and {count} doses after it")
    return said.format(count=doses) if doses else ""


def _more(touches: Sequence[Touch]) -> str:
    return _(", and {count} more after it").format(count=len(touches) - 1) if len(touches) > 1 else ""


def _asks(touches: Sequence[Touch], lumen: str, plan: Plan, day: date) -> str:
    """Say of all touches that must be asked about for one reason: the first of them, how many more, and why."""
    first = touches[0]
    said = _("Do not use the {lumen}: {what} at {at}{more}. {why}")
    if not _blocked(first.asks):
        said = _("Ask first on the {lumen}: {what} at {at}{more}. {why} {call}")
    return said.format(
        lumen=lumen,
        what=what_words(first, first.plan),
        at=clock_beside(plan, first.at, day),
        more=_more_doses(touches),
        why=" ".join(ask_words(ask, plan, day) for ask in first.asks),
        call=_call(plan),
    )


def _stands(ask: Ask) -> bool:
    """Say whether somebody must be asked because an infusion stands in the lumen, nobody knows until when."""
    return ask.why is AskWhy.OVERLAP and ask.since is None


def _blocked(asks: Iterable[Ask]) -> bool:
    return any(ask.why in BLOCKS for ask in asks)


def _call(plan: Plan) -> str:
    return _("Call {now}.").format(now=call_words(plan.contacts["now"]))


def _next_flush(
    lumen: str, old: Sequence[Touch], whole: Sequence[Touch], after: Schedule, now: Instant, day: date
) -> Iterator[str]:
    """Say when the next idle flush is, where that has changed; and a flush that a report puts into the quiet hours."""
    was, now_is = _idle_ahead(old, now), _idle_ahead(whole, now)
    plan = after.plan
    if now_is and (not was or was[0].at != now_is[0].at):
        first = now_is[0]
        at, *others = clocks_beside(plan, [flushes[0].at for flushes in (now_is, was) if flushes], day)
        before = "".join(_(" (was {was})").format(was=other) for other in others)
        earlier = any(touch.starts and now <= touch.at < first.at for touch in whole if touch.outcome is None)
        yield _("Next flush of the {lumen}{besides} {at}{at_once}{before}.{waits}").format(
            lumen=lumen,
            besides=_(" besides its infusions") if earlier else "",
            at=at,
            at_once=_(", due now") if first.at == now else "",
            before=before,
            waits=_waits(whole, after, now, day),
        )
    elif was and not now_is:
        yield _("No more flush of the {lumen} is planned besides its infusions.").format(lumen=lumen)
    asleep = {touch.uid for touch in was if within(after.quiet, touch.at)}
    night = next((touch for touch in now_is if within(after.quiet, touch.at) and touch.uid not in asleep), None)
    if night is not None:
        yield _("That puts a flush of the {lumen} into the quiet hours: {at}.").format(
            lumen=lumen, at=moment_words(plan.clock.local(night.at))
        )


def _waits(touches: Iterable[Touch], after: Schedule, now: Instant, day: date) -> str:
    """Ask for the last idle flush that is past and not recorded, so that nobody waits for the next one."""
    past = [touch for touch in touches if touch.kind is TouchKind.IDLE_FLUSH and touch.at < now]
    waiting = [touch for touch in past if status(touch, after, now) in OPEN]
    if not waiting:
        return ""
    return _(" The one of {at} is not recorded: was it done?").format(at=clock_beside(after.plan, waiting[-1].at, day))


def _idle_ahead(touches: Iterable[Touch], now: Instant) -> list[Touch]:
    ahead = [touch for touch in touches if touch.kind is TouchKind.IDLE_FLUSH and touch.at >= now]
    return [touch for touch in ahead if touch.outcome is None]
