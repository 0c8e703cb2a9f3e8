"""Show a pop-up, in bounded time and without ever failing otherwise than by saying so.

Each is handed to a helper process of its own (``reminders.popups.helper``). That contains a service that hangs, and after
a new login the next helper finds the new session by itself. What is shown goes by a pipe, never by arguments or environment.
"""

import asyncio
import json
import subprocess
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from reminders.popups.fault_words import fault_words, way_words
from reminders.popups.popup import Fault, Outcome, PopUp, way_of
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

HELPER = (sys.executable, "-m", "reminders.popups.helper")
"""How the helper is started."""

AT_ONCE = 4
"""Helpers that work at one time; more pop-ups than that wait their turn, within their own time."""

KEPT = 4
"""Helpers that stay for a click at one time; the oldest goes first. Each takes about 15 MB."""

if sys.platform == "win32":
    _FLAGS = subprocess.CREATE_NO_WINDOW  # no black window flashes up
else:
    _FLAGS = 0
_MARGIN = 0.25  # seconds, of a pop-up's time, for ending its helper
_HOME = Path(__file__).resolve().parent.parent.parent  # where the package is found, whatever the working directory


class _Helpers:
    """The helpers of one event loop."""

    def __init__(self) -> None:
        self.turns = asyncio.Semaphore(AT_ONCE)
        self.staying: dict[Process, asyncio.Task[int]] = {}
        self._ending: set[asyncio.Task[int]] = set()

    async def asked(self, request: Mapping[str, object], end: float) -> dict[str, Any]:
        """Have a helper do what is asked, until ``end`` of the loop's clock, and return its answer."""
        left = end - asyncio.get_running_loop().time()
        line = json.dumps({**request, "seconds": left * 0.8}).encode("ascii") + b"\n"
        process = await asyncio.create_subprocess_exec(
            *HELPER,
            stdin=PIPE,
            stdout=PIPE,
            stderr=DEVNULL,
            cwd=_HOME,
            creationflags=_FLAGS,
        )
        stays = False
        try:
            assert process.stdin is not None
            assert process.stdout is not None
            process.stdin.write(line)
            with suppress(ConnectionError):  # it has ended already: then it has not answered either
                await process.stdin.drain()
            answer: dict[str, Any] = json.loads(await process.stdout.readline() or b"{}")
            stays = bool(answer.get("stays"))
        finally:
            if stays:
                self._keep(process)
            else:
                await self.ended(process)
        if not answer:
            return {"fault": Fault.HELPER, "detail": str(process.returncode)}
        return answer

    def _keep(self, process: Process) -> None:
        self.staying[process] = asyncio.create_task(process.wait())
        self.staying[process].add_done_callback(lambda _done: self.staying.pop(process, None))
        while len(self.staying) > KEPT:
            oldest = next(iter(self.staying))
            self.staying.pop(oldest)
            ending = asyncio.create_task(self.ended(oldest))
            self._ending.add(ending)
            ending.add_done_callback(self._ending.discard)

    async def ended(self, process: Process) -> int:
        """End a helper, at once where nothing is left behind by that."""
        assert process.stdin is not None
        process.stdin.close()
        waiting = asyncio.create_task(process.wait())
        self._ending.add(waiting)
        waiting.add_done_callback(self._ending.discard)
        if sys.platform == "win32":  # one that is killed leaves its icon in the task bar
            await asyncio.wait({waiting}, timeout=1)
        with suppress(ProcessLookupError):
            process.kill()
        await asyncio.wait({waiting}, timeout=_MARGIN)
        return process.returncode if process.returncode is not None else 1

    async def all_ended(self) -> None:
        """End the helpers that stay, and see to the end of those that are ending."""
        staying = list(self.staying)
        self.staying.clear()
        await asyncio.gather(*(self.ended(process) for process in staying), *self._ending)


_of_loop: WeakKeyDictionary[asyncio.AbstractEventLoop, _Helpers] = WeakKeyDictionary()


async def show(popup: PopUp, *, timeout: float = 8.0) -> Outcome:
    """Show a pop-up and say what became of it, within ``timeout`` seconds. Raises nothing, but can be cancelled.

    That it was shown means that the computer accepted it. While "do not disturb" is on, it may accept and show nothing.
    """
    return await _outcome(
        {
            "do": "show",
            "title": popup.title,
            "body": popup.body,
            "urgent": popup.urgent,
            "opens": popup.opens,
            "label": _("Open"),
            "apology": _("The page could not be opened. Its address:"),
        },
        timeout,
    )


async def able(*, timeout: float = 8.0) -> Outcome:
    """Say whether pop-ups can be shown here, within ``timeout`` seconds, without showing one. Raises nothing."""
    return await _outcome({"do": "able", "opens": "", "label": "", "apology": ""}, timeout)


async def stop() -> None:
    """End all helpers of this event loop that stay for a click; call it before the loop ends."""
    helpers = _of_loop.get(asyncio.get_running_loop())
    if helpers is not None:
        await helpers.all_ended()


async def _outcome(request: Mapping[str, object], timeout: float) -> Outcome:
    loop = asyncio.get_running_loop()
    helpers = _of_loop.setdefault(loop, _Helpers())
    end = loop.time() + timeout - _MARGIN
    answer: dict[str, Any]
    try:
        async with asyncio.timeout_at(end), helpers.turns:
            answer = await helpers.asked(request, end)
        fault, detail = answer["fault"] and Fault(answer["fault"]), str(answer["detail"])
    except TimeoutError:
        answer, fault, detail = {}, Fault.NO_ANSWER, ""
    except Exception as error:  # no process to be had, or an answer that is none: told, whatever it is
        answer, fault, detail = {}, Fault.HELPER, type(error).__name__
    way = way_words(way_of(sys.platform), str(answer.get("served_by", "")))
    return Outcome(shown=not fault, way=way, why=fault_words(fault, detail) if fault else "")
