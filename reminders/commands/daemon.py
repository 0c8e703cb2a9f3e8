"""Commands about the daemon: run, status, page."""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from reminders.commands.shared import NOW, PLAN, fail, moment_of, opened
from reminders.places import command_for, places
from reminders.times import Instant
from reminders.units import span
from reminders.words import moment_words

if TYPE_CHECKING:
    from reminders.household import Household

RUNS_ALREADY = 3
"""The exit status of a second daemon; a service manager need not try again."""

FOLLOWING = 12 * 60
"""Minutes ahead of which the status tells what comes next."""


@click.command()
@PLAN
@click.option("--port", type=click.IntRange(1, 65535), default=None, help="Another port than 4870 for page and feed.")
@click.option(
    "--lan",
    is_flag=True,
    help="Let phones on the home network fetch the calendar. Without --certificate everybody on that network can read along.",
)
@click.option("--page-on-lan", is_flag=True, help="With --lan: let them open the page too, and report on it.")
@click.option("--certificate", type=click.Path(path_type=Path), help="With --lan: the file of a TLS certificate.")
@click.option("--key", type=click.Path(path_type=Path), help="The file of its key.")
@click.option(
    "--name", "names", multiple=True, metavar="NAME", help="With --lan: a name of this computer, as in its certificate."
)
def run(
    plan: Path,
    port: int | None,
    lan: bool,
    page_on_lan: bool,
    certificate: Path | None,
    key: Path | None,
    names: tuple[str, ...],
) -> None:
    """Remind the household: pop-ups on this computer, the page to say what happened, the calendar for phones.

    Runs until it is stopped (Ctrl+C). It must run, on a computer that is awake, to remind anybody: nothing wakes a computer that
    sleeps; what came due meanwhile is told when it wakes. Start it at login with  reminders at-login on .
    """
    if (certificate is None) != (key is None):
        raise click.UsageError("--certificate and --key belong together.")
    if (page_on_lan or certificate is not None or names) and not lan:
        raise click.UsageError("--page-on-lan, --certificate and --name say how --lan is done; add --lan.")
    listening = {"lan": lan, "page_on_lan": page_on_lan, "certificate": certificate, "key": key, "names": names}
    while _run_one(opened(plan, None, writes=True), port, **listening):
        click.echo("Another plan was put in use: going on with that one.")
    click.echo("Stopped. Nobody is reminded by this computer now.")


def _run_one(household: Household, port: int | None, **listening: Any) -> bool:
    """Run the daemon of one plan until it is stopped; return whether another plan was put in its place."""
    import asyncio

    from reminders.daemon.journal import JournalError
    from reminders.daemon.keeper import Keeper
    from reminders.daemon.life import RunsAlreadyError, only_one
    from reminders.daemon.log import begin_log, end_log
    from reminders.daemon.run import Daemon, Options
    from reminders.files import FileError
    from reminders.household import NotInUseError
    from reminders.phones import PhonesError
    from reminders.record.store import RecordError
    from reminders.web.server import DEFAULT_PORT, ListenError

    folders, plan_id = places(), household.plan.course.id
    try:
        lock = only_one(folders.lock_of(plan_id))
    except RunsAlreadyError:
        click.echo("Reminders runs for this plan already; see  reminders status . Nothing was started.", err=True)
        sys.exit(RUNS_ALREADY)
    except OSError as error:
        fail(f'"{folders.state}" cannot be written: {error.strerror}. Make it writable for you.')
    try:
        log = begin_log(folders.log_of(plan_id))
    except OSError as error:
        fail(f'"{folders.log}" cannot be written: {error.strerror}. Make it writable for you.')
    try:
        keeper = Keeper(household.path, time.time)
        daemon = Daemon(keeper, folders, Options(port=DEFAULT_PORT if port is None else port, **listening), click.echo)
        _greet(household, **listening)
        asyncio.run(daemon.run())
    except (JournalError, PhonesError, ListenError, FileError, RecordError, NotInUseError) as error:
        fail(str(error))
    finally:
        end_log(log)
        lock.release()
    return keeper.other_plan


def _greet(household: Household, *, lan: bool, page_on_lan: bool, certificate: Path | None, **_other: Any) -> None:
    course = household.plan.course
    click.echo(f"Reminders runs for {household.path.name}, revision {course.revision}. Stop it with Ctrl+C.")
    click.echo(f"Open the page with  {command_for('page', household.path)} .")
    if lan and certificate is None:
        what = "the calendar and the page" if page_on_lan else "the calendar"
        click.echo(
            f"--lan: whoever is on this network can read along when a phone fetches {what}, and with it the secret address. Use "
            "it in a network that you trust, or with a certificate."
        )


@click.command()
@PLAN
@NOW
def status(plan: Path, now: str | None) -> None:
    """Say whether the daemon of PLAN lives, what it raised, and why not.

    The exit status is 0 if it lives and can show pop-ups, else 1.
    """
    from reminders.daemon.journal import JournalError, latest
    from reminders.daemon.life import STALE, read_life, runs

    household = opened(plan, now)
    folders, plan_id = places(), household.plan.course.id
    life, alive = read_life(folders.life_of(plan_id)), runs(folders.lock_of(plan_id))
    well = alive
    present = time.time() if now is None else moment_of(now) * 60.0
    ticked = life.last_tick if life is not None else None
    ago = None if ticked is None else max(0.0, present - ticked)
    if not alive:
        click.echo("NOT RUNNING: nobody is reminded by this computer. Start it with  reminders run .")
        if ticked is not None:
            click.echo(f"It last looked {_moment(ticked, household)}.")
    elif ago is None or ago > STALE:
        well = False
        click.echo("STUCK: it runs and has not looked for a while. Stop it and start it again.")
    else:
        click.echo(f"It runs, and last looked {ago:.0f} s ago.")
    if life is not None and alive:
        for trouble in (life.pop_ups, *life.troubles):
            if trouble:
                well = False
                click.echo(f"TROUBLE: {trouble}")
    try:
        raised = latest(folders.journal_of(plan_id), 10)
    except JournalError as error:
        fail(str(error))
    click.echo("\nRaised last:" if raised else "\nNothing was raised yet.")
    for entry in raised:
        note = "" if entry.shown else f"  NOT SHOWN: {entry.why}"
        click.echo(f"  {_moment(entry.at, household)}  {entry.title}{note}")
    _what_comes(household, Instant(int(present // 60)))
    sys.exit(0 if well else 1)


def _what_comes(household: Household, now: Instant) -> None:
    """Say what is told next, as it looks now; and why something that is due is not told."""
    from reminders.reminding.outlook import following

    plan = household.plan
    click.echo("")
    schedule = household.schedule(now)
    coming = following(schedule, now, Instant(now + FOLLOWING))
    if not coming:
        click.echo(f"Nothing is to be told in the next {span(FOLLOWING)}.")
        return
    click.echo(f"To be told in the next {span(FOLLOWING)}, unless something is reported:")
    for moment, words in coming:
        click.echo(f"  {moment_words(plan.clock.local(moment))}  {words}")


def _moment(at: float, household: Household) -> str:
    local = datetime.fromtimestamp(at, UTC).astimezone(household.plan.clock.at(Instant(int(at // 60))))
    return moment_words(local)


@click.command()
@PLAN
@click.option(
    "--address", is_flag=True, help="Print the page's address instead of opening it. It is a secret: keep it."
)
def page(plan: Path, address: bool) -> None:
    """Open the page of PLAN in the browser."""
    import webbrowser

    from reminders.daemon.life import read_life, runs
    from reminders.phones import Phones, PhonesError

    household = opened(plan, None)
    folders, plan_id = places(), household.plan.course.id
    life = read_life(folders.life_of(plan_id))
    if life is None or not life.home or not runs(folders.lock_of(plan_id)):
        fail("The page is there while the daemon runs: start it with  reminders run .")
    if address:
        try:
            click.echo(f"{life.home}{Phones(folders.secrets_of(plan_id), time.time).secret}/")
        except PhonesError as error:
            fail(str(error))
        return
    # A browser's arguments can be read by other users of the computer, so it is handed an address that works once.
    if not webbrowser.open(f"{life.home}once/{life.once}"):
        fail("No browser could be opened. Print the address with  reminders page --address .")
    click.echo("The page opens in the browser.")
