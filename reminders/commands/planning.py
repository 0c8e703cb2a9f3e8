"""Commands about a plan and its schedule: check, compile, compare, agenda, supplies, new-id."""

import sys
import uuid
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

import click

from reminders import words
from reminders.commands.shared import (
    COLOURS,
    FAILED,
    FROM,
    NOW,
    PLAN,
    TO,
    coloured,
    days_in_order,
    examined,
    fail,
    moment_of,
    opened,
    plan_in_use,
    print_errors,
    seen,
    tell_followed,
)
from reminders.files import FileError, read_file
from reminders.findings import Severity
from reminders.places import stem_for
from reminders.plan.model import Plan, Reveals
from reminders.plan.read import Reading, read_plan
from reminders.record.facts import EMPTY, Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.counts import supplies as count_supplies
from reminders.schedule.plain import place_plainly
from reminders.schedule.relief import would_help
from reminders.views.findings_text import finding_text, tally

# The calendar library takes longer to load than a plan to check, so views are imported by the commands that need them.


@click.command()
@PLAN
@click.option("--read-back", is_flag=True, help="Print what a second person reads aloud, instead of the summary.")
@NOW
def check(plan: Path, read_back: bool, now: str | None) -> None:
    """Say what is wrong or unusual in PLAN, and what it comes to.

    Prints every error, warning and note with its line and how to mend it, then a summary: sessions a day, sessions
    in the quiet hours, supplies of a week, daily totals, and who has read the plan back. Looks at the plan alone, not at
    what was recorded; only where it is a later revision of a plan that is in use here, it also says whether its doses are counted
    on. Writes nothing.
    """
    from reminders.earlier import of_file

    result = of_file(examined(plan, now), plan, moment_of(now))
    findings = [*result.findings, *(would_help(result.schedule) if result.schedule is not None else ())]
    for finding in findings:
        click.echo(coloured(finding, finding_text(finding, result.source)) + "\n")
    click.echo(f"{plan.name}: {tally(findings)}.")
    if result.schedule is None:
        click.echo("Nothing can be made of this plan until its errors are mended.")
        sys.exit(FAILED)
    from reminders.read_back_words import read_back_text, read_back_words
    from reminders.views.summary import summary

    if read_back:
        click.echo("\n" + read_back_text(result.schedule.revision), nl=False)
        return
    plain = compile_schedule(result.schedule.plan, EMPTY, moment_of(now), place=place_plainly)
    click.echo("\n" + summary(result.schedule, moment_of(now), plain))
    click.echo(read_back_words(result.schedule.revision))


@click.command(name="compile")
@PLAN
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The folder for the files; made if new.",
)
@FROM
@TO
@click.option(
    "--per-lumen",
    is_flag=True,
    help="Write one calendar for each lumen, and one of the care tasks, instead of one for all.",
)
@click.option("--for-mail", is_flag=True, help="Write the calendar as it is sent by e-mail (…-mail.ics).")
@NOW
def compile_(
    plan: Path, out: Path, first: date | None, last: date | None, per_lumen: bool, for_mail: bool, now: str | None
) -> None:
    """Write the calendar (.ics) and the schedule (.json) of PLAN.

    Open the calendar in a phone's or computer's calendar program. Where a plan is longer than phones import in one
    file, the calendar ends earlier and says so; choose the days with --from and --to. What the calendar shows is kept in
    the record beside the plan, so that a later file takes the place of an earlier one.
    """
    if first is not None and last is not None:
        days_in_order(first, last)
    from reminders.earlier import of_household

    household = opened(plan, now)
    found = of_household(household, moment_of(now))
    for finding in found.findings:
        if finding.severity is Severity.WARNING:
            click.echo(coloured(finding, finding_text(finding, found.source)) + "\n", err=True)
    from reminders.household import NotInUseError
    from reminders.publishing import OutsideError, Wanted, publish
    from reminders.record.store import RecordError

    stem = stem_for(plan)
    wanted = Wanted(out, stem, per_lumen, first, last, for_mail)
    before = household
    try:
        household, written = publish(before, wanted, moment_of(now))
    except (FileError, RecordError, NotInUseError, OutsideError) as error:
        fail(str(error))
    tell_followed(before, household)
    clock = household.plan.clock
    for entry in written:
        calendar = entry.calendar
        click.echo(
            f"Wrote {entry.place}: {calendar.events} events, {len(calendar.content) / 1000:.0f} kB, from "
            f"{words.moment_words(clock.local(entry.begins))} to {words.moment_words(clock.local(calendar.until))}."
        )
        if calendar.waiting:
            click.echo(words.still_waiting(len(calendar.waiting)))
        if calendar.left_out:
            click.echo(
                f"  {calendar.left_out} later events are left out, because phones refuse larger files. Write the "
                f"calendar of the days that follow with --from {clock.local(calendar.until):%Y-%m-%d}."
            )
    schedule = household.schedule(moment_of(now))
    click.echo(f"Wrote {out / f'{stem}.json'}: {len(schedule.touches) + len(schedule.tasks)} events.")
    if household.plan.calendar.reveals is not Reveals.EVERYTHING:
        click.echo(words.PRIVATE)
    click.echo(words.SNAPSHOT)


@click.command()
@click.argument("plans", nargs=-1, metavar="[OLD] NEW", type=click.Path(path_type=Path))
@NOW
def compare(plans: Sequence[Path], now: str | None) -> None:
    """Say in plain words what the plan NEW changes against OLD, before anyone sends it.

    First what is to be thought of, then what the plan says differently, then dose by dose and flush by flush. What was recorded beside OLD is taken
    into account. Writes nothing. Without OLD: the plan in use on this computer, or, where NEW is that already, the
    revision that was in use before it.
    """
    from reminders.views.compare import compare_plans

    if not plans:
        raise click.UsageError("Missing argument 'NEW'.")
    if len(plans) > 2:
        raise click.UsageError(f"Got unexpected extra argument ({plans[2]})")
    new = _readable(plans[-1], now)
    old, record, earlier = _in_use_before(new, now) if len(plans) == 1 else _as_it_lies(plans[0], now)
    comparison = compare_plans(old, new, record, moment_of(now), earlier)
    click.echo(comparison.text, nl=False, err=comparison.refused)
    if comparison.refused:
        sys.exit(FAILED)


def _readable(path: Path, now: str | None) -> Reading:
    result = examined(path, now)
    if result.plan is None:
        print_errors(path, result)
    return read_plan(path.name, read_file(path))


def _as_it_lies(path: Path, now: str | None) -> tuple[Reading, Record, Sequence[Plan]]:
    """Return a plan's file, the record beside it, and the revisions that were in use before."""
    from reminders.household import recorded
    from reminders.record.store import RecordError

    reading = _readable(path, now)
    assert reading.plan is not None, "a plan without errors was read"
    try:
        record, used = recorded(path, reading.plan)
    except RecordError as error:
        fail(str(error))
    return reading, record, [plan for number, plan in sorted(used.items()) if number < reading.plan.course.revision]


def _in_use_before(new: Reading, now: str | None) -> tuple[Reading, Record, Sequence[Plan]]:
    """Return the plan in use, its record and the revisions before it; of ``new`` itself, what was in use before it."""
    household = opened(plan_in_use(), now)
    if new.plan != household.plan or not household.earlier:
        return read_plan("the plan in use", household.text.encode()), household.record, household.earlier
    from reminders.household import text_in_use_before

    text = text_in_use_before(household)
    return read_plan("the plan in use before", text.encode()), household.record, household.earlier[:-1]


@click.command()
@PLAN
@FROM
@TO
@click.option("--steps", is_flag=True, help="Add what to lay out and every step.")
@NOW
def agenda(plan: Path, first: date | None, last: date | None, steps: bool, now: str | None) -> None:
    """Print some days of PLAN, lumen by lumen: what was recorded, and what is planned.

    Without --from and --to: today and the two days after it, or the plan's first three days if it has not begun.
    Days on which the clocks change are marked. --steps adds what to lay out and what to do,
    step by step, with the orders' notes: print that one.
    """
    from reminders.views.agenda import agenda as agenda_text
    from reminders.views.agenda import plain

    _household, schedule = seen(plan, now)
    today = schedule.plan.clock.local(max(schedule.start, moment_of(now))).date()
    first = first or (min(today, last) if last else today)
    last = last or first + timedelta(days=2)
    days_in_order(first, last)
    paint = (lambda text, role: click.style(text, **COLOURS[role])) if sys.stdout.isatty() else plain
    click.echo(agenda_text(schedule, first, last, moment_of(now), steps=steps, paint=paint), nl=False)


@click.command(name="new-id")
def new_id() -> None:
    """Print a new random id for a plan.

    Every plan has its own; copy what is printed into  id = "..."  under [plan].
    """
    click.echo(str(uuid.uuid4()))


@click.command()
@PLAN
@FROM
@TO
@NOW
def supplies(plan: Path, first: date | None, last: date | None, now: str | None) -> None:
    """Count what PLAN uses up from one day to another, and say what is left in stock.

    Counted from the same steps that stand in the calendar. Without --from and --to: the whole plan. Where the plan keeps
    stock: what is left of each item, when it runs out, and the last day to order. Say what came and what you counted with
    reminders record delivered 40 saline syringe , and  counted 12 saline syringe .
    """
    from reminders.publishing import OutsideError, days_within
    from reminders.schedule.stock import stock
    from reminders.views.stock_text import stock_text

    if first is not None and last is not None:
        days_in_order(first, last)
    household, schedule = seen(plan, now)
    try:
        begin, end = days_within(schedule, first, last)
    except OutsideError as error:
        fail(str(error))
    clock = schedule.plan.clock
    days = f"{words.moment_words(clock.local(begin))} to {words.moment_words(clock.local(end))}"
    click.echo(f"Supplies from {days}, as planned; nothing is added for breakage or early changes:")
    items = count_supplies(schedule, begin, None if last is None else end)
    for item, count in sorted(items.items()):
        click.echo(f"  {count:>5}  {item}")
    if not items:
        click.echo("  nothing")
    for line in words.as_needed_lines(schedule.revision):
        click.echo(f"Not counted. {line}")
    kept = stock_text(stock(schedule, household.record, moment_of(now)), schedule.plan, moment_of(now))
    if kept:
        click.echo("\n" + "\n".join(kept))
