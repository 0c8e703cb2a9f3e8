"""A text that is no number with its unit into what is wrong with it, and how it is written where that can be told.

Nothing is read out of such a text: whoever wrote it must write it again. What is misread by people (``U`` for units, a comma,
a point without a digit before it) is refused for that reason, and told with it.
"""

import re

BLANKS = re.compile(r"[^\S\n]")
UNSEEN = re.compile("[\u00ad\u200b\u200e\u200f\u2060\ufeff]")


def tidy(text: str) -> str:
    """Return a text as it was typed or pasted without what a word processor leaves in it.

    Blanks of other kinds become plain ones, and letters that nobody sees go.
    """
    return BLANKS.sub(" ", UNSEEN.sub("", text))


class UnitError(ValueError):
    """A text that is not a number with a unit of the wanted kind. ``near`` says how it is written, where that can be told."""

    def __init__(self, problem: str, near: str = "") -> None:
        super().__init__(problem)
        self.near = near


MISREAD = {
    "u": ("units", "U is misread as a zero"),
    "iu": ("units", "IU is misread as IV or as 10"),
    "mu": ("million units", "U is misread as a zero"),
}
"""Units that are left out, with what is written instead and why (lists of error-prone notations, from memory)."""


def misread(unit: str) -> str:
    """Say what to write instead of a unit that is left out because it is misread; nothing for any other."""
    first, slash, per = (part.strip() for part in unit.partition("/"))
    if first.casefold() not in MISREAD:
        return ""
    full, why = MISREAD[first.casefold()]
    return f'Write "{full}{slash}{per}" in full: {why}.'


AMOUNT = r"[0-9]+(?:[.,][0-9]+)?"
SEVERAL = re.compile(rf"{AMOUNT}\s*[A-Za-z]*\s*(?:[-\u2010-\u2015\u2212]|to|or)\s*{AMOUNT}\D*")
GAPS = re.compile(r"([0-9]{1,3}(?:[ '\u2019][0-9]{3})+)(\D.*)?")
THOUSANDS = re.compile(r"([0-9]{1,3}(?:,[0-9]{3})+)(\D.*)?")
COMMA = re.compile(r"[0-9]+,[0-9]+(\D.*)?")
MICRO = re.compile("[\u00b5\u03bc]g")


def slip(text: str, example: str, *, time: bool) -> UnitError:
    """Return what is wrong with a text that is no number with its unit.

    ``example`` is how one is written that would fit; ``time``: a length of time is asked for.
    """
    if any(char.isdecimal() and not char.isascii() for char in text):
        return UnitError("has digits of another script", f'Type it in the digits 0 to 9, such as "{example}".')
    if MICRO.search(text):
        return UnitError("has a unit that is misread as mg", 'Write "mcg" for micrograms.')
    if SEVERAL.fullmatch(text):
        return UnitError("states more than one amount", "Write the one that is ordered; ask if that is left open.")
    if found := GAPS.fullmatch(text):
        joined = re.sub("[^0-9]", "", found[1]) + (found[2] or "")
        return UnitError("has a gap in its number", f'Leave the gap out: "{joined}".')
    decimals = re.sub(r"(\.[0-9]*[1-9])0+(?=\D|$)", r"\1", text.replace(",", "."))
    if found := THOUSANDS.fullmatch(text):
        joined = found[1].replace(",", "") + (found[2] or "")
        either = found[1].count(",") == 1 and "." not in joined and not re.search(r"\.[0-9]*0(?=\D|$)", decimals)
        other = f', or if decimals follow it, write a point: "{decimals}"' if either else ""
        return UnitError("has a comma in its number", f'Leave out the comma: "{joined}"{other}.')
    if COMMA.fullmatch(text):
        return UnitError("has a comma in its number", f'Write decimals with a point: "{decimals}".')
    if re.match(r"\.[0-9]", text):
        return UnitError("has no digit before its point", f'Write a zero there: "0{text}".')
    if re.fullmatch(r"[0-9]+(\.[0-9]+)?", text):
        if time:
            return UnitError("has no unit", f'Minutes, hours or days? Write "{text} min", "{text} h" or "{text} days".')
        return UnitError("has no unit", f'Write the unit after the number, such as "{example}".')
    return UnitError("is not a number followed by its unit")
