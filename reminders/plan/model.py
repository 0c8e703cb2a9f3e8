"""What a plan holds, as values. Each field says how its key is written and what it means.

These classes are the one statement of the plan's keys: the reader, the messages about missing keys and the page
``sample_plans/README.md`` are drawn from them. Instants are whole minutes (:mod:`reminders.times`), durations whole
minutes, other quantities :class:`~reminders.units.Measure`. What a prescriber orders
or a protocol prescribes has no default.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from enum import Enum
from fractions import Fraction
from functools import cached_property
from zoneinfo import ZoneInfo

from reminders.plan import keys
from reminders.plan.care import CareTask, ReadBack, StockItem
from reminders.plan.idle_limit import IDLE_LIMIT, IdleLimit
from reminders.plan.keys import key
from reminders.plan.order import FlushThrough, Order
from reminders.plan.pop_ups import PopUps
from reminders.plan.protocol import Protocol
from reminders.times import ClockRange, Moment, ZoneTimeline
from reminders.units import Measure


class LineKind(Enum):
    """The kinds of line that are sent home."""

    PICC = "PICC"
    MIDLINE = "midline"
    TUNNELED = "tunneled catheter"
    PORT = "implanted port"


class FluidKind(Enum):
    """What a fluid is, as far as the tool must know it."""

    SALINE = "saline"
    DEXTROSE = "dextrose"
    HEPARIN = "heparin"
    OTHER = "other"


class Reveals(Enum):
    """How much the calendar tells whoever holds the phone (R26)."""

    EVERYTHING = "everything"
    UNLOCKED = "nothing on the locked screen"
    NOTHING = "nothing at all"


@dataclass(frozen=True, kw_only=True)
class Course:
    """The plan itself: which revision, from when to when, and by which clock."""

    id: uuid.UUID = field(
        metadata=key(
            keys.IDENTITY,
            "A random id, made once with  reminders new-id , that names nobody. It stays the same in every revision.",
        )
    )
    revision: int = field(
        metadata=key(keys.whole(1, 9999), "Counts the versions of this plan: 1, then 2 after the first change.")
    )
    takes_effect: Moment = field(
        metadata=key(
            keys.MOMENT, "From when on this revision is in force; the calendar bears it as the time of its revision."
        )
    )
    household_records: bool = field(
        metadata=key(keys.YES_NO, "Whether the household writes down what was really done, and when.")
    )
    zone: ZoneInfo = field(metadata=key(keys.ZONE, "The home time zone; every clock time of the plan is read in it."))
    start: Moment = field(metadata=key(keys.MOMENT, "From when on the household looks after the line."))
    end: Moment | None = field(
        default=None,
        metadata=key(keys.MOMENT, "When the plan ends. Exactly one of end, line_removal and open_ended stands."),
    )
    line_removal: Moment | None = field(
        default=None, metadata=key(keys.MOMENT, "When the line is taken out; nothing is due after it.")
    )
    open_ended: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=1440, most=366 * 1440),
            "For therapy without a known end: how far ahead to plan, from a day to a year.",
        ),
    )
    handling_time: int = field(
        metadata=key(keys.minutes(most=240), "How long one touch of the line takes; the length of its event.")
    )
    note: str = field(default="", metadata=key(keys.TEXT, "A note to the household about the whole plan."))


@dataclass(frozen=True, kw_only=True)
class ZoneChange:
    """One leg of a journey (R5)."""

    at: Moment = field(metadata=key(keys.MOMENT, "When the household's clock changes, on the home clock."))
    zone: ZoneInfo = field(metadata=key(keys.ZONE, "The zone from then on."))


@dataclass(frozen=True, kw_only=True)
class Household:
    """When the household would rather sleep and when flushing suits it."""

    quiet_hours: tuple[ClockRange, ...] = field(
        default=(),
        metadata=key(
            keys.many(keys.CLOCK_RANGE),
            "Local hours in which the household would rather sleep. The first minute is inside, the last is not; a "
            "weekday is the one on which the hours begin.",
        ),
    )
    preferred_flush_times: tuple[time, ...] = field(
        default=(),
        metadata=key(
            keys.many(keys.CLOCK_TIME),
            "Clock times at which idle flushes suit. Among equally good schedules the one with the most sessions at "
            "these times is taken.",
        ),
    )
    settled_ahead: int = field(
        default=1440,
        metadata=key(
            keys.minutes(least=0, most=14 * 1440),
            "What is planned within this time after a report stays where it is unless a rule forces it to move; a day "
            "if left out.",
        ),
    )


@dataclass(frozen=True, kw_only=True)
class Line:
    """The catheter."""

    kind: LineKind = field(metadata=key(keys.choice(LineKind), "The kind of line."))
    valved: bool = field(metadata=key(keys.YES_NO, "Whether the line has a valve at its tip or hub."))
    placed_on: date = field(metadata=key(keys.DATE, "When the line was placed."))
    external_length: Measure | None = field(
        default=None,
        metadata=key(keys.quantity("length"), "How much of the line shows; more showing later is a warning sign."),
    )
    idle_limit: IdleLimit = field(
        metadata=key(
            IDLE_LIMIT,
            "The longest time that a lumen not in use may go without a flush; each calendar day means one flush on each "
            "date of the household's clock, at whatever hour.",
            sources="published limits range from 8 h to weeks (hospital policies every 8 to 12 h; patient handouts "
            "daily to weekly; implanted ports every 4 weeks)",
        )
    )
    lock: str = field(
        metadata=key(
            keys.name_of("fluid"),
            "The fluid left in a lumen that is not in use: a name from [fluid].",
            sources="published locks are saline alone, or heparin of 10 or 100 units/mL",
        )
    )
    needle_out_idle_limit: IdleLimit | None = field(
        default=None,
        metadata=key(
            IDLE_LIMIT,
            "Implanted port: the idle limit while its needle is out. Where it is not stated, the other one stays.",
        ),
    )
    needle_out_lock: str | None = field(
        default=None,
        metadata=key(keys.name_of("fluid"), "Implanted port: the lock while its needle is out, where it differs."),
    )
    heparin_ruled_out: bool = field(
        metadata=key(keys.YES_NO, "Whether heparin must not be used at all; then no step may contain it.")
    )
    allergies: tuple[str, ...] = field(
        metadata=key(keys.many(keys.ALLERGY), "Known allergies; an empty list says that none are known.")
    )


@dataclass(frozen=True, kw_only=True)
class Lumen:
    """One channel of the line. Its name is the table's: ``[lumen.red]``."""

    name: str
    label: str = field(metadata=key(keys.LUMEN_LABEL, "What its owner sees on it, such as the colour of its clamp."))
    last_flushed: Moment = field(metadata=key(keys.MOMENT, "When it was last flushed before the plan starts."))
    in_use: bool = field(
        default=True, metadata=key(keys.YES_NO, "false for a lumen that must not be used: nothing is planned into it.")
    )
    lock: str | None = field(
        default=None, metadata=key(keys.name_of("fluid"), "The lock of this lumen where it differs from the line's.")
    )
    idle_limit: IdleLimit | None = field(
        default=None,
        metadata=key(IDLE_LIMIT, "The idle limit of this lumen where it differs from the line's."),
    )
    flush_volume: Measure | None = field(
        default=None,
        metadata=key(keys.quantity("volume"), "The volume of the protocol's flush fluid where this lumen's differs."),
    )
    lock_volume: Measure | None = field(
        default=None, metadata=key(keys.quantity("volume"), "The volume of the lock where this lumen's differs.")
    )
    flush_through: FlushThrough = field(
        default=FlushThrough.ALLOWED,
        metadata=key(
            keys.choice(FlushThrough),
            "Whether the lock may be flushed in. With withdraw first it is drawn out before every use and flush; "
            "with nurse only no routine flush is planned into the lumen.",
        ),
    )
    withdraw_volume: Measure | None = field(
        default=None, metadata=key(keys.quantity("volume"), "How much to draw out; needed with withdraw first.")
    )


@dataclass(frozen=True, kw_only=True)
class Fluid:
    """A fluid that is pushed from a syringe. Its name is the table's: ``[fluid.saline]``."""

    name: str
    kind: FluidKind = field(metadata=key(keys.choice(FluidKind), "What it is."))
    label: str = field(metadata=key(keys.CALLED, "What stands on the syringe."))
    volume: Measure = field(
        metadata=key(
            keys.quantity("volume"),
            "How much is pushed where nothing else is said.",
            sources="published flushes range from 1 to 20 mL (adults mostly 10, 20 after a draw or nutrition; infants "
            "1 to 3), published heparin locks from 1 to 5 mL",
        )
    )
    syringe: str = field(metadata=key(keys.CALLED, "The item of supply that holds it."))
    syringe_holds: Measure = field(
        metadata=key(keys.quantity("volume"), "How much one syringe holds; a larger push takes more of them.")
    )
    strength: Measure | None = field(
        default=None,
        metadata=key(
            keys.quantity("strength"),
            "Heparin only, and needed there: its strength.",
            sources="published lock strengths are 10 and 100 units/mL",
        ),
    )
    sodium: Measure | None = field(
        default=None,
        metadata=key(
            keys.quantity("sodium", least=Fraction(0)),
            "Its sodium, for the daily totals; needed for saline.",
            sources="the label of 0.9 % sodium chloride says 9 mg/mL, which is 0.154 mmol/mL",
        ),
    )


@dataclass(frozen=True, kw_only=True)
class ExtraStep:
    """A step that the provider's protocol adds. Its name is the table's: ``[step.new_cap]``."""

    name: str
    label: str = field(metadata=key(keys.TEXT, "What to do, in a few words."))
    consumes: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "What the step uses up, each time it is done.")
    )


@dataclass(frozen=True, kw_only=True)
class Supplies:
    """What is used up besides the syringes themselves (R21)."""

    each_touch: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "Used at every touch, such as a pair of gloves.")
    )
    each_syringe: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "Used with every syringe that is pushed, such as a hub scrub.")
    )
    each_connection: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "Used when an infusion is connected or its bag changed.")
    )
    each_withdrawal: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "Used when a drug or lock is drawn out, such as a syringe.")
    )
    each_draw: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "Used when blood is drawn through a lumen, such as a syringe.")
    )
    order_ahead: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=0, most=60 * 1440),
            "How long before an item runs out it must be ordered; needed with [stock].",
        ),
    )
    order_days: tuple[int, ...] | None = field(
        default=None,
        metadata=key(
            keys.many(keys.WEEKDAY, least=1), "The weekdays on which orders are taken; every day if left out."
        ),
    )
    remind_at: time = field(
        default=time(10),
        metadata=key(
            keys.CLOCK_TIME, "The time of day at which the pop-up says what must be ordered; 10:00 if left out."
        ),
    )


@dataclass(frozen=True, kw_only=True)
class DailyLimits:
    """Totals of a day that must not be exceeded without a warning (R22)."""

    infused: Measure | None = field(
        default=None, metadata=key(keys.quantity("volume"), "The most infused volume in a day.")
    )
    flushed: Measure | None = field(
        default=None, metadata=key(keys.quantity("volume"), "The most flush and lock volume in a day.")
    )
    heparin: Measure | None = field(
        default=None, metadata=key(keys.quantity("activity"), "The most heparin from locks in a day.")
    )
    sodium: Measure | None = field(
        default=None, metadata=key(keys.quantity("substance"), "The most sodium from flushes in a day.")
    )


@dataclass(frozen=True, kw_only=True)
class Contact:
    """Whom to call. The table's name is the tier: ``[call.emergency]``."""

    name: str
    who: str = field(metadata=key(keys.PERSON, "Who answers."))
    phone: str = field(metadata=key(keys.PHONE, "The number to call."))
    signs: tuple[str, ...] = field(
        default=(),
        metadata=key(keys.many(keys.LABEL), "The provider's own words for when to call; added to the usual cautions."),
    )


TIERS = ("emergency", "now", "same_day", "next_contact")
"""The tiers of calling, most urgent first."""


@dataclass(frozen=True, kw_only=True)
class CalendarSettings:
    """How the calendar looks and what it may reveal."""

    name: str = field(metadata=key(keys.LABEL, "The calendar's name on the phone; leave patients' names out."))
    reveals: Reveals = field(metadata=key(keys.choice(Reveals), "How much it tells whoever holds the phone."))
    alarm_before: int = field(
        metadata=key(keys.minutes(least=0, most=720), 'How long before each event the phone rings; "0 min" at once.')
    )
    colour: str = field(default="teal", metadata=key(keys.COLOUR, "The calendar's colour; teal if left out."))
    refresh_every: int = field(
        default=60,
        metadata=key(
            keys.minutes(least=5, most=10080),
            "How often a subscribed phone is asked to look again; every hour if left out.",
        ),
    )


@dataclass(frozen=True, kw_only=True)
class Plan:
    """One patient's whole plan."""

    course: Course
    zone_changes: tuple[ZoneChange, ...]
    household: Household
    line: Line
    lumens: Mapping[str, Lumen]
    fluids: Mapping[str, Fluid]
    extra_steps: Mapping[str, ExtraStep]
    protocol: Protocol
    tasks: Mapping[str, CareTask]
    supplies: Supplies
    stock: Mapping[str, StockItem]
    daily_limits: DailyLimits
    orders: Mapping[str, Order]
    contacts: Mapping[str, Contact]
    calendar: CalendarSettings
    pop_ups: PopUps
    read_back: ReadBack | None

    @cached_property
    def clock(self) -> ZoneTimeline:
        """Return which zone's clock the household reads at each instant."""
        return ZoneTimeline(self.course.zone, tuple((change.at.instant, change.zone) for change in self.zone_changes))

    @property
    def last_moment(self) -> Moment | None:
        """Return the plan's end or the line's removal; None for open-ended therapy."""
        return self.course.end or self.course.line_removal

    def idle_limit(self, lumen: Lumen) -> IdleLimit:
        """Return the idle limit in force for a lumen: minutes, or once each calendar day."""
        return self.line.idle_limit if lumen.idle_limit is None else lumen.idle_limit

    def run_together(self, one: str, other: str) -> bool:
        """Say whether one of two orders is declared to run with the other in its lumen (R9)."""
        pairs = ((one, other), (other, one))
        return any(also in self.orders[name].runs_with for name, also in pairs if name in self.orders)

    def lock(self, lumen: Lumen) -> Fluid:
        """Return the lock fluid in force for a lumen."""
        return self.fluids[self.line.lock if lumen.lock is None else lumen.lock]


TABLES: dict[str, type] = {
    "plan": Course,
    "zone_change": ZoneChange,
    "household": Household,
    "line": Line,
    "lumen": Lumen,
    "fluid": Fluid,
    "step": ExtraStep,
    "protocol": Protocol,
    "task": CareTask,
    "supplies": Supplies,
    "stock": StockItem,
    "daily_limits": DailyLimits,
    "order": Order,
    "call": Contact,
    "calendar": CalendarSettings,
    "pop_up": PopUps,
    "read_back": ReadBack,
}
"""The plan file's tables in the order in which they are documented, and what each is read into."""

NAMED_TABLES = frozenset({"lumen", "fluid", "step", "task", "stock", "order", "call"})
"""Tables that occur once for each name, as ``[order.cefazolin]``."""

LISTED_TABLES = frozenset({"zone_change"})
"""Tables that occur any number of times in order, as ``[[zone_change]]``."""

ABSENT_TABLES = frozenset({"read_back"})
"""Tables that a plan may do without, and then holds nothing in their place."""

OPTIONAL_TABLES = ABSENT_TABLES | {
    *("zone_change", "household", "step", "task", "supplies", "stock", "daily_limits", "order", "pop_up")
}
"""Tables that a plan may do without."""
