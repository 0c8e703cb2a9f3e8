"""What the keys of a plan's care tasks contradict in one another (R20). Pure: a plan in, findings out."""

from collections.abc import Iterator, Mapping

from reminders.findings import Finding, KeyPath
from reminders.plan.care import BY_CLOCK, RULES, CareTask, TaskKind
from reminders.plan.items import alike
from reminders.plan.model import Plan
from reminders.plan.order import FlushThrough


def check_tasks(plan: Plan) -> list[Finding]:
    """Return every finding about a plan's care tasks."""
    found: list[Finding] = []
    for task in plan.tasks.values():
        for check in (_timing, _day, _tied, _draw):
            found += check(plan, task)
    return found + list(_circles(plan.tasks)) + list(_labels(plan.tasks))


def rules_of(task: CareTask) -> list[str]:
    """Return the keys that say when a task comes round again."""
    return [name for name in RULES if getattr(task, name)]


def _timing(plan: Plan, task: CareTask) -> Iterator[Finding]:
    place: KeyPath = ("task", task.name)
    rules = rules_of(task)
    if not rules and task.order is None:
        yield Finding(
            code="task-timing",
            message=f"[task.{task.name}] does not say when it is due.",
            expected="order, or one or more of " + ", ".join(RULES),
            mend="Add the interval, the days, or the order that it goes with, as the provider's protocol says.",
            places=(place,),
        )
    if rules and task.order is not None:
        yield Finding(
            code="task-timing",
            message=f"[task.{task.name}] is tied to an order and has a timing of its own.",
            expected="order, or " + ", ".join(RULES),
            mend="Keep the one that holds; make two tasks of it if both do.",
            places=((*place, "order"), *((*place, name) for name in rules)),
        )
    if (task.every or task.every_days) and task.last_done is None:
        yield Finding(
            code="missing",
            message=f"[task.{task.name}] comes round so long after it was done, and does not say when that was.",
            expected="last_done, the moment when it was last done before the plan",
            mend='Add a line  last_done = "2026-10-26 08:00"  with the real moment.',
            places=((*place, "last_done"), (*place, "every" if task.every else "every_days")),
        )
    if task.last_done is not None and task.last_done.instant > _latest(plan):
        yield Finding(
            code="dates-reversed",
            message=f"[task.{task.name}] was last done {task.last_done.wall:%Y-%m-%d %H:%M}, after this plan begins.",
            expected="a moment before it",
            mend="Correct whichever of the two is wrong.",
            places=((*place, "last_done"), ("plan", "start")),
        )
    if (task.every is not None or task.order is not None) and task.on_time_within is None:
        yield Finding(
            code="missing",
            message=f"[task.{task.name}] does not say how far from its time it is still on time.",
            expected="on_time_within, with a task that is due to the hour",
            mend='Add a line  on_time_within = "..."  as the provider says.',
            places=((*place, "on_time_within"), (*place, "every" if task.every else "order")),
        )


def _latest(plan: Plan) -> int:
    """A first plan knows of nothing done after its start; a changed one of nothing after it takes effect."""
    course = plan.course
    return max(course.start.instant, course.takes_effect.instant) if course.revision > 1 else course.start.instant


def _day(plan: Plan, task: CareTask) -> Iterator[Finding]:
    place: KeyPath = ("task", task.name)
    by_day = [name for name in BY_CLOCK if getattr(task, name)]
    if by_day and task.at is None:
        yield Finding(
            code="missing",
            message=f"[task.{task.name}] names days and no time of day.",
            expected='at, a time of day such as "10:00"',
            mend='Add a line  at = "..." .',
            places=((*place, "at"), (*place, by_day[0])),
        )
    needs_days = {"at": task.at is not None, "not_on": bool(task.not_on)}
    for name in (name for name, stated in needs_days.items() if stated and not by_day):
        yield Finding(
            code="task-day",
            message=f"[task.{task.name}] has {name}, and no days that it could be about.",
            expected=f"{name} with {' or '.join(BY_CLOCK)} only",
            mend="Take it out, or say on which days the task is due.",
            places=((*place, name),),
        )
    if bool(task.not_on) != (task.instead is not None):
        there, lacking = ("not_on", "instead") if task.not_on else ("instead", "not_on")
        yield Finding(
            code="task-day",
            message=f"[task.{task.name}] has {there} and not {lacking}.",
            expected="not_on and instead, both or neither",
            mend=f"Add {lacking}, or take {there} out.",
            places=((*place, there),),
        )
    if task.last_day is not None and task.last_day < plan.course.start.wall.date():
        yield Finding(
            code="dates-reversed",
            message=f"[task.{task.name}] is last due on {task.last_day}, before the plan starts.",
            expected="a last day within the plan",
            mend="Correct it, or take the task out.",
            places=((*place, "last_day"), ("plan", "start")),
        )


def _tied(plan: Plan, task: CareTask) -> Iterator[Finding]:
    place: KeyPath = ("task", task.name)
    given = [name for name in ("before_dose", "after_finish") if getattr(task, name) is not None]
    if task.order is not None and len(given) != 1:
        yield Finding(
            code="task-dose",
            message=f"[task.{task.name}] is tied to {task.order} and says {' and '.join(given) or 'not how'}.",
            expected="exactly one of before_dose and after_finish",
            mend="Say how long before the dose's start, or after its finish.",
            places=((*place, given[0] if given else "order"),),
        )
    without = [*given, *(["only_doses"] if task.only_doses else [])]
    if task.order is None and without:
        yield Finding(
            code="task-dose",
            message=f"[task.{task.name}] has {' and '.join(without)}, and no order that it is tied to.",
            expected="order, the name of one of the plan's orders",
            mend="Add order, or take the others out.",
            places=tuple((*place, name) for name in without),
        )
    of_its_own = [name for name in ("last_done", "last_day") if getattr(task, name) is not None]
    if task.order is not None and of_its_own and not rules_of(task):
        yield Finding(
            code="task-dose",
            message=f"[task.{task.name}] is tied to {task.order} and has {' and '.join(of_its_own)}: it comes with each "
            "dose, and nothing else begins or ends it.",
            expected=f"{' and '.join(of_its_own)} with a timing of its own only; only_doses says which doses it goes with",
            mend="Take it out; where the task is for some of the doses only, name them in only_doses.",
            places=((*place, "order"), *((*place, name) for name in of_its_own)),
        )
    order = plan.orders.get(task.order or "")
    if order is not None and (order.as_needed or (order.continuous and task.after_finish is not None)):
        why = "given as needed" if order.as_needed else "continuous"
        yield Finding(
            code="task-dose",
            message=f"[task.{task.name}] is tied to {order.name}, which is {why}: nothing is planned that it could go with.",
            expected="an order with doses that are planned",
            mend="Give the task a timing of its own.",
            places=((*place, "order"),),
        )


def _draw(plan: Plan, task: CareTask) -> Iterator[Finding]:
    place: KeyPath = ("task", task.name)
    if task.kind is not TaskKind.DRAW and (task.lumen is not None or task.pauses_infusion is not None):
        yield Finding(
            code="task-draw",
            message=f"[task.{task.name}] names a lumen or a pause, and is no blood draw.",
            expected="lumen and pauses_infusion with a blood draw only",
            mend='Take them out, or write  kind = "blood draw" .',
            places=((*place, "lumen" if task.lumen is not None else "pauses_infusion"), (*place, "kind")),
        )
        return
    if task.brings and task.kind is not TaskKind.DELIVERY:
        yield Finding(
            code="task-draw",
            message=f"[task.{task.name}] brings something, and is no delivery.",
            expected="brings with a delivery only",
            mend='Write  uses  for what it uses up, or  kind = "delivery" .',
            places=((*place, "brings"), (*place, "kind")),
        )
    if task.lumen is None:
        if task.pauses_infusion is not None:
            yield Finding(
                code="task-draw",
                message=f"[task.{task.name}] pauses an infusion, and is not drawn through a lumen.",
                expected="pauses_infusion beside lumen",
                mend="Name the lumen, or take pauses_infusion out.",
                places=((*place, "pauses_infusion"),),
            )
        return
    if plan.protocol.after_draw is None:
        yield Finding(
            code="missing",
            message=f"[task.{task.name}] draws blood through a lumen, and the protocol does not say what is flushed after it.",
            expected="after_draw under [protocol]. For orientation, not to copy: published flushes after a draw range "
            "from 10 to 30 mL in adults",
            mend="Add a line  after_draw = [...]  as the provider's protocol says.",
            places=(("protocol", "after_draw"), (*place, "lumen")),
        )
    elif not any(entry.name in plan.fluids for entry in plan.protocol.after_draw):
        yield Finding(
            code="task-draw",
            message=f"[task.{task.name}] draws blood through a lumen, and after_draw pushes nothing.",
            expected="a flush after every draw",
            mend="Correct after_draw as the provider's protocol says.",
            places=(("protocol", "after_draw"), (*place, "lumen")),
        )
    lumen = plan.lumens.get(task.lumen)
    if lumen is not None and not lumen.in_use:
        yield Finding(
            code="lumen-out-of-use",
            message=f"[task.{task.name}] draws through the {lumen.label} lumen, which is out of use.",
            expected="a lumen in use",
            mend="Ask the nurse which lumen may be drawn through.",
            places=((*place, "lumen"), ("lumen", task.lumen, "in_use")),
        )
    if lumen is not None and lumen.flush_through is FlushThrough.NURSE and task.done_by.value == "household":
        yield Finding(
            code="task-draw",
            message=f"[task.{task.name}] has the household draw through the {lumen.label} lumen, which only the nurse flushes.",
            expected="a draw by the nurse, or through another lumen",
            mend="Correct done_by or lumen.",
            places=((*place, "done_by"), ("lumen", task.lumen, "flush_through")),
        )


def _labels(tasks: Mapping[str, CareTask]) -> Iterator[Finding]:
    """Find tasks that nobody could tell apart when they are said to be done."""
    for name, other in alike({name: task.label for name, task in tasks.items()}):
        yield Finding(
            code="task-label",
            message=f"[task.{name}] and [task.{other}] are called alike.",
            expected="a label of its own for each task",
            mend="Give one of them another label.",
            places=(("task", name, "label"), ("task", other, "label")),
        )


def _circles(tasks: Mapping[str, CareTask]) -> Iterator[Finding]:
    """Find tasks that are done with one another in a circle, and so never begin."""
    told: set[str] = set()
    for name in tasks:
        seen: list[str] = []
        open_ = [name]
        while open_:
            member = open_.pop()
            if member in seen:
                continue
            seen.append(member)
            open_ += [other for other in tasks[member].with_tasks if other in tasks]
            if name in tasks[member].with_tasks and name not in told:
                told.update(seen)
                yield Finding(
                    code="task-timing",
                    message=f"[task.{name}] is done with tasks that are themselves done with it.",
                    expected="one of them with a timing that does not come back to itself",
                    mend="Take one of the names out of with_tasks.",
                    places=tuple(("task", other, "with_tasks") for other in dict.fromkeys((name, member))),
                )
                break
