"""Start at login by the desktop itself, where systemd does not know of its session. Nobody starts it again after a crash.

The Desktop Application Autostart Specification says where the file lies, the Desktop Entry Specification what it says.
"""

from collections.abc import Sequence
from pathlib import Path

from reminders.at_login.common import DESCRIPTION, WRITTEN_BY, SetUp, holds, plainly_named, remove, write

ENTRY = "reminders-daemon.desktop"


def entry_text(command: Sequence[str]) -> str:
    """Return the desktop entry that runs a command."""
    return f"""\
# {WRITTEN_BY}
[Desktop Entry]
Type=Application
Name=Reminders
Comment={DESCRIPTION}
Exec={" ".join(map(_quoted, plainly_named(command)))}
Terminal=false
NoDisplay=true
StartupNotify=false
"""


def _quoted(word: str) -> str:
    """Quote a word of Exec=: four signs need a backslash, which a value must double in turn; a percent sign is doubled."""
    quoted = "".join(f"\\{sign}" if sign in '"`$\\' else sign for sign in word).replace("%", "%%")
    return '"' + quoted.replace("\\", "\\\\") + '"'


class Autostart:
    """The desktop's autostart folder. ``settings`` is the folder of the user's settings, ``~/.config``."""

    name = "the desktop's autostart folder"
    restarts = False

    def __init__(self, command: Sequence[str], settings: Path) -> None:
        """Take what is to be started."""
        self.file = settings / "autostart" / ENTRY
        self._wanted = entry_text(command).encode()

    def serves(self) -> bool:
        """Say yes: every desktop that follows the specification looks there, and none can be asked."""
        return True

    def on(self) -> None:
        """Write the entry; it holds from the next login on."""
        write(self.file, self._wanted)

    def start(self) -> None:
        """Start nothing: only the desktop does, at the next login."""

    def off(self) -> bool:
        """Remove the entry; what runs goes on."""
        return remove(self.file)

    def status(self) -> SetUp:
        """Compare the entry."""
        found = holds(self.file)
        return SetUp(there=found is not None, current=found == self._wanted, loaded=None)
