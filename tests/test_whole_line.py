"""Signs about the whole line: which of them stand, until everything is released (S1)."""

import pytest
from histories import record

from reminders.record.facts import Sign, withdrawal
from reminders.saying.phrases import PHRASES, Verb
from reminders.schedule.whole_line import WHOLE_LINE_SIGNS, whole_line_signs


@pytest.mark.parametrize("note", WHOLE_LINE_SIGNS)
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
