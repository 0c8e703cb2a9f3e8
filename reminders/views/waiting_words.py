"""What waits or has passed, in the words in which the list of what is due and the page both say it (R15-R18, S13)."""

from collections.abc import Sequence

from reminders.plan.model import Plan
from reminders.record.facts import Fact
from reminders.schedule.limits import limit_words
from reminders.schedule.model import Dose, Touch
from reminders.schedule.whole_line import WHOLE_LINE_SIGNS, named
from reminders.times import Instant
from reminders.words import CATALOGUE, call_words, clock_beside

_ = CATALOGUE.gettext

EMPTY_BAG = _("An empty bag lets the lumen clot.")

LINE_BROKEN = "line broken"

OUT_OF_USE = _("Out of use: nothing is planned into it.")


def line_out_words(plan: Plan, since: Instant, now: Instant) -> str:
    """Say that the line is out."""
    return _("The line is out since {since}: nothing is due.").format(since=_beside(plan, since, now))


def nothing_before_words(begins: Plan, now: Instant) -> str | None:
    """Say that nothing is planned yet where the first plan that is known here begins only later; None where it has begun."""
    course = begins.course
    if now >= course.takes_effect.instant:
        return None
    said = _(
        "Nothing is planned here before {begins}, when revision {revision} begins: until then go by what you were told."
    ).format(begins=_beside(begins, course.takes_effect.instant, now), revision=course.revision)
    if course.revision == 1:
        return said
    return _("{said} The sheet of the revision before holds until then.").format(said=said)


def never_flushed_words(plan: Plan, lumen: str, now: Instant) -> str:
    """Say of a lumen of which no flush is recorded what the plan says."""
    last = plan.lumens[lumen].last_flushed.instant
    if last > now:  # stated by a revision that is still to come
        return _("No flush of it is recorded.")
    stated = _beside(plan, last, now)
    return _("No flush of it is recorded; the plan says that it was last flushed {stated}.").format(stated=stated)


def unflushed_words(plan: Plan, what: str, at: Instant, now: Instant) -> str:
    """Say that nothing was flushed after an event."""
    said = _("{what} was at {at}, and no flush is recorded since.")
    return said.format(what=what, at=_beside(plan, at, now))


def blocked_words(plan: Plan) -> str:
    """Say what to do with a lumen that must not be used."""
    return _("Clamp it, flush nothing, call {now}.").format(now=_call(plan))


def not_flowing_words(plan: Plan) -> str:
    """Say what to look at where an infusion does not flow."""
    return _("Look at the clamp and for a kink. Never force a flush. Call {now}.").format(now=_call(plan))


def problem_words(plan: Plan) -> str:
    """Say what to do with a lumen with which something is wrong."""
    return _("Never force a flush. Call {now} before this lumen is used.").format(now=_call(plan))


def past_cut_off_words(plan: Plan) -> str:
    """Say what to do about a dose of which nothing is recorded up to its cut-off (R18)."""
    return _("It may have been given. Call {now} before you give it.").format(now=_call(plan))


def not_made_up_words(plan: Plan) -> str:
    """Say what to do if something was not done that is not made up."""
    return _("If it was not done, do not make it up: ask {now}.").format(now=_call(plan))


def do_it_words(plan: Plan, until: Instant | None, now: Instant) -> str:
    """Say what to do if something was not done that may still be done: a dose up to ``until``, its cut-off."""
    if until is None:
        return _("Only if it was not done, do it now.")
    said = _("Only if it was not given: it may be started late until {until}; after that call {now} first.")
    return said.format(until=_beside(plan, until, now), now=_call(plan))


def first_say_words(plan: Plan, start: Touch, now: Instant) -> str:
    """Say what must be known before a flush is made up for: whether what was to start since runs in that lumen (R18)."""
    drug = _(" and ").join(start.plan.orders[dose.order].drug for dose in start.starts)
    return _("First say whether {drug} of {at} was given.").format(drug=drug, at=_beside(plan, start.planned, now))


def unknown_words(plan: Plan, drug: str, since: Instant, now: Instant) -> str:
    """Ask about an infusion that ran when its lumen was suspended: was it stopped, does it run, has it finished? (S1)."""
    said = _(
        "Not known whether {drug} runs. Was it stopped at {since}? Say so, or that it runs again, or has finished."
    )
    return said.format(drug=drug, since=_beside(plan, since, now))


def whole_line_heading(plan: Plan, sign: Fact, now: Instant) -> str:
    """Name a sign about the whole line that stands."""
    said = _("{sign}, since {since}").format(sign=sign.note, since=_beside(plan, sign.happened, now))
    return said[0].upper() + said[1:]


def whole_line_words(plan: Plan, sign: Fact) -> str:
    """Say what to do about a sign about the whole line that stands, and whom to call."""
    first = [_("Clamp between the break and your body.")] if named(sign) == LINE_BROKEN else []
    call = _("Call {contact} now.").format(contact=call_words(plan.contacts[WHOLE_LINE_SIGNS[named(sign)]]))
    return " ".join([*first, call, _("Use no lumen until a clinician says so.")])


def dressing_words(plan: Plan) -> str:
    """Say what to do about a dressing that is wet, loose or soiled, and until when that stands here."""
    call = call_words(plan.contacts.get("same_day", plan.contacts["now"]))
    said = _(
        "Call {call} the same day: it is not left until its planned change. This stands here until the change is recorded, or "
        "what a clinician said."
    )
    return said.format(call=call)


def unfinished_words(plan: Plan, doses: Sequence[Dose], now: Instant) -> str:
    """Say in one line of which infusions no finish is recorded, though something came after them in their lumen (R14)."""
    if len(doses) > 1:
        said = _("No finish is recorded of {count} earlier infusions: unconfirmed; the history lists them.")
        return said.format(count=len(doses))
    said = _("No finish is recorded of {drug}, started {at}: unconfirmed; the history lists it.")
    return said.format(drug=plan.orders[doses[0].order].drug, at=_beside(plan, doses[0].start, now))


def limit_passed_words(plan: Plan, lumen: str, since: Instant, deadline: Instant, now: Instant) -> str:
    """Say that a lumen's limit has passed: the last flush that is known, and by when the next one was due (R16)."""
    return _("The limit of {limit} has passed: the last flush that is known was {since}, so by {deadline}.").format(
        limit=limit_words(plan.idle_limit(plan.lumens[lumen])),
        since=_beside(plan, since, now),
        deadline=_beside(plan, deadline, now),
    )


def not_sure_words(plan: Plan) -> str:
    """Say what to do where nobody knows whether a lumen was flushed."""
    return _("Not sure? Ask {now}.").format(now=_call(plan))


def _beside(plan: Plan, at: Instant, now: Instant) -> str:
    return clock_beside(plan, at, plan.clock.local(now).date())


def _call(plan: Plan) -> str:
    return call_words(plan.contacts["now"])
