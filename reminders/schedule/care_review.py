"""What only the schedule shows about care tasks (R20). Pure."""

from collections.abc import Iterator

from reminders.findings import Finding
from reminders.schedule.care import through_lumen
from reminders.schedule.model import AskWhy, Schedule, Touch
from reminders.schedule.order_review import times, timing_key, when


def review_tasks(schedule: Schedule) -> list[Finding]:
    """Return every finding that the schedule's care tasks give rise to."""
    return [*_running(schedule), *_never(schedule)]


def _running(schedule: Schedule) -> Iterator[Finding]:
    """R20: a draw from a lumen in which something runs is an error unless the plan says how."""
    found: dict[tuple[str, str], list[Touch]] = {}
    for touch in schedule.touches:
        running = [ask.other for ask in touch.asks if ask.why is AskWhy.OVERLAP and ask.other]
        for task in touch.tasks if running else ():
            found.setdefault((task, running[0]), []).append(touch)
    for (task, other), touches in found.items():
        order, lumen = schedule.plan.orders[other], schedule.plan.lumens[touches[0].lumen]
        yield Finding(
            code="draw-running",
            message=f"{schedule.plan.tasks[task].label} is to be drawn through the {lumen.label} lumen at "
            f"{when(schedule, touches[0].at)}, when {order.drug} runs in it; this happens {times(len(touches))}.",
            expected="a draw through a lumen in which nothing runs, or pauses_infusion, which says how long it is stopped",
            mend="Ask the nurse, prescriber or pharmacist: another lumen, another time, or how the infusion is paused.",
            places=(("task", task, "lumen"), timing_key(order)),
        )


def _never(schedule: Schedule) -> Iterator[Finding]:
    planned = {event.task for event in schedule.tasks} | {name for touch in schedule.touches for name in touch.tasks}
    for name, task in schedule.plan.tasks.items():
        if name in planned or (through_lumen(task) and not schedule.plan.lumens[task.lumen or ""].in_use):
            continue
        yield Finding(
            code="no-task",
            message=f"{task.label} is never due in this plan.",
            expected="at least one time at which it is due",
            mend="Correct its days or doses, or take the task out.",
            places=(("task", name),),
        )
