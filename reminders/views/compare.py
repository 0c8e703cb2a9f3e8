"""What a new revision of a plan changes, in plain words, before anybody sends it: key by key, sum by sum, day by day.

The old schedule is the old plan's; the new one is the new plan's with the old one before it, so that what lies before
the change is the same in both. Nothing is decided here: the text ends with who must confirm it.
"""

import textwrap
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from reminders.plan.model import Plan
from reminders.plan.order import GivenAs, Order
from reminders.plan.read import Reading
from reminders.record.facts import Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.counts import supplies
from reminders.schedule.figures import figures
from reminders.schedule.model import DROPPED, ENDLESS, Dose, Schedule
from reminders.schedule.revision_review import review_revision
from reminders.times import DAY, Instant
from reminders.units import span
from reminders.views.event_changes import EventChange, PumpChange, by_day, days_words, event_changes, pump_changes
from reminders.views.plan_changes import PlanChange, plan_changes
from reminders.words import CATALOGUE, call_words, drug_words, moment_words, run_words

_ = CATALOGUE.gettext

WIDTH = 100
"""Letters in a line of running text."""

WEEK = 7 * DAY

CARE = _("care tasks and blood draws")


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a comparison says, as text with a final newline; ``refused``: the files are not of one plan."""

    text: str
    refused: bool = False


def compare_plans(old: Reading, new: Reading, record: Record, now: Instant, earlier: Sequence[Plan] = ()) -> Comparison:
    """Compare two plans that were read without an error, as of ``now``; ``record`` is that of the plan, or empty.

    ``earlier`` are the revisions that were in use before the old one.

    Raises:
        TooManyDosesError: an order has more doses than anyone means.
    """
    assert old.plan is not None, "a plan with errors is not compared"
    assert new.plan is not None, "a plan with errors is not compared"
    if told := refusal(old, new):
        return Comparison(told, refused=True)
    before, after = schedules(old.plan, new.plan, record, now, earlier)
    return Comparison(compare(old, new, before, after, now))


def refusal(old: Reading, new: Reading) -> str:
    """Say why two files cannot be compared; nothing where they are of one plan."""
    assert old.plan is not None, "a plan with errors is not compared"
    assert new.plan is not None, "a plan with errors is not compared"
    if old.plan.course.id == new.plan.course.id:
        return ""
    lines = [
        _("ERROR: {old} and {new} are not of one plan: their ids differ.").format(
            old=old.source.name, new=new.source.name
        ),
        _("  Expected: two revisions of one plan; the id stays the same in every revision."),
        _(
            "  To mend: Name the right files. If the new one is a revision of the old one, copy the old id into it; if it "
            "is for somebody else, there is nothing to compare."
        ),
    ]
    return "\n".join(lines) + "\n"


def schedules(
    old: Plan, new: Plan, record: Record, now: Instant, earlier: Sequence[Plan] = ()
) -> tuple[Schedule, Schedule]:
    """Return the old plan's schedule, and the new plan's with the old one before it.

    A new plan whose revision was not raised is taken as if it had been.
    """
    if new.course.revision <= old.course.revision:
        new = replace(new, course=replace(new.course, revision=old.course.revision + 1))
    before = compile_schedule(old, record, now, earlier)
    return before, compile_schedule(new, record, now, [*earlier, old])


def compare(old: Reading, new: Reading, before: Schedule, after: Schedule, now: Instant) -> str:
    """Return the comparison as text with a final newline; ``before`` and ``after`` are what :func:`schedules` makes."""
    assert old.plan is not None, "a plan with errors is not compared"
    assert new.plan is not None, "a plan with errors is not compared"
    until = _until(before, after)
    written = plan_changes(old, new)
    events: list[EventChange | PumpChange] = [*event_changes(before, after, until), *pump_changes(before, after, until)]
    lines = _wrapped([_heading(old, new, old.plan, new.plan, now)])
    if not written and not events:
        return "\n".join([*lines, "", _nothing(old.plan, new.plan)]) + "\n"
    warnings = _warnings(old.plan, new.plan, before, after, now)
    if warnings:
        lines += ["", _("WARNINGS"), *_wrapped(warnings, "  ")]
    lines += ["", _("WHAT THE PLAN SAYS DIFFERENTLY"), *_written(written)]
    lines += ["", *_sums(before, after, max(new.plan.course.takes_effect.instant, now, after.start), until)]
    lines += ["", _("DAY BY DAY"), *_days(events, before, after, now)]
    lines += ["", _("WHO MUST CONFIRM"), *_wrapped(_confirm(new.plan), "  ")]
    return "\n".join(lines) + "\n"


def _until(before: Schedule, after: Schedule) -> Instant:
    """Return up to when both are planned: an open-ended plan reaches only so far."""
    return Instant(min([ENDLESS, *(schedule.end for schedule in (before, after) if schedule.rolling)]))


def _heading(old: Reading, new: Reading, before: Plan, after: Plan, now: Instant) -> str:
    return _(
        "{old}, revision {one}, against {new}, revision {two}, which takes effect {moment}; home zone {zone}; made {made}"
    ).format(
        old=old.source.name,
        one=before.course.revision,
        new=new.source.name,
        two=after.course.revision,
        moment=_moment(after.course.takes_effect.instant, after),
        zone=after.course.zone.key,
        made=_moment(now, after),
    )


def _nothing(old: Plan, new: Plan) -> str:
    same = (old.course.revision, old.course.takes_effect.instant) == (
        new.course.revision,
        new.course.takes_effect.instant,
    )
    if same:
        return _("Nothing changes: both say the same.")
    return _("Nothing changes but the revision and the moment at which it takes effect: no dose, no flush.")


# Warnings


def _warnings(old: Plan, new: Plan, before: Schedule, after: Schedule, now: Instant) -> list[str]:
    change = new.course.takes_effect.instant
    # What the changes come to in all stands before them.
    found = [f"{finding.message} {finding.mend}" for finding in review_revision(after)]
    if new.course.revision == old.course.revision:
        found.append(
            _(
                "Both say revision {number}. Phones that hold the calendar take a change only from a higher revision: "
                "raise it before this is sent."
            ).format(number=new.course.revision)
        )
    elif new.course.revision < old.course.revision:
        found.append(
            _(
                "The new plan says revision {new}, and the old one {old}. Are the files in the right order? It is compared "
                "as if its revision were the higher one."
            ).format(new=new.course.revision, old=old.course.revision)
        )
    found += _moments(old, new, before, now)
    return [*found, *_spacings(after, change), *_running(before, after, change)]


def _moments(old: Plan, new: Plan, before: Schedule, now: Instant) -> list[str]:
    """Say what is unusual about when the new plan takes effect."""
    change, earlier = new.course.takes_effect.instant, old.course.takes_effect.instant
    found = []
    if change == earlier:
        found.append(
            _(
                "The new plan takes effect at the same moment as the old one, {moment}. Was takes_effect left as it was? "
                "As it is, nothing that the old plan says from then on stands."
            ).format(moment=_moment(change, new))
        )
    elif change < earlier:
        found.append(
            _(
                "The new plan takes effect {moment}, before the old one did, {earlier}: nothing that the old plan says "
                "from then on stands."
            ).format(moment=_moment(change, new), earlier=_moment(earlier, new))
        )
    if change < now:
        found.append(
            _(
                "The new plan takes effect {moment}, which is past ({ago} ago). What was done stays done and what was "
                "recorded stays recorded, but the time since then is measured by the new plan: what it asks for there and "
                "nobody recorded counts as overdue or unconfirmed, and its limits and spacings count from there."
            ).format(moment=_moment(change, new), ago=span(now - change))
        )
    if not before.rolling and before.end < change:
        found.append(
            _(
                "The old plan ends {end}, before the new one takes effect {moment}. Who looks after the line between?"
            ).format(end=_moment(before.end, new), moment=_moment(change, new))
        )
    return found


def _spacings(after: Schedule, change: Instant) -> list[str]:
    """Compare the last dose of each drug before the change and the first one after it with the order's spacings."""
    plan, by_drug = after.plan, defaultdict[str, list[Dose]](list)
    for name, given in after.doses.items():
        for dose in given:
            order = after.plan_at(dose.start).orders[name]
            if dose.state not in DROPPED and not order.continuous:
                by_drug[order.drug.casefold()].append(dose)
    found = []
    for doses in by_drug.values():
        last = max((dose for dose in doses if dose.start < change), key=lambda dose: dose.start, default=None)
        first = min((dose for dose in doses if dose.start >= change), key=lambda dose: dose.start, default=None)
        if last is None or first is None:
            continue
        order, apart = after.plan_at(first.start).orders[first.order], first.start - last.start
        said = _("{drug}: the last dose before the change starts {last}, the first one after it {first}, {apart} apart")
        if order.least_spacing is not None and apart < order.least_spacing:
            said += _("; the order says at least {least}. The prescriber or pharmacist decides.")
        elif order.most_spacing is not None and apart > order.most_spacing:
            said += _("; the order says at most {most}. The prescriber or pharmacist decides.")
        else:
            continue
        found.append(
            said.format(
                drug=order.drug,
                last=_moment(last.start, plan),
                first=_moment(first.start, plan),
                apart=span(apart),
                least=span(order.least_spacing or 0),
                most=span(order.most_spacing or 0),
            )
        )
    return found


def _running(before: Schedule, after: Schedule, change: Instant) -> list[str]:
    """Say what runs at the change, and until when in either plan."""
    plan, found = after.plan, []
    for name, doses in before.connected.items():
        for dose in doses:
            if dose.state in DROPPED or not dose.start < change < _end(dose):
                continue
            order = before.plan_at(dose.start).orders[name]
            now = next((other for other in after.connected.get(name, ()) if other.key == dose.key), None)
            said = _("{drug} runs when the change comes: started {start}; in the old plan {old}, in the new one {new}.")
            if order.given_as is GivenAs.PUMP:
                said = _(
                    "{drug}'s pump is connected when the change comes: since {start}; in the old plan {old}, in the new one {new}."
                )
            found.append(
                said.format(
                    drug=order.drug,
                    start=_moment(dose.start, plan),
                    old=_ends(dose, plan),
                    new=_("nothing is known of it") if now is None else _ends(now, plan),
                )
                + _other_terms(order, after.plan_at(change).orders[name], now)
            )
    return found


def _other_terms(old: Order, new: Order, dose: Dose | None) -> str:
    """Say that what runs without a pause is ordered otherwise from the change on; other doses end as they began."""
    was, now = drug_words(old) + run_words(old), drug_words(new) + run_words(new)
    if dose is None or was == now or not (old.continuous or old.given_as is GivenAs.PUMP):
        return ""
    return _(" While it is connected, {was} becomes {now}: ask who changes it, and when.").format(was=was, now=now)


def _end(dose: Dose) -> Instant:
    return ENDLESS if dose.end is None else dose.end


def _ends(dose: Dose, plan: Plan) -> str:
    if dose.end is None:
        return _("it goes on beyond the plan")
    return _("it ends {end}").format(end=_moment(dose.end, plan))


# What changes


def _written(changes: Sequence[PlanChange]) -> list[str]:
    if not changes:
        return ["  " + _("Nothing but the revision and the moment at which it takes effect.")]
    first = [change.text for change in changes if change.safety]
    others = [change.text for change in changes if not change.safety]
    lines = [] if not first else ["  " + _("First, what matters most:"), *_wrapped(first, "    ")]
    if others:
        lines += ["  " + (_("Also:") if first else _("Nothing of drugs, doses, times, limits or locks; but:"))]
        lines += _wrapped(others, "    ")
    return lines


def _sums(before: Schedule, after: Schedule, begin: Instant, until: Instant) -> list[str]:
    """Compare a week, or what both schedules reach of it, from ``begin``."""
    plan = after.plan
    end = Instant(min(begin + WEEK, until))
    heading = _("FROM {begin} TO {end}").format(begin=_moment(begin, plan), end=_moment(end, plan))
    lines = [*_wrapped([heading]), f"  {'':44}{_('old'):>8}{_('new'):>8}"]
    one, two = _counted(before, begin, end), _counted(after, begin, end)
    tasked = before.plan.tasks or after.plan.tasks
    kept = [label for label in one if tasked or label != CARE]
    lines += [f"  {label:44}{one[label]:>8}{two[label]:>8}" for label in kept]
    used, uses = supplies(before, begin, end), supplies(after, begin, end)
    lines += [f"  {item[:43]:44}{used[item]:>8}{uses[item]:>8}" for item in sorted({*used, *uses})]
    ends = {schedule.end for schedule in (before, after) if not schedule.rolling and schedule.end < end}
    if len(ends) == 1 and before.end == after.end:
        lines += _wrapped([_("Both plans end {end}.").format(end=_moment(before.end, plan))], "  ")
        return lines
    for schedule, said in ((before, _("The old plan ends {end}.")), (after, _("The new plan ends {end}."))):
        if schedule.end in ends:
            lines += _wrapped([said.format(end=_moment(schedule.end, plan))], "  ")
    return lines


def _counted(schedule: Schedule, begin: Instant, end: Instant) -> dict[str, int]:
    week = replace(schedule, touches=tuple(touch for touch in schedule.touches if begin <= touch.at < end))
    counted = figures(week)
    doses = sum(
        begin <= dose.start < end and dose.state not in DROPPED for found in schedule.doses.values() for dose in found
    )
    tasks = sum(begin <= event.at < end for event in schedule.tasks) + sum(len(touch.tasks) for touch in week.touches)
    return {
        _("doses"): doses,
        _("flushes of idle lumens"): counted.idle_flushes,
        CARE: tasks,
        _("sessions"): counted.sessions,
        _("sessions in the quiet hours"): counted.night,
    }


def _days(events: Sequence[EventChange | PumpChange], before: Schedule, after: Schedule, now: Instant) -> list[str]:
    plan = after.plan
    lines = []
    for days, told in by_day(events, plan, now):
        lines += [*_wrapped([days_words(days)], "  "), *_wrapped(told, "    ")]
    if not events:
        stays = _("Every dose and flush stays at its time, with its steps.")
        if before.plan.tasks or after.plan.tasks:
            stays = _("Every dose, flush and care task stays at its time, with its steps.")
        lines.append("  " + stays)
    if before.rolling or after.rolling:
        reach = _("Open-ended therapy is planned, and compared, until {end}.")
        lines += _wrapped([reach.format(end=_moment(_until(before, after), plan))], "  ")
    return lines


def _confirm(plan: Plan) -> list[str]:
    return [
        _("This only shows what changes. Whether it is right is for those who ordered it:"),
        _("- the prescriber, or the pharmacist: drugs, doses, rates, lumens, times and spacings;"),
        _("- {provider}'s nurse: flushes, locks, limits, steps, care tasks and supplies.").format(
            provider=plan.protocol.provider
        ),
        _("Send it to the household when they have confirmed it. Questions: {now}.").format(
            now=call_words(plan.contacts["now"])
        ),
    ]


def _moment(at: Instant, plan: Plan) -> str:
    return moment_words(plan.clock.local(at))


def _wrapped(texts: Iterable[str], indent: str = "") -> list[str]:
    """Break texts; a line that goes on stands two letters further in."""
    lines: list[str] = []
    for text in texts:
        lines += textwrap.wrap(
            text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
        )
    return lines
