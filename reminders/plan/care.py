"""What a plan says of care tasks, stock and reading back, as values (R20, R21).

Like :mod:`reminders.plan.model`, of which it is a part, this is the one statement of their keys. How often something is
done belongs to the provider's protocol and has no default.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from enum import Enum

from reminders.plan import keys
from reminders.plan.keys import key
from reminders.times import Moment


class TaskKind(Enum):
    """The care tasks of a household with a central line."""

    DRESSING = "dressing"
    CONNECTOR = "needleless connector"
    SET = "administration set"
    DRAW = "blood draw"
    VISIT = "visit"
    DELIVERY = "delivery"
    WEIGHING = "weighing"
    REFRIGERATOR = "out of the refrigerator"
    OTHER = "other"


class Doer(Enum):
    """Who does a care task."""

    HOUSEHOLD = "household"
    NURSE = "nurse"
    CLINIC = "clinic or laboratory"
    PHARMACY = "pharmacy"


class Instead(Enum):
    """When a task is done whose day is one on which it cannot be."""

    BEFORE = "the day before"
    AFTER = "the day after"
    NOT = "not at all"


RULES = ("every", "every_days", "weekdays", "moments", "with_tasks")
"""The keys that say when a task comes round again; where several stand, whichever comes first."""

BY_CLOCK = ("every_days", "weekdays")
"""Those that name a day and need a time of day."""


@dataclass(frozen=True, kw_only=True)
class CareTask:
    """One care task (R20). Its name is the table's: ``[task.dressing]``."""

    name: str
    kind: TaskKind = field(metadata=key(keys.choice(TaskKind), "What it is."))
    label: str = field(metadata=key(keys.CALLED, "What to do, in a few words."))
    done_by: Doer = field(metadata=key(keys.choice(Doer), "Who does it."))
    # When: rules of which several may stand, or a dose that it is tied to
    every: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=30, most=366 * 1440), "Elapsed time from when it was last done until it is due again."
        ),
    )
    every_days: int | None = field(
        default=None,
        metadata=key(
            keys.whole(1, 366),
            "So many days, by the date, after the day on which it was last done. With every, weekdays, moments or "
            "with_tasks besides: whichever comes first.",
            sources="published intervals: dressings every 2 days (gauze) to 7 (transparent), needleless connectors and "
            "administration sets every 24 h to 7 days (from memory)",
        ),
    )
    weekdays: tuple[int, ...] | None = field(
        default=None, metadata=key(keys.many(keys.WEEKDAY, least=1), "On these weekdays, whenever it was last done.")
    )
    moments: tuple[Moment, ...] | None = field(
        default=None, metadata=key(keys.many(keys.MOMENT, least=1), "At these moments, such as agreed visits.")
    )
    with_tasks: tuple[str, ...] = field(
        default=(),
        metadata=key(
            keys.names_of("task"),
            "Whenever one of these tasks is done: names from [task], such as the connector with a blood draw.",
        ),
    )
    at: time | None = field(
        default=None,
        metadata=key(
            keys.CLOCK_TIME, "The time of day, on the clock of where the household is; with every_days and weekdays."
        ),
    )
    last_done: Moment | None = field(
        default=None,
        metadata=key(keys.MOMENT, "When it was last done before the plan; needed with every and every_days."),
    )
    last_day: date | None = field(
        default=None, metadata=key(keys.DATE, "The last day on which it is due, if that is not the plan's end.")
    )
    order: str | None = field(
        default=None,
        metadata=key(
            keys.name_of("order"),
            "The order that it is tied to: it moves with that order's doses. Stands instead of the rules.",
        ),
    )
    before_dose: int | None = field(
        default=None,
        metadata=key(keys.minutes(least=0, most=7 * 1440), "With order: how long before the dose's start."),
    )
    after_finish: int | None = field(
        default=None,
        metadata=key(keys.minutes(least=0, most=7 * 1440), "With order: how long after the dose's finish."),
    )
    only_doses: tuple[int, ...] | None = field(
        default=None,
        metadata=key(
            keys.many(keys.whole(1, 10000), least=1), "With order: only with these doses, by number; all if left out."
        ),
    )
    not_on: tuple[date, ...] = field(
        default=(),
        metadata=key(
            keys.many(keys.DATE), "Days on which it cannot be done, such as holidays; with every_days, weekdays."
        ),
    )
    instead: Instead | None = field(
        default=None, metadata=key(keys.choice(Instead), "When it is done instead; needed with not_on.")
    )
    on_time_within: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=0, most=14 * 1440),
            "How far from its time it still counts as on time. Needed with every and order; otherwise, where it is left out, all of its day.",
        ),
    )
    takes: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(most=1440), "How long it takes; the length of its event. As long as a touch if left out."
        ),
    )
    # A blood draw
    lumen: str | None = field(
        default=None,
        metadata=key(
            keys.name_of("lumen"),
            "With a blood draw: the lumen that it is drawn through, a name from [lumen]. Left out: not through the line.",
        ),
    )
    pauses_infusion: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=0, most=240),
            "With a lumen: if something runs in it, that is stopped for so long, and finishes so much later. Left out: "
            "nothing may run in it then.",
        ),
    )
    # For people
    uses: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "What it uses up, besides the fluids pushed.")
    )
    brings: Mapping[str, int] = field(
        default_factory=dict,
        metadata=key(keys.COUNTS, "With a delivery: what it should bring. It counts when somebody says that it came."),
    )
    note: str = field(default="", metadata=key(keys.TEXT, "A note to the household, shown with the task."))


@dataclass(frozen=True, kw_only=True)
class StockItem:
    """How many there are of one item of supply (R21). The table's name is free: ``[stock.saline]``."""

    name: str
    item: str = field(metadata=key(keys.CALLED, "The item, as the steps and syringes name it."))
    on_hand: int = field(metadata=key(keys.whole(0, 99999), "How many there were when they were counted."))
    counted_at: Moment = field(metadata=key(keys.MOMENT, "When they were counted."))
    kept_back: int = field(
        default=0,
        metadata=key(keys.whole(0, 99999), "How many are kept back for breakage and extra flushes; not planned with."),
    )
    comes_in: int = field(
        default=1, metadata=key(keys.whole(1, 9999), "How many are in one pack; orders are rounded up to whole packs.")
    )
    order_ahead: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=0, most=60 * 1440), "How long before it runs out it must be ordered, where it differs."
        ),
    )


@dataclass(frozen=True, kw_only=True)
class ReadBack:
    """Who has read the plan back, aloud and against the orders. ``reminders check`` says what was read."""

    by: str = field(metadata=key(keys.PERSON, "The second person, who did not write the plan."))
    at: Moment = field(metadata=key(keys.MOMENT, "When it was read back."))
    check: str = field(
        metadata=key(
            keys.LABEL,
            "The check letters of what was read, as  reminders check  prints them; another drug, dose, strength, lumen "
            "or time gives other letters.",
        )
    )
