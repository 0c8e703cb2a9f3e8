"""What a schedule holds: doses, touches with their steps, and the reason for each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from reminders.plan.model import Plan
from reminders.times import Instant
from reminders.units import Measure


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


@dataclass(frozen=True, slots=True)
class Step:
    """One step: an action and the fluid, order or extra step (by its name in the plan) that it is about.

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


@dataclass(frozen=True, slots=True)
class Dose:
    """One occurrence of an order.

    ``key`` identifies it for good: its ordered clock time, interval index or list entry (R23). ``number`` counts from
    the order's first dose, 1 upwards. ``end`` is None for an infusion that runs on beyond the horizon.
    """

    order: str
    key: str
    number: int
    start: Instant
    end: Instant | None


class Why(Enum):
    """Why a touch stands where it stands (R12)."""

    ORDERED = "the order's timing"
    FINISH = "the infusion's planned finish"
    BAG = "the bag's planned change"
    LIMIT = "the idle limit"
    BEFORE_QUIET = "the idle limit would fall into the quiet hours"
    FORCED_QUIET = "every way to keep the idle limit puts a flush into these quiet hours"
    PASSED = "the idle limit had passed"


@dataclass(frozen=True, slots=True)
class Reason:
    """The reason for a touch. For idle flushes: the flush that the limit counts from, the last moment that the
    limit allows, and the time that was avoided, if any."""

    why: Why
    last_flush: Instant | None = None
    deadline: Instant | None = None
    avoided: Instant | None = None


@dataclass(frozen=True, slots=True)
class Touch:
    """One moment at which someone handles a lumen; one event of the calendar.

    ``starts`` and ``ends`` are the doses that begin and finish in it; ``bags`` those that go on with a new bag.
    ``nurse_only``: the household does not do it.
    """

    uid: str
    kind: TouchKind
    lumen: str
    at: Instant
    steps: tuple[Step, ...]
    reason: Reason
    starts: tuple[Dose, ...] = ()
    ends: tuple[Dose, ...] = ()
    bags: tuple[Dose, ...] = ()
    nurse_only: bool = False

    @property
    def dose(self) -> Dose | None:
        """Return the dose that the touch is foremost about."""
        return next(iter((*self.starts, *self.ends, *self.bags)), None)


class Status(Enum):
    """How things stand with an event while nothing is recorded (R14)."""

    PLANNED = "planned"
    DUE = "due"
    OVERDUE = "overdue"
    UNCONFIRMED = "unconfirmed"


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """All touches of a plan from ``start`` to ``end``, in order of time, then of the plan's lumens.

    ``doses`` holds every dose by its order, those of pumps too; ``connected`` what is connected by hand: the doses, or
    a pump's reservoir. ``quiet`` are the quiet hours as instants, some days beyond the end; ``rolling`` says that the
    end is only as far as the plan looks ahead.
    """

    plan: Plan
    start: Instant
    end: Instant
    rolling: bool
    zone_data: str
    touches: tuple[Touch, ...]
    doses: Mapping[str, tuple[Dose, ...]]
    connected: Mapping[str, tuple[Dose, ...]]
    quiet: tuple[tuple[Instant, Instant], ...] = field(repr=False)
