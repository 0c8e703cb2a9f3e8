"""How long each lumen really lay idle, reckoned twice: by what is recorded, and as if all that was planned had been done.

The limit counts from flush to flush (R8): a start touch counts as a flush, and an infusion's end does not.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from reminders.plan.idle_limit import IdleLimit
from reminders.plan.model import FluidKind, Plan
from reminders.plan.order import FlushThrough, GivenAs
from reminders.record.facts import Kind, Record
from reminders.schedule.limits import limit_of
from reminders.schedule.model import ENDLESS, Dose, DoseState, Outcome, Schedule, Spans, Touch, TouchKind
from reminders.schedule.steps import FLUIDS, flushes
from reminders.times import Instant, merged


@dataclass(frozen=True, slots=True)
class Gap:
    """An idle time: from a flush to the last idle moment before the next one.

    ``limit`` is the one that it broke (``exceeded``), else the one in force at its end; None where no routine flush is
    planned into the lumen.
    """

    begins: Instant
    ends: Instant
    limit: IdleLimit | None
    exceeded: bool

    @property
    def length(self) -> int:
        """Return how long it lasted, in minutes."""
        return self.ends - self.begins


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenIdle:
    """One lumen's idle times.

    ``recorded`` is the longest where only recorded flushes count, ``supposed`` the longest if everything that was
    planned and not recorded had been done at its time; None where there is none. ``recorded_over`` and
    ``supposed_over`` are all that were longer than the limit. ``last_flush`` is the last recorded flush that counts for
    the limit, ``since`` the minutes from it until now; both None where none is recorded. ``closed`` are the stretches
    in which nothing was to be done with the lumen: suspended, out of use, or everything held.
    """

    lumen: str
    recorded: Gap | None
    supposed: Gap | None
    recorded_over: tuple[Gap, ...] = ()
    supposed_over: tuple[Gap, ...] = ()
    last_flush: Instant | None = None
    since: int | None = None
    closed: Spans = ()


def idle_times(
    schedule: Schedule, record: Record, begins: Instant, until: Instant, now: Instant
) -> tuple[LumenIdle, ...]:
    """Return the idle times that reach into the time from ``begins`` to ``until``, for every lumen ever in use."""
    until = min(until, now, schedule.end if schedule.removed is None else schedule.removed)
    names = [name for name in schedule.plan.lumens if any(_in_use(plan, name) for _, plan in schedule.plans)]
    return tuple(_of_lumen(schedule, record, name, begins, until, now) for name in names)


def _of_lumen(
    schedule: Schedule, record: Record, name: str, begins: Instant, until: Instant, now: Instant
) -> LumenIdle:
    stated = {plan.lumens[name].last_flushed.instant for _, plan in schedule.plans if name in plan.lumens}
    told = recorded_flushes(schedule, record, name)
    planned = {
        touch.flushed or touch.at
        for touch in schedule.touches
        if touch.lumen == name and _supposed(touch) and touch.at <= until
    }
    cuts = [fact.happened for fact in record.of_kind(Kind.EXCHANGED)]
    recorded = _gaps(schedule, name, told | stated, _running(schedule, name, told=True), cuts, until)
    supposed = _gaps(schedule, name, told | stated | planned, _running(schedule, name, told=False), cuts, until)
    recorded = [gap for gap in recorded if gap.ends > begins]
    supposed = [gap for gap in supposed if gap.ends > begins]
    last = max((at for at in told if at <= now), default=None)
    state = schedule.lumens.get(name)
    closed = [] if state is None else [*((begin, end) for begin, end, _ in state.blocked), *state.held]
    return LumenIdle(
        lumen=name,
        recorded=max(recorded, key=lambda gap: gap.length, default=None),
        supposed=max(supposed, key=lambda gap: gap.length, default=None),
        recorded_over=tuple(gap for gap in recorded if gap.exceeded),
        supposed_over=tuple(gap for gap in supposed if gap.exceeded),
        last_flush=last,
        since=None if last is None else now - last,
        closed=tuple(merged(closed)),
    )


def recorded_flushes(schedule: Schedule, record: Record, name: str) -> set[Instant]:
    """Return the moments of the recorded flushes of a lumen that count for its idle limit."""
    found = {
        touch.flushed or touch.at
        for touch in schedule.touches
        if touch.lumen == name and touch.outcome is Outcome.DONE and not touch.outstanding and _flushes(touch)
    }
    for fact in record.of_kind(Kind.FLUSHED):
        plan = schedule.plan_at(fact.happened)
        if fact.lumen == name and name in plan.lumens and _counts(plan, name, fact.fluids):
            found.add(fact.happened)
    for doses in schedule.connected.values():
        for dose in doses:
            if dose.lumen == name and dose.started is not None and dose.state is not DoseState.ELSEWHERE:
                found.add(dose.started)
    return found


def _flushes(touch: Touch) -> bool:
    """Say whether a touch resets the limit as it was done."""
    if touch.kind is TouchKind.IDLE_FLUSH:
        pushed = tuple(step.what for step in touch.steps if step.action in FLUIDS)
        return _counts(touch.plan, touch.lumen, pushed)
    return bool(touch.steps) and (_begun(touch) if touch.starts else flushes(touch.steps))


def _begun(touch: Touch) -> bool:
    """Say whether a start is recorded in a touch; that the dose has finished does not say when it was started."""
    return any(dose.started is not None for dose in touch.starts)


def _counts(plan: Plan, name: str, fluids: Sequence[str]) -> bool:
    """Say whether the limit starts from a flush, by what was pushed; without a word about it, all of it was (S7)."""
    lock = plan.lock(plan.lumens[name])
    if not fluids or lock.name in fluids or lock.kind is not FluidKind.HEPARIN:
        return True
    return bool(plan.protocol.flush_without_lock_counts)


def _supposed(touch: Touch) -> bool:
    """Say whether a touch would have flushed the lumen, and nobody recorded when it did."""
    told = touch.outcome is not None and not touch.outstanding
    if told and not (touch.outcome is Outcome.DONE and touch.starts and not _begun(touch)):
        return False
    reckoned = all(dose.reckoned for dose in (*touch.starts, *touch.ends))
    return reckoned and bool(touch.steps) and (bool(touch.starts) or flushes(touch.steps))


def _running(schedule: Schedule, name: str, *, told: bool) -> Spans:
    """Return when something ran in a lumen; with ``told`` only what is recorded as started."""
    spans: list[tuple[Instant, Instant]] = []
    for order, doses in schedule.doses.items():
        plans = [plan.orders[order] for _, plan in schedule.plans if order in plan.orders]
        connected = schedule.connected[order]
        pump = any(each.given_as is GivenAs.PUMP for each in plans)
        for dose in connected if any(each.kept_open for each in plans) else doses:
            begun = dose.started is not None or (pump and _by_pump(dose, connected))
            if dose.lumen == name and dose.reckoned and (begun or not told):
                spans += _without_pauses(dose)
    return tuple(merged(spans))


def _by_pump(dose: Dose, connected: Iterable[Dose]) -> bool:
    """Say whether a pump whose connection is recorded gave a dose by itself."""
    return any(
        run.started is not None and run.started <= dose.start < (ENDLESS if run.end is None else run.end)
        for run in connected
    )


def _without_pauses(dose: Dose) -> list[tuple[Instant, Instant]]:
    spans, left = [], dose.start
    right = ENDLESS if dose.end is None else dose.end
    for begin, resumed in dose.pauses:
        if left < begin < right:
            spans.append((left, begin))
        left = max(left, min(resumed, right))
    if left < right:
        spans.append((left, right))
    return spans


def _gaps(
    schedule: Schedule,
    name: str,
    flushed: Iterable[Instant],
    running: Spans,
    cuts: Sequence[Instant],
    until: Instant,
) -> list[Gap]:
    """Return the idle times up to ``until``; what was flushed before a cut, a new line, says nothing of what follows."""
    moments = sorted(at for at in set(flushed) if at <= until)
    found = []
    for at, following in pairwise([*moments, until]):
        following = min([following, *(cut for cut in cuts if cut > at)])
        ends = next((begin for begin, end in running if begin < following <= end), following)
        if ends > at:
            found.append(Gap(at, ends, *_limit(schedule, name, at, ends)))
    return found


def _limit(schedule: Schedule, name: str, begins: Instant, ends: Instant) -> tuple[IdleLimit | None, bool]:
    """Return the first limit that an idle time broke, else the one in force at its end, and whether it broke it."""
    limit: IdleLimit | None = None
    for first, last, plan in _stretches(schedule):
        lumen = plan.lumens.get(name)
        if last <= begins or first >= ends or lumen is None:
            continue
        routine = lumen.in_use and lumen.flush_through is not FlushThrough.NURSE
        limit = plan.idle_limit(lumen) if routine else None
        if routine and limit_of(plan, lumen).last_chance(begins) < min(ends, last):
            return limit, True
    return limit, False


def _stretches(schedule: Schedule) -> Iterator[tuple[Instant, Instant, Plan]]:
    for index, (begins, plan) in enumerate(schedule.plans):
        following = schedule.plans[index + 1][0] if index + 1 < len(schedule.plans) else ENDLESS
        yield begins, following, plan


def _in_use(plan: Plan, name: str) -> bool:
    lumen = plan.lumens.get(name)
    return lumen is not None and lumen.in_use
