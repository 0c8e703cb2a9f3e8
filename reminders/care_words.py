"""One care task, and what is recorded of it, into words; all of them are marked for gettext."""

from datetime import date

from reminders.plan.care import CareTask, Doer, TaskKind
from reminders.plan.model import Plan
from reminders.schedule.model import Outcome, TaskEvent
from reminders.schedule.status import task_window
from reminders.times import Instant
from reminders.words import CATALOGUE, call_words, clock_beside, drug_words, note_words, prepare_words

_ = CATALOGUE.gettext

CARE_TASKS = _("Care tasks")


def doer_words(task: CareTask) -> str:
    """Say who does a task."""
    return {
        Doer.HOUSEHOLD: _("You do this."),
        Doer.NURSE: _("The nurse does this."),
        Doer.CLINIC: _("The clinic or laboratory does this."),
        Doer.PHARMACY: _("The pharmacy does this."),
    }[task.done_by]


def with_doer_words(task: CareTask) -> str:
    """Name a task, with who does it if that is not the household."""
    who = {Doer.NURSE: _("the nurse"), Doer.CLINIC: _("the clinic or laboratory"), Doer.PHARMACY: _("the pharmacy")}
    if task.done_by is Doer.HOUSEHOLD:
        return task.label
    return _("{what} ({who})").format(what=task.label, who=who[task.done_by])


def was_it_words(task: CareTask) -> str:
    """Ask whether a task was done, as whoever is at home can know it."""
    if task.kind is TaskKind.DELIVERY:
        return _("Did it come?")
    if task.done_by is Doer.NURSE:
        return _("Was the nurse here?")
    return _("Was it done?")


def if_not_words(event: TaskEvent, current: Plan) -> str:
    """Say what to do about a task whose time has passed, if it was not done; ``current`` says whom to call."""
    task = event.care
    if event.dose is not None:
        said = _("If it was not done, ask {who} before you go on: {drug} goes with it.")
        who = call_words(current.contacts["now"])
        return said.format(who=who, drug=event.plan.orders[event.dose.order].drug)
    if task.done_by is not Doer.HOUSEHOLD:
        who = call_words(current.contacts.get("next_contact", current.contacts["now"]))
        return _("If not, ask {who} when it will be.").format(who=who)
    return _("Only if it was not done, do it now, or say to when it is put off.")


def ask_dose_words(event: TaskEvent, current: Plan, *, shut: bool) -> str:
    """Say of a task that its dose must be asked about first, or, where ``shut``, must not be given now."""
    assert event.dose is not None
    said = (
        _("Leave this: {drug} must not be given now. Call {who}.")
        if shut
        else _("Ask about {drug} before you do this: call {who}.")
    )
    return said.format(drug=event.plan.orders[event.dose.order].drug, who=call_words(current.contacts["now"]))


def task_title(event: TaskEvent) -> str:
    """Return the title of a task's event, with what is recorded of it: ``Done: Change the dressing``."""
    label = event.care.label
    if event.outcome is Outcome.SKIPPED:
        return _("Not to be done: {what}").format(what=label)
    if event.outcome is Outcome.HELD:
        return _("Held: {what}").format(what=label)
    return _("Done: {what}").format(what=label) if event.outcome is Outcome.DONE else label


def task_lines(event: TaskEvent, current: Plan) -> list[str]:
    """Say of a task that is still to be done who does it, when, with what, and whom to ask; of one that is done, when.

    ``current`` is the plan in force now, which says whom to call; the rest is worded by the plan in force at the event.
    """
    plan, task = event.plan, event.care
    day = plan.clock.local(event.at).date()
    if event.outcome is not None:
        lines = [recorded_task_words(event, day)]
        return [*lines, note_words(task.note)] if task.note else lines
    lines = [doer_words(task)]
    if event.dose is not None:
        lines.append(tied_words(event, day))
    lines.append(window_words(event, day))
    if task.uses:
        lines.append(_("Prepare: {items}.").format(items=prepare_words(task.uses)))
    if task.brings:
        lines.append(_("It should bring: {items}. Count what came.").format(items=prepare_words(task.brings)))
    if task.note:
        lines.append(note_words(task.note))
    lines.append(
        _(
            "Something does not look right, or it cannot be done? Call {now}. What {provider} told you comes first."
        ).format(now=call_words(current.contacts["now"]), provider=plan.protocol.provider)
    )
    return lines


def window_words(event: TaskEvent, day: date) -> str:
    """Say from when to when a task is on time."""
    opens, closes = task_window(event)
    if event.care.on_time_within is None:
        return _("At any hour of this day.")
    plan = event.plan
    return _("On time from {first} to {last}.").format(
        first=clock_beside(plan, opens, day), last=clock_beside(plan, closes, day)
    )


def recorded_task_words(event: TaskEvent, day: date) -> str:
    """Say when a task was done, beside when it was planned, or that it is not to be done."""
    planned = clock_beside(event.plan, event.planned, day)
    if event.outcome is Outcome.HELD:
        return _("Planned for {planned}, while the line is looked after elsewhere: they see to it.").format(
            planned=planned
        )
    if event.outcome is Outcome.SKIPPED:
        return _("Planned for {planned}. Somebody said that it is not to be done.").format(planned=planned)
    done = clock_beside(event.plan, event.at, day)
    if event.besides or event.at == event.planned:
        return _("Done {done}.").format(done=done)
    return _("Done {done}; it was planned for {planned}.").format(done=done, planned=planned)


def tied_words(event: TaskEvent, day: date) -> str:
    """Say with which dose a task goes that is tied to one."""
    dose, plan = event.dose, event.plan
    assert dose is not None
    drug = drug_words(plan.orders[dose.order])
    if event.care.after_finish is not None and dose.end is not None:
        return _("It goes with {drug}, which finishes at {at}.").format(drug=drug, at=clock_beside(plan, dose.end, day))
    return _("It goes with {drug}, which starts at {at}.").format(
        drug=drug, at=clock_beside(plan, Instant(dose.start), day)
    )
