"""The words of one event, by what is planned and what is recorded of it; all of them are marked for gettext."""

from datetime import date

from reminders.care_words import task_lines, task_title
from reminders.plan.model import Plan, Reveals
from reminders.schedule.model import BLOCKS, Action, Ask, AskWhy, DoseState, Outcome, Step, TaskEvent, Touch, TouchKind
from reminders.schedule.status import window
from reminders.step_words import what_to_do
from reminders.times import Instant
from reminders.units import span
from reminders.words import (
    CATALOGUE,
    DISCREET_BODY,
    DISCREET_TITLE,
    call_words,
    caution_lines,
    clock_beside,
    dose_words,
    moment_words,
    notes_of,
    nurse_only_line,
    reason_words,
    sign_words,
    timing_lines,
    title,
    what_words,
)

_ = CATALOGUE.gettext


class EventWords:
    """Words the events of a calendar. What recurs from event to event is worded once.

    What is done is worded by the plan in force at the event; whom to call, and how much may be shown, by the plan that
    the calendar is of.
    """

    def __init__(self, plan: Plan) -> None:
        """Word what all events of the calendar of ``plan`` share."""
        self._plan = plan
        self._cautions = caution_lines(plan)
        self._alike: dict[tuple[object, ...], tuple[str, list[str]]] = {}

    def event(self, touch: Touch) -> tuple[str, str]:
        """Return an event's title and description as the plan lets a phone show and keep them (R26).

        The description always holds the local time in words.
        """
        if self._plan.calendar.reveals is Reveals.NOTHING:
            return self._shown(touch.at, "", [])
        heading, to_do = self._of_its_kind(touch)
        ahead = touch.outcome is None or touch.outstanding
        lines = self._ahead(touch, to_do) if ahead else recorded_lines(touch, self._plan)
        return self._shown(touch.at, marked(heading, touch), lines)

    def task(self, event: TaskEvent) -> tuple[str, str]:
        """Return the same of a care task."""
        return self._shown(event.at, task_title(event), task_lines(event, self._plan))

    def _shown(self, at: Instant, heading: str, lines: list[str]) -> tuple[str, str]:
        plan = self._plan
        when = moment_words(plan.clock.local(at))
        if plan.calendar.reveals is Reveals.NOTHING:
            return DISCREET_TITLE, f"{when}.\n{DISCREET_BODY}"
        shown = heading if plan.calendar.reveals is Reveals.EVERYTHING else DISCREET_TITLE
        return shown, "\n".join([f"{when}. {heading}.", *lines])

    def _ahead(self, touch: Touch, to_do: list[str]) -> list[str]:
        """Say what is to be done, why, and when to stop."""
        plan = touch.plan
        lines = ask_lines(touch, self._plan)
        if touch.nurse_only:
            lines.append(nurse_only_line(self._plan))
        if touch.outstanding and touch.steps:
            lines.append(_("It has not been flushed since, as far as is recorded: due now."))
        lines += timing_lines(touch, plan) if touch.outcome is None else []
        lines += to_do
        lines += self._cautions
        lines.append(_("Why now: {reason}").format(reason=reason_words(touch, plan)))
        return lines + notes_of(touch, plan)

    def _of_its_kind(self, touch: Touch) -> tuple[str, list[str]]:
        """Return the title, and what to lay out and do; touches alike share one tuple of steps."""
        starts = (dose.order for dose in touch.starts)
        alike = (id(touch.plan), id(touch.steps), touch.kind, touch.nurse_only, touch.outstanding, *starts)
        if not touch.steps:  # all touches without steps share one empty tuple
            return title(touch, touch.plan), []
        found = self._alike.get(alike)
        if found is None:
            found = self._alike[alike] = title(touch, touch.plan), what_to_do(touch, steps_left(touch))
        return found


def steps_left(touch: Touch) -> tuple[Step, ...]:
    """Return the steps that are still to be done: of what has finished, from its first fluid on."""
    if not touch.outstanding:
        return touch.steps
    first = next((index for index, step in enumerate(touch.steps) if step.action is not Action.DISCONNECT), 0)
    return touch.steps[first:]


def marked(heading: str, touch: Touch) -> str:
    """Put before a title what the record says of the event; the time that passes changes nothing about it."""
    if touch.outcome is not None and not touch.outstanding:
        return _outcome_mark(touch).format(title=heading)
    if any(ask.why in BLOCKS for ask in touch.asks):
        return _("DO NOT USE: {title}").format(title=heading)
    if touch.asks:
        return _("ASK FIRST: {title}").format(title=heading)
    if not touch.outstanding:
        return heading
    if not touch.steps:
        return _("Flush not recorded: {title}").format(title=heading)
    mark = _("FOR THE NURSE, flush outstanding: {title}") if touch.nurse_only else _("FLUSH NOW: {title}")
    return mark.format(title=heading)


def marked_next(heading: str, touch: Touch) -> str:
    """Mark the title of what comes next: nobody asks before taking off what has run, so a finish is not *ask first*."""
    blocked = any(ask.why in BLOCKS for ask in touch.asks)
    return heading if touch.kind is TouchKind.FINISH and touch.asks and not blocked else marked(heading, touch)


def flushed_late(touch: Touch) -> bool:
    """Say whether an event was done in its window, and only its flush was recorded after that."""
    closes = window(touch)[1]
    return touch.outcome is Outcome.DONE and touch.flushed is not None and touch.at <= closes < touch.flushed


def _outcome_mark(touch: Touch) -> str:
    assert touch.outcome is not None, "what has no outcome is marked by what is to be done"
    if any(dose.state is DoseState.STOPPED for dose in touch.ends):
        return _("Stopped early: {title}")
    if flushed_late(touch):
        finished, done = _("Finished on time, flushed late: {title}"), _("Done, flushed late: {title}")
        return finished if touch.kind is TouchKind.FINISH else done
    late = touch.outcome is Outcome.DONE and (touch.flushed or touch.at) > window(touch)[1]
    return _("Done late: {title}") if late else OUTCOME_MARKS[touch.outcome]


OUTCOME_MARKS = {
    Outcome.DONE: _("Done: {title}"),
    Outcome.SKIPPED: _("Not to be done: {title}"),
    Outcome.HELD: _("Held: {title}"),
    Outcome.NOT_GIVEN: _("Not given: {title}"),
}


def recorded_lines(touch: Touch, plan: Plan) -> list[str]:
    """Say what is recorded of an event that is over, or is not to be done; ``plan`` says whom to call."""
    day = plan.clock.local(touch.at).date()
    lines = ask_lines(touch, plan)
    if touch.planned != touch.at:
        lines.append(_("It was planned for {planned}.").format(planned=clock_beside(plan, touch.planned, day)))
    if touch.flushed is not None:
        lines.append(_("Its flush was recorded at {flushed}.").format(flushed=clock_beside(plan, touch.flushed, day)))
    if touch.outcome in (Outcome.SKIPPED, Outcome.HELD, Outcome.NOT_GIVEN):
        lines.append(
            _("Do not make it up by yourself. Questions? Call {now}.").format(now=call_words(plan.contacts["now"]))
        )
    return lines


OF_THE_DOSE = frozenset({AskWhy.SPACING, AskWhy.OVERLAP, AskWhy.PART_GIVEN, AskWhy.LEADER})
"""Reasons to ask before a dose is started; once it runs they are no reason not to take it off."""


def ask_lines(touch: Touch, plan: Plan) -> list[str]:
    """Say why somebody must be asked before a touch, with the numbers, and whom to call as ``plan`` says (R17, R27)."""
    if not touch.asks:
        return []
    day = plan.clock.local(touch.at).date()
    asks = touch.asks
    if touch.kind is TouchKind.FINISH and not touch.tasks and all(ask.why in OF_THE_DOSE for ask in asks):
        return [_("This is to be done only if the dose was started, after you asked.")]
    lines = [ask_words(ask, plan, day) for ask in asks]
    call = call_words(plan.contacts["now"])
    if any(ask.why in BLOCKS for ask in touch.asks):
        lines.append(_("Do nothing with this lumen. Stop, clamp, and call {now}.").format(now=call))
    else:
        lines.append(_("ASK FIRST: call {now} before you do this.").format(now=call))
    return lines


def ask_words(ask: Ask, plan: Plan, day: date) -> str:
    """Say one reason to ask first; times on ``day`` stand without their date."""
    since = "" if ask.since is None else clock_beside(plan, ask.since, day)
    other = plan.orders[ask.other].drug if ask.other else ""
    if ask.why is AskWhy.SPACING:
        return _("This is {apart} after the dose of {since}; the order says at least {least}.").format(
            apart=span(ask.apart or 0), since=since, least=span(ask.least or 0)
        )
    if ask.why is AskWhy.OVERLAP and ask.since is None:
        return _("{other} is still in this lumen, and nobody knows until when.").format(other=other)
    if ask.why is AskWhy.NOT_THROUGH and ask.since is None:
        return _("{other} is still in this lumen, and must not be flushed through.").format(other=other)
    sign = "" if ask.sign is None else sign_words(ask.sign)
    return {
        AskWhy.OVERLAP: _("{other} runs in this lumen until {since}."),
        AskWhy.NOT_THROUGH: _("{other} is in this lumen until {since}, and must not be flushed through."),
        AskWhy.PART_GIVEN: _("The dose before it was stopped early, at {since}."),
        AskWhy.LEADER: _("It follows {other}, which was not given here, or has not finished."),
        AskWhy.HELD: _("It is held since {since}."),
        AskWhy.NEEDLE_OUT: _("The port's needle is out since {since}."),
        AskWhy.NOT_ORDERED: _("It was put off beyond what the order says now."),
        AskWhy.PROBLEM: _("This lumen has a problem since {since}: {sign}. Never force a flush."),
        AskWhy.SUSPENDED: _("Since {since} this lumen must not be used until a clinician releases it."),
        AskWhy.OUT_OF_USE: _("This lumen is out of use since {since}."),
        AskWhy.EXCHANGED: _("The line was exchanged at {since}, and this plan still describes the old one."),
    }[ask.why].format(other=other, since=since, sign=sign)


def agenda_words(touch: Touch) -> str:
    """Say in one line what a touch is: its title without the lumen, the dose's number, and an idle flush's limit."""
    plan = touch.plan
    text = what_words(touch, plan)
    which = [dose_words(dose, plan) for dose in touch.starts]
    if any(which):
        text += " (" + ", ".join(part for part in which if part) + ")"
    if touch.reason.deadline is not None and touch.outcome is None:
        text += " " + _("(by {deadline} at the latest)").format(
            deadline=clock_beside(plan, touch.reason.deadline, plan.clock.local(touch.at).date())
        )
    return marked(text, touch)


def details(touch: Touch, current: Plan) -> list[str]:
    """Say what stands below a touch on a printed page: why to ask first, its window, what to lay out, steps and notes.

    ``current`` is the plan that says whom to call.
    """
    plan = touch.plan
    if touch.outcome is not None and not touch.outstanding:
        return recorded_lines(touch, current)
    timing = timing_lines(touch, plan) if touch.outcome is None else []
    return [*ask_lines(touch, current), *timing, *what_to_do(touch, steps_left(touch)), *notes_of(touch, plan)]
