"""A judge of where idle flushes are placed: the true minimum of R11, proven by integer programming (HiGHS).

It shares no code with the compiler. From the compiled schedule it takes the touches that are not idle flushes; what
runs in a lumen and when, the limits, the quiet hours, the local days and the clocks it works out from the plan, with
the zone rules and the readers of :mod:`simulation`. All instants are whole minutes since 1970.

What is asked (:class:`Question`) becomes a program over whole minutes. For every lumen a whole number counts the idle
flushes up to each minute, so that one minute has a flush where the count rises by one, and "some flush from here to
there" is a difference of two counts that is at least one. For every minute without another touch, a 0/1 variable says
whether there is an idle-only session. The figures are weighted with whole numbers so large that no sum of lesser figures
outweighs a greater one. An answer counts only if HiGHS says *optimal* with no gap left, its bound lies less than a
half from the weighted sum of the rounded answer, and that answer stands a walk of its own, minute by minute.

A program over every minute of weeks takes long, so it can be given candidate minutes instead: :func:`candidates`
says why they are enough.
"""

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from itertools import accumulate, pairwise

import highspy
from simulation import WEEKDAYS, Values, Wanted, ZoneRules, clock_time, in_words, millilitres, minutes

from reminders.schedule.model import Action, Schedule, Touch, TouchKind

SECONDS = 60.0
"""How long one program may run; it then counts as unproven."""

Flushes = Mapping[str, Sequence[int]]
"""The idle flushes of each lumen, in order of time."""


# --- What is asked ---


@dataclass(frozen=True, slots=True)
class Figures:
    """What R11 has few of: idle-only sessions in quiet hours, idle-only sessions, idle flushes. No limit is broken."""

    nights: int
    sessions: int
    flushes: int

    def rank(self, worth: int) -> tuple[int, int, int]:
        """Return what is compared, first things first, if a saved session is worth so many flushes."""
        if worth == 0:
            return self.flushes, self.nights, self.sessions
        return self.nights, worth * self.sessions + self.flushes, self.sessions


@dataclass(frozen=True, slots=True)
class IdleLumen:
    """One lumen that is kept within its limit.

    ``reach`` is the limit less the planning margin, ``last`` its last flush before the plan. ``idle`` are the minutes
    in which nothing runs, ``allowed`` those of them at which an idle flush may stand; ``flushed`` the instants at
    which another touch flushes it, ``touched`` those of all its other touches. All in order.
    """

    name: str
    reach: int
    last: int
    idle: Sequence[int]
    allowed: Sequence[int]
    flushed: Sequence[int]
    touched: Sequence[int]


@dataclass(frozen=True, slots=True)
class Room:
    """What a local day has left of a stated total: ``left`` for its minutes; one flush of a lumen takes ``takes``."""

    what: str
    day: date
    minutes: frozenset[int]
    takes: Mapping[str, int]
    left: int


@dataclass(frozen=True, slots=True)
class Question:
    """What placement is asked to do: from ``start`` to ``end``, both included.

    ``touched`` are the instants of all touches but idle flushes, on any lumen; ``quiet`` the minutes of the quiet
    hours; ``least`` the least minutes from an idle flush to the next touch of its lumen.
    """

    start: int
    end: int
    lumens: tuple[IdleLumen, ...]
    touched: frozenset[int]
    quiet: frozenset[int]
    least: int
    worth: int
    rooms: tuple[Room, ...] = ()


def question(plan: Values, schedule: Schedule) -> Question:
    """Return what a plan, as ``tomllib`` reads it, asks of the placing, given the other touches of its schedule."""
    wanted = Wanted(plan)
    others = [touch for touch in schedule.touches if touch.kind is not TouchKind.IDLE_FLUSH]
    protocol = plan["protocol"]
    least = minutes(protocol["least_time_to_next_touch"])
    lumens = tuple(
        _idle_lumen(wanted, name, [touch for touch in others if touch.lumen == name], least)
        for name, stated in plan["lumen"].items()
        if stated.get("in_use", True) and stated.get("flush_through") != "nurse only"
    )
    return Question(
        start=wanted.start,
        end=wanted.end,
        lumens=lumens,
        touched=frozenset(touch.at for touch in others),
        quiet=frozenset(_quiet_minutes(wanted)),
        least=least,
        worth=protocol["saved_session_worth"],
        rooms=tuple(_rooms(wanted, [lumen.name for lumen in lumens], others)),
    )


def planned(schedule: Schedule) -> dict[str, list[int]]:
    """Return the idle flushes of a compiled schedule."""
    found: dict[str, list[int]] = defaultdict(list)
    for touch in schedule.touches:
        if touch.kind is TouchKind.IDLE_FLUSH:
            found[touch.lumen].append(touch.at)
    return dict(found)


def _idle_lumen(wanted: Wanted, name: str, touches: Sequence[Touch], least: int) -> IdleLumen:
    stated = wanted.lumens[name]
    limit = minutes(stated.get("idle_limit", wanted.plan["line"]["idle_limit"]))
    running = {
        minute
        for dose in wanted.runs(name)
        for minute in range(max(dose.start, wanted.start), min(dose.end, wanted.end + 1))
    }
    idle = [minute for minute in range(wanted.start, wanted.end + 1) if minute not in running]
    touched = sorted({touch.at for touch in touches})
    return IdleLumen(
        name=name,
        reach=limit - minutes(wanted.protocol["planning_margin"]),
        last=wanted.moment(stated["last_flushed"]),
        idle=idle,
        allowed=[minute for minute in idle if _next(touched, minute, wanted.end + least + 1) - minute >= least],
        flushed=sorted({touch.at for touch in touches if touch.starts or any(map(_pushes, touch.steps))}),
        touched=touched,
    )


def _next(instants: Sequence[int], minute: int, otherwise: int) -> int:
    index = bisect_right(instants, minute)
    return instants[index] if index < len(instants) else otherwise


def _pushes(step: object) -> bool:
    return getattr(step, "action", None) in (Action.FLUSH, Action.LOCK)


# Quiet hours: each minute by the clock that is in force at it (R3, R5)


def _quiet_minutes(wanted: Wanted) -> Iterator[int]:
    ranges = [_range(text) for text in wanted.plan.get("household", {}).get("quiet_hours", [])]
    known: dict[tuple[int, date], list[tuple[int, int]]] = {}
    for minute in range(wanted.start, wanted.end + 1):
        rules = wanted.rules_at(minute)
        today = rules.wall(minute).date()
        for day in (today - timedelta(days=1), today, today + timedelta(days=1)):
            key = (id(rules), day)
            if key not in known:
                known[key] = list(_spans(ranges, day, rules))
            if any(first <= minute < last for first, last in known[key]):
                yield minute
                break


def _spans(ranges: Sequence[tuple[set[int], time, time]], day: date, rules: ZoneRules) -> Iterator[tuple[int, int]]:
    for weekdays, first, last in ranges:
        if day.weekday() in weekdays:
            ends_on = day if first < last else day + timedelta(days=1)
            yield rules.instant(datetime.combine(day, first)), rules.instant(datetime.combine(ends_on, last))


def _range(text: str) -> tuple[set[int], time, time]:
    """Read quiet hours such as ``22:00-07:00`` or ``Mon-Thu, Sat 22:00-07:00``."""
    *days, hours = text.replace(",", " ").split()
    first, last = (clock_time(entry) for entry in hours.split("-"))
    found: set[int] = set()
    for entry in days:
        begin, _, end = entry.partition("-")
        left, right = WEEKDAYS.index(begin), WEEKDAYS.index(end or begin)
        found |= {(left + step) % 7 for step in range((right - left) % 7 + 1)}
    return found or set(range(7)), first, last


# Daily totals (R22)


def _rooms(wanted: Wanted, names: Sequence[str], others: Sequence[Touch]) -> Iterator[Room]:
    limits = wanted.plan.get("daily_limits", {})
    measures: dict[str, Callable[[str, Fraction], Fraction]] = {
        "flushed": lambda _, volume: volume,
        "heparin": lambda fluid, volume: volume * _strength(wanted, fluid),
        "sodium": lambda fluid, volume: volume * _first_number(wanted.plan["fluid"][fluid].get("sodium", "0")),
    }
    stated = {name: _first_number(limits[name]) for name in measures if name in limits}
    if not stated:
        return
    days: dict[date, set[int]] = defaultdict(set)
    for minute in range(wanted.start, wanted.end + 1):
        days[wanted.rules_at(minute).wall(minute).date()].add(minute)
    for what, limit in stated.items():
        measure = measures[what]
        takes = {name: sum(measure(*pushed) for pushed in _idle_pushes(wanted, name)) for name in names}
        for day, members in days.items():
            fixed = sum(
                measure(step.what, step.volume.amount)
                for touch in others
                if wanted.rules_at(touch.at).wall(touch.at).date() == day
                for step in touch.steps
                if _pushes(step) and step.volume is not None
            )
            whole = math.lcm(*(Fraction(amount).denominator for amount in takes.values()))
            yield Room(
                what,
                day,
                frozenset(members),
                {name: int(amount * whole) for name, amount in takes.items()},
                max(0, math.floor((limit - fixed) * whole)),
            )


def _idle_pushes(wanted: Wanted, lumen: str) -> list[tuple[str, Fraction]]:
    steps = wanted.with_lock(wanted.pushed(wanted.protocol["idle"], lumen), lumen)
    return [(step["what"], step["volume"]) for step in steps if step["action"] in ("flush", "lock")]


def _strength(wanted: Wanted, fluid: str) -> Fraction:
    stated = wanted.plan["fluid"][fluid]
    return _first_number(stated["strength"]) if stated["kind"] == "heparin" else Fraction(0)


def _first_number(text: str) -> Fraction:
    if text.split()[-1] == "L":
        return millilitres(text)
    return Fraction(text.split()[0])


# --- A placing, looked at minute by minute ---


def complaints(asked: Question, flushes: Flushes) -> list[str]:
    """Walk each lumen minute by minute and say in plain words what a placing breaks; nothing if nothing."""
    found = [f"an idle flush in {name}" for name in flushes if name not in {lumen.name for lumen in asked.lumens}]
    for lumen in asked.lumens:
        found += _walk(asked, lumen, flushes.get(lumen.name, ()))
    for room in asked.rooms:
        taken = sum(
            room.takes[lumen.name] for lumen in asked.lumens for at in flushes.get(lumen.name, ()) if at in room.minutes
        )
        if taken > room.left:
            found.append(f"{room.what} on {room.day}: idle flushes take {taken} of {room.left}")
    return found


def _walk(asked: Question, lumen: IdleLumen, flushes: Sequence[int]) -> Iterator[str]:
    placed, idle, given = set(flushes), set(lumen.idle), set(lumen.flushed)
    if len(placed) != len(flushes):
        yield f"{lumen.name}: two idle flushes at one instant"
    for at in sorted(placed - idle):
        yield f"{lumen.name}: an idle flush at {in_words(at)}, when the lumen is not idle or the plan is over"
    touches = sorted(placed | set(lumen.touched))
    for at, following in pairwise(touches):
        if at in placed and following - at < asked.least:
            yield f"{lumen.name}: {following - at} min from the idle flush at {in_words(at)} to the next touch"
    last = lumen.last
    for minute in range(asked.start, asked.end + 1):
        # A lumen that was idle up to this minute was so for all the time since the minute before.
        if minute - 1 in idle and minute - last > lumen.reach:
            yield f"{lumen.name}: {minute - last} min without a flush at {in_words(minute)}, {lumen.reach} are allowed"
            last = minute  # told once
        if minute in placed or minute in given:
            last = minute
        if minute in idle and minute - last > lumen.reach:
            yield f"{lumen.name}: {minute - last} min without a flush at {in_words(minute)}, {lumen.reach} are allowed"
            last = minute


def figures(asked: Question, flushes: Flushes) -> Figures:
    """Count what a placing has."""
    sessions = {at for placed in flushes.values() for at in placed} - asked.touched
    return Figures(len(sessions & asked.quiet), len(sessions), sum(map(len, flushes.values())))


# --- Which minutes are enough ---


def candidates(asked: Question) -> frozenset[int]:
    """Return minutes among which the flushes of some best placing lie.

    Take, of all best placings, one with the greatest sum of instants. None of its flushes is needless, and no set of
    its idle-only sessions can stand a minute later and leave all rules kept and no figure greater. (Where that would
    make two sessions meet, or one meet another touch, a figure would even fall.) So every idle-only session, at t, runs
    against something, in one of its lumens or for all of them:

    1. t is the last minute before one at which the lumen may not be flushed, or the plan's last one;
    2. t is the last minute before quiet hours, or (only if totals of a day are stated) of a local day;
    3. the flush before, in the lumen, lies just the reach back. Or there was none within the reach of t, because t is
       the first minute of the plan or of a stretch in which the lumen is idle;
    4. the next idle flush of the lumen comes after just the least time.

    Sessions that run only against one another, by 3 and 4, could all stand a minute later together. So from every
    session some chain of such steps leads to one that stands at an instant of kinds 1 to 3 that the plan itself fixes,
    to a flush of another touch, or to an idle flush that joins another touch. The minutes returned are all these
    instants and all that can be reached from them by adding a lumen's reach (3) and taking the least time away (4).
    A step of kind 3 passes over no other flush of the lumen, since that would be the flush before.
    """
    quiet, rooms = asked.quiet, asked.rooms
    found = set(asked.touched)
    found |= {first - 1 for first in quiet if first - 1 not in quiet}
    found |= {last for room in rooms for last in room.minutes if last + 1 not in room.minutes}
    allowed = [set(lumen.allowed) for lumen in asked.lumens]
    for lumen, members in zip(asked.lumens, allowed, strict=True):
        idle = set(lumen.idle)
        found |= {last for last in members if last + 1 not in members}
        found |= {first for first in idle if first - 1 not in idle}
        found |= {flush + lumen.reach for flush in _counted(lumen) if _leads_on(lumen, flush, members)}
    found &= set().union(*allowed)
    waiting = list(found)
    while waiting:
        at = waiting.pop()
        reached = set()
        for lumen, members in zip(asked.lumens, allowed, strict=True):
            if at in members:
                reached |= {at + lumen.reach} if _leads_on(lumen, at, members) else set()
                reached |= {at - asked.least} & members
        waiting += reached - found
        found |= reached
    return frozenset(found)


def _counted(lumen: IdleLumen) -> list[int]:
    """Return the flushes of a lumen that are no idle flushes, the one before the plan included."""
    return [lumen.last, *lumen.flushed]


def _leads_on(lumen: IdleLumen, flush: int, allowed: set[int]) -> bool:
    """Say whether the next flush after ``flush`` may be an idle one that uses up the whole reach."""
    at = flush + lumen.reach
    return at in allowed and _next(lumen.flushed, flush, at + 1) > at


# --- The program ---


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the judge found: a best placing with its figures, or None if no placing keeps all rules.

    Only a ``proven`` verdict says anything; ``said`` is the solver's own word for how it ended.
    """

    proven: bool
    said: str
    figures: Figures | None = None
    flushes: Flushes = field(default_factory=dict)


Row = tuple[float, float, dict[int, int]]
"""The least and the greatest value of a sum, and the whole numbers by which its variables are multiplied."""


class _Program:
    """Variables and rows for one question over some of its minutes."""

    def __init__(self, asked: Question, instants: frozenset[int] | None) -> None:
        self.asked = asked
        self.costs: list[int] = []
        self.tops: list[int] = []
        self.rows: list[Row] = []
        self.places: dict[str, list[int]] = {}
        self.counts: dict[str, list[int]] = {}
        self.possible = True
        weights = _Weights(asked)
        sessions: dict[int, int] = {}
        for lumen in asked.lumens:
            places = [at for at in lumen.allowed if instants is None or at in instants]
            counts = [self._variable(0, len(places)) for _ in places]
            if counts:
                self.costs[counts[-1]] = weights.flush
            self.places[lumen.name], self.counts[lumen.name] = places, counts
            for index, at in enumerate(places):
                here = self._between(lumen.name, index, index + 1)
                self.rows.append((0, 1, here))
                if at not in asked.touched:
                    if at not in sessions:
                        night = weights.night if at in asked.quiet else 0
                        sessions[at] = self._variable(weights.session + night, 1)
                    self.rows.append((0, math.inf, {sessions[at]: 1, **{key: -value for key, value in here.items()}}))
            self._within_reach(lumen)
            self._apart(lumen)
        for room in asked.rooms:
            self._in_room(room)

    def _variable(self, cost: int, top: int) -> int:
        self.costs.append(cost)
        self.tops.append(top)
        return len(self.costs) - 1

    def _between(self, lumen: str, first: int, last: int) -> dict[int, int]:
        """Return the number of flushes at the places from ``first`` up to ``last``, as a difference of counts."""
        counts = self.counts[lumen]
        if first >= last:
            return {}
        return {counts[last - 1]: 1} | ({counts[first - 1]: -1} if first else {})

    def _within_reach(self, lumen: IdleLumen) -> None:
        """R8: from every idle minute on to the next, some flush lies at most the reach back; at the plan's end too."""
        spans = [(minute + 1 - lumen.reach, minute) for minute in lumen.idle if minute < self.asked.end]
        if lumen.idle and lumen.idle[-1] == self.asked.end:
            spans.append((self.asked.end - lumen.reach, self.asked.end))
        places, given = self.places[lumen.name], sorted(_counted(lumen))
        needed = {
            (bisect_left(places, first), bisect_right(places, last))
            for first, last in spans
            if bisect_left(given, first) == bisect_right(given, last)
        }
        latest = -1
        for first, last in sorted(needed, key=lambda span: (span[1], -span[0])):
            if first > latest:  # else a span within this one has its own row
                latest = first
                self._at_least_one(self._between(lumen.name, first, last))

    def _at_least_one(self, sum_of: dict[int, int]) -> None:
        if sum_of:
            self.rows.append((1, math.inf, sum_of))
        else:
            self.possible = False

    def _apart(self, lumen: IdleLumen) -> None:
        """Keep idle flushes of one lumen the least time apart; that from other touches is in ``allowed``."""
        places = self.places[lumen.name]
        for index, at in enumerate(places):
            last = bisect_left(places, at + self.asked.least)
            if last > index + 1:
                self.rows.append((0, 1, self._between(lumen.name, index, last)))

    def _in_room(self, room: Room) -> None:
        taken: dict[int, int] = defaultdict(int)
        for lumen, places in self.places.items():
            for index, at in enumerate(places):
                if at in room.minutes:
                    for key, value in self._between(lumen, index, index + 1).items():
                        taken[key] += value * room.takes[lumen]
        self.rows.append((0, room.left, {key: value for key, value in taken.items() if value}))

    def solved(self, seconds: float) -> tuple[highspy.Highs, list[float]]:
        """Run HiGHS over the program; return it with the values that it found."""
        program = highspy.HighsLp()
        program.num_col_, program.num_row_ = len(self.costs), len(self.rows)
        program.col_cost_ = [float(cost) for cost in self.costs]
        program.col_lower_, program.col_upper_ = [0.0] * len(self.costs), [float(top) for top in self.tops]
        program.integrality_ = [highspy.HighsVarType.kInteger] * len(self.costs)
        program.row_lower_, program.row_upper_ = [row[0] for row in self.rows], [row[1] for row in self.rows]
        matrix = program.a_matrix_
        matrix.format_ = highspy.MatrixFormat.kRowwise
        matrix.start_ = [0, *accumulate(len(row[2]) for row in self.rows)]
        matrix.index_ = [key for row in self.rows for key in row[2]]
        matrix.value_ = [float(value) for row in self.rows for value in row[2].values()]
        highs = highspy.Highs()  # type: ignore[no-untyped-call]
        options = {"output_flag": False, "threads": 1, "mip_rel_gap": 0.0, "mip_abs_gap": 0.0, "time_limit": seconds}
        for name, value in options.items():
            highs.setOptionValue(name, value)
        highs.passModel(program)
        highs.run()
        return highs, list(highs.getSolution().col_value)

    def placing(self, values: Sequence[float]) -> dict[str, list[int]]:
        """Return the placing that the values mean, once they are rounded to whole numbers."""
        found = {}
        for lumen, places in self.places.items():
            counts = [0, *(round(values[count]) for count in self.counts[lumen])]
            found[lumen] = [at for at, (before, after) in zip(places, pairwise(counts), strict=True) if after > before]
        return found


class _Weights:
    """Whole numbers that put the figures in their order, whatever a best placing's figures are."""

    def __init__(self, asked: Question) -> None:
        # Of three flushes in a row in one lumen the first and the last lie more than the reach apart, or the one between
        # is needless; so no best placing has as many flushes, or sessions, as this.
        most = sum(2 * ((asked.end - asked.start) // lumen.reach + 2) for lumen in asked.lumens) + 1
        if asked.worth == 0:
            self.session, self.night, self.flush = 1, most, most * most
            return
        worth = min(asked.worth, most)  # more than all flushes there are is as much as any number
        self.flush = most
        self.session = worth * most + 1
        self.night = self.session * most + self.flush * most

    def of(self, found: Figures) -> int:
        return self.night * found.nights + self.session * found.sessions + self.flush * found.flushes


def best(asked: Question, instants: frozenset[int] | None = None, seconds: float = SECONDS) -> Verdict:
    """Return a best placing, over all whole minutes or over ``instants`` only, and whether it is proven to be one."""
    program = _Program(asked, instants)
    if not program.possible:
        return Verdict(True, "a moment that no flush reaches")
    if not program.costs:
        return Verdict(True, "nothing to place", Figures(0, 0, 0))
    highs, values = program.solved(seconds)
    status = highs.getModelStatus()
    said = highs.modelStatusToString(status)
    if status == highspy.HighsModelStatus.kInfeasible:
        return Verdict(True, said)
    if status != highspy.HighsModelStatus.kOptimal:
        return Verdict(False, said)
    flushes = program.placing(values)
    found = figures(asked, flushes)
    broken = complaints(asked, flushes)
    sure = highs.getInfo().mip_dual_bound > _Weights(asked).of(found) - 0.5
    return Verdict(sure and not broken, "; ".join([said, *broken]), found, flushes)
