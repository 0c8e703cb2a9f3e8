"""When a matter is told: ahead of time, at its time, and again while nobody answers, by the plan's intervals."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from itertools import takewhile

from reminders.plan.pop_ups import PopUps
from reminders.reminding.matters import Matter, Sort
from reminders.reminding.quiet import asleep
from reminders.schedule.model import ENDLESS, Spans
from reminders.times import Instant

ALL = Instant(-ENDLESS)
"""Near no telling: none is left out."""


class Stage(Enum):
    """What a telling of a matter is."""

    AHEAD = "ahead of its time"
    AT = "at its time"
    AGAIN = "again"


@dataclass(frozen=True, slots=True)
class Telling:
    """One telling of a matter: which, the moment at which it is meant to be told, and whether it is urgent then."""

    stage: Stage
    moment: Instant
    urgent: bool = False


def tellings(matter: Matter, settings: PopUps, quiet: Spans, near: Instant = ALL) -> Iterator[Telling]:
    """Yield when a matter is told, in order of time, for as long as it is open: without end where it is urgent.

    In the quiet hours nobody is announced what lies after them, and what is not urgent is told again only where it was due
    in them itself; else it waits for their end.

    With ``near``, repeats long before it may be left out, not the last one before it: a matter that nobody has answered for
    weeks has thousands.
    """
    if matter.sort is Sort.ORDER:
        yield from _stated(matter)
        return
    own = asleep(quiet, matter.at)
    if matter.sort is Sort.CLOSED:  # nothing is to be done: nobody is told ahead, or woken for it
        yield Telling(Stage.AT, matter.at if own is None else own[1])
        return
    ahead = Instant(matter.at - settings.ahead)
    if settings.ahead and (matter.touch or matter.task) is not None and asleep(quiet, ahead) in (None, own):
        yield Telling(Stage.AHEAD, ahead)
    yield Telling(Stage.AT, matter.at, matter.urgent_from is not None and matter.at >= matter.urgent_from)
    if matter.repeats:
        again = _in_order(_again(matter, settings, min(near, matter.until)), own, quiet)
        yield from takewhile(lambda telling: telling.moment < matter.until, again)


def _stated(matter: Matter) -> Iterator[Telling]:
    """Yield the moments of a matter that has its own; what is told after the last one in time, comes again."""
    last = matter.stocked.order_at if matter.stocked is not None else None
    stage = Stage.AHEAD
    for moment in matter.moments:
        urgent = matter.urgent_from is not None and moment >= matter.urgent_from
        if last is not None and moment >= last:
            stage = Stage.AT if stage is Stage.AHEAD else Stage.AGAIN
        yield Telling(stage, moment, urgent)


def _in_order(again: Iterator[Telling], own: tuple[Instant, Instant] | None, quiet: Spans) -> Iterator[Telling]:
    """Let what is not urgent wait for the end of quiet hours other than those in which the matter is due, ``own``.

    Where several wait for the same morning, one is told; what is urgent does not wait.
    """
    waits: Telling | None = None
    for telling in again:
        if waits is not None and telling.moment >= waits.moment:
            if telling.moment > waits.moment:
                yield waits
            waits = None
        sleep = asleep(quiet, telling.moment)
        if telling.urgent or sleep is None or sleep == own:
            yield telling
        else:
            waits = Telling(Stage.AGAIN, sleep[1])
    if waits is not None:
        yield waits


def _again(matter: Matter, settings: PopUps, near: Instant) -> Iterator[Telling]:
    """Yield when a matter is told again if nobody sleeps; of what is urgent, from the last time before ``near`` on."""
    urgent_from = matter.urgent_from
    moment = matter.at
    # Who waits for somebody to come is asked once whether they came; about a dressing it is asked once a day.
    if matter.sort in (Sort.OTHERS, Sort.DRESSING):
        yield from (Telling(Stage.AGAIN, later) for later in matter.moments)
        return
    if matter.sort is Sort.FINISH:
        # Ever more insistently: the time until the next halves, down to that of what is urgent.
        pause = settings.again_every
        while True:
            moment = Instant(moment + pause)
            yield Telling(Stage.AGAIN, moment, urgent=True)
            before, pause = pause, max(min(settings.urgent_again_every, pause), pause // 2)
            if pause == before:
                moment = max(moment, Instant(_last_before(near, moment, pause) - pause))
    for _count in range(settings.ordinary_repeats):
        moment = Instant(moment + settings.again_every)
        if urgent_from is not None and moment >= urgent_from:
            break
        yield Telling(Stage.AGAIN, moment)
    if urgent_from is None:
        yield from (Telling(Stage.AGAIN, later) for later in matter.moments if later > moment)
        return
    # Who waits for the nurse's call need not be told every few minutes.
    pause = settings.again_every if matter.sort is Sort.ASK_FIRST else settings.urgent_again_every
    moment = _last_before(near, urgent_from, pause)
    while True:
        if moment > matter.at:
            yield Telling(Stage.AGAIN, moment, urgent=True)
        moment = Instant(moment + pause)


def _last_before(near: Instant, moment: Instant, every: int) -> Instant:
    """Return the last of the moments before ``near`` that follow one another from ``moment`` on; at least that one."""
    return Instant(moment + max(0, (near - 1 - moment) // every) * every)
