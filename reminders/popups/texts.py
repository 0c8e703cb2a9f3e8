"""Any text into one that every notification service can take: no control characters, no half letters, not too long."""

import unicodedata
from dataclasses import replace

from reminders.popups.popup import APP_NAME, PopUp

TITLE_UNITS, BODY_UNITS = 200, 2000
"""The longest title and body that are sent anywhere, in UTF-16 units. More fits on no screen, and a service may choke."""

_DROPPED = {"Cc", "Cs"}  # control characters, NUL among them; halves of a pair of UTF-16 units
_JOINERS = {
    "Mn",
    "Me",
    "Mc",
    "Cf",
    "Sk",
}  # accents, joiners, skin tones: of no use without the letter that they belong to


def lines_of(text: str) -> list[str]:
    """Return a text's lines, without anything that a screen or terminal would take for a command."""
    lines = text.replace("\t", " ").splitlines()
    kept = ("".join(letter for letter in line if unicodedata.category(letter) not in _DROPPED) for line in lines)
    return [line.rstrip() for line in kept]


def units(text: str) -> int:
    """Return how many UTF-16 units a text takes, which is what Windows counts in."""
    return len(text.encode("utf-16-le", "surrogatepass")) // 2


def clipped(text: str, most: int) -> str:
    """Cut a text to at most so many UTF-16 units, with an ellipsis for what is gone; no letter is cut in the middle."""
    if units(text) <= most:
        return text
    kept, room = 0, most - 1
    for letter in text:
        room -= units(letter)
        if room < 0:
            break
        kept += 1
    while kept and (unicodedata.category(text[kept]) in _JOINERS or text[kept - 1] == "\u200d"):
        kept -= 1  # what follows belongs to the letter before it: both go
    return text[:kept].rstrip() + "…"


def ready(popup: PopUp) -> PopUp:
    """Return a pop-up as it is sent: a title of one line that is never empty, a body, both of a length that can be read."""
    title = " ".join(" ".join(lines_of(popup.title)).split())
    body = "\n".join(lines_of(popup.body)).strip()
    return replace(popup, title=clipped(title or APP_NAME, TITLE_UNITS), body=clipped(body, BODY_UNITS))
