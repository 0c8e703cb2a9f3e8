"""Blood draws through a lumen: which task each recorded draw belongs to, and what a draw costs a running infusion (R20, S9)."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reminders.plan.order import GivenAs
from reminders.record.facts import Fact, Kind
from reminders.schedule.care import Occurrence, Told, occurrences, plan_naming, through_lumen, told_of
from reminders.schedule.happened import Happened
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import ENDLESS, Dose
from reminders.times import DAY, Instant

Horizon = tuple[Instant, Instant]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A draw through a lumen that was recorded; ``task`` is the occurrence that it was, None if none was planned."""

    fact: Fact
    task: Occurrence | None


def told_tasks(
    in_force: Sequence[Stretch], happened: Happened, doses: Mapping[str, Sequence[Dose]], horizon: Horizon
) -> dict[str, Told]:
    """Return what is recorded of each task.

    A draw that was recorded for a lumen only belongs to the planned draw through it that is nearest, within a day.
    """
    facts: dict[str, list[Fact]] = defaultdict(list)
    tasks = {name: task for stretch in in_force for name, task in stretch.plan.tasks.items()}
    called = {word.casefold(): name for name, task in tasks.items() for word in (task.label, name)}
    for fact in happened.tasks:
        name = called.get(fact.name.casefold())
        if name is not None:
            facts[name].append(fact)
    drawn = {fact.report: fact for found in happened.draws.values() for fact in found}
    for name, found in facts.items():
        if through_lumen(tasks[name]):
            # One report says of a planned draw that the task was done and that the lumen was drawn through.
            facts[name] = [drawn.pop(fact.report, fact) if fact.kind is Kind.TASK_DONE else fact for fact in found]
    draws = {name: task for name, task in tasks.items() if through_lumen(task)}
    if drawn and draws:
        planned = occurrences(in_force, _told(facts, happened), doses, horizon)
        for fact in drawn.values():
            near = [
                (abs(entry.planned - fact.happened), name)
                for name, task in draws.items()
                if task.lumen == fact.lumen
                for entry in planned[name]
                if entry.outcome is None and abs(entry.planned - fact.happened) <= DAY
            ]
            if near:
                facts[min(near)[1]].append(fact)
    return _told(facts, happened)


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
    found: Mapping[str, Sequence[Occurrence]], in_force: Sequence[Stretch], doses: Sequence[Dose]
) -> dict[tuple[str, str], int]:
    """Return for how many minutes each dose is stopped for draws through its lumen, by its order and key.

    A pause that was recorded counts by itself.
    """
    pauses: dict[tuple[str, str], int] = defaultdict(int)
    for stretch in in_force:
        for name, task in stretch.plan.tasks.items():
            if not through_lumen(task) or not task.pauses_infusion:
                continue
            for entry in found.get(name, ()):
                if not stretch.begins <= entry.at < stretch.ends:
                    continue
                for dose in doses:
                    order = stretch.plan.orders.get(dose.order)
                    if order is None or order.given_as is not GivenAs.INFUSION or order.continuous:
                        continue
                    end = ENDLESS if dose.end is None else dose.end
                    recorded = any(
                        begin <= entry.at + task.pauses_infusion and entry.at <= ends for begin, ends in dose.pauses
                    )
                    if dose.lumen == task.lumen and dose.reckoned and dose.start < entry.at < end and not recorded:
                        pauses[dose.order, dose.key] += task.pauses_infusion
    return dict(pauses)
