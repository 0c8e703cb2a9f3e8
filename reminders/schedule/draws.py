"""Blood draws through a lumen: which task each recorded draw belongs to, and what a draw costs a running infusion (R20, S9)."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from reminders.plan.care import CareTask
from reminders.plan.order import GivenAs
from reminders.record.facts import Fact, Kind
from reminders.schedule.care import Occurrence, Told, occurrences, plan_naming, through_lumen, told_of
from reminders.schedule.care_tied import REACH
from reminders.schedule.happened import Happened
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import ENDLESS, Dose, Outcome
from reminders.times import Instant

Horizon = tuple[Instant, Instant]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A draw through a lumen that was recorded; ``tasks`` are the occurrences that it was, none if none was planned."""

    fact: Fact
    tasks: tuple[Occurrence, ...]


def told_tasks(
    in_force: Sequence[Stretch], happened: Happened, doses: Mapping[str, Sequence[Dose]], horizon: Horizon
) -> dict[str, Told]:
    """Return what is recorded of each task.

    A draw that was recorded for a lumen only belongs to the planned draw through it that is nearest, within half a day.
    """
    facts: dict[str, list[Fact]] = defaultdict(list)
    called = [_called(stretch) for stretch in in_force]
    begins = [stretch.begins for stretch in in_force]
    for fact in happened.tasks:
        name = called[max(0, bisect_right(begins, fact.happened) - 1)].get(fact.name.casefold())
        if name is not None:
            facts[name].append(fact)
    drawn = [fact for found in happened.draws.values() for fact in found]
    for name, found in facts.items():
        facts[name] = [_as_drawn(fact, _task_at(in_force, name, fact.happened), drawn, happened) for fact in found]
    planned = {}
    if drawn and any(through_lumen(task) for stretch in in_force for task in stretch.revision.tasks.values()):
        planned = occurrences(in_force, _told(facts, happened, in_force), doses, happened.away, horizon)
    by_lumen: dict[str, list[Occurrence]] = defaultdict(list)
    for entry, task in _draws_of(planned, in_force):
        if not entry.besides:
            by_lumen[task.lumen or ""].append(entry)
    taken: set[tuple[str, str]] = set()
    for fact in sorted(drawn, key=lambda fact: fact.happened):
        near = [
            (abs(entry.planned - fact.happened), entry.task, entry.key)
            for entry in by_lumen[fact.lumen]
            if abs(entry.planned - fact.happened) <= REACH
        ]
        nearest = min(near, default=None)
        if nearest is not None and nearest[1:] not in taken and not _done(planned, nearest[1:]):
            taken.add(nearest[1:])
            facts[nearest[1]].append(fact)
    return _told(facts, happened, in_force)


def _called(stretch: Stretch) -> dict[str, str]:
    """Return the tasks by how they are called: by a short name first, then by a label of the revision in force, then of another."""
    tasks, own = stretch.plan.tasks, stretch.revision.tasks
    labels = [(task.label, name) for named in (tasks, own) for name, task in named.items()]
    return {words.casefold(): name for words, name in (*labels, *((name, name) for name in tasks))}


def _task_at(in_force: Sequence[Stretch], name: str, at: Instant) -> CareTask:
    """Return a task by the plan in force at an instant: what was before stays as it was."""
    return plan_naming(in_force, name, at).tasks[name]


def _as_drawn(fact: Fact, task: CareTask, drawn: list[Fact], happened: Happened) -> Fact:
    """Return the fact that a lumen was drawn through for the one that says so of its task, and take it from ``drawn``.

    One report says both; a second person may have said the one minutes before.
    """
    if fact.kind is not Kind.TASK_DONE or not through_lumen(task):
        return fact
    near = happened.handling_time(fact.happened)
    said = [other for other in drawn if other.report == fact.report] or [
        other for other in drawn if other.lumen == task.lumen and abs(other.happened - fact.happened) <= near
    ]
    if not said:
        return fact
    drawn.remove(said[0])
    return said[0]


def _done(planned: Mapping[str, Sequence[Occurrence]], named: tuple[str, str]) -> bool:
    return any(entry.key == named[1] and entry.outcome is not None for entry in planned[named[0]])


def _told(facts: Mapping[str, list[Fact]], happened: Happened, in_force: Sequence[Stretch]) -> dict[str, Told]:
    clock = in_force[-1].plan.clock
    told = {name: sorted(found, key=lambda fact: fact.happened) for name, found in facts.items()}
    return {name: told_of(found, happened.handling_time(found[0].happened), clock) for name, found in told.items()}


def through(
    found: Mapping[str, Sequence[Occurrence]], in_force: Sequence[Stretch]
) -> dict[str, tuple[Occurrence, ...]]:
    """Return the draws that are planned through each lumen, or were, by its name."""
    by_lumen: dict[str, list[Occurrence]] = defaultdict(list)
    for entry, task in _draws_of(found, in_force):
        drawn = entry.fact.lumen if entry.fact is not None and entry.fact.lumen else task.lumen
        by_lumen[drawn or ""].append(entry)
    return {lumen: tuple(listed) for lumen, listed in by_lumen.items()}


def held_up(
    found: Mapping[str, Sequence[Occurrence]],
    in_force: Sequence[Stretch],
    happened: Happened,
    doses: Mapping[str, Sequence[Dose]],
) -> dict[tuple[str, str], int]:
    """Return for how many minutes each dose is stopped for draws through its lumen, by its order and key.

    Draws at one instant stop it once. A pause that was recorded counts by itself, and nothing is drawn through a lumen that
    must not be used.
    """
    pauses: dict[tuple[str, str], dict[Instant, int]] = defaultdict(dict)
    for entry, task in _draws_of(found, in_force):
        assert task.lumen is not None
        if not task.pauses_infusion:
            continue
        elsewhere = entry.fact is not None and entry.fact.lumen not in ("", task.lumen)
        if entry.outcome is Outcome.SKIPPED or elsewhere or _closed(happened, task.lumen, entry):
            continue
        for dose in _infusions(doses, in_force, task.lumen):
            end = ENDLESS if dose.end is None else dose.end
            recorded = any(begin <= entry.at + task.pauses_infusion and entry.at <= over for begin, over in dose.pauses)
            if dose.start < entry.at < end and not recorded:
                at_once = pauses[dose.order, dose.key]
                at_once[entry.at] = max(at_once.get(entry.at, 0), task.pauses_infusion)
    return {named: sum(found.values()) for named, found in pauses.items()}


def _draws_of(
    found: Mapping[str, Sequence[Occurrence]], in_force: Sequence[Stretch]
) -> Iterator[tuple[Occurrence, CareTask]]:
    """Yield what is drawn through a lumen, each with its task by the plan in force when it was planned."""
    for name, listed in found.items():
        for entry in listed:
            task = _task_at(in_force, name, entry.planned)
            if through_lumen(task):
                yield entry, task


def _closed(happened: Happened, lumen: str, entry: Occurrence) -> bool:
    return entry.fact is None and any(begin <= entry.at < end for begin, end, _why in happened.blocked(lumen))


def _infusions(doses: Mapping[str, Sequence[Dose]], in_force: Sequence[Stretch], lumen: str) -> Iterator[Dose]:
    """Yield the doses of a lumen that run for a time of their own and finish later when they are stopped."""
    for name, found in doses.items():
        orders = [stretch.plan.orders[name] for stretch in in_force if name in stretch.plan.orders]
        if all(order.given_as is GivenAs.INFUSION and not order.continuous for order in orders):
            yield from (dose for dose in found if dose.lumen == lumen and dose.reckoned)
