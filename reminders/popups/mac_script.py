"""Pop-ups on macOS, through its own scripting program. Not run on macOS so far: only against a stand-in of that program.

plyer's own back-end for macOS needs a package that plyer does not bring, and a part of the system that is no longer there.
"""

import json
import subprocess
import time
from threading import Event

from plyer.facades import Notification

from reminders.popups.popup import Fault, NotShownError

PROGRAM = "/usr/bin/osascript"


def script(title: str, message: str, *, loud: bool) -> str:
    """Return the program, in JavaScript and in ASCII alone, that shows a text. JSON's strings are strings of JavaScript."""
    options = {"withTitle": title} | ({"soundName": "Sosumi"} if loud else {})
    return (
        "const app = Application.currentApplication();\n"
        "app.includeStandardAdditions = true;\n"
        f"app.displayNotification({json.dumps(message)}, {json.dumps(options)});\n"
    )


class MacScript(Notification):  # type: ignore[misc]  # plyer has no types
    """The Notification Centre. That it was handed a text is all that can be known: it says nothing of what it shows.

    It knows no urgency, so an urgent text comes with a sound. A click cannot be noticed.
    """

    served_by = ""
    stays = False

    def __init__(self, seconds: float, program: str = PROGRAM) -> None:
        self._deadline = time.monotonic() + seconds
        self._program = program

    def able(self) -> None:
        """Raise NotShownError unless scripts can be run. Shows nothing."""
        self._run("1\n")

    def _notify(self, *, title: str, message: str, hints: dict[str, int], **_others: object) -> None:
        self._run(script(title, message, loud=hints["urgency"] == 2))

    def stay(self, _gone: Event) -> None:
        """Return at once: there is nothing to wait for."""

    def _run(self, text: str) -> None:
        # The text goes in by the standard input: arguments can be read by every user of the computer.
        try:
            ended = subprocess.run(
                [self._program, "-l", "JavaScript"],
                input=text.encode("ascii"),
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=max(0.0, self._deadline - time.monotonic()),
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise NotShownError(Fault.NO_ANSWER) from None
        except OSError as error:
            raise NotShownError(Fault.NO_SCRIPTS, type(error).__name__) from None
        if ended.returncode:
            raise NotShownError(Fault.SCRIPT_FAILED, f"osascript: {ended.returncode}")
