"""What a person types and reads: each command, its options, what it prints, and its exit status.

No other module prints or asks what time it is.
"""

import io
import sys
import uuid
from datetime import UTC as UTC_ZONE
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, NoReturn

import click

from reminders import words
from reminders.examine import Examination, examine
from reminders.files import FileError, read_file, write_files
from reminders.findings import Finding, Severity
from reminders.plan.keys import DATE, MOMENT, UnreadableError
from reminders.plan.model import Reveals
from reminders.record.facts import EMPTY
from reminders.schedule.counts import supplies as count_supplies
from reminders.schedule.model import Schedule
from reminders.times import Instant, from_datetime
from reminders.views.findings_text import finding_text, tally
from reminders.zones import zone

# The calendar library takes longer to load than a plan to check, so views are imported by the commands that need them.

FAILED = 1
"""The exit status where a plan has errors or a file cannot be read or written; 2 is click's: a command misused."""

COLOURS: dict[str, dict[str, Any]] = {
    "day": {"bold": True},
    "lumen": {"underline": True},
    "night": {"fg": "magenta"},
    "change": {"fg": "yellow"},
}


class _Day(click.ParamType[date]):
    name = "day"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> date:
        try:
            found: date = DATE.read(value, None)
        except UnreadableError as error:
            self.fail(f"{error.problem}; write {error.expected}", param, ctx)
        return found


DAY = _Day()
PLAN = click.argument("plan", metavar="PLAN", type=click.Path(path_type=Path))
NOW = click.option(
    "--now",
    metavar="MOMENT",
    help='Work as if it were this moment, such as "2026-10-26 08:00+00:00". For trying things out.',
)
FROM = click.option("--from", "first", type=DAY, metavar="DAY", help="The first day, such as 2026-10-26.")
TO = click.option("--to", "last", type=DAY, metavar="DAY", help="The last day; it is included.")


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="reminders")
def main() -> None:
    """Turn a patient's infusion orders into a calendar of infusions and flushes.

    Write the orders into a plan file, check it, then compile it. The tool does arithmetic; it decides nothing that
    belongs to a prescriber, pharmacist or nurse, and the provider's own instructions come first.

    \b
    Begin with:   reminders check sample_plans/three-lumens.toml
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a letter shows a mark in its place
            stream.reconfigure(errors="replace")


@main.command()
@PLAN
@NOW
def check(plan: Path, now: str | None) -> None:
    """Say what is wrong or unusual in PLAN, and what it comes to.

    Prints every error, warning and note with its line and how to mend it, then a summary: sessions a day, sessions
    in the quiet hours, supplies of a week, daily totals. Writes nothing.
    """
    result = _examined(plan, now)
    for finding in result.findings:
        click.echo(_coloured(finding, finding_text(finding, result.source)) + "\n")
    click.echo(f"{plan.name}: {tally(result.findings)}.")
    if result.schedule is None:
        click.echo("Nothing can be made of this plan until its errors are mended.")
        sys.exit(FAILED)
    from reminders.views.summary import summary

    click.echo("\n" + summary(result.schedule, _now(now)), nl=False)


@main.command(name="compile")
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
@click.option("--per-lumen", is_flag=True, help="Write one calendar for each lumen instead of one for all.")
@NOW
def compile_(plan: Path, out: Path, first: date | None, last: date | None, per_lumen: bool, now: str | None) -> None:
    """Write the calendar (.ics) and the schedule (.json) of PLAN.

    Open the calendar in a phone's or computer's calendar program. Where a plan is longer than phones import in one
    file, the calendar ends earlier and says so; choose the days with --from and --to.
    """
    result = _examined(plan, now)
    schedule = _schedule(plan, result)
    for finding in result.findings:
        if finding.severity is Severity.WARNING:
            click.echo(_coloured(finding, finding_text(finding, result.source)) + "\n", err=True)
    from reminders.views.calendar import calendar_file
    from reminders.views.schedule_json import schedule_json

    begin, end = _range(schedule, first, last)
    lumens: list[str | None] = [None]
    if per_lumen:
        lumens = [name for name, lumen in schedule.plan.lumens.items() if lumen.in_use]
    calendars = {lumen: calendar_file(schedule, first=begin, last=end, lumen=lumen) for lumen in lumens}
    today = _range(schedule, schedule.plan.clock.local(_now(now)).date(), None, within=True)[0]
    if first is None and today > begin and any(calendar.left_out for calendar in calendars.values()):
        begin = today  # where not everything fits, what is past gives way
        calendars = {lumen: calendar_file(schedule, first=begin, last=end, lumen=lumen) for lumen in lumens}
    named = {_file_name(plan, schedule, lumen): calendar for lumen, calendar in calendars.items()}
    contents = {name: calendar.content for name, calendar in named.items()}
    contents[f"{plan.stem}.json"] = schedule_json(schedule, _now(now))
    if any((out / name).resolve() == plan.resolve() for name in contents):
        _fail(f'The plan itself, "{plan}", would be overwritten. Give it the ending .toml, or choose another --out.')
    try:
        write_files(out, contents)
    except FileError as error:
        _fail(str(error))
    clock = schedule.plan.clock
    for name, calendar in named.items():
        click.echo(
            f"Wrote {out / name}: {calendar.events} events, {len(calendar.content) / 1000:.0f} kB, from "
            f"{words.moment_words(clock.local(begin))} to {words.moment_words(clock.local(calendar.until))}."
        )
        if calendar.left_out:
            click.echo(
                f"  {calendar.left_out} later events are left out, because phones refuse larger files. Write the "
                f"calendar of the days that follow with --from {clock.local(calendar.until):%Y-%m-%d}."
            )
    click.echo(f"Wrote {out / f'{plan.stem}.json'}: {len(schedule.touches)} events.")
    if schedule.plan.calendar.reveals is not Reveals.EVERYTHING:
        click.echo(words.PRIVATE)
    click.echo(words.SNAPSHOT)


@main.command()
@PLAN
@FROM
@TO
@click.option("--steps", is_flag=True, help="Add what to lay out and every step.")
@NOW
def agenda(plan: Path, first: date | None, last: date | None, steps: bool, now: str | None) -> None:
    """Print some days of PLAN, lumen by lumen.

    Without --from and --to: today and the two days after it, or the plan's first three days if it has not begun.
    Days on which the clocks change are marked. --steps adds what to lay out and what to do,
    step by step, with the orders' notes: print that one.
    """
    from reminders.views.agenda import agenda as agenda_text
    from reminders.views.agenda import plain

    schedule = _schedule(plan, _examined(plan, now))
    today = schedule.plan.clock.local(max(schedule.start, _now(now))).date()
    first = first or (min(today, last) if last else today)
    last = last or first + timedelta(days=2)
    _in_order(first, last)
    paint = (lambda text, role: click.style(text, **COLOURS[role])) if sys.stdout.isatty() else plain
    click.echo(agenda_text(schedule, first, last, _now(now), steps=steps, paint=paint), nl=False)


@main.command(name="new-id")
def new_id() -> None:
    """Print a new random id for a plan.

    Every plan has its own; copy what is printed into  id = "..."  under [plan].
    """
    click.echo(str(uuid.uuid4()))


@main.command()
@PLAN
@FROM
@TO
@NOW
def supplies(plan: Path, first: date | None, last: date | None, now: str | None) -> None:
    """Count what PLAN uses up from one day to another.

    Counted from the same steps that stand in the calendar. Without --from and --to: the whole plan.
    """
    schedule = _schedule(plan, _examined(plan, now))
    begin, end = _range(schedule, first, last)
    clock = schedule.plan.clock
    days = f"{words.moment_words(clock.local(begin))} to {words.moment_words(clock.local(end))}"
    click.echo(f"Supplies from {days}, as planned; nothing is added for breakage or early changes:")
    items = count_supplies(schedule, begin, None if last is None else end)
    for item, count in sorted(items.items()):
        click.echo(f"  {count:>5}  {item}")
    if not items:
        click.echo("  nothing")
    for line in words.as_needed_lines(schedule.plan):
        click.echo(f"Not counted. {line}")


def _examined(plan: Path, now: str | None) -> Examination:
    try:
        content = read_file(plan)
    except FileError as error:
        _fail(str(error))
    return examine(plan.name, content, EMPTY, _now(now))


def _schedule(plan: Path, result: Examination) -> Schedule:
    """Return the schedule, or print the errors and stop."""
    if result.schedule is None:
        for finding in result.findings:
            if finding.severity is Severity.ERROR:
                click.echo(_coloured(finding, finding_text(finding, result.source)) + "\n", err=True)
        _fail(f"{plan.name}: {tally(result.findings)}. Nothing was written.")
    return result.schedule


def _range(
    schedule: Schedule, first: date | None, last: date | None, *, within: bool = False
) -> tuple[Instant, Instant]:
    """Return the instants at which the first day begins and the last one ends, within the schedule.

    Days that lie outside the schedule stop the command, unless ``within`` takes the schedule's start for them.
    """
    begin, end = schedule.start, schedule.end
    clock = schedule.plan.clock
    if first is not None:
        begin = max(begin, clock.day_starts(first, first)[0][1])
    if last is not None:
        following = last + timedelta(days=1)
        end = min(end, clock.day_starts(following, following)[0][1])
    if first is not None and last is not None:
        _in_order(first, last)
    if begin >= end and within:
        return schedule.start, schedule.end
    if begin >= end:
        shown = [words.moment_words(clock.local(edge)) for edge in (schedule.start, schedule.end)]
        _fail(f"These days lie outside the plan, which runs from {shown[0]} to {shown[1]}.")
    return begin, end


def _file_name(plan: Path, schedule: Schedule, lumen: str | None) -> str:
    """Name a calendar's file; one that is to tell nobody anything is not named after the plan or the lumen (R26)."""
    if schedule.plan.calendar.reveals is not Reveals.NOTHING:
        return f"{plan.stem}{'' if lumen is None else f'-{lumen}'}.ics"
    return f"calendar{'' if lumen is None else f'-{list(schedule.plan.lumens).index(lumen) + 1}'}.ics"


def _in_order(first: date, last: date) -> None:
    if last < first:
        raise click.UsageError(f"The last day ({last}) is before the first ({first}).")
    if (last - first).days > 400:
        raise click.UsageError("These are more than 400 days; choose fewer.")


def _now(text: str | None) -> Instant:
    if text is None:
        return from_datetime(datetime.now(UTC_ZONE))
    try:
        moment: Instant = MOMENT.read(text, zone("UTC")).instant
    except UnreadableError as error:
        raise click.BadParameter(f"{error.problem}; write {error.expected}", param_hint="--now") from None
    return moment


def _coloured(finding: Finding, text: str) -> str:
    heading, _, rest = text.partition("\n")
    colour = {Severity.ERROR: "red", Severity.WARNING: "yellow", Severity.NOTE: "cyan"}[finding.severity]
    return f"{click.style(heading, fg=colour, bold=True)}\n{rest}"


def _fail(message: str) -> NoReturn:
    click.echo(message, err=True)
    sys.exit(FAILED)
