"""Made-up plans with made-up care tasks and draws, and what is recorded of them: what must hold whatever they are.

The plans, the histories and the tasks are invented by chance. What is checked is worked out here, from the doses that the
schedule shows and the plan's own text, without the compiler's care of tasks.
"""

import copy
import random
import tomllib
from collections import Counter, defaultdict
from collections.abc import Sequence

from history_strategies import History, histories
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from simulation import Values, minutes
from strategies import ZONES, stated, toml_text

from reminders.findings import has_errors
from reminders.plan.model import Plan
from reminders.plan.order import FlushThrough
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Kind, Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import ENDLESS, Action, Outcome, Schedule, Touch, TouchKind
from reminders.schedule.steps import FLUIDS
from reminders.times import DAY, Instant

SETTINGS = settings(
    max_examples=150,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def with_tasks(chance: random.Random, values: Values, start: Instant) -> Values:
    """Return a plan with some care tasks, some of them draws through its lumens."""
    plan = copy.deepcopy(values)
    zone = plan["plan"]["zone"]
    plan["protocol"]["after_draw"] = chance.choice([["saline"], ["saline 20 mL"], ["blood_return", "saline"]])
    if chance.random() < 0.5:
        plan["protocol"]["discard_volume"] = "5 mL"
    plan["task"] = {}
    for index in range(chance.randint(1, 5)):
        task: Values = {"kind": "visit", "label": f"task {index}", "done_by": chance.choice(["nurse", "household"])}
        way = chance.choice(["days", "hours", "weekdays", "moments", "tied", "tied", "with"])
        last = stated(zone, start - chance.randint(0, 5 * DAY))
        if way == "days":
            task |= {"every_days": chance.randint(1, 8), "at": f"{chance.randint(0, 23):02d}:30", "last_done": last}
        elif way == "hours":
            task |= {"every": f"{chance.randint(5, 200)} h", "last_done": last, "on_time_within": "2 h"}
        elif way == "weekdays":
            task |= {
                "weekdays": chance.sample(["Mon", "Tue", "Wed", "Sat"], 2),
                "at": f"{chance.randint(0, 23):02d}:00",
            }
        elif way == "moments" or (way == "with" and not plan["task"]):
            task |= {"moments": [stated(zone, start + chance.randint(0, 9 * DAY)) for _ in range(2)]}
        elif way == "with":
            task |= {"with_tasks": [chance.choice(list(plan["task"]))]}
        else:
            orders = [name for name, order in plan["order"].items() if not order.get("as_needed")]
            if not orders:
                continue
            task |= {"order": chance.choice(orders), "before_dose": f"{chance.choice([0, 15, 60, 300])} min"}
            task |= {"on_time_within": "30 min"}
        if way != "with" and chance.random() < 0.5:
            usable = [name for name, lumen in plan["lumen"].items() if lumen.get("in_use", True)]
            task |= {"kind": "blood draw", "lumen": chance.choice(usable or list(plan["lumen"]))}
            task |= {"pauses_infusion": f"{chance.choice([5, 20])} min"}
        plan["task"][f"task{index}"] = task
    return plan


@st.composite
def cared_for(draw: st.DrawFn) -> tuple[History, Plan, Values, Record]:
    """Draw a history, its plan with tasks, that plan as values, and the record with what was done of them."""
    history = draw(histories(ZONES[:6]))
    chance = random.Random(draw(st.integers(0, 2**64 - 1)))
    text = toml_text(with_tasks(chance, history.values, history.plan.course.start.instant))
    reading = read_plan("plan.toml", text.encode())
    assume(reading.plan is not None and not has_errors(reading.findings))
    assert reading.plan is not None
    start = reading.plan.course.start.instant
    facts = list(history.record.facts)
    for number in range(chance.randint(0, 6)):
        at = Instant(chance.randint(start, max(start, history.now)))
        name = chance.choice(list(reading.plan.tasks) or ["none"])
        task = reading.plan.tasks.get(name)
        report = f"task-{number}"
        facts.append(Fact(key=f"{report}.1", report=report, kind=Kind.TASK_DONE, happened=at, entered=at, name=name))
        if task is not None and task.lumen:
            facts.append(
                Fact(key=f"{report}.2", report=report, kind=Kind.DRAWN, happened=at, entered=at, lumen=task.lumen)
            )
    return history, reading.plan, tomllib.loads(text), Record(tuple(facts))


@SETTINGS
@given(cared_for())
def test_whatever_is_recorded_each_event_has_a_name_and_each_doing_is_shown_once(
    drawn: tuple[History, Plan, Values, Record],
) -> None:
    history, plan, _values, record = drawn
    schedule = compile_schedule(plan, record, history.now)
    names = [touch.uid for touch in schedule.touches] + [event.uid for event in schedule.tasks]
    assert not [name for name, count in Counter(names).items() if count > 1]
    near = plan.course.handling_time
    for name, task in plan.tasks.items():
        if task.lumen is not None:
            continue
        told = sorted(f.happened for f in record.standing if f.kind is Kind.TASK_DONE and f.name == name)
        apart: list[Instant] = []
        for at in told:
            if not apart or at - apart[-1] > near:
                apart.append(at)
        last = task.last_done.instant if task.last_done else None
        shown = [e.at for e in schedule.tasks if e.task == name and e.outcome is Outcome.DONE]
        assert shown == [at for at in apart if last is None or at > last]
    assert list(schedule.tasks) == sorted(schedule.tasks, key=lambda e: (e.at, e.planned, e.task))


def revised(chance: random.Random, values: Values, plan: Plan, now: Instant) -> Values:
    """Return a revision that takes effect up to ``now`` and changes lead times, times of day and intervals of tasks."""
    later = copy.deepcopy(values)
    at = chance.randint(plan.course.start.instant + 1, max(plan.course.start.instant + 1, now))
    later["plan"] |= {"revision": plan.course.revision + 1, "takes_effect": stated(values["plan"]["zone"], Instant(at))}
    for task in later.get("task", {}).values():
        if "before_dose" in task:
            task["before_dose"] = f"{chance.choice([0, 15, 60, 300])} min"
        if "at" in task and chance.random() < 0.8:
            task["at"] = f"{chance.randint(0, 23):02d}:{chance.choice(['00', '20'])}"
        if "every" in task and chance.random() < 0.5:
            task["every"] = f"{chance.randint(5, 200)} h"
    return later


Revised = tuple[History, Plan, Plan, Record]


@st.composite
def cared_for_anew(draw: st.DrawFn) -> Revised:
    """Draw a history, its plan with tasks, a revision of it, and the record with what was done of them."""
    history, plan, values, record = draw(cared_for())
    chance = random.Random(draw(st.integers(0, 2**64 - 1)))
    reading = read_plan("plan.toml", toml_text(revised(chance, values, plan, history.now)).encode())
    assume(reading.plan is not None and not has_errors(reading.findings))
    assert reading.plan is not None
    return history, plan, reading.plan, record


@SETTINGS
@given(cared_for_anew())
def test_a_revision_of_the_tasks_doubles_nothing_and_lets_nothing_vanish(drawn: Revised) -> None:
    """What was done by then stays done, once; what was still to come comes, whatever its new time."""
    history, plan, later, record = drawn
    old = compile_schedule(plan, record, history.now)
    new = compile_schedule(later, record, history.now, [plan])
    begins = later.course.takes_effect.instant
    names = [touch.uid for touch in new.touches] + [event.uid for event in new.tasks]
    assert not [name for name, count in Counter(names).items() if count > 1]
    there = {(event.task, event.key): event for event in new.tasks}
    assert len(there) == len(new.tasks)
    for event in old.tasks:
        task = plan.tasks[event.task]
        if (task.order is None and task.weekdays is None) or event.besides:
            continue
        if event.outcome is Outcome.DONE and event.at < begins:
            assert there[event.task, event.key].outcome is Outcome.DONE
            assert there[event.task, event.key].at == event.at
        last = event.dose.due if event.dose is not None else event.planned + 2 * DAY
        if event.outcome is None and event.planned >= begins and last < new.end:
            assert (event.task, event.key) in there, (event.task, event.key)
            assert there[event.task, event.key].planned >= begins


@SETTINGS
@given(cared_for())
def test_what_is_tied_to_a_dose_stands_so_long_before_it(drawn: tuple[History, Plan, Values, Record]) -> None:
    history, plan, values, _record = drawn
    schedule = compile_schedule(plan, history.record, history.now)
    for name, stated_ in values.get("task", {}).items():
        if "order" not in stated_ or "lumen" in stated_:
            continue
        doses = {dose.key: dose for dose in schedule.doses[stated_["order"]]}
        for event in schedule.tasks:
            if event.task == name and event.outcome is None and event.key in doses:
                assert event.planned == doses[event.key].due - minutes(stated_["before_dose"])


@SETTINGS
@given(cared_for())
def test_draws_are_flushed_after_and_no_lumen_passes_its_limit(drawn: tuple[History, Plan, Values, Record]) -> None:
    """R8 and R20 where nothing is recorded: every draw is a touch with its flush, and every idle gap is within the limit."""
    _history, plan, _values, _record = drawn
    schedule = compile_schedule(plan, EMPTY, plan.course.start.instant)
    planned = [touch for touch in schedule.touches if touch.tasks]
    for touch in planned:
        if touch.asks:
            assert all(plan.orders[ask.other].flush_through is not FlushThrough.ALLOWED for ask in touch.asks)
            assert not touch.steps  # nothing is pushed into what must not be flushed through
            continue
        actions = [step.action for step in touch.steps]
        assert Action.DRAW in actions
        assert any(action in FLUIDS for action in actions[actions.index(Action.DRAW) :])
        running = _running(schedule, touch)
        assert (Action.PAUSE in actions) == (Action.RESUME in actions) == bool(running)
        if touch.kind is TouchKind.DRAW and not running:
            locked = Action.LOCK in actions
            assert locked or _start_follows(schedule, touch, plan.protocol.joining_time)
    by_lumen: dict[str, list[Touch]] = defaultdict(list)
    for touch in schedule.touches:
        by_lumen[touch.lumen].append(touch)
    for name, touches in by_lumen.items():
        lumen = plan.lumens[name]
        limit = plan.idle_limit(lumen)
        if not isinstance(limit, int) or lumen.flush_through is FlushThrough.NURSE or not lumen.in_use:
            continue
        flushed = lumen.last_flushed.instant
        for touch in touches:
            in_use = _in_use(schedule, name, flushed, touch.at)
            if not in_use and flushed + limit >= schedule.start:
                assert touch.at - flushed <= limit, (name, flushed, touch.at)
            if touch.starts or any(step.action in FLUIDS for step in touch.steps):
                flushed = max(flushed, touch.at)
            elif in_use:
                flushed = touch.at  # what ran until then kept it in use


def _running(schedule: Schedule, touch: Touch) -> list[str]:
    plan = touch.plan
    return [
        dose.order
        for found in schedule.connected.values()
        for dose in found
        if dose.lumen == touch.lumen
        and dose.start < touch.at < (ENDLESS if dose.end is None else dose.end)
        and plan.orders[dose.order].given_as.value == "infusion"
    ] + [
        name
        for name, found in schedule.doses.items()
        if plan.orders[name].given_as.value == "pump"
        for dose in (schedule.connected[name] if plan.orders[name].kept_open else found)
        if dose.lumen == touch.lumen and dose.start <= touch.at < (ENDLESS if dose.end is None else dose.end)
    ]


def _start_follows(schedule: Schedule, touch: Touch, within: int) -> bool:
    return any(
        0 < dose.start - touch.at <= within
        for found in schedule.connected.values()
        for dose in found
        if dose.lumen == touch.lumen
    )


def _in_use(schedule: Schedule, lumen: str, begin: Instant, end: Instant) -> bool:
    spans: Sequence[tuple[Instant, Instant]] = [
        (dose.start, ENDLESS if dose.end is None else dose.end)
        for name, found in schedule.doses.items()
        for dose in (schedule.connected[name] if schedule.plan.orders[name].kept_open else found)
        if dose.lumen == lumen
    ]
    return any(first < end and begin < last for first, last in spans)


def test_the_made_up_tasks_hold_every_form() -> None:
    """Were there no draws among them, or none that pauses an infusion, the walk would prove little."""
    seen: Counter[str] = Counter()

    @SETTINGS
    @given(cared_for())
    def note(drawn: tuple[History, Plan, Values, Record]) -> None:
        _history, plan, values, record = drawn
        for task in values.get("task", {}).values():
            seen.update(list(task))
        schedule = compile_schedule(plan, record, _history.now)
        seen.update(step.action.value for touch in schedule.touches if touch.tasks for step in touch.steps)

    note()
    wanted = {"every_days", "every", "weekdays", "moments", "order", "with_tasks", "lumen", "pause", "draw", "discard"}
    assert not {name for name in wanted if seen[name] < 10}, seen
