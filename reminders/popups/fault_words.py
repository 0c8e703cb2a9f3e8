"""Why a pop-up could not be shown, and through what it goes, in words for a household."""

from reminders.popups.popup import Fault, Way
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext


def way_words(way: Way, served_by: str) -> str:
    """Say through what pop-ups go; ``served_by`` is what the notification service calls itself, or ""."""
    text = {
        Way.SESSION_BUS: _("the notification service of this desktop"),
        Way.MAC_SCRIPT: _("the Notification Centre of macOS"),
        Way.WINDOWS_TRAY: _("the notification area of Windows"),
        Way.NONE: _("nothing that is known on this system"),
    }[way]
    return f"{text} ({served_by})" if served_by else text


def fault_words(fault: Fault, detail: str = "") -> str:
    """Say why a pop-up could not be shown, and what to do; ``detail`` is a technical name for whoever helps, or ""."""
    text = {
        Fault.NO_BUS: _(
            "There is no desktop here that could show pop-ups: the program was not started from a desktop session. Log in "
            "at the screen of this computer and start it there, under your own name."
        ),
        Fault.CONTAINER: _(
            "The program runs inside a container, where it cannot reach the desktop. Install and start it outside of it."
        ),
        Fault.DEAD_BUS: _(
            "The desktop session that the program was started in cannot be reached; it may have ended. Log out and in "
            "again, then start the program again."
        ),
        Fault.NOT_ALLOWED: _(
            "The desktop does not let this program show pop-ups. Start it under the name that is logged in at the screen, "
            "not as an administrator and not inside a container."
        ),
        Fault.NO_SERVICE: _(
            "No program that shows notifications runs on this desktop. Ask whoever looks after this computer to install "
            "and start a notification service."
        ),
        Fault.SERVICE_FAILED: _(
            "The program that shows notifications on this desktop could not be started. Log out and in again; if that does "
            "not help, ask whoever looks after this computer."
        ),
        Fault.NO_ANSWER: _(
            "What shows notifications on this computer did not answer in time; the pop-up may have been shown or not. Log "
            "out and in again, or restart the computer."
        ),
        Fault.REFUSED: _(
            "What shows notifications on this desktop refused the pop-up. Log out and in again; if that does not help, ask "
            "whoever looks after this computer."
        ),
        Fault.NO_SCRIPTS: _(
            "The program osascript, which shows pop-ups on a Mac, cannot be run. Ask whoever looks after this computer."
        ),
        Fault.SCRIPT_FAILED: _(
            "macOS did not show the pop-up. Log in at the screen of this Mac and start the program there; in System "
            "Settings, Notifications, allow those of Script Editor."
        ),
        Fault.NO_TRAY: _(
            "There is no task bar here that could show pop-ups. Log in at the screen of this computer and start the "
            "program there."
        ),
        Fault.TRAY_FAILED: _(
            "Windows did not show the pop-up. Log out and in again, and allow notifications in Settings, System, "
            "Notifications."
        ),
        Fault.UNSUPPORTED: _(
            "Pop-ups are not possible on this kind of system. Keep the page or a terminal window in view."
        ),
        Fault.MISSING: _("A part of the program is missing, so no pop-up can be shown. Install the program again."),
        Fault.HELPER: _(
            "The part of the program that shows pop-ups did not work. Restart the computer; if that does not help, install "
            "the program again."
        ),
    }[fault]
    return f"{text} ({detail})" if detail else text
