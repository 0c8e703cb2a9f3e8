"""The helper process that shows one pop-up: ``python -m reminders.popups.helper``, started by ``reminders.popups.show``.

A request, one line of JSON, comes by the standard input; the answer, one line of JSON, goes to the standard output as soon
as it is known. Then the process may stay, to open a page on a click or to keep the pop-up alive. It ends at the latest
when its standard input is closed, so it never outlives the one that started it. It imports little: many may run.
"""

import json
import os
import sys
import time
from threading import Event, Thread
from typing import Any, Protocol

from reminders.popups.popup import APP_NAME, Fault, NotShownError, PopUp, Way, way_of
from reminders.popups.texts import clipped, lines_of, ready

REQUEST_BYTES = 1_000_000
"""More than any request can take."""


class _BackEnd(Protocol):
    """What the helper asks of a way to show pop-ups; ``notify`` is that of plyer's facade."""

    served_by: str

    @property
    def stays(self) -> bool: ...
    def able(self) -> None: ...
    def notify(self, *, title: str, message: str, app_name: str, timeout: float, hints: dict[str, int]) -> None: ...
    def stay(self, gone: Event) -> None: ...


def back_end(platform: str, request: dict[str, Any]) -> _BackEnd:
    """Return the way to show pop-ups on a system, by its name in ``sys.platform``.

    Raises NotShownError where there is none, and ImportError where a package is missing.
    """
    seconds = float(request["seconds"])
    found: _BackEnd
    match way_of(platform):
        case Way.SESSION_BUS:
            from reminders.popups.session_bus import SessionBus

            opens = request["opens"] if request["opens"].startswith(("http://", "https://")) else ""
            found = SessionBus(seconds, opens, request["label"], request["apology"])
        case Way.MAC_SCRIPT:
            from reminders.popups.mac_script import MacScript

            found = MacScript(seconds)
        case Way.WINDOWS_TRAY:
            from reminders.popups.windows_tray import WindowsTray

            found = WindowsTray(seconds)
        case Way.NONE:
            raise NotShownError(Fault.UNSUPPORTED, platform)
    return found


def answer_to(request: dict[str, Any], platform: str = sys.platform) -> tuple[dict[str, Any], _BackEnd | None]:
    """Do what a request asks for; return the answer, and the back-end if there is something to stay for."""
    way: _BackEnd | None = None
    fault, detail = "", ""
    try:
        way = back_end(platform, request)
        if request["do"] == "show":
            popup = ready(PopUp(request["title"], request["body"], request["urgent"]))
            way.notify(
                title=popup.title,
                message=popup.body,
                app_name=APP_NAME,
                timeout=0 if popup.urgent else -1,
                hints={"urgency": 2 if popup.urgent else 1},
            )
        else:
            way.able()
    except NotShownError as error:
        fault, detail = error.fault, error.detail
    except ImportError as error:
        fault, detail = Fault.MISSING, error.name or ""
    except Exception as error:  # whatever it is, it must be told, and its text may be personal
        fault, detail = Fault.HELPER, type(error).__name__
    stays = not fault and way is not None and way.stays
    served_by = clipped(" ".join(" ".join(lines_of(way.served_by)).split()), 60) if way else ""
    answer = {"shown": not fault, "fault": fault, "detail": detail, "served_by": served_by, "stays": stays}
    return answer, way if stays else None


def _apart(stream: int, mode: int) -> int:
    """Take a standard stream away from everybody else in this process and its children, and return it."""
    kept, nowhere = os.dup(stream), os.open(os.devnull, mode)
    os.dup2(nowhere, stream)
    os.close(nowhere)
    return kept


def _end_with(line: int, gone: Event) -> None:
    """Wait until the other end of ``line`` is closed; then end this process."""
    while os.read(line, 4096):
        pass
    gone.set()
    time.sleep(0.5)
    os._exit(0)


def main() -> None:
    """Answer one request, then stay as long as it needs."""
    asked, answered = _apart(0, os.O_RDONLY), _apart(1, os.O_WRONLY)
    line = b""
    while not line.endswith(b"\n") and len(line) < REQUEST_BYTES:
        more = os.read(asked, 65536)
        if not more:
            return
        line += more
    gone = Event()
    Thread(target=_end_with, args=(asked, gone), daemon=True).start()
    answer, way = answer_to(json.loads(line))
    os.write(answered, json.dumps(answer).encode("ascii") + b"\n")
    os.close(answered)
    if way is not None:
        way.stay(gone)


if __name__ == "__main__":
    main()
