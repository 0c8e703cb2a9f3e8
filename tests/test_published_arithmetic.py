"""Flow, sodium and heparin arithmetic against published worked examples, and totals by the day (R4, R22).

Beside each check stands where its figure is from, as far as the source's name is known, and how it is known: READ in
the source or a reproduction of it, READ-2 in a page that reports the source, MEMORY, or CALC for arithmetic on
published figures. The figures are test values, not defaults. All plans are invented.
"""

from datetime import date
from fractions import Fraction

import pytest
from small_plans import codes, of_code, schedule, z

from reminders.findings import Severity
from reminders.schedule.counts import DayTotal, daily_totals, supplies
from reminders.schedule.model import Dose, Schedule

LUMEN = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
"""


def one_dose(keys: str) -> str:
    """Return a plan with one dose at 10:00, ordered with ``keys``."""
    return f'{LUMEN}\n[order.a]\nmoments = ["2026-06-01 10:00"]\n{keys}'


def dose(edits: str) -> Dose:
    """Return the only dose of the order ``a``."""
    (only,) = schedule(edits).doses["a"]
    return only


def runs(edits: str) -> int:
    """Return for how many minutes the only dose runs."""
    only = dose(edits)
    assert only.end is not None
    return only.end - only.start


def totals(plan: Schedule) -> dict[date, DayTotal]:
    """Return the totals of a schedule by their day."""
    return {total.day: total for total in daily_totals(plan)}


# Rates

FLOWS = [
    # volume, rate, minutes; where from
    pytest.param("1500 mL", "125 mL/h", 12 * 60, id="1500 mL in 12 h (a drip-rate exercise, READ; CALC)"),
    pytest.param("1200 mL", "200 mL/h", 360, id="1200 mL in 360 min (a drip-rate exercise, READ; CALC)"),
    pytest.param("200 mL", "100 mL/h", 120, id="200 mL in 120 min (a drip-rate exercise, READ; CALC)"),
    pytest.param(
        "230 mL", "5 mL/h", 46 * 60, id="46 h of a small pump (46 h: ONS 2019, READ; volume and rate invented)"
    ),
]


@pytest.mark.parametrize(("volume", "rate", "minutes"), FLOWS)
def test_volume_by_rate_is_the_duration(volume: str, rate: str, minutes: int) -> None:
    """mL divided by mL/h, exactly, and stating the duration besides contradicts nothing."""
    edits = one_dose(f'volume = "{volume}"\nrate = "{rate}"')
    assert runs(edits) == minutes
    assert codes(f'{edits}\nduration = "{minutes} min"')["duration-disagrees"] == 0


def test_a_rate_explains_a_duration_by_its_own_rounding() -> None:
    """1000 mL at 41.7 mL/h is 24 h, though the quotient is 23 h 58.8 min (R4; CALC)."""
    edits = one_dose('volume = "1000 mL"\nrate = "41.7 mL/h"\nduration = "24 h"')
    assert runs(edits) == 24 * 60
    assert codes(edits)["duration-disagrees"] == 0


@pytest.mark.parametrize(
    ("volume", "rate", "stated"),
    [
        ("1000 mL", "41.7 mL/h", "25 h"),  # the rounding allows 23.95 to 24.01 h
        ("1000 mL", "41.7 mL/h", "23 h"),
        ("1500 mL", "124 mL/h", "12 h"),  # 1500 / 124.5 is 12.05 h, more than 12 h
        ("1500 mL", "126 mL/h", "12 h"),  # 1500 / 125.5 is 11.95 h, so 11 h 58 min at most
    ],
)
def test_a_duration_beyond_the_rates_rounding_is_an_error_that_shows_the_arithmetic(
    volume: str, rate: str, stated: str
) -> None:
    """R4: stated twice and disagreeing is an error that quotes all three numbers."""
    (error,) = of_code(one_dose(f'volume = "{volume}"\nrate = "{rate}"\nduration = "{stated}"'), "duration-disagrees")
    assert error.severity is Severity.ERROR
    for quoted in (volume, rate, stated):
        assert quoted in error.message


def test_part_of_a_minute_counts_as_a_whole_one() -> None:
    """Immune globulin, the last 201.25 mL at 210 mL/h: 57.5 min, so 58 (an algorithm page, CALC on READ)."""
    assert runs(one_dose('volume = "201.25 mL"\nrate = "210 mL/h"')) == 58


def test_the_first_hour_of_immune_globulin() -> None:
    """70 kg, 10 %, 5 mg/kg/min is 210 mL/h; a quarter and then a half of it for 30 min each give 78.75 mL.

    From an algorithm page (CALC on READ). The hour ends at midnight, so it is that day's total.
    """
    plan = schedule(
        f"""
        {LUMEN}
        [order.a]
        moments = ["2026-06-01 23:00"]
        rate_steps = ["52.5 mL/h for 30 min", "105 mL/h for 30 min", "210 mL/h for 58 min"]
        """
    )
    by_day = totals(plan)
    assert by_day[date(2026, 6, 1)].infused == Fraction("78.75")
    assert by_day[date(2026, 6, 2)].infused == 203  # 210 mL/h for 58 min
    assert plan.doses["a"][0].end == plan.doses["a"][0].start + 118  # 1 h 57.5 min, whole minutes up


# Rate limits

AT_THE_LIMIT = [
    # the label's 10 mg/min (read in a question-and-answer page that quotes it, READ-2; CALC)
    ("1 g", 100),
    ("1.25 g", 125),
    ("1.5 g", 150),
    ("500 mg", 50),  # by the rate alone; the label's least time of 60 min is another rule, and not one of the tool's
]


@pytest.mark.parametrize(("amount", "minutes"), AT_THE_LIMIT)
def test_vancomycin_at_10_mg_a_minute_is_within_the_limit(amount: str, minutes: int) -> None:
    """Exactly at the limit is allowed."""
    edits = one_dose(f'dose = "{amount}"\nduration = "{minutes} min"\nrate_limit = "10 mg/min"')
    assert codes(edits)["rate-limit"] == 0


@pytest.mark.parametrize(("amount", "minutes"), AT_THE_LIMIT)
def test_vancomycin_a_minute_faster_is_a_warning(amount: str, minutes: int) -> None:
    """One minute less is above 10 mg/min, and a warning, since orders differ."""
    edits = one_dose(f'dose = "{amount}"\nduration = "{minutes - 1} min"\nrate_limit = "10 mg/min"')
    (warning,) = of_code(edits, "rate-limit")
    assert warning.severity is Severity.WARNING


def test_where_published_sources_disagree_the_order_stands_and_is_asked_about() -> None:
    """A widely used dilution table gives 1 g in 60 min (READ-2): 16.67 mg/min, a warning and no error."""
    edits = one_dose('dose = "1 g"\nduration = "60 min"\nrate_limit = "10 mg/min"')
    (warning,) = of_code(edits, "rate-limit")
    assert "16.67 mg/min" in warning.message
    assert runs(edits) == 60


# Cyclic nutrition: F = V / (4T - 10), run F, 2F, then 4F, then 2F, F, an hour each and the plateau between
# (Longhurst, Nutrition in Clinical Practice 2003;18:517, READ; the sums CALC)

CYCLIC = [
    pytest.param("2000 mL", 12, "52.63", "105.26", "210.53", id="2000 mL in 12 h"),
    pytest.param("1800 mL", 10, "60", "120", "240", id="1800 mL in 10 h"),
    pytest.param("3000 mL", 14, "65.22", "130.43", "260.87", id="3000 mL in 14 h"),
]


@pytest.mark.parametrize(("volume", "hours", "once", "twice", "fourfold"), CYCLIC)
def test_cyclic_nutrition_delivers_its_volume_in_its_time(
    volume: str, hours: int, once: str, twice: str, fourfold: str
) -> None:
    """The published steps agree with volume and duration to the last digit of the rates."""
    steps = [
        f"{once} mL/h for 1 h",
        f"{twice} mL/h for 1 h",
        f"{fourfold} mL/h for {hours - 4} h",
        f"{twice} mL/h for 1 h",
        f"{once} mL/h for 1 h",
    ]
    listed = ", ".join(f'"{step}"' for step in steps)
    edits = one_dose(f'kind = "nutrition"\nvolume = "{volume}"\nduration = "{hours} h"\nrate_steps = [{listed}]')
    assert codes(edits)["duration-disagrees"] == 0
    assert runs(edits) == hours * 60
    peak = f'{edits}\nrate_limit = "{fourfold} mL/h"'
    assert codes(peak)["rate-limit"] == 0


def test_cyclic_nutrition_with_a_wrong_plateau_is_an_error() -> None:
    """Three times F on the plateau leaves 421 mL in the bag."""
    edits = one_dose(
        'volume = "2000 mL"\nrate_steps = ["52.63 mL/h for 1 h", "105.26 mL/h for 1 h", "157.89 mL/h for 8 h", '
        '"105.26 mL/h for 1 h", "52.63 mL/h for 1 h"]'
    )
    (error,) = of_code(edits, "duration-disagrees")
    assert "1578.9 mL" in error.message
    assert "2000 mL" in error.message


def test_half_rate_tapers_of_an_hour() -> None:
    """V / (T - 1), half of it first and last: 2000 mL in 12 h is 90.9, 181.8, 90.9 mL/h (a calculator page, READ)."""
    edits = one_dose(
        'volume = "2000 mL"\nduration = "12 h"\n'
        'rate_steps = ["90.9 mL/h for 1 h", "181.8 mL/h for 10 h", "90.9 mL/h for 1 h"]'
    )
    assert codes(edits)["duration-disagrees"] == 0
    assert runs(edits) == 12 * 60


# Sodium: 9 mg/mL of sodium chloride over 58.44 mg/mmol is 0.154 mmol/mL (saline label, READ; CALC)

THREE_TIMES_A_DAY = f"""
{LUMEN}
[plan]
end = "2026-06-05 08:00"
[order.a]
every = "8 h"
first_dose = "2026-06-01 14:00"
until_removal = true
duration = "30 min"
"""


def test_ten_millilitres_of_saline_hold_1_54_millimole_of_sodium() -> None:
    """One idle flush on a lumen locked with saline: 10 mL, 1.54 mmol, 0 units of heparin (saline label; CALC)."""
    plan = schedule('[plan]\nend = "2026-06-02 00:00"\n[line]\nlock = "saline"\n' + LUMEN)
    (flush,) = plan.touches
    total = totals(plan)[plan.plan.clock.local(flush.at).date()]
    assert total.flushed == 10
    assert total.sodium == Fraction("1.54")
    assert total.heparin == 0


def test_saline_before_and_after_every_8_hours_is_60_ml_and_9_24_millimole_a_day() -> None:
    """6 x 10 mL a day: 60 mL, 9.24 mmol of sodium (CALC on the label); the heparin locks add 3 x 5 mL of their own."""
    plan = schedule(THREE_TIMES_A_DAY)
    day = totals(plan)[date(2026, 6, 3)]
    assert day.whole
    assert day.sodium == Fraction("9.24")
    assert day.flushed == 60 + 15
    assert supplies(plan, z("2026-06-03 05:00"), z("2026-06-04 05:00"))["saline syringe"] == 6


@pytest.mark.parametrize(
    ("limit", "warnings"),
    [('sodium = "9.24 mmol"', 0), ('sodium = "9.24 mEq"', 0), ('sodium = "9.23 mmol"', 1), ('flushed = "75 mL"', 0)],
)
def test_a_daily_limit_is_exceeded_only_above_it(limit: str, warnings: int) -> None:
    """The same day against limits at and just below its total (R22)."""
    assert codes(f"{THREE_TIMES_A_DAY}\n[daily_limits]\n{limit}")["daily-total"] == warnings


# Heparin


def test_heparin_of_two_lumens_locked_twice_a_day() -> None:
    """10 units/mL x 5 mL x 2 lumens x 2 a day is 200 units (CALC on UW Health handout 7974, READ)."""
    plan = schedule(
        """
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [lumen.blue]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        clock_times = ["08:00", "20:00"]
        first_dose = "2026-06-01 08:00"
        until_removal = true
        duration = "60 min"
        [order.b]
        lumen = "blue"
        clock_times = ["08:30", "20:30"]
        first_dose = "2026-06-01 08:30"
        until_removal = true
        duration = "60 min"
        """
    )
    assert totals(plan)[date(2026, 6, 3)].heparin == 200


def test_strong_heparin_of_two_lumens_locked_once_a_day() -> None:
    """100 units/mL x 5 mL x 2 lumens x 1 a day is 1000 units (CALC on a 42-day case that a nurse asked about, READ)."""
    plan = schedule(
        """
        [line]
        idle_limit = "24 h"
        [fluid.heparin]
        strength = "100 units/mL"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [lumen.blue]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        clock_times = ["08:00"]
        first_dose = "2026-06-01 08:00"
        until_removal = true
        duration = "60 min"
        [order.b]
        lumen = "blue"
        clock_times = ["08:30"]
        first_dose = "2026-06-01 08:30"
        until_removal = true
        duration = "60 min"
        """
    )
    assert totals(plan)[date(2026, 6, 3)].heparin == 1000


# Days (all CALC)


def test_an_infusion_across_midnight_counts_on_each_day_for_what_runs_there() -> None:
    """400 mL from 21:00 to 01:00: three quarters of it before midnight."""
    plan = schedule(f'{LUMEN}\n[order.a]\nmoments = ["2026-06-02 21:00"]\nvolume = "400 mL"\nduration = "4 h"')
    by_day = totals(plan)
    assert [by_day[date(2026, 6, day)].infused for day in (1, 2, 3, 4)] == [0, 300, 100, 0]


def test_a_ramp_across_midnight_counts_each_step_where_it_runs() -> None:
    """50 mL/h from 21:30, 100 mL/h from 22:30 to 00:30, 50 mL/h to 01:30: 200 mL before midnight, 100 mL after."""
    plan = schedule(
        f"""
        {LUMEN}
        [order.a]
        moments = ["2026-06-02 21:30"]
        rate_steps = ["50 mL/h for 1 h", "100 mL/h for 2 h", "50 mL/h for 1 h"]
        """
    )
    by_day = totals(plan)
    assert [by_day[date(2026, 6, day)].infused for day in (2, 3)] == [200, 100]


@pytest.mark.parametrize(
    ("start", "end", "day", "hours"),
    [
        pytest.param("2026-10-30 08:00", "2026-11-03 08:00", date(2026, 11, 1), 25, id="autumn"),
        pytest.param("2027-03-12 08:00", "2027-03-16 08:00", date(2027, 3, 14), 23, id="spring"),
    ],
)
def test_the_day_of_a_clock_change_holds_as_many_hours_as_it_has(start: str, end: str, day: date, hours: int) -> None:
    """10 mL/h day and night: 250 mL on the day of 25 hours, 230 mL on that of 23, 240 mL on its neighbours."""
    plan = schedule(
        f"""
        [plan]
        takes_effect = "{start}"
        start = "{start}"
        end = "{end}"
        [lumen.red]
        last_flushed = "{start}"
        [order.a]
        continuous = true
        first_dose = "{start}"
        until_removal = true
        rate = "10 mL/h"
        """
    )
    by_day = totals(plan)
    assert by_day[day].infused == 10 * hours
    assert by_day[date.fromordinal(day.toordinal() - 1)].infused == 240
    assert by_day[date.fromordinal(day.toordinal() + 1)].infused == 240
    assert sum(total.infused for total in by_day.values()) == Fraction(10 * (plan.end - plan.start), 60)


def test_days_that_the_plan_covers_in_part_say_so() -> None:
    """From 08:00 on the 1st to 08:00 on the 8th: the first and the last day are parts, the six between are whole."""
    plan = schedule(LUMEN)
    assert [(total.day.day, total.whole) for total in daily_totals(plan)] == [
        (1, False),
        *((day, True) for day in range(2, 8)),
        (8, False),
    ]


def test_a_bag_without_a_rate_counts_by_its_change() -> None:
    """A continuous infusion of 480 mL bags changed every 24 h is 480 mL a day."""
    plan = schedule(
        f"""
        {LUMEN}
        [order.a]
        continuous = true
        first_dose = "2026-06-01 10:00"
        until_removal = true
        volume = "480 mL"
        bag_every = "24 h"
        bag_flush = []
        """
    )
    by_day = totals(plan)
    assert by_day[date(2026, 6, 1)].infused == 280  # 14 of 24 hours
    assert by_day[date(2026, 6, 2)].infused == 480


def test_a_bag_without_a_rate_changed_by_the_clock_counts_too() -> None:
    """The same bag changed at 10:00 each day is the same 480 mL a day."""
    plan = schedule(
        f"""
        {LUMEN}
        [order.a]
        continuous = true
        first_dose = "2026-06-01 10:00"
        until_removal = true
        volume = "480 mL"
        bag_times = ["10:00"]
        bag_flush = []
        """
    )
    assert totals(plan)[date(2026, 6, 2)].infused == 480


def test_a_flush_after_midnight_counts_on_its_own_day() -> None:
    """A dose from 23:30 to midnight: the flush before it on the one day, flush and lock after it on the next."""
    plan = schedule(
        f'{LUMEN}\n[line]\nidle_limit = "48 h"\n[order.a]\nmoments = ["2026-06-02 23:30"]\nduration = "30 min"'
    )
    by_day = totals(plan)
    assert [by_day[date(2026, 6, day)].flushed for day in (2, 3)] == [10, 15]
    assert [by_day[date(2026, 6, day)].heparin for day in (2, 3)] == [0, 50]
