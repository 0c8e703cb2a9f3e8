"""What to do after a report, and whom to call (R15-R18, S1-S14, R27)."""

from collections.abc import Iterator

from reminders.event_words import ask_words
from reminders.plan.model import FluidKind, Plan
from reminders.plan.order import FlushThrough
from reminders.record.facts import ASKS_FIRST, SUSPENDS, Fact, Kind, Sign
from reminders.schedule.care_tied import tied_key
from reminders.schedule.happened import within
from reminders.schedule.identity import Identities
from reminders.schedule.limits import limit_words
from reminders.schedule.lumen_now import blocked, running_doses
from reminders.schedule.model import DROPPED, Dose, DoseState, Schedule, TouchKind
from reminders.schedule.status import cut_off
from reminders.schedule.whole_line import DRESSING_SIGNS, named_in
from reminders.times import Instant
from reminders.units import span
from reminders.words import CATALOGUE, call_words, clock_beside, draws_before, lumen_words

_ = CATALOGUE.gettext


def first_words(sign: Sign | None, plan: Plan, note: str = "") -> str:
    """Say what comes first after a sign, which ``note`` may say in words of its own; nothing where there is none."""
    now, emergency = call_words(plan.contacts["now"]), call_words(plan.contacts["emergency"])
    if sign in SUSPENDS:
        return _(
            "STOP. Clamp. Do not flush and do not lock this lumen. Call {now} now. Short of breath, chest pain or faint: "
            "call {emergency}. Nothing is planned on it until a clinician releases it."
        ).format(now=now, emergency=emergency)
    if sign is Sign.NOT_FLOWING:
        return _("Look at the clamp and for a kink in the tube. Never force a flush. Call {now}.").format(now=now)
    if sign in ASKS_FIRST:
        return _("STOP. Clamp. Never force a flush. Call {now} before this lumen is used again.").format(now=now)
    if sign is Sign.OTHER and named_in(note) in DRESSING_SIGNS:
        return _dressing_words(plan)
    if sign is Sign.OTHER:
        return _(
            "Short of breath, chest pain, faint, chills after a flush, heavy bleeding, a broken line (clamp between the break "
            "and your body): call {emergency} first. Fever, or anything else that worries you: call {now} now. A record is no call for help."
        ).format(now=now, emergency=emergency)
    return ""


def _dressing_words(plan: Plan) -> str:
    """Say whom to call about a dressing that is wet, loose or soiled, which is no emergency: as the cautions have it."""
    now = call_words(plan.contacts["now"])
    same_day = plan.contacts.get("same_day")
    if same_day is None:
        return _("Dressing wet, loose or soiled: call {now}. A record is no call for help.").format(now=now)
    return _(
        "Dressing wet, loose or soiled: call {same_day} the same day. Pain, swelling, a leak or fever with it: call {now} now. "
        "A record is no call for help."
    ).format(same_day=call_words(same_day), now=now)


def advice(fact: Fact, before: Schedule, after: Schedule) -> Iterator[str]:
    """Yield what to do after one fact, and whom to call; nothing where it takes its course."""
    plan = after.plan
    call = call_words(plan.contacts["now"])
    if fact.sign is not None:
        yield first_words(fact.sign, plan, fact.note)
    if fact.sign is Sign.NOT_FLOWING:
        yield _("When it will finish is not known until you say that it runs again, or was stopped early.")
    elif fact.sign in ASKS_FIRST:
        yield _("This does not count as a flush: the lumen's limit goes on.")
    if fact.kind in OVERTAKE and not fact.elsewhere:
        yield from _left_open(fact, before, after)
    if fact.kind is Kind.STARTED:
        yield from _about_start(fact, before, after, call)
    elif fact.kind is Kind.FLUSHED:
        yield from _about_flush(fact, before, after, call)
    elif fact.kind is Kind.FINISHED:
        yield from _about_finish(fact, after)
    elif fact.kind is Kind.INTERRUPTED and fact.sign is None:
        yield _("A standing infusion lets the lumen clot. If it does not run again soon, call {now}.").format(now=call)
    elif fact.kind is Kind.RESUMED:
        yield from _about_going_on(fact, after, call)
    elif fact.kind is Kind.STOPPED and fact.sign is None:
        yield _("How much was given decides what follows: call {now} before the next dose.").format(now=call)
    elif fact.kind is Kind.NOT_GIVEN:
        yield _("Do not make it up and do not double the next one. Call {now}.").format(now=call)
    elif fact.kind is Kind.SKIPPED:
        yield from _about_skip(fact, after, call)
    elif fact.kind is Kind.DELAYED:
        yield from _about_delay(fact, after, call)
    elif fact.kind is Kind.HEPARIN_STOPPED:
        yield _(
            "No heparin is in the plan from now on. Throw none of it away before you have asked. Ask {now} with what, and "
            "how often, the lumens are to be locked now."
        ).format(now=call)
    elif fact.kind is Kind.REMOVED:
        yield _("Nothing more is planned. Was an infusion still running, or is anything left over? Ask {now}.").format(
            now=call
        )
    elif fact.kind is Kind.EXCHANGED:
        yield _(
            "Ask {now} for the plan of the new line. Until it is in use nothing is offered on the old lumens."
        ).format(now=call)
    elif fact.kind is Kind.NEEDLE_OUT and plan.line.needle_out_idle_limit is None:
        yield _("The plan does not say how often the port is flushed without its needle: ask {now}.").format(now=call)
    elif fact.kind is Kind.RELEASED and not fact.order and not fact.lumen and _was_away(fact, before):
        yield _("Ask whether the orders are still the same as before the stay: {now}.").format(now=call)


OVERTAKE = frozenset({Kind.STARTED, Kind.FLUSHED, Kind.DRAWN})
"""What is done with a lumen once nothing runs in it any more: then somebody knows when that finished."""


def _left_open(fact: Fact, before: Schedule, after: Schedule) -> Iterator[str]:
    """Ask for the finish of what ran in a lumen in which something was started, or flushed after it should have finished."""
    plan, begun = after.plan_at(fact.happened), _dose_of(fact, after)
    lumen = begun.lumen if begun is not None else fact.lumen
    for dose in () if lumen not in before.lumens else running_doses(lumen, before):
        now_is = next((other for other in after.connected[dose.order] if other.key == dose.key), dose)
        if now_is.state is not DoseState.RUNNING or dose.start >= fact.happened:
            continue
        if begun is None and (dose.end is None or dose.end > fact.happened):
            continue  # it may be flushed while it runs
        if begun is not None and plan.run_together(dose.order, begun.order):
            continue
        yield _(
            "No finish is recorded of {drug}, started {started}, in the same lumen. When did it finish? Say so with the time, "
            "such as  finished {order} 10:35 ."
        ).format(
            drug=after.plan_at(dose.start).orders[dose.order].drug,
            started=clock_beside(plan, dose.start, plan.clock.local(fact.happened).date()),
            order=dose.order,
        )


def _was_away(fact: Fact, before: Schedule) -> bool:
    """Say whether everything was held before it was released; if not, only a sign about the whole line was."""
    return any(within(state.held, fact.happened) for state in before.lumens.values())


def _dose_of(fact: Fact, schedule: Schedule) -> Dose | None:
    return next((dose for dose in schedule.connected.get(fact.order, ()) if dose.key == fact.dose), None)


def _about_finish(fact: Fact, after: Schedule) -> Iterator[str]:
    """A bag that is empty early or late by more than one handling: the next who speaks with the provider says so (R15)."""
    plan, dose = after.plan, _dose_of(fact, after)
    if dose is None or dose.started is None or dose.due_end is None or fact.elsewhere:
        return
    late = fact.happened - dose.due_end
    if abs(late) <= after.plan_at(dose.start).course.handling_time:
        return
    tell = call_words(plan.contacts.get("next_contact", plan.contacts["now"]))
    if late > 0:
        yield _("It finished {late} late. Tell {contact}.").format(late=span(late), contact=tell)
    else:
        yield _("It finished {early} early. If not all of it went in, say stopped early. Tell {contact}.").format(
            early=span(-late), contact=tell
        )


def _about_going_on(fact: Fact, after: Schedule, call: str) -> Iterator[str]:
    dose = _dose_of(fact, after)
    if dose is not None and blocked(dose.lumen, after, fact.happened):
        yield _("The {lumen} must not be used. It is recorded. Call {now}.").format(
            lumen=lumen_words(after.plan, dose.lumen), now=call
        )


def _about_start(fact: Fact, before: Schedule, after: Schedule, call: str) -> Iterator[str]:
    plan = after.plan
    order = after.plan_at(fact.happened).orders.get(fact.order) or plan.orders.get(fact.order)
    if order is None:
        return
    day = plan.clock.local(fact.happened).date()
    dose = _dose_of(fact, after)
    planned = next((dose for dose in before.connected.get(fact.order, ()) if dose.key == fact.dose), None)
    if planned is not None and planned.state in DROPPED:
        yield _("It was held, or not to be given. It is recorded. Call {now} now.").format(now=call)
    if fact.again:
        yield _("A second start is recorded. Never give a dose twice. Call {now} now.").format(now=call)
    starts = [other.start for other in after.connected[fact.order] if other.started is not None]
    if order.last_dose_before_plan is not None:
        starts.append(order.last_dose_before_plan.instant)
    earlier = max((start for start in starts if start < fact.happened), default=None)
    if earlier is not None and order.least_spacing is not None:
        apart = fact.happened - earlier
        if apart < order.least_spacing and not fact.again:
            yield _("This is {apart} after the dose of {since}; the order says at least {least}. Call {now}.").format(
                apart=span(apart),
                since=clock_beside(plan, earlier, day),
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
    undrawn = [] if dose is None else _undrawn(dose, after, fact.happened)
    if undrawn:
        yield _(
            "Blood was to be drawn before it: {labels}. Was it? Then record it, with its time. If it was not, do not let it be "
            "drawn now before you have asked {now}: a level drawn after the start is a wrong one."
        ).format(labels=", ".join(undrawn), now=call)
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


def _undrawn(dose: Dose, after: Schedule, at: Instant) -> list[str]:
    """Return which draws belong before a dose that was started at an instant, and are not recorded; a touch may be one."""
    open_ = {event.uid for event in after.tasks if event.outcome is None}
    open_ |= {touch.uid for touch in after.touches if touch.outcome is None}
    names, key = Identities(after.plan), tied_key(dose)
    return [task.label for task in draws_before(dose, after.plan_at(at)) if names.of("task", task.name, key) in open_]


def _runs(dose: Dose, at: Instant) -> bool:
    return dose.start < at and (dose.end is None or at < dose.end)


def _about_flush(fact: Fact, before: Schedule, after: Schedule, call: str) -> Iterator[str]:
    plan = after.plan_at(fact.happened)
    lumen = plan.lumens[fact.lumen]
    state = before.lumens[fact.lumen]
    if any(begin <= fact.happened < end for begin, end, _why in state.blocked) or not lumen.in_use:
        yield _("The {lumen} must not be used. It is recorded. Call {now}.").format(
            lumen=lumen_words(plan, fact.lumen), now=call
        )
    for dose in () if fact.elsewhere else running_doses(fact.lumen, before):
        order = plan.orders.get(dose.order)
        if order is not None and order.flush_through is not FlushThrough.ALLOWED and _runs(dose, fact.happened):
            yield _(
                "{drug} was in this lumen then, and must not be flushed through. It is recorded. Call {now}."
            ).format(drug=order.drug, now=call)
    lock = plan.lock(lumen)
    if fact.fluids and lock.name not in fact.fluids and lock.kind is FluidKind.HEPARIN:
        if plan.protocol.flush_without_lock_counts:
            yield _("Recorded without {lock}. The plan lets it count for the limit.").format(lock=lock.label)
        else:
            yield _(
                "Recorded without {lock}. It does not count for the limit unless the plan says so: ask {now}."
            ).format(lock=lock.label, now=call)
    if after.removed is not None and fact.happened >= after.removed:
        yield _("The line is said to be out since {since}. It is recorded. Call {now}.").format(
            since=clock_beside(plan, after.removed, plan.clock.local(fact.happened).date()), now=call
        )
    touch = next((t for t in after.touches if t.at == fact.happened and t.lumen == fact.lumen and t.outcome), None)
    if touch is None or touch.kind is not TouchKind.IDLE_FLUSH or fact.elsewhere:
        return
    day = plan.clock.local(fact.happened).date()
    if touch.planned != touch.at:
        again = any(t.lumen == fact.lumen and t.at == touch.planned and t.outcome is None for t in after.touches)
        said = (
            _("Another one stays planned for {planned}.")
            if again
            else _("It takes the place of the flush planned for {planned}.")
        )
        yield said.format(planned=clock_beside(plan, touch.planned, day))


def _about_skip(fact: Fact, after: Schedule, call: str) -> Iterator[str]:
    """A flush that is left out lets the limit pass (R16)."""
    touch = next(
        (t for t in after.touches if t.lumen == fact.lumen and t.planned == fact.planned_for and t.outcome), None
    )
    if touch is None or touch.reason.deadline is None:
        return
    plan = after.plan_at(touch.at)
    yield _(
        "Its limit of {limit} passes at {deadline}. Who said that it may be left out? If nobody did, call {now}."
    ).format(
        limit=limit_words(plan.idle_limit(plan.lumens[fact.lumen])),
        deadline=clock_beside(plan, touch.reason.deadline, plan.clock.local(fact.happened).date()),
        now=call,
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
