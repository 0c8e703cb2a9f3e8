"""Values with units, read and checked by pint: ``12 h``, ``10 mL``, ``100 mL/h``, ``10 units/mL``.

Arithmetic is in exact fractions, so that 1000 mL at 125 mL/h is 8 h and not a hair less.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache

import pint

DEFINITIONS = """
minute = [time] = min = minutes = mins
hour = 60 * minute = h = hours = hr = hrs
day = 24 * hour = d = days
week = 7 * day = weeks = wk
second = minute / 60 = s = sec = seconds
milliliter = [volume] = mL = ml = milliliters = millilitre
liter = 1000 * milliliter = L = l = liters = litre
milligram = [mass] = mg = milligrams
gram = 1000 * milligram = g = grams
kilogram = 1000 * gram = kg
microgram = milligram / 1000 = mcg = micrograms
unit = [activity] = units
million_unit = 1000000 * unit = million_units
millimole = [substance] = mmol
milliequivalent = millimole = mEq = meq
centimeter = [length] = cm
millimeter = centimeter / 10 = mm
"""
"""Only what orders are written in; "U" and "IU" for units are left out because they are misread as digits.
A milliequivalent is a millimole here because the only ion that the tool counts, sodium, carries one charge."""

WRITTEN = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z_][A-Za-z_ ]*(?:\s*/\s*[A-Za-z_]+)?)\s*")


class UnitError(ValueError):
    """A text that is not a number with a unit of the wanted kind."""


@cache
def _registry() -> "pint.UnitRegistry[Fraction]":
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(DEFINITIONS.strip().splitlines())
    return registry


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


@lru_cache(maxsize=4096)
def measure(text: str, kinds: tuple[str, ...]) -> tuple[Measure, str]:
    """Read ``text`` as one of ``kinds`` (names in :data:`BASES`); return it and the kind that fits.

    Raises:
        UnitError: not a number with a unit, an unknown unit, or a unit of another kind. Its text says which.
    """
    match = WRITTEN.fullmatch(text)
    if match is None or len(text) > 40:
        raise UnitError("is not a number followed by its unit")
    number, unit_text = match.groups()
    try:
        unit = _registry().parse_units(unit_text.strip())
    except (pint.errors.PintError, pint.errors.UndefinedUnitError, ValueError, TypeError, AttributeError):
        raise UnitError(f'has the unit "{unit_text.strip()}", which is not known here') from None
    one = _registry().Quantity(Fraction(1), unit)
    for kind in kinds:
        base = BASES[kind][0]
        if one.is_compatible_with(base):
            if kind in DOSES and "." in number and number.endswith("0"):
                raise UnitError("ends in a zero after the point, which is easily misread as ten times as much")
            factor = Fraction(one.to(base).magnitude)
            exponent = Decimal(number).as_tuple().exponent
            digit = Fraction(10) ** int(exponent) if isinstance(exponent, int) else Fraction(1)
            return Measure(f"{number} {unit_text.strip()}", Fraction(number) * factor, digit * factor / 2), kind
    raise UnitError(f'has the unit "{unit_text.strip()}", which is not a unit of {" or ".join(kinds)}')


IN_FULL = {
    "min": ("minute", "minutes"),
    "h": ("hour", "hours"),
    "s": ("second", "seconds"),
    "day": ("day", "days"),
    "mL": ("milliliter", "milliliters"),
    "L": ("liter", "liters"),
    "mg": ("milligram", "milligrams"),
    "g": ("gram", "grams"),
    "kg": ("kilogram", "kilograms"),
    "mcg": ("microgram", "micrograms"),
    "unit": ("unit", "units"),
    "million_unit": ("million units", "million units"),
    "mmol": ("millimole", "millimoles"),
    "mEq": ("milliequivalent", "milliequivalents"),
    "cm": ("centimeter", "centimeters"),
    "mm": ("millimeter", "millimeters"),
}
"""Units as they are read aloud, of one and of several; those that are not here are read as they are written."""

SAME_UNIT = {
    "ml": "mL", "l": "L", "days": "day", "d": "day", "weeks": "week", "units": "unit", "million_units": "million_unit",
    "meq": "mEq", "hours": "h", "hour": "h", "hr": "h", "hrs": "h", "minutes": "min", "minute": "min", "mins": "min",
}  # fmt: skip

QUANTITY = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z_]+)(?:\s*/\s*([A-Za-z_]+))?")


def in_full(text: str) -> str:
    """Write the units of a text in full, as they are read aloud: ``10 units/mL`` as ``10 units per milliliter``."""

    def spoken(unit: str, one: bool) -> str:
        one_word, words = IN_FULL.get(SAME_UNIT.get(unit, unit), (unit, unit))
        return one_word if one else words

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
