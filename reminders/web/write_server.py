"""A plan written in the browser: a server for this one page, on this computer alone, which ends when the nurse is done."""

import asyncio
import contextlib
import signal
import socket
import time
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from reminders.daemon.once import Once
from reminders.files import FileError
from reminders.places import places
from reminders.web.guard import guarded, page_gate
from reminders.web.once import once_gate
from reminders.web.server import LOOPBACK, ListenError
from reminders.web.serving import Door, Serving
from reminders.web.write_desk import WriteDesk
from reminders.web.write_keep import Drafts, RunsAlreadyError
from reminders.web.write_page import write_routes
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

WAITS = 10.0
"""Seconds in which the browser may ask for the last page."""

LINGERS = 2.0
"""Seconds for which that is served, so that it comes whole."""


@dataclass(frozen=True, slots=True)
class Written:
    """What came of writing: the file that was saved, None if none was, and whether a draft is kept."""

    path: Path | None
    draft: bool


class BeingWrittenError(FileError):
    """Somebody else writes this plan at this computer now, or its draft cannot be kept; the text says what to do."""


def drafts_folder() -> Path:
    """Return the folder in which drafts are kept."""
    return places().state / "drafts"


def write_in_browser(
    path: Path | None,
    *,
    say: Callable[[str], None],
    now: Callable[[], float] = time.time,
    browse: Callable[[str], bool] = webbrowser.open,
) -> Written:
    """Let a person write a plan in the browser; return when they are done, or with Ctrl+C.

    ``path`` is the plan's file, which need not be there; without it the file is named when it is saved. ``say`` tells whoever
    started it, ``now`` gives seconds since 1970, ``browse`` opens an address in a browser and says whether it could.

    Raises:
        FileError: the file cannot be read.
        DraftError: it is no TOML; the error holds a finding for each breach.
        ListenError: this computer lets nobody listen.
        BeingWrittenError: the plan is being written elsewhere, or no draft can be kept.
    """
    drafts = Drafts(drafts_folder())
    desk = WriteDesk(path, drafts, now)
    try:
        lock = drafts.alone(desk.path)
    except RunsAlreadyError:
        raise BeingWrittenError(
            _("{name} is being written at this computer already. Go on in that window, or close it first.").format(
                name=desk.name
            )
        ) from None
    except OSError as error:
        raise BeingWrittenError(
            _('No draft can be kept in "{folder}": {why}. Make it writable for you.').format(
                folder=drafts_folder(), why=error.strerror or error
            )
        ) from None
    try:
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(_serve(desk, say, browse))
        return _told(desk, say)
    finally:
        lock.release()


async def _serve(desk: WriteDesk, say: Callable[[str], None], browse: Callable[[str], bool]) -> None:
    """Serve the page until it is done with, or a signal comes."""
    done, shown = asyncio.Event(), asyncio.Event()
    desk.ended, desk.shown = done.set, shown.set
    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):  # where the system has none
            loop.add_signal_handler(number, stop.set)
    once = Once(desk.now)
    bound = _bound()
    begins = f"http://{LOOPBACK}:{bound.getsockname()[1]}"
    desk.home = f"{begins}/{desk.secret}/"
    serving = Serving(guarded([once_gate(desk, once), page_gate(desk, write_routes(desk))], now=desk.now), bound)
    await serving.start()
    try:
        address = f"{begins}/once/{once.issue()}/"
        if await asyncio.to_thread(browse, address):
            say(_("The page opens in the browser. What is typed there is kept at once."))
        else:
            say(_("No browser could be opened. Open this address in one; it works once:"))
            say(f"  {address}")
        say(_("This ends when you save and close on the page, or with Ctrl+C here."))
        await asyncio.wait(
            {asyncio.create_task(done.wait()), asyncio.create_task(stop.wait())}, return_when=asyncio.FIRST_COMPLETED
        )
        if done.is_set() and not stop.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(shown.wait(), WAITS)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), LINGERS)
    finally:
        await serving.stop()


def _told(desk: WriteDesk, say: Callable[[str], None]) -> Written:
    kept = desk.draft_kept()
    if desk.saved is not None:
        say(_("Saved: {path}").format(path=desk.saved))
    elif not kept:
        say(_("Nothing was written."))
    return Written(desk.saved, kept)


def _bound() -> socket.socket:
    """Return a socket at any free port of this computer."""
    bound = Door(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # so that no other program can take it over
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        bound.bind((LOOPBACK, 0))
        bound.listen()
    except OSError as error:
        bound.close()
        raise ListenError(
            _(
                "This computer lets nobody listen for its own browser: {why}. Write the plan in the terminal instead."
            ).format(why=error.strerror or error)
        ) from None
    bound.setblocking(False)
    return bound
