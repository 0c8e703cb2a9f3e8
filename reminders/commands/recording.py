"""Commands about what really happened: record, undo, due, history, export, import."""

from __future__ import annotations

import sys
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import click

from reminders.commands.shared import (
    FROM,
    NOW,
    PLAN,
    TO,
    days_in_order,
    fail,
    moment_of,
    opened,
    opened_as_it_lies,
    plan_and_file,
    plan_and_words,
    print_calendars,
    says_without_plan,
    seen,
)
from reminders.files import FileError, read_file, write_files
from reminders.household import Household, NotInUseError, add_facts
from reminders.places import is_in_use, typed
from reminders.record.facts import Sign
from reminders.record.lines import ExportError, read_export
from reminders.record.lines import export as export_text
from reminders.record.store import RecordError
from reminders.reporting import Reported, calendars_again, one_line, report_to, take_back, use_revision
from reminders.saying.advice import first_words
from reminders.saying.phrases import PHRASES, NoReportError, NotUnderstoodError, Said, Verb, said
from reminders.saying.which import AskBackError, Choice
from reminders.schedule.whole_line import with_remark
from reminders.times import Instant

BY = click.option("--by", default="", metavar="NAME", help="Who reports it; first name or initials will do.")

WAYS = ", ".join(PHRASES)


@click.command(
    epilog="WHAT can be: "
    + WAYS
    + ". Then the order, lumen or care task that it is about, if more than one fits; and at the end the time: 9:40, 20 min ago, "
    "yesterday 21:15, 2026-10-26 09:40, or nothing for now."
)
@click.argument("what", nargs=-1, metavar="[PLAN] WHAT...")
@click.option("--at", default="", metavar="TIME", help="When it was, if not said at the end.")
@click.option("--order", default="", metavar="NAME", help="Which order it is about, if not said in words.")
@click.option("--lumen", default="", metavar="NAME", help="Which lumen it is about, if not said in words.")
@click.option("--dose", default="", metavar="KEY", help="Which dose it was, as a question back names it.")
@click.option("--item", default="", metavar="NAME", help="Which item of supply it is, as a question back names it.")
@click.option("--task", default="", metavar="NAME", help="Which care task it is, as a question back names it.")
@click.option("--event", default="", metavar="KEY", help="Which event it is, as a question back names it.")
@click.option("--again", is_flag=True, help="It really happened a second time.")
@click.option(
    "--last-flush", default="", metavar="TIME", help="With  home again : when the line was last flushed there."
)
@click.option("--said-by", default="", metavar="NAME", help="The clinician who ordered or released it.")
@click.option("--note", default="", metavar="TEXT", help="A remark for the nurse.")
@BY
@click.option("--key", default="", metavar="KEY", help="A name of this report; sent twice, it is one report.")
@NOW
@says_without_plan
def record(
    what: Sequence[str],
    at: str,
    order: str,
    lumen: str,
    dose: str,
    item: str,
    task: str,
    event: str,
    again: bool,
    last_flush: str,
    said_by: str,
    note: str,
    by: str,
    key: str,
    now: str | None,
) -> None:
    """Say what really happened, in a few words.

    \b
    reminders record started cefazolin 9:40
    reminders record finished and flushed
    reminders record flushed grey 20 min ago
    reminders record delayed cefazolin to 11:00
    reminders record not given cefazolin
    reminders record red will not flush
    reminders record stopped early after 60 mL for swelling
    reminders record in hospital yesterday 21:15
    reminders record done dressing 14:10
    reminders record put off dressing to tomorrow 10:00
    reminders record done

    The answer says what to do now, whom to call if need be, and what changed ahead. Calendars that were written before
    are written again. A mistake is taken back with  reminders undo .
    """
    when = moment_of(now)
    plan, what = plan_and_words(what)
    household = opened(plan, now, writes=True)
    try:
        told = said(what, household.plan)
    except NoReportError as error:
        fail(f"{error} Nothing was recorded.")
    except NotUnderstoodError as error:
        click.echo(str(error), err=True)
        fail(f"Nothing was recorded. {first_words(Sign.OTHER, household.plan)}")
    for name, known in ((order, household.plan.orders), (lumen, household.plan.lumens)):
        if name and name not in known:
            fail(f'"{name}" is none of {", ".join(known)}. Nothing was recorded.')
    told = replace(
        told,
        when=at or told.when,
        order=order or told.order,
        lumen=lumen or told.lumen,
        dose=dose,
        name=item or task or told.name,
        as_said=bool(item or task),
        event=event,
        again=again,
        last_flush=last_flush,
        said_by=one_line(said_by),
        note=with_remark(told.note, one_line(note)),
        by=one_line(by),
    )
    if told.verb is Verb.IN_USE:
        _put_in_use(opened_as_it_lies(plan, now) if household.waiting is not None else household, when)
        return
    _report(household, told, key or str(uuid.uuid4()), when)


def _report(household: Household, told: Said, key: str, now: Instant) -> None:
    while True:
        try:
            found = report_to(household, told, key, now)
            break
        except AskBackError as error:
            told = _ask(told, error)
        except (RecordError, NotInUseError) as error:
            fail(str(error))
    if not found.facts:
        click.echo("That is recorded already; nothing was added.")
        return
    for line in found.recorded:
        click.echo(f"Recorded: {line}")
    _told(found)


def _told(found: Reported) -> None:
    """Print the answer to a report, and which calendars follow it."""
    for line in found.answer:
        click.echo(line)
    print_calendars(found.calendars, found.troubles)


def _ask(told: Said, question: AskBackError) -> Said:
    """Ask a person at a terminal; anyone else is told what could be said instead, and nothing is recorded."""
    click.echo(question.problem, err=True)
    for number, choice in enumerate(question.choices, start=1):
        click.echo(f"  {number}. {choice.words}" + (f"   (add:  {choice.say} )" if choice.say else ""), err=True)
    offered = [choice for choice in question.choices if choice.changes or choice.settles]
    if not offered or not sys.stdin.isatty():
        fail("Nothing was recorded.")
    number = click.prompt("Which number? (0 to leave it)", type=click.IntRange(0, len(question.choices)), err=True)
    chosen: Choice | None = question.choices[number - 1] if number else None
    if chosen is not None and chosen.settles:
        click.echo("That is recorded already; nothing was added.")
        sys.exit(0)
    if chosen is None or not chosen.changes:
        fail("Nothing was recorded.")
    return replace(told, **chosen.changes)


def _put_in_use(household: Household, now: Instant) -> None:
    try:
        found = use_revision(household, now)
    except (RecordError, NotInUseError) as error:
        fail(str(error))
    if not found.facts:
        click.echo("That revision is in use already; nothing was added.")
        return
    for line in found.answer:
        click.echo(line)
    if household.earlier:
        old = "" if is_in_use(household.path) else "OLD "
        click.echo(f"What it changes:  reminders compare {old}{typed(household.path)}")
    print_calendars(found.calendars, found.troubles)


@click.command()
@PLAN
@BY
@NOW
def undo(plan: Path, by: str, now: str | None) -> None:
    """Take back the last report. Nothing is erased: the record says that it was withdrawn."""
    when = moment_of(now)
    household = opened(plan, now, writes=True)
    last = household.record.last_report
    if last is None:
        fail("Nothing is recorded that could be taken back.")
    try:
        found = take_back(household, last, one_line(by), when)
    except (RecordError, NotInUseError) as error:
        fail(str(error))
    for line in found.recorded:
        click.echo(f"Taken back: {line}")
    _told(found)


@click.command()
@PLAN
@NOW
def due(plan: Path, now: str | None) -> None:
    """Say what is due now in PLAN, lumen by lumen, what runs, and when each lumen was last flushed."""
    from reminders.schedule.stock import stock
    from reminders.schedule.whole_line import line_signs
    from reminders.views.due import due as due_text

    household, schedule = seen(plan, now)
    when, known = moment_of(now), household.record
    click.echo(due_text(schedule, when, line_signs(known, schedule), stock(schedule, known, when)), nl=False)


@click.command()
@PLAN
@FROM
@TO
@click.option("--csv", "form", flag_value="csv", help="As a table for a spreadsheet.")
@click.option("--json", "form", flag_value="json", help="For programs.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="Write it into a file instead.")
@NOW
def history(
    plan: Path, first: date | None, last: date | None, form: str | None, out: Path | None, now: str | None
) -> None:
    """Say what was planned in PLAN and what was recorded, for the nurse's next visit.

    What needs attention first: missed, unconfirmed, limits passed, problems; then dose by dose and lumen by lumen. Without
    --from and --to: from the plan's first day to today.
    """
    from reminders.views.history import history as history_of
    from reminders.views.history_files import history_csv, history_json
    from reminders.views.history_text import history_text

    when = moment_of(now)
    household, schedule = seen(plan, now)
    clock = schedule.plan.clock
    first = first or clock.local(schedule.start).date()
    last = last or max(first, clock.local(min(when, schedule.end)).date())
    days_in_order(first, last)
    found = history_of(schedule, household.record, first, last, when)
    content = {"csv": lambda: history_csv(found).encode(), "json": lambda: history_json(found)}.get(
        form or "", lambda: history_text(found).encode()
    )()
    if out is None:
        click.echo(content.decode(), nl=False)
        return
    _not_over(household, out)
    try:
        write_files(out.parent, {out.name: content})
    except FileError as error:
        fail(str(error))
    click.echo(f"Wrote {out}.")


@click.command()
@PLAN
@click.option("--out", required=True, metavar="FILE", type=click.Path(path_type=Path), help="The file to write.")
@NOW
def export(plan: Path, out: Path, now: str | None) -> None:
    """Write everything that is recorded of PLAN into a readable file (JSON lines), to keep or to move it."""
    household = opened(plan, now)
    _not_over(household, out)
    try:
        write_files(out.parent, {out.name: export_text(household.plan.course.id, household.record).encode()})
    except FileError as error:
        fail(str(error))
    click.echo(f"Wrote {out}: {len(household.record.facts)} facts.")


def _not_over(household: Household, out: Path) -> None:
    """Refuse to write over the plan or its record."""
    if out.resolve() in (household.path.resolve(), household.store_path.resolve()):
        fail(f'"{out}" is the plan or its record, and would be overwritten. Choose another --out.')


@click.command(name="import")
@click.argument("files", nargs=-1, metavar="[PLAN] FILE", type=click.Path(path_type=Path))
@NOW
@says_without_plan
def import_(files: Sequence[Path], now: str | None) -> None:
    """Read facts that were exported from PLAN's record elsewhere; what is there already stays once."""
    when = moment_of(now)
    plan, file = plan_and_file(files, "FILE")
    household = opened(plan, now, writes=True)
    try:
        text = read_file(file, whole=True).decode("utf-8")
        plan_id, facts = read_export(text)
    except (FileError, ExportError) as error:
        fail(str(error))
    except UnicodeDecodeError:
        fail(f'"{file}" is not text in UTF-8. Export it again.')
    if plan_id != household.plan.course.id:
        fail(f'"{file}" is the record of another plan ({plan_id}). Nothing was read.')
    try:
        household, added = add_facts(household, lambda _current: facts, when)
    except (RecordError, NotInUseError) as error:
        fail(str(error))
    click.echo(f"Read {len(facts)} facts; {len(added)} of them were new.")
    print_calendars(*calendars_again(household, when)[1:])
