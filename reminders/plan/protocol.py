"""What a provider's protocol holds: fluids, order of steps, and the terms on which idle flushes are placed.

Like :mod:`reminders.plan.model`, of which it is a part, this is the one statement of its keys.
"""

from dataclasses import dataclass, field

from reminders.plan import keys
from reminders.plan.keys import Pushed, key
from reminders.units import Measure


@dataclass(frozen=True, kw_only=True)
class Protocol:
    """How the provider has lines flushed and locked."""

    provider: str = field(metadata=key(keys.CALLED, "Whose protocol it is."))
    flush: str = field(metadata=key(keys.name_of("fluid"), "The fluid of routine flushes: a name from [fluid]."))
    before: tuple[Pushed, ...] = field(
        metadata=key(keys.many(keys.PUSHED_ITEM), "What comes before an infusion, in order.")
    )
    after: tuple[Pushed, ...] = field(
        metadata=key(keys.many(keys.PUSHED_ITEM), "What comes after an infusion and before the lock, in order.")
    )
    after_nutrition: tuple[Pushed, ...] | None = field(
        default=None, metadata=key(keys.many(keys.PUSHED_ITEM), "The same after nutrition, where it differs.")
    )
    idle: tuple[Pushed, ...] = field(
        metadata=key(keys.many(keys.PUSHED_ITEM), "What an idle flush pushes before the lock, in order.")
    )
    before_draw: tuple[Pushed, ...] = field(
        default=(),
        metadata=key(keys.many(keys.PUSHED_ITEM), "What comes before blood is drawn through a lumen, in order."),
    )
    discard_volume: Measure | None = field(
        default=None,
        metadata=key(keys.quantity("volume"), "How much is drawn and thrown away before blood is drawn, if any."),
    )
    after_draw: tuple[Pushed, ...] | None = field(
        default=None,
        metadata=key(
            keys.many(keys.PUSHED_ITEM),
            "What comes after blood was drawn and before the lock, in order; needed with a planned draw through a lumen.",
            sources="published flushes after a draw range from 10 to 30 mL in adults",
        ),
    )
    flush_without_lock_counts: bool | None = field(
        default=None,
        metadata=key(
            keys.YES_NO,
            "Whether a flush that was given without its lock, such as saline alone in a lumen locked with heparin, "
            "counts for the idle limit. Where it is not stated, it does not.",
        ),
    )
    scrub_time: int | None = field(
        default=None,
        metadata=key(
            keys.seconds(least=1, most=300),
            "How long the hub is scrubbed before each connection; the page counts it down. Where it is not stated, nothing "
            "is counted and the household does as it was taught. (Published handouts range from 5 to 30 s.)",
        ),
    )
    dry_time: int | None = field(
        default=None,
        metadata=key(
            keys.seconds(least=1, most=600),
            "How long the hub dries after scrubbing, likewise. (By the agent, from some seconds to minutes; from memory.)",
        ),
    )
    joining_time: int = field(
        metadata=key(
            keys.minutes(least=0, most=720),
            "Where the next dose in a lumen starts within this time after one ends, the lock between is left out.",
        )
    )
    planning_margin: int = field(
        metadata=key(
            keys.minutes(least=0, most=10080),
            "How long before the idle limit flushes are placed, so that a few minutes' delay breaks nothing; "
            '"0 min" is allowed.',
        )
    )
    least_time_to_next_touch: int = field(
        metadata=key(
            keys.minutes(least=0, most=1440),
            "The least time between an idle flush and the next touch of its lumen, so that no flush stands just before "
            'another; "0 min" is allowed.',
        )
    )
    saved_session_worth: int = field(
        metadata=key(
            keys.whole(0, 1000),
            "How many extra flushes may be spent to save the household one session of idle flushes by day; sessions in "
            "quiet hours are saved first. With 0 no flush is ever added to save a session, not even in quiet hours.",
        )
    )
