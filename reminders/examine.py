"""One plan examined from end to end: its text, what it says, its schedule, and all there is to say about it. Pure."""

from dataclasses import dataclass, replace

from reminders.findings import Finding, has_errors
from reminders.plan.model import Plan
from reminders.plan.read import Reading, read_plan
from reminders.plan.source import Source
from reminders.record.facts import Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.doses import TooManyDosesError
from reminders.schedule.model import Schedule
from reminders.schedule.review import review
from reminders.schedule.revision_review import review_revision
from reminders.times import DAY, Instant
from reminders.units import span

SHOWN_OF_PARTS = frozenset({"overlap", "spacing-ordered", "too-long"})
"""Errors that hold for a part of a plan whatever the rest turns out to be."""

DATES = ("zone", "start", "end", "line_removal", "open_ended")
"""The keys of [plan] without which no dose can be placed."""


@dataclass(frozen=True, slots=True)
class Examination:
    """A plan's source, plan and schedule, with the findings in order: errors first, then by line.

    Plan and schedule are None where the plan has errors: nothing may be made of it.
    """

    source: Source
    plan: Plan | None
    schedule: Schedule | None
    findings: tuple[Finding, ...]


def examine(name: str, content: bytes, record: Record, now: Instant) -> Examination:
    """Read, check, compile and review a plan file's bytes as of ``now``."""
    reading = read_plan(name, content)
    if reading.complete and reading.plan is not None:
        schedule, found = _scheduled(reading.plan, record, now)
        findings = [*reading.findings, *found]
        usable = schedule is not None and not has_errors(findings)
        return Examination(
            reading.source,
            reading.plan if usable else None,
            schedule if usable else None,
            in_order(findings, reading.source),
        )
    sound = _sound_part(reading)
    found = _scheduled(sound, record, now)[1] if sound else []
    findings = [*reading.findings, *(finding for finding in found if finding.code in SHOWN_OF_PARTS)]
    return Examination(reading.source, None, None, in_order(findings, reading.source))


def beside_earlier(examination: Examination, schedule: Schedule) -> Examination:
    """Add what is to be said of a plan beside the revisions before it, with which ``schedule`` is compiled."""
    findings = [*examination.findings, *review_revision(schedule)]
    return replace(examination, findings=in_order(findings, examination.source))


def in_order(findings: list[Finding], source: Source) -> tuple[Finding, ...]:
    """Return the findings with errors first, then warnings, then notes, each by line; none twice."""

    def position(finding: Finding) -> tuple[int, int]:
        line = source.locate(finding.places[0]) if finding.places else None
        return finding.severity, line or 0

    return tuple(sorted(dict.fromkeys(findings), key=position))


def _scheduled(plan: Plan, record: Record, now: Instant) -> tuple[Schedule | None, list[Finding]]:
    try:
        schedule = compile_schedule(plan, record, now)
    except TooManyDosesError as error:
        return None, [
            Finding(
                code="too-long",
                message=f"{plan.orders[error.order].drug} would have tens of thousands of doses.",
                expected="an order as a prescriber writes it",
                mend="Check the unit of its interval and the dates.",
                places=(("order", error.order),),
            )
        ]
    return schedule, [*_past(schedule, now), *review(schedule)]


def _past(schedule: Schedule, now: Instant) -> list[Finding]:
    """Find a plan that has ended, most often by a slip in the year."""
    if schedule.rolling or schedule.end >= now:
        return []
    course = schedule.plan.course
    return [
        Finding(
            code="plan-past",
            message=f"The plan ended on {schedule.plan.clock.local(schedule.end):%Y-%m-%d}, "
            f"{span((now - schedule.end) // DAY * DAY)} ago.",
            expected="a plan that is still to come or under way",
            mend="Is the year right? If the plan is really over, nothing needs to be mended.",
            places=(("plan", "end" if course.end else "line_removal"),),
        )
    ]


def _sound_part(reading: Reading) -> Plan | None:
    """Return the plan without its broken orders, its care tasks, and with nothing to be handled; None where its dates are broken.

    Its lumens are out of use, so that no touch is made: it serves to look at the doses of the sound orders.
    """
    plan = reading.plan
    if plan is None:
        return None
    broken = {finding.places[0] for finding in reading.findings if finding.severity == 0 and finding.places}
    broken |= reading.broken
    if broken & {("plan",), *(("plan", key) for key in DATES)} or any(place[0] == "zone_change" for place in broken):
        return None
    bad = {place[:2] for place in broken}
    orders = {
        name: order for name, order in plan.orders.items() if ("order", name) not in bad and order.lumen in plan.lumens
    }
    while True:
        kept = {
            name: order
            for name, order in orders.items()
            if all(other is None or other in orders for other in (order.follows, *order.runs_with))
        }
        if len(kept) == len(orders):
            lumens = {name: replace(lumen, in_use=False) for name, lumen in plan.lumens.items()}
            return replace(plan, lumens=lumens, orders=orders, tasks={})
        orders = kept
