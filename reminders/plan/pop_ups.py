"""When a computer in the household speaks up, and how much it shows: the plan's table ``[pop_up]``.

Like :mod:`reminders.plan.model`, of which it is a part, this is the one statement of its keys. Nothing in it is clinical:
it says how often somebody is reminded, never when something is due.
"""

from dataclasses import dataclass, field

from reminders.plan import keys
from reminders.plan.keys import key


@dataclass(frozen=True, kw_only=True)
class PopUps:
    """How the household is reminded by the computer at home. All durations are minutes."""

    ahead: int = field(
        default=15,
        metadata=key(
            keys.minutes(least=0, most=720),
            'How long before each event it is announced; 15 min if left out, "0 min" for no announcement.',
        ),
    )
    again_every: int = field(
        default=10,
        metadata=key(
            keys.minutes(least=1, most=240),
            "How often what nobody has answered is told again; every 10 min if left out.",
        ),
    )
    urgent_again_every: int = field(
        default=3,
        metadata=key(
            keys.minutes(least=1, most=60),
            "The same for what is urgent: an infusion that should have finished (there it begins with again_every and "
            "comes ever closer), a flush that is outstanding, an idle limit that has passed. Every 3 min if left out.",
        ),
    )
    ordinary_repeats: int = field(
        default=6,
        metadata=key(
            keys.whole(0, 100),
            "How many times what is not urgent is told again; 6 if left out. What is urgent is told until it is answered.",
        ),
    )
    discreet: bool | None = field(
        default=None,
        metadata=key(
            keys.YES_NO,
            "Whether a pop-up tells a stranger nothing. If left out, it is as discreet as the calendar: false only where "
            "calendar.reveals is everything.",
        ),
    )
