"""One screen about a schedule: sessions, nights, care tasks, supplies of a week, daily totals."""

import textwrap
from fractions import Fraction

from reminders.care_words import CARE_TASKS
from reminders.schedule.counts import daily_totals, supplies
from reminders.schedule.figures import figures
from reminders.schedule.limits import limit_words
from reminders.schedule.model import Schedule, Why
from reminders.times import DAY, Instant, ZoneTimeline
from reminders.units import number
from reminders.words import moment_words


def summary(schedule: Schedule, now: Instant, plain: Schedule) -> str:
    """Return the summary as plain text with a final newline; its week is the first one, or the next from ``now``.

    ``plain`` is the schedule to compare with: each lumen flushed whenever its own limit has run out.
    """
    plan, clock = schedule.plan, schedule.plan.clock
    counted, compared = figures(schedule), figures(plain)
    days = (schedule.end - schedule.start) / DAY
    until = "rolling on, now to" if schedule.rolling else "to"
    lines = [
        f"Revision {plan.course.revision}: {moment_words(clock.local(schedule.start))} {until} "
        f"{moment_words(clock.local(schedule.end))} ({number(days, 1)} days).",
        f"Home zone {plan.course.zone.key}, zone data {schedule.zone_data}; {len(plan.lumens)} "
        f"lumen{'' if len(plan.lumens) == 1 else 's'}, {len(plan.orders)} order{'' if len(plan.orders) == 1 else 's'}.",
        "",
        f"{'':34}{'a day':>8}{'in all':>9}{'by limit alone':>17}",
    ]
    rows = (
        ("touches", counted.touches, compared.touches),
        ("  of them idle flushes", counted.idle_flushes, compared.idle_flushes),
        ("sessions", counted.sessions, compared.sessions),
        ("  of them idle flushes only", counted.idle_sessions, compared.idle_sessions),
        ("sessions in quiet hours", counted.night, compared.night),
        ("  of them idle flushes only", counted.night_idle, compared.night_idle),
    )
    lines += [f"{label:34}{number(count / days, 1):>8}{count:>9}{other:>17}" for label, count, other in rows]
    lines += [
        "By limit alone: in all, if each lumen were flushed when its own limit, less the margin, has run out, whatever the",
        "hour. Extra flushes are there to save sessions.",
        *_nights(schedule, clock),
        *_care_tasks(schedule, now),
        "",
        *_week(schedule, now),
        "",
        *_totals(schedule),
    ]
    return "\n".join(lines) + "\n"


def _nights(schedule: Schedule, clock: ZoneTimeline) -> list[str]:
    """Say what forces sessions of idle flushes into the quiet hours: which lumen's limit, or the limits of a day."""
    lines = []
    held = {touch.at for touch in schedule.touches if touch.reason.why is Why.DAY_TOTAL}
    totals = sorted(at for at in held if any(begin <= at < end for begin, end in schedule.quiet))
    if totals:
        lines.append(f"  forced by the limits of a day: {len(totals)}, first {moment_words(clock.local(totals[0]))}")
    others = {touch.at for touch in schedule.touches if touch.reason.why is Why.FEWEST_QUIET}
    if others:
        spared = schedule.plan.protocol.saved_session_worth != 0
        why = "as few as the limits together allow" if spared else "no flush is to be added to spare them"
        lines.append(f"  {why}: {len(others)}, first {moment_words(clock.local(min(others)))}")
    for name, lumen in schedule.plan.lumens.items():
        forced = [
            touch
            for touch in schedule.touches
            if touch.lumen == name and touch.reason.why is Why.FORCED_QUIET and not touch.reason.lumen
        ]
        if forced:
            lines.append(
                f"  forced by the {lumen.label} lumen's limit of {limit_words(schedule.plan.idle_limit(lumen))}: "
                f"{len(forced)}, first {moment_words(clock.local(forced[0].at))}"
            )
    return lines


def _care_tasks(schedule: Schedule, now: Instant) -> list[str]:
    """Say of each care task, draws through a lumen among them, how often it comes in the plan and when it comes next."""
    plan = schedule.plan
    if not plan.tasks:
        return []
    planned: dict[str, list[tuple[Instant, bool]]] = {name: [] for name in plan.tasks}
    for event in schedule.tasks:
        if event.task in planned:
            planned[event.task].append((event.at, event.outcome is None))
    for touch in schedule.touches:
        for name in touch.tasks:
            if name in planned:
                planned[name].append((touch.at, touch.outcome is None))
    lines = ["", f"{CARE_TASKS + ':':42}{'in all':>9}  next"]
    for name, found in planned.items():
        ahead = [at for at, undone in found if undone and at >= now]
        coming = moment_words(plan.clock.local(min(ahead))) if ahead else "none"
        label = textwrap.shorten(plan.tasks[name].label, 39, placeholder="…")
        lines.append(f"  {label:40}{len(found):>9}  {coming}")
    return lines


def _week(schedule: Schedule, now: Instant) -> list[str]:
    first = now if schedule.start < now < schedule.end - 7 * DAY else schedule.start
    last = min(schedule.end, Instant(first + 7 * DAY))
    items = supplies(schedule, first, last)
    which = "next 7 days" if first == now else "first 7 days" if last - first == 7 * DAY else "whole plan"
    return [f"Supplies of the {which}:", *(f"  {count:>4}  {item}" for item, count in sorted(items.items()))]


def _totals(schedule: Schedule) -> list[str]:
    totals = daily_totals(schedule)
    rows = (("infused", "mL", ""), ("flushed", "mL", "with locks"), ("heparin", "units", "from locks"))
    lines = [f"{'Daily totals:':26}{'highest day':>22}{'in all':>14}"]
    for name, unit, sort in (*rows, ("sodium", "mmol", "from flushes")):
        most = max(totals, key=lambda total: getattr(total, name))
        in_all = sum((getattr(total, name) for total in totals), Fraction(0))
        lines.append(
            f"  {f'{name}, {unit}':18}{number(getattr(most, name), 1):>15}  {most.day if getattr(most, name) else '':10} {number(in_all, 1):>13}  {sort}".rstrip()
        )
    return lines
