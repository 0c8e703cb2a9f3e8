"""Common shapes of orders, as starting points: which questions such an order is asked, and what its very name states.

A shape states nothing else. Clock times, drug, volume and rate are the prescriber's; and whether an order goes by the clock
or by an interval is chosen with the shape, because the order must say which.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from reminders.drafting.draft import Draft
from reminders.drafting.entries import EntryField, entries_of, entry_of
from reminders.plan.order import TIMINGS
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

WHAT = "drug kind dose lumen given_as"
SPACING = "least_spacing most_spacing last_dose_before_plan"
LATE = "on_time_within cut_off flush_through withdraw_volume each_dose note"
UNTIL = "first_dose last_day doses until_removal"
PACE = "volume rate duration"


@dataclass(frozen=True, slots=True)
class Shape:
    """One shape: the keys that it asks in order, what it states (as typed), and how many clock times its name means."""

    key: str
    label: str
    about: str
    asks: tuple[str, ...]
    states: Mapping[str, str] = field(default_factory=dict)
    times: int = 0

    def questions(self) -> tuple[EntryField, ...]:
        """Return the questions of such an order, in the order in which they are asked."""
        found = (entry_of("order", key) for key in self.asks)
        return tuple(entry for entry in found if entry is not None)

    def more(self) -> tuple[EntryField, ...]:
        """Return the other questions of an order, in the order of its keys."""
        return tuple(entry for entry in entries_of("order") if entry.key not in self.asks)


def _by_clock(key: str, label: str, times: int) -> Shape:
    about = _("At the same times of day, also when the clocks change.")
    return Shape(key, label, about, tuple(f"{WHAT} clock_times {UNTIL} {PACE} {SPACING} {LATE}".split()), {}, times)


def _by_interval(key: str, label: str, every: str) -> Shape:
    about = _("So many hours from one start to the next, day and night; the times of day shift when the clocks change.")
    return Shape(key, label, about, tuple(f"{WHAT} every {UNTIL} {PACE} {SPACING} {LATE}".split()), {"every": every})


SHAPES = (
    _by_clock("daily", _("Once a day (q24h), by the clock"), 1),
    _by_interval("every-24-h", _("Every 24 hours (q24h), by an interval"), "24 h"),
    _by_clock("twice", _("Every 12 hours (q12h), by the clock"), 2),
    _by_interval("every-12-h", _("Every 12 hours (q12h), by an interval"), "12 h"),
    _by_clock("three-times", _("Every 8 hours (q8h), by the clock"), 3),
    _by_interval("every-8-h", _("Every 8 hours (q8h), by an interval"), "8 h"),
    _by_clock("four-times", _("Every 6 hours (q6h), by the clock"), 4),
    _by_interval("every-6-h", _("Every 6 hours (q6h), by an interval"), "6 h"),
    Shape(
        "continuous",
        _("Continuous, without a pause"),
        _("One infusion day and night; only its bags are changed."),
        tuple(
            f"{WHAT} first_dose stops until_removal rate volume bag_every bag_times bag_flush hang_time {LATE} "
            "each_bag".split()
        ),
        {"continuous": "yes"},
    ),
    Shape(
        "cyclic",
        _("Cyclic, with ramps"),
        _("Some hours of the day, such as nutrition by night; it begins and ends at a lower rate."),
        tuple(f"{WHAT} clock_times {UNTIL} volume rate_steps rate_limit {SPACING} hang_time {LATE} review_on".split()),
    ),
    Shape(
        "46-h",
        _("Over 46 hours"),
        _("A small pump that is connected on agreed days and empty 46 hours later."),
        tuple(f"{WHAT} moments volume rate {SPACING} hang_time {LATE} after".split()),
        {"duration": "46 h"},
    ),
    Shape(
        "push",
        _("Push, from a syringe"),
        _("The drug is pushed in within one touch of the line, by the clock or by an interval."),
        tuple(f"drug kind dose lumen clock_times weekdays every {UNTIL} volume duration {SPACING} {LATE}".split()),
        {"given_as": "push"},
    ),
    Shape(
        "as-needed",
        _("Only when needed"),
        _("Nothing is scheduled; the household is told how far apart doses must be."),
        tuple(f"{WHAT} least_spacing most_in_24h last_day until_removal {PACE} {LATE}".split()),
        {"as_needed": "yes"},
    ),
    Shape(
        "other",
        _("Another timing"),
        _("Other days or hours, a list of moments, after another order, or by a pump that gives the doses itself."),
        tuple(
            f"{WHAT} clock_times weekdays every_days every moments follows follows_after {UNTIL} stops {PACE} rate_steps "
            f"{SPACING} {LATE} bag_every bag_flush kept_open".split()
        ),
    ),
)
"""The shapes in the order in which they are offered."""


def begin(draft: Draft, name: str, shape: Shape) -> None:
    """Begin an order of a shape: its table, with what the shape's name states.

    Raises:
        DraftError: the name cannot be one, or is taken.
    """
    draft.add("order", name)
    for key, typed in shape.states.items():
        draft.enter(("order", name, key), typed)


TELLING = ("rate_steps", "weekdays", "every_days")
"""Keys that tell an order from a shape that does not ask them."""


def shape_of(draft: Draft, name: str) -> Shape:
    """Return the shape of an order as it stands: the most telling one that asks its timing, else the last of all."""
    place = ("order", name)
    keys = {key for key in (*TIMINGS, *TELLING) if draft.has((*place, key))}
    times = draft.raw((*place, "clock_times"))
    fitting = [
        shape
        for shape in SHAPES
        if keys
        and keys <= {*shape.asks, *shape.states}
        and all(draft.typed((*place, key)) == typed for key, typed in shape.states.items())
        and shape.times in (0, len(times) if isinstance(times, list) else 0)
    ]
    return max(fitting, key=lambda shape: len(shape.states), default=SHAPES[-1])
