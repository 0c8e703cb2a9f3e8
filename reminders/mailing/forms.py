"""A letter as plain text and as HTML: the same words in the same order, for mail programs that show the one or the other."""

import re
import textwrap
from collections.abc import Iterator
from html import escape

from reminders.mailing.letter import Block, Call, Calls, Heading, Letter, Points, Steps, Words

WIDTH = 72
"""Letters in a line of the plain text."""

DIALLED = re.compile(r"\+?[0-9][0-9 ().-]*[0-9]")
"""A number that a phone can dial as it stands."""

STYLE = """
:root { color-scheme: light dark; }
body { margin: 0 auto; padding: 1rem; max-width: 40rem; font: 1.125rem/1.5 sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.6rem; line-height: 1.25; }
h2 { margin-top: 2rem; font-size: 1.25rem; }
li, dd { margin-bottom: 0.75rem; }
ol, ul { padding-left: 1.5rem; }
dt { font-weight: bold; }
dd { margin-left: 0; }
.loud { padding: 0.75rem; border: 0.25rem solid; font-weight: bold; }
""".strip()
"""Colours are the reader's own, light or dark."""


def plain(letter: Letter) -> str:
    """Return a letter as plain text, with a final newline."""
    lines = [*textwrap.wrap(letter.title, WIDTH), "=" * min(len(letter.title), WIDTH)]
    for block in letter.blocks:
        lines += ["", *_plain(block)]
    return "\n".join(lines) + "\n"


def html(letter: Letter) -> str:
    """Return a letter as one HTML document that fetches nothing and needs no script."""
    body = "\n".join(_html(block) for block in letter.blocks)
    title = escape(letter.title)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta name="color-scheme" content="light dark">\n<title>{title}</title>\n<style>\n{STYLE}\n</style>\n</head>\n'
        f"<body>\n<h1>{title}</h1>\n{body}\n</body>\n</html>\n"
    )


def _plain(block: Block) -> Iterator[str]:
    match block:
        case Heading(text):
            yield from ["", text.upper()]
        case Words(text, loud):
            yield from _wrapped(text, *(("*** ", "*** ") if loud else ("", "")))
        case Steps(steps):
            for number, step in enumerate(steps, start=1):
                yield from _wrapped(step, f"{number}. ", "   ")
        case Points(points):
            for point in points:
                yield from _wrapped(point, "- ", "  ")
        case Calls(calls):
            for call in calls:
                yield from _wrapped(f"{call.do}: {call.signs}", "- ", "  ")


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )


def _html(block: Block) -> str:
    match block:
        case Heading(text):
            return f"<h2>{escape(text)}</h2>"
        case Words(text, loud):
            return f'<p class="loud">{escape(text)}</p>' if loud else f"<p>{escape(text)}</p>"
        case Steps(steps):
            return _listed("ol", steps)
        case Points(points):
            return _listed("ul", points)
        case Calls(calls):
            return f"<dl>\n{''.join(_call(call) for call in calls)}</dl>"


def _listed(kind: str, items: tuple[str, ...]) -> str:
    inside = "".join(f"<li>{escape(item)}</li>\n" for item in items)
    return f"<{kind}>\n{inside}</{kind}>"


def _call(call: Call) -> str:
    """Show whom to call; on a phone the number can be touched."""
    do, phone = escape(call.do), escape(call.phone)
    if DIALLED.fullmatch(call.phone):
        before, said, after = do.rpartition(phone)
        number = re.sub(r"[^0-9+]", "", call.phone)
        do = f'{before}<a href="tel:{number}">{said}</a>{after}' if said else do
    return f"<dt>{do}:</dt>\n<dd>{escape(call.signs)}</dd>\n"
