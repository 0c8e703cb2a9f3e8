"""What a schedule holds: doses, touches with their steps, and the reason for each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from reminders.plan.care import CareTask
from reminders.plan.model import Plan
from reminders.record.facts import Sign
from reminders.times import Instant
from reminders.units import Measure

ENDLESS = Instant(2**62)
"""Where something runs on beyond every horizon."""

NEVER = Instant(-(2**62))
"""Before everything that is known."""

Spans = tuple[tuple[Instant, Instant], ...]
"""Stretches of time, each from its first instant up to its last, which is not in it; in order."""


class Action(Enum):
    """What is done in one step of a touch."""

    FLUSH = "flush"
    LOCK = "lock"
    CONNECT = "connect"
    PUSH = "push"
    CHANGE_BAG = "change bag"
    DISCONNECT = "disconnect"
    WITHDRAW = "withdraw"
    EXTRA = "extra"
    PAUSE = "pause"
    DISCARD = "discard"
    DRAW = "draw"
    RESUME = "resume"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: an action and the fluid, order, extra step or care task (by its name in the plan) that it is about.

    ``volume`` is what is pushed or drawn out; None where no volume belongs to the action.
    """

    action: Action
    what: str
    volume: Measure | None = None


class TouchKind(Enum):
    """What a touch is for."""

    START = "start"
    FINISH = "finish"
    CHANGEOVER = "finish and start"
    PUSH = "push"
    BAG_CHANGE = "bag change"
    IDLE_FLUSH = "idle flush"
    DRAW = "draw"


class AskWhy(Enum):
    """Why somebody must be asked before a dose is given or a lumen is used."""

    SPACING = "less than the least spacing"
    OVERLAP = "runs into another dose"
    PART_GIVEN = "the dose before was given in part"
    LEADER = "the dose that it follows was not given, or has not finished"
    PROBLEM = "a problem with the lumen"
    SUSPENDED = "the lumen is suspended"
    OUT_OF_USE = "the lumen is out of use"
    EXCHANGED = "the line was exchanged"
    HELD = "the order is held"
    NEEDLE_OUT = "the port's needle is out"
    NOT_ORDERED = "it was put off beyond its order"
    NOT_THROUGH = "what is in the lumen must not be flushed through"


BLOCKS = frozenset({AskWhy.SUSPENDED, AskWhy.OUT_OF_USE, AskWhy.EXCHANGED})
"""Reasons for which no step at all is offered."""

UNTIL = frozenset({AskWhy.OVERLAP, AskWhy.NOT_THROUGH})
"""Reasons that say until when something is in the lumen, not since when."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One reason to ask first, with what it rests on: minutes between two starts against the least (``apart``,
    ``least``), the instant ``since`` when (or until when, for what runs in the lumen), the other order, the sign."""

    why: AskWhy
    apart: int | None = None
    least: int | None = None
    since: Instant | None = None
    other: str = ""
    sign: Sign | None = None


class DoseState(Enum):
    """What the record says of a dose."""

    UNRECORDED = "nothing is recorded"
    RUNNING = "started"
    GIVEN = "started and finished"
    STOPPED = "stopped early"
    ELSEWHERE = "given elsewhere"
    SKIPPED = "not to be given"
    HELD = "held"
    NOT_GIVEN = "not given"


DROPPED = frozenset({DoseState.SKIPPED, DoseState.HELD, DoseState.NOT_GIVEN})
"""States of a dose that does not take place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """One occurrence of an order.

    ``key`` identifies it for good: the moment it was ordered for, or its list entry (R23). ``number`` counts from the
    order's first dose, 1 upwards; 0 for one that was not scheduled. ``ordered`` is the ordered moment; ``due`` when it
    is to start, which a delay or a shift moves; ``start`` and ``end`` what is reckoned with: what was recorded, else
    what is planned (R14). ``end`` is None where it is not known, or beyond the horizon; ``due_end`` is when it was to
    finish, given its start and its pauses so far. ``started`` and ``finished`` are what was recorded. ``pauses`` are stretches in which it
    did not run. ``extra``: recorded, and not one of the scheduled doses. ``put_off``: when a touch of it was to be and is
    not any more, each with the moment since when that is known.
    """

    order: str
    key: str
    number: int
    lumen: str
    ordered: Instant
    due: Instant
    start: Instant
    end: Instant | None
    due_end: Instant | None
    state: DoseState = DoseState.UNRECORDED
    started: Instant | None = None
    finished: Instant | None = None
    pauses: Spans = ()
    asks: tuple[Ask, ...] = ()
    extra: bool = False
    put_off: Spans = ()

    @property
    def moved(self) -> bool:
        """Say whether a fact, not the order alone, has put it where it stands."""
        return self.extra or self.start != self.ordered or self.end != self.due_end or bool(self.pauses)

    @property
    def reckoned(self) -> bool:
        """Say whether the schedule may lean on it: it takes place here, and nobody must be asked first (R11)."""
        return not self.asks and self.state not in DROPPED and self.state is not DoseState.ELSEWHERE


class Why(Enum):
    """Why a touch stands where it stands (R12)."""

    ORDERED = "the order's timing"
    FINISH = "the infusion's planned finish"
    BAG = "the bag's planned change"
    DRAW = "blood was drawn"
    TASK = "the plan's care task"
    LIMIT = "the idle limit"
    JOINED = "another touch comes then anyway"
    TOGETHER = "another lumen must be flushed then"
    PREFERRED = "it is a preferred clock time"
    BEFORE_TOUCH = "later it would stand too near the next touch of its lumen"
    BEFORE_USE = "after that the lumen is in use, and is not flushed when that begins"
    DAY_TOTAL = "a limit on a day's total leaves no better place"
    SETTLED = "it was planned so before, and nothing forces it to move"
    BEFORE_QUIET = "the idle limit would fall into the quiet hours"
    FORCED_QUIET = "every way to keep the idle limit puts a flush into these quiet hours"
    FEWEST_QUIET = "it could not wait, and no schedule as good spares these quiet hours"
    PASSED = "the idle limit had passed"
    UNKNOWN = "nobody has said when it was last flushed"
    RECORDED = "it was recorded"


@dataclass(frozen=True, slots=True)
class Reason:
    """The reason for a touch. For idle flushes: the flush that the limit counts from and whether it is recorded, or was
    left out because somebody said so; the last moment that the limit allows; the time that was avoided, if any; and the
    other lumen on whose account it stands where it stands."""

    why: Why
    last_flush: Instant | None = None
    deadline: Instant | None = None
    avoided: Instant | None = None
    last_recorded: bool = False
    last_skipped: bool = False
    lumen: str = ""


class Outcome(Enum):
    """What the record says of a touch."""

    DONE = "done"
    SKIPPED = "skipped"
    HELD = "held"
    NOT_GIVEN = "not given"


@dataclass(frozen=True, slots=True)
class Touch:
    """One moment at which someone handles a lumen; one event of the calendar.

    ``at`` is when it happened, as far as that is recorded, else when it is planned; ``planned`` where it stood before
    anything was recorded of it. ``starts`` and ``ends`` are the doses that begin and finish in it; ``bags`` those that
    go on with a new bag. ``nurse_only``: the household does not do it. ``plan`` is the one in force at it.
    ``outcome`` is what the record says of it, None for nothing; ``outstanding``: finished or drawn, but not flushed;
    ``flushed`` when the flush that belongs to it was recorded, if that was at another time. ``counts``: the idle limit
    starts from its flush. ``tasks``: the blood draws in it, by their names in the plan; none for a draw that nobody planned.
    A touch that takes no work has no steps. ``done_first``: what was done in a recorded draw before its ``steps``, which are
    what it leaves to be done.
    """

    uid: str
    kind: TouchKind
    lumen: str
    at: Instant
    steps: tuple[Step, ...]
    reason: Reason
    plan: Plan = field(compare=False, repr=False)
    starts: tuple[Dose, ...] = ()
    ends: tuple[Dose, ...] = ()
    bags: tuple[Dose, ...] = ()
    nurse_only: bool = False
    planned: Instant = ENDLESS
    asks: tuple[Ask, ...] = ()
    outcome: Outcome | None = None
    outstanding: bool = False
    flushed: Instant | None = None
    counts: bool = True
    tasks: tuple[str, ...] = ()
    done_first: tuple[Step, ...] = ()

    @property
    def dose(self) -> Dose | None:
        """Return the dose that the touch is foremost about."""
        return next(iter((*self.starts, *self.ends, *self.bags)), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskEvent:
    """One occurrence of a care task that is not a draw through a lumen (R20); one event of the calendar.

    ``task`` is its name in the plan, ``key`` names the occurrence for good: the day or moment that it was fixed for, the
    dose that it is tied to, or its number since the plan's start. ``at`` is when it was done, as far as that is recorded,
    else when it is planned; ``planned`` where it stood before anything was recorded of it. ``dose`` is the one that it is
    tied to. ``besides``: it was done though none was planned then. ``plan`` is the one in force at it.
    """

    uid: str
    task: str
    key: str
    at: Instant
    planned: Instant
    plan: Plan = field(compare=False, repr=False)
    dose: Dose | None = None
    outcome: Outcome | None = None
    besides: bool = False

    @property
    def care(self) -> CareTask:
        """Return what the plan says of the task."""
        return self.plan.tasks[self.task]


class Status(Enum):
    """How things stand with an event."""

    PLANNED = "planned"
    DUE = "due"
    OVERDUE = "overdue"
    RUNNING = "running"
    DONE = "done"
    LATE = "late"
    SKIPPED = "skipped"
    MISSED = "missed"
    UNCONFIRMED = "unconfirmed"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenState:
    """What is known of one lumen from the record: its last recorded flush and touch, and the stretches in which it
    was suspended or out of use, had a problem (with its sign), or was under a hold of everything."""

    last_flush: Instant | None = None
    last_touch: Instant | None = None
    blocked: tuple[tuple[Instant, Instant, AskWhy], ...] = ()
    problems: tuple[tuple[Instant, Instant, Sign], ...] = ()
    held: Spans = ()


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """All touches from ``start`` to ``end``, in order of time, then of the plan's lumens.

    ``plan`` is the one in force at the end, with no care tasks but its own; ``plans`` every one with the instant from which on it is in force, and
    ``by_then`` the same without what only a later one brings in; ``revisions`` the same as each was written, with nothing
    of another and without what facts changed.
    ``doses`` holds every dose by its order, those of pumps too; ``connected`` what is connected by hand: the doses, or
    a pump's reservoir. ``quiet`` are the quiet hours as instants, some days beyond the end; ``rolling`` says that the
    end is only as far as the plan looks ahead. ``lumens`` is what is recorded of each lumen; ``removed`` when the line
    was, or is to be, removed. ``tasks`` are the care tasks besides, in order of time.
    """

    plan: Plan
    plans: tuple[tuple[Instant, Plan], ...]
    start: Instant
    end: Instant
    rolling: bool
    zone_data: str
    touches: tuple[Touch, ...]
    doses: Mapping[str, tuple[Dose, ...]]
    connected: Mapping[str, tuple[Dose, ...]]
    lumens: Mapping[str, LumenState]
    removed: Instant | None
    quiet: tuple[tuple[Instant, Instant], ...] = field(repr=False)
    tasks: tuple[TaskEvent, ...]
    by_then: tuple[tuple[Instant, Plan], ...] = field(repr=False)
    revisions: tuple[tuple[Instant, Plan], ...] = field(repr=False)

    @property
    def revision(self) -> Plan:
        """Return the last revision as it was written: what somebody read back, and what a packet encloses."""
        return self.revisions[-1][1]

    def revision_at(self, at: Instant) -> Plan:
        """Return the revision in force at an instant, as it was written."""
        return _last_by(self.revisions, at)

    def plan_at(self, at: Instant) -> Plan:
        """Return the plan in force at an instant; it names what any revision names."""
        return _last_by(self.plans, at)

    def plan_by_then(self, at: Instant) -> Plan:
        """Return the plan in force at an instant, without what only a later revision brings in."""
        return _last_by(self.by_then, at)


def _last_by(plans: tuple[tuple[Instant, Plan], ...], at: Instant) -> Plan:
    return next((plan for begins, plan in reversed(plans) if begins <= at), plans[0][1])
