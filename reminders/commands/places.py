"""Commands about where things live: put a plan in use on this computer, and show the folders."""

from __future__ import annotations

from pathlib import Path

import click

from reminders.commands.in_use import take_into_use
from reminders.commands.shared import NO_PLAN, NOW, fail, moment_of, opened_as_it_lies
from reminders.places import id_in_use, places
from reminders.record.store import record_path


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
    from reminders.adopting import which_is_in_use

    offered = opened_as_it_lies(plan, now)
    another = places().plan.exists() and id_in_use() != offered.plan.course.id
    if another and not instead:
        fail(
            f"Another plan is in use on this computer: {which_is_in_use()}. Nothing was changed. To put {plan.name} in use instead, add "
            "--instead ; the record of the other one is kept."
        )
    take_into_use(offered, moment_of(now), plan, another=another)


@click.command()
def where() -> None:
    """Show where this program keeps things on this computer, and what of it is there. Nothing secret is shown."""
    from reminders.adopting import which_is_in_use

    found, plan_id = places(), None
    if found.plan.exists():
        plan_id = id_in_use()
        click.echo(f"In use: {which_is_in_use()}\n")
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
