"""With which options the daemon is started at login: kept beside its journal, as what the system holds is compared with them."""

import json
from collections.abc import Sequence
from pathlib import Path

from reminders.at_login.common import AtLoginError, holds, remove, write

NAME = "at-login.json"


def kept_options(folder: Path) -> tuple[str, ...]:
    """Return the options that were kept in ``folder``; none if none were, or if they cannot be read."""
    content = holds(folder / NAME)
    try:
        found = json.loads(content or b"[]")
    except ValueError:
        return ()
    return tuple(found) if isinstance(found, list) and all(isinstance(option, str) for option in found) else ()


def keep_options(folder: Path, options: Sequence[str]) -> None:
    """Keep options; where there are none, nothing lies there.

    Raises:
        AtLoginError: they cannot be written, or hold what no file of a system's can say.
    """
    for option in options:
        if not option.isprintable():
            raise AtLoginError(f"{option!r} cannot be written down. Name it otherwise.")
    if options:
        write(folder / NAME, json.dumps(list(options), ensure_ascii=False).encode())
    else:
        remove(folder / NAME)
