"""A judge of where idle flushes go (R11): the true optimum of a small problem, found by trying everything.

It shares no placement code with the package, and knows no theory: no candidate times, no placement is left out because
another looks better. :func:`best` goes minute by minute and keeps, for each combination of last flushes, the best way
to come to it; what may follow depends on nothing else, so that is exact. :func:`best_of_all` does without even that: it
writes down every placement there is and looks at each.

All times are whole minutes, on any scale. ``problem_of`` reads a problem out of a compiled schedule: what the orders
ask for is taken from there, its idle flushes are not looked at.
"""

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from reminders.plan.model import Plan
from reminders.plan.order import FlushThrough
from reminders.schedule.model import Action, Schedule, TouchKind
from reminders.times import ClockRange

Key = tuple[int, ...]
"""What makes one placement better than another, the smaller the better; see :func:`key`."""

Placement = tuple[tuple[int, ...], ...]
"""The minutes of each lumen's idle flushes, in order; the lumens in the plan's order."""


@dataclass(frozen=True, kw_only=True)
class Lumen:
    """One lumen: what is fixed about it.

    ``reach``: the most minutes from a flush to the next. ``last``: its last flush before the problem begins.
    ``touched``: when it is touched anyway; ``flushed``: in which of these touches something is pushed through it.
    ``busy``: stretches in which something runs, each from its first minute up to its last, which is not in it.
    """

    name: str
    reach: int
    last: int
    touched: frozenset[int] = frozenset()
    flushed: frozenset[int] = frozenset()
    busy: tuple[tuple[int, int], ...] = ()

    def runs(self, minute: int) -> bool:
        """Say whether something runs in it."""
        return any(first <= minute < last for first, last in self.busy)


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Lumens to be kept within reach from ``begin`` to ``end``, both of which are in it.

    ``joinable``: when a lumen, of these or another, is touched anyway. ``quiet``: the minutes of the quiet hours.
    ``preferred``: those at preferred clock times, None if none are stated. ``least``: the least minutes from an idle
    flush to the next touch of its lumen. ``worth``: how many flushes a saved session is worth.
    """

    begin: int
    end: int
    lumens: tuple[Lumen, ...]
    joinable: frozenset[int] = frozenset()
    quiet: frozenset[int] = frozenset()
    preferred: frozenset[int] | None = None
    least: int = 0
    worth: int = 1000

    @cached_property
    def minutes(self) -> range:
        """Return every minute of the problem."""
        return range(self.begin, self.end + 1)


# What a placement is worth, and what is wrong with it


def key(problem: Problem, placement: Placement) -> Key:
    """Return what makes a placement better or worse than others, the smaller the better.

    In this order: the flushes that stand too close before the next touch of their lumen, which the limit may force; the
    figures (sessions in quiet hours, worth times sessions + flushes, sessions; or, where a session is worth no flush,
    flushes, sessions in quiet hours, sessions); the sessions that are not at a preferred time; then the sums of the
    flushes' minutes, of all lumens, of the first, of the second, and so on, each with a minus: the later the better. A
    session counts if it consists of idle flushes only.
    """
    close = sum(map(len, close_ones(problem, placement)))
    sessions = {at for flushes in placement for at in flushes} - problem.joinable
    nights = len(sessions & problem.quiet)
    odd = 0 if problem.preferred is None else len(sessions - problem.preferred)
    flushes = sum(map(len, placement))
    sums = list(map(sum, placement))
    figures = _figures(problem.worth, nights, len(sessions), flushes)
    return (close, *figures, odd, -sum(sums), *(-each for each in sums))


def _figures(worth: int, nights: int, sessions: int, flushes: int) -> tuple[int, int, int]:
    if worth == 0:
        return flushes, nights, sessions
    return nights, worth * sessions + flushes, sessions


def close_ones(problem: Problem, placement: Placement) -> list[list[int]]:
    """Return of each lumen the flushes that stand less than the least time before its next touch."""
    found = []
    for lumen, flushes in zip(problem.lumens, placement, strict=True):
        touches = sorted({*lumen.touched, *flushes})
        following = [next((at for at in touches if at > minute), None) for minute in flushes]
        pairs = zip(flushes, following, strict=True)
        found.append([at for at, then in pairs if then is not None and then - at < problem.least])
    return found


def faults(problem: Problem, placement: Placement) -> list[str]:
    """Walk every lumen minute by minute and say where a placement breaks its limit, or stands where it cannot."""
    return [
        fault
        for lumen, flushes in zip(problem.lumens, placement, strict=True)
        for fault in _faults_of(problem, lumen, flushes)
    ]


def _faults_of(problem: Problem, lumen: Lumen, flushes: Sequence[int]) -> Iterator[str]:
    if list(flushes) != sorted(set(flushes)) or not set(flushes) <= set(problem.minutes):
        yield f"{lumen.name}: flushes out of order or outside of the time looked at: {flushes}"
    last, was_idle = lumen.last, False
    for minute in problem.minutes:
        flushed = minute in lumen.flushed or minute in flushes
        # A lumen that has passed its reach before the beginning is late at once, unless it is flushed at once.
        if minute - last > lumen.reach and (was_idle or not (flushed or lumen.runs(minute))):
            yield f"{lumen.name} at {minute}: {minute - last} min since the last flush, {lumen.reach} are allowed"
            last = minute
        if minute in flushes and (lumen.runs(minute) or minute in lumen.flushed or minute == lumen.last):
            yield f"{lumen.name} at {minute}: an idle flush where something runs or flushes it already"
        last = minute if flushed else last
        was_idle = not lumen.runs(minute)


# The best placement, found by going through time


@dataclass(frozen=True)
class Best:
    """The optimum: its key, one placement that has it, and how many placements have it."""

    key: Key
    placement: Placement
    ways: int


@dataclass(frozen=True, slots=True)
class _Way:
    """The best way to come to a combination of last flushes: its cost, in how many ways it is had, and what is flushed
    last (which lumens, when, and what came before)."""

    cost: int
    ways: int
    then: tuple[int, int, "_Way"] | None = None


_PART = 1 << 64
"""Parts of a cost are written into one number, each as one digit; no sum of a small problem comes near this."""


def best(problem: Problem) -> Best | None:
    """Return the optimum; None where nothing keeps the limits."""
    reached = {tuple(lumen.last for lumen in problem.lumens): _Way(0, 1)}
    for minute in problem.minutes:
        reached = _one_minute(problem, minute, reached)
    if not reached:
        return None
    cost = min(way.cost for way in reached.values())
    found = [way for way in reached.values() if way.cost == cost]
    placement = _placement(problem, found[0])
    return Best(key(problem, placement), placement, sum(way.ways for way in found))


def _one_minute(problem: Problem, minute: int, reached: dict[Key, _Way]) -> dict[Key, _Way]:
    """Return where everything that may be done in one minute leads to."""
    lumens = problem.lumens
    may = [_may_stand(lumen, minute) for lumen in lumens]
    was_idle = [minute > problem.begin and not lumen.runs(minute - 1) for lumen in lumens]
    idle = [not lumen.runs(minute) for lumen in lumens]
    fixed = [minute in lumen.flushed for lumen in lumens]
    costs = [_cost(problem, minute, chosen) for chosen in range(1 << len(lumens))]
    close_cost = _PART ** (len(lumens) + 5)  # the foremost part of a cost
    following: dict[Key, _Way] = {}
    for lasts, way in reached.items():
        choices = [(0, lasts[:0], 0)]
        for index, lumen in enumerate(lumens):
            last = lasts[index]
            late = minute - last > lumen.reach
            options: list[tuple[int, int, int]] = []  # what is flushed, when last, how many flushes that makes close
            if not (late and was_idle[index]):
                if fixed[index]:
                    options.append((0, minute, 0))
                elif not (late and idle[index]):
                    options.append((0, last, 0))
                if may[index]:
                    options.append((1 << index, minute, _made_close(problem, lumen, last, minute)))
            choices = [
                (chosen | bit, (*before, at), close + more)
                for chosen, before, close in choices
                for bit, at, more in options
            ]
        for chosen, now, close in choices:
            cost = way.cost + costs[chosen] + close * close_cost
            known = following.get(now)
            if known is None or cost < known.cost:
                following[now] = _Way(cost, way.ways, (minute, chosen, way) if chosen else way.then)
            elif cost == known.cost:
                following[now] = _Way(cost, known.ways + way.ways, known.then)
    return following


def _may_stand(lumen: Lumen, minute: int) -> bool:
    return not (lumen.runs(minute) or minute in lumen.flushed or minute == lumen.last)


def _made_close(problem: Problem, lumen: Lumen, last: int, minute: int) -> int:
    """Count the idle flushes that one at ``minute`` after a last flush adds to those that stand too close: itself, and
    an idle flush before it, if that was not too close to another touch anyway."""
    least = problem.least
    if not least:
        return 0
    itself = any(minute < touch < minute + least for touch in lumen.touched)
    was_idle_flush = last != lumen.last and last not in lumen.flushed
    counted = any(last < touch < last + least for touch in lumen.touched)
    return itself + (was_idle_flush and not counted and minute - last < least)


def _cost(problem: Problem, minute: int, chosen: int) -> int:
    """Return what the chosen lumens' flushes at one minute add to the key, as one number that compares like the key."""
    flushed = [minute if chosen >> index & 1 else 0 for index in range(len(problem.lumens))]
    session = int(chosen != 0 and minute not in problem.joinable)
    night = session * (minute in problem.quiet)
    odd = session * (problem.preferred is not None and minute not in problem.preferred)
    parts = (*_figures(problem.worth, night, session, chosen.bit_count()), odd, -sum(flushed), *(-at for at in flushed))
    cost = 0
    for part in parts:
        cost = cost * _PART + part
    return cost


def _placement(problem: Problem, way: _Way) -> Placement:
    found: list[list[int]] = [[] for _ in problem.lumens]
    while way.then is not None:
        minute, chosen, way = way.then
        for index, flushes in enumerate(found):
            if chosen >> index & 1:
                flushes.insert(0, minute)
    return tuple(map(tuple, found))


# The best placement, found by looking at every one


def best_of_all(problem: Problem) -> Best | None:
    """Return the optimum of a tiny problem, out of every set of minutes for every lumen."""
    every = itertools.product(*(_every_placement(problem, lumen) for lumen in problem.lumens))
    judged = [(key(problem, placement), placement) for placement in every]
    if not judged:
        return None
    least = min(judged)
    return Best(*least, sum(found == least[0] for found, _ in judged))


def _every_placement(problem: Problem, lumen: Lumen) -> list[tuple[int, ...]]:
    """Return every placement in one lumen that breaks no rule; the lumens' rules do not touch one another."""
    return [
        flushes
        for count in range(len(problem.minutes) + 1)
        for flushes in itertools.combinations(problem.minutes, count)
        if not any(_faults_of(problem, lumen, flushes))
    ]


# From a compiled schedule to a problem


def problem_of(schedule: Schedule) -> Problem:
    """Return the problem that a schedule's idle flushes are to solve; its idle flushes are not looked at."""
    plan = schedule.plan
    clock = _Clock(schedule)
    minutes = range(schedule.start, schedule.end + 1)
    preferred = plan.household.preferred_flush_times
    return Problem(
        begin=schedule.start,
        end=schedule.end,
        lumens=tuple(_lumen_of(schedule, name) for name in _kept(plan)),
        joinable=frozenset(touch.at for touch in schedule.touches if touch.kind is not TouchKind.IDLE_FLUSH),
        quiet=frozenset(filter(clock.is_quiet, minutes)),
        preferred=frozenset(at for at in minutes if clock.wall(at).time() in preferred) if preferred else None,
        least=plan.protocol.least_time_to_next_touch,
        worth=plan.protocol.saved_session_worth,
    )


def placement_of(schedule: Schedule) -> Placement:
    """Return where a schedule has its idle flushes."""
    return tuple(
        tuple(touch.at for touch in schedule.touches if touch.kind is TouchKind.IDLE_FLUSH and touch.lumen == name)
        for name in _kept(schedule.plan)
    )


def _kept(plan: Plan) -> list[str]:
    """Return the lumens that the household keeps within their limits."""
    return [
        name for name, lumen in plan.lumens.items() if lumen.in_use and lumen.flush_through is not FlushThrough.NURSE
    ]


def _lumen_of(schedule: Schedule, name: str) -> Lumen:
    plan = schedule.plan
    lumen = plan.lumens[name]
    limit = plan.line.idle_limit if lumen.idle_limit is None else lumen.idle_limit
    assert isinstance(limit, int), "limits by the calendar day are not judged here"
    touches = [touch for touch in schedule.touches if touch.lumen == name and touch.kind is not TouchKind.IDLE_FLUSH]
    pushing = (Action.FLUSH, Action.LOCK)
    return Lumen(
        name=name,
        reach=limit - plan.protocol.planning_margin,
        last=lumen.last_flushed.instant,
        touched=frozenset(touch.at for touch in touches),
        flushed=frozenset(
            touch.at for touch in touches if touch.starts or any(step.action in pushing for step in touch.steps)
        ),
        busy=tuple(
            (dose.start, schedule.end + 1 if dose.end is None else dose.end)
            for order, doses in schedule.doses.items()
            if plan.orders[order].lumen == name
            for dose in doses
        ),
    )


class _Clock:
    """The household's clock and quiet hours, worked out for each zone that the household is in."""

    def __init__(self, schedule: Schedule) -> None:
        plan = schedule.plan
        self._moves = [change.at.instant for change in plan.zone_changes]
        self._zones = [plan.course.zone, *(change.zone for change in plan.zone_changes)]
        self._quiet = [
            sorted(_quiet_hours(plan.household.quiet_hours, zone, schedule.start, schedule.end)) for zone in self._zones
        ]

    def _place(self, at: int) -> int:
        return bisect_right(self._moves, at)

    def wall(self, at: int) -> datetime:
        """Return what the household's clock shows."""
        return datetime.fromtimestamp(at * 60, self._zones[self._place(at)])

    def is_quiet(self, at: int) -> bool:
        """Say whether a minute lies in the quiet hours."""
        spans = self._quiet[self._place(at)]
        return any(first <= at < last for first, last in spans[: bisect_left(spans, (at + 1, at + 1))])


def _quiet_hours(ranges: Sequence[ClockRange], zone: ZoneInfo, start: int, end: int) -> Iterator[tuple[int, int]]:
    """Yield when quiet hours begin and end by the clock of one zone; a time that occurs twice means the first (R3)."""
    day = datetime.fromtimestamp(start * 60, zone).date() - timedelta(days=2)
    while day <= datetime.fromtimestamp(end * 60, zone).date():
        for hours in ranges:
            if day.weekday() in hours.weekdays:
                until = day if hours.last > hours.first else day + timedelta(days=1)
                first = datetime.combine(day, hours.first, zone)
                last = datetime.combine(until, hours.last, zone)
                yield int(first.timestamp()) // 60, int(last.timestamp()) // 60
        day += timedelta(days=1)
