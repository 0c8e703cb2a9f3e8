"""How often each care task was done, up to now, and when last: what a nurse looks for first (R20)."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from reminders.plan.care import CareTask
from reminders.schedule.model import Outcome, Schedule, Status, TaskEvent, Touch
from reminders.schedule.status import status, task_status, window
from reminders.times import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskTotals:
    """What became of the occurrences of one care task, draws through a lumen among them.

    ``task`` is its name in the plan, and ``care`` what the plan says of it at its last occurrence. ``counts``: how many
    stand how; ``besides``: how many of those done were done though none was planned then. ``last_done`` is when it was
    last recorded as done, whenever that was.
    """

    task: str
    care: CareTask
    counts: Mapping[Status, int]
    besides: int
    last_done: Instant | None

    @property
    def occurrences(self) -> int:
        """Return how many there are in all."""
        return sum(self.counts.values())


def task_totals(schedule: Schedule, begins: Instant, ends: Instant, now: Instant) -> tuple[TaskTotals, ...]:
    """Return what became of every care task from ``begins`` up to ``ends``, as of ``now``, in the order of the plan."""
    found: dict[str, list[Touch | TaskEvent]] = defaultdict(list)
    for event in schedule.tasks:
        found[event.task].append(event)
    for touch in schedule.touches:
        for name in touch.tasks:
            found[name].append(touch)
    names = dict.fromkeys([*schedule.plan.tasks, *found])
    return tuple(_totals(name, found[name], schedule, (begins, ends), now) for name in names)


def _totals(
    name: str, events: list[Touch | TaskEvent], schedule: Schedule, days: tuple[Instant, Instant], now: Instant
) -> TaskTotals:
    shown = [
        event
        for event in events
        if days[0] <= event.at < days[1] and (event.at <= now or event.outcome is Outcome.DONE)
    ]
    plan = max(events, key=lambda event: event.at).plan if name not in schedule.plan.tasks else schedule.plan
    return TaskTotals(
        task=name,
        care=plan.tasks[name],
        counts=Counter(_status(event, schedule, now) for event in shown),
        besides=sum(isinstance(event, TaskEvent) and event.besides for event in shown),
        last_done=max((event.at for event in events if event.outcome is Outcome.DONE), default=None),
    )


def _status(event: Touch | TaskEvent, schedule: Schedule, now: Instant) -> Status:
    if isinstance(event, TaskEvent):
        return task_status(event, schedule, now)
    if event.outcome is Outcome.DONE:  # the blood was drawn then, whether or not the flush after it is recorded
        return Status.DONE if event.at <= window(event)[1] else Status.LATE
    return status(event, schedule, now)
