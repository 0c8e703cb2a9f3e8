"""A plan's file with the record that lies beside it: which revisions are in use, and what has happened since.

The record belongs to the plan's id and spans its revisions. It is begun when something is first written into it; the
plan at hand is then the one in use. A later revision is put in use only by saying so. What only packets put in use, of
which none was sent, binds nobody: another text of the same revision takes its place.
"""

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

from reminders.examine import Examination, examine
from reminders.files import FileError, read_file
from reminders.findings import has_errors
from reminders.places import command_for, places, typed
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Kind, Record
from reminders.record.published import PACKET, only_packed
from reminders.record.store import ChangedMeanwhile, RecordError, Store, record_path
from reminders.schedule.compile import compile_schedule, ends_of
from reminders.schedule.model import Schedule
from reminders.times import Instant


class UnusablePlanError(Exception):
    """A plan with errors; ``examination`` holds them."""

    def __init__(self, examination: Examination) -> None:
        """Take what was found."""
        super().__init__(f"{examination.source.name} has errors")
        self.examination = examination


class NotInUseError(Exception):
    """A plan that does not fit what the record says is in use; its text says why, and what to do."""


@dataclass(frozen=True, slots=True)
class Household:
    """One plan file and its record, as they were read.

    ``earlier`` are the revisions in use before this one. ``in_use`` is false for a revision that nobody has put in use,
    of a plan that has a record. ``begun``: the record says which revision is in use. ``kept``: it was opened as what is
    in use, whatever lies in the file now; then ``waiting`` is the revision that lies there and is not in use, if one does.
    ``packed`` is the fact that put this revision in use where only packets came of it (:func:`only_packed`); if the file
    says something else by now, the revision counts as not in use yet.
    """

    path: Path
    text: str
    examination: Examination
    plan: Plan
    record: Record = field(repr=False)
    earlier: tuple[Plan, ...]
    in_use: bool
    begun: bool
    kept: bool = False
    waiting: int | None = None
    packed: Fact | None = None
    compiled: dict[tuple[Instant, ...], Schedule] = field(default_factory=dict, repr=False, compare=False)

    def schedule(self, now: Instant) -> Schedule:
        """Return the schedule as plan and record have it; a revision not yet in use as if it were.

        The one that was asked for last is kept: a report looks at the same one several times, and one minute's is mostly
        that of the next.
        """
        ends = ends_of((*self.earlier, self.plan), now)
        found = self.compiled.get(ends)
        if found is None:
            found = compile_schedule(self.plan, self.record, now, self.earlier)
            self.compiled.clear()
            self.compiled[ends] = found
        return found

    @property
    def store_path(self) -> Path:
        """Return where the record is kept."""
        return record_path(self.path, self.plan.course.id)

    @property
    def replaced(self) -> Fact | None:
        """Return what only packets put in use as this revision, if the file says something else by now."""
        if self.packed is None or _kept_plan(self.packed.plan_text) == self.plan:
            return None
        return self.packed

    def needs_use(self) -> None:
        """Refuse to write for a revision that is not in use.

        Raises:
            NotInUseError: it is not.
        """
        if not self.in_use:
            last = max(plan.course.revision for plan in self.earlier)
            raise NotInUseError(
                f"{self.path.name} is revision {self.plan.course.revision}, and revision {last} is in use. See what changes "
                f"with  reminders compare OLD {typed(self.path)} ; then put it in use with  "
                f"{command_for('record', self.path, 'in use')} ."
            )


def open_household(path: Path, now: Instant, like: Household | None = None) -> Household:
    """Read a plan file and its record, if there is one. Nothing is written.

    A file that says what it said when ``like`` was read is not examined again.

    Raises:
        FileError: the plan file cannot be read.
        UnusablePlanError: the plan has errors.
        RecordError: the record cannot be read.
        NotInUseError: an older revision than the one in use, or the same one with other words.
    """
    content = read_file(path)
    text = content.decode("utf-8-sig", errors="replace")
    known = like is not None and like.text == text
    examination = like.examination if like is not None and known else examine(path.name, content, EMPTY, now)
    plan = examination.plan
    if plan is None:
        raise UnusablePlanError(examination)
    record, used = recorded(path, plan)
    if like is not None and record.facts == like.record.facts:
        record = like.record  # the same one, so that whoever has it sees that it is
    earlier = tuple(used[number] for number in sorted(used) if number < plan.course.revision)
    newest = max(used, default=0)
    if newest > plan.course.revision:
        raise NotInUseError(
            f"{path.name} is revision {plan.course.revision}, and revision {newest} is in use. Use the file with revision "
            f"{newest}; what happened under the older one is in the record."
        )
    same = used.get(plan.course.revision)
    packed = only_packed(record, plan.course.revision)
    if packed is not None and _is_used_here(path, plan):
        packed = None
    if packed is not None and same != plan:
        same = None
        del used[plan.course.revision]
    if same is not None and same != plan:
        raise NotInUseError(
            f"{path.name} says revision {plan.course.revision}, and so does the plan in use, which says something else. "
            "Someone changed the file without raising revision. If the change is meant, raise revision by one and say from "
            "when on it holds (takes_effect); if it is not, take it back."
        )
    in_use = same is not None or not used
    return Household(path, text, examination, plan, record, earlier, in_use, bool(used), packed=packed)


def _is_used_here(path: Path, plan: Plan) -> bool:
    """Say whether a plan's file is the one in use on this computer, or its revision or a later one ever was."""
    here = record_path(places().plan, plan.course.id)
    if here.resolve() == record_path(path, plan.course.id).resolve():
        return True
    used = _read(here, plan.course.id).of_kind(Kind.IN_USE)
    return any(fact.revision is not None and fact.revision >= plan.course.revision for fact in used)


def open_in_use(path: Path, now: Instant, like: Household | None = None) -> Household:
    """Read what is in use of a plan: the revision in the file, or the last one that the record says is.

    A file that holds a later revision is not in use before somebody says so; until then what the record keeps stands.

    Raises:
        FileError, UnusablePlanError, RecordError, NotInUseError: as :func:`open_household`.
    """
    found = open_household(path, now, like)
    if found.in_use:
        return replace(found, kept=True)
    text = text_in_use_before(found)
    return replace(
        found,
        text=text,
        examination=examine(path.name, text.encode(), EMPTY, now),
        plan=found.earlier[-1],
        earlier=found.earlier[:-1],
        in_use=True,
        kept=True,
        waiting=found.plan.course.revision,
        packed=None,
        compiled={},
    )


def kept_in_record(path: Path, plan_id: uuid.UUID, now: Instant) -> Household | None:
    """Return what is in use by the record beside a plan's file, whatever lies in the file; None where no plan is.

    Raises:
        RecordError: the record cannot be read.
    """
    record = _read(record_path(path, plan_id), plan_id)
    used = _revisions(path, record)
    if not used:
        return None
    last = max(used)
    text = _text_of(last, record)
    examination = examine(path.name, text.encode(), EMPTY, now)
    earlier = tuple(used[number] for number in sorted(used) if number < last)
    return Household(path, text, examination, used[last], record, earlier, in_use=True, begun=True, kept=True)


def text_in_use_before(household: Household) -> str:
    """Return the text of the revision that was in use before the household's own, as the record keeps it."""
    return _text_of(household.earlier[-1].course.revision, household.record)


def _text_of(revision: int, record: Record) -> str:
    return next(fact.plan_text for fact in reversed(record.of_kind(Kind.IN_USE)) if fact.revision == revision)


def recorded(path: Path, plan: Plan) -> tuple[Record, dict[int, Plan]]:
    """Return the record that lies beside a plan's file, and the plans in use by it, by revision; both may be empty.

    Raises:
        RecordError: the record cannot be read.
    """
    record = _read(record_path(path, plan.course.id), plan.course.id)
    return record, _revisions(path, record)


def _read(path: Path, plan_id: uuid.UUID) -> Record:
    store = Store.open(path, plan_id, create=False)
    if store is None:
        return EMPTY
    with store:
        return store.read()


def _revisions(path: Path, record: Record) -> dict[int, Plan]:
    """Return the plans put in use, by revision; of one that was put in use again the later word stands."""
    found: dict[int, Plan] = {}
    for fact in record.of_kind(Kind.IN_USE):
        plan = _kept_plan(fact.plan_text)
        if plan is None:
            raise RecordError(
                f"Revision {fact.revision} of {path.name}, as the record keeps it, can no longer be read by this release. "
                "Use the release that it was recorded with, and tell the developers."
            )
        found[plan.course.revision] = plan
    return found


@lru_cache(maxsize=32)
def _kept_plan(text: str) -> Plan | None:
    """Return the plan of a revision as the record keeps it; None where this release cannot read it."""
    reading = read_plan("a revision in the record", text.encode())
    return None if has_errors(reading.findings) else reading.plan


def add_facts(
    household: Household, make: Callable[[Household], Sequence[Fact]], now: Instant
) -> tuple[Household, tuple[Fact, ...]]:
    """Add the facts that ``make`` finds for what is recorded so far; durable when this returns.

    Where somebody else recorded something meanwhile, it is read and ``make`` is asked again. Returns the household with
    them, and those that were new.

    Raises:
        NotInUseError: the plan is not the one in use.
        RecordError: they cannot be written; then nothing was.
    """
    while True:
        facts = list(make(household))
        begins = any(fact.kind is Kind.IN_USE for fact in facts)
        if not begins:
            household.needs_use()
        if not begins and not household.begun:
            facts = [*put_in_use(household, now), *facts]
        store = Store.open(household.store_path, household.plan.course.id, create=True)
        assert store is not None, "a store that may be made is there"
        with store:
            try:
                added = store.append(facts, after=len(household.record.facts))
            except ChangedMeanwhile:
                household = _again(household, now)
                continue
        if any(fact.kind is Kind.IN_USE for fact in added):
            return _again(household, now), added
        # What was published is no news for the schedule: the one that is compiled stays good.
        compiled = household.compiled if all(fact.kind is Kind.PUBLISHED for fact in added) else {}
        return replace(household, record=household.record.with_facts(added), compiled=compiled), added


def _again(household: Household, now: Instant) -> Household:
    """Read a household again; where it was opened as what is in use, a fault of the file takes nothing away."""
    if not household.kept:
        return open_household(household.path, now, household)
    try:
        return open_in_use(household.path, now, household)
    except (FileError, UnusablePlanError, NotInUseError):
        found = kept_in_record(household.path, household.plan.course.id, now)
        if found is None:
            raise
        return found


def follows_by_itself(household: Household) -> bool:
    """Say whether a later revision may be put in use without being asked about: nobody has reported anything beside it, as in
    the folder of a nurse who only makes calendars and packets."""
    facts = household.record.facts
    own = {fact.key for fact in facts if fact.kind in (Kind.IN_USE, Kind.PUBLISHED)}
    return not household.in_use and all(fact.key in own or fact.withdraws in own for fact in facts)


def put_in_use(household: Household, now: Instant, *, packet: bool = False) -> tuple[Fact, ...]:
    """Return the fact that the plan at hand is in use from its ``takes_effect`` on, with its text; none if it is.

    ``packet``: only because a packet is made of it. What only packets put in use is taken back, and put in use anew.
    """
    course, packed = household.plan.course, household.packed
    if household.in_use and household.begun and packed is None:
        return ()
    key = f"in-use-{course.revision}-{uuid.uuid4()}"
    put = Fact(
        key=key,
        report=key,
        kind=Kind.IN_USE,
        happened=course.takes_effect.instant,
        entered=now,
        plan_text=household.text,
        revision=course.revision,
        setting={"for": PACKET} if packet else {},
    )
    if packed is None:
        return (put,)
    back = f"{packed.key}-withdrawn"
    return Fact(key=back, report=back, kind=Kind.WITHDRAWN, happened=now, entered=now, withdraws=packed.key), put
