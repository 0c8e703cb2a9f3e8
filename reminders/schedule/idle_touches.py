"""Placed idle flushes of one lumen into its touches (R11, R23)."""

from collections.abc import Callable, Iterable, Mapping

from reminders.plan.keys import Pushed
from reminders.plan.model import Plan
from reminders.record.facts import Fact
from reminders.schedule import steps as do
from reminders.schedule.identity import Identities
from reminders.schedule.idle import Placed
from reminders.schedule.model import Ask, Outcome, Reason, Step, Touch, TouchKind
from reminders.times import Instant, local


class IdleTouches:
    """Writes the idle flushes of one lumen; their steps are made once for each plan and shared."""

    def __init__(
        self,
        lumen: str,
        plan_at: Callable[[Instant], Plan],
        names: Identities,
        asks_at: Callable[[Instant], tuple[Ask, ...]],
        not_through: Callable[[Instant], tuple[Ask, ...]],
        facts: Mapping[str, Fact],
    ) -> None:
        """Take the lumen's recorded flushes by their keys.

        ``asks_at`` says why to ask before the lumen is used at all, ``not_through`` why nothing may be flushed through it.
        """
        self._lumen, self._plan_at, self._names, self._facts = lumen, plan_at, names, facts
        self._asks_at, self._not_through = asks_at, not_through
        self._made: dict[int, tuple[Step, ...]] = {}

    def touches(self, placed: Iterable[tuple[Placed, Reason]]) -> list[Touch]:
        """Return the touches of placed flushes, which come in order of time."""
        found = []
        day, count = None, 0
        for flush, reason in placed:
            if flush.planned is not None:
                on = local(flush.planned, self._plan_at(flush.planned).course.zone).date()
                day, count = on, count + 1 if on == day else 1
                uid = self._names.of("idle", self._lumen, on.isoformat(), str(count))
            else:
                assert flush.answer is not None, "a flush that was not planned was recorded"
                uid = self._names.of("flush", self._lumen, flush.answer.key)
            found.append(self._touch(flush, uid, reason))
        return found

    def _steps(self, plan: Plan) -> tuple[Step, ...]:
        if id(plan) not in self._made:
            self._made[id(plan)] = do.idle_flush(plan, plan.lumens[self._lumen])
        return self._made[id(plan)]

    def _touch(self, flush: Placed, uid: str, reason: Reason) -> Touch:
        plan = self._plan_at(flush.at)
        outcome = Outcome.SKIPPED if flush.skipped else Outcome.DONE if flush.answer else None
        kept = () if outcome else self._not_through(flush.at)
        steps = () if flush.skipped or kept else self._steps(plan)
        if flush.answer is not None and (fluids := self._facts[flush.answer.key].fluids):
            steps = do.pushed(plan, [Pushed(name) for name in fluids], plan.lumens[self._lumen])
        return Touch(
            uid,
            TouchKind.IDLE_FLUSH,
            self._lumen,
            flush.at,
            steps,
            reason,
            plan,
            planned=flush.at if flush.planned is None else flush.planned,
            asks=() if outcome else (*self._asks_at(flush.at), *kept),
            outcome=outcome,
        )
