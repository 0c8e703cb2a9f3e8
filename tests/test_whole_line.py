"""Signs about the whole line: which of them stand, until everything is released (S1)."""

import pytest
from histories import after, at, record

from reminders.record.facts import Sign, withdrawal
from reminders.saying.phrases import PHRASES, Verb
from reminders.schedule.whole_line import DRESSING_SIGNS, WHOLE_LINE_SIGNS, dressing_signs, line_signs, whole_line_signs
from reminders.views.due import due


@pytest.mark.parametrize("note", [*WHOLE_LINE_SIGNS, *DRESSING_SIGNS])
def test_each_sign_is_one_that_can_be_said(note: str) -> None:
    """The words in which it is recorded are those by which it is known."""
    phrase = PHRASES[note]
    assert (phrase.verb, phrase.sign, phrase.note) == (Verb.PROBLEM, Sign.OTHER, note)


@pytest.mark.parametrize(
    ("lines", "standing"),
    [
        (["06-01 09:00 problem sign=other note=fever"], ["fever"]),
        (["06-01 09:00 problem sign=other note=line_broken", "06-01 09:05 problem sign=other note=fever"], 2),
        (["06-01 09:00 problem sign=other note=dressing_wet"], []),
        (["06-01 09:00 problem sign=other note=felt_odd"], []),
        (["06-01 09:00 problem sign=other"], []),
        (["06-01 09:00 problem sign=swelling lumen=red note=fever"], []),
        (["06-01 09:00 problem sign=other lumen=red note=line_broken"], ["line broken"]),
        (["06-01 09:00 problem sign=other note=fever:_38.9"], ["fever: 38.9"]),
        (["06-01 09:00 problem sign=other note=no_fever"], []),
        (["06-01 09:00 problem sign=other note=fever", "06-01 10:00 released"], []),
        (["06-01 09:00 problem sign=other note=fever", "06-01 09:00 released"], []),  # within the same minute
        (["06-01 10:00 released", "06-01 10:00 problem sign=other note=fever"], ["fever"]),
        (["06-01 08:00 released", "06-01 09:00 problem sign=other note=fever"], ["fever"]),
        (["06-01 10:00 released", "06-01 09:00 problem sign=other note=fever"], []),  # entered afterwards
        (["06-01 09:00 problem sign=other note=fever", "06-01 10:00 released lumen=red"], ["fever"]),
        (["06-01 09:00 problem sign=other note=fever", "06-01 10:00 released order=cefazolin"], ["fever"]),
    ],
)
def test_a_sign_stands_until_everything_is_released(lines: list[str], standing: list[str] | int) -> None:
    found = [fact.note for fact in whole_line_signs(record(lines))]
    assert (len(found) if isinstance(standing, int) else found) == standing


def test_what_was_taken_back_does_not_stand() -> None:
    told = record("06-01 09:00 problem sign=other note=fever")
    assert whole_line_signs(told)
    taken = told.with_facts(withdrawal(told, told.facts[0].report, told.facts[0].entered))
    assert whole_line_signs(taken) == ()


WET = "06-01 09:00 problem sign=other note=dressing_wet"
DRESSING = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[task.site]
kind = "dressing"
label = "New dressing"
done_by = "nurse"
every_days = 7
at = "10:00"
last_done = "2026-05-28 10:00"
"""


@pytest.mark.parametrize(
    ("after_it", "standing"),
    [
        ("", ["dressing wet"]),
        ("06-01 10:00 problem sign=other note=dressing_loose:_a_corner", ["dressing wet", "dressing loose: a corner"]),
        ("06-01 10:00 problem sign=other note=dressing_wet", ["dressing wet"]),
        ("06-01 10:00 task-done name=site", []),
        ("06-01 10:00 task-done name=New_dressing", []),
        ("06-01 10:00 task-done name=dressing", []),
        ("06-01 08:00 task-done name=site", ["dressing wet"]),
        ("06-01 10:00 task-done name=weighing", ["dressing wet"]),
        ("06-01 10:00 released said_by=Nurse", []),
        ("06-01 10:00 released", ["dressing wet"]),  # home again: nobody has said that it was seen to
        ("06-01 10:00 released lumen=red said_by=Nurse", ["dressing wet"]),
        ("06-01 10:00 line-exchanged", []),
    ],
)
def test_a_dressing_stands_until_it_was_changed_or_a_clinician_has_said_what_to_do(
    after_it: str, standing: list[str]
) -> None:
    told = "\n".join([WET, after_it])
    schedule = after(DRESSING, told, "06-02 09:00")
    assert [fact.note for fact in dressing_signs(record(told), schedule)] == standing
    assert whole_line_signs(record(told)) == ()


def test_a_wet_dressing_stands_on_the_list_of_what_is_due_and_blocks_nothing() -> None:
    schedule, now = after(DRESSING, WET, "06-02 09:00"), at("06-02 09:00")
    text = due(schedule, now, line_signs(record(WET), schedule))
    assert "\nDressing wet, since Mon 1 Jun 2026, 09:00 CDT. Call Pharmacist" in text or "Dressing wet, since" in text
    assert "STOP: Dressing" not in text
    assert schedule.lumens["red"].blocked == ()
