"""Blood draws through a lumen: which task each recorded draw belongs to, and what a draw costs a running infusion (R20, S9)."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from reminders.plan.care import CareTask
from reminders.plan.order import GivenAs
from reminders.record.facts import Fact, Kind
from reminders.schedule.care import REACH, Occurrence, Told, occurrences, plan_naming, through_lumen, told_of
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
    tasks = {name: task for stretch in in_force for name, task in stretch.revision.tasks.items()}
    called = {task.label.casefold(): name for name, task in tasks.items()}
    called |= {name.casefold(): name for name in tasks}
    for fact in happened.tasks:
        name = called.get(fact.name.casefold())
        if name is not None:
            facts[name].append(fact)
    drawn = [fact for found in happened.draws.values() for fact in found]
    for name, found in facts.items():
        if through_lumen(tasks[name]):
            facts[name] = [_as_drawn(fact, tasks[name].lumen or "", drawn, happened) for fact in found]
    planned = {}
    if drawn and any(through_lumen(task) for task in tasks.values()):
        planned = occurrences(in_force, _told(facts, happened), doses, happened.away, horizon)
    taken: set[tuple[str, str]] = set()
    for fact in sorted(drawn, key=lambda fact: fact.happened):
        near = [
            (abs(entry.planned - fact.happened), entry.task, entry.key)
            for name, listed in planned.items()
            if through_lumen(tasks[name]) and tasks[name].lumen == fact.lumen
            for entry in listed
            if not entry.besides and abs(entry.planned - fact.happened) <= REACH
        ]
        nearest = min(near, default=None)
        if nearest is not None and nearest[1:] not in taken and not _done(planned, nearest[1:]):
            taken.add(nearest[1:])
            facts[nearest[1]].append(fact)
    return _told(facts, happened)


def _as_drawn(fact: Fact, lumen: str, drawn: list[Fact], happened: Happened) -> Fact:
    """Return the fact that a lumen was drawn through for the one that says so of its task, and take it from ``drawn``.

    One report says both; a second person may have said the one minutes before.
    """
    if fact.kind is not Kind.TASK_DONE:
        return fact
    near = happened.handling_time(fact.happened)
    said = [other for other in drawn if other.report == fact.report] or [
        other for other in drawn if other.lumen == lumen and abs(other.happened - fact.happened) <= near
    ]
    if not said:
        return fact
    drawn.remove(said[0])
    return said[0]


def _done(planned: Mapping[str, Sequence[Occurrence]], named: tuple[str, str]) -> bool:
    return any(entry.key == named[1] and entry.outcome is not None for entry in planned[named[0]])


def _told(facts: Mapping[str, list[Fact]], happened: Happened) -> dict[str, Told]:
    return {
        name: told_of(sorted(found, key=lambda fact: fact.happened), happened.handling_time(found[0].happened))
        for name, found in facts.items()
    }


def through(
    found: Mapping[str, Sequence[Occurrence]], in_force: Sequence[Stretch]
) -> dict[str, tuple[Occurrence, ...]]:
    """Return the draws that are planned through each lumen, or were, by its name."""
    by_lumen: dict[str, list[Occurrence]] = defaultdict(list)
    for name, listed in found.items():
        for entry in listed:
            task = plan_naming(in_force, name, entry.planned).tasks[name]
            if through_lumen(task) and task.lumen is not None:
                drawn = entry.fact.lumen if entry.fact is not None and entry.fact.lumen else task.lumen
                by_lumen[drawn].append(entry)
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
    for entry, task in _pausing(found, in_force):
        assert task.lumen is not None
        assert task.pauses_infusion is not None
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


def _pausing(
    found: Mapping[str, Sequence[Occurrence]], in_force: Sequence[Stretch]
) -> Iterator[tuple[Occurrence, CareTask]]:
    for name, listed in found.items():
        for entry in listed:
            task = plan_naming(in_force, name, entry.planned).tasks[name]
            if through_lumen(task) and task.pauses_infusion:
                yield entry, task


def _closed(happened: Happened, lumen: str, entry: Occurrence) -> bool:
    return entry.fact is None and any(begin <= entry.at < end for begin, end, _why in happened.blocked(lumen))


def _infusions(doses: Mapping[str, Sequence[Dose]], in_force: Sequence[Stretch], lumen: str) -> Iterator[Dose]:
    """Yield the doses of a lumen that run for a time of their own and finish later when they are stopped."""
    for name, found in doses.items():
        orders = [stretch.plan.orders[name] for stretch in in_force if name in stretch.plan.orders]
        if all(order.given_as is GivenAs.INFUSION and not order.continuous for order in orders):
            yield from (dose for dose in found if dose.lumen == lumen and dose.reckoned)
