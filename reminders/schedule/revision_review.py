"""A revision against those before it: whether its orders' doses are counted on, and what it means where they are not. Pure.

A changed first dose starts an order's count again. Nothing is wrong with either revision by itself; together they may
give more or fewer doses than are ordered, and a task that is tied to dose 4 may come twice, or never.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from reminders.findings import Finding, KeyPath
from reminders.plan.care import CareTask
from reminders.plan.model import Plan
from reminders.plan.order import Order
from reminders.schedule.doses import Ordered, ordered_doses
from reminders.schedule.model import DROPPED, Dose, DoseState, Schedule
from reminders.schedule.order_review import times, timing_key, when
from reminders.times import DAY, Instant

FAR = 200 * 366 * DAY
"""So far ahead an order's doses are counted; every order that ends by itself has ended by then."""


@dataclass(frozen=True, slots=True)
class _Course:
    """The doses that one revision orders from an instant on, whatever ends plan or line; ``all`` is None without an end."""

    order: Order
    doses: Sequence[Ordered]
    all: int | None


@dataclass(frozen=True, slots=True)
class _Change:
    """One order over a change: the doses that stand before it, how many they are from dose 1 on, what comes after it by
    the new and by the old revision."""

    at: Instant
    stand: Sequence[Dose]
    before: int
    new: _Course
    old: _Course

    @property
    def off(self) -> int:
        """Return by how much the count does not go on: 0 where it does."""
        return self.before + 1 - self.new.doses[0].number if self.new.doses else 0

    def sum_of(self, course: _Course) -> int | None:
        """Return how many doses there are in all."""
        return None if course.all is None else self.before + course.all


def review_revision(schedule: Schedule) -> list[Finding]:
    """Return what the last revision of a schedule does to the count of doses; nothing where none is known before it."""
    last = schedule.revisions[-1][1]
    earlier = [plan for _, plan in schedule.revisions if plan is not last]
    at = last.course.takes_effect.instant
    found = []
    for name, order in last.orders.items():
        olds = [plan for plan in earlier if name in plan.orders]
        if not olds or not (_counted(order) and _counted(olds[-1].orders[name])):
            continue
        if order.drug.casefold() != olds[-1].orders[name].drug.casefold():
            continue  # another drug has the name: its doses are others
        numbered = sorted((dose for dose in schedule.doses.get(name, ()) if dose.number), key=lambda dose: dose.ordered)
        stand = [dose for dose in numbered if dose.ordered < at]
        if not stand:
            continue
        before = stand[0].number - 1 + len(stand)
        change = _Change(
            at,
            stand,
            before,
            _course(schedule, last, order, at),
            _course(schedule, olds[-1], olds[-1].orders[name], at),
        )
        known = {plan.orders[name].doses for plan in olds}
        wrong = _sum_is_off(change, known)
        tasks = list(_tasks(schedule, change, numbered)) if change.off else []
        if wrong or tasks:
            found.append(_finding(schedule, change, tasks, wrong=wrong))
    return found


def _counted(order: Order) -> bool:
    """Say whether an order's doses are counted by its own keys."""
    return not (order.as_needed or order.continuous or order.follows is not None)


def _course(schedule: Schedule, plan: Plan, order: Order, at: Instant) -> _Course:
    """Return what an order orders from an instant on."""
    ends = order.doses is not None or order.last_day is not None or order.moments is not None
    lasting = replace(plan, course=replace(plan.course, line_removal=None)) if ends else plan
    until = Instant(at + FAR) if ends else schedule.end
    doses = [dose for dose in ordered_doses(lasting, order, until) if dose.start >= at]
    return _Course(order, doses, len(doses) if ends or not schedule.rolling else None)


def _sum_is_off(change: _Change, known: set[int | None]) -> bool:
    """Say whether the doses in all are others than were ordered; ``known`` are the numbers that earlier revisions state."""
    order, total = change.new.order, change.sum_of(change.new)
    before = change.sum_of(change.old)
    if order.doses is None and change.old.order.doses is None:
        return False  # they end by a date, whatever their number
    if not change.off and total == order.doses == change.old.order.doses:
        return False  # whatever went wrong with the count before is right again
    if total is not None and before is not None and total != before:
        return True
    return bool(change.off) and order.doses is not None and total != order.doses and total not in known


def _tasks(schedule: Schedule, change: _Change, numbered: Sequence[Dose]) -> Iterator[str]:
    """Say which tasks that are tied to numbered doses come twice, or elsewhere, or never."""
    own = schedule.revisions[-1][1].tasks
    for task in own.values():
        if task.order != change.new.order.name:
            continue
        for number in task.only_doses or ():
            comes = [
                (count, dose)
                for count, dose in enumerate(numbered, start=numbered[0].number)
                if dose.number == number and _belongs(schedule, task, dose)
            ]
            ahead = [(count, dose) for count, dose in comes if dose.ordered >= change.at and count != number]
            named = f"{task.label}, for dose {number},"
            if ahead and len(comes) > 1:
                moments = " and ".join(when(schedule, dose.ordered) for _, dose in comes)
                yield f"{named} comes {'twice' if len(comes) == 2 else times(len(comes))}: for the doses of {moments}."
            elif ahead:
                count, dose = ahead[0]
                yield f"{named} comes for the dose of {when(schedule, dose.ordered)}, which is really dose {count}."
            elif not comes and any(dose.number == number for dose in change.old.doses):
                yield f"{named} does not come any more."


def _belongs(schedule: Schedule, task: CareTask, dose: Dose) -> bool:
    """Say whether the revision in force at a dose has the task for it."""
    plan = next((plan for begins, plan in reversed(schedule.revisions) if begins <= dose.ordered), None)
    then = None if plan is None else plan.tasks.get(task.name)
    return then is not None and then.order == dose.order and dose.number in (then.only_doses or ())


def _finding(schedule: Schedule, change: _Change, tasks: Sequence[str], *, wrong: bool) -> Finding:
    order = change.new.order
    said = [_before(schedule, change), _after(schedule, change)]
    if wrong:
        said += [_sum(change), _ends(schedule, change), _outside(schedule, change)]
    keys = ("first_dose", "doses") if order.first_dose is not None else (timing_key(order)[-1],)
    stated = [key for key in keys if getattr(order, key) is not None]
    places: tuple[KeyPath, ...] = tuple(("order", order.name, key) for key in stated)
    return Finding(
        code="dose-count",
        message=" ".join(part for part in (*said, *tasks) if part),
        expected="doses that are counted on from the revision before, as many in all as are ordered",
        mend=_mend(schedule, change, bool(tasks)),
        places=places,
    )


def _before(schedule: Schedule, change: _Change) -> str:
    order, count = change.new.order, change.before
    dropped = sum(dose.state in DROPPED for dose in change.stand)
    recorded = sum(dose.state not in DROPPED and dose.state is not DoseState.UNRECORDED for dose in change.stand)
    stand = "1 dose stands" if count == 1 else f"{count} doses stand"
    told = f"{order.drug}: {stand} before this revision takes effect ({when(schedule, change.at)})"
    parts = [f"{recorded} recorded as given"] if recorded else []
    parts += [f"{dropped} as not given"] if dropped else []
    return f"{told}, {' and '.join(parts)}." if parts else f"{told}."


def _after(schedule: Schedule, change: _Change) -> str:
    order = change.new.order
    if not change.new.doses:
        return "No dose comes after it."
    if not change.off:
        return ""
    first = change.new.doses[0]
    number = f"dose {first.number}" + ("" if order.doses is None else f" of {order.doses}")
    what = "The count starts again" if first.number == 1 else "The count does not go on"
    return (
        f"{what}: the dose of {when(schedule, first.start)} is called {number}, and is really dose {change.before + 1}."
    )


def _sum(change: _Change) -> str:
    total, before = change.sum_of(change.new), change.sum_of(change.old)
    if total is None:
        return "It goes on without a number of doses."
    stated = change.new.order.doses
    ordered = [] if stated in (None, total) else [f"{stated} are stated"]
    if before is not None and before not in (total, stated):
        ordered.append(f"the revision before makes {before}")
    elif before == stated and ordered:
        ordered = [f"{stated} are ordered"]
    return "; ".join([f"That makes {times(total, 'doses')} in all", *ordered]) + "."


def _ends(schedule: Schedule, change: _Change) -> str:
    ends = [course.doses[-1].start for course in (change.new, change.old) if course.doses and course.all is not None]
    if len(ends) < 2 or ends[0] == ends[1]:
        return ""
    return f"The last one comes {when(schedule, ends[0])} instead of {when(schedule, ends[1])}."


def _outside(schedule: Schedule, change: _Change) -> str:
    """Say how many doses can no longer be given here, because line or plan has ended."""
    course = schedule.revisions[-1][1].course
    end = course.end or course.line_removal
    count = 0 if end is None else sum(dose.start >= end.instant for dose in change.new.doses)
    if end is None or not count:
        return ""
    ended = "the plan has ended" if course.end is not None else "the line is taken out"
    lie = "1 of them lies" if count == 1 else f"{count} of them lie"
    return f"{lie} after {ended} ({when(schedule, end.instant)}), where nothing is planned."


def _mend(schedule: Schedule, change: _Change, tied: bool) -> str:
    order = change.new.order
    ask = "Ask the prescriber how many doses are meant in all"
    ask += ", and for which of them each task is meant." if tied else "."
    if not change.off:
        more = (
            f"; if {times(order.doses, 'doses')} are still to be given, write {change.before + order.doses}"
            if order.doses
            else ""
        )
        return f"{ask} The number of doses counts the whole order, with those before the change{more}."
    first = change.new.doses[0].start
    day = f"{schedule.plan.clock.local(first):%Y-%m-%d %H:%M}"
    begin = (
        f"set first_dose to {day} and"
        if order.first_dose is not None
        else f"list only the moments from {day} on, and set"
    )
    numbers = [course.order.doses for course in (change.old, change.new) if course.order.doses is not None]
    kept = f", and keep {numbers[0]} as the number of doses" if numbers else ""
    return (
        f"{ask} If only the times change, let the count go on: {begin} first_dose_number to {change.before + 1}{kept}. If the "
        "count is meant to start again: the number of doses is then that still to be given, and tasks for numbered doses follow "
        "the new count."
    )
