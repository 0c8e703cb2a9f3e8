"""What an order holds, as values: drug and dose, timing, pace, spacing, fluids, bags.

Like :mod:`reminders.plan.model`, of which it is a part, this is the one statement of its keys.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from enum import Enum

from reminders.plan import keys
from reminders.plan.keys import Pushed, RateStep, key
from reminders.times import Moment
from reminders.units import Measure

TIMINGS = ("clock_times", "every", "moments", "continuous", "follows", "as_needed")
"""The keys of which exactly one times an order (R2)."""


class DrugKind(Enum):
    """What is infused, as far as flush volumes and cautions depend on it."""

    DRUG = "drug"
    VESICANT = "vesicant"
    NUTRITION = "nutrition"
    FLUID = "fluid"


class GivenAs(Enum):
    """How a dose is given: by connecting it, by pushing a syringe, or by a pump from a connected reservoir."""

    INFUSION = "infusion"
    PUSH = "push"
    PUMP = "pump"


class FlushThrough(Enum):
    """Whether what a lumen holds may be flushed into the patient (R6)."""

    ALLOWED = "allowed"
    WITHDRAW = "withdraw first"
    NURSE = "nurse only"


class AfterLateDose(Enum):
    """What follows a late dose (R17)."""

    KEEP = "keep times"
    SHIFT = "shift following doses"


class OrderClock(Enum):
    """Which clock an order's times follow on a journey (R5)."""

    HOME = "home"
    LOCAL = "local"


@dataclass(frozen=True, kw_only=True)
class Order:
    """One prescribed infusion or injection. Its name is the table's: ``[order.cefazolin]``."""

    name: str
    drug: str = field(metadata=key(keys.CALLED, "The drug, as the label spells it."))
    kind: DrugKind = field(metadata=key(keys.choice(DrugKind), "What it is."))
    dose: Measure = field(
        metadata=key(keys.quantity("mass", "activity", "volume", "substance"), "How much one dose is.")
    )
    lumen: str = field(metadata=key(keys.name_of("lumen"), "The lumen that it runs through: a name from [lumen]."))
    given_as: GivenAs = field(
        metadata=key(
            keys.choice(GivenAs),
            "infusion: connected at its start, disconnected at its finish. push: a syringe, start and finish in one "
            "touch. pump: a connected reservoir gives the doses by itself; only connecting, changes and "
            "disconnecting are touches.",
        )
    )
    # Timing: exactly one of clock_times, every, moments, continuous, follows, as_needed
    clock_times: tuple[time, ...] | None = field(
        default=None,
        metadata=key(
            keys.many(keys.CLOCK_TIME, least=1), "Timing by the clock: the times of day at which doses start."
        ),
    )
    weekdays: tuple[int, ...] | None = field(
        default=None, metadata=key(keys.many(keys.WEEKDAY, least=1), "With clock_times: only on these weekdays.")
    )
    every_days: int | None = field(
        default=None,
        metadata=key(keys.whole(1, 366), "With clock_times: only on every so many days, counted from the first dose."),
    )
    every: int | None = field(
        default=None,
        metadata=key(keys.minutes(most=366 * 1440), "Timing by an interval: elapsed time from one start to the next."),
    )
    moments: tuple[Moment, ...] | None = field(
        default=None, metadata=key(keys.many(keys.MOMENT, least=1), "Timing by a list: the moments of the doses.")
    )
    continuous: bool = field(
        default=False,
        metadata=key(keys.YES_NO, "Timing without a pause: one infusion from the first dose until the order ends."),
    )
    follows: str | None = field(
        default=None,
        metadata=key(
            keys.name_of("order"), "Timing by another order: starts when each dose of that order has finished."
        ),
    )
    follows_after: int = field(
        default=0,
        metadata=key(keys.minutes(least=0, most=1440), "With follows: how long after the finish; at once if left out."),
    )
    as_needed: bool = field(
        default=False,
        metadata=key(keys.YES_NO, "Timing when needed: nothing is scheduled; needs least_spacing and most_in_24h."),
    )
    most_in_24h: int | None = field(
        default=None, metadata=key(keys.whole(1, 48), "With as_needed: the most doses in any 24 hours.")
    )
    first_dose: Moment | None = field(
        default=None,
        metadata=key(
            keys.MOMENT, "When the first dose is (or was) due. Needed, save with moments, follows, as_needed."
        ),
    )
    first_dose_number: int = field(
        default=1,
        metadata=key(
            keys.whole(1, 10000),
            "Which dose of the whole order the first one here is; 1 if left out. For a revision that changes the times: 6 if 5 "
            "doses came before, and the count goes on with dose 6.",
        ),
    )
    # The end: exactly one of last_day, stops, until_removal, and perhaps doses
    last_day: date | None = field(
        default=None, metadata=key(keys.DATE, "The end by date: the last day on which a dose starts.")
    )
    doses: int | None = field(
        default=None,
        metadata=key(
            keys.whole(1, 10000),
            "The end by number: how many doses, the first one included, and those before first_dose_number.",
        ),
    )
    stops: Moment | None = field(
        default=None, metadata=key(keys.MOMENT, "The end of a continuous infusion, or the moment of a pump's removal.")
    )
    until_removal: bool = field(
        default=False,
        metadata=key(
            keys.YES_NO, "The order goes on until the line is removed; the plan's own end is no order to stop."
        ),
    )
    # How long and how fast
    duration: int | None = field(default=None, metadata=key(keys.minutes(), "How long one dose runs."))
    volume: Measure | None = field(
        default=None, metadata=key(keys.quantity("volume"), "The volume of one dose or, if continuous, of one bag.")
    )
    rate: Measure | None = field(default=None, metadata=key(keys.quantity("flow"), "The rate at which it runs."))
    rate_steps: tuple[RateStep, ...] | None = field(
        default=None,
        metadata=key(keys.many(keys.RATE_STEP, least=1), "Rates that change: ramp up, plateau, ramp down, in order."),
    )
    rate_limit: Measure | None = field(
        default=None,
        metadata=key(
            keys.quantity("flow", "mass rate", "activity rate", "substance rate"),
            "The fastest that the drug may be given.",
        ),
    )
    # Spacing and lateness
    least_spacing: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(), "The least time from the start of one dose to the next. Needed where doses repeat."
        ),
    )
    most_spacing: int | None = field(
        default=None, metadata=key(keys.minutes(), "The most time from the start of one dose to the next.")
    )
    last_dose_before_plan: Moment | None = field(
        default=None, metadata=key(keys.MOMENT, "When the last dose before the plan was started, if there was one.")
    )
    on_time_within: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(least=0, most=1440),
            "How far from its time a dose still counts as on time. Needed where doses are scheduled.",
            sources="published hospital windows range from 30 min to 2 h either way; none is made for the home",
        ),
    )
    cut_off: int | None = field(
        default=None,
        metadata=key(
            keys.minutes(most=7 * 1440),
            "How long after its time a dose that nobody recorded is no longer simply given late. Needed where doses "
            "are scheduled.",
            sources="published late-dose rules contradict one another; the prescriber or pharmacist says",
        ),
    )
    after_late_dose: AfterLateDose = field(
        default=AfterLateDose.KEEP,
        metadata=key(
            keys.choice(AfterLateDose), "Whether the doses after a late one keep their times or shift with it."
        ),
    )
    clock: OrderClock = field(
        default=OrderClock.HOME,
        metadata=key(keys.choice(OrderClock), "On a journey: doses keep their home clock, or move to the local clock."),
    )
    # Fluids
    before: tuple[Pushed, ...] | None = field(
        default=None, metadata=key(keys.many(keys.PUSHED_ITEM), "Fluids and steps before, where they differ.")
    )
    after: tuple[Pushed, ...] | None = field(
        default=None, metadata=key(keys.many(keys.PUSHED_ITEM), "Fluids and steps after, where they differ.")
    )
    flush_through: FlushThrough = field(
        metadata=key(
            keys.choice(FlushThrough),
            "Whether what is left of the drug in the lumen may be flushed in. withdraw first: it is drawn out before "
            "the flush. nurse only: the household does not flush; the nurse does.",
        )
    )
    withdraw_volume: Measure | None = field(
        default=None, metadata=key(keys.quantity("volume"), "How much to draw out; needed with withdraw first.")
    )
    runs_with: tuple[str, ...] = field(
        default=(),
        metadata=key(keys.names_of("order"), "Other orders that may run through the same lumen at the same time."),
    )
    # Bags and reservoirs
    bag_every: int | None = field(
        default=None, metadata=key(keys.minutes(), "How often the bag or reservoir of a running infusion is changed.")
    )
    bag_times: tuple[time, ...] | None = field(
        default=None, metadata=key(keys.many(keys.CLOCK_TIME, least=1), "Clock times of the bag changes instead.")
    )
    bag_flush: tuple[Pushed, ...] | None = field(
        default=None,
        metadata=key(
            keys.many(keys.PUSHED_ITEM), "What is pushed at a bag change; an empty list for none. Needed with bags."
        ),
    )
    hang_time: int | None = field(default=None, metadata=key(keys.minutes(), "The longest that one bag may hang."))
    bags_expire_on: date | None = field(
        default=None, metadata=key(keys.DATE, "The expiry date on the bags or syringes at hand.")
    )
    kept_open: bool | None = field(
        default=None,
        metadata=key(keys.YES_NO, "With pump: whether it keeps the lumen open between its doses. Needed there."),
    )
    # For people
    review_on: date | None = field(default=None, metadata=key(keys.DATE, "When the order is to be looked at again."))
    note: str = field(
        default="",
        metadata=key(
            keys.TEXT,
            "A note to the household, shown at every touch of this order: name the dose and the day in it if it is about one.",
        ),
    )
    each_dose: Mapping[str, int] = field(
        default_factory=dict,
        metadata=key(
            keys.COUNTS,
            "What one dose uses up besides, such as its bag; with a pump, what connecting it does.",
        ),
    )
    each_bag: Mapping[str, int] = field(
        default_factory=dict, metadata=key(keys.COUNTS, "What one bag change uses up besides.")
    )
