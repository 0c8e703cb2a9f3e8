"""All words that a household reads, in one place, marked for gettext catalogues.

R27 binds these texts: beside the steps always stand the signs to stop at, the number to call, and whose instructions
go first. The cautions are common practice; where a provider words them differently, the plan's
own signs are added.
"""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from gettext import NullTranslations

from reminders.plan.care import CareTask, TaskKind
from reminders.plan.durations import duration
from reminders.plan.idle_limit import PerDay
from reminders.plan.model import Contact, Plan
from reminders.plan.order import GivenAs, Order
from reminders.record.facts import Sign
from reminders.schedule.model import Dose, Touch, TouchKind, Why
from reminders.times import Instant
from reminders.units import span

CATALOGUE = NullTranslations()
"""Where a translation would be loaded. Named here, not taken from the machine's language, so that the same plan
gives the same bytes everywhere (R24)."""

_ = CATALOGUE.gettext

WEEKDAY_NAMES = (_("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"))
MONTH_NAMES = (
    _("Jan"), _("Feb"), _("Mar"), _("Apr"), _("May"), _("Jun"),
    _("Jul"), _("Aug"), _("Sep"), _("Oct"), _("Nov"), _("Dec"),
)  # fmt: skip

DISCREET_TITLE = _("Reminder")
DISCREET_CALENDAR = _("Reminders")
DISCREET_BODY = _("See your plan.")
DISCREET_END = _("Last reminder in this calendar: get the next one.")


def day_words(day: date) -> str:
    """Write a date: ``Sun 1 Nov 2026``."""
    return f"{WEEKDAY_NAMES[day.weekday()]} {day.day} {MONTH_NAMES[day.month - 1]} {day.year}"


def zone_words(moment: datetime) -> str:
    """Write the abbreviation in force (``CST``), or the offset where the zone has no letters for it."""
    name = moment.tzname() or ""
    return name if name.isalpha() else f"UTC{moment.isoformat()[-6:]}"


def clock_words(moment: datetime) -> str:
    """Write a local time with its zone: ``08:00 CST``."""
    return f"{moment:%H:%M} {zone_words(moment)}"


def moment_words(moment: datetime) -> str:
    """Write a local day and time: ``Sun 1 Nov 2026, 08:00 CST``."""
    return f"{day_words(moment.date())}, {clock_words(moment)}"


def lumen_words(plan: Plan, lumen: str) -> str:
    """Name a lumen by what its owner sees on it: ``red lumen``."""
    return _("{label} lumen").format(label=plan.lumens[lumen].label)


def title(touch: Touch, plan: Plan) -> str:
    """Return an event's title in the full calendar, such as ``Red lumen: start cefazolin 2 g``."""
    text = _("{lumen}: {what}").format(lumen=lumen_words(plan, touch.lumen), what=what_words(touch, plan))
    return text[0].upper() + text[1:]


def what_words(touch: Touch, plan: Plan) -> str:
    """Say what a touch is, such as ``start cefazolin 2 g``."""
    what = {
        TouchKind.START: _("start {begun}"),
        TouchKind.PUSH: _("give {begun}"),
        TouchKind.FINISH: _("finish {ended}"),
        TouchKind.CHANGEOVER: _("finish {ended}, start {begun}"),
        TouchKind.BAG_CHANGE: _("change the bag of {changed}"),
        TouchKind.IDLE_FLUSH: _("flush"),
        TouchKind.DRAW: _("blood draw"),
    }[touch.kind].format(
        begun=_and(drug_words(plan.orders[dose.order]) for dose in touch.starts),
        ended=_and(plan.orders[dose.order].drug for dose in touch.ends),
        changed=_and(plan.orders[dose.order].drug for dose in touch.bags),
    )
    if touch.bags and touch.kind is not TouchKind.BAG_CHANGE:
        changed = _and(plan.orders[dose.order].drug for dose in touch.bags)
        what = _("{what}, change the bag of {changed}").format(what=what, changed=changed)
    if touch.tasks:
        drawn = _and(plan.tasks[name].label for name in touch.tasks)
        said = _("blood draw: {drawn}") if touch.kind is TouchKind.DRAW else _("{what}, with blood draw: {drawn}")
        what = said.format(what=what, drawn=drawn)
    return _("{what} (nurse only)").format(what=what) if touch.nurse_only else what


def _and(names: Iterable[str]) -> str:
    return _(" and ").join(names)


def drug_words(order: Order) -> str:
    """Name a drug with its dose: ``cefazolin 2 g``."""
    return f"{order.drug} {order.dose.text}"


def run_words(order: Order) -> str:
    """Say volume, rate and length of an infusion as ordered: ``, 100 mL, 200 mL/h, over 30 min``."""
    parts = []
    if order.volume is not None and order.volume.text != order.dose.text:
        parts.append(order.volume.text)
    if order.rate is not None:
        parts.append(order.rate.text)
    if order.rate_steps:
        parts.append(
            _(", then ").join(
                _("{rate} for {time}").format(rate=step.rate.text, time=span(step.minutes)) for step in order.rate_steps
            )
        )
    elif not order.continuous and (runs := duration(order)) is not None:
        parts.append(_("over {time}").format(time=span(runs)))
    return "".join(f", {part}" for part in parts)


def dose_words(dose: Dose, plan: Plan) -> str:
    """Say which dose this is: ``dose 3 of 28`` or ``dose 3``; nothing for a reservoir or continuous infusion."""
    order = plan.orders[dose.order]
    if order.continuous or order.given_as is GivenAs.PUMP or not dose.number:
        return ""
    if order.doses is not None:
        return _("dose {number} of {total}").format(number=dose.number, total=order.doses)
    return _("dose {number}").format(number=dose.number)


def timing_lines(touch: Touch, plan: Plan) -> list[str]:
    """Say for each dose that starts: its number, when it ends, its window, and from when on to ask first."""
    lines = []
    day = plan.clock.local(touch.at).date()
    for dose in touch.starts:
        order = plan.orders[dose.order]
        parts = [drug_words(order)]
        if which := dose_words(dose, plan):
            parts.append(which)
        if dose.end is not None and order.given_as is not GivenAs.PUSH:
            parts.append(_("runs until {end}").format(end=clock_beside(plan, dose.end, day)))
        lines.append(", ".join(parts) + ".")
        if order.follows is not None:
            lines.append(leader_words(plan.orders[order.follows]))
        if drawn := draws_before(dose, plan):
            lines.append(drawn_first_words(drawn))
        if order.on_time_within is not None and order.cut_off is not None and dose.key != "reservoir":
            lines.append(
                _("On time from {first} to {last}. Not given by {cut_off}? Call before giving it.").format(
                    first=clock_beside(plan, dose.start - order.on_time_within, day),
                    last=clock_beside(plan, dose.start + order.on_time_within, day),
                    cut_off=clock_beside(plan, dose.start + order.cut_off, day),
                )
            )
    return lines


def draws_before(dose: Dose, plan: Plan) -> list[CareTask]:
    """Return the blood draws that belong before a dose."""
    return [
        task
        for task in plan.tasks.values()
        if task.kind is TaskKind.DRAW
        and task.order == dose.order
        and task.before_dose is not None
        and not dose.extra
        and (task.only_doses is None or dose.number in task.only_doses)
    ]


def drawn_first_words(drawn: Iterable[CareTask]) -> str:
    """Say that a dose waits for the blood that is drawn before it."""
    return _("Do not start it before the blood is drawn: {labels}.").format(labels=_and(task.label for task in drawn))


def leader_words(leader: Order) -> str:
    """Say that what follows an order waits for it."""
    return _("Start it only when {leader} has really finished.").format(leader=leader.drug)


def clock_beside(plan: Plan, minute: int, beside: date) -> str:
    """Write a local time, with its day where that is not the day that it stands beside."""
    moment = plan.clock.local(Instant(minute))
    if moment.date() == beside:
        return clock_words(moment)
    return moment_words(moment)


def clocks_beside(plan: Plan, moments: Iterable[int], beside: date) -> list[str]:
    """Write local times that stand in one sentence: all with their days, unless each is on the day that they stand beside."""
    local = [plan.clock.local(Instant(minute)) for minute in moments]
    alone = all(moment.date() == beside for moment in local)
    return [clock_words(moment) if alone else moment_words(moment) for moment in local]


def reason_words(touch: Touch, plan: Plan) -> str:
    """Say why a touch stands where it stands (R12)."""
    reason = touch.reason
    if reason.why is Why.ORDERED:
        return _("The order says so.")
    if reason.why is Why.FINISH:
        return _("The infusion is planned to finish then.")
    if reason.why is Why.BAG:
        return _("The bag is planned to be changed then.")
    if reason.why is Why.DRAW:
        return _("Blood was drawn then.")
    if reason.why is Why.TASK:
        return _("The plan says so.")
    if reason.why is Why.RECORDED:
        return _("It was recorded.")
    if reason.last_flush is None or reason.deadline is None:
        return _("Nobody has said when this lumen was last flushed: due at once. Ask the nurse first.")
    counted = _("the flush of {last}") if reason.last_recorded else _("the flush planned for {last}")
    counted = counted.format(last=moment_words(plan.clock.local(reason.last_flush)))
    deadline = moment_words(plan.clock.local(reason.deadline))
    limit = plan.idle_limit(plan.lumens[touch.lumen])
    if isinstance(limit, PerDay):
        said = _("Once each calendar day: after {counted} by {deadline}.").format(counted=counted, deadline=deadline)
    else:
        said = _("At most {limit} after {counted}, so by {deadline}.").format(
            limit=span(limit), counted=counted, deadline=deadline
        )
    if reason.last_skipped:
        said = _("{said} The flush before this one was left out, because somebody said so.").format(said=said)
    held = _held_words(touch, plan)
    return f"{said} {held}" if held else said


def _held_words(touch: Touch, plan: Plan) -> str:
    """Say what holds an idle flush where it stands, besides its limit; nothing where it is the limit alone."""
    reason = touch.reason
    avoided = reason.avoided
    near = "" if avoided is None else clock_beside(plan, avoided, plan.clock.local(touch.at).date())
    lumen = plan.lumens[reason.lumen].label if reason.lumen else ""
    if reason.why is Why.JOINED and reason.lumen != touch.lumen:
        return _("It joins what is done with the {lumen} lumen at that time.").format(lumen=lumen)
    if reason.why is Why.BEFORE_QUIET:
        before = _("It stands before the quiet hours.")
        return before if avoided is None else _("Without the quiet hours it would stand at {at}.").format(at=near)
    if reason.why is Why.FORCED_QUIET:
        if reason.lumen:
            return _("The {lumen} lumen must be flushed in these quiet hours, and this one with it.").format(
                lumen=lumen
            )
        return _("Every way to keep the limits puts a flush into these quiet hours.")
    if reason.why is Why.FEWEST_QUIET:
        if plan.protocol.saved_session_worth == 0:
            return _("The plan says that no flush is added to spare quiet hours.")
        return _("It cannot wait any longer, and every schedule as good has as many sessions in quiet hours.")
    if reason.why is Why.TOGETHER:
        return _("The {lumen} lumen must be flushed then, and this one with it.").format(lumen=lumen)
    if reason.why is Why.BEFORE_TOUCH:
        return _("Later it would come too near to the next touch of this lumen, {at}.").format(at=near)
    return {
        Why.PASSED: _("That has passed: due at once. Ask the nurse first."),
        Why.BEFORE_USE: _("After that this lumen is in use."),
        Why.PREFERRED: _("It stands at one of the preferred times."),
        Why.DAY_TOTAL: _("A limit on what a day may hold leaves no better place."),
        Why.SETTLED: _("It stays where it was planned before."),
    }.get(reason.why, "")


def sign_words(sign: Sign) -> str:
    """Name what went wrong."""
    return {
        Sign.REACTION: _("a reaction"),
        Sign.PAIN: _("pain"),
        Sign.SWELLING: _("swelling"),
        Sign.LEAK: _("a leak"),
        Sign.WILL_NOT_FLUSH: _("it will not flush"),
        Sign.NO_BLOOD_RETURN: _("no blood return"),
        Sign.NOT_FLOWING: _("the infusion does not flow"),
        Sign.OTHER: _("something else"),
    }[sign]


def prepare_words(items: Mapping[str, int]) -> str:
    """List what to lay out: ``1 × saline syringe 10 mL, 2 × hub scrub``."""
    return ", ".join(_("{count} × {item}").format(count=count, item=item) for item, count in sorted(items.items()))


def call_words(contact: Contact) -> str:
    """Name whom to call: ``On-call nurse, 555-0142``."""
    return f"{contact.who}, {contact.phone}"


def caution_lines(plan: Plan) -> list[str]:
    """Return the cautions that stand wherever someone is told to flush: when to stop, and whom to call."""
    return [
        CHECK_FIRST,
        *(f"{do}: {signs}" for _contact, do, signs in warning_signs(plan)),
        NEVER_DOUBLE,
        _("What {provider} or your nurse told you comes first.").format(provider=plan.protocol.provider),
    ]


CHECK_FIRST = _("Check name, drug, strength, expiry date and lumen first.")
NEVER_DOUBLE = _(
    "Never double a dose or speed it up. Not recorded does not mean not done: if unsure, ask before you repeat."
)


def warning_signs(plan: Plan) -> list[tuple[Contact, str, str]]:
    """Return whom to call for what, as far as the plan says: the contact, what to do in a few words, the signs for it."""
    now, emergency = plan.contacts["now"], plan.contacts["emergency"]
    showing = plan.line.external_length
    more = _(", more than {length} of the line showing").format(length=showing.text) if showing else ""
    found = [
        (
            now,
            _("STOP, clamp and call {now}").format(now=call_words(now)),
            _(
                "it will not flush (never force it), no blood return where you look for it, pain, burning, swelling or a "
                "leak{more}; fever.{signs}"
            ).format(more=more, signs=_signs(now)),
        ),
        (
            emergency,
            _("EMERGENCY, call {emergency}").format(emergency=call_words(emergency)),
            _(
                "short of breath, chest pain, faint, chills after a flush, broken line (clamp between the break and your "
                "body).{signs}"
            ).format(signs=_signs(emergency)),
        ),
    ]
    if same_day := plan.contacts.get("same_day"):
        do = _("The same day, call {same_day}").format(same_day=call_words(same_day))
        found.append(
            (same_day, do, _("dressing wet or loose, a cap or clamp off.{signs}").format(signs=_signs(same_day)))
        )
    if later := plan.contacts.get("next_contact"):
        do = _("Tell {later} when you next speak").format(later=call_words(later))
        found.append((later, do, _("a bag that finished early or late.{signs}").format(signs=_signs(later))))
    return found


def _signs(contact: Contact) -> str:
    return "".join(f" {sign}." for sign in contact.signs)


def nurse_only_line(plan: Plan) -> str:
    """Say that the household does not do this touch."""
    return _("FOR THE NURSE ONLY. Do not flush or disconnect it yourself. Nobody there? Call {now}.").format(
        now=call_words(plan.contacts["now"])
    )


def note_words(note: str) -> str:
    """Show a note that the plan holds for the household."""
    return _("Note: {note}").format(note=note)


def as_needed_lines(plan: Plan) -> list[str]:
    """Say what may be given as needed, which no calendar can schedule."""
    lines = []
    for order in plan.orders.values():
        if order.as_needed:
            said = _(
                "As needed, {lumen}: {drug}{how}. At most {most} in 24 h, {apart} apart; nothing is scheduled."
            ).format(
                lumen=lumen_words(plan, order.lumen),
                drug=drug_words(order),
                how=run_words(order),
                most=order.most_in_24h,
                apart=span(order.least_spacing or 0),
            )
            lines.append(f"{said} {note_words(order.note)}" if order.note else said)
    return lines


CALENDAR_ENDS = _("This calendar ends here: get the next one")
CALENDAR_ENDS_BODY = _(
    "This file ends at {until}. The line may still need infusions and flushes after that: ask for the calendar of the "
    "days that follow."
)
STILL_RUNNING = _("Still running then, and to be finished or changed: {drugs}.")

NO_LONGER_BODY = _("This is not planned any more. Look at the rest of the calendar for what is.")
DISCREET_NO_LONGER = _("Not planned any more. See your plan.")


def no_longer(title: str) -> str:
    """Title an event that is gone."""
    return _("No longer planned: {title}").format(title=title)


def still_waiting(count: int) -> str:
    """Say that a calendar does not hold yet all that is gone."""
    return _(
        "  {count} events that are gone find no room in it yet. A phone that imported them may still show them: delete its "
        "calendar and import this one."
    ).format(count=count)


def calendar_words(plan: Plan) -> str:
    """Describe a calendar: which revision of the plan it shows, and the plan's note."""
    said = _("Plan revision {revision}.").format(revision=plan.course.revision)
    return f"{said} {plan.course.note}" if plan.course.note else said


DO_NOT_USE = _("DO NOT USE unless a clinician has released it")
IN_QUIET_HOURS = _("(in the quiet hours)")
OUTSIDE_PLAN = _("Nothing is planned on these days: the plan runs from {first} to {last}.")
NOTHING_DUE = _("Nothing is due.")
PRIVATE = _("The .json file holds everything that the calendar leaves out: keep it to yourself.")
SNAPSHOT = _(
    "The calendar is a copy of the plan as it stands today and does not change by itself. Phones may drop its alarms: "
    "keep the printed agenda at hand."
)


def heading_words(plan: Plan, now: Instant) -> str:
    """Head a printed agenda: what it is of, which revision, whose clock, and when it was made."""
    return _("{name}, revision {revision}, {provider}; home zone {zone}; made {made}").format(
        name=plan.calendar.name,
        revision=plan.course.revision,
        provider=plan.protocol.provider,
        zone=plan.course.zone.key,
        made=moment_words(plan.clock.local(now)),
    )


def notes_of(touch: Touch, plan: Plan) -> list[str]:
    """Return the notes of the orders and draws that a touch is about."""
    names = dict.fromkeys(dose.order for dose in (*touch.starts, *touch.ends, *touch.bags))
    notes = [plan.orders[name].note for name in names] + [plan.tasks[name].note for name in touch.tasks]
    return [note_words(note) for note in notes if note]


def clock_change_words(shift: int, length: int) -> str:
    """Say that the clocks change on a day: ``shift`` minutes longer (or shorter) than 24 h."""
    if shift > 0:
        said = _("the clocks go back {time}: this day has {length}")
    else:
        said = _("the clocks go forward {time}: this day has {length}")
    return said.format(time=span(abs(shift)), length=span(length))


def zone_change_words(moment: datetime, zone: str) -> str:
    """Say from when on the household's clock is another zone's."""
    return _("from {moment} on the clock of {zone}").format(moment=clock_words(moment), zone=zone)
