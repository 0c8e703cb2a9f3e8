"""What only the schedule shows about care tasks (R20). Pure."""

from collections import Counter
from collections.abc import Iterator

from reminders.findings import Finding
from reminders.plan.care import CareTask
from reminders.plan.durations import duration
from reminders.schedule.care import through_lumen
from reminders.schedule.model import NEVER, AskWhy, Schedule, Touch
from reminders.schedule.order_review import times, timing_key, when
from reminders.units import span


def review_tasks(schedule: Schedule) -> list[Finding]:
    """Return every finding that the schedule's care tasks give rise to."""
    return [*_running(schedule), *_never(schedule), *_ranges(schedule), *_discards(schedule)]


def _running(schedule: Schedule) -> Iterator[Finding]:
    """R20: a draw from a lumen in which something runs is an error unless the plan says how."""
    found: dict[tuple[str, str], list[Touch]] = {}
    for touch in schedule.touches:
        running = [ask.other for ask in touch.asks if ask.why is AskWhy.OVERLAP and ask.other]
        for task in touch.tasks if running else ():
            found.setdefault((task, running[0]), []).append(touch)
    for (task, other), touches in found.items():
        plan = touches[0].plan  # the last revision may have dropped the task
        order, lumen = plan.orders[other], plan.lumens[touches[0].lumen]
        yield Finding(
            code="draw-running",
            message=f"{plan.tasks[task].label} is to be drawn through the {lumen.label} lumen at "
            f"{when(schedule, touches[0].at)}, when {order.drug} runs in it; this happens {times(len(touches))}.",
            expected="a draw through a lumen in which nothing runs, or pauses_infusion, which says how long it is stopped",
            mend="Ask the nurse, prescriber or pharmacist: another lumen, another time, or how the infusion is paused.",
            places=(("task", task, "lumen"), timing_key(order)),
        )


def _never(schedule: Schedule) -> Iterator[Finding]:
    """Find tasks that are never due, and moments and doses that none of their occurrences is for."""
    planned = Counter(event.task for event in schedule.tasks)
    planned.update(name for touch in schedule.touches for name in touch.tasks)
    for name, task in schedule.plan.tasks.items():
        if through_lumen(task) and not schedule.plan.lumens[task.lumen or ""].in_use:
            continue
        missed = [] if planned[name] else ["it is never due in this plan"]
        if planned[name]:
            missed += _outside(schedule, task)
        for why in missed:
            yield Finding(
                code="no-task",
                message=f"{task.label}: {why}.",
                expected="times and doses within the plan",
                mend="Correct its days or doses, or take out what does not come; ask the nurse if it falls before the plan.",
                places=(("task", name),),
            )


def _outside(schedule: Schedule, task: CareTask) -> Iterator[str]:
    """Yield which moments and doses of a task lie outside the plan; the end of open-ended therapy is none."""
    last = NEVER if schedule.rolling else schedule.end
    outside = [m for m in task.moments or () if m.instant < schedule.start or NEVER < last <= m.instant]
    if outside:
        yield f"{outside[0].wall:%Y-%m-%d %H:%M} lies outside the plan"
    if task.order is None:
        return
    doses = schedule.doses[task.order]
    if task.only_doses and not schedule.rolling:
        lacking = [number for number in task.only_doses if number > max((dose.number for dose in doses), default=0)]
        if lacking:
            yield f"dose {lacking[0]} of {task.order} does not come in this plan"
    wanted = [dose for dose in doses if task.only_doses is None or dose.number in task.only_doses]
    before = [dose for dose in wanted if dose.due - (task.before_dose or 0) < schedule.start <= dose.due]
    if task.before_dose and before:
        yield f"for the dose of {when(schedule, before[0].due)} it would come before the plan begins"


def _ranges(schedule: Schedule) -> Iterator[Finding]:
    """Find windows as long as what they belong to, and pauses as long as what is paused."""
    for name, task in schedule.plan.tasks.items():
        if task.every is not None and task.on_time_within is not None and task.on_time_within >= task.every:
            yield Finding(
                code="task-range",
                message=f"{task.label} is on time within {span(task.on_time_within)}, and due every {span(task.every)}.",
                expected="a window shorter than the time between two",
                mend="Confirm with the nurse; correct whichever of the two is wrong.",
                places=(("task", name, "on_time_within"), ("task", name, "every")),
            )
        paused = [
            order
            for order in schedule.plan.orders.values()
            if order.lumen == task.lumen
            and not order.continuous
            and (task.pauses_infusion or 0) >= (duration(order) or 1440)
        ]
        if paused:
            yield Finding(
                code="task-range",
                message=f"{task.label} stops {paused[0].drug} for {span(task.pauses_infusion or 0)}, as long as it runs.",
                expected="a pause that is short beside the infusion",
                mend="Confirm with the nurse or pharmacist; another time may be meant.",
                places=(("task", name, "pauses_infusion"), timing_key(paused[0])),
            )


def _discards(schedule: Schedule) -> Iterator[Finding]:
    """Find draws through a lumen before which nothing is drawn off: its lock would be in the sample."""
    protocol = schedule.plan.protocol
    if protocol.discard_volume is not None or protocol.before_draw:
        return
    for name, task in schedule.plan.tasks.items():
        if through_lumen(task):
            yield Finding(
                code="draw-discard",
                message=f"{task.label} is drawn through a lumen, and the protocol states neither discard_volume nor before_draw.",
                expected="what the provider's protocol says is drawn off or flushed before blood is drawn",
                mend="Add it under [protocol] if the provider's protocol says so; ask the nurse or the laboratory.",
                places=(("task", name, "lumen"), ("protocol", "discard_volume")),
            )
            return
