"""Care tasks that are tied to doses (R20): each dose has one occurrence of the task, which moves with it.

Of what moves one, the last word counts: it may be put off by itself, with its dose, or by a revision that ties it otherwise.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from reminders.plan.care import CareTask
from reminders.record.facts import Fact
from reminders.schedule.model import DROPPED, NEVER, Dose, DoseState
from reminders.times import DAY, Instant

REACH = DAY // 2
"""Minutes: a doing further from what is tied to a dose answers nothing of it."""


def tied_key(dose: Dose) -> str:
    """Name the occurrence of a task that is tied to a dose."""
    return f"dose/{dose.order}/{dose.key}"


@dataclass(frozen=True, slots=True)
class Tied:
    """Where the occurrence of one dose stands: when it is to be done, since when that is known, whether somebody said that
    it is not to be done, and what records that it was."""

    dose: Dose
    planned: Instant
    known: Instant
    skipped: bool = False
    done: Fact | None = None


class TiedToDoses:
    """The occurrences of one task that is tied to doses, through the revisions in force."""

    def __init__(self, put_off: Sequence[Fact], skipped: Sequence[Fact], end: Instant) -> None:
        """Take what is recorded of the task but its doings, in order of time; ``end`` is the horizon's."""
        self._put_off, self._skipped, self._end = put_off, skipped, end
        self._found: dict[str, Tied] = {}

    def revise(self, task: CareTask | None, doses: Sequence[Dose], begins: Instant) -> None:
        """Let a revision say from ``begins`` on where they stand; without the task, what is still to come is gone.

        What was still to come, and by the revision lies before it, is due at once. What lay before it stays, unless it
        comes again. What it brings in does not lie before it.
        """
        named = {}
        for dose in doses if task is not None else ():
            assert task is not None
            if (tied := self._of(task, dose)) is not None:
                named[tied_key(dose)] = tied
        for key in [key for key in self._found if key not in named]:
            if self._found[key].done is None and self._found[key].planned >= begins:
                del self._found[key]
        for key, tied in named.items():
            before = self._found.get(key)
            if before is None:
                if tied.planned >= begins:
                    self._found[key] = tied
            elif before.done is None and max(tied.planned, before.planned) >= begins:
                if tied.planned < begins:
                    assert task is not None
                    tied = self._of(task, tied.dose, begins) or tied
                moved = tied.planned != before.planned
                self._found[key] = replace(
                    tied,
                    known=max(tied.known, begins) if moved else tied.known,
                    skipped=tied.skipped or before.skipped,
                )

    def answer(self, fact: Fact) -> bool:
        """Let a doing answer the occurrence that it is nearest to; say whether there is one that was not done already."""
        near = [
            (abs(tied.planned - fact.happened), tied.planned, key)
            for key, tied in self._found.items()
            if abs(tied.planned - fact.happened) <= REACH and tied.planned < self._end
        ]
        nearest = min(near, key=lambda entry: entry[:2], default=None)
        if nearest is None or self._found[nearest[2]].done is not None:
            return False
        self._found[nearest[2]] = replace(self._found[nearest[2]], done=fact)
        return True

    def all(self) -> Iterator[Tied]:
        """Yield those within the horizon whose dose takes place here; for another there is nothing to do."""
        for tied in self._found.values():
            dropped = tied.dose.state in DROPPED or tied.dose.state is DoseState.ELSEWHERE
            if tied.done is not None or (tied.planned < self._end and not dropped):
                yield tied

    def _of(self, task: CareTask, dose: Dose, at_once: Instant | None = None) -> Tied | None:
        """Return where a task puts the occurrence of a dose, ``at_once`` if a revision finds it passed; None for none.

        A putting-off counts from the moment that it speaks of: what moves the dose after it moves the task again.
        """
        if task.only_doses is not None and dose.number not in task.only_doses:
            return None
        if task.after_finish is not None:
            if dose.end is None:
                return None
            length = task.after_finish
            at = Instant(dose.end + length)
            moved = [when for when in (dose.started, dose.finished) if when is not None]
            stood = [*([] if dose.due_end is None else [dose.due_end]), *(when for when, _ in dose.put_off[1::2])]
        else:
            if dose.extra:
                return None  # nobody could have known
            length = -(task.before_dose or 0)
            # A dose that began early had what belongs before it before that, or not at all.
            early = [dose.started] if dose.started is not None and dose.started < dose.due else []
            at = Instant(min([dose.due, *early]) + length)
            moved = early
            stood = [dose.ordered, dose.due, *(when for when, _ in dose.put_off[::2])]
        was = {at, *(Instant(when + length) for when in stood)}
        known = moved_at = max([*moved, *(since for _, since in dose.put_off)], default=NEVER)
        if at_once is not None:
            at, moved_at = at_once, max(moved_at, at_once)
            was.add(at)
        for fact in self._put_off:
            if fact.planned_for in was and fact.until is not None:
                was.add(fact.until)
                if fact.planned_for == at or fact.happened > moved_at:
                    at, known = fact.until, max(known, fact.happened)
        skipped = [fact for fact in self._skipped if fact.planned_for in was]
        return Tied(dose, at, max([known, *(fact.happened for fact in skipped)]), bool(skipped))
