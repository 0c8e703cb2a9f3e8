"""A judge of where idle flushes are placed: the true minimum of R11, proven by integer programming (HiGHS).

It shares no code with the compiler. From the compiled schedule it takes the touches that are not idle flushes; what
runs in a lumen and when, the limits, the quiet hours, the local days and the clocks it works out from the plan, with
the zone rules and the readers of :mod:`simulation`. All instants are whole minutes since 1970.

What is asked (:class:`Question`) becomes a program over whole minutes: for every lumen, which of the minutes have a
flush; for every minute without another touch, whether there is an idle-only session. Each rule is a row. The figures are
weighted with whole numbers so large that no sum of lesser figures outweighs a greater one. An answer counts only if
HiGHS says that it is optimal with no gap left, if its bound lies less than a half from the weighted sum of the answer
rounded to whole numbers, and if that answer stands a walk of its own, minute by minute.

A program over every minute of two weeks takes long, so it can be given some minutes only: :func:`candidates` says why
those are enough.
"""

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from itertools import accumulate, pairwise

import highspy
from simulation import WEEKDAYS, Values, Wanted, ZoneRules, clock_time, in_words, minutes

from reminders.schedule.model import Action, Schedule, Step, Touch, TouchKind

DAY = 1440
EACH_DAY = "each calendar day"
"""The idle limit that counts days."""

MANY, TOO_MANY = 2500, 8000
"""How many places for flushes there may be for both ways to write the program, and for any, see :func:`best`."""

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

    ``until`` returns the last minute for the next flush after one at a minute: the limit less the planning margin
    later, or on the next day. ``flushed`` are the instants at which other touches flush it, the last flush before the
    plan included; ``touched`` those of all its other touches. ``idle`` are the minutes of the plan in which nothing
    runs, ``allowed`` those of them at which an idle flush may stand. All in order.
    """

    name: str
    until: Callable[[int], int]
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
    """What placing is asked to do, from ``start`` to ``end``, both included.

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
    running = {
        minute
        for dose in wanted.runs(name)
        for minute in range(max(dose.start, wanted.start), min(dose.end, wanted.end + 1))
    }
    idle = [minute for minute in range(wanted.start, wanted.end + 1) if minute not in running]
    touched = sorted({touch.at for touch in touches})
    flushed = {touch.at for touch in touches if touch.starts or any(map(_pushes, touch.steps))}
    return IdleLumen(
        name=name,
        until=_until(wanted, name),
        idle=idle,
        allowed=[minute for minute in idle if _after(touched, minute, wanted.end + least + 1) - minute >= least],
        flushed=sorted({*flushed, wanted.moment(wanted.lumens[name]["last_flushed"])}),
        touched=touched,
    )


def _after(instants: Sequence[int], minute: int, otherwise: int) -> int:
    """Return the first of some instants, in order, after a minute."""
    index = bisect_right(instants, minute)
    return instants[index] if index < len(instants) else otherwise


def _pushes(step: Step) -> bool:
    return step.action in (Action.FLUSH, Action.LOCK)


def _until(wanted: Wanted, name: str) -> Callable[[int], int]:
    """Return the function that says until when the next flush must come, after one at a minute (R8)."""
    stated = wanted.lumens[name]
    limit = stated.get("idle_limit", wanted.plan["line"]["idle_limit"])
    margin = minutes(wanted.protocol["planning_margin"])
    if limit != EACH_DAY:
        reach = minutes(limit) - margin
        return lambda flush: flush + reach
    days = _minutes_of_days(wanted, wanted.moment(stated["last_flushed"]) - DAY, wanted.end + 3 * DAY)

    def next_day(flush: int) -> int:
        following = days[_day(wanted, flush) + timedelta(days=1)]
        return max(following[0], following[-1] - margin)

    return next_day


def _day(wanted: Wanted, minute: int) -> date:
    return wanted.rules_at(minute).wall(minute).date()


def _minutes_of_days(wanted: Wanted, first: int, last: int) -> dict[date, list[int]]:
    """Return the minutes of each local day, by the clock that is in force at each."""
    days: dict[date, list[int]] = defaultdict(list)
    for minute in range(first, last + 1):
        days[_day(wanted, minute)].append(minute)
    return days


# Quiet hours: what is quiet by the clock that is in force (R3, R5)


def _quiet_minutes(wanted: Wanted) -> Iterator[int]:
    ranges = [_range(text) for text in wanted.plan.get("household", {}).get("quiet_hours", [])]
    edges = [*(since for since, _ in wanted.zones[1:]), wanted.end + 1]
    for (since, rules), before in zip(wanted.zones, edges, strict=True):
        first, last = max(since, wanted.start), min(before, wanted.end + 1)
        day = rules.wall(first).date() - timedelta(days=1)
        while first < last and day <= rules.wall(last).date():
            for begin, end in _spans(ranges, day, rules):
                yield from range(max(begin, first), min(end, last))
            day += timedelta(days=1)


def _spans(ranges: Iterable[tuple[set[int], time, time]], day: date, rules: ZoneRules) -> Iterator[tuple[int, int]]:
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
    stated = {what: _number(limits[what]) for what in ("flushed", "heparin", "sodium") if what in limits}
    if not stated:
        return
    days = _minutes_of_days(wanted, wanted.start, wanted.end)
    for what, limit in stated.items():
        takes = {name: amount(wanted, what, idle_flush(wanted, name)) for name in names}
        whole = math.lcm(*(amount.denominator for amount in takes.values()))
        for day, members in days.items():
            pushes = [
                (step.what, step.volume.amount)
                for touch in others
                if _day(wanted, touch.at) == day
                for step in touch.steps
                if _pushes(step) and step.volume is not None
            ]
            yield Room(
                what,
                day,
                frozenset(members),
                {name: int(amount * whole) for name, amount in takes.items()},
                max(0, math.floor((limit - amount(wanted, what, pushes)) * whole)),
            )


def amount(wanted: Wanted, what: str, pushes: Iterable[tuple[str, Fraction]]) -> Fraction:
    """Return how much of what a day's total counts is in some volumes of fluids: mL, units or mmol."""
    fluids, total = wanted.plan["fluid"], Fraction(0)
    for fluid, volume in pushes:
        if what == "flushed":
            total += volume
        elif what == "sodium":
            total += volume * _number(fluids[fluid].get("sodium", "0"))
        elif fluids[fluid]["kind"] == "heparin":
            total += volume * _number(fluids[fluid]["strength"])
    return total


def idle_flush(wanted: Wanted, lumen: str) -> list[tuple[str, Fraction]]:
    """Return the fluids that an idle flush of a lumen pushes, with their volumes in mL."""
    steps = wanted.with_lock(wanted.pushed(wanted.protocol["idle"], lumen), lumen)
    return [(step["what"], step["volume"]) for step in steps if step["action"] in ("flush", "lock")]


def _number(text: str) -> Fraction:
    """Read the number of a quantity that is stated in mL, units, mmol, or one of these in a mL."""
    number, _, unit = text.partition(" ")
    if unit not in ("", "mL", "units", "mmol", "units/mL", "mmol/mL"):
        raise ValueError(f"the judge reads no {unit}")
    return Fraction(number)


# --- A placing, looked at minute by minute ---


def complaints(asked: Question, flushes: Flushes) -> list[str]:
    """Walk each lumen minute by minute and say in plain words what a placing breaks; nothing if nothing."""
    known = {lumen.name for lumen in asked.lumens}
    found = [f"{name}: idle flushes where none belong" for name in flushes if name not in known]
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
    for at, following in pairwise(sorted(placed | set(lumen.touched))):
        if at in placed and following - at < asked.least:
            yield f"{lumen.name}: {following - at} min from the idle flush at {in_words(at)} to the next touch"
    last = max(at for at in lumen.flushed if at <= asked.start)
    for minute in range(asked.start, asked.end + 1):
        # A lumen that was idle in the minute before was so up to this minute, before anything is done at it.
        was_late = minute - 1 in idle and minute > lumen.until(last)
        if minute in placed or minute in given:
            last = minute
        if was_late or (minute in idle and minute > lumen.until(last)):
            yield f"{lumen.name}: no flush in time before {in_words(minute)}"
            last = minute  # told once


def figures(asked: Question, flushes: Flushes) -> Figures:
    """Count what a placing has."""
    sessions = {at for placed in flushes.values() for at in placed} - asked.touched
    return Figures(len(sessions & asked.quiet), len(sessions), sum(map(len, flushes.values())))


# --- Which minutes are enough ---


def candidates(asked: Question) -> frozenset[int]:
    """Return minutes among which the flushes of some best placing lie.

    Take, of all best placings, one with the greatest sum of instants. None of its flushes is needless. No set of its
    idle-only sessions can all stand a minute later with all rules kept and no figure greater, since the sum would be
    greater. (Where two sessions would meet, or a session another touch, a figure would even fall.) So every idle-only
    session, at t, runs against something:

    1. t is the last minute before one at which one of its lumens may not be flushed, or the plan's last minute;
    2. t is the last minute before quiet hours or, if totals of a day are stated, of a local day;
    3. t is the last minute that the flush before, in one of its lumens, leaves; or t is the first minute of the plan
       or of a stretch in which the lumen is idle, and no flush before reaches beyond it;
    4. the next idle flush of one of its lumens comes just the least time later.

    Sessions that run only against one another, by 3 and 4, could all stand a minute later together. So a chain of
    such steps leads to every session from an instant that the plan itself names by 1 to 3, from a flush of another
    touch, or from an idle flush that joins another touch. The minutes returned are all that can be reached so.

    A step of kind 3 goes from one flush of a lumen to its next, one of kind 4 from an idle flush to the idle flush before
    it. So one of either kind is never followed by one of the other in the same lumen. Nor are two of kind 4 in one
    lumen: of three flushes within twice the least time the one in the middle would be needless. And the flush before
    one to which a step of kind 4 leads does not reach to where the step comes from: the other would be needless.
    """
    allowed = [set(lumen.allowed) for lumen in asked.lumens]
    if 2 * asked.least > _shortest(asked):
        return frozenset().union(*allowed)
    reached = {(at, NO_STEP) for at in _named(asked) if any(at in each for each in allowed)}
    for index, lumen in enumerate(asked.lumens):
        latest = {at for flush in lumen.flushed for at in _latest_after(lumen, flush)}
        reached |= {(at, (index, 3)) for at in latest & allowed[index]}
    waiting = list(reached)
    while waiting:
        at, step = waiting.pop()
        for index, lumen in enumerate(asked.lumens):
            if at not in allowed[index]:
                continue
            found = [(then, (index, 3)) for then in _latest_after(lumen, at) if step != (index, 4)]
            if asked.least > 1 and step not in ((index, 3), (index, 4)) and not _reached(lumen, at):
                found.append((at - asked.least, (index, 4)))
            new = {(then, how) for then, how in found if then in allowed[index]} - reached
            reached |= new
            waiting += new
    return frozenset(at for at, _ in reached)


NO_STEP = (-1, 0)
"""Where a chain begins. Else a step is of a lumen, by its place, and of kind 3 or 4."""


def _named(asked: Question) -> set[int]:
    """Return the instants that the plan itself names: of other touches, and the last or first minutes of something."""
    found = set(asked.touched)
    found |= {minute - 1 for minute in asked.quiet if minute - 1 not in asked.quiet}
    found |= {minute for room in asked.rooms for minute in room.minutes if minute + 1 not in room.minutes}
    for lumen in asked.lumens:
        idle, allowed = set(lumen.idle), set(lumen.allowed)
        found |= {minute for minute in allowed if minute + 1 not in allowed}
        found |= {minute for minute in idle if minute - 1 not in idle}
    return found


def _latest_after(lumen: IdleLumen, flush: int) -> list[int]:
    """Return the last minute for an idle flush after one at ``flush``, if no other touch flushes the lumen before."""
    latest = lumen.until(flush)
    return [latest] if _after(lumen.flushed, flush, latest + 1) > latest else []


def _reached(lumen: IdleLumen, minute: int) -> bool:
    """Say whether a flush of another touch, before a minute, makes one at the minute the first that is needed."""
    before = lumen.flushed[bisect_left(lumen.flushed, minute) - 1]
    return before < minute <= lumen.until(before)


def _shortest(asked: Question) -> int:
    """Return the shortest time that any flush leaves until the next."""
    return min((lumen.until(at) - at for lumen in asked.lumens for at in lumen.idle), default=DAY)


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


def best(asked: Question, instants: frozenset[int] | None = None, seconds: float = 15.0) -> Verdict:
    """Return a best placing, over all whole minutes or over ``instants`` only, and whether it is proven to be one.

    There are two ways to write the program. :class:`ByCount` is much the faster one for many minutes, but now and then
    slow for few; then :class:`ByMinute` has its turn. For very many minutes the solver does not keep to its time.
    """
    places = sum(at in instants if instants is not None else True for lumen in asked.lumens for at in lumen.allowed)
    if places > TOO_MANY:
        return Verdict(False, "not tried")
    if places > MANY:
        return solved(asked, ByCount(asked, instants), seconds)
    verdict = solved(asked, ByCount(asked, instants), seconds / 8)
    return verdict if verdict.proven else solved(asked, ByMinute(asked, instants), seconds)


class _Weights:
    """Whole numbers that put the figures in their order, whatever a best placing's figures are."""

    def __init__(self, asked: Question) -> None:
        # Of three flushes in a row in one lumen, the first does not reach to the last, or the one between is needless.
        # So no best placing has as many flushes, or sessions, as this.
        pairs = (asked.end - asked.start) // max(1, _shortest(asked)) + 2
        most = 2 * pairs * len(asked.lumens) + 1
        if asked.worth == 0:
            self.session, self.night, self.flush = 1, most, most * most
            return
        worth = min(asked.worth, most)  # as much as all flushes that there are
        self.flush = most
        self.session = worth * most + 1
        self.night = (self.session + self.flush) * most

    def of(self, found: Figures) -> int:
        """Return the weighted sum of figures."""
        return self.night * found.nights + self.session * found.sessions + self.flush * found.flushes


class Program:
    """Whole variables and rows for one question over some of its minutes; subclasses say how a flush is written."""

    presolve = "choose"

    def __init__(self, asked: Question, instants: frozenset[int] | None) -> None:
        """Write the program down; ``possible`` says whether it can have an answer at all."""
        self.asked, self.weights, self.possible = asked, _Weights(asked), True
        self.costs: list[int] = []
        self.tops: list[int] = []
        self.rows: list[tuple[float, float, dict[int, int]]] = []
        self.places: list[list[int]] = []
        self.variables: list[list[int]] = []
        for index, lumen in enumerate(asked.lumens):
            self.places.append([at for at in lumen.allowed if instants is None or at in instants])
            self.variables.append([])
            self.lay_out(index)
            self._within_limit(index)
            self._apart(index)
        self._sessions()
        for room in asked.rooms:
            self._in_room(room)

    def lay_out(self, lumen: int) -> None:
        """Make the variables of a lumen's flushes."""
        raise NotImplementedError

    def between(self, lumen: int, first: int, last: int) -> dict[int, int]:
        """Return how many flushes stand at a lumen's places from ``first`` up to ``last``: variables, and how often."""
        raise NotImplementedError

    def placing(self, values: Sequence[float]) -> Flushes:
        """Return the placing that the solver's values mean, rounded to whole numbers."""
        whole = [round(value) for value in values]
        return {
            lumen.name: [
                at
                for place, at in enumerate(self.places[index])
                if sum(whole[key] * times for key, times in self.between(index, place, place + 1).items())
            ]
            for index, lumen in enumerate(self.asked.lumens)
        }

    def variable(self, cost: int, top: int) -> int:
        """Make a variable from 0 to ``top``."""
        self.costs.append(cost)
        self.tops.append(top)
        return len(self.costs) - 1

    def row(self, least: float, most: float, sum_of: dict[int, int]) -> None:
        """Keep a sum of variables between two bounds."""
        if sum_of:
            self.rows.append((least, most, sum_of))
        elif least > 0:
            self.possible = False

    def _within_limit(self, index: int) -> None:
        """R8: from each idle minute to the next, some flush is there that reaches so far; at the plan's end too."""
        lumen, end, places = self.asked.lumens[index], self.asked.end, self.places[index]
        moments = [(minute, minute + 1) for minute in lumen.idle if minute < end]
        if lumen.idle and lumen.idle[-1] == end:
            moments.append((end, end))
        spans = {
            (bisect_left(places, reaching, key=lumen.until), bisect_right(places, minute))
            for minute, reaching in moments
            if lumen.until(lumen.flushed[bisect_right(lumen.flushed, minute) - 1]) < reaching
        }
        begins = -1
        for first, last in sorted(spans, key=lambda span: (span[1], -span[0])):
            if first > begins:  # else the row before is within this one
                begins = first
                self.row(1, math.inf, self.between(index, first, last))

    def _apart(self, index: int) -> None:
        """Keep idle flushes of one lumen the least time apart; that from other touches is in ``allowed``."""
        places = self.places[index]
        for place, at in enumerate(places):
            last = bisect_left(places, at + self.asked.least)
            if last > place + 1:
                self.row(0, 1, self.between(index, place, last))

    def _sessions(self) -> None:
        """Make a session of every minute that has a flush and no other touch."""
        sessions: dict[int, int] = {}
        for index, places in enumerate(self.places):
            for place, at in enumerate(places):
                if at in self.asked.touched:
                    continue
                if at not in sessions:
                    night = self.weights.night if at in self.asked.quiet else 0
                    sessions[at] = self.variable(self.weights.session + night, 1)
                here = self.between(index, place, place + 1)
                self.row(0, math.inf, {sessions[at]: 1, **{key: -times for key, times in here.items()}})

    def _in_room(self, room: Room) -> None:
        taken: dict[int, int] = defaultdict(int)
        for index, places in enumerate(self.places):
            for place, at in enumerate(places):
                if at in room.minutes:
                    for key, times in self.between(index, place, place + 1).items():
                        taken[key] += times * room.takes[self.asked.lumens[index].name]
        self.row(0, room.left, {key: times for key, times in taken.items() if times})


class ByMinute(Program):
    """A variable for each minute of a lumen: 1 if it has a flush."""

    def lay_out(self, lumen: int) -> None:
        """Make the variables of a lumen's flushes."""
        self.variables[lumen] = [self.variable(self.weights.flush, 1) for _ in self.places[lumen]]

    def between(self, lumen: int, first: int, last: int) -> dict[int, int]:
        """Return how many flushes stand at a lumen's places from ``first`` up to ``last``."""
        return dict.fromkeys(self.variables[lumen][first:last], 1)


class ByCount(Program):
    """A variable for each minute of a lumen: how many flushes it has had so far. What stands between two minutes is a
    difference, so that every row has few entries."""

    presolve = "off"

    def lay_out(self, lumen: int) -> None:
        """Make the variables of a lumen's flushes."""
        places = self.places[lumen]
        counts = self.variables[lumen] = [self.variable(0, len(places)) for _ in places]
        if counts:
            self.costs[counts[-1]] = self.weights.flush
        for place in range(len(places)):
            self.row(0, 1, self.between(lumen, place, place + 1))

    def between(self, lumen: int, first: int, last: int) -> dict[int, int]:
        """Return how many flushes stand at a lumen's places from ``first`` up to ``last``."""
        counts = self.variables[lumen]
        if first >= last:
            return {}
        return {counts[last - 1]: 1} | ({counts[first - 1]: -1} if first else {})


def solved(asked: Question, program: Program, seconds: float) -> Verdict:
    """Run HiGHS over a program for so many seconds at most, and look at its answer."""
    if not program.possible:
        return Verdict(True, "no flush can stand where one must")
    if not program.costs:
        return Verdict(True, "nothing to place", Figures(0, 0, 0))
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.silent()
    for name, value in {"mip_rel_gap": 0.0, "mip_abs_gap": 0.0, "time_limit": seconds}.items():
        highs.setOptionValue(name, value)
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("presolve", program.presolve)
    highs.passModel(_for_highs(program))
    highs.run()
    status = highs.getModelStatus()
    said = highs.modelStatusToString(status)
    if status != highspy.HighsModelStatus.kOptimal:
        return Verdict(status == highspy.HighsModelStatus.kInfeasible, said)
    flushes = program.placing(highs.getSolution().col_value)
    found, broken = figures(asked, flushes), complaints(asked, flushes)
    sure = highs.getInfo().mip_dual_bound > program.weights.of(found) - 0.5
    return Verdict(sure and not broken, "; ".join([said, *broken]), found, flushes)


def _for_highs(program: Program) -> highspy.HighsLp:
    columns, rows = len(program.costs), program.rows
    written = highspy.HighsLp()
    written.num_col_, written.num_row_ = columns, len(rows)
    written.col_cost_ = [float(cost) for cost in program.costs]
    written.col_lower_, written.col_upper_ = [0.0] * columns, [float(top) for top in program.tops]
    written.integrality_ = [highspy.HighsVarType.kInteger] * columns
    written.row_lower_, written.row_upper_ = [least for least, _, _ in rows], [most for _, most, _ in rows]
    matrix = written.a_matrix_
    matrix.format_ = highspy.MatrixFormat.kRowwise
    matrix.start_ = [0, *accumulate(len(sum_of) for _, _, sum_of in rows)]
    matrix.index_ = [key for _, _, sum_of in rows for key in sum_of]
    matrix.value_ = [float(times) for _, _, sum_of in rows for times in sum_of.values()]
    return written
