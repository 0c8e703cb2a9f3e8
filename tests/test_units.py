"""Units as orders write them: what each amounts to, and what is none."""

from fractions import Fraction

import pint
import pytest

from reminders.units import BASES, UNITS, UnitError, measure

JUDGE: "pint.UnitRegistry[Fraction]" = pint.UnitRegistry(non_int_type=Fraction)
OWN = "activity"
"""Units of a drug are no unit of measure: the library counts them."""


def judged(unit: str) -> str:
    """Return a unit as the library writes it. A milliequivalent of sodium, which carries one charge, is a millimole."""
    return (
        unit.replace("milliequivalent", "millimole")
        .replace("mEq", "mmol")
        .replace("units", "count")
        .replace("unit", "count")
    )


@pytest.mark.parametrize("spelling", [spelling for spelling, unit in UNITS.items() if unit.measures != OWN])
def test_each_unit_amounts_to_what_a_library_of_units_says(spelling: str) -> None:
    """pint's own registry is the judge, asked for the name that is read aloud: "d" and "min" are spelled as here in both."""
    unit = UNITS[spelling]
    base = {
        "time": "minute",
        "volume": "milliliter",
        "mass": "milligram",
        "substance": "millimole",
        "length": "centimeter",
    }
    assert JUDGE.Quantity(Fraction(1), judged(unit.one)).to(base[unit.measures]).magnitude == unit.amount


def test_a_million_units_are_a_million() -> None:
    assert {measure(f"6 {spelling}", ("activity",))[0].amount for spelling in UNITS if "million" in spelling} == {
        6_000_000
    }
    assert measure("6 million_units", ("activity",))[0].text == "6 million units"


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("100 mL/h", Fraction(100)),
        ("1.5 mL/min", Fraction(90)),
        ("2.4 L/day", Fraction(100)),
        ("1 g/h", Fraction(1000, 60)),
        ("10 units/mL", Fraction(10)),
        ("18 units/h", Fraction(18, 60)),
        ("154 mmol/L", Fraction(154, 1000)),
        ("77 mEq / L", Fraction(77, 1000)),
    ],
)
def test_a_unit_over_another_amounts_to_what_a_library_of_units_says(text: str, amount: Fraction) -> None:
    read, kind = measure(text, tuple(BASES))
    assert read.amount == amount
    number, unit = text.split(maxsplit=1)
    assert JUDGE.Quantity(Fraction(number), judged(unit)).to(judged(BASES[kind][0])).magnitude == amount


@pytest.mark.parametrize(
    "text",
    [
        "50 mL h/h",
        "12 h d/d",
        "10 units mL/mL",
        "12 h h",
        "5 mL/h/h",
        "5 /h",
        "5 mL/",
        "5000 U",
        "5000 IU",
        "5 MG",
        "5 mgs",
        "5 _",
    ],
)
def test_what_only_multiplies_out_to_a_unit_is_none(text: str) -> None:
    with pytest.raises(UnitError):
        measure(text, tuple(BASES))
