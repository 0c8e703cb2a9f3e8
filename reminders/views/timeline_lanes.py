"""One lumen over some hours into what is drawn of it: marks for its touches, bars for its infusions, closed stretches.

Everything comes from the schedule. What is not recorded is never made a recorded mark or bar.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

from reminders.event_words import marked
from reminders.plan.order import GivenAs
from reminders.schedule.model import (
    BLOCKS,
    DROPPED,
    ENDLESS,
    NEVER,
    Dose,
    DoseState,
    Outcome,
    Schedule,
    Spans,
    Status,
    Touch,
    TouchKind,
)
from reminders.schedule.status import status
from reminders.times import Instant
from reminders.words import (
    CATALOGUE,
    clock_beside,
    clock_words,
    drug_words,
    lumen_words,
    moment_words,
    sign_words,
    what_words,
)

_ = CATALOGUE.gettext


class Look(Enum):
    """How a mark is drawn, by how things stand with its touch; the value is what the legend says."""

    DONE = _("recorded as done")
    LATE = _("recorded as done, late")
    PLANNED = _("planned")
    DUE = _("due")
    OVERDUE = _("overdue: was it done?")
    UNCONFIRMED = _("unconfirmed")
    ASK = _("ask first")
    NO_USE = _("do not use")
    SKIPPED = _("not to be done")
    HELD = _("held")
    MISSED = _("not given")


class Fill(Enum):
    """How a stretch of an infusion's bar is drawn; the value is what the legend says."""

    RECORDED = _("runs, as recorded")
    PLANNED = _("runs, as planned only")
    ASK = _("would run: ask first")
    PAUSED = _("interrupted")
    UNKNOWN = _("start or end not recorded")


class Closed(Enum):
    """Why a lumen is marked over a stretch of time; the value is what the legend says."""

    BLOCKED = _("do not use the lumen")
    PROBLEM = _("problem: ask first")
    HELD = _("held")
    UNUSED = _("out of use")
    REMOVED = _("the line is out")
    OUTSIDE = _("outside the plan")


@dataclass(frozen=True, slots=True)
class Mark:
    """One touch: when, what, how it is drawn; short words of what it is (``what``) and of how it stands (``state``,
    empty where the look says enough); ``words`` say all of it."""

    at: Instant
    kind: TouchKind
    look: Look
    what: str
    state: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Bar:
    """A piece of an infusion within the window. ``place`` of ``places``: side by side where infusions overlap.

    ``before`` and ``after`` say that it runs on beyond the window; ``stopped`` that it was stopped early at its end.
    """

    begin: Instant
    end: Instant
    fill: Fill
    drug: str
    words: str
    before: bool = False
    after: bool = False
    stopped: bool = False
    place: int = 0
    places: int = 1


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time in which the lumen is closed to use, clipped to the window; ``lines`` say so in short."""

    begin: Instant
    end: Instant
    why: Closed
    lines: tuple[str, ...]
    words: str

    @property
    def urgent(self) -> bool:
        """Say whether somebody must not use the lumen, or must ask first."""
        return self.why in (Closed.BLOCKED, Closed.PROBLEM)


@dataclass(frozen=True, slots=True)
class Lane:
    """What is drawn of one lumen, each in order of time."""

    name: str
    marks: tuple[Mark, ...]
    bars: tuple[Bar, ...]
    stretches: tuple[Stretch, ...]


def lane(schedule: Schedule, name: str, begin: Instant, end: Instant, now: Instant) -> Lane:
    """Return what is drawn of a lumen from ``begin`` up to ``end``, which is not in it, as of ``now``."""
    touches = [touch for touch in schedule.touches if touch.lumen == name and begin <= touch.at < end]
    return Lane(
        name,
        tuple(_mark(touch, schedule, now) for touch in touches),
        tuple(_bars(schedule, name, (begin, end), now)),
        tuple(_stretches(schedule, name, begin, end)),
    )


# Touches

LOOKS = {
    Status.PLANNED: Look.PLANNED,
    Status.DUE: Look.DUE,
    Status.OVERDUE: Look.OVERDUE,
    Status.DONE: Look.DONE,
    Status.LATE: Look.LATE,
    Status.SKIPPED: Look.SKIPPED,
    Status.MISSED: Look.MISSED,
    Status.UNCONFIRMED: Look.UNCONFIRMED,
}

STATE_WORDS = {
    Status.PLANNED: _("planned"),
    Status.DUE: _("due"),
    Status.OVERDUE: _("overdue"),
    Status.DONE: _("done"),
    Status.LATE: _("done late"),
    Status.SKIPPED: _("not to be done"),
    Status.MISSED: _("not given"),
    Status.UNCONFIRMED: _("unconfirmed"),
}

SAID_BY_LOOK = frozenset({Status.PLANNED, Status.DONE})


def _mark(touch: Touch, schedule: Schedule, now: Instant) -> Mark:
    how = status(touch, schedule, now)
    open_asks = touch.asks if touch.outcome is None or touch.outstanding else ()
    look, state = LOOKS[how], [] if how in SAID_BY_LOOK else [STATE_WORDS[how]]
    if any(ask.why in BLOCKS for ask in open_asks):
        look, state = Look.NO_USE, [_("DO NOT USE"), *state]
    elif open_asks:
        look, state = Look.ASK, [_("ASK FIRST"), *state]
    elif touch.outcome is Outcome.HELD:
        look, state = Look.HELD, [_("held")]
    elif touch.outstanding:
        urgent = bool(touch.steps) and not touch.nurse_only and how in (Status.DUE, Status.OVERDUE)
        state = [_("FLUSH NOW") if urgent else _("flush not recorded")]
    if touch.outcome is Outcome.DONE and any(dose.state is DoseState.STOPPED for dose in touch.ends):
        state = [_("stopped early"), *state]
    if any(dose.state is DoseState.ELSEWHERE for dose in touch.starts):
        state = [*state, _("elsewhere")]
    if touch.nurse_only:
        state = [*state, _("nurse only")]
    said = marked(what_words(touch, touch.plan), touch)
    words = _("{at}, {lumen}: {what} ({state})").format(
        at=clock_words(schedule.plan.clock.local(touch.at)),
        lumen=lumen_words(touch.plan, touch.lumen),
        what=said,
        state=STATE_WORDS[how],
    )
    return Mark(touch.at, touch.kind, look, _short(touch), tuple(state), words)


def _short(touch: Touch) -> str:
    begun = _drugs(touch.starts, touch)
    what = {
        TouchKind.START: begun,
        TouchKind.PUSH: _("give {drugs}").format(drugs=begun),
        TouchKind.FINISH: _("finish"),
        TouchKind.CHANGEOVER: _("finish, then {drugs}").format(drugs=begun),
        TouchKind.BAG_CHANGE: _("change bag"),
        TouchKind.IDLE_FLUSH: _("flush"),
        TouchKind.DRAW: _("blood draw"),
    }[touch.kind]
    if not touch.tasks:
        return what
    if touch.kind is not TouchKind.DRAW:
        return _("{what}, with blood draw").format(what=what)
    drawn = _(" and ").join(touch.plan.tasks[name].label for name in touch.tasks)
    return _("{what}: {drawn}").format(what=what, drawn=drawn)


def _drugs(doses: Iterable[Dose], touch: Touch) -> str:
    return _(" and ").join(touch.plan.orders[dose.order].drug for dose in doses)


# Infusions

Piece = tuple[Instant, Instant, Fill]


def _bars(schedule: Schedule, name: str, window: tuple[Instant, Instant], now: Instant) -> list[Bar]:
    """Return the pieces of all infusions through a lumen; those that overlap in time stand side by side."""
    begin, end = window
    doses = sorted(
        (dose for found in schedule.connected.values() for dose in found if dose.lumen == name),
        key=lambda dose: (dose.start, dose.order, dose.key),
    )
    drawn: list[tuple[Dose, list[Piece]]] = []
    for dose in doses:
        pieces = [piece for piece in _pieces(dose, schedule, now) if piece[0] < end and begin < piece[1]]
        if pieces:
            drawn.append((dose, pieces))
    until: list[Instant] = []  # when each place beside the others is free again
    places = []
    for _dose, pieces in drawn:
        place = next((index for index, free in enumerate(until) if free <= pieces[0][0]), len(until))
        until[place:] = [pieces[-1][1], *until[place + 1 :]]
        places.append(place)
    bars = []
    for (dose, pieces), place in zip(drawn, places, strict=True):
        for left, right, fill in pieces:
            stopped = dose.state is DoseState.STOPPED and right == dose.end and right <= end
            bars.append(
                Bar(
                    begin=max(left, begin),
                    end=min(right, end),
                    fill=fill,
                    drug=schedule.plan_at(dose.start).orders[dose.order].drug,
                    words=_bar_words(schedule, dose, (left, right, fill)),
                    before=left < begin,
                    after=right > end,
                    stopped=stopped,
                    place=place,
                    places=len(until),
                )
            )
    return bars


def _pieces(dose: Dose, schedule: Schedule, now: Instant) -> Iterator[Piece]:
    """Yield how a dose runs, piece by piece; nothing for one that does not run through this line."""
    pushed = schedule.plan_at(dose.start).orders[dose.order].given_as is GivenAs.PUSH
    if pushed or dose.state in DROPPED or dose.state is DoseState.ELSEWHERE:
        return
    end = ENDLESS if dose.end is None else dose.end
    whole: list[Piece] = []
    if dose.state is DoseState.UNRECORDED:
        whole = [(dose.start, end, Fill.ASK if dose.asks else Fill.PLANNED)]
    elif dose.state is DoseState.RUNNING:
        known = max(dose.start, min(now, end))
        whole = [(dose.start, known, Fill.RECORDED), (known, end, Fill.PLANNED)]
        whole.append((end, _heard_of(schedule, dose.lumen, end, now), Fill.UNKNOWN))
    else:
        whole = [(dose.start, end, Fill.RECORDED if dose.started is not None else Fill.UNKNOWN)]
    last: Piece | None = None
    for left, right, fill in whole:
        for piece in _with_gaps(left, right, fill, dose.pauses):
            if last is not None and last[1:] == (piece[0], piece[2]):
                last = (last[0], piece[1], piece[2])
            else:
                if last is not None:
                    yield last
                last = piece
    if last is not None:
        yield last


def _heard_of(schedule: Schedule, lumen: str, end: Instant, now: Instant) -> Instant:
    """Return until when an infusion that should have ended may still run: now, unless something else is recorded
    before, or the line is out."""
    later = (t.at for t in schedule.touches if t.lumen == lumen and t.at > end and t.outcome is Outcome.DONE)
    return min(next(later, now), now, ENDLESS if schedule.removed is None else schedule.removed)


def _with_gaps(left: Instant, right: Instant, fill: Fill, pauses: Spans) -> Iterator[Piece]:
    at = left
    for begin, end in pauses:
        begin, end = max(begin, at), min(end, right)
        if begin < end:
            if at < begin:
                yield at, begin, fill
            yield begin, end, Fill.PAUSED
            at = end
    if at < right:
        yield at, right, fill


def _bar_words(schedule: Schedule, dose: Dose, piece: Piece) -> str:
    plan = schedule.plan_at(dose.start)
    left, right, fill = piece
    first = moment_words(plan.clock.local(left))
    what = _("{lumen}: {drug}, {how}").format(
        lumen=lumen_words(schedule.plan, dose.lumen), drug=drug_words(plan.orders[dose.order]), how=fill.value
    )
    if right == ENDLESS:
        return _("{what}, from {first}").format(what=what, first=first)
    last = clock_beside(plan, right, plan.clock.local(left).date())
    return _("{what}, from {first} to {last}").format(what=what, first=first, last=last)


# Stretches in which a lumen is closed to use


def _stretches(schedule: Schedule, name: str, begin: Instant, end: Instant) -> list[Stretch]:
    found = []
    told: set[tuple[Instant, str]] = set()
    for left, right, why, detail in _closed(schedule, name):
        first, last = max(left, begin), min(right, end)
        heading = HEADINGS[why]
        if first >= last or (first, heading + detail) in told:
            continue
        told.add((first, heading + detail))
        lines = tuple(line for line in (heading, detail) if line)
        words = _("{lumen}: {what}").format(lumen=lumen_words(schedule.plan, name), what=", ".join(lines))
        if left > NEVER:
            words = _("{words}, from {first}").format(words=words, first=moment_words(schedule.plan.clock.local(left)))
        if right < ENDLESS:
            words = _("{words}, until {last}").format(words=words, last=moment_words(schedule.plan.clock.local(right)))
        found.append(Stretch(first, last, why, lines, words))
    return sorted(found, key=lambda stretch: stretch.begin)


HEADINGS = {
    Closed.BLOCKED: _("DO NOT USE"),
    Closed.PROBLEM: _("ASK FIRST"),
    Closed.HELD: _("held"),
    Closed.UNUSED: _("out of use"),
    Closed.REMOVED: _("line out"),
    Closed.OUTSIDE: _("outside the plan"),
}


def _closed(schedule: Schedule, name: str) -> Iterator[tuple[Instant, Instant, Closed, str]]:
    state = schedule.lumens[name]
    for begin, end, _why in state.blocked:
        yield begin, end, Closed.BLOCKED, ""
    for begin, end, sign in state.problems:
        yield begin, end, Closed.PROBLEM, sign_words(sign)
    for begin, end in state.held:
        yield begin, end, Closed.HELD, ""
    ends = [*(begins for begins, _plan in schedule.plans[1:]), ENDLESS]
    for (begin, plan), end in zip(schedule.plans, ends, strict=True):
        used = name in plan.lumens and plan.lumens[name].in_use
        if not used and not any(first < end and begin < last for first, last, _why in state.blocked):
            yield max(begin, schedule.start), min(end, schedule.end), Closed.UNUSED, ""
    yield NEVER, schedule.start, Closed.OUTSIDE, ""
    if schedule.removed is not None and schedule.removed <= schedule.end:
        yield schedule.removed, ENDLESS, Closed.REMOVED, ""
    else:
        yield schedule.end, ENDLESS, Closed.OUTSIDE, ""
