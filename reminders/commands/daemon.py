"""Commands about the daemon: run, status, page."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reminders.commands.shared import (
    FAILED,
    NOW,
    PLAN,
    check_listening,
    fail,
    listens,
    moment_of,
    opened,
    tell_apart,
    tell_waiting,
)
from reminders.files import FileError
from reminders.places import id_of, places
from reminders.times import Instant, minute_of
from reminders.units import span
from reminders.words import caution_lines, moment_words

if TYPE_CHECKING:
    from reminders.household import Household
    from reminders.web.server import Listening

FOLLOWING = 12 * 60
"""Minutes ahead of which the status tells what comes next."""


@click.command()
@PLAN
@listens
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
    check_listening(lan=lan, page_on_lan=page_on_lan, certificate=certificate, key=key, names=names)
    from reminders.web.server import DEFAULT_PORT, Listening

    listening = Listening(
        port=DEFAULT_PORT if port is None else port,
        lan=lan,
        page_on_lan=page_on_lan,
        certificate=certificate,
        key=key,
        names=names,
    )
    while _run_one(opened(plan, None, writes=True), listening):
        click.echo("Another plan was put in use: going on with that one.")
    click.echo("Stopped. Nobody is reminded by this computer now.")


def _run_one(household: Household, listening: Listening) -> bool:
    """Run the daemon of one plan until it is stopped; return whether another plan was put in its place."""
    import asyncio

    from reminders.daemon.journal import JournalError
    from reminders.daemon.keeper import Keeper
    from reminders.daemon.life import RUNS_ALREADY, RunsAlreadyError, only_one
    from reminders.daemon.log import begin_log, end_log
    from reminders.daemon.run import Daemon, not_started
    from reminders.household import NotInUseError
    from reminders.phones import PhonesError
    from reminders.record.store import RecordError
    from reminders.web.server import ListenError

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
        keeper = Keeper(household.path, time.time, household)
        daemon = Daemon(keeper, folders, listening, click.echo)
        asyncio.run(daemon.run())
    except (JournalError, PhonesError, ListenError, FileError, RecordError, NotInUseError) as error:
        not_started(folders.state, error)
        fail(str(error))
    finally:
        end_log(log)
        lock.release()
    return keeper.other_plan


@click.command()
@PLAN
@NOW
def status(plan: Path, now: str | None) -> None:
    """Say whether the daemon of PLAN lives, what it raised, and why not.

    Then what waits for an answer, when it is told again or why it is not, and what comes next. The exit status is 0 if it lives
    and can show pop-ups, else 1.
    """
    from reminders.daemon.journal import JournalError, Raised, latest
    from reminders.daemon.life import STALE, little_room, read_life, runs

    household = _gone_by(plan, now)
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
        if full := little_room(folders.state):
            click.echo(f"It runs, and cannot say since when it last looked. {full} Leave it running.")
        else:
            click.echo("STUCK: it runs and has not looked for a while. Stop it and start it again.")
        if life is not None:
            click.echo(f"Its process has the number {life.pid}.")
    else:
        click.echo(f"It runs, and last looked {ago:.0f} s ago.")
    if life is not None and alive:
        for trouble in (life.pop_ups, *life.troubles):
            if trouble:
                well = False
                click.echo(f"TROUBLE: {trouble}")
    raised: Sequence[Raised] = ()
    try:
        raised = latest(folders.journal_of(plan_id), 10)
        click.echo("\nRaised last:" if raised else "\nNothing was raised yet.")
    except JournalError as error:
        well = False
        click.echo(f"TROUBLE: {error}")
    for entry in raised:
        note = "" if entry.shown else f"  NOT SHOWN: {entry.why}"
        click.echo(f"  {_moment(entry.at, household)}  {entry.title}{note}")
    _what_waits(household, minute_of(present))
    _what_comes(household, minute_of(present))
    if not well:
        sys.exit(FAILED)


def _gone_by(plan: Path, now: str | None) -> Household:
    """Return what the daemon goes by: what is in use, whatever lies in the plan's file now."""
    from reminders.household import NotInUseError, UnusablePlanError, kept_in_record, open_in_use
    from reminders.record.store import RecordError

    try:
        try:
            found = open_in_use(plan, moment_of(now))
        except (FileError, UnusablePlanError, NotInUseError):
            plan_id = id_of(plan)
            kept = None if plan_id is None else kept_in_record(plan, plan_id, moment_of(now))
            found = kept or opened(plan, now)  # which says what is wrong with the file, and stops
    except RecordError as error:
        fail(str(error))
    tell_waiting(found)
    tell_apart(found)
    return found


def _what_waits(household: Household, now: Instant) -> None:
    """Say what waits for an answer, and when it is told again, or why it is not."""
    from reminders.views.told import open_lines

    lines = open_lines(household.schedule(now), now, household.record)
    click.echo(
        "\nWaiting for an answer, with when it was due to be told last:" if lines else "\nNothing waits for an answer."
    )
    for line in lines:
        click.echo(f"  {line}")
    if not household.plan.course.household_records:
        click.echo("This household does not record: each thing is told once, and nobody is asked whether it was done.")


def _what_comes(household: Household, now: Instant) -> None:
    """Say what is told next, as it looks now."""
    from reminders.reminding.outlook import following

    plan = household.plan
    click.echo("")
    schedule = household.schedule(now)
    coming = following(schedule, now, Instant(now + FOLLOWING), household.record)
    if not coming:
        click.echo(f"Nothing is to be told in the next {span(FOLLOWING)}.")
        return
    click.echo(f"To be told in the next {span(FOLLOWING)}, unless something is reported:")
    for moment, words in coming:
        click.echo(f"  {moment_words(plan.clock.local(moment))}  {words}")
    click.echo("\n" + "\n".join(caution_lines(plan)))  # whoever reads of a flush reads when to stop, and whom to call


def _moment(at: float, household: Household) -> str:
    local = datetime.fromtimestamp(at, UTC).astimezone(household.plan.clock.at(minute_of(at)))
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

    household = _gone_by(plan, None)
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
