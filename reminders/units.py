"""Values with units: ``12 h``, ``10 mL``, ``100 mL/h``, ``10 units/mL``.

Only what orders are written in is known, and only as a unit or one unit over another: whatever else could be multiplied
out (``50 mL h/h``) is a slip of the pen. Arithmetic is in exact fractions, so that 1000 mL at 125 mL/h is 8 h and not a
hair less.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from reminders.unit_slips import UnitError as UnitError
from reminders.unit_slips import misread, slip, tidy


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: what it measures, how much of that (in minutes, mL, mg, units, mmol, cm), and how it is read aloud of one and
    of several."""

    measures: str
    amount: Fraction
    one: str
    several: str


def _known(*rows: tuple[str, Fraction | int, str, str, str]) -> dict[str, Unit]:
    return {
        spelling: Unit(measures, Fraction(amount), one, several)
        for measures, amount, one, several, spellings in rows
        for spelling in (one, several, *spellings.split())
    }


UNITS = _known(
    ("time", 1, "minute", "minutes", "min mins"),
    ("time", 60, "hour", "hours", "h hr hrs"),
    ("time", 1440, "day", "days", "d"),
    ("time", 7 * 1440, "week", "weeks", "wk"),
    ("time", Fraction(1, 60), "second", "seconds", "s sec"),
    ("volume", 1, "milliliter", "milliliters", "mL ml millilitre millilitres"),
    ("volume", 1000, "liter", "liters", "L l litre litres"),
    ("mass", 1, "milligram", "milligrams", "mg"),
    ("mass", 1000, "gram", "grams", "g"),
    ("mass", 1_000_000, "kilogram", "kilograms", "kg"),
    ("mass", Fraction(1, 1000), "microgram", "micrograms", "mcg"),
    ("activity", 1, "unit", "units", ""),
    ("activity", 1_000_000, "million units", "million units", "million_unit million_units"),
    ("substance", 1, "millimole", "millimoles", "mmol"),
    ("substance", 1, "milliequivalent", "milliequivalents", "mEq meq"),
    ("length", 1, "centimeter", "centimeters", "cm"),
    ("length", Fraction(1, 10), "millimeter", "millimeters", "mm"),
)
"""Every unit by each of its spellings. "U" and "IU" for units are left out because they are misread as digits. A
milliequivalent is a millimole here because the only ion that the tool counts, sodium, carries one charge."""

WRITTEN = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z_][A-Za-z_ ]*(?:\s*/\s*[A-Za-z_]+)?)\s*")


@dataclass(frozen=True, slots=True)
class Measure:
    """A quantity as it was written and what it amounts to.

    ``text`` is the number and unit as a person wrote them; ``amount`` the same in the base unit of its kind
    (see :data:`BASES`); ``rounding`` half of the last written digit, in that unit.
    """

    text: str
    amount: Fraction
    rounding: Fraction = Fraction(0)


BASES = {
    "duration": ("min", "12 h"),
    "volume": ("mL", "10 mL"),
    "flow": ("mL/h", "100 mL/h"),
    "mass": ("mg", "500 mg"),
    "activity": ("unit", "5000 units"),
    "substance": ("mmol", "20 mmol"),
    "strength": ("unit/mL", "10 units/mL"),
    "sodium": ("mmol/mL", "0.154 mmol/mL"),
    "mass rate": ("mg/min", "10 mg/min"),
    "activity rate": ("unit/min", "1000 units/h"),
    "substance rate": ("mmol/min", "10 mmol/h"),
    "length": ("cm", "3 cm"),
}
"""Each kind of quantity: its base unit and an example of how it is written."""


DOSES = ("mass", "activity", "substance")
"""Kinds in which a trailing zero is refused: "1.0 mg" is misread as 10 mg (from memory of lists of error-prone
notations). In a rate it says how exactly it is known."""


def _one_of(unit_text: str) -> tuple[tuple[str, ...], Fraction]:
    """Return what a unit measures, over what if it is a ratio, and how much one of it is.

    Raises:
        UnitError: there is no such unit.
    """
    units = [UNITS.get(" ".join(part.split())) for part in unit_text.split("/")]
    known = [unit for unit in units if unit is not None]
    if len(known) < len(units):
        raise UnitError(f'has the unit "{unit_text}", which is not known here')
    amount, *per = (unit.amount for unit in known)
    return tuple(unit.measures for unit in known), amount / per[0] if per else amount


@lru_cache(maxsize=4096)
def measure(text: str, kinds: tuple[str, ...]) -> tuple[Measure, str]:
    """Read ``text`` as one of ``kinds`` (names in :data:`BASES`); return it and the kind that fits.

    Raises:
        UnitError: not a number with a unit, an unknown unit, or a unit of another kind. Its text says which.
    """
    written = tidy(text).strip()
    match = WRITTEN.fullmatch(written)
    if len(text) > 40:
        raise UnitError("is not a number followed by its unit")
    if match is None:
        raise slip(written, BASES[kinds[0]][1], time=kinds == ("duration",))
    number, unit_text = match.group(1), match.group(2).strip()
    if near := misread(unit_text):
        raise UnitError(f'has the unit "{unit_text}"', near)
    measures, one = _one_of(unit_text)
    for kind in kinds:
        of_kind, base = _one_of(BASES[kind][0])
        if measures == of_kind:
            if kind in DOSES and "." in number and number.endswith("0"):
                without = number.rstrip("0").rstrip(".")
                raise UnitError(
                    "ends in a zero after the point, which is easily misread as ten times as much",
                    f'Write "{without} {unit_text}".',
                )
            factor = one / base
            exponent = Decimal(number).as_tuple().exponent
            digit = Fraction(10) ** int(exponent) if isinstance(exponent, int) else Fraction(1)
            said = f"{number} {unit_text.replace('_', ' ')}"
            return Measure(said, Fraction(number) * factor, digit * factor / 2), kind
    raise UnitError(f'has the unit "{unit_text}", which is not a unit of {" or ".join(kinds)}')


QUANTITY = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z_]+)(?:\s*/\s*([A-Za-z_]+))?")


def in_full(text: str) -> str:
    """Write the units of a text in full, as they are read aloud: ``10 units/mL`` as ``10 units per milliliter``.

    Whatever is no unit stays as it is written.
    """

    def spoken(spelling: str, one: bool) -> str:
        unit = UNITS.get(spelling)
        return spelling if unit is None else unit.one if one else unit.several

    def read(match: re.Match[str]) -> str:
        amount, unit, per = match.groups()
        said = f"{amount} {spoken(unit, Decimal(amount) == 1)}"
        return f"{said} per {spoken(per, True)}" if per else said

    return QUANTITY.sub(read, text)


def number(value: Fraction | float, digits: int = 2) -> str:
    """Write a number as a person would: at most ``digits`` decimals, none that say nothing."""
    text = f"{float(round(Fraction(value), digits)):.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def span(minutes: Fraction | int) -> str:
    """Write a length of time: ``45 min``, ``12 h``, ``23 h 59 min``; whole days from two days on."""
    whole = round(minutes)
    if whole and whole % 1440 == 0 and whole >= 2880:
        return f"{whole // 1440} days"
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def ago(minutes: int) -> str:
    """Write how long ago something was: like :func:`span`, but from two days on only the whole days that have passed."""
    return span(minutes) if minutes < 2880 else f"{minutes // 1440} days"
