"""Commands about where things live: put a plan in use on this computer, and show the folders."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reminders import words
from reminders.commands.shared import NO_PLAN, NOW, fail, moment_of, opened_as_it_lies, print_calendars
from reminders.files import FileError, private_file, private_folder
from reminders.findings import Severity
from reminders.places import command_for, id_in_use, is_in_use, places
from reminders.record.facts import Fact, Kind
from reminders.record.store import record_path
from reminders.times import Instant

if TYPE_CHECKING:  # the record's store is loaded only by the commands that open it
    from reminders.household import Household


@dataclass(frozen=True, slots=True)
class _Adopted:
    """A plan that was put in use: the household as it is now, and the facts that are new in its record."""

    household: Household
    added: tuple[Fact, ...]


@click.command()
@click.argument("plan", metavar="PLAN", type=click.Path(path_type=Path))
@click.option("--instead", is_flag=True, help="Put it in use instead of another plan. The record of that one is kept.")
@NOW
def use(plan: Path, instead: bool, now: str | None) -> None:
    """Put PLAN in use on this computer: then no command needs its name.

    Do it once with the file that the nurse has sent, and again with each new revision. It is checked and copied into this
    program's own folder, and what was recorded beside it is taken over. See what a new revision changes with  reminders
    compare PLAN  first. Where everything is kept is shown by  reminders where .
    """
    from reminders.household import NotInUseError, UnusablePlanError
    from reminders.record.store import RecordError
    from reminders.reporting import calendars_again

    when = moment_of(now)
    offered = opened_as_it_lies(plan, now)
    another = places().plan.exists() and id_in_use() != offered.plan.course.id
    if another and not instead:
        fail(
            f"Another plan is in use on this computer: {_which()}. Nothing was changed. To put {plan.name} in use instead, add "
            "--instead ; the record of the other one is kept."
        )
    try:
        adopted = _adopt(offered, when)
    except (FileError, RecordError, NotInUseError, UnusablePlanError) as error:
        fail(f"{error} Nothing was changed.")
    except OSError as error:
        fail(f'"{places().data}" cannot be written: {error.strerror}. Nothing was changed.')
    _say_what_is_in_use(offered, adopted)
    if another:
        click.echo(
            "The plan that was in use before is not any more; its record is kept. If  reminders run  is running for it, it goes on "
            "with this one within seconds, by itself."
        )
    if adopted.added:
        print_calendars(*calendars_again(adopted.household, when)[1:])
    click.echo("From now on no command needs the plan's name; try  reminders due .")


def _which() -> str:
    """Say which plan is in use; it may be one that cannot be read."""
    from reminders.plan.read import read_plan

    try:
        plan = read_plan(places().plan.name, places().plan.read_bytes()).plan
    except OSError:
        plan = None
    if plan is None:
        return f"{places().plan}, which cannot be read"
    start = words.moment_words(plan.clock.local(plan.course.start.instant))
    return f'"{plan.calendar.name}", revision {plan.course.revision}, which begins {start}'


def _adopt(offered: Household, now: Instant) -> _Adopted:
    """Copy a plan to its place, and take over what is recorded beside it: both, or neither.

    The copy is looked at beside its place first, with the record that is there: it may be older than what is in use.
    The plan comes before its record, because a later revision that is not in use yet does no harm.
    """
    from reminders.household import NotInUseError, add_facts, open_household, put_in_use

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
        copy.replace(place)
        try:
            household, added = add_facts(open_household(place, now), facts, now)
        except BaseException:  # an interrupt too leaves both, or neither
            if before is None:
                place.unlink()
            else:
                before.replace(place)
            raise
    return _Adopted(household, added)


def _say_what_is_in_use(offered: Household, adopted: _Adopted) -> None:
    household, plan = adopted.household, offered.path
    course = household.plan.course
    moment = words.moment_words(household.plan.clock.local(course.takes_effect.instant))
    begun = any(fact.kind is Kind.IN_USE for fact in adopted.added)
    click.echo(f"Revision {course.revision} is in use{'' if begun else ' already'}, from {moment} on.")
    click.echo(f"It is kept, with its record, in {household.path.parent} .")
    if not is_in_use(plan):
        click.echo(f"{plan.name} itself is not used any more.")
    warnings = [finding for finding in household.examination.findings if finding.severity is Severity.WARNING]
    if warnings:
        many = "1 warning" if len(warnings) == 1 else f"{len(warnings)} warnings"
        click.echo(f"The plan has {many}; read with  reminders check .")
    if begun and household.earlier:
        click.echo(f"What it changes:  {command_for('compare', plan)}")
    if offered.record.facts and offered.store_path.resolve() != household.store_path.resolve():
        known = {fact.key for fact in offered.record.facts}
        taken = sum(fact.key in known for fact in adopted.added)
        click.echo(
            f"{taken} facts were taken over from the record beside {plan.name}. That record is not used any more: "
            f"{offered.store_path}"
        )


@click.command()
def where() -> None:
    """Show where this program keeps things on this computer, and what of it is there. Nothing secret is shown."""
    found, plan_id = places(), None
    if found.plan.exists():
        plan_id = id_in_use()
        click.echo(f"In use: {_which()}\n")
    else:
        click.echo(f"{NO_PLAN}\n")
    _row("the plan in use", found.plan)
    if plan_id is not None:
        record = record_path(found.plan, plan_id)
        _row("its record", record)
        _row("calendar for phones", found.feed_of(plan_id))
        _row("secret addresses", found.secrets_of(plan_id))
        _row("what was raised", found.journal_of(plan_id))
        _row("the daemon's log", found.log_of(plan_id))
        for path in sorted(found.data.glob("record-*.sqlite3")):
            if path != record:
                _row("another plan's record", path)
    else:
        _row("records", found.data)
        _row("secret addresses", found.secrets)
        _row("what was raised", found.state)
        _row("the daemon's log", found.log)
    click.echo("\nTo keep a copy of all that is recorded:  reminders export --out FILE")


def _row(what: str, path: Path) -> None:
    click.echo(f"{what:<22} {path}{'' if path.exists() else '   (not there yet)'}")
