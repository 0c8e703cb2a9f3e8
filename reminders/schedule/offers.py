"""What is offered on one lumen: the last pass over its touches (R19, S1-S3, S10, S13, S14).

Every other stage says what is to be done and what was done; only this one, and the touches as they are written, take
steps away or say to ask first.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from reminders.plan.model import Plan
from reminders.record.facts import Fact
from reminders.schedule import steps as do
from reminders.schedule.answers import starts_limit
from reminders.schedule.asks import blocked
from reminders.schedule.happened import Happened, within
from reminders.schedule.in_force import Stretch
from reminders.schedule.limits import limit_of
from reminders.schedule.model import BLOCKS, ENDLESS, Ask, AskWhy, DoseState, LumenState, Outcome, Touch
from reminders.times import Instant


class Offers:
    """What stands in the way of using one lumen, and what that makes of its touches."""

    def __init__(
        self, in_force: Sequence[Stretch], name: str, happened: Happened, plan_at: Callable[[Instant], Plan]
    ) -> None:
        """Take what is recorded of the lumen."""
        self._name, self._happened, self._plan = name, happened, plan_at
        self.blocked = blocked(happened, in_force, name)
        self._problems = happened.problems(name)
        self._away = happened.away
        self.state = LumenState(blocked=self.blocked, problems=self._problems, held=self._away)

    def last_pass(self, touches: Sequence[Touch], flushes: Sequence[Fact]) -> tuple[list[Touch], LumenState]:
        """Return the touches with only what may be offered, and what is recorded of the lumen."""
        found = [self._in_hospital(touch) for touch in touches] if self._away else list(touches)
        if not self._happened.anything:
            return found, self.state
        self.state = self._recorded(found, flushes)
        return [self._offered(self._still_open(touch)) for touch in found], self.state

    def asks_at(self, at: Instant) -> tuple[Ask, ...]:
        """Return why somebody must be asked before the lumen is used at an instant."""
        if not self.blocked and not self._problems and not self._happened.needle_out:
            return ()
        blocks = [Ask(why, since=begin) for begin, end, why in self.blocked if begin <= at < end]
        troubles = [
            Ask(AskWhy.PROBLEM, since=begin, sign=sign) for begin, end, sign in self._problems if begin <= at < end
        ]
        out = [Ask(AskWhy.NEEDLE_OUT, since=begin) for begin, end in self._happened.needle_out if begin <= at < end]
        return (*blocks, *troubles, *out)

    def _in_hospital(self, touch: Touch) -> Touch:
        """Leave a touch that falls into a stay elsewhere to those who look after the line there (S14)."""
        if self.left_to_others(touch):
            return replace(touch, outcome=Outcome.HELD, steps=(), asks=())
        return touch

    def _offered(self, touch: Touch) -> Touch:
        """Take the steps from what a line that is out does not need any more (R19)."""
        removed = self._happened.removed
        if removed is None or (touch.at < removed and not touch.outstanding):
            return touch
        if touch.outcome is not None and not touch.outstanding:
            return touch
        return replace(touch, steps=())

    def left_to_others(self, touch: Touch) -> bool:
        """Say whether a touch falls into a stay elsewhere, and nothing is recorded of it."""
        return touch.outcome is None and within(self._away, touch.at)

    def _recorded(self, touches: Sequence[Touch], facts: Sequence[Fact]) -> LumenState:
        counted = [fact.happened for fact in facts if starts_limit(fact, self._plan(fact.happened), self._name)]
        here = [
            touch
            for touch in touches
            if touch.outcome is Outcome.DONE and all(dose.state is not DoseState.ELSEWHERE for dose in touch.starts)
        ]
        started = [touch.at for touch in here if any(dose.started is not None for dose in touch.starts)]
        bags = [touch.at for touch in here if touch.bags and do.flushes(touch.steps)]
        used = [touch.flushed or touch.at for touch in here]
        return replace(
            self.state,
            last_flush=max([*counted, *started, *bags], default=None),
            last_touch=max([*used, *(fact.happened for fact in facts)], default=None),
        )

    def _still_open(self, touch: Touch) -> Touch:
        """Mark what was planned before something came in its way and is not recorded: it is not to be done now.

        What was overtaken since, or is over for a household that does not record, stays as it is.
        """
        if touch.outcome is not None and not touch.outstanding:
            return touch
        last = self.state.last_touch
        if last is not None and last > touch.at:
            return touch

        def meets(begin: Instant, end: Instant) -> bool:
            # What is older than a limit is history, and waits for its record only.
            recent = begin <= limit_of(touch.plan, touch.plan.lumens[self._name]).last_chance(touch.at)
            return end == ENDLESS and touch.at < begin and recent

        asks = [Ask(why, since=begin) for begin, end, why in self.blocked if meets(begin, end)]
        asks += [
            Ask(AskWhy.PROBLEM, since=begin, sign=sign) for begin, end, sign in self._problems if meets(begin, end)
        ]
        asks += [Ask(AskWhy.HELD, since=begin) for begin, end in self._away if meets(begin, end)]
        asks += [Ask(AskWhy.NEEDLE_OUT, since=begin) for begin, end in self._happened.needle_out if meets(begin, end)]
        for dose in touch.starts:
            if dose.state is DoseState.UNRECORDED:
                held = [span for span in self._happened.held(dose.order) if span not in self._away]
                asks += [Ask(AskWhy.HELD, since=begin, other=dose.order) for begin, end in held if meets(begin, end)]
        asks = [ask for ask in asks if ask not in touch.asks]
        if not asks:
            return touch
        offered = not any(ask.why in BLOCKS for ask in asks)
        return replace(touch, asks=(*touch.asks, *asks), steps=touch.steps if offered else ())
