"""Pop-ups on Windows, by plyer's own back-end. Not run on Windows so far: only against a stand-in of that back-end.

What it lacks is added here: texts of a length that Windows takes, and notice of an error in the thread that it starts.
"""

import ctypes
import threading
import time
from importlib import import_module

from plyer.facades import Notification

from reminders.popups.popup import Fault, NotShownError
from reminders.popups.texts import clipped

TITLE_UNITS, BODY_UNITS, NAME_UNITS = 63, 255, 127
"""The longest texts that Windows takes, in UTF-16 units: the fields of NOTIFYICONDATAW, less the NUL at their end."""

STAYS = 60.0
"""For how many seconds the icon in the tray is kept: the pop-up goes when it goes."""


class WindowsTray(Notification):  # type: ignore[misc]  # plyer has no types
    """The notification area of the task bar. It knows no urgency, and plyer notices no click."""

    served_by = ""

    def __init__(self, seconds: float) -> None:
        self._deadline = time.monotonic() + seconds
        self.stays = False

    def able(self) -> None:
        """Raise NotShownError unless there is a task bar. Shows nothing."""
        self._back_end()
        if not ctypes.windll.user32.FindWindowW("Shell_TrayWnd", None):  # type: ignore[attr-defined,unused-ignore]
            raise NotShownError(Fault.NO_TRAY)

    def _notify(self, *, title: str, message: str, app_name: str, **_others: object) -> None:
        back_end, failures = self._back_end(), []
        before, hook = set(threading.enumerate()), threading.excepthook
        threading.excepthook = lambda failed: failures.append(type(failed.exc_value).__name__)
        try:
            back_end.notify(  # type: ignore[attr-defined]
                title=clipped(title, TITLE_UNITS),
                message=clipped(message or title, BODY_UNITS),  # Windows shows nothing where there is no body
                app_name=clipped(app_name, NAME_UNITS),
                timeout=0,  # plyer's thread then ends as soon as Windows has answered
            )
            for thread in set(threading.enumerate()) - before:
                thread.join(max(0.0, self._deadline - time.monotonic()))
                if thread.is_alive():
                    raise NotShownError(Fault.NO_ANSWER)
        finally:
            threading.excepthook = hook
        if failures:
            raise NotShownError(Fault.TRAY_FAILED, failures[0])
        self.stays = True

    def stay(self, gone: threading.Event) -> None:
        """Keep the icon, and with it the pop-up, for a minute, or until ``gone``; it is taken away as the process ends."""
        gone.wait(STAYS)

    def _back_end(self) -> object:
        try:
            return import_module("plyer.platforms.win.notification").instance()
        except (ImportError, AttributeError) as error:
            raise NotShownError(Fault.NO_TRAY, type(error).__name__) from None
