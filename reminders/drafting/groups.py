"""What is asked when: a plan's tables as a nurse thinks of them, and of each the questions that nearly every plan answers."""

from collections.abc import Callable
from dataclasses import dataclass

from reminders.drafting.draft import Draft
from reminders.drafting.entries import EntryField, entries_of
from reminders.findings import KeyPath
from reminders.plan.care import BY_CLOCK, RULES, TaskKind
from reminders.plan.model import FluidKind, LineKind
from reminders.plan.order import TIMINGS, FlushThrough, GivenAs
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True)
class Section:
    """Some tables that belong together. ``about`` says in a sentence what is asked."""

    key: str
    title: str
    about: str
    tables: tuple[str, ...]


SECTIONS = (
    Section("line", _("The line"), _("The catheter, its lock, and the patient's allergies."), ("line",)),
    Section("lumens", _("Lumens"), _("Every lumen of the line, also those without an order."), ("lumen",)),
    Section(
        "fluids",
        _("Fluids and protocol"),
        _("What is pushed from a syringe, and in which order: as the provider's protocol says."),
        ("fluid", "step", "protocol"),
    ),
    Section("orders", _("Orders"), _("Each infusion or injection, as the prescriber ordered it."), ("order",)),
    Section("tasks", _("Care tasks"), _("Dressing, connector, sets, blood draws, visits, deliveries."), ("task",)),
    Section(
        "supplies",
        _("Supplies and limits of a day"),
        _("What is used up, how much there is, and totals that a day must not exceed."),
        ("supplies", "stock", "daily_limits"),
    ),
    Section("call", _("Whom to call"), _("Who answers, and the number; the most urgent first."), ("call",)),
    Section(
        "calendar",
        _("Household, calendar and pop-ups"),
        _("When the household would rather sleep, and how it is reminded."),
        ("household", "calendar", "pop_up"),
    ),
    Section(
        "plan",
        _("The plan itself"),
        _("From when to when, and by which clock."),
        ("plan", "zone_change"),
    ),
)
"""The sections in the order in which they are asked."""

FIRST = {
    "line": "kind valved placed_on external_length idle_limit lock needle_out_idle_limit needle_out_lock "
    "heparin_ruled_out allergies",
    "lumen": "label last_flushed",
    "fluid": "kind label strength volume sodium syringe syringe_holds",
    "step": "label consumes",
    "protocol": "provider flush before after after_nutrition idle before_draw discard_volume after_draw scrub_time dry_time joining_time "
    "planning_margin least_time_to_next_touch saved_session_worth",
    "order": "drug kind dose lumen given_as clock_times every first_dose last_day doses until_removal volume rate duration "
    "least_spacing most_spacing last_dose_before_plan on_time_within cut_off flush_through withdraw_volume each_dose note",
    "task": "kind label done_by every_days every weekdays moments with_tasks order before_dose after_finish only_doses at last_done "
    "on_time_within lumen pauses_infusion brings uses note",
    "supplies": "each_touch each_syringe each_connection order_ahead",
    "stock": "item on_hand counted_at",
    "daily_limits": "infused flushed heparin sodium",
    "call": "who phone signs",
    "household": "quiet_hours preferred_flush_times",
    "calendar": "name reveals alarm_before",
    "pop_up": "",
    "plan": "zone start end line_removal open_ended takes_effect household_records handling_time",
    "zone_change": "at zone",
    "read_back": "by at check",
}
"""Of each table, what nearly every plan answers, in the order in which it is asked. Everything else lies under *more*."""


def asked_first(table: str) -> tuple[EntryField, ...]:
    """Return the questions of a table that nearly every plan answers."""
    entries = {entry.key: entry for entry in entries_of(table)}
    return tuple(entries[key] for key in FIRST[table].split())


def asked_more(table: str) -> tuple[EntryField, ...]:
    """Return a table's other questions, in the order of its keys; a plan's id is asked of nobody."""
    first = FIRST[table].split()
    return tuple(
        entry for entry in entries_of(table) if entry.key not in first and (entry.table, entry.key) != ("plan", "id")
    )


Said = Callable[[str], str]
"""What a table says of one of its keys, as typed; empty if it leaves it out."""


def applies(draft: Draft, place: KeyPath, entry: EntryField) -> bool:
    """Say whether a question makes sense after what the table at ``place`` says already.

    What is answered is always asked. A question that does not apply now may apply later; nothing is refused.
    """

    def said(key: str) -> str:
        return draft.typed((*place, key))

    if (entry.table, entry.key) in OF_DRAWS and not said(entry.key):
        return any(draft.typed(("task", name, "lumen")) for name in draft.names("task"))
    if (entry.table, entry.key) == ("task", "with_tasks") and not said(entry.key):
        return len(draft.names("task")) > 1
    rule = APPLIES.get((entry.table, entry.key))
    return rule is None or bool(said(entry.key)) or rule(said)


def _none(*keys: str) -> Callable[[Said], bool]:
    return lambda said: not any(said(key) not in ("", "no") for key in keys)


def _any(*keys: str) -> Callable[[Said], bool]:
    return lambda said: any(said(key) for key in keys)


def _is(key: str, *words: str) -> Callable[[Said], bool]:
    return lambda said: said(key) in words


def _length_open(said: Said) -> bool:
    return not said("rate_steps") and not said("continuous") and not (said("volume") and said("rate"))


OF_DRAWS = frozenset({("protocol", "before_draw"), ("protocol", "discard_volume")})
"""What is to be asked only where some care task draws blood through a lumen."""

APPLIES: dict[tuple[str, str], Callable[[Said], bool]] = {
    ("plan", "line_removal"): _none("end", "open_ended"),
    ("plan", "open_ended"): _none("end", "line_removal"),
    ("line", "needle_out_idle_limit"): _is("kind", LineKind.PORT.value),
    ("line", "needle_out_lock"): _is("kind", LineKind.PORT.value),
    ("lumen", "withdraw_volume"): _is("flush_through", FlushThrough.WITHDRAW.value),
    ("fluid", "strength"): _is("kind", FluidKind.HEPARIN.value),
    **{("order", key): _none(*(other for other in TIMINGS if other != key)) for key in TIMINGS},
    ("order", "weekdays"): _any("clock_times"),
    ("order", "every_days"): _any("clock_times"),
    ("order", "follows_after"): _any("follows"),
    ("order", "most_in_24h"): _any("as_needed"),
    ("order", "first_dose"): _none("moments", "follows", "as_needed"),
    ("order", "first_dose_number"): _none("continuous", "follows", "as_needed"),
    ("order", "last_day"): _none("moments", "follows", "continuous", "doses", "until_removal"),
    ("order", "doses"): _none("moments", "follows", "continuous", "as_needed", "last_day", "until_removal"),
    ("order", "until_removal"): _none("moments", "follows", "last_day", "doses", "stops"),
    ("order", "stops"): lambda said: said("continuous") == "yes" or said("given_as") == GivenAs.PUMP.value,
    ("order", "rate"): _none("rate_steps"),
    ("order", "rate_steps"): _none("rate", "duration"),
    ("order", "duration"): _length_open,
    ("order", "on_time_within"): _none("as_needed"),
    ("order", "cut_off"): _none("as_needed"),
    ("order", "withdraw_volume"): _is("flush_through", FlushThrough.WITHDRAW.value),
    ("order", "bag_times"): _none("bag_every"),
    ("order", "bag_flush"): _any("bag_every", "bag_times"),
    ("order", "each_bag"): _any("bag_every", "bag_times"),
    ("order", "kept_open"): _is("given_as", GivenAs.PUMP.value),
    ("task", "every"): _none("order"),
    ("task", "weekdays"): _none("order"),
    ("task", "moments"): _none("order"),
    ("task", "order"): _none(*RULES),
    ("task", "before_dose"): _any("order"),
    ("task", "after_finish"): lambda said: bool(said("order")) and not said("before_dose"),
    ("task", "only_doses"): _any("order"),
    ("task", "at"): _any(*BY_CLOCK),
    ("task", "last_done"): _any("every", "every_days"),
    ("task", "not_on"): _any(*BY_CLOCK),
    ("task", "instead"): _any("not_on"),
    ("task", "on_time_within"): _any("every", "order"),
    ("task", "lumen"): _is("kind", TaskKind.DRAW.value),
    ("task", "pauses_infusion"): _any("lumen"),
    ("task", "brings"): _is("kind", TaskKind.DELIVERY.value),
}
"""Questions that make sense only with, or only without, some other answer of the same table."""
