"""The report for the nurse's next visit as plain text: what needs attention first, then orders, care tasks, lumens, and
each day."""

import textwrap
from collections.abc import Callable, Iterable
from datetime import date
from itertools import groupby

from reminders.plan.model import Plan
from reminders.record.facts import Kind
from reminders.schedule.limits import limit_words
from reminders.schedule.model import ENDLESS, Status
from reminders.times import Instant
from reminders.units import number, span
from reminders.views.history import History, Row, Sort
from reminders.views.history_orders import Fate, OrderTotals
from reminders.views.history_tasks import TaskTotals
from reminders.views.idle_times import Gap, LumenIdle
from reminders.words import (
    CATALOGUE,
    caution_lines,
    clock_words,
    day_words,
    heading_words,
    lumen_words,
    moment_words,
)

_ = CATALOGUE.gettext

WIDTH = 100
"""Letters in a line of running text."""

MOST_LISTED = 12
"""Entries of one kind that stand under what needs attention; the others are counted, and stand in the list by day."""

STATUS_WORDS = {
    Status.PLANNED: _("planned"),
    Status.DUE: _("due"),
    Status.OVERDUE: _("OVERDUE"),
    Status.RUNNING: _("running"),
    Status.DONE: _("done"),
    Status.LATE: _("late"),
    Status.SKIPPED: _("not to be done"),
    Status.MISSED: _("NOT GIVEN"),
    Status.UNCONFIRMED: _("UNCONFIRMED"),
    Status.CANCELLED: _("cancelled"),
}

FATE_WORDS = {
    Fate.ON_TIME: _("given on time"),
    Fate.LATE: _("given late"),
    Fate.START_UNKNOWN: _("given, start not recorded"),
    Fate.BESIDES: _("given besides the schedule"),
    Fate.RUNNING: _("started, no finish recorded"),
    Fate.STOPPED: _("stopped early"),
    Fate.NOT_GIVEN: _("not given"),
    Fate.SKIPPED: _("skipped"),
    Fate.HELD: _("held"),
    Fate.BY_PUMP: _("left to the pump"),
    Fate.WAITING: _("due and not recorded yet"),
    Fate.UNCONFIRMED: _("UNCONFIRMED"),
}


def history_text(history: History) -> str:
    """Return the report as text, about 100 letters wide, with a final newline. It is for the nurse: nothing is hidden."""
    plan = history.plan
    days = _("What was planned and what was recorded from {first} to {last}, as of {now}.").format(
        first=day_words(history.first), last=day_words(history.last), now=_moment(history.now, plan)
    )
    unconfirmed = _(
        "Unconfirmed means that nobody recorded it: it may have been done, or not. (+12 min) is after, (-12 min) before "
        "the time that was ordered (for a dose's start) or planned (for everything else)."
    )
    lines = _wrapped([heading_words(plan, history.now), days, unconfirmed])
    lines += ["", _("NEEDS ATTENTION"), *_attention(history)]
    lines += ["", _("ORDERS"), *(line for totals in history.orders for line in _order(totals, plan))]
    if history.tasks:
        lines += ["", _("CARE TASKS"), *(line for totals in history.tasks for line in _task(totals, plan))]
    lines += ["", _("LUMENS"), *(line for lumen in history.lumens for line in _lumen(lumen, plan))]
    lines += ["", _("DAY BY DAY"), *_days(history)]
    lines += ["", *_wrapped(caution_lines(plan)[-2:])]
    return "\n".join(lines) + "\n"


# What needs attention


def _attention(history: History) -> list[str]:
    groups: list[tuple[str, list[str]]] = [
        (_("Problems"), _listed(history, _troubled)),
        (_("Not given"), _listed(history, lambda row: row.status is Status.MISSED)),
        (_("Overdue now"), _listed(history, lambda row: row.status is Status.OVERDUE)),
        (
            _("Unconfirmed: nothing is recorded"),
            _listed(history, lambda row: row.status is Status.UNCONFIRMED and not row.outstanding),
        ),
        (
            _("Flush not recorded after a finish or a draw"),
            _listed(history, lambda row: row.status is Status.UNCONFIRMED and row.outstanding),
        ),
        (_("Idle limit passed"), _limits(history)),
    ]
    lines = []
    for heading, found in groups:
        if found:
            lines += [f"  {heading}", *_wrapped(found, "    ")]
    return lines or ["  " + _("Nothing.")]


def _troubled(row: Row) -> bool:
    return row.kind in (Kind.PROBLEM, Kind.INTERRUPTED, Kind.OUT_OF_USE, Kind.HEPARIN_STOPPED) or row.stopped


def _listed(history: History, wanted: Callable[[Row], bool]) -> list[str]:
    rows = [row for row in history.rows if row.sort is not Sort.WITHDRAWN and wanted(row)]
    found = [
        _("{moment}, {what}").format(moment=_moment(row.at, history.plan), what=_told(row, history.plan))
        for row in rows[:MOST_LISTED]
    ]
    if len(rows) > MOST_LISTED:
        found.append(_("and {count} more, in the list by day").format(count=len(rows) - MOST_LISTED))
    return found


def _limits(history: History) -> list[str]:
    plan, found = history.plan, []
    for idle in history.lumens:
        found += [_over(gap, idle, plan) for gap in idle.recorded_over[:MOST_LISTED]]
        if len(idle.recorded_over) > MOST_LISTED:
            found.append(_("and {count} more").format(count=len(idle.recorded_over) - MOST_LISTED))
        if idle.recorded_over:
            found.append(_supposed(idle, plan))
    return found


def _over(gap: Gap, idle: LumenIdle, plan: Plan) -> str:
    return _("{lumen}: idle for {length} by what is recorded, {span}; the limit is {limit}.{closed}").format(
        lumen=lumen_words(plan, idle.lumen),
        length=span(gap.length),
        span=_from_to(gap, plan),
        limit=limit_words(gap.limit or 0),
        closed=_closed(gap, idle, plan),
    )


def _supposed(idle: LumenIdle, plan: Plan) -> str:
    lumen = lumen_words(plan, idle.lumen)
    if not idle.supposed_over:
        return _("{lumen}: if everything that is planned and not recorded was done, the limit was kept.").format(
            lumen=lumen
        )
    longest = max(idle.supposed_over, key=lambda gap: gap.length)
    return _(
        "{lumen}: even if everything that is planned and not recorded was done, it was passed: {length}, {span}."
    ).format(lumen=lumen, length=span(longest.length), span=_from_to(longest, plan))


def _closed(gap: Gap, idle: LumenIdle, plan: Plan) -> str:
    """Say where in an idle time nothing was to be done with the lumen."""
    said = ""
    for begin, end in idle.closed:
        if begin < gap.ends and end > gap.begins:
            since = _moment(begin, plan)
            if end == ENDLESS:
                said += " " + _("It was suspended, out of use or held from {since} on.").format(since=since)
            else:
                said += " " + _("It was suspended, out of use or held from {since} to {until}.").format(
                    since=since, until=_moment(end, plan)
                )
    return said


# Orders, care tasks and lumens


def _order(totals: OrderTotals, plan: Plan) -> list[str]:
    name = _("{drug}, {lumen}").format(drug=totals.drug, lumen=lumen_words(plan, totals.lumen))
    if not totals.doses:
        return _wrapped([_("{name}: no dose so far").format(name=name)], "  ")
    lines = _wrapped([_("{name}: {count} so far").format(name=name, count=_doses(totals.doses))], "  ")
    fates = [f"{FATE_WORDS[fate]}: {totals.counts[fate]}" for fate in Fate if totals.counts.get(fate)]
    lines += _wrapped(["; ".join(fates)], "    ")
    if totals.elsewhere:
        lines += _wrapped([_("of them elsewhere: {count}").format(count=totals.elsewhere)], "    ")
    if totals.mean_late is not None:
        said = _("starts: on average {mean} after the ordered time (early counts as 0), at most {most}").format(
            mean=_("{count} min").format(count=number(totals.mean_late, 1)), most=span(totals.most_late or 0)
        )
        if totals.most_early is not None:
            said += _("; at most {most} before it").format(most=span(totals.most_early))
        lines += _wrapped([said], "    ")
    for at, volume in totals.stopped:
        when = _moment(at, plan) if at is not None else _("at a moment not recorded")
        given = _("{volume} given").format(volume=volume) if volume else _("how much was given is not recorded")
        lines += _wrapped([_("stopped early: {when}, {given}").format(when=when, given=given)], "    ")
    return lines


def _task(totals: TaskTotals, plan: Plan) -> list[str]:
    label = totals.care.label
    if totals.occurrences:
        lines = _wrapped([_("{task}: {count} so far").format(task=label, count=totals.occurrences)], "  ")
        counts = [f"{STATUS_WORDS[how]}: {totals.counts[how]}" for how in Status if totals.counts.get(how)]
        if totals.besides:
            counts.append(_("of them not planned: {count}").format(count=totals.besides))
        lines += _wrapped(["; ".join(counts)], "    ")
    else:
        lines = _wrapped([_("{task}: not due so far").format(task=label)], "  ")
    last = _("last recorded as done: {moment}")
    if totals.last_done is not None:
        last = last.format(moment=_moment(totals.last_done, plan))
    elif totals.care.last_done is not None:
        moment = _moment(totals.care.last_done.instant, plan)
        last = _("last done, by what the plan says: {moment}").format(moment=moment)
    else:
        last = _("not recorded as done so far")
    return lines + _wrapped([last], "    ")


def _doses(count: int) -> str:
    return _("1 dose") if count == 1 else _("{count} doses").format(count=count)


def _lumen(idle: LumenIdle, plan: Plan) -> list[str]:
    lines = [f"  {lumen_words(plan, idle.lumen)}"]
    if idle.last_flush is None or idle.since is None:
        last = _("no flush is recorded")
    else:
        last = _("last recorded flush: {moment}, {since} ago").format(
            moment=_moment(idle.last_flush, plan), since=span(idle.since)
        )
    recorded = _longest(_("longest idle by what is recorded: {gap}"), idle.recorded, plan)
    supposed = _longest(_("longest idle if what is not recorded was done: {gap}"), idle.supposed, plan)
    return lines + _wrapped([last, recorded, supposed], "    ")


def _longest(template: str, gap: Gap | None, plan: Plan) -> str:
    if gap is None:
        return template.format(gap=_("none"))
    said = f"{span(gap.length)}, {_from_to(gap, plan)}"
    if gap.limit is None:
        said += "; " + _("no routine flush is planned into it")
    elif gap.exceeded:
        said += "; " + _("OVER the limit of {limit}").format(limit=limit_words(gap.limit))
    else:
        said += "; " + _("within the limit of {limit}").format(limit=limit_words(gap.limit))
    return template.format(gap=said)


def _from_to(gap: Gap, plan: Plan) -> str:
    return _("from {begins} to {ends}").format(begins=_moment(gap.begins, plan), ends=_moment(gap.ends, plan))


# Day by day


def _days(history: History) -> list[str]:
    clock = history.plan.clock

    def day_of(row: Row) -> date:
        return clock.local(row.at).date()

    lines = []
    for day, rows in groupby(history.rows, day_of):
        lines.append(f"  {day_words(day)}")
        for row in rows:
            lines += _row(row, history.plan)
    return lines or ["  " + _("Nothing was planned or recorded on these days.")]


def _row(row: Row, plan: Plan) -> list[str]:
    head = f"{clock_words(plan.clock.local(row.at)):10} {_word(row):25} {row_words(row, plan)}"
    if row.by:
        head += " (" + ", ".join(row.by) + ")"
    lines = textwrap.wrap(
        head, WIDTH, initial_indent="    ", subsequent_indent=" " * 41, break_on_hyphens=False, break_long_words=False
    )
    notes = list(row.notes)
    if row.status in (Status.UNCONFIRMED, Status.OVERDUE, Status.LATE) and row.why and not row.order:
        notes.append(row.why)
    return lines + _wrapped(notes, " " * 41)


def standing_words(row: Row) -> str:
    """Return how things stand with a row, without by how much it was early or late."""
    if row.sort is Sort.WITHDRAWN:
        return _("taken back")
    if row.status is None:
        return _("recorded")
    if row.outstanding:
        return _("its flush: {word}").format(word=STATUS_WORDS[row.status])
    if row.flushed_late and not row.stopped:
        return _("on time, flushed late")
    return _("STOPPED EARLY") if row.stopped else STATUS_WORDS[row.status]


def _word(row: Row) -> str:
    """Return how things stand with a row, and by how much it was early or late."""
    word = standing_words(row)
    if not row.late or row.outstanding:
        return word
    sign = "+" if row.late > 0 else "-"
    return f"{word} ({sign}{span(abs(row.late))})"


def row_words(row: Row, plan: Plan) -> str:
    """Say what a row is, with the lumen of an event that has one."""
    if row.sort is Sort.EVENT and row.lumen:
        return _("{lumen}: {what}").format(lumen=lumen_words(plan, row.lumen), what=row.what)
    return row.what


def _told(row: Row, plan: Plan) -> str:
    """Say a row under what needs attention; of an infusion that was stopped, also how much was given and why."""
    return " ".join([row_words(row, plan) + ".", *row.notes]) if row.stopped else row_words(row, plan)


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
