"""One fact in words, as it is read back to whoever reported it and as the nurse reads it later.

What was done is worded by the plan in force at the time: a later revision changes nothing about it (R14).
"""

from datetime import date, datetime

from reminders.plan.model import Plan
from reminders.plan.order import Order
from reminders.record.facts import Fact, Kind
from reminders.schedule.model import Schedule
from reminders.schedule.whole_line import is_dressing, named, remark
from reminders.times import Instant, from_datetime
from reminders.words import CATALOGUE, clock_beside, day_words, drug_words, lumen_words, moment_words, sign_words

_ = CATALOGUE.gettext


def fact_words(fact: Fact, schedule: Schedule) -> str:
    """Say a fact in a sentence, with when it happened, who reported it and any remark."""
    when = moment_words(schedule.plan.clock.local(fact.happened))
    lines = [_("{when}: {what}").format(when=when, what=what_happened(fact, schedule))]
    if fact.said_by:
        lines.append(_("as {name} said").format(name=fact.said_by))
    if fact.by:
        lines.append(_("reported by {name}").format(name=fact.by))
    note = remark(fact.note) if is_dressing(fact) else fact.note
    if note:
        lines.append(_("note: {note}").format(note=note))
    return ", ".join(lines) + "."


def what_happened(fact: Fact, schedule: Schedule) -> str:
    """Say what a fact says, without when and by whom."""
    current, plan = schedule.plan, schedule.plan_at(_begun(fact, schedule))
    order = plan.orders.get(fact.order) or current.orders.get(fact.order)
    drug = fact.order if order is None else drug_words(order)
    lumen = _lumen(fact, plan, current) or _("the whole line")
    day = current.clock.local(fact.happened).date()
    about = _("{drug}{dose}").format(drug=drug, dose=_dose(fact, order, current, day))
    planned, until = _planned_and_until(fact, order, current, day)
    said = _PLAIN[fact.kind].format(
        about=about,
        drug=drug,
        lumen=lumen,
        skipped=about
        if fact.order
        else _("the flush of the {lumen} planned for {planned}").format(lumen=lumen, planned=planned),
        what=drug if fact.order else lumen if fact.lumen else _("everything"),
        until=until,
        sign="" if fact.sign is None else DRESSING_WORDS.get(named(fact), sign_words(fact.sign)),
        planned=planned,
        name=_task(fact, plan, current),
        count=fact.count,
        revision=fact.revision,
        target=fact.target,
        withdraws=fact.withdraws,
    )
    return said + "".join(_("; {part}").format(part=part) for part in _besides(fact, plan, current))


def _begun(fact: Fact, schedule: Schedule) -> Instant:
    """Return the moment by whose plan a fact is worded: its own, or when its dose began; that goes on as it was ordered."""
    doses = schedule.connected.get(fact.order, ())
    return min([fact.happened, *(dose.start for dose in doses if fact.dose and dose.key == fact.dose)])


def _lumen(fact: Fact, plan: Plan, current: Plan) -> str:
    """Name a fact's lumen as the plan of that time calls it, or else the current one; as it was given if none knows it."""
    known = next((one for one in (plan, current) if fact.lumen in one.lumens), None)
    return fact.lumen if known is None else lumen_words(known, fact.lumen)


def _task(fact: Fact, plan: Plan, current: Plan) -> str:
    """Name what a fact about a care task or an item names; a task of the plan by its label."""
    known = next((one for one in (plan, current) if fact.name in one.tasks), None)
    return fact.name if known is None or fact.kind not in TASKS else known.tasks[fact.name].label


def _dose(fact: Fact, order: Order | None, plan: Plan, day: date) -> str:
    """Name which dose it was by the moment for which it was ordered, where its key says that."""
    ordered = _ordered(fact, order)
    if ordered is None:
        return ""
    if ordered.tzinfo is None:
        shown = f"{ordered:%H:%M}" if ordered.date() == day else f"{day_words(ordered.date())}, {ordered:%H:%M}"
    else:
        shown = clock_beside(plan, from_datetime(ordered), day)
    return _(", dose of {time},").format(time=shown)


def _ordered(fact: Fact, order: Order | None) -> datetime | None:
    """Return the moment for which a fact's dose was ordered, where its key says that."""
    if order is None or order.as_needed:
        return None
    try:
        return datetime.fromisoformat(fact.dose.partition(" again ")[0].partition("[")[0])
    except ValueError:
        return None


def _planned_and_until(fact: Fact, order: Order | None, plan: Plan, day: date) -> list[str]:
    """Write when something was planned, and to when it is put off: with its day where the other one is of another day."""
    moments = [fact.planned_for, fact.until]
    ordered = _ordered(fact, order)
    days = [plan.clock.local(moment).date() for moment in moments if moment is not None]
    days += [] if ordered is None else [ordered.date()]
    beside = day if all(other == day for other in days) else date.min
    return ["" if moment is None else clock_beside(plan, moment, beside) for moment in moments]


DRESSING_WORDS = {
    "dressing wet": _("the dressing is wet"),
    "dressing loose": _("the dressing is loose"),
    "dressing soiled": _("the dressing is soiled"),
}
"""What is wrong with a dressing, by the words in which it is recorded."""

TASKS = frozenset({Kind.TASK_DONE, Kind.TASK_PUT_OFF, Kind.TASK_SKIPPED})


def _besides(fact: Fact, plan: Plan, current: Plan) -> list[str]:
    parts = []
    if fact.kind is Kind.STARTED and fact.lumen:
        parts.append(_("through the {lumen}").format(lumen=_lumen(fact, plan, current)))
    if fact.fluids:
        known = [plan.fluids[name].label if name in plan.fluids else name for name in fact.fluids]
        parts.append(_("with {fluids}").format(fluids=_(" and ").join(known)))
    if fact.volume:
        parts.append(_("{volume} given").format(volume=fact.volume))
    if fact.sign is not None and fact.kind is not Kind.PROBLEM:
        parts.append(_("because of {sign}").format(sign=sign_words(fact.sign)))
    if fact.elsewhere:
        parts.append(_("elsewhere, through this line") if fact.lumen_used else _("elsewhere"))
    if fact.again:
        parts.append(_("a second time"))
    return parts


_PLAIN = {
    Kind.IN_USE: _("plan revision {revision} put in use"),
    Kind.REMOVED: _("the line was removed"),
    Kind.EXCHANGED: _("the line was exchanged"),
    Kind.NEEDLE_OUT: _("the port's needle was taken out"),
    Kind.NEEDLE_IN: _("a needle was put into the port"),
    Kind.HEPARIN_STOPPED: _("heparin was stopped"),
    Kind.RELEASED: _("{what} released"),
    Kind.RESUMED: _("{about} goes on"),
    Kind.FINISHED: _("{about} finished"),
    Kind.STOPPED: _("{about} stopped early"),
    Kind.DRAWN: _("blood was drawn through the {lumen}"),
    Kind.FLUSHED: _("the {lumen} was flushed"),
    Kind.STARTED: _("{about} started"),
    Kind.BAG_CHANGED: _("the bag of {drug} was changed"),
    Kind.INTERRUPTED: _("{about} was interrupted"),
    Kind.PROBLEM: _("{lumen}: {sign}"),
    Kind.DELAYED: _("{about} is put off to {until}"),
    Kind.SKIPPED: _("{skipped} is not to be done"),
    Kind.NOT_GIVEN: _("{about} was not given"),
    Kind.HELD: _("{what} held"),
    Kind.OUT_OF_USE: _("the {lumen} is out of use"),
    Kind.TASK_DONE: _("{name}: done"),
    Kind.TASK_PUT_OFF: _("{name}: moved from {planned} to {until}"),
    Kind.TASK_SKIPPED: _("{name}: not to be done; it was planned for {planned}"),
    Kind.DELIVERED: _("delivered: {count} × {name}"),
    Kind.STOCK_COUNTED: _("counted: {count} × {name}"),
    Kind.WITHDRAWN: _("a report was taken back"),
    Kind.PUBLISHED: _("a calendar was written"),
}
"""What each kind of fact says."""
