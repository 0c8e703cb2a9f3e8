"""What somebody reports, into the record, with what to answer and the calendars written again; for command and page alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reminders import words
from reminders.fact_words import fact_words
from reminders.household import Household, NotInUseError, add_facts, put_in_use
from reminders.record.facts import Fact, Kind, withdrawal
from reminders.record.store import RecordError
from reminders.saying.answer import answer, changes
from reminders.saying.household import stock_answer, stock_now
from reminders.saying.phrases import Said
from reminders.saying.report import report
from reminders.times import Instant

if TYPE_CHECKING:  # the calendar library is loaded only once something is written
    from reminders.publishing import Written


@dataclass(frozen=True, slots=True)
class Reported:
    """What came of a report: the household with it, the facts that were new, and what to say to whoever reported.

    Without facts it was recorded already. ``recorded`` has one line for each fact, ``answer`` what to do now and what changed ahead.
    ``calendars`` were written again; ``troubles`` says which could not be: the report stands all the same.
    """

    household: Household
    facts: tuple[Fact, ...]
    recorded: tuple[str, ...] = ()
    answer: tuple[str, ...] = ()
    calendars: tuple[Written, ...] = ()
    troubles: tuple[str, ...] = ()


def report_to(household: Household, told: Said, key: str, now: Instant) -> Reported:
    """Record what was told, entered ``now``. ``key`` names the report: the same one, sent twice, is one.

    Raises:
        AskBackError: it is unclear, or cannot be right; nothing was recorded.
        RecordError, NotInUseError: it cannot be written; then nothing was.
    """
    household.needs_use()
    before, record = household.schedule(now), household.record

    def facts(current: Household) -> tuple[Fact, ...]:
        if any(fact.report == key for fact in current.record.facts):
            return ()  # sent once more
        return report(told, current.schedule(now), current.record, now, key=key)

    household, added = add_facts(household, facts, now)
    mine = tuple(fact for fact in added if fact.report == key)
    if not mine:
        return Reported(household, ())
    after = household.schedule(now)
    said = stock_answer(mine, (before, record), (after, household.record), now)
    return _with_calendars(household, mine, [*said, *answer(mine, before, after, now)], now)


def take_back(household: Household, key: str, by: str, now: Instant) -> Reported:
    """Withdraw every fact of the report named ``key``; nothing is erased. Sent twice, it is one withdrawal.

    Raises:
        RecordError, NotInUseError: it cannot be written; then nothing was.
    """
    before = household.schedule(now)
    taken = [fact for fact in household.record.facts if fact.report == key and fact.kind is not Kind.WITHDRAWN]
    household, added = add_facts(household, lambda current: withdrawal(current.record, key, now, by), now)
    if not added:
        return Reported(household, ())
    said = []
    if any(fact.sign is not None for fact in taken):
        call = words.call_words(household.plan.contacts["now"])
        said.append(f"Was it so all the same? Then stop, say it again, and call {call}.")
    after = household.schedule(now)
    said += [*stock_now(taken, after, household.record, now), *changes(before, after, now)]
    return _with_calendars(household, tuple(taken), said, now)


def use_revision(household: Household, now: Instant) -> Reported:
    """Put the plan at hand in use, from its ``takes_effect`` on; nothing happens where it is already.

    Raises:
        RecordError, NotInUseError: it cannot be written; then nothing was.
    """
    household, added = add_facts(household, lambda current: put_in_use(current, now), now)
    if not added:
        return Reported(household, ())
    course = household.plan.course
    moment = words.moment_words(household.plan.clock.local(course.takes_effect.instant))
    return _with_calendars(household, added, [f"Revision {course.revision} is in use, from {moment} on."], now)


def one_line(text: str) -> str:
    """Return a remark on one line, without what no keyboard types; a record's line holds it so."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def calendars_again(household: Household, now: Instant) -> tuple[Household, list[Written], list[str]]:
    """Write the calendars again that were written before; return them, and in words what could not be written."""
    from reminders.publishing import publish_again

    try:
        return publish_again(household, now)
    except (RecordError, NotInUseError) as error:
        return household, [], [str(error)]


def _with_calendars(household: Household, facts: tuple[Fact, ...], said: Sequence[str], now: Instant) -> Reported:
    schedule = household.schedule(now)
    recorded = tuple(fact_words(fact, schedule) for fact in facts)
    household, written, troubles = calendars_again(household, now)
    return Reported(household, facts, recorded, tuple(said), tuple(written), tuple(troubles))
