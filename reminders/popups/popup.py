"""What a pop-up says, by which way it reaches the screen, and what became of it."""

from dataclasses import dataclass
from enum import StrEnum

APP_NAME = "Reminders"
"""The name under which the computer lists our pop-ups; also the title of one that has none."""


@dataclass(frozen=True, slots=True)
class PopUp:
    """A text to show. Control characters in it are left out, and very long texts are cut.

    ``opens`` is the http address that a click opens in the browser, where the system can do that; "" is none. A browser
    is handed it as an argument, which other users of the computer may read: put no lasting secret into it.
    """

    title: str
    body: str
    urgent: bool = False
    opens: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a pop-up. ``shown`` means that the computer accepted it, not that anybody saw it.

    ``way`` says in words through what it was shown or tried; ``why``, empty if it was shown, why it could not be and what
    to do about it.
    """

    shown: bool
    way: str
    why: str


class Way(StrEnum):
    """How pop-ups reach the screen on one kind of system."""

    SESSION_BUS = "session bus"
    MAC_SCRIPT = "mac script"
    WINDOWS_TRAY = "windows tray"
    NONE = "none"


def way_of(platform: str) -> Way:
    """Return the way for a system by its name in ``sys.platform``."""
    if platform == "darwin":
        return Way.MAC_SCRIPT
    if platform == "win32":
        return Way.WINDOWS_TRAY
    if platform.startswith(("linux", "freebsd", "openbsd", "netbsd", "dragonfly", "sunos")):
        return Way.SESSION_BUS
    return Way.NONE


class Fault(StrEnum):
    """Why a pop-up could not be shown."""

    NO_BUS = "no bus"
    CONTAINER = "container"
    DEAD_BUS = "dead bus"
    NOT_ALLOWED = "not allowed"
    NO_SERVICE = "no service"
    SERVICE_FAILED = "service failed"
    NO_ANSWER = "no answer"
    REFUSED = "refused"
    NO_SCRIPTS = "no scripts"
    SCRIPT_FAILED = "script failed"
    NO_TRAY = "no tray"
    TRAY_FAILED = "tray failed"
    UNSUPPORTED = "unsupported"
    MISSING = "missing"
    HELPER = "helper"


class NotShownError(Exception):
    """A pop-up could not be shown. ``detail`` is a technical name, such as that of an error; never a pop-up's text."""

    def __init__(self, fault: Fault, detail: str = "") -> None:
        super().__init__(f"{fault} {detail}".strip())
        self.fault = fault
        self.detail = detail
