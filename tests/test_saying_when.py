"""What a person says about a time, against hand-worked tables and against a walk over every minute of the clock (R3, R5).

The walk reads the zone data with the TZif reader of :mod:`simulation`, not with ``zoneinfo``. Clock changes of 2026 and
2027 in Chicago are those of :mod:`test_clocks`: back on 2026-11-01 at 02:00 CDT, forward on 2027-03-14 at 02:00 CST.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulation import EPOCH, Change, ZoneRules, minutes_of, zone_rules
from strategies import DAY, ZONES, clock_changes

from reminders.saying.when import FORMS, ZONE_LETTERS, Reading, UnclearTimeError, split_time, when
from reminders.times import Instant, ZoneTimeline, from_datetime, local
from reminders.zones import known_zones, zone

CHICAGO = "America/Chicago"
RUNS = settings(max_examples=120)


def at(text: str) -> Instant:
    """Return the instant of a moment with its offset: ``2026-11-01 01:30-05:00``."""
    return from_datetime(datetime.fromisoformat(text))


def journey(home: str, *legs: tuple[Instant, str]) -> ZoneTimeline:
    """Return a household's clock that is at home and then moves."""
    return ZoneTimeline(zone(home), tuple((instant, zone(name)) for instant, name in legs))


def heard(
    said: str, clock: ZoneTimeline, now: Instant, *, ahead: bool = False, earliest: Instant | None = None
) -> Instant | UnclearTimeError:
    """Return what comes of a said time: an instant, or the question back. The plan began a year ago unless given."""
    try:
        return when(said, clock, now, earliest=Instant(now - 365 * DAY) if earliest is None else earliest, ahead=ahead)
    except UnclearTimeError as error:
        return error


def asked(
    said: str, clock: ZoneTimeline, now: Instant, *, ahead: bool = False, earliest: Instant | None = None
) -> UnclearTimeError:
    """Return the question that comes back; each of its readings, typed, means just that instant."""
    error = heard(said, clock, now, ahead=ahead, earliest=earliest)
    assert isinstance(error, UnclearTimeError), f"{said} was taken for {error}"
    assert error.problem == str(error)
    assert error.problem.endswith((".", "?"))
    for reading in error.readings:
        assert heard(reading.say, clock, now, ahead=ahead, earliest=earliest) == reading.instant
    assert [reading.instant for reading in error.readings] == sorted({reading.instant for reading in error.readings})
    assert len({reading.words for reading in error.readings}) == len(error.readings)
    return error


# --- What is understood: Monday 2 November 2026, 15:20 CST in Chicago, the day after the clocks went back ---

NOW = "2026-11-02 15:20-06:00"

PAST = [
    ("", "2026-11-02 15:20-06:00"),
    ("now", "2026-11-02 15:20-06:00"),
    ("15:20", "2026-11-02 15:20-06:00"),  # the minute that it is
    ("9:40", "2026-11-02 09:40-06:00"),
    ("09:40", "2026-11-02 09:40-06:00"),
    ("9.40", "2026-11-02 09:40-06:00"),
    ("3:10", "2026-11-02 03:10-06:00"),  # not 15:10, which is past too
    ("at 9:40", "2026-11-02 09:40-06:00"),
    ("  AT   9:40 ", "2026-11-02 09:40-06:00"),
    ("9:40 am", "2026-11-02 09:40-06:00"),
    ("2:15 pm", "2026-11-02 14:15-06:00"),
    ("2:15pm", "2026-11-02 14:15-06:00"),
    ("2:15 P.M.", "2026-11-02 14:15-06:00"),
    ("2 pm", "2026-11-02 14:00-06:00"),
    ("2pm", "2026-11-02 14:00-06:00"),
    ("noon", "2026-11-02 12:00-06:00"),
    ("12 pm", "2026-11-02 12:00-06:00"),
    ("12:30 pm", "2026-11-02 12:30-06:00"),
    ("midnight", "2026-11-02 00:00-06:00"),
    ("12 am", "2026-11-02 00:00-06:00"),
    ("12:30 am", "2026-11-02 00:30-06:00"),
    ("0:00", "2026-11-02 00:00-06:00"),
    ("20 min ago", "2026-11-02 15:00-06:00"),
    ("20min ago", "2026-11-02 15:00-06:00"),
    ("0 min ago", "2026-11-02 15:20-06:00"),
    ("2 h ago", "2026-11-02 13:20-06:00"),
    ("2 hours ago", "2026-11-02 13:20-06:00"),
    ("1 h 30 min ago", "2026-11-02 13:50-06:00"),
    ("at 1 h 30 min ago", "2026-11-02 13:50-06:00"),
    ("an hour ago", "2026-11-02 14:20-06:00"),
    ("half an hour ago", "2026-11-02 14:50-06:00"),
    ("40 h ago", "2026-11-01 00:20-05:00"),  # elapsed hours: the one that came twice counts twice
    ("today 9:40", "2026-11-02 09:40-06:00"),
    ("yesterday 21:15", "2026-11-01 21:15-06:00"),
    ("yesterday at 9:15 pm", "2026-11-01 21:15-06:00"),
    ("at yesterday at 9:15 pm CST", "2026-11-01 21:15-06:00"),
    ("21:15 yesterday", "2026-11-01 21:15-06:00"),
    ("yesterday noon", "2026-11-01 12:00-06:00"),
    ("yesterday 1:30 CST", "2026-11-01 01:30-06:00"),
    ("1:30 cdt yesterday", "2026-11-01 01:30-05:00"),
    ("Mon 9:40", "2026-11-02 09:40-06:00"),  # today is a Monday
    ("Sun 21:15", "2026-11-01 21:15-06:00"),
    ("Saturday 21:15", "2026-10-31 21:15-05:00"),
    ("tues 9:40", "2026-10-27 09:40-05:00"),
    ("Wed, 9:40", "2026-10-28 09:40-05:00"),
    ("Wed 28 Oct 2026, 09:40 CDT", "2026-10-28 09:40-05:00"),  # as this program writes it
    ("28 Oct 9:40", "2026-10-28 09:40-05:00"),
    ("28 October at 9:40 am", "2026-10-28 09:40-05:00"),
    ("Oct 28, 9:40", "2026-10-28 09:40-05:00"),
    ("28 Oct noon", "2026-10-28 12:00-05:00"),
    ("today midnight", "2026-11-02 00:00-06:00"),  # tonight's is still to come
    ("2026-10-26 09:40", "2026-10-26 09:40-05:00"),
    ("2026-10-26T09:40", "2026-10-26 09:40-05:00"),
    ("2026-10-26 9:40 pm", "2026-10-26 21:40-05:00"),
    ("2026-10-26 09:40-05:00", "2026-10-26 09:40-05:00"),
    ("2026-10-26 09:40+01:00", "2026-10-26 09:40+01:00"),
    ("2026-10-26 09:40 +0100", "2026-10-26 09:40+01:00"),
    ("2026-10-26T09:40Z", "2026-10-26 09:40+00:00"),
    ("2026-10-26 09:40 UTC", "2026-10-26 09:40+00:00"),
    ("2026-11-01 01:30 CST", "2026-11-01 01:30-06:00"),
    ("9:40 CST", "2026-11-02 09:40-06:00"),
    ("9:40-06:00", "2026-11-02 09:40-06:00"),
    ("9:40 UTC-06:00", "2026-11-02 09:40-06:00"),
]

AHEAD = [
    ("15:21", "2026-11-02 15:21-06:00"),
    ("to 16:00", "2026-11-02 16:00-06:00"),
    ("4 pm", "2026-11-02 16:00-06:00"),
    ("9:40", "2026-11-03 09:40-06:00"),
    ("15:20", "2026-11-03 15:20-06:00"),  # the minute that it is does not lie ahead
    ("noon", "2026-11-03 12:00-06:00"),
    ("midnight", "2026-11-03 00:00-06:00"),
    ("12 am", "2026-11-03 00:00-06:00"),
    ("today midnight", "2026-11-03 00:00-06:00"),
    ("in 20 min", "2026-11-02 15:40-06:00"),
    ("in 2 h", "2026-11-02 17:20-06:00"),
    ("in 1 h 30 min", "2026-11-02 16:50-06:00"),
    ("in an hour", "2026-11-02 16:20-06:00"),
    ("in half an hour", "2026-11-02 15:50-06:00"),
    ("tomorrow 8:00", "2026-11-03 08:00-06:00"),
    ("8:00 tomorrow", "2026-11-03 08:00-06:00"),
    ("Mon 16:00", "2026-11-02 16:00-06:00"),
    ("Sunday 8:00", "2026-11-08 08:00-06:00"),
    ("Tue 8:00 am", "2026-11-03 08:00-06:00"),
    ("2026-11-20 08:00", "2026-11-20 08:00-06:00"),
    ("2026-11-20 08:00Z", "2026-11-20 08:00+00:00"),
]


@pytest.mark.parametrize(("said", "meant"), PAST)
def test_what_has_happened(said: str, meant: str) -> None:
    """By hand, on the clock of Chicago."""
    assert heard(said, journey(CHICAGO), at(NOW)) == at(meant)


@pytest.mark.parametrize(("said", "meant"), AHEAD)
def test_what_lies_ahead(said: str, meant: str) -> None:
    """By hand, on the clock of Chicago."""
    assert heard(said, journey(CHICAGO), at(NOW), ahead=True) == at(meant)


def test_the_forms_that_are_told_are_understood() -> None:
    """Every example in the sentence that messages and help show."""
    past = (
        "9:40|21:15|9:40 pm|noon|midnight|20 min ago|1 h 30 min ago|an hour ago|yesterday 21:15|Mon 21:15|26 Oct 9:40"
    )
    late = Instant(at(NOW) + 8 * 60)
    for said in [*past.split("|"), "2026-10-26 09:40"]:
        assert said in FORMS
        assert isinstance(heard(said, journey(CHICAGO), late), int), said
    for said in ("in 20 min", "tomorrow 8:00"):
        assert said in FORMS
        assert isinstance(heard(said, journey(CHICAGO), late, ahead=True), int), said


# --- What is asked back or refused ---

IS_NOW = "it is now Mon 2 Nov 2026, 15:20 CST."

REFUSED = [
    ("15:21", f"15:21 today is still to come: {IS_NOW}", ["2026-11-01 15:21-06:00"]),
    ("9:40 pm", f"21:40 today is still to come: {IS_NOW}", ["2026-11-01 21:40-06:00"]),
    ("today 21:40", f"21:40 today is still to come: {IS_NOW}", []),
    ("Mon 21:15", f"21:15 today is still to come: {IS_NOW}", ["2026-10-26 21:15-05:00"]),
    ("tomorrow 8:00", f"8:00 on Tue 3 Nov 2026 is still to come: {IS_NOW}", []),
    ("2026-11-02 15:21", f"15:21 today is still to come: {IS_NOW}", []),
    ("2026-11-02 21:21Z", f"Mon 2 Nov 2026, 15:21 CST is still to come: {IS_NOW}", []),
    ("in 1 min", f"Mon 2 Nov 2026, 15:21 CST is still to come: {IS_NOW}", []),
    ("9", '"9" alone is not clear: is it 9:00 or 21:00?', ["2026-11-01 21:00-06:00", "2026-11-02 09:00-06:00"]),
    ("at 3", '"at 3" alone is not clear: is it 3:00 or 15:00?', ["2026-11-02 03:00-06:00", "2026-11-02 15:00-06:00"]),
    (
        "12",
        '"12" alone is not clear: is it 0:00 or 12:00?',
        ["2026-11-02 00:00-06:00", "2026-11-02 12:00-06:00"],
    ),
    ("14", '"14" alone may not be a time: write 14:00.', ["2026-11-02 14:00-06:00"]),
    ("0", '"0" alone may not be a time: write 0:00.', ["2026-11-02 00:00-06:00"]),
    (
        "yesterday 9",
        '"yesterday 9" alone is not clear: is it 9:00 or 21:00?',
        ["2026-11-01 09:00-06:00", "2026-11-01 21:00-06:00"],
    ),
    (
        "yesterday 1:30",
        "1:30 on Sun 1 Nov 2026 comes more than once, because the clock is set back: say which one is meant.",
        ["2026-11-01 01:30-05:00", "2026-11-01 01:30-06:00"],
    ),
    (
        "yesterday midnight",
        "Midnight of Sun 1 Nov 2026 can be its beginning or its end: say which one is meant.",
        ["2026-11-01 00:00-05:00", "2026-11-02 00:00-06:00"],
    ),
    (
        "Sat 12 am",
        "Midnight of Sat 31 Oct 2026 can be its beginning or its end: say which one is meant.",
        ["2026-10-31 00:00-05:00", "2026-11-01 00:00-05:00"],
    ),
    ("9:40 CDT", "At 9:40 today the clock is not on CDT.", ["2026-11-02 09:40-06:00"]),
    ("9:40Z", "At 9:40 today the clock is not on Z.", ["2026-11-02 09:40-06:00"]),
    ("9:40-05:00", "At 9:40 today the clock is not on UTC-05:00.", ["2026-11-02 09:40-06:00"]),
    (
        "2026-11-01 1:30 EST",
        "At 1:30 on Sun 1 Nov 2026 the clock is not on EST.",
        ["2026-11-01 01:30-05:00", "2026-11-01 01:30-06:00"],
    ),
    ("25:10", '"25:10" is not a time of day: hours go from 0 to 23 and minutes from 0 to 59.', []),
    ("9:75", '"9:75" is not a time of day: hours go from 0 to 23 and minutes from 0 to 59.', []),
    ("24:00", '"24:00" is not a time of day: hours go from 0 to 23 and minutes from 0 to 59.', []),
    ("45", '"45" is not a time of day: hours go from 0 to 23 and minutes from 0 to 59.', []),
    ("13 pm", '"13 pm" is not a time of day: with am or pm the hours go from 1 to 12.', []),
    ("0:10 am", '"0:10 am" is not a time of day: with am or pm the hours go from 1 to 12.', []),
    ("2026-02-30 09:40", "There is no day 2026-02-30.", []),
    ("2026-11-01 09:40+15:00", "+15:00 is not an offset of any zone: write one such as -05:00.", []),
    ("9:40-05:60", "-05:60 is not an offset of any zone: write one such as -05:00.", []),
    ("0001-01-01 09:40", "That is more than 400 days away.", []),
    ("9999-12-31 23:59", "That is more than 400 days away.", []),
    ("0001-01-01 00:00+14:00", "That is more than 400 days away.", []),
    ("99999 h ago", "That is more than 400 days away.", []),
    ("3 Nov 9:40", f"9:40 on Tue 3 Nov 2026 is still to come: {IS_NOW}", []),  # not that of a year ago
    ("31 Sep 9:40", "There is no day 31 sep.", []),
    ("Tue 28 Oct 9:40", '"tue 28 oct" is a Wed 28 Oct 2026: which of the two is meant?', []),
    ("28 Oct", '"28 oct" alone is not clear: say the time of day too, such as "28 oct 21:15".', []),
    ("Yesterday", '"yesterday" alone is not clear: say the time of day too, such as "yesterday 21:15".', []),
    ("2026-11-01", '"2026-11-01" alone is not clear: say the time of day too, such as "2026-11-01 21:15".', []),
    *(
        (said, f'"{said}" is not understood as a time. {FORMS}', [])
        for said in (
            "later,at,ago,in,min ago,20 min,20 ago,123456 h ago,2 days ago,-20 min ago,9:4,9:400,9:40:00,940,9:40 red,"
            "9:40 pmm,Mon 9:40 Mon,yesterday today,noon pm,9:40 am pm,2026-11-1 9:40,٩:٤٠,9:40 ago,now now,at at 9:40"
        ).split(",")
    ),
]

REFUSED_AHEAD = [
    ("", "Say a time that is still to come, such as 11:00 or in 20 min.", []),
    ("now", "Say a time that is still to come, such as 11:00 or in 20 min.", []),
    ("today 9:40", f"9:40 today is no longer to come: {IS_NOW}", []),
    ("today 15:20", f"15:20 today is no longer to come: {IS_NOW}", []),
    ("in 0 min", f"Mon 2 Nov 2026, 15:20 CST is no longer to come: {IS_NOW}", []),
    ("20 min ago", f"Mon 2 Nov 2026, 15:00 CST is no longer to come: {IS_NOW}", []),
    ("yesterday 9:40", f"9:40 on Sun 1 Nov 2026 is no longer to come: {IS_NOW}", []),
    ("Mon 9:40", f"9:40 today is no longer to come: {IS_NOW}", ["2026-11-09 09:40-06:00"]),
    ("9", '"9" alone is not clear: is it 9:00 or 21:00?', ["2026-11-02 21:00-06:00", "2026-11-03 09:00-06:00"]),
    (
        "tomorrow midnight",
        "Midnight of Tue 3 Nov 2026 can be its beginning or its end: say which one is meant.",
        ["2026-11-03 00:00-06:00", "2026-11-04 00:00-06:00"],
    ),
    ("9:40 CDT", "At 9:40 on Tue 3 Nov 2026 the clock is not on CDT.", ["2026-11-03 09:40-06:00"]),
    ("in 9601 h", "That is more than 400 days away.", []),
]


@pytest.mark.parametrize(("said", "problem", "says"), REFUSED)
def test_what_is_asked_back_of_the_past(said: str, problem: str, says: list[str]) -> None:
    """The whole sentence, and what could be typed instead."""
    error = asked(said, journey(CHICAGO), at(NOW))
    assert (error.problem, [reading.say for reading in error.readings]) == (problem, says)


@pytest.mark.parametrize(("said", "problem", "says"), REFUSED_AHEAD)
def test_what_is_asked_back_of_what_lies_ahead(said: str, problem: str, says: list[str]) -> None:
    """The whole sentence, and what could be typed instead."""
    error = asked(said, journey(CHICAGO), at(NOW), ahead=True)
    assert (error.problem, [reading.say for reading in error.readings]) == (problem, says)


def test_what_is_not_understood_is_quoted_on_one_line() -> None:
    """A long or unprintable text does not spoil the sentence."""
    problem = asked("late\x1b[2J\n" + "x" * 500, journey(CHICAGO), at(NOW)).problem
    assert problem.isprintable()
    assert len(problem) < 100 + len(FORMS)


def test_just_after_midnight_the_evening_is_not_taken_silently() -> None:
    """At 00:10, 23:50 is tonight's and still to come; yesterday's is offered."""
    error = asked("23:50", journey(CHICAGO), at("2026-10-27 00:10-05:00"))
    assert error.problem == "23:50 today is still to come: it is now Tue 27 Oct 2026, 00:10 CDT."
    assert error.readings == (
        Reading(at("2026-10-26 23:50-05:00"), "Mon 26 Oct 2026, 23:50 CDT", "2026-10-26 23:50-05:00"),
    )


def test_nothing_before_the_plan_began() -> None:
    """The plan's first minute counts; the one before does not, nor is it offered."""
    clock, now, began = journey(CHICAGO), at(NOW), at("2026-11-02 09:40-06:00")
    assert heard("9:40", clock, now, earliest=began) == began
    for said in ("9:39", "341 min ago", "2026-11-02 15:39Z"):
        problem = asked(said, clock, now, earliest=began).problem
        expected = "Mon 2 Nov 2026, 09:39 CST is before the plan began, Mon 2 Nov 2026, 09:40 CST."
        assert problem == expected
    assert asked("15:21", clock, now, earliest=began).readings == ()
    assert [reading.say for reading in asked("3", clock, now, earliest=began).readings] == ["2026-11-02 15:00-06:00"]


def test_nothing_before_a_plan_that_is_still_to_begin() -> None:
    """A plan may be written before it begins."""
    clock, now, begins = journey(CHICAGO), at(NOW), at("2026-11-03 08:00-06:00")
    for said, ahead in (("", False), ("noon", False), ("16:00", True)):
        assert asked(said, clock, now, earliest=begins, ahead=ahead).problem.endswith(
            "CST is before the plan begins, Tue 3 Nov 2026, 08:00 CST."
        )
    assert heard("8:00", clock, now, earliest=begins, ahead=True) == begins


@pytest.mark.parametrize("ahead", [False, True])
def test_four_hundred_days_and_no_more(ahead: bool) -> None:
    """400 days of 24 hours on the minute, either way."""
    clock, now = journey("Etc/UTC"), at("2026-11-02 15:20Z")
    sign = 1 if ahead else -1
    for minutes in (400 * DAY, 400 * DAY + 1):
        moment = local(Instant(now + sign * minutes), zone("Etc/UTC"))
        for said in (f"{moment:%Y-%m-%d %H:%M}", f"{moment:%Y-%m-%d %H:%M}Z"):
            found = heard(said, clock, now, ahead=ahead, earliest=Instant(0))
            assert (found == now + sign * minutes) is (minutes == 400 * DAY)
            assert (str(found) == "That is more than 400 days away.") is (minutes > 400 * DAY)


# --- Clock changes by hand ---

TWICE = "comes more than once, because the clock is set back: say which one is meant."


def test_an_hour_that_comes_twice() -> None:
    """Chicago, 2026-11-01: with both behind it is asked; between the two only one is possible."""
    clock = journey(CHICAGO)
    error = asked("1:30", clock, at("2026-11-01 09:00-06:00"))
    assert error.problem == f"1:30 today {TWICE}"
    assert error.readings == (
        Reading(at("2026-11-01 06:30Z"), "Sun 1 Nov 2026, 01:30 CDT", "2026-11-01 01:30-05:00"),
        Reading(at("2026-11-01 07:30Z"), "Sun 1 Nov 2026, 01:30 CST", "2026-11-01 01:30-06:00"),
    )
    between = at("2026-11-01 01:15-06:00")
    assert heard("1:30", clock, between) == at("2026-11-01 01:30-05:00")
    assert heard("1:30", clock, between, ahead=True) == at("2026-11-01 01:30-06:00")
    assert heard("1:30 CST", clock, at("2026-11-01 09:00-06:00")) == at("2026-11-01 01:30-06:00")
    assert heard("1:30 cdt", clock, at("2026-11-01 09:00-06:00")) == at("2026-11-01 01:30-05:00")
    assert asked("1:30", clock, at("2026-10-31 20:00-05:00"), ahead=True).problem == f"1:30 on Sun 1 Nov 2026 {TWICE}"
    early = asked("1:30 CST", clock, between)
    assert early.problem == "1:30 today is still to come: it is now Sun 1 Nov 2026, 01:15 CST."
    assert [reading.words for reading in early.readings] == ["Sun 1 Nov 2026, 01:30 CDT"]


def test_an_hour_that_comes_twice_without_letters() -> None:
    """Lord Howe, 2026-04-05: +11 until 02:00, then +10:30 from 01:30. Its zones have no letters."""
    error = asked("1:45", journey("Australia/Lord_Howe"), at("2026-04-05 09:00+10:30"))
    assert [(reading.words, reading.say) for reading in error.readings] == [
        ("Sun 5 Apr 2026, 01:45 UTC+11:00", "2026-04-05 01:45+11:00"),
        ("Sun 5 Apr 2026, 01:45 UTC+10:30", "2026-04-05 01:45+10:30"),
    ]
    for spelling in ("1:45+1030", "1:45 UTC+10:30", "1:45 +10:30"):
        assert heard(spelling, journey("Australia/Lord_Howe"), at("2026-04-05 09:00+10:30")) == at(
            "2026-04-05 01:45+10:30"
        )


def test_an_hour_that_the_clocks_skip() -> None:
    """Chicago, 2027-03-14: 02:30 would be 03:30 CDT by the old offset and 01:30 CST by the new one."""
    clock = journey(CHICAGO)
    problem = "There is no 2:30 today: the clock jumps from 02:00 CST to 03:00 CDT."
    error = asked("2:30", clock, at("2027-03-14 09:00-05:00"))
    assert error.problem == problem
    assert error.readings == (
        Reading(at("2027-03-14 07:30Z"), "Sun 14 Mar 2027, 01:30 CST", "2027-03-14 01:30-06:00"),
        Reading(at("2027-03-14 08:30Z"), "Sun 14 Mar 2027, 03:30 CDT", "2027-03-14 03:30-05:00"),
    )
    before = asked("2:30", clock, at("2027-03-14 00:10-06:00"))
    assert before.problem == problem
    assert [reading.say for reading in before.readings] == ["2027-03-13 02:30-06:00"]
    just_before = asked("2:30", clock, at("2027-03-14 01:45-06:00"))
    assert [reading.say for reading in just_before.readings] == ["2027-03-14 01:30-06:00"]


def test_a_skipped_hour_that_lies_ahead() -> None:
    """It is not moved silently; a day later there is a 2:30 again."""
    clock = journey(CHICAGO)
    error = asked("2:30", clock, at("2027-03-13 20:00-06:00"), ahead=True)
    assert error.problem == "There is no 2:30 on Sun 14 Mar 2027: the clock jumps from 02:00 CST to 03:00 CDT."
    assert [reading.say for reading in error.readings] == ["2027-03-14 01:30-06:00", "2027-03-14 03:30-05:00"]
    error = asked("2:30", clock, at("2027-03-14 01:45-06:00"), ahead=True)
    assert [reading.say for reading in error.readings] == ["2027-03-14 03:30-05:00"]
    assert heard("2:30", clock, at("2027-03-14 09:00-05:00"), ahead=True) == at("2027-03-15 02:30-05:00")


def test_a_midnight_that_the_clocks_skip() -> None:
    """Cairo, 2026-04-24: from 00:00 to 01:00, so the day has no midnight."""
    error = asked("midnight", journey("Africa/Cairo"), at("2026-04-24 09:00+03:00"))
    assert error.problem == "There is no 0:00 today: the clock jumps from 00:00 EET to 01:00 EEST."
    assert [reading.say for reading in error.readings] == ["2026-04-23 23:00+02:00", "2026-04-24 01:00+03:00"]


# --- Journeys by hand (R5) ---

TO_PARIS = journey("America/New_York", (at("2026-06-01 20:00-04:00"), "Europe/Paris"))
TO_DENVER = journey(CHICAGO, (at("2026-06-02 00:30-05:00"), "America/Denver"))
TO_CHICAGO = journey("Asia/Shanghai", (at("2026-12-01 12:00+08:00"), CHICAGO))
TO_SYDNEY = journey("America/Havana", (at("2026-06-01 22:00-04:00"), "Australia/Sydney"))


def test_a_journey_east_skips_hours() -> None:
    """20:00 EDT is 02:00 CEST: 22:00 never comes; it would be 16:00 EDT or 04:00 CEST."""
    error = asked("yesterday 22:00", TO_PARIS, at("2026-06-02 09:00+02:00"))
    assert error.problem == "There is no 22:00 on Mon 1 Jun 2026: the clock jumps from 20:00 EDT to 02:00 CEST."
    assert [reading.words for reading in error.readings] == ["Mon 1 Jun 2026, 16:00 EDT", "Tue 2 Jun 2026, 04:00 CEST"]


def test_a_journey_west_repeats_hours() -> None:
    """00:30 CDT on 2 June is 23:30 MDT on 1 June; so 0:10 on 2 June comes twice, and 23:40 on 1 June too."""
    assert [
        reading.words for reading in asked("yesterday 23:40", TO_DENVER, at("2026-06-02 09:00-06:00")).readings
    ] == [
        "Mon 1 Jun 2026, 23:40 CDT",
        "Mon 1 Jun 2026, 23:40 MDT",
    ]
    assert heard("0:10 MDT", TO_DENVER, at("2026-06-02 09:00-06:00")) == at("2026-06-02 00:10-06:00")
    # At 23:40 MDT it is 1 June again, but 0:10 on 2 June was half an hour ago: not silently that of the morning.
    error = asked("0:10", TO_DENVER, at("2026-06-01 23:40-06:00"))
    assert [reading.say for reading in error.readings] == ["2026-06-01 00:10-05:00", "2026-06-02 00:10-05:00"]
    # At 00:20 CDT on 2 June, 23:50 on 1 June is still to come, and so is that of the next night.
    error = asked("23:50", TO_DENVER, at("2026-06-02 00:20-05:00"), ahead=True)
    assert [reading.say for reading in error.readings] == ["2026-06-01 23:50-06:00", "2026-06-02 23:50-06:00"]


def test_the_same_letters_for_two_zones() -> None:
    """Shanghai and Chicago both write CST: 12:00 there is 22:00 the day before; the words give the offsets."""
    now = at("2026-12-01 12:00-06:00")
    for said in ("9:00", "9:00 CST"):
        error = asked(said, TO_CHICAGO, now)
        assert [(reading.words, reading.say) for reading in error.readings] == [
            ("Tue 1 Dec 2026, 09:00 UTC+08:00", "2026-12-01 09:00+08:00"),
            ("Tue 1 Dec 2026, 09:00 UTC-06:00", "2026-12-01 09:00-06:00"),
        ]
    assert heard("9:00-06:00", TO_CHICAGO, now) == at("2026-12-01 09:00-06:00")


def test_a_day_that_a_journey_skips() -> None:
    """22:00 on 1 June in Havana is 12:00 on 2 June in Sydney: 2 June has no morning."""
    error = asked("9:00", TO_SYDNEY, at("2026-06-02 15:00+10:00"))
    assert error.problem == "There is no 9:00 today: the clock jumps from 22:00 CDT to 12:00 AEST."
    assert [reading.words for reading in error.readings] == ["Mon 1 Jun 2026, 19:00 CDT"]


# --- Splitting the time off a list of words ---

SPLITS = [
    ("flushed grey 20 min ago", "flushed grey", "20 min ago"),
    ("flushed grey", "flushed grey", ""),
    ("", "", ""),
    ("9:40", "", "9:40"),
    ("flushed grey at 9:40", "flushed grey", "at 9:40"),
    ("delayed vancomycin to 11:00", "delayed vancomycin", "to 11:00"),
    ("flushed grey yesterday at 9:15 pm CDT", "flushed grey", "yesterday at 9:15 pm CDT"),
    ("flushed grey half an hour ago", "flushed grey", "half an hour ago"),
    ("flushed 2 20 min ago", "flushed 2", "20 min ago"),
    ("flushed 2 1 h 30 min ago", "flushed 2", "1 h 30 min ago"),
    ("flushed grey 2026-10-26 09:40 -05:00", "flushed grey", "2026-10-26 09:40 -05:00"),
    ("flushed grey 2026-10-26T09:40Z", "flushed grey", "2026-10-26T09:40Z"),
    ("started cefazolin 9:40 yesterday", "started cefazolin", "9:40 yesterday"),
    ("flushed grey NOW", "flushed grey", "NOW"),
    ("flushed 9:40 red", "flushed 9:40 red", ""),  # no zone is called red
    ("flushed 9:40 left", "flushed 9:40 left", ""),
    ("drawn red 10 mL", "drawn red 10 mL", ""),
    ("flushed grey 25:10", "flushed grey", "25:10"),  # to be refused as a time, not as a word
    ("flushed grey 9", "flushed grey", "9"),
    ("flushed grey yesterday", "flushed grey", "yesterday"),
    ("flushed grey 940", "flushed grey 940", ""),
    ("flushed grey 9:40 and then red", "flushed grey 9:40 and then red", ""),
]


@pytest.mark.parametrize(("sentence", "rest", "said"), SPLITS)
def test_the_time_at_the_end_of_a_sentence(sentence: str, rest: str, said: str) -> None:
    """The longest run of last words that has the shape of a time."""
    assert split_time(sentence.split()) == (rest.split(), said)


@pytest.mark.parametrize("said", [said for said, _ in PAST + AHEAD if said.strip()])
def test_every_form_splits_off_whole(said: str) -> None:
    """Whatever is understood is found at the end of a sentence."""
    assert split_time(["flushed", "grey", *said.split()]) == (["flushed", "grey"], " ".join(said.split()))


def test_all_letters_of_zones_are_known() -> None:
    """Every abbreviation that the IANA data give for 2026 to 2028 may follow a time."""
    instants = [Instant(minutes_of(datetime(year, month, 15))) for year in (2026, 2027, 2028) for month in range(1, 13)]
    used = {local(instant, zone(name)).tzname() or "" for name in known_zones() for instant in instants}
    assert {letters.casefold() for letters in used if letters.isalpha()} <= ZONE_LETTERS


# --- Against a walk over every minute ---

Legs = Sequence[tuple[int, str]]
"""Since when the household is on which zone's clock, in order."""


def walk(legs: Legs, first: int, last: int) -> dict[int, list[int]]:
    """Return what the household's clock shows from one instant to another, each reading (in minutes, as if it were UTC)
    with its instants."""
    shown = defaultdict(list)
    edges = [*(max(first, since) for since, _ in legs), last]
    for (since, name), (left, right) in zip(legs, pairwise(edges), strict=True):
        assert since <= left
        rules: ZoneRules = zone_rules(name)
        for minute in range(left, right):
            shown[minute + rules.offset(minute)].append(minute)
    return shown


def wall_of(reading: int) -> datetime:
    """Return a reading of the clock as a naive datetime."""
    return EPOCH + timedelta(minutes=reading)


def sides(change: Change, reading: int) -> list[int]:
    """Return what a skipped reading of the clock would be by the offsets after and before the change."""
    return [reading - change.after, reading - change.before]


def both_ways(name: str) -> list[Change]:
    """Return a zone's first change forward and its first change back, of 2026 to 2028."""
    changes = clock_changes(name)
    forward = [change for change in changes if change.after > change.before]
    back = [change for change in changes if change.after < change.before]
    return forward[:1] + back[:1]


@pytest.mark.parametrize("name", [name for name in ZONES if clock_changes(name)])
def test_every_minute_of_a_day_on_which_the_clocks_change(name: str) -> None:
    """Each reading is one instant, or asked back with just those instants that the walk finds."""
    clock = journey(name)
    for change in both_ways(name):
        shown = walk([(0, name)], change.at - 2 * DAY, change.at + 2 * DAY)
        now = Instant(change.at + 3 * DAY)
        for day in {zone_rules(name).wall(change.at + step).date() for step in (-61, 0)}:
            midnight = minutes_of(datetime.combine(day, time()))
            for reading in range(midnight, midnight + DAY):
                found = heard(f"{wall_of(reading):%Y-%m-%d %H:%M}", clock, now)
                expected = shown.get(reading) or sides(change, reading)
                if isinstance(found, UnclearTimeError):
                    assert [each.instant for each in found.readings] == expected, wall_of(reading)
                    assert len(expected) == 2
                    assert found.problem.startswith("There is no ") is (reading not in shown), wall_of(reading)
                else:
                    assert [found] == expected, wall_of(reading)
                    assert reading in shown


@pytest.mark.parametrize("name", ZONES)
def test_the_edges_of_every_change(name: str) -> None:
    """The first and last minutes of each gap and repeated hour of 2026 to 2028, with now before, at and after it."""
    clock = journey(name)
    for change in clock_changes(name):
        shown = walk([(0, name)], change.at - 1500, change.at + 1500)
        edges = (change.at + change.before, change.at + change.after)
        for reading in (edge + step for edge in edges for step in (-1, 0, 1)):
            for now in (change.at - 1, change.at, change.at + 20, change.at + 1000):
                found = heard(f"{wall_of(reading):%Y-%m-%d %H:%M}", clock, Instant(now))
                expected = [each for each in shown.get(reading) or sides(change, reading) if each <= now]
                if isinstance(found, UnclearTimeError):
                    assert [each.instant for each in found.readings] == expected, (wall_of(reading), now)
                    assert len(expected) != 1 or reading not in shown, (wall_of(reading), now)
                else:
                    assert [found] == expected, (wall_of(reading), now)
                    assert reading in shown, (wall_of(reading), now)


@st.composite
def households(draw: st.DrawFn) -> tuple[Legs, Instant]:
    """Draw a household, mostly beside a clock change or on a journey, and its present."""
    names = draw(st.lists(st.sampled_from((*ZONES, "Pacific/Kiritimati", "Asia/Shanghai")), min_size=1, max_size=3))
    changes = clock_changes(names[0])
    near = minutes_of(datetime(2026, 6, 1, 12))
    if changes:
        near = draw(st.sampled_from(changes)).at
    now = near + draw(st.one_of(st.integers(-180, 180), st.integers(-2 * DAY, 2 * DAY)))
    moves = draw(
        st.lists(st.integers(-2 * DAY, 2 * DAY), min_size=len(names) - 1, max_size=len(names) - 1, unique=True)
    )
    since = [0, *sorted(now + move for move in moves)]
    return list(zip(since, names, strict=True)), Instant(now)


def clock_of(legs: Legs) -> ZoneTimeline:
    """Return the clock of a household that was drawn."""
    return journey(legs[0][1], *((Instant(since), name) for since, name in legs[1:]))


@given(households(), st.integers(0, DAY - 1), st.booleans())
@RUNS
def test_a_clock_time_alone(household: tuple[Legs, Instant], minute: int, ahead: bool) -> None:
    """Today's, if it came once and is past; ahead, the next day's where today's is past; otherwise asked back."""
    legs, now = household
    shown = walk(legs, now - 4 * DAY, now + 4 * DAY)
    midnight = next(reading for reading, instants in shown.items() if now in instants) // DAY * DAY
    at_all = [shown.get(midnight + step * DAY + minute, []) for step in (-1, 0, 1)]
    yesterday, today, tomorrow = at_all
    possible = [[each for each in on if (each > now if ahead else each <= now)] for on in at_all]
    near = [each for on in possible for each in on]
    found = heard(f"{minute // 60}:{minute % 60:02}", clock_of(legs), now, ahead=ahead)
    if not isinstance(found, UnclearTimeError):
        assert abs(found - now) == min(abs(each - now) for each in near)
        assert found in near
        assert possible[1] == [found] or (ahead and not possible[1] and possible[2] == [found])
        return
    readings = [reading.instant for reading in found.readings]
    assert all(each > now if ahead else each <= now for each in readings)
    if "more than once" in found.problem:
        assert len(readings) > 1
        assert set(possible[1]) <= set(readings) <= set(near)
    elif "There is no" in found.problem:
        assert not today or (ahead and not possible[1] and not tomorrow)
    else:
        assert "is still to come" in found.problem
        assert not ahead
        assert today
        assert not possible[1]
        assert readings == possible[0] or not yesterday


@given(households(), st.integers(-2 * DAY, 2 * DAY))
@RUNS
def test_a_day_and_time_on_a_journey(household: tuple[Legs, Instant], step: int) -> None:
    """Whatever the clock shows once on its date is understood; what it shows more often is asked with all of them."""
    legs, now = household
    clock, later = clock_of(legs), Instant(now + 5 * DAY)
    shown = walk(legs, now - 4 * DAY, now + 4 * DAY)
    reading = next(reading for reading, instants in shown.items() if now + step in instants)
    found = heard(f"{wall_of(reading):%Y-%m-%dT%H:%M}", clock, later)
    if isinstance(found, UnclearTimeError):
        assert len(shown[reading]) > 1
        assert [each.instant for each in found.readings] == shown[reading]
    else:
        assert [found] == shown[reading]


@given(households(), st.integers(0, 10**6))
@RUNS
def test_a_day_and_time_that_a_journey_skips(household: tuple[Legs, Instant], nth: int) -> None:
    """What the clock never shows is asked back; its readings are by the offsets on either side of the jump."""
    legs, now = household
    shown = walk(legs, now - 4 * DAY, now + 4 * DAY)
    in_time = sorted((instant, reading) for reading, instants in shown.items() for instant in instants)
    jumps = [(old + 1, new) for (_, old), (_, new) in pairwise(in_time) if new > old + 1]
    skipped = [reading for old, new in jumps for reading in range(old, new) if reading not in shown]
    if not skipped:
        return
    reading = skipped[nth % len(skipped)]
    error = asked(f"{wall_of(reading):%Y-%m-%d %H:%M}", clock_of(legs), Instant(now + 6 * DAY))
    assert error.problem.startswith("There is no ")
    one, other = (each.instant for each in error.readings)
    assert other - one in [new - old for old, new in jumps if old <= reading < new]


@given(households(), st.integers(0, 300 * DAY), st.booleans())
@RUNS
def test_the_clock_s_own_words_are_understood(household: tuple[Legs, Instant], step: int, ahead: bool) -> None:
    """Any instant, as the household's clock shows it with its offset."""
    legs, now = household
    clock = clock_of(legs)
    instant = Instant(now + 1 + step if ahead else now - step)
    moment = clock.local(instant)
    offset = moment.isoformat()[-6:]
    for said in (f"{moment:%Y-%m-%d %H:%M}{offset}", f"{moment:%Y-%m-%dT%H:%M} UTC{offset}"):
        assert heard(said, clock, now, ahead=ahead) == instant
    if moment.date() == clock.local(now).date():
        assert heard(f"today {moment:%H:%M}{offset}", clock, now, ahead=ahead) == instant


DAYS = ("", "today ", "yesterday ", "tomorrow ", "Mon ", "Thu ", "Sat ", "Sunday ", "2026-10-26 ")
TAILS = ("", " am", "pm", " CST", " UTC", "+11:00", "-05:00")
HOURS = ("9", "12", "0", "21", "noon", "midnight", "12 am", "")


@st.composite
def sayings(draw: st.DrawFn) -> str:
    """Draw something said: of the forms that are understood, near them, or anything at all."""
    form = draw(st.integers(0, 4))
    day = draw(st.sampled_from(DAYS))
    if form == 0:
        return f"{day}{draw(st.integers(0, 25))}:{draw(st.integers(0, 61)):02}{draw(st.sampled_from(TAILS))}"
    if form == 1:
        return day + draw(st.sampled_from(HOURS))
    if form == 2:
        length = f"{draw(st.integers(0, 20000))} {draw(st.sampled_from(('min', 'h')))}"
        return draw(st.sampled_from((f"{length} ago", f"in {length}")))
    if form == 3:
        return draw(st.text(alphabet="0123456789:.-+tzapm inogathur", max_size=16))
    return draw(st.text(max_size=20))


@given(households(), sayings(), st.booleans(), st.integers(-5 * DAY, 100 * DAY))
@settings(RUNS, max_examples=1500)
def test_whatever_is_said(household: tuple[Legs, Instant], said: str, ahead: bool, age: int) -> None:
    """An instant within the bounds, or a question whose readings, typed, mean just what they say."""
    legs, now = household
    clock, earliest = clock_of(legs), Instant(now - age)
    found = heard(said, clock, now, ahead=ahead, earliest=earliest)
    meant = [found]
    if isinstance(found, UnclearTimeError):
        meant = [reading.instant for reading in asked(said, clock, now, ahead=ahead, earliest=earliest).readings]
    for instant in meant:
        assert isinstance(instant, int)
        assert instant > now if ahead else instant <= now
        assert instant >= earliest
        assert abs(instant - now) <= 400 * DAY


WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def test_weekdays_reach_back_and_ahead_less_than_a_week() -> None:
    """Each weekday by both its names, from Monday 2 November: by hand 27 October to 2 November, 2 to 8 November."""
    behind = [2, 27, 28, 29, 30, 31, 1]
    for index, name in enumerate(WEEK):
        back = date(2026, 10 if behind[index] > 20 else 11, behind[index])
        on = date(2026, 11, 2 + index)
        for word in (name, name[:3]):
            for said, ahead, day in ((f"{word} 11:00", False, back), (f"{word} 16:00", True, on)):
                found = heard(said, journey(CHICAGO), at(NOW), ahead=ahead)
                assert isinstance(found, int), said
                assert local(found, zone(CHICAGO)).date() == day, said
