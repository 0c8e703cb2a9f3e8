"""Commands about phones: which subscribe to the calendar, and calendars that something else carries to them."""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reminders import words
from reminders.commands.shared import (
    NOW,
    PLAN,
    fail,
    moment_of,
    names_a_plan,
    opened,
    plan_in_use,
    says_without_plan,
)
from reminders.files import FileError
from reminders.places import command_for, places, stem_for
from reminders.plan.model import Reveals

if TYPE_CHECKING:  # loaded by the commands that need them
    from reminders.household import Household
    from reminders.phones import Phone, Phones


@click.command(
    epilog="""WHAT is one of: list; add NAME; show NAME; remove NAME; test [soon|hour|tomorrow]. Without it: list."""
)
@click.argument("what", nargs=-1, metavar="[PLAN] [WHAT]...")
@NOW
@says_without_plan
def phones(what: Sequence[str], now: str | None) -> None:
    """Say which phones subscribe to the calendar, add or remove one, or ring a test alarm.

    \b
    reminders phones                      the phones, and when each asked last
    reminders phones add "Ana's phone"    an address of its own, and a code for its camera
    reminders phones show "Ana's phone"   the same again
    reminders phones remove "Ana's phone" its address then leads nowhere
    reminders phones test                 an alarm titled TEST, in about ten minutes

    Phones reach this computer only while  reminders run --lan  is running. A phone's calendar is a copy that follows later; it
    is not the alarm to rely on.
    """
    plan, said = (Path(what[0]), what[1:]) if what and names_a_plan(what[0]) else (plan_in_use(), what)
    todo, rest = (said[0], " ".join(said[1:])) if said else ("list", "")
    wants_name = {"add": True, "show": True, "remove": True, "list": False}
    if todo == "test":
        from reminders.publishing import TESTS

        if rest not in ("", *TESTS):
            raise click.UsageError(f"When is the test to ring? One of: {', '.join(TESTS)}.")
    elif todo not in wants_name or wants_name[todo] is not bool(rest):
        raise click.UsageError("Say one of: list, add NAME, show NAME, remove NAME, test.")
    household = opened(plan, now, writes=todo == "test")
    if todo == "test":
        _test(household, now, TESTS[rest or "soon"])
        return
    from reminders.phones import Phones, PhonesError

    clock = _clock(now)
    try:
        known = Phones(places().secrets_of(household.plan.course.id), clock)
        if todo == "list":
            _list(household, known, clock())
        elif todo == "add":
            _show(household, known.add(rest))
        elif todo == "show":
            _show(household, known.named(rest))
        else:
            gone = known.revoke(rest)
            click.echo(
                f"Removed {gone.name}. Its address leads nowhere from now on; what the phone has, it keeps: delete it there."
            )
    except PhonesError as error:
        fail(str(error))


def _clock(now: str | None) -> Callable[[], float]:
    if now is None:
        return time.time
    at = moment_of(now) * 60.0
    return lambda: at


def _list(household: Household, known: Phones, now: float) -> None:
    from reminders import phone_words

    phones = known.all()
    for phone in phones:
        click.echo(f"{phone.name}: {phone_words.asked_words(phone, now)}.")
        if phone_words.silent(phone, household.plan, now):
            click.echo(f"  {phone_words.silent_words(phone)}")
    if not phones:
        click.echo(f"No phone yet. Add one with  {command_for('phones', household.path, 'add NAME')} .")
    _feeds(household)
    click.echo(phone_words.MIRROR)


def _feeds(household: Household) -> Sequence[str]:
    """Return where phones reach the daemon, or reached it when it ran last; and say so if they do not reach it now."""
    from reminders import phone_words
    from reminders.daemon.life import read_life, runs

    plan_id = household.plan.course.id
    life = read_life(places().life_of(plan_id))
    feeds = () if life is None else life.feeds
    alive = runs(places().lock_of(plan_id))
    if not alive:
        click.echo(phone_words.NOTHING_RUNS)
    elif not feeds:
        click.echo(phone_words.NOT_REACHABLE)
    if not feeds:
        click.echo(phone_words.WHAT_LAN_MEANS)
    return feeds


def _show(household: Household, phone: Phone) -> None:
    """Print a phone's address, and the code that its camera reads."""
    import segno

    from reminders import phone_words
    from reminders.publishing import FEED_NAME

    feeds = _feeds(household)
    if not feeds:
        click.echo(
            f"{phone.name} has an address of its own now. Once phones reach this computer, see it with  ", nl=False
        )
        click.echo(f"{command_for('phones', household.path, 'show NAME')} .")
        return
    for number, begin in enumerate(feeds):
        address = f"{begin}{phone.token}/{FEED_NAME}"
        if number == 0:
            code = io.StringIO()
            segno.make(phone_words.webcal(address), error="m", micro=False).terminal(out=code, border=4, compact=True)
            click.echo(f"Point the camera of {phone.name} at this code, and choose to subscribe:\n")
            click.echo(code.getvalue())
            click.echo(f"Or subscribe to this address:\n  {address}")
        else:
            click.echo(
                f"If the phone does not find it, to this one; it holds while this computer's address does:\n  {address}"
            )
    click.echo(phone_words.WHO_HAS_IT)
    click.echo(phone_words.REACHABLE)
    if not feeds[0].startswith("https:"):
        click.echo(phone_words.UNENCRYPTED)
    click.echo(
        "What each kind of phone does with it stands on the reminder page, under Phones. Then try it:  reminders phones test"
    )


def _test(household: Household, now: str | None, minutes: int) -> None:
    from reminders import phone_words
    from reminders.household import NotInUseError
    from reminders.publishing import publish_feed, test_at
    from reminders.record.store import RecordError

    when = moment_of(now)
    at = test_at(when, minutes)
    try:
        publish_feed(household, places().feed_of(household.plan.course.id), when, at)
    except (FileError, RecordError, NotInUseError) as error:
        fail(str(error))
    for line in phone_words.test_asked_words(household.plan, at):
        click.echo(line)


@click.command()
@PLAN
@click.option(
    "--to",
    required=True,
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="The folder that something else carries to phones; made if new.",
)
@NOW
def publish(plan: Path, to: Path, now: str | None) -> None:
    """Write the calendar of PLAN into a folder that is synced or served in the web, and keep it current there.

    From then on it is written again after each report, and each day while  reminders run  is running. Delete the file to
    end that.
    """
    from reminders.household import NotInUseError
    from reminders.publishing import Kept, Wanted
    from reminders.publishing import publish as publish_calendar
    from reminders.record.store import RecordError

    household = opened(plan, now, writes=True)
    try:
        household, written = publish_calendar(household, Wanted(to, stem_for(plan), kept=Kept.FOLDER), moment_of(now))
    except (FileError, RecordError, NotInUseError) as error:
        fail(str(error))
    from reminders import phone_words

    for entry in written:
        clock = household.plan.clock
        click.echo(
            f"Wrote {entry.place}: {entry.calendar.events} events, up to "
            f"{words.moment_words(clock.local(entry.calendar.until))}. It is kept current from now on."
        )
        click.echo(
            f"Subscribe phones to the address at which {entry.place.name} is found there; opened as a file it becomes a copy that "
            "never changes. Everybody who can see that folder can see the calendar."
        )
    if household.plan.calendar.reveals is not Reveals.NOTHING:
        click.echo(
            'It names what is given. A plan that says  reveals = "nothing at all"  under [calendar] publishes times alone.'
        )
    click.echo(phone_words.MIRROR)
