"""Facts: what somebody says has really happened, and when (R13).

A fact is never changed. A mistake is corrected by a later fact that withdraws it, so the record only grows. Facts are
read in the order in which they happened, whatever the order in which they were entered.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property

from reminders.times import Instant


class Kind(Enum):
    """What a fact says."""

    IN_USE = "plan put in use"
    REMOVED = "line removed"
    EXCHANGED = "line exchanged"
    NEEDLE_OUT = "needle out"
    NEEDLE_IN = "needle in"
    HEPARIN_STOPPED = "heparin stopped"
    RELEASED = "released"
    RESUMED = "resumed"
    FINISHED = "finished"
    STOPPED = "stopped early"
    DRAWN = "drawn"
    FLUSHED = "flushed"
    STARTED = "started"
    BAG_CHANGED = "bag changed"
    INTERRUPTED = "interrupted"
    PROBLEM = "problem"
    DELAYED = "delayed"
    SKIPPED = "skipped"
    NOT_GIVEN = "not given"
    HELD = "held"
    OUT_OF_USE = "lumen out of use"
    TASK_DONE = "task done"
    TASK_PUT_OFF = "task put off"
    TASK_SKIPPED = "task skipped"
    DELIVERED = "delivered"
    STOCK_COUNTED = "stock counted"
    WITHDRAWN = "withdrawn"
    PUBLISHED = "calendar published"


RANK: Mapping[Kind, int] = {kind: index for index, kind in enumerate(Kind)}
"""The order of facts of one minute: what ends comes before what begins."""


class Sign(Enum):
    """What went wrong with a line or an infusion."""

    REACTION = "reaction"
    PAIN = "pain"
    SWELLING = "swelling"
    LEAK = "leak"
    WILL_NOT_FLUSH = "will not flush"
    NO_BLOOD_RETURN = "no blood return"
    NOT_FLOWING = "not flowing"
    OTHER = "other"


SUSPENDS = frozenset({Sign.REACTION, Sign.PAIN, Sign.SWELLING, Sign.LEAK})
"""Signs after which nothing is offered on the lumen until a clinician releases it (S1)."""

ASKS_FIRST = frozenset({Sign.WILL_NOT_FLUSH, Sign.NO_BLOOD_RETURN, Sign.NOT_FLOWING})
"""Signs after which what is planned on the lumen is *ask first* until it is released (S2, S3)."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One event as a calendar last showed it: its SEQUENCE, a digest of what it says, when it was changed, its start
    and title. ``cancelled`` says that it was shown as cancelled."""

    sequence: int
    digest: str
    stamp: Instant
    start: Instant
    title: str
    cancelled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing that happened.

    ``key`` is its own for ever; a report of several facts (finished and flushed) gives them one ``report``. A report
    that arrives twice has the same keys and is one report. ``happened`` and ``entered`` are instants in whole minutes.
    Which of the other fields a kind has is said by :data:`FIELDS`:

    ``order``, ``dose``: the order's name and the key of one of its doses. ``lumen``: a lumen's name. ``until``: when a
    delayed dose is now meant to start. ``volume``: how much was given, as written, such as ``60 mL``. ``fluids``: what
    was really pushed, where that is not what the plan says. ``sign``: what went wrong. ``elsewhere``: given outside the
    home; ``lumen_used``: and through this line. ``again``: the reporter says that it is a second one. ``said_by``: the
    clinician who ordered or released. ``planned_for``: which idle flush is skipped, or which task is put off (``until``
    then) or skipped, by its planned instant. ``name``, ``count``: of a task or an item. ``plan_text``, ``revision``: of a plan put in use, with
    a ``setting`` where only making a packet did so. ``target``, ``setting``,
    ``shown``, ``left_out``: of a published calendar, where it went, how it was asked for, the events that changed, and
    those it no longer holds. ``withdraws``: the key of the fact that is taken back.
    """

    key: str
    report: str
    kind: Kind
    happened: Instant
    entered: Instant
    by: str = ""
    note: str = ""
    order: str = ""
    dose: str = ""
    lumen: str = ""
    until: Instant | None = None
    volume: str = ""
    fluids: tuple[str, ...] = ()
    sign: Sign | None = None
    elsewhere: bool = False
    lumen_used: bool = False
    again: bool = False
    said_by: str = ""
    planned_for: Instant | None = None
    name: str = ""
    count: int | None = None
    plan_text: str = ""
    revision: int | None = None
    target: str = ""
    setting: Mapping[str, str] = field(default_factory=dict)
    shown: Mapping[str, Shown] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    withdraws: str = ""


FIELDS: Mapping[Kind, tuple[frozenset[str], frozenset[str]]] = {
    kind: (frozenset(needed.split()), frozenset(allowed.split()))
    for kind, needed, allowed in (
        (Kind.IN_USE, "plan_text revision", "setting"),
        (Kind.REMOVED, "", "said_by"),
        (Kind.EXCHANGED, "", "said_by"),
        (Kind.NEEDLE_OUT, "", "said_by"),
        (Kind.NEEDLE_IN, "", "said_by"),
        (Kind.HEPARIN_STOPPED, "", "said_by"),
        (Kind.RELEASED, "", "order lumen said_by"),
        (Kind.RESUMED, "order dose", ""),
        (Kind.FINISHED, "order dose", "elsewhere"),
        (Kind.STOPPED, "order dose", "volume sign said_by"),
        (Kind.DRAWN, "lumen", "said_by"),
        (Kind.FLUSHED, "lumen", "fluids again elsewhere"),
        (Kind.STARTED, "order dose", "lumen volume elsewhere lumen_used again said_by"),
        (Kind.BAG_CHANGED, "order dose", ""),
        (Kind.INTERRUPTED, "order dose", "sign"),
        (Kind.PROBLEM, "sign", "lumen order dose"),
        (Kind.DELAYED, "order dose until", "said_by"),
        (Kind.SKIPPED, "", "order dose lumen planned_for said_by"),
        (Kind.NOT_GIVEN, "order dose", "said_by"),
        (Kind.HELD, "", "order said_by"),
        (Kind.OUT_OF_USE, "lumen", "said_by"),
        (Kind.TASK_DONE, "name", "lumen"),
        (Kind.TASK_PUT_OFF, "name planned_for until", "said_by"),
        (Kind.TASK_SKIPPED, "name planned_for", "said_by"),
        (Kind.DELIVERED, "name count", ""),
        (Kind.STOCK_COUNTED, "name count", ""),
        (Kind.WITHDRAWN, "withdraws", ""),
        (Kind.PUBLISHED, "target", "setting shown left_out"),
    )
}
"""For each kind of fact, the fields that it must have and those that it may have, besides key, report, kind, happened,
entered, by and note, which all have."""


@dataclass(frozen=True, eq=False)
class Record:
    """All facts of one plan, in the order in which they were entered."""

    facts: tuple[Fact, ...] = ()

    @cached_property
    def withdrawn(self) -> frozenset[str]:
        """Return the keys of the facts that later facts have taken back."""
        return frozenset(fact.withdraws for fact in self.facts if fact.kind is Kind.WITHDRAWN)

    @cached_property
    def standing(self) -> tuple[Fact, ...]:
        """Return the facts that stand, in the order in which they happened."""
        told = (fact for fact in self.facts if fact.kind is not Kind.WITHDRAWN and fact.key not in self.withdrawn)
        return tuple(sorted(told, key=happening))

    def of_kind(self, *kinds: Kind) -> tuple[Fact, ...]:
        """Return the standing facts of some kinds, in the order in which they happened."""
        return tuple(fact for fact in self.standing if fact.kind in kinds)

    def with_facts(self, facts: Iterable[Fact]) -> "Record":
        """Return the record with more facts, leaving out those whose keys it has already."""
        known = {fact.key for fact in self.facts}
        return Record((*self.facts, *(fact for fact in facts if fact.key not in known)))

    @property
    def last_report(self) -> str | None:
        """Return the report entered last that still stands and that a person can take back."""
        for fact in reversed(self.facts):
            if fact.kind not in (Kind.WITHDRAWN, Kind.PUBLISHED, Kind.IN_USE) and fact.key not in self.withdrawn:
                return fact.report
        return None


def happening(fact: Fact) -> tuple[int, int, str]:
    """Return what facts are sorted by: the minute, what ends before what begins, then the key."""
    return fact.happened, RANK[fact.kind], fact.key


def withdrawal(record: Record, report: str, entered: Instant, by: str = "") -> tuple[Fact, ...]:
    """Return the facts that take back every standing fact of a report; the same keys however often it is asked for."""
    return tuple(
        Fact(
            key=f"{fact.key}-withdrawn",
            report=f"{report}-withdrawn",
            kind=Kind.WITHDRAWN,
            happened=entered,
            entered=entered,
            by=by,
            withdraws=fact.key,
        )
        for fact in record.facts
        if fact.report == report and fact.kind is not Kind.WITHDRAWN and fact.key not in record.withdrawn
    )


EMPTY = Record()
