"""A plan into the one in use on this computer: its file copied to its place, and what is recorded beside it taken over."""

from contextlib import ExitStack
from dataclasses import dataclass
from uuid import UUID

from reminders.files import private_file, private_folder
from reminders.household import Household, NotInUseError, add_facts, open_household, open_in_use, put_in_use
from reminders.places import places
from reminders.plan.read import read_plan
from reminders.record.facts import Fact, Kind
from reminders.times import Instant
from reminders.words import moment_words


@dataclass(frozen=True, slots=True)
class Adopted:
    """A plan that was put in use: the household as it is now, and the facts that are new in its record."""

    household: Household
    added: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class InUse:
    """Which plan somebody was shown to be in use: its id, revision and words; None and nothing where none was."""

    plan_id: UUID | None = None
    revision: int = 0
    text: str = ""

    @classmethod
    def of(cls, household: Household | None) -> "InUse":
        """Return it of what is in use."""
        if household is None:
            return cls()
        course = household.plan.course
        return cls(course.id, course.revision, household.text)


def adopt(offered: Household, now: Instant, shown: InUse | None = None) -> Adopted:
    """Copy a plan to its place, and take over what is recorded beside it: both, or neither.

    ``shown``: what somebody was shown to be in use when they said yes; where it is not any more, nothing is changed.

    The copy is looked at beside its place first, with the record that is there: it may be older than what is in use.
    The plan comes before its record, because a later revision that is not in use yet does no harm.

    Raises:
        FileError, RecordError, NotInUseError, UnusablePlanError: as :func:`reminders.household.open_household`.
        OSError: the place cannot be written. Whatever is raised, nothing was changed.
    """
    revision = offered.plan.course.revision
    place = places().plan

    def facts(current: Household) -> list[Fact]:
        known = {fact.key for fact in current.record.facts}
        new = [fact for fact in offered.record.facts if fact.key not in known]
        if any(fact.kind is Kind.IN_USE and fact.revision == revision for fact in new):
            return new
        return [*new, *put_in_use(current, now)]

    with ExitStack() as clean:
        copy = private_file(private_folder(place.parent) / place.name, offered.text.encode())
        clean.callback(copy.unlink, missing_ok=True)
        try:
            open_household(copy, now)
        except NotInUseError as error:
            raise NotInUseError(str(error).replace(copy.name, offered.path.name)) from None
        before = private_file(place, place.read_bytes()) if place.exists() else None
        if before is not None:
            clean.callback(before.unlink, missing_ok=True)
        if shown is not None and InUse.of(open_in_use(place, now) if place.exists() else None) != shown:
            raise NotInUseError("What is in use on this computer was changed while you read. Open the file again.")
        copy.replace(place)
        try:
            household, added = add_facts(open_household(place, now), facts, now)
        except BaseException:  # an interrupt too leaves both, or neither
            if before is None:
                place.unlink()
            else:
                before.replace(place)
            raise
    return Adopted(household, added)


def which_is_in_use() -> str:
    """Say which plan is in use; it may be one that cannot be read."""
    try:
        plan = read_plan(places().plan.name, places().plan.read_bytes()).plan
    except OSError:
        plan = None
    if plan is None:
        return f"{places().plan}, which cannot be read"
    start = moment_words(plan.clock.local(plan.course.start.instant))
    return f'"{plan.calendar.name}", revision {plan.course.revision}, which begins {start}'
