"""Start at login by the Task Scheduler of Windows, which starts it again when it has ended.

The elements are those of its schema (``http://schemas.microsoft.com/windows/2004/02/mit/task``), version 1.2.
"""

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path, PureWindowsPath
from xml.etree.ElementTree import Element, SubElement, tostring

from reminders.at_login.common import DESCRIPTION, WRITTEN_BY, AtLoginError, Runner, SetUp, holds, must, remove, write

SCHEMA = "http://schemas.microsoft.com/windows/2004/02/mit/task"

LOOK_AGAIN = "PT1M"
"""How often it is started if it does not run. ``RestartOnFailure`` would not do: it is only for a task that cannot be
started, not for one that has ended ([MS-TSCH], 2.5.4.2)."""

LOOK_FOR = "P366D"
"""For how long after a login. Stated, because of what is left out one page says for ever, and [MS-TSCH], 2.5.3.1, one day."""

_SID = re.compile(r"S-1(?:-\d+)+")

_SETTINGS: dict[str, object] = {
    "MultipleInstancesPolicy": "IgnoreNew",
    "DisallowStartIfOnBatteries": "false",  # true if left out: a laptop would not be reminded
    "StopIfGoingOnBatteries": "false",  # likewise
    "AllowHardTerminate": "true",
    "StartWhenAvailable": "true",
    "RunOnlyIfNetworkAvailable": "false",
    "IdleSettings": {"StopOnIdleEnd": "false", "RestartOnIdle": "false"},
    "AllowStartOnDemand": "true",
    "Enabled": "true",
    "Hidden": "false",
    "RunOnlyIfIdle": "false",
    "WakeToRun": "false",
    "ExecutionTimeLimit": "PT0S",  # three days if left out, and then it is stopped
    "Priority": "5",  # 7 if left out, which is below normal
    "RestartOnFailure": {"Interval": "PT1M", "Count": "255"},  # which is the most that the schema allows
}


def windowless(command: Sequence[str]) -> tuple[str, ...]:
    """Return a command with the Python that opens no window, which lies beside the other."""
    return (str(PureWindowsPath(command[0]).with_name("pythonw.exe")), *command[1:])


def task(command: Sequence[str], user: str) -> bytes:
    """Return the task that runs a command when ``user`` (a security identifier) logs in, in UTF-16 as schtasks reads it."""
    again = {"Interval": LOOK_AGAIN, "Duration": LOOK_FOR, "StopAtDurationEnd": "false"}
    contents: dict[str, object] = {
        "RegistrationInfo": {"Description": f"{DESCRIPTION}. {WRITTEN_BY}"},
        "Triggers": {
            "LogonTrigger": {"Enabled": "true", "Repetition": again, "UserId": user},
            "RegistrationTrigger": {"Enabled": "true", "Repetition": again},  # for the time until the next login
        },
        "Principals": {"Principal": {"UserId": user, "LogonType": "InteractiveToken", "RunLevel": "LeastPrivilege"}},
        "Settings": _SETTINGS,
        "Actions": {"Exec": {"Command": command[0], "Arguments": subprocess.list2cmdline(command[1:])}},
    }
    root = Element("Task", {"version": "1.2", "xmlns": SCHEMA})
    _fill(root, contents)
    for path, name in (("Principals/Principal", "id"), ("Actions", "Context")):
        element = root.find(path)
        assert element is not None, "it was just made"
        element.set(name, "Author")  # whoever the actions are done as
    written: bytes = tostring(root, encoding="utf-16", xml_declaration=True)
    return written


def _fill(parent: Element, contents: dict[str, object]) -> None:
    for name, value in contents.items():
        element = SubElement(parent, name)
        if isinstance(value, dict):
            _fill(element, value)
        else:
            element.text = str(value)


class TaskScheduler:
    """The Task Scheduler. The task is kept as a file in ``folder`` too, to be compared."""

    name = "the Windows Task Scheduler"
    restarts = True

    def __init__(self, command: Sequence[str], folder: Path, runner: Runner) -> None:
        """Take what is to be started, and how other programs are run."""
        self.file = folder / "at-login-task.xml"
        self._command = command
        self._runner = runner

    def serves(self) -> bool:
        """Say yes: every Windows has it."""
        return True

    def on(self) -> None:
        """Write the task, and register it."""
        user = self._user()
        name = _task_name(user)
        write(self.file, task(self._command, user))
        self._runner(("schtasks", "/end", "/tn", name))  # one that runs is of the task as it was, and may not be there
        must(self._runner, "schtasks", "/create", "/tn", name, "/xml", str(self.file), "/f")

    def start(self) -> None:
        """Start it, unless registering has done so."""
        must(self._runner, "schtasks", "/run", "/tn", _task_name(self._user()))

    def off(self) -> bool:
        """Stop the task, remove it and its file."""
        name = _task_name(self._user())
        registered = self._registered(name)
        if registered:
            self._runner(("schtasks", "/end", "/tn", name))
            must(self._runner, "schtasks", "/delete", "/tn", name, "/f")
        return remove(self.file) or registered

    def status(self) -> SetUp:
        """Compare the task's file, and ask whether the task is registered."""
        found = holds(self.file)
        try:
            user = self._user()
            current, loaded = found == task(self._command, user), self._registered(_task_name(user))
        except AtLoginError:
            return SetUp(there=found is not None, current=False, loaded=None)
        return SetUp(there=found is not None, current=current, loaded=loaded)

    def _registered(self, name: str) -> bool:
        return self._runner(("schtasks", "/query", "/tn", name)).status == 0

    def _user(self) -> str:
        """Return the user's security identifier, which is the same in every language and holds no odd letter."""
        found = _SID.search(must(self._runner, "whoami", "/user", "/fo", "csv", "/nh").out)
        if found is None:
            raise AtLoginError("Windows does not say who is logged in (whoami /user).")
        return found[0]


def _task_name(user: str) -> str:
    """Name the task by its user: tasks of all users of a computer lie in one place."""
    return f"reminders-daemon-{user}"
