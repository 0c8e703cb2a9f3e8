"""Whether a revision counts an order's doses on from the one before, and what it means where it does not."""

import pytest
from histories import after

from reminders.schedule.revision_review import review_revision

LUMEN = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
"""

ORDER = f"""
{LUMEN}
[order.a]
clock_times = ["09:00", "21:00"]
first_dose = "2026-06-01 09:00"
doses = 12
duration = "30 min"
"""
"""12 doses, at 9 and 21 o'clock from 1 June on: the last one on the 6th at 21:00. The plan ends on the 8th at 08:00."""

LEVEL = """
[task.level]
kind = "blood draw"
label = "Level"
done_by = "nurse"
order = "a"
before_dose = "15 min"
only_doses = [4]
on_time_within = "15 min"
"""
"""Blood is drawn before dose 4, which is that of the 2nd at 21:00."""

NEXT = """
[plan]
revision = 2
takes_effect = "2026-06-03 14:00"
"""
"""The next revision; 5 doses stand before it."""

LATER = """
[order.a]
clock_times = ["10:00", "22:00"]
first_dose = "2026-06-03 22:00"
"""
"""The times move by an hour; the first dose at the new times is that of the 3rd at 22:00, the 6th of all."""

EVERY = f"""
{LUMEN}
[order.a]
every = "12 h"
first_dose = "2026-06-01 09:00"
doses = 12
duration = "30 min"
"""
BY_DATE = ORDER.replace("doses = 12", "last_day = 2026-06-06")
LISTED = """
[order.a]
moments = ["2026-06-01 09:00", "2026-06-02 09:00", "2026-06-03 09:00", "2026-06-04 09:00", "2026-06-05 09:00"]
duration = "30 min"
"""
SHOWN = "2026-06-03 14:00 CDT"
RESTARTS = (
    f"a: 5 doses stand before this revision takes effect ({SHOWN}).",
    "The count starts again: the dose of 2026-06-03 22:00 CDT is called dose 1 of 12, and is really dose 6.",
)
SEVENTEEN = (
    "That makes 17 doses in all; 12 are ordered.",
    "The last one comes 2026-06-09 10:00 CDT instead of 2026-06-06 21:00 CDT.",
    "3 of them lie after the plan has ended (2026-06-08 08:00 CDT), where nothing is planned.",
)
TWICE = "Level, for dose 4, comes twice: for the doses of 2026-06-02 21:00 CDT and 2026-06-05 10:00 CDT."

ROWS: list[tuple[str, str, str, tuple[str, ...]]] = [
    ("only the times change, and the count starts again", ORDER, LATER, (*RESTARTS, *SEVENTEEN)),
    ("the same with a level before dose 4", ORDER + LEVEL, LATER, (*RESTARTS, *SEVENTEEN, TWICE)),
    ("an order by an interval", EVERY, '[order.a]\nfirst_dose = "2026-06-03 22:00"', (*RESTARTS, *SEVENTEEN)),
    (
        "the doses that are still to be given, and a level before dose 4",
        ORDER + LEVEL,
        LATER + "doses = 7",
        (RESTARTS[0], RESTARTS[1].replace("of 12", "of 7"), TWICE),
    ),
    (
        "a level before dose 8, which is now the 13th",
        ORDER + LEVEL.replace("[4]", "[8]"),
        LATER,
        (
            *RESTARTS,
            *SEVENTEEN,
            "Level, for dose 8, comes for the dose of 2026-06-07 10:00 CDT, which is really dose 13.",
        ),
    ),
    (
        "a level before dose 10, which now lies after the plan's end",
        ORDER + LEVEL.replace("[4]", "[10]"),
        LATER,
        (*RESTARTS, *SEVENTEEN, "Level, for dose 10, does not come any more."),
    ),
    (
        "more doses",
        ORDER,
        "[order.a]\ndoses = 14",
        (
            RESTARTS[0],
            "That makes 14 doses in all; the revision before makes 12.",
            "The last one comes 2026-06-07 21:00 CDT instead of 2026-06-06 21:00 CDT.",
        ),
    ),
    (
        "fewer doses than stand already",
        ORDER,
        "[order.a]\ndoses = 3",
        (
            RESTARTS[0],
            "No dose comes after it.",
            "That makes 5 doses in all; 3 are stated; the revision before makes 12.",
        ),
    ),
    (
        "a last day instead of a number",
        ORDER,
        f"{LATER}without doses\nlast_day = 2026-06-05",
        (
            RESTARTS[0],
            RESTARTS[1].replace(" of 12", ""),
            "That makes 10 doses in all; the revision before makes 12.",
            "The last one comes 2026-06-05 22:00 CDT instead of 2026-06-06 21:00 CDT.",
        ),
    ),
    ("a last day, and a level", BY_DATE + LEVEL, LATER, (RESTARTS[0], RESTARTS[1].replace(" of 12", ""), TWICE)),
    (
        "three times a day instead of two, reckoned from the first dose on",
        ORDER + LEVEL.replace("[4]", "[7]"),
        '[order.a]\nclock_times = ["01:00", "09:00", "17:00"]',
        (
            RESTARTS[0],
            "The count does not go on: the dose of 2026-06-03 17:00 CDT is called dose 8 of 12, and is really dose 6.",
            "That makes 10 doses in all; 12 are ordered.",
            "The last one comes 2026-06-05 01:00 CDT instead of 2026-06-06 21:00 CDT.",
            "Level, for dose 7, does not come any more.",
        ),
    ),
    (
        "moments, and a level before dose 2",
        f"{LUMEN}{LISTED}{LEVEL.replace('[4]', '[2]')}",
        '[order.a]\nmoments = ["2026-06-04 10:00", "2026-06-05 10:00"]',
        (
            "a: 3 doses stand before this revision takes effect (2026-06-03 14:00 CDT).",
            "The count starts again: the dose of 2026-06-04 10:00 CDT is called dose 1, and is really dose 4.",
            "Level, for dose 2, comes twice: for the doses of 2026-06-02 09:00 CDT and 2026-06-05 10:00 CDT.",
        ),
    ),
]


def said(old: str, new: str, facts: str = "", earlier: tuple[str, ...] = ()) -> list[str]:
    """Return what is found in a revision after an old one, and those before that."""
    schedule = after(old + NEXT + new, facts, "06-03 12:00", [*earlier, old])
    return [finding.message for finding in review_revision(schedule)]


@pytest.mark.parametrize(("old", "new", "parts"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_what_a_revision_does_to_the_count(old: str, new: str, parts: tuple[str, ...]) -> None:
    assert said(old, new) == [" ".join(parts)]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        pytest.param(ORDER + LEVEL, "", id="nothing changes"),
        pytest.param(ORDER + LEVEL, LATER + "first_dose_number = 6", id="the count goes on"),
        pytest.param(EVERY + LEVEL, '[order.a]\nfirst_dose = "2026-06-03 22:00"\nfirst_dose_number = 6', id="interval"),
        pytest.param(
            f"{LUMEN}{LISTED}{LEVEL}",
            '[order.a]\nmoments = ["2026-06-04 10:00", "2026-06-05 10:00"]\nfirst_dose_number = 4',
            id="moments",
        ),
        pytest.param(
            ORDER + LEVEL,
            '[order.a]\nclock_times = ["10:00", "22:00"]\nfirst_dose = "2026-06-01 10:00"',
            id="as many as before, reckoned from the first dose on",
        ),
        pytest.param(ORDER, LATER + "doses = 7", id="the doses that are still to be given"),
        pytest.param(BY_DATE, LATER, id="a last day, and no task for a numbered dose"),
        pytest.param(ORDER, LATER.replace("[order.a]", '[order.a]\ndrug = "another"'), id="another drug"),
        pytest.param(ORDER, '[order.a]\ndose = "2 g"', id="another dose"),
        pytest.param(
            ORDER.replace("06-01 09", "06-04 09"),
            LATER.replace("06-03 22", "06-05 22"),
            id="no dose stands before the change",
        ),
        pytest.param(
            LUMEN + '[order.a]\ncontinuous = true\nfirst_dose = "2026-06-01 09:00"\nuntil_removal = true',
            '[order.a]\nfirst_dose = "2026-06-03 22:00"',
            id="continuous",
        ),
    ],
)
def test_nothing_is_said_where_the_count_goes_on(old: str, new: str) -> None:
    assert said(old, new) == []


def test_an_order_that_stops_and_one_with_a_new_name_are_two_orders() -> None:
    new = f"{ORDER}{LATER}".replace("[order.a]", "[order.b]")
    schedule = after(new + NEXT, "", "06-03 12:00", [ORDER])
    assert review_revision(schedule) == []


def test_what_is_recorded_of_the_doses_before_is_said() -> None:
    facts = """
    06-01 09:05 started order=a dose=2026-06-01T09:00
    06-01 09:40 finished order=a dose=2026-06-01T09:00
    06-01 22:00 not-given order=a dose=2026-06-01T21:00
    """
    (message,) = said(ORDER, LATER, facts)
    assert message.startswith(
        f"{RESTARTS[0][:-1]}, 1 recorded as given and 1 as not given. {RESTARTS[1]} {SEVENTEEN[0]}"
    )


THIRD = '[plan]\nrevision = 3\ntakes_effect = "2026-06-04 14:00"\n'
"""Seven doses stand before it."""


def test_a_count_that_went_wrong_is_said_until_it_is_right_again() -> None:
    second = ORDER + NEXT + LATER
    schedule = after(second + THIRD, "", "06-03 12:00", [ORDER, second])
    (finding,) = review_revision(schedule)
    assert "the dose of 2026-06-04 22:00 CDT is called dose 3 of 12, and is really dose 8" in finding.message
    assert "That makes 17 doses in all; 12 are stated." in finding.message
    healed = second + THIRD + '[order.a]\nfirst_dose = "2026-06-04 22:00"\nfirst_dose_number = 8\n'
    assert "set first_dose to 2026-06-04 22:00 and first_dose_number to 8, and keep 12" in finding.mend
    assert review_revision(after(healed, "", "06-03 12:00", [ORDER, second])) == []


@pytest.mark.parametrize(
    ("old", "new", "mend"),
    [
        (
            ORDER,
            LATER,
            "let the count go on: set first_dose to 2026-06-03 22:00 and first_dose_number to 6, and keep 12 as the number of doses.",
        ),
        (
            ORDER,
            "[order.a]\ndoses = 14",
            "those before the change; if 14 doses are still to be given, write 19.",
        ),
    ],
)
def test_the_way_to_mend_it_is_said(old: str, new: str, mend: str) -> None:
    (finding,) = review_revision(after(old + NEXT + new, "", "06-03 12:00", [old]))
    assert finding.mend.startswith("Ask the prescriber how many doses are meant in all")
    assert mend in finding.mend
    assert finding.places == (("order", "a", "first_dose"), ("order", "a", "doses"))
    assert finding.severity.name == "WARNING"


def test_counting_on_changes_no_name_of_an_event() -> None:
    counted, anew = (
        after(ORDER + NEXT + LATER + more, "", "06-03 12:00", [ORDER]) for more in ("first_dose_number = 6", "")
    )
    names = {touch.at: touch.uid for touch in counted.touches if touch.starts}
    assert len(names) == 12
    assert names.items() <= {touch.at: touch.uid for touch in anew.touches if touch.starts}.items()
    assert [dose.number for dose in counted.doses["a"]] == list(range(1, 13))
