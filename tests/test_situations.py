"""What really happens, and what follows: W9, W10, W13, S1 to S14, and a table of situations a household meets.

Every plan is the small invented one of these tests with a few edits: a lumen that may lie idle for 12 h, locked with
heparin, doses on time within 1 h and cut off after 4 h, in a household that records. Clock times are Chicago's in
June 2026, CDT (UTC-5), unless a row says otherwise. What follows was worked out from the rules by hand.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pytest
from histories import after, at, plan, record, rows
from small_plans import said, shown, z

from reminders.event_words import EventWords
from reminders.record.facts import ASKS_FIRST, SUSPENDS, Record, Sign
from reminders.saying.answer import answer
from reminders.schedule.compile import compile_schedule
from reminders.schedule.counts import supplies
from reminders.schedule.lumen_now import running_doses
from reminders.schedule.model import AskWhy, Schedule, Status, Touch, TouchKind, Why
from reminders.schedule.status import dose_status, status
from reminders.times import Instant
from reminders.views.due import due

NURSE = "On-call nurse, Fennimore Vale, 555-0142"
"""Whom the plan says to call."""

RED = '[lumen.red]\nlast_flushed = "2026-06-01 08:00"\n'
BLUE = '[lumen.blue]\nlast_flushed = "2026-06-01 08:00"\n'


def order(name: str, keys: str) -> str:
    """Return an order of these tests with its keys."""
    return f"[order.{name}]\n{keys}\n"


def daily(name: str = "a", clock: str = "09:00", minutes: int = 60, more: str = "", last_day: str = "06-07") -> str:
    """Return an order of one dose a day from 1 June."""
    return order(
        name,
        f'clock_times = ["{clock}"]\nfirst_dose = "2026-06-01 {clock}"\nlast_day = 2026-{last_day}\n'
        f'duration = "{minutes} min"\nleast_spacing = "20 h"\n{more}',
    )


def every(hours: int, first: str, least: int, more: str = "", takes: int = 60) -> str:
    """Return an order every so many hours from a first dose in June, each of one hour unless said."""
    return order(
        "a",
        f'every = "{hours} h"\nfirst_dose = "2026-{first}"\nlast_day = 2026-06-07\nduration = "{takes} min"\n'
        f'least_spacing = "{least} h"\n{more}',
    )


DAILY = RED + daily()
TWICE = RED + order(
    "a",
    'clock_times = ["09:00", "21:00"]\nfirst_dose = "2026-06-01 09:00"\nlast_day = 2026-06-07\n'
    'duration = "60 min"\nleast_spacing = "8 h"',
)
AS_NEEDED = order(
    "n", 'as_needed = true\nmost_in_24h = 3\nleast_spacing = "6 h"\nduration = "30 min"\nuntil_removal = true'
)
CONTINUOUS = order(
    "c",
    'continuous = true\nfirst_dose = "2026-06-01 09:00"\nuntil_removal = true\nbag_every = "24 h"\nbag_flush = []',
)
FOLLOWED = DAILY + order("b", 'follows = "a"\nduration = "30 min"\nwithout least_spacing')
NOON_FLUSHED = '[lumen.red]\nlast_flushed = "2026-05-31 21:00"\n'


def lines_of(text: str) -> list[str]:
    """Return the lines of a text; ``a of 06-01 09:00`` stands for the dose of order a that is ordered for then."""
    said_in_full = r"order=\1 dose=2026-\2T\3"
    return [
        re.sub(r"\b(\w+) of (\d\d-\d\d) (\d\d:\d\dZ?)", said_in_full, line.strip())
        for line in text.strip().splitlines()
        if line.strip()
    ]


def given(edits: str, facts: str, now: str = "06-01 08:00", earlier: Sequence[str] = ()) -> Schedule:
    """Compile a plan with a record written as in the table."""
    return after(edits, lines_of(facts), now, earlier)


def only(touches: Sequence[Touch], kind: TouchKind, moment: str) -> Touch:
    """Return the one touch of a kind at a moment of June."""
    (found,) = (touch for touch in touches if touch.kind is kind and touch.at == at(moment))
    return found


def event(compiled: Schedule, touch: Touch) -> tuple[str, str]:
    """Return the title and the text of an event in the calendar."""
    return EventWords(compiled.plan).event(touch)


# W9, W10, W13: to the minute


def test_w9_the_limit_counts_from_the_real_finish() -> None:
    """Given a dose expected to finish at 10:00 that finished at 10:45, then that lumen's limit is 22:45.

    Other lumens are unchanged.
    """
    edits = DAILY + BLUE
    told = """
    06-01 09:00 started a of 06-01 09:00
    06-01 10:45 finished a of 06-01 09:00
    06-01 10:45 flushed lumen=red
    """
    before, compiled = given(edits, ""), given(edits, told)
    assert {shown(touch.at, before) for touch in before.touches if touch.ends} >= {"2026-06-01 10:00 CDT"}
    flush = next(touch for touch in compiled.touches if touch.kind is TouchKind.IDLE_FLUSH and touch.lumen == "red")
    assert flush.reason.deadline == z("2026-06-02 03:45")
    assert shown(z("2026-06-02 03:45"), compiled) == "2026-06-01 22:45 CDT"
    assert flush.at == z("2026-06-02 03:00")  # with the blue lumen's, which by its own flush of 10:00 cannot wait
    assert flush.reason.last_flush == z("2026-06-01 15:45")
    assert flush.reason.last_recorded
    alone = next(touch for touch in given(DAILY, told).touches if touch.kind is TouchKind.IDLE_FLUSH)
    assert alone.at == alone.reason.deadline == z("2026-06-02 03:45")
    assert rows(compiled, "06-01 10:50", lumen="blue") == rows(before, "06-01 10:50", lumen="blue")


def test_w10_a_delayed_dose_does_not_excuse_the_lumen() -> None:
    """Given a lumen flushed at 21:00 whose dose of 09:00 is reported delayed to 11:00, then a flush at 09:00.

    At 11:00 comes the start touch as usual.
    """
    told = "06-01 08:30 delayed a of 06-01 09:00 until=06-01T11:00"
    compiled = given(NOON_FLUSHED + daily(), told)
    flush, start = compiled.touches[:2]
    assert (flush.kind, flush.at) == (TouchKind.IDLE_FLUSH, z("2026-06-01 14:00"))
    assert flush.reason.deadline == z("2026-06-01 14:00")
    assert said(flush.steps) == "saline, lock heparin"
    assert (start.kind, start.at) == (TouchKind.START, z("2026-06-01 16:00"))
    assert said(start.steps) == "saline, connect a"
    assert start.asks == ()


def test_w13_a_late_dose_makes_the_next_one_ask_first() -> None:
    """Given a q8h dose of 60 minutes, least spacing 6 h, the 06:00 dose started at 09:00.

    Then it runs to 10:00, and the 14:00 dose, 5 h after, is *ask first* with 5 h against 6 h.
    """
    edits = '[plan]\nstart = "2026-06-01 05:00"\n[lumen.red]\nlast_flushed = "2026-06-01 05:00"\n' + every(
        8, "06-01 06:00", 6
    )
    compiled = given(edits, "06-01 09:00 started a of 06-01 11:00Z", "06-01 09:05")
    first, second, third = compiled.doses["a"][:3]
    assert (first.start, first.end) == (z("2026-06-01 14:00"), z("2026-06-01 15:00"))
    assert second.start == z("2026-06-01 19:00")
    (ask,) = second.asks
    assert (ask.why, ask.apart, ask.least) == (AskWhy.SPACING, 5 * 60, 6 * 60)
    assert third.asks == ()
    title, body = event(compiled, only(compiled.touches, TouchKind.START, "06-01 14:00"))
    assert title == "ASK FIRST: Red lumen: start a 1 g"
    assert "This is 5 h after the dose of 09:00 CDT; the order says at least 6 h." in body
    assert f"ASK FIRST: call {NURSE} before you do this." in body


# S1 to S14


@pytest.mark.parametrize("sign", [sign for sign in Sign if sign in SUSPENDS], ids=str)
def test_s1_stopped_for_a_reaction_pain_swelling_or_a_leak(sign: Sign) -> None:
    """No flush and no lock are offered on that lumen: stop, clamp, call; suspended until a clinician's release."""
    edits = DAILY + BLUE
    told = f"""
    06-01 09:00 started a of 06-01 09:00
    06-01 09:30 stopped-early a of 06-01 09:00 sign={sign.value}
    """
    compiled = given(edits, told, "06-01 09:31")
    assert rows(compiled, "06-01 09:31", lumen="red", day="01") == [
        "01 09:00 done start a",
        "01 09:30 done finish a, ask: the lumen is suspended",
    ]
    ahead = [touch for touch in compiled.touches if touch.lumen == "red" and touch.at >= at("06-01 09:30")]
    assert all(touch.steps == () for touch in ahead)
    assert all(touch.kind is not TouchKind.IDLE_FLUSH for touch in ahead)
    title, body = event(compiled, ahead[0])
    assert title == "Stopped early: Red lumen: finish a"
    assert f"Do nothing with this lumen. Stop, clamp, and call {NURSE}." in body
    assert "Flush" not in body
    title, body = event(compiled, ahead[1])
    assert title == "DO NOT USE: Red lumen: start a 1 g"
    assert "this lumen must not be used until a clinician releases it" in body
    assert "\n1. " not in body
    listed = due(compiled, at("06-01 09:31")).split("blue lumen")[0]
    assert f"DO NOT USE IT, since 09:30 CDT. Clamp it, flush nothing, call {NURSE}." in listed
    assert "FLUSH NOW" not in listed
    # The other lumen goes on within its limit; it no longer joins what is done with this one.
    blue = [touch.at for touch in compiled.touches if touch.lumen == "blue"]
    assert blue[:3] == [at("06-01 20:00"), at("06-02 08:00"), at("06-02 20:00")]


def test_s1_is_over_only_with_the_release_of_that_lumen() -> None:
    """Neither the time that passes nor the release of another lumen ends it; then the flush is due at once."""
    stopped = """
    06-01 09:00 started a of 06-01 09:00
    06-01 09:30 stopped-early a of 06-01 09:00 sign=swelling
    """
    other = given(DAILY + BLUE, f"{stopped}\n06-02 07:00 released lumen=blue said_by=clinic", "06-02 07:05")
    assert rows(other, "06-02 07:05", lumen="red", day="02") == [
        "02 09:00 planned start a, ask: the dose before was given in part, ask: the lumen is suspended"
    ]
    released = given(DAILY + BLUE, f"{stopped}\n06-02 07:00 released lumen=red said_by=clinic", "06-02 07:00")
    flush = only(released.touches, TouchKind.IDLE_FLUSH, "06-02 07:00")
    assert flush.lumen == "red"
    assert flush.reason.why is Why.PASSED
    assert said(flush.steps) == "saline, lock heparin"


@pytest.mark.parametrize(
    "before",
    [
        pytest.param("", id="while a start is still open"),
        pytest.param(
            "06-01 09:00 started a of 06-01 09:00\n06-01 10:00 finished a of 06-01 09:00", id="before its flush"
        ),
        pytest.param("06-01 09:58 drawn lumen=red", id="after a draw, before its flush"),
    ],
)
def test_s1_nothing_that_is_still_due_is_offered_on_a_suspended_lumen(before: str) -> None:
    """A sign that is reported while something waits to be done ends the offer of it."""
    told = record(lines_of(f"{before}\n06-01 10:02 problem lumen=red sign=swelling key=sign"))
    facts = [fact for fact in told.facts if fact.key == "sign"]
    then = at("06-01 10:03")
    earlier = compile_schedule(plan(DAILY), Record(told.facts[:-1]), then)
    compiled = compile_schedule(plan(DAILY), told, then)
    waits = (Status.PLANNED, Status.DUE, Status.OVERDUE)
    offered = [event(compiled, touch)[1] for touch in compiled.touches if status(touch, compiled, then) in waits]
    spoken = "\n".join(answer(facts, earlier, compiled, then))
    assert "STOP. Clamp. Do not flush and do not lock this lumen." in spoken
    assert "has to be flushed" not in spoken
    assert "FLUSH NOW" not in due(compiled, then)
    assert not any("\n1. " in body for body in offered)


@pytest.mark.parametrize(
    "sign", [Sign.WILL_NOT_FLUSH, Sign.NO_BLOOD_RETURN], ids=["it will not flush", "no blood return"]
)
def test_s2_a_line_that_will_not_flush_or_gives_no_blood(sign: Sign) -> None:
    """A fact of its own: resets nothing, what is planned on that lumen is *ask first*, never force, call."""
    assert sign in ASKS_FIRST
    told = f"""
    06-01 09:00 started a of 06-01 09:00
    06-01 10:00 finished a of 06-01 09:00
    06-01 10:00 flushed lumen=red
    06-01 21:50 problem lumen=red sign={sign.value.replace(" ", "_")}
    """
    compiled = given(DAILY, told, "06-01 21:55")
    assert rows(compiled, "06-01 21:55", day="01")[2:] == ["01 22:00 planned idle flush, ask: a problem with the lumen"]
    assert compiled.lumens["red"].last_flush == at("06-01 10:00")
    assert rows(compiled, "06-01 21:55", day="02")[0] == "02 09:00 planned start a, ask: a problem with the lumen"
    for kind, moment in ((TouchKind.IDLE_FLUSH, "06-01 22:00"), (TouchKind.START, "06-02 09:00")):
        title, body = event(compiled, only(compiled.touches, kind, moment))
        assert title.startswith("ASK FIRST: ")
        assert "Never force a flush." in body
        assert f"ASK FIRST: call {NURSE} before you do this." in body
    released = given(DAILY, f"{told}\n06-01 22:30 released lumen=red", "06-01 22:31")
    assert rows(released, "06-01 22:31", day="02")[0] == "02 09:00 planned start a"


def test_s3_the_pump_alarms_for_occlusion() -> None:
    """Not flowing since: check clamp and kink, call; the finish is unknown until it is resumed or stopped."""
    begun = "06-01 09:00 started a of 06-01 09:00"
    told = f"{begun}\n06-01 09:20 problem lumen=red sign=not_flowing a of 06-01 09:00"
    compiled = given(DAILY, told, "06-01 11:00")
    assert compiled.doses["a"][0].end is None
    assert rows(compiled, "06-01 11:00", day="01")[0] == "01 09:00 done start a"
    assert not [touch for touch in compiled.touches if touch.kind is TouchKind.FINISH and touch.at < at("06-02 00:00")]
    listed = due(compiled, at("06-01 11:00"))
    advice = f"Look at the clamp and for a kink. Never force a flush. Call {NURSE}."
    assert f"Not flowing since 09:20 CDT. {advice}" in listed
    assert "when it will finish is not known" in listed
    resumed = given(DAILY, f"{told}\n06-01 09:50 resumed a of 06-01 09:00", "06-01 09:55")
    assert rows(resumed, "06-01 09:55", day="01") == [
        "01 09:00 done start a",
        "01 10:30 planned finish a",
        "01 22:30 planned idle flush",
    ]
    assert "Not flowing" not in due(resumed, at("06-01 09:55"))
    stopped = given(DAILY, f"{told}\n06-01 09:50 stopped-early a of 06-01 09:00", "06-01 09:55")
    assert rows(stopped, "06-01 09:55", day="01")[1] == "01 09:50 due finish a, flush outstanding"


RUNS_AND_SWELLS = """
06-01 09:00 started a of 06-01 09:00
06-01 09:20 problem lumen=red sign=swelling
"""


def test_s1_whether_an_infusion_was_stopped_is_not_known_until_somebody_says_so() -> None:
    """Whoever was told to stop and clamp has not yet said that it was done; a release by a clinician does not say it either."""
    asked = "Not known whether a runs. Was it stopped at 09:20 CDT? Say so, or that it runs again, or has finished."
    listed = due(given(DAILY, RUNS_AND_SWELLS, "06-01 09:30"), at("06-01 09:30"))
    assert asked in listed
    assert "a runs, until" not in listed
    released = f"{RUNS_AND_SWELLS}06-01 09:40 released lumen=red said_by=nurse_Ann"
    for now in ("06-01 09:45", "06-01 11:00"):
        listed = due(given(DAILY, released, now), at(now))
        assert asked in listed
        assert "should have finished" not in listed
    answers = {
        "06-01 09:20 stopped-early a of 06-01 09:00": "",
        "06-01 09:25 finished a of 06-01 09:00": "",
        "06-01 09:20 interrupted a of 06-01 09:00": "a is interrupted since 09:20 CDT",
        "06-01 09:20 interrupted a of 06-01 09:00\n06-01 09:35 resumed a of 06-01 09:00": "a runs, until 10:15 CDT.",
    }
    for answered, shown_then in answers.items():
        listed = due(given(DAILY, RUNS_AND_SWELLS + answered, "06-01 09:50"), at("06-01 09:50"))
        assert "Not known whether" not in listed, answered
        assert shown_then in listed, answered


def test_a_start_after_the_lumen_was_suspended_is_known_to_run() -> None:
    told = "06-01 08:50 problem lumen=red sign=swelling\n06-01 09:00 started a of 06-01 09:00"
    assert "a runs, until 10:00 CDT." in due(given(DAILY, told, "06-01 09:30"), at("06-01 09:30"))


def test_a_flush_is_not_made_up_for_while_a_later_dose_may_run() -> None:
    """S13, R18: the flush of 08:50 was not recorded, nor was the dose of 09:00; it may have been given, and may run."""
    edits = '[lumen.red]\nlast_flushed = "2026-05-31 20:30"\n' + daily()
    before = due(given(edits, "", "06-01 08:45"), at("06-01 08:45"))
    assert "Only if it was not done, do it now." in before, "nothing is to start yet"
    for now in ("06-01 09:40", "06-01 14:00"):  # overdue, and past its cut-off
        listed = due(given(edits, "", now), at(now))
        assert "First say whether a of 09:00 CDT was given." in listed
        assert "Only if it was not done, do it now." not in listed
    said_not = due(given(edits, "06-01 09:30 not-given a of 06-01 09:00", "06-01 09:40"), at("06-01 09:40"))
    assert "First say whether" not in said_not
    assert "do it now." in said_not


def test_the_next_finish_is_not_to_be_asked_about_first() -> None:
    """Nobody asks before taking off what has run; only a lumen that must not be used says so of everything."""
    told = "06-01 09:00 started a of 06-01 09:00\n06-01 09:20 problem lumen=red sign=will_not_flush"
    listed = due(given(DAILY, told, "06-01 09:30"), at("06-01 09:30"))
    assert "Next: finish a, 10:00 CDT." in listed
    listed = due(given(DAILY, RUNS_AND_SWELLS, "06-01 09:30"), at("06-01 09:30"))
    assert "Next: DO NOT USE: finish a, 10:00 CDT." in listed


@pytest.mark.parametrize("volume", ["", " volume=40_mL"], ids=["nobody knows how much", "40 mL"])
def test_s4_part_of_a_dose_given(volume: str) -> None:
    """With its volume or without, the next dose is *ask first*, and only the next one."""
    told = f"""
    06-01 09:00 started a of 06-01 09:00
    06-01 09:30 stopped-early a of 06-01 09:00{volume}
    06-01 09:30 flushed lumen=red
    """
    compiled = given(DAILY, told, "06-01 09:40")
    first, second, third = compiled.doses["a"][:3]
    assert (first.start, first.end) == (at("06-01 09:00"), at("06-01 09:30"))
    assert [ask.why for ask in second.asks] == [AskWhy.PART_GIVEN]
    assert third.asks == ()
    title, body = event(compiled, only(compiled.touches, TouchKind.START, "06-02 09:00"))
    assert title.startswith("ASK FIRST: ")
    assert "The dose before it was stopped early, at Mon 1 Jun 2026, 09:30 CDT." in body
    assert f"call {NURSE}" in body


def test_s5_a_dose_given_early() -> None:
    """Accepted where it was given; the dose after it is *ask first* only below the least spacing."""
    edits = RED + every(8, "06-01 09:00", 6)
    told = """
    06-01 09:00 started a of 06-01 14:00Z
    06-01 12:00 started a of 06-01 22:00Z
    """
    compiled = given(edits, told, "06-01 12:05")
    _, early, following, _ = compiled.doses["a"][:4]
    assert (early.start, dose_status(early, compiled, at("06-01 12:05")).value) == (at("06-01 12:00"), "running")
    assert following.start == at("06-02 01:00")
    assert following.asks == ()
    # The third dose, 5 h after the second, where the second alone is early by an hour less than the spacing.
    sooner = given(
        RED + every(8, "06-01 09:00", 6),
        "06-01 20:00 started a of 06-01 22:00Z\n06-01 20:30 started a of 06-02 06:00Z",
        "06-01 21:00",
    )
    fourth = sooner.doses["a"][3]
    assert fourth.start == at("06-02 09:00")
    assert fourth.asks == ()
    close = given(RED + every(8, "06-01 09:00", 9), "06-01 18:00 started a of 06-01 22:00Z", "06-01 18:05")
    (ask,) = close.doses["a"][2].asks
    assert (ask.why, ask.apart, ask.least) == (AskWhy.SPACING, 7 * 60, 9 * 60)


def test_s6_a_flush_given_early() -> None:
    """It resets the limit; the answer names the planned flush that it replaces, and any night flush that it causes."""
    edits = '[line]\nidle_limit = "8 h"\n[household]\nquiet_hours = ["22:00-07:00"]\n' + RED + daily(clock="09:30")
    told = record(
        lines_of(
            """
            06-01 09:30 started a of 06-01 09:30
            06-01 10:30 finished a of 06-01 09:30
            06-01 10:30 flushed lumen=red
            06-01 15:00 flushed lumen=red key=early
            """
        )
    )
    then = at("06-01 15:00")
    before = compile_schedule(plan(edits), Record(told.facts[:-1]), then)
    compiled = compile_schedule(plan(edits), told, then)
    assert rows(before, "06-01 15:00", day="01")[2:] == ["01 18:30 planned idle flush"]
    # 8 h after 15:00 is 23:00, in the night; a flush at 21:59 would only bring another one at 05:59.
    assert rows(compiled, "06-01 15:00", day="01")[2:] == ["01 15:00 done idle flush", "01 23:00 planned idle flush"]
    spoken = answer(told.facts[-1:], before, compiled, then)
    assert "It takes the place of the flush planned for 18:30 CDT." in spoken
    assert "Next flush of the red lumen 23:00 CDT (was 18:30 CDT)." in spoken
    assert "That puts a flush of the red lumen into the quiet hours: Mon 1 Jun 2026, 23:00 CDT." in spoken


@pytest.mark.parametrize(
    ("states", "next_flush"),
    [("", "22:00"), ("flush_without_lock_counts = false", "22:00"), ("flush_without_lock_counts = true", "08:00")],
)
def test_s7_saline_only_on_a_lumen_locked_with_heparin(states: str, next_flush: str) -> None:
    """Recorded as given; whether it resets the limit is the plan's to say."""
    told = """
    06-01 09:00 started a of 06-01 09:00
    06-01 10:00 finished a of 06-01 09:00
    06-01 10:00 flushed lumen=red
    06-01 20:00 flushed lumen=red fluids=saline
    """
    compiled = given(f"[protocol]\n{states}\n{DAILY}", told, "06-01 20:05")
    flushes = [touch for touch in compiled.touches if touch.kind is TouchKind.IDLE_FLUSH][:2]
    assert flushes[0].at == at("06-01 20:00")
    assert said(flushes[0].steps) == "saline"
    assert f"{compiled.plan.clock.local(flushes[1].at):%H:%M}" == next_flush


def test_s7_a_flush_that_does_not_count_hides_no_limit_that_has_passed() -> None:
    """The limit goes on from 10:00: at 23:00 it has passed at 22:00, whatever was pushed at 20:00."""
    told = """
    06-01 09:00 started a of 06-01 09:00
    06-01 10:00 finished a of 06-01 09:00
    06-01 10:00 flushed lumen=red
    06-01 20:00 flushed lumen=red fluids=saline
    """
    listed = due(given(DAILY, told, "06-01 23:00"), at("06-01 23:00"))
    assert "The limit of 12 h has passed" in listed
    assert "so by 22:00 CDT" in listed


def test_s7_saline_only_is_the_whole_flush_where_saline_is_the_lock() -> None:
    """On a lumen locked with saline nothing is missing."""
    compiled = given(f'[line]\nlock = "saline"\n{DAILY}', "06-01 20:00 flushed lumen=red fluids=saline", "06-01 20:05")
    assert rows(compiled, "06-01 20:05", day="02")[0] == "02 08:00 planned idle flush"


def test_s7_saline_only_after_a_dose() -> None:
    """Saline without heparin after a dose does not reset the limit: it goes on from the start at 09:00."""
    told = """
    06-01 09:00 started a of 06-01 09:00
    06-01 10:00 finished a of 06-01 09:00
    06-01 10:00 flushed lumen=red fluids=saline
    """
    compiled = given(DAILY, told, "06-01 10:05")
    flush = next(touch for touch in compiled.touches if touch.kind is TouchKind.IDLE_FLUSH)
    assert flush.at <= at("06-01 21:00")


def test_s8_a_dose_given_elsewhere() -> None:
    """It counts as given; the lumen was used only if they say so."""
    told = "06-01 09:30 started a of 06-01 09:00 elsewhere=yes"
    compiled = given(DAILY, told, "06-01 12:00")
    dose = compiled.doses["a"][0]
    assert dose_status(dose, compiled, at("06-01 12:00")).value == "done"
    assert rows(compiled, "06-01 12:00", day="01") == ["01 09:30 done start a", "01 20:00 planned idle flush"]
    assert compiled.lumens["red"].last_flush is None
    used = given(DAILY, f"{told} lumen_used=yes", "06-01 10:00")
    assert rows(used, "06-01 10:00", day="01") == [
        "01 09:30 done start a",
        "01 10:30 planned finish a",
        "01 22:30 planned idle flush",
    ]
    assert used.lumens["red"].last_flush == at("06-01 09:30")


def test_s9_a_draw_from_a_lumen_in_use() -> None:
    """Stop, draw, flush, resume: the finish moves by the pause, and the draw is a touch that is flushed after."""
    told = """
    06-01 09:00 started a of 06-01 09:00
    06-01 09:20 interrupted a of 06-01 09:00
    06-01 09:25 drawn lumen=red
    06-01 09:30 flushed lumen=red
    06-01 09:35 resumed a of 06-01 09:00
    """
    compiled = given(DAILY, told, "06-01 09:40")
    assert rows(compiled, "06-01 09:40", day="01") == [
        "01 09:00 done start a",
        "01 09:25 done draw",
        "01 10:15 planned finish a",
        "01 22:15 planned idle flush",
    ]
    unflushed = given(DAILY, told.replace("06-01 09:30 flushed lumen=red\n", ""), "06-01 09:40")
    draw = only(unflushed.touches, TouchKind.DRAW, "06-01 09:25")
    title, body = event(unflushed, draw)
    assert title == "FLUSH NOW: Red lumen: blood draw"
    assert "It has not been flushed since, as far as is recorded: due now." in body


PORT = """
[line]
kind = "implanted port"
needle_out_idle_limit = "28 days"
needle_out_lock = "strong"
[fluid.strong]
kind = "heparin"
label = "heparin lock for the port"
strength = "100 units/mL"
volume = "5 mL"
syringe = "heparin syringe 100"
syringe_holds = "5 mL"
"""


def test_s10_the_ports_needle_out_and_in_again() -> None:
    """De-accessed it has its own lock and limit; in again, the other."""
    edits = '[plan]\nend = "2026-07-20 08:00"\n' + PORT + RED
    told = "06-02 07:00 flushed lumen=red\n06-02 07:00 needle-out"
    out = given(edits, told, "06-02 07:05")
    flushes = [touch for touch in out.touches if touch.kind is TouchKind.IDLE_FLUSH and touch.at > at("06-02 07:00")]
    assert [touch.at for touch in flushes] == [at("06-30 07:00")]
    assert said(flushes[0].steps) == "saline, lock strong"
    back = given(edits, f"{told}\n06-09 09:00 needle-in\n06-09 09:00 flushed lumen=red", "06-09 09:05")
    flushes = [touch for touch in back.touches if touch.kind is TouchKind.IDLE_FLUSH and touch.at > at("06-09 09:00")]
    assert [touch.at for touch in flushes[:2]] == [at("06-09 21:00"), at("06-10 09:00")]
    assert said(flushes[0].steps) == "saline, lock heparin"


def test_s11_heparin_stopped() -> None:
    """Everywhere from that moment, supplies included; what was before stays as it was."""
    edits = DAILY + BLUE
    compiled = given(edits, "06-03 12:00 heparin-stopped said_by=doctor", "06-03 12:05")
    for touch in compiled.touches:
        heparin = [step for step in touch.steps if step.what == "heparin"]
        if touch.at >= at("06-03 12:00"):
            assert heparin == []
        elif touch.kind in (TouchKind.FINISH, TouchKind.IDLE_FLUSH):
            assert len(heparin) == 1
    finish = only(compiled.touches, TouchKind.FINISH, "06-04 10:00")
    assert said(finish.steps) == "disconnect a, lock saline"
    assert "heparin" not in event(compiled, finish)[1].lower()
    assert supplies(compiled, at("06-01 08:00"), at("06-03 12:00"))["heparin syringe"] > 0
    assert supplies(compiled, at("06-03 12:00"))["heparin syringe"] == 0
    assert supplies(compiled, at("06-03 12:00"))["saline syringe"] > 0


def test_s11_a_later_revision_does_not_bring_heparin_back() -> None:
    """From that moment everywhere: in a revision that was written without knowing of it, too."""
    later = f'[plan]\nrevision = 2\ntakes_effect = "2026-06-05 00:00"\n{DAILY}'
    compiled = given(later, "06-03 12:00 heparin-stopped", "06-03 12:05", [DAILY])
    assert supplies(compiled, at("06-03 12:00"))["heparin syringe"] == 0


TOGETHER = RED + daily() + daily("b", minutes=30, more='runs_with = ["a"]')


def test_s12_runs_with_the_shorter_ends_first() -> None:
    """The shorter is disconnected with its fluids after, and no lock; the lock comes when the last ends."""
    compiled = given(TOGETHER, "")
    first_day = [touch for touch in compiled.touches if touch.at < at("06-01 12:00")]
    assert [(touch.at, said(touch.steps)) for touch in first_day[1:]] == [
        (at("06-01 09:30"), "disconnect b, saline"),
        (at("06-01 10:00"), "disconnect a, saline, lock heparin"),
    ]


def test_s12_the_shorter_ones_report_says_nothing_of_the_longer_one() -> None:
    """The shorter is taken off late, and nobody has said that the longer one, which was to end before, has ended."""
    facts = (
        "06-01 09:00 started order=a dose=2026-06-01T09:00\n06-01 09:00 started order=b dose=2026-06-01T09:00\n"
        "06-01 10:10 finished order=b dose=2026-06-01T09:00\n06-01 10:10 flushed lumen=red"
    )
    compiled = given(TOGETHER, facts, "06-01 10:30")
    finish = next(touch for touch in compiled.touches if [dose.order for dose in touch.ends] == ["a"])
    assert status(finish, compiled, at("06-01 10:30")) is Status.OVERDUE
    assert [dose.order for dose in running_doses("red", compiled)] == ["a"]
    later = given(TOGETHER, f"{facts}\n06-01 11:00 flushed lumen=red", "06-01 11:05")
    assert [dose.order for dose in running_doses("red", later)] == []


def test_s12_where_the_longer_one_is_stopped_first() -> None:
    """Whichever really ends last takes the lock."""
    told = """
    06-01 09:00 started a of 06-01 09:00
    06-01 09:00 started b of 06-01 09:00
    06-01 09:10 finished a of 06-01 09:00
    06-01 09:10 flushed lumen=red
    """
    compiled = given(TOGETHER, told, "06-01 09:15")
    assert said(only(compiled.touches, TouchKind.FINISH, "06-01 09:10").steps) == "disconnect a, saline"
    assert said(only(compiled.touches, TouchKind.FINISH, "06-01 09:30").steps) == "disconnect b, saline, lock heparin"


def test_s13_the_limit_passed_while_a_dose_is_overdue() -> None:
    """'Was it done?' comes before 'do it now', and no flush is made up: the dose may have been given."""
    edits = NOON_FLUSHED + daily()
    compiled = given(edits, "", "06-01 10:30")
    assert rows(compiled, "06-01 10:30", day="01") == [
        "01 09:00 overdue start a",
        "01 10:00 overdue finish a",
        "01 22:00 planned idle flush",
    ]
    listed = due(compiled, at("06-01 10:30"))
    asked = listed.index("Was it done? start a 1 g, 09:00 CDT")
    assert asked < listed.index("Only if it was not given: it may be started late until")
    assert "The limit of 12 h has passed" in listed
    assert "so by 09:00 CDT. Was it flushed since?" in listed
    assert f"Not sure? Ask {NURSE}." in listed
    assert "Not recorded does not mean not done: if unsure, ask before you repeat." in listed
    # Within the limit nothing of the sort is said (R16).
    assert "limit" not in due(given(edits, "", "06-01 09:00"), at("06-01 09:00"))


STAY = """
06-01 09:00 started a of 06-01 09:00
06-01 10:00 finished a of 06-01 09:00
06-01 10:00 flushed lumen=red
06-01 20:00 held
06-03 15:00 released
"""


def test_s14_a_stay_in_hospital() -> None:
    """Held from, released at; nothing is due at home meanwhile; then the last flush there is asked for."""
    away = given(DAILY, STAY.replace("06-03 15:00 released", ""), "06-02 12:00")
    assert rows(away, "06-02 12:00", day="02") == ["02 09:00 skipped start a"]
    assert all(touch.steps == () for touch in away.touches if touch.at >= at("06-01 20:00"))
    assert "Held: looked after elsewhere." in due(away, at("06-02 12:00"))
    home = given(DAILY, STAY, "06-03 15:00")
    assert rows(home, "06-03 15:00", day="03") == ["03 09:00 skipped start a", "03 15:00 due idle flush"]
    _, body = event(home, only(home.touches, TouchKind.IDLE_FLUSH, "06-03 15:00"))
    assert "At most 12 h after the flush of Mon 1 Jun 2026, 10:00 CDT" in body
    assert "That has passed: due at once. Ask the nurse first." in body
    assert "Was it flushed since? Then record it." in due(home, at("06-03 15:05"))
    told = given(DAILY, f"{STAY}\n06-03 13:00 flushed lumen=red elsewhere=yes", "06-03 15:00")
    assert rows(told, "06-03 15:00", day="03") == ["03 09:00 skipped start a", "03 13:00 done idle flush"]
    assert rows(told, "06-03 15:00", day="04")[0] == "04 01:00 planned idle flush"


# The table of situations


@dataclass(frozen=True)
class Situation:
    """One row: a plan, what is recorded, a moment, and the events of some days of June that follow.

    ``earlier`` are the revisions before the plan; ``clock`` is the clock of the record's times.
    """

    edits: str
    facts: str
    now: str
    follows: str
    days: str = "01"
    lumen: str = "red"
    earlier: tuple[str, ...] = ()
    clock: str = "America/Chicago"

    @property
    def shown(self) -> list[str]:
        """Return the events of the row's days and lumen."""
        home = [plan(text) for text in self.earlier]
        told = record(lines_of(self.facts), self.clock)
        compiled = compile_schedule(plan(self.edits), told, at(self.now), home)
        return [line for day in self.days.split() for line in rows(compiled, self.now, lumen=self.lumen, day=day)]


def situation(title: str, edits: str, facts: str, now: str, follows: str, **more: Any) -> Any:
    """Return a row of the table under its title."""
    return pytest.param(
        Situation(edits, facts, now, follows, **more),
        id=title,
    )


GIVEN = """
06-01 09:00 started a of 06-01 09:00
06-01 10:00 finished a of 06-01 09:00
06-01 10:00 flushed lumen=red
"""
"""The dose of 1 June, started, finished and flushed when it was planned."""

LATE = [
    # title | plan | record | now | what follows
    situation(
        "a dose 20 minutes late: its finish and the next flush are 20 minutes later",
        DAILY,
        "06-01 09:20 started a of 06-01 09:00",
        "06-01 09:30",
        """
        01 09:20 done start a
        01 10:20 planned finish a
        01 22:20 planned idle flush
        """,
    ),
    situation(
        "a dose 3 hours late: late, and the next one is far enough away",
        DAILY,
        "06-01 12:00 started a of 06-01 09:00",
        "06-01 12:10",
        """
        01 12:00 late start a
        01 13:00 planned finish a
        02 01:00 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "a dose 11 hours late: the next one is 13 h after it instead of 20, ask first; the flush does not wait for it",
        DAILY,
        "06-01 20:00 started a of 06-01 09:00",
        "06-01 20:10",
        """
        01 20:00 late start a
        01 21:00 planned finish a
        02 09:00 planned start a, ask: less than the least spacing
        02 09:00 planned idle flush
        02 10:00 planned finish a, ask: less than the least spacing
        02 21:00 planned idle flush
        03 09:00 planned start a
        03 10:00 planned finish a
        03 22:00 planned idle flush
        """,
        days="01 02 03",
    ),
    situation(
        "two doses missed in a row: each is missed, and the lumen is flushed within its limit all the same",
        TWICE,
        f"""
        {GIVEN}
        06-01 22:00 not-given a of 06-01 21:00
        06-02 10:00 not-given a of 06-02 09:00
        """,
        "06-02 10:30",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 21:00 missed start a
        01 22:00 overdue idle flush
        02 09:00 missed start a
        02 10:00 overdue idle flush
        02 21:00 planned start a
        02 22:00 planned finish a
        """,
        days="01 02",
    ),
    situation(
        "delayed to 11:00: nothing of it is due before, and its finish moves with it",
        DAILY,
        "06-01 08:30 delayed a of 06-01 09:00 until=06-01T11:00",
        "06-01 09:30",
        """
        01 11:00 planned start a
        01 12:00 planned finish a
        """,
    ),
    situation(
        "delayed twice: the last word counts",
        DAILY,
        """
        06-01 08:30 delayed a of 06-01 09:00 until=06-01T11:00
        06-01 10:30 delayed a of 06-01 09:00 until=06-01T13:00
        """,
        "06-01 10:35",
        """
        01 13:00 planned start a
        01 14:00 planned finish a
        02 02:00 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "delayed, and reported only after the limit passed at 09:00: the flush is due at once, not in the past",
        NOON_FLUSHED + daily(),
        "06-01 09:30 delayed a of 06-01 09:00 until=06-01T11:00",
        "06-01 09:30",
        """
        01 09:30 due idle flush
        01 11:00 planned start a
        01 12:00 planned finish a
        """,
    ),
    situation(
        "not given, and reported only after the limit passed at 09:00: the flush is due at once",
        NOON_FLUSHED + daily(),
        "06-01 10:00 not-given a of 06-01 09:00",
        "06-01 10:00",
        """
        01 09:00 missed start a
        01 10:00 due idle flush
        01 22:00 planned idle flush
        """,
    ),
    situation(
        "skipped in advance: the flush comes at the limit, at 09:00",
        NOON_FLUSHED + daily(),
        "06-01 08:30 skipped a of 06-01 09:00 said_by=clinic",
        "06-01 08:40",
        """
        01 09:00 skipped start a
        01 09:00 planned idle flush
        01 21:00 planned idle flush
        """,
    ),
    situation(
        "delayed to an hour before the next dose: that one is ask first, neither is dropped",
        DAILY,
        "06-01 08:30 delayed a of 06-01 09:00 until=06-02T08:00",
        "06-01 08:40",
        """
        01 20:00 planned idle flush
        02 08:00 planned start a
        02 09:00 planned finish a
        02 09:00 planned start a, ask: less than the least spacing
        02 10:00 planned finish a, ask: less than the least spacing
        02 21:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "not given, and later somebody says that it was given after all: one dose, late",
        DAILY,
        """
        06-01 14:00 not-given a of 06-01 09:00
        06-01 12:30 started a of 06-01 09:00 entered=06-01T15:00
        06-01 13:30 finished a of 06-01 09:00 entered=06-01T15:00
        06-01 13:30 flushed lumen=red entered=06-01T15:00
        """,
        "06-01 15:05",
        """
        01 12:30 late start a
        01 13:30 done finish a
        02 01:30 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "an order that shifts: two and a half hours late moves every dose after it by as much",
        RED + every(8, "06-01 09:00", 6, 'after_late_dose = "shift following doses"'),
        "06-01 11:30 started a of 06-01 14:00Z",
        "06-01 11:40",
        """
        01 11:30 late start a
        01 12:30 planned finish a
        01 19:30 planned start a
        01 20:30 planned finish a
        02 03:30 planned start a
        02 04:30 planned finish a
        02 11:30 planned start a
        02 12:30 planned finish a
        02 19:30 planned start a
        02 20:30 planned finish a
        """,
        days="01 02",
    ),
    situation(
        "an order that shifts, two delays: the doses after move by both",
        RED + every(8, "06-01 09:00", 6, 'after_late_dose = "shift following doses"'),
        """
        06-01 10:00 started a of 06-01 14:00Z
        06-01 18:30 started a of 06-01 22:00Z
        """,
        "06-01 18:40",
        """
        01 10:00 done start a
        01 11:00 unconfirmed finish a
        01 18:30 done start a
        01 19:30 planned finish a
        02 02:30 planned start a
        02 03:30 planned finish a
        02 10:30 planned start a
        02 11:30 planned finish a
        02 18:30 planned start a
        02 19:30 planned finish a
        """,
        days="01 02",
    ),
    situation(
        "a loading dose an hour and a half late runs into the first of the daily ones: ask first",
        RED
        + order("load", 'moments = ["2026-06-01 09:00"]\nduration = "120 min"\nwithout least_spacing')
        + daily(clock="12:00"),
        "06-01 10:30 started load of 06-01 09:00",
        "06-01 10:40",
        """
        01 10:30 late start load
        01 12:00 planned start a, ask: runs into another dose
        01 12:30 planned finish load
        01 13:00 planned finish a, ask: runs into another dose
        02 00:30 planned idle flush
        02 12:00 planned start a
        02 13:00 planned finish a
        """,
        days="01 02",
    ),
    situation(
        "two drugs on one lumen, the first runs half an hour late into the second",
        RED + daily(minutes=120) + daily("b", "11:00", 30),
        "06-01 09:30 started a of 06-01 09:00",
        "06-01 09:40",
        """
        01 09:30 done start a
        01 11:00 planned start b, ask: runs into another dose
        01 11:30 planned finish a
        01 11:30 planned finish b, ask: runs into another dose
        01 23:30 planned idle flush
        """,
    ),
]

FINISHES = [
    situation(
        "the pump is empty 20 minutes early",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:40 finished a of 06-01 09:00
        06-01 09:40 flushed lumen=red
        """,
        "06-01 09:45",
        """
        01 09:00 done start a
        01 09:40 done finish a
        01 21:40 planned idle flush
        """,
    ),
    situation(
        "an elastomeric pump runs two hours longer: the limit counts from the flush after it",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 12:10 finished a of 06-01 09:00
        06-01 12:15 flushed lumen=red
        """,
        "06-01 12:20",
        """
        01 09:00 done start a
        01 12:10 late finish a
        02 00:15 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "finished, and nobody says that it was flushed: urgent, due at once",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 10:45 finished a of 06-01 09:00
        """,
        "06-01 10:50",
        """
        01 09:00 done start a
        01 10:45 due finish a, flush outstanding
        01 22:45 planned idle flush
        """,
    ),
    situation(
        "a finish that nobody reports stays on the list for as long as it takes",
        DAILY,
        "06-01 09:00 started a of 06-01 09:00",
        "06-01 20:00",
        """
        01 09:00 done start a
        01 10:00 overdue finish a
        01 22:00 planned idle flush
        """,
    ),
    situation(
        "stopped half way, nobody knows how much was left: flush now, and ask before the next dose",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:30 stopped-early a of 06-01 09:00
        """,
        "06-01 09:35",
        """
        01 09:00 done start a
        01 09:30 due finish a, flush outstanding
        01 21:30 planned idle flush
        02 09:00 planned start a, ask: the dose before was given in part
        02 09:30 planned idle flush
        02 10:00 planned finish a, ask: the dose before was given in part
        02 21:30 planned idle flush
        03 09:00 planned start a
        03 10:00 planned finish a
        03 22:00 planned idle flush
        """,
        days="01 02 03",
    ),
    situation(
        "interrupted for 20 minutes: the finish moves by the pause",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:30 interrupted a of 06-01 09:00
        06-01 09:50 resumed a of 06-01 09:00
        """,
        "06-01 09:55",
        """
        01 09:00 done start a
        01 10:20 planned finish a
        01 22:20 planned idle flush
        """,
    ),
    situation(
        "started late and interrupted twice: late start and both pauses add up",
        DAILY,
        """
        06-01 09:30 started a of 06-01 09:00
        06-01 09:40 interrupted a of 06-01 09:00
        06-01 09:50 resumed a of 06-01 09:00
        06-01 10:00 interrupted a of 06-01 09:00
        06-01 10:15 resumed a of 06-01 09:00
        """,
        "06-01 10:20",
        """
        01 09:30 done start a
        01 10:55 planned finish a
        01 22:55 planned idle flush
        """,
    ),
    situation(
        "finished and flushed, and nobody recorded the start: it is not to be started any more",
        DAILY,
        """
        06-01 09:50 finished a of 06-01 09:00
        06-01 09:50 flushed lumen=red
        """,
        "06-01 09:55",
        """
        01 09:00 done start a
        01 09:50 done finish a
        01 21:50 planned idle flush
        """,
    ),
    situation(
        "only a flush is recorded, and not that anything was given: the dose stays unconfirmed, its finish too",
        DAILY,
        "06-01 14:00 flushed lumen=red",
        "06-01 14:10",
        """
        01 09:00 unconfirmed start a
        01 10:00 unconfirmed finish a
        01 14:00 done idle flush
        02 02:00 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "one drug follows another at once: the start of the second says nothing of a second start",
        RED + daily() + daily("b", "10:00"),
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 10:00 started b of 06-01 10:00
        """,
        "06-01 10:40",
        """
        01 09:00 done start a
        01 10:00 done start b
        01 10:00 unconfirmed finish a
        01 11:00 planned finish b
        01 23:00 planned idle flush
        """,
    ),
    situation(
        "two drugs that run together, one is recorded as started: only the other is still to be started",
        RED + daily() + daily("b", more='runs_with = ["a"]'),
        "06-01 09:00 started a of 06-01 09:00",
        "06-01 09:30",
        """
        01 09:00 done start a
        01 09:00 due start b
        01 10:00 planned finish a
        01 22:00 planned idle flush
        """,
    ),
]

WHO_SAID_WHAT = [
    situation(
        "one dose charted by two carers, minutes apart: one dose, and the earlier times stand",
        DAILY,
        """
        06-01 09:05 started a of 06-01 09:00 by=Ana
        06-01 09:10 started a of 06-01 09:00 by=Ben
        06-01 10:05 finished a of 06-01 09:00 by=Ana
        06-01 10:15 finished a of 06-01 09:00 by=Ben
        06-01 10:05 flushed lumen=red by=Ana
        06-01 10:15 flushed lumen=red by=Ben
        """,
        "06-01 10:30",
        """
        01 09:05 done start a
        01 10:05 done finish a
        01 22:05 planned idle flush
        """,
    ),
    situation(
        "two people give two times for one start, the later one first: the earlier time stands",
        DAILY,
        """
        06-01 09:40 started a of 06-01 09:00 by=Ana
        06-01 09:05 started a of 06-01 09:00 by=Ben entered=06-01T10:10
        """,
        "06-01 10:00",
        """
        01 09:05 done start a
        01 10:05 planned finish a
        01 22:05 planned idle flush
        """,
    ),
    situation(
        "reported in the evening, last things first: read in the order in which they happened",
        DAILY,
        """
        06-01 10:20 flushed lumen=red entered=06-01T19:00
        06-01 10:20 finished a of 06-01 09:00 entered=06-01T19:01
        06-01 09:15 started a of 06-01 09:00 entered=06-01T19:02
        """,
        "06-01 19:05",
        """
        01 09:15 done start a
        01 10:20 done finish a
        01 22:20 planned idle flush
        """,
    ),
    situation(
        "charted as given by mistake, then taken back: it is due as before",
        DAILY,
        """
        06-01 09:10 started a of 06-01 09:00 key=slip
        06-01 09:20 withdrawn withdraws=slip
        """,
        "06-01 09:30",
        """
        01 09:00 due start a
        01 10:00 planned finish a
        01 22:00 planned idle flush
        """,
    ),
    situation(
        "taken back, and the true time told: only the true one counts",
        DAILY,
        """
        06-01 09:10 started a of 06-01 09:00 key=slip
        06-01 09:55 withdrawn withdraws=slip
        06-01 09:50 started a of 06-01 09:00 entered=06-01T09:56
        """,
        "06-01 10:00",
        """
        01 09:50 done start a
        01 10:50 planned finish a
        01 22:50 planned idle flush
        """,
    ),
    situation(
        "really started a second time: recorded, and both must be finished",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:40 started order=a dose=2026-06-01T09:00+again again=yes
        """,
        "06-01 09:45",
        """
        01 09:00 done start a
        01 09:40 done start a
        01 10:00 planned finish a
        01 10:40 planned finish a
        01 22:40 planned idle flush
        """,
    ),
    situation(
        "no report for three days, then one: what lies before it is unconfirmed, never done",
        DAILY,
        "06-04 09:05 started a of 06-04 09:00",
        "06-04 09:10",
        """
        01 09:00 unconfirmed start a
        01 10:00 unconfirmed finish a
        01 22:00 unconfirmed idle flush
        03 09:00 unconfirmed start a
        03 10:00 unconfirmed finish a
        03 22:00 unconfirmed idle flush
        04 09:05 done start a
        04 10:05 planned finish a
        04 22:05 planned idle flush
        """,
        days="01 03 04",
    ),
    situation(
        "the same bag change charted by two carers: one change, and the next a day after it",
        RED + CONTINUOUS,
        """
        06-01 09:00 started order=c dose=continuous
        06-02 09:05 bag-changed order=c dose=continuous by=Ana
        06-02 09:10 bag-changed order=c dose=continuous by=Ben
        """,
        "06-02 09:20",
        """
        02 09:05 done bag change c
        03 09:05 planned bag change c
        """,
        days="02 03",
    ),
    situation(
        "the same draw charted by two carers: one draw, one flush",
        RED,
        """
        06-01 14:00 drawn lumen=red by=Ana
        06-01 14:03 drawn lumen=red by=Ben
        06-01 14:05 flushed lumen=red by=Ben
        """,
        "06-01 14:10",
        """
        01 14:00 done draw
        """,
    ),
]

FLUSHES = [
    situation(
        "flushed two hours early: it takes the planned one's place, and the limit counts from it",
        DAILY,
        f"{GIVEN}\n06-01 20:00 flushed lumen=red",
        "06-01 20:05",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 20:00 done idle flush
        02 08:00 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "flushed two hours late: late, and the limit counts from it",
        DAILY,
        f"{GIVEN}\n06-02 00:00 flushed lumen=red",
        "06-02 00:05",
        """
        01 09:00 done start a
        01 10:00 done finish a
        02 00:00 late idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "flushed at noon, far from any planned flush: one besides, and the next is 12 h after it",
        DAILY,
        f"{GIVEN}\n06-01 12:00 flushed lumen=red",
        "06-01 12:05",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 12:00 done idle flush
        02 00:00 planned idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "an idle flush that the nurse says to leave out",
        DAILY,
        f"{GIVEN}\n06-01 20:00 skipped lumen=red planned_for=06-01T22:00 said_by=nurse",
        "06-01 21:00",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 22:00 skipped idle flush
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "blood drawn in mid-week and flushed: the limit counts from its flush",
        DAILY,
        """
        06-03 14:00 drawn lumen=red
        06-03 14:05 flushed lumen=red
        """,
        "06-03 14:30",
        """
        03 09:00 unconfirmed start a
        03 10:00 unconfirmed finish a
        03 14:00 done draw
        04 02:05 planned idle flush
        04 09:00 planned start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        """,
        days="03 04",
    ),
    situation(
        "flushed ten minutes before a draw: the draw itself is still to be flushed",
        RED,
        """
        06-01 14:00 flushed lumen=red
        06-01 14:10 drawn lumen=red
        """,
        "06-01 14:20",
        """
        01 14:00 done idle flush
        01 14:10 due draw, flush outstanding
        """,
    ),
    situation(
        "flushed ten minutes before the infusion was found finished: still to be flushed after it",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:45 flushed lumen=red
        06-01 09:55 finished a of 06-01 09:00
        """,
        "06-01 10:00",
        """
        01 09:00 done start a
        01 09:45 done idle flush
        01 09:55 due finish a, flush outstanding
        01 21:55 planned idle flush
        """,
    ),
    situation(
        "a bag for 24 h that is changed half an hour later each day: each change counts from the one before",
        RED + CONTINUOUS,
        """
        06-01 09:00 started order=c dose=continuous
        06-02 09:30 bag-changed order=c dose=continuous
        06-03 10:00 bag-changed order=c dose=continuous
        """,
        "06-03 10:05",
        """
        01 09:00 done start c
        02 09:30 late bag change c
        03 10:00 late bag change c
        04 10:00 planned bag change c
        """,
        days="01 02 03 04",
    ),
    situation(
        "a bag that is empty after 21 hours: the next one counts from when it was hung",
        RED + CONTINUOUS,
        """
        06-01 09:00 started order=c dose=continuous
        06-02 06:00 bag-changed order=c dose=continuous
        """,
        "06-02 06:05",
        """
        02 06:00 done bag change c
        03 06:00 planned bag change c
        """,
        days="02 03",
    ),
]

REVISION = '[plan]\nrevision = {}\ntakes_effect = "2026-{}"\n'
"""A later revision of a plan: its number, and from when on it is in force."""

ORDERS = [
    situation(
        "an order on hold: its doses are held, the idle flushes go on",
        DAILY,
        f"{GIVEN}\n06-01 22:00 flushed lumen=red\n06-02 08:00 held order=a said_by=clinic",
        "06-02 08:30",
        """
        02 09:00 skipped start a
        02 10:00 planned idle flush
        02 22:00 planned idle flush
        03 09:00 skipped start a
        03 10:00 planned idle flush
        03 22:00 planned idle flush
        """,
        days="02 03",
    ),
    situation(
        "released from the hold: the doses after it are given again",
        DAILY,
        """
        06-02 08:00 held order=a said_by=clinic
        06-03 22:00 flushed lumen=red
        06-04 08:00 released order=a said_by=clinic
        """,
        "06-04 08:10",
        """
        03 09:00 skipped start a
        03 10:00 unconfirmed idle flush
        03 22:00 done idle flush
        04 09:00 due start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        """,
        days="03 04",
    ),
    situation(
        "put on hold while it runs: what runs is finished and flushed",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:30 held order=a said_by=clinic
        """,
        "06-01 09:40",
        """
        01 09:00 done start a
        01 10:00 planned finish a
        01 22:00 planned idle flush
        02 09:00 skipped start a
        02 10:00 planned idle flush
        02 22:00 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "one order on hold, another in the same lumen is not",
        RED + daily() + daily("b", "15:00", 30),
        "06-01 08:10 held order=a said_by=clinic",
        "06-01 08:20",
        """
        01 09:00 skipped start a
        01 15:00 planned start b
        01 15:30 planned finish b
        """,
    ),
    situation(
        "in hospital from Monday evening to Wednesday: nothing at home; at home again the flush is due at once",
        DAILY,
        STAY,
        "06-03 15:05",
        """
        02 09:00 skipped start a
        03 09:00 skipped start a
        03 15:00 overdue idle flush
        04 03:00 planned idle flush
        04 09:00 planned start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        """,
        days="02 03 04",
    ),
    situation(
        "in hospital, and they say when they flushed it last: the limit counts from that",
        DAILY,
        f"{STAY}\n06-03 13:00 flushed lumen=red elsewhere=yes",
        "06-03 15:05",
        """
        03 09:00 skipped start a
        03 13:00 done idle flush
        04 01:00 planned idle flush
        04 09:00 planned start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        """,
        days="03 04",
    ),
    situation(
        "every 12 h becomes every 8 h from tonight: the old doses stay as they were",
        REVISION.format(2, "06-02 18:00") + RED + every(8, "06-02 21:00", 6),
        """
        06-02 09:00 started a of 06-02 14:00Z
        06-02 10:00 finished a of 06-02 14:00Z
        06-02 10:00 flushed lumen=red
        """,
        "06-02 18:30",
        """
        01 09:00 unconfirmed start a
        01 10:00 unconfirmed finish a
        01 21:00 unconfirmed start a
        01 22:00 unconfirmed finish a
        02 09:00 done start a
        02 10:00 done finish a
        02 21:00 planned start a
        02 22:00 planned finish a
        03 05:00 planned start a
        03 06:00 planned finish a
        03 13:00 planned start a
        03 14:00 planned finish a
        03 21:00 planned start a
        03 22:00 planned finish a
        """,
        days="01 02 03",
        earlier=(RED + every(12, "06-01 09:00", 10),),
    ),
    situation(
        "the course is extended by two days",
        REVISION.format(2, "06-02 12:00") + RED + daily(last_day="06-04"),
        "",
        "06-02 12:30",
        """
        03 09:00 planned start a
        03 10:00 planned finish a
        03 22:00 planned idle flush
        04 09:00 planned start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        05 10:00 planned idle flush
        05 22:00 planned idle flush
        """,
        days="03 04 05",
        earlier=(RED + daily(last_day="06-02"),),
    ),
    situation(
        "the course is shortened: today's dose was the last, and the lumen is kept flushed",
        REVISION.format(2, "06-02 12:00") + RED + daily(last_day="06-02"),
        "",
        "06-02 12:30",
        """
        02 09:00 overdue start a
        02 10:00 overdue finish a
        02 22:00 planned idle flush
        03 10:00 planned idle flush
        03 22:00 planned idle flush
        """,
        days="02 03",
        earlier=(RED + daily(last_day="06-05"),),
    ),
    situation(
        "stopped by a revision while it runs: what runs is finished, the next ones are gone",
        REVISION.format(2, "06-02 09:30") + RED,
        "06-02 09:05 started a of 06-02 09:00",
        "06-02 09:40",
        """
        02 09:05 done start a
        02 10:05 planned finish a
        02 22:05 planned idle flush
        03 10:05 planned idle flush
        03 22:05 planned idle flush
        """,
        days="02 03",
        earlier=(DAILY,),
    ),
    situation(
        "a revision put in use a day late: what lies before its instant stays as it was",
        REVISION.format(2, "06-02 12:00") + RED + daily(clock="10:00"),
        "06-02 09:05 started a of 06-02 09:00",
        "06-03 08:00",
        """
        01 09:00 unconfirmed start a
        01 10:00 unconfirmed finish a
        01 22:00 unconfirmed idle flush
        02 09:05 done start a
        02 10:05 overdue finish a
        02 22:05 overdue idle flush
        03 10:00 planned start a
        03 11:00 planned finish a
        03 23:00 planned idle flush
        """,
        days="01 02 03",
        earlier=(DAILY,),
    ),
    situation(
        "a revision that takes effect on Friday: until then the doses are as they are",
        REVISION.format(2, "06-05 00:00") + RED + daily(clock="11:00"),
        "",
        "06-01 08:00",
        """
        04 09:00 planned start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        05 10:00 planned idle flush
        05 11:00 planned start a
        05 12:00 planned finish a
        06 00:00 planned idle flush
        06 11:00 planned start a
        06 12:00 planned finish a
        """,
        days="04 05 06",
        earlier=(DAILY,),
    ),
    situation(
        "three revisions, the third earlier than the second: the third rules from its instant on",
        REVISION.format(3, "06-02 00:00") + RED + daily(clock="10:00"),
        "",
        "06-01 07:59",
        """
        01 09:00 planned start a
        01 10:00 planned finish a
        01 22:00 planned idle flush
        02 10:00 planned start a
        02 11:00 planned finish a
        02 23:00 planned idle flush
        03 10:00 planned start a
        03 11:00 planned finish a
        03 23:00 planned idle flush
        """,
        days="01 02 03",
        earlier=(DAILY, REVISION.format(2, "06-03 00:00") + RED + daily(clock="11:00")),
    ),
    situation(
        "three revisions, one after the other: each from its instant on",
        REVISION.format(3, "06-04 00:00") + RED + daily(clock="10:00"),
        "",
        "06-01 08:00",
        """
        02 09:00 planned start a
        02 10:00 planned finish a
        02 22:00 planned idle flush
        03 10:00 planned idle flush
        03 11:00 planned start a
        03 12:00 planned finish a
        04 00:00 planned idle flush
        04 10:00 planned start a
        04 11:00 planned finish a
        04 23:00 planned idle flush
        """,
        days="02 03 04",
        earlier=(DAILY, REVISION.format(2, "06-03 00:00") + RED + daily(clock="11:00")),
    ),
    situation(
        "as needed, twice: nothing is scheduled, and what is recorded counts for the lumen",
        RED + AS_NEEDED,
        """
        06-01 14:00 started order=n dose=first
        06-01 14:30 finished order=n dose=first
        06-01 14:30 flushed lumen=red
        06-01 21:00 started order=n dose=second
        """,
        "06-01 21:10",
        """
        01 14:00 done start n
        01 14:30 done finish n
        01 21:00 done start n
        01 21:30 planned finish n
        02 09:30 planned idle flush
        02 21:30 planned idle flush
        """,
        days="01 02",
    ),
    situation(
        "as needed, and it runs into a dose that is ordered: that one is ask first",
        DAILY + AS_NEEDED,
        "06-01 08:45 started order=n dose=first",
        "06-01 08:50",
        """
        01 08:45 done start n
        01 09:00 due start a, ask: runs into another dose
        01 09:15 planned finish n
        01 10:00 planned finish a, ask: runs into another dose
        01 21:15 planned idle flush
        """,
    ),
    situation(
        "one that follows another, which starts late: it starts when that one has really finished",
        FOLLOWED,
        "06-01 09:40 started a of 06-01 09:00",
        "06-01 09:45",
        """
        01 09:40 done start a
        01 10:40 due finish and start b
        01 11:10 planned finish b
        01 23:10 planned idle flush
        """,
    ),
    situation(
        "one that follows another, which finishes early: it is due that much earlier",
        FOLLOWED,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:45 finished a of 06-01 09:00
        06-01 09:50 started b of 06-01 09:00
        """,
        "06-01 09:55",
        """
        01 09:00 done start a
        01 09:45 due finish a, flush outstanding
        01 09:50 done start b
        01 10:20 planned finish b
        01 22:20 planned idle flush
        """,
    ),
    situation(
        "one that follows another, which was not given: ask first, at its planned time",
        FOLLOWED,
        "06-01 10:30 not-given a of 06-01 09:00",
        "06-01 10:35",
        """
        01 09:00 missed start a
        01 10:00 due start b, ask: the dose that it follows was not given, or has not finished
        01 10:30 due finish b, ask: the dose that it follows was not given, or has not finished
        01 20:00 planned idle flush
        """,
    ),
    situation(
        "one that follows another, which is skipped: ask first, at its planned time",
        FOLLOWED,
        "06-01 08:30 skipped a of 06-01 09:00 said_by=clinic",
        "06-01 08:40",
        """
        01 09:00 skipped start a
        01 10:00 planned start b, ask: the dose that it follows was not given, or has not finished
        01 10:30 planned finish b, ask: the dose that it follows was not given, or has not finished
        01 20:00 planned idle flush
        """,
    ),
]

NEW_LINE = 'start = "2026-06-03 12:00"\n[line]\nplaced_on = 2026-06-03\nlock = "saline"\nheparin_ruled_out = true\n'

LINES = [
    situation(
        "the red lumen will not flush, the drug is given through the blue one: blue",
        DAILY + BLUE,
        """
        06-01 08:50 problem lumen=red sign=will_not_flush
        06-01 09:10 started a of 06-01 09:00 lumen=blue
        """,
        "06-01 09:20",
        """
        01 09:10 done start a
        01 10:10 planned finish a
        01 20:00 planned idle flush
        """,
        lumen="blue",  # with the red lumen's, which cannot wait: one session instead of two
    ),
    situation(
        "the red lumen will not flush, the drug is given through the blue one: red",
        DAILY + BLUE,
        """
        06-01 08:50 problem lumen=red sign=will_not_flush
        06-01 09:10 started a of 06-01 09:00 lumen=blue
        """,
        "06-01 09:20",
        """
        01 20:00 planned idle flush, ask: a problem with the lumen
        02 08:00 planned idle flush, ask: a problem with the lumen
        02 09:00 planned start a, ask: a problem with the lumen
        02 10:00 planned finish a, ask: a problem with the lumen
        02 20:00 planned idle flush, ask: a problem with the lumen
        """,
        days="01 02",
    ),
    situation(
        "given through the blue lumen in the evening: blue's own flushes, planned with the red doses, stay unconfirmed",
        DAILY + BLUE,
        "06-01 23:00 started a of 06-01 09:00 lumen=blue",
        "06-01 23:00",
        """
        01 10:00 unconfirmed idle flush
        01 22:00 unconfirmed idle flush
        01 23:00 late start a
        """,
        lumen="blue",
    ),
    situation(
        "given through the blue lumen in the evening: the red one's flush, planned for 22:00, stays overdue",
        DAILY + BLUE,
        "06-01 23:00 started a of 06-01 09:00 lumen=blue",
        "06-01 23:00",
        """
        01 22:00 overdue idle flush
        """,
    ),
    situation(
        "swelling is reported before the dose: nothing is offered until it is released",
        DAILY,
        "06-01 08:30 problem lumen=red sign=swelling",
        "06-01 09:05",
        """
        01 09:00 due start a, ask: the lumen is suspended
        02 09:00 planned start a, ask: the lumen is suspended
        """,
        days="01 02",
    ),
    situation(
        "swelling is reported while the dose is due: the same",
        DAILY,
        "06-01 09:10 problem lumen=red sign=swelling",
        "06-01 09:15",
        """
        01 09:00 due start a, ask: the lumen is suspended
        01 10:00 planned finish a, ask: the lumen is suspended
        02 09:00 planned start a, ask: the lumen is suspended
        """,
        days="01 02",
    ),
    situation(
        "swelling is reported while it runs: the finish is not offered",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:30 problem lumen=red sign=swelling
        """,
        "06-01 09:35",
        """
        01 09:00 done start a
        01 10:00 planned finish a, ask: the lumen is suspended
        """,
    ),
    situation(
        "a fever is reported while the dose is due: noted, and it is due as before",
        DAILY,
        "06-01 09:10 problem sign=other note=fever",
        "06-01 09:15",
        """
        01 09:00 due start a
        01 10:00 planned finish a
        01 22:00 planned idle flush
        """,
    ),
    situation(
        "a lumen out of use: its order is flagged, not moved; the flushes stop",
        DAILY + BLUE,
        f"{GIVEN}\n06-01 12:00 lumen-out-of-use lumen=red said_by=clinic",
        "06-01 12:05",
        """
        01 09:00 done start a
        01 10:00 done finish a
        02 09:00 planned start a, ask: the lumen is out of use
        03 09:00 planned start a, ask: the lumen is out of use
        """,
        days="01 02 03",
    ),
    situation(
        "a lumen out of use: the other one goes on",
        DAILY + BLUE,
        f"{GIVEN}\n06-01 12:00 lumen-out-of-use lumen=red said_by=clinic",
        "06-01 12:05",
        """
        01 10:00 due idle flush
        01 22:00 planned idle flush
        02 10:00 planned idle flush
        02 22:00 planned idle flush
        """,
        days="01 02",
        lumen="blue",
    ),
    situation(
        "flushed although it is out of use: recorded, and nothing is planned on it because of that",
        DAILY,
        f"{GIVEN}\n06-01 12:00 lumen-out-of-use lumen=red\n06-01 15:00 flushed lumen=red",
        "06-01 15:05",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 15:00 done idle flush
        02 09:00 planned start a, ask: the lumen is out of use
        """,
        days="01 02",
    ),
    situation(
        "in use again after two days: the flush is due at once",
        DAILY,
        f"""
        {GIVEN}
        06-01 12:00 lumen-out-of-use lumen=red said_by=clinic
        06-03 07:00 released lumen=red said_by=clinic
        """,
        "06-03 07:00",
        """
        02 09:00 unconfirmed start a, ask: the lumen is out of use
        03 07:00 due idle flush
        03 09:00 planned start a
        03 10:00 planned finish a
        03 22:00 planned idle flush
        """,
        days="02 03",
    ),
    situation(
        "the line is exchanged, and nobody has put the new one's plan in use: nothing is offered",
        DAILY,
        f"{GIVEN}\n06-01 13:00 line-exchanged",
        "06-01 13:05",
        """
        01 09:00 done start a
        01 10:00 done finish a
        02 09:00 planned start a, ask: the line was exchanged
        """,
        days="01 02",
    ),
    situation(
        "the line is exchanged for one without heparin, its plan in use half an hour later",
        REVISION.format(2, "06-03 14:00") + NEW_LINE + '[lumen.red]\nlast_flushed = "2026-06-03 13:30"\n' + daily(),
        """
        06-03 09:00 started a of 06-03 09:00
        06-03 10:00 finished a of 06-03 09:00
        06-03 10:00 flushed lumen=red
        06-03 13:30 line-exchanged said_by=hospital
        """,
        "06-03 14:05",
        """
        03 09:00 done start a
        03 10:00 done finish a
        04 01:30 planned idle flush
        04 09:00 planned start a
        04 10:00 planned finish a
        04 22:00 planned idle flush
        """,
        days="03 04",
        earlier=(DAILY,),
    ),
    situation(
        "the line is exchanged in the morning, its plan in use at noon: the dose between counts for no limit",
        REVISION.format(2, "06-03 12:00") + NEW_LINE + '[lumen.red]\nlast_flushed = "2026-06-03 07:00"\n' + daily(),
        "06-03 07:00 line-exchanged said_by=hospital",
        "06-03 12:05",
        """
        03 09:00 overdue start a, ask: the line was exchanged
        03 19:00 planned idle flush
        """,
        days="03",
        earlier=(DAILY,),
    ),
    situation(
        "removed early: nothing is due after it",
        DAILY,
        """
        06-03 09:00 started a of 06-03 09:00
        06-03 10:00 finished a of 06-03 09:00
        06-03 10:00 flushed lumen=red
        06-03 12:00 line-removed said_by=clinic
        """,
        "06-03 12:30",
        """
        03 09:00 done start a
        03 10:00 done finish a
        """,
        days="03 04 05 06 07 08",
    ),
    situation(
        "removed early, and what was before it is not recorded: unconfirmed, not due",
        DAILY,
        "06-03 12:00 line-removed said_by=clinic",
        "06-03 12:30",
        """
        03 09:00 unconfirmed start a
        03 10:00 unconfirmed finish a
        """,
        days="03 04",
    ),
    situation(
        "given at the clinic, not through this line: it counts, and the lumen's limit does not wait for it",
        DAILY,
        "06-01 09:00 started a of 06-01 09:00 elsewhere=yes",
        "06-01 10:00",
        """
        01 09:00 done start a
        01 20:00 planned idle flush
        """,
    ),
    situation(
        "given at the clinic through this line, and finished and flushed there",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00 elsewhere=yes lumen_used=yes
        06-01 10:00 finished a of 06-01 09:00 elsewhere=yes
        06-01 10:00 flushed lumen=red elsewhere=yes
        """,
        "06-01 10:30",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 22:00 planned idle flush
        """,
    ),
    situation(
        "started at home, finished at the clinic: the lumen was used",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 10:00 finished a of 06-01 09:00 elsewhere=yes
        06-01 10:00 flushed lumen=red elsewhere=yes
        """,
        "06-01 10:30",
        """
        01 09:00 done start a
        01 10:00 done finish a
        01 22:00 planned idle flush
        """,
    ),
    situation(
        "taken to hospital while it runs: what happens there is not asked for at home",
        DAILY,
        """
        06-01 09:00 started a of 06-01 09:00
        06-01 09:30 held
        """,
        "06-01 11:00",
        """
        01 09:00 done start a
        01 10:00 skipped finish a
        02 09:00 skipped start a
        """,
        days="01 02",
    ),
    situation(
        "a lumen that only the nurse may flush: a late dose, and no routine flush",
        RED + 'flush_through = "nurse only"\n' + daily(),
        "06-01 09:20 started a of 06-01 09:00",
        "06-01 09:30",
        """
        01 09:20 done start a
        01 10:20 planned finish a
        02 09:00 planned start a
        02 10:00 planned finish a
        """,
        days="01 02",
    ),
    situation(
        "a push, twenty minutes late: one touch, and the limit counts from it",
        RED + daily("p", minutes=5, more='given_as = "push"'),
        "06-01 09:20 started p of 06-01 09:00",
        "06-01 09:25",
        """
        01 09:20 done push p
        01 21:20 planned idle flush
        """,
    ),
    situation(
        "a push that was not given",
        RED + daily("p", minutes=5, more='given_as = "push"'),
        "06-01 09:20 not-given p of 06-01 09:00",
        "06-01 09:25",
        """
        01 09:00 missed push p
        01 20:00 planned idle flush
        """,
    ),
    situation(
        "a pump that keeps the lumen open is stopped for an hour: in that hour the lumen is idle, its limit long passed",
        RED
        + order(
            "a",
            'given_as = "pump"\nkept_open = true\nevery = "6 h"\nfirst_dose = "2026-06-01 09:00"\n'
            'stops = "2026-06-04 09:00"\nuntil_removal = true\nduration = "60 min"',
        ),
        """
        06-01 09:00 started order=a dose=reservoir
        06-02 06:00 interrupted order=a dose=reservoir
        06-02 07:00 resumed order=a dose=reservoir
        """,
        "06-02 06:00",
        """
        01 09:00 done start a
        02 06:00 due idle flush
        04 09:00 planned finish a
        04 21:00 planned idle flush
        """,
        days="01 02 03 04",
    ),
]

CLOCKS = [
    situation(
        "the clocks go back: 75 minutes late, at the second 01:45; the next one is 4 h 45 min after it, against 5 h",
        """
        [plan]
        takes_effect = "2026-10-30 08:00"
        start = "2026-10-31 16:00"
        end = "2026-11-03 08:00"
        [lumen.red]
        last_flushed = "2026-10-31 15:00"
        [order.a]
        every = "6 h"
        first_dose = "2026-10-31 19:30"
        last_day = 2026-11-03
        duration = "60 min"
        least_spacing = "5 h"
        """,
        "11-01 07:45 started order=a dose=2026-11-01T06:30Z",
        "11-01 02:00",
        """
        01 01:45 late start a
        01 02:45 planned finish a
        01 06:30 planned start a, ask: less than the least spacing
        01 07:30 planned finish a, ask: less than the least spacing
        01 12:30 planned start a
        01 13:30 planned finish a
        01 18:30 planned start a
        01 19:30 planned finish a
        """,
        clock="UTC",
    ),
    situation(
        "the clocks go back in the night: 12 h after a late finish at 21:30 CDT is 08:30 CST",
        """
        [plan]
        takes_effect = "2026-10-30 08:00"
        start = "2026-10-31 16:00"
        end = "2026-11-03 08:00"
        [lumen.red]
        last_flushed = "2026-10-31 15:00"
        [order.a]
        clock_times = ["20:00"]
        first_dose = "2026-10-31 20:00"
        last_day = 2026-11-02
        duration = "60 min"
        least_spacing = "20 h"
        """,
        "10-31 20:30 started order=a dose=2026-10-31T20:00",
        "10-31 20:40",
        """
        31 20:30 done start a
        31 21:30 planned finish a
        01 08:30 planned idle flush
        01 20:00 planned start a
        01 21:00 planned finish a
        """,
        days="31 01",
    ),
    situation(
        "the clocks go forward while it runs: 60 minutes from 01:45 CST end at 03:45 CDT",
        """
        [plan]
        takes_effect = "2027-03-13 08:00"
        start = "2027-03-13 20:30"
        end = "2027-03-16 08:00"
        [lumen.red]
        last_flushed = "2027-03-13 20:00"
        [order.a]
        clock_times = ["01:30"]
        first_dose = "2027-03-14 01:30"
        last_day = 2027-03-16
        duration = "60 min"
        least_spacing = "20 h"
        """,
        "2027-03-14 01:45 started order=a dose=2027-03-14T01:30",
        "2027-03-14 03:05",
        """
        14 01:45 done start a
        14 03:45 planned finish a
        14 15:45 planned idle flush
        """,
        days="14",
    ),
    situation(
        "a dose of 21:00 half an hour late in the night of the gap: 12 h after its finish is 11:30 CDT",
        """
        [plan]
        takes_effect = "2027-03-13 08:00"
        start = "2027-03-13 20:30"
        end = "2027-03-16 08:00"
        [lumen.red]
        last_flushed = "2027-03-13 20:00"
        [order.a]
        clock_times = ["21:00"]
        first_dose = "2027-03-13 21:00"
        last_day = 2027-03-15
        duration = "60 min"
        least_spacing = "20 h"
        """,
        "2027-03-13 21:30 started order=a dose=2027-03-13T21:00",
        "2027-03-13 21:40",
        """
        13 21:30 done start a
        13 22:30 planned finish a
        14 11:30 planned idle flush
        14 21:00 planned start a
        14 22:00 planned finish a
        """,
        days="13 14",
    ),
    situation(
        "after a flight to Phoenix, two hours behind: the dose of 20:00 at home is 18:00 there, and late at 19:15",
        '[[zone_change]]\nat = "2026-06-02 12:00"\nzone = "America/Phoenix"\n' + RED + daily(clock="20:00"),
        "06-02 21:15 started a of 06-02 20:00",
        "06-02 21:20",
        """
        02 09:00 unconfirmed idle flush
        02 19:15 late start a
        02 20:15 planned finish a
        03 08:15 planned idle flush
        03 18:00 planned start a
        03 19:00 planned finish a
        """,
        days="02 03",
    ),
]

SITUATIONS = [*LATE, *FINISHES, *WHO_SAID_WHAT, *FLUSHES, *ORDERS, *LINES, *CLOCKS]


@pytest.mark.parametrize("row", SITUATIONS)
def test_what_follows(row: Situation) -> None:
    """Each row of the table: what is recorded of a plan, and what the schedule then shows."""
    assert row.shown == [line.strip() for line in row.follows.strip().splitlines()]


def test_the_table_is_long_enough_and_its_titles_differ() -> None:
    """At least 45 situations, each with a title of its own."""
    titles = [row.id for row in SITUATIONS]
    assert len(titles) >= 45
    assert len(set(titles)) == len(titles)


# What a row cannot show


def test_a_dose_given_early_of_which_only_the_finish_is_recorded() -> None:
    """Due at 12:00, finished and flushed at 10:00: the limit is 22:00, and nothing says to start it at 12:00."""
    told = "06-01 10:00 finished a of 06-01 12:00\n06-01 10:00 flushed lumen=red"
    compiled = given(RED + daily(clock="12:00"), told, "06-01 10:05")
    ahead = [touch for touch in compiled.touches if touch.kind is TouchKind.IDLE_FLUSH and touch.outcome is None]
    flush = ahead[0]
    assert flush.at == at("06-01 22:00")
    offered = [event(compiled, touch)[1] for touch in compiled.touches if touch.at < at("06-02 00:00")]
    assert not any("Connect and start" in body for body in offered)


def test_the_last_recorded_flush_is_always_to_be_had() -> None:
    """Flushed at 08:50, the dose of 09:00 not recorded: the last recorded flush is the one of 08:50."""
    compiled = given(DAILY, "06-01 08:50 flushed lumen=red", "06-01 08:55")
    assert compiled.lumens["red"].last_flush == at("06-01 08:50")


def test_what_follows_an_interrupted_dose_stays_visible() -> None:
    """When it starts is unknown until the other is resumed or stopped, but it does not vanish."""
    told = "06-01 09:00 started a of 06-01 09:00\n06-01 09:30 interrupted a of 06-01 09:00"
    compiled = given(FOLLOWED, told, "06-01 09:40")
    assert "2026-06-01T09:00" in {dose.key for dose in compiled.doses["b"]}


def test_a_dose_as_needed_of_which_only_the_finish_is_recorded() -> None:
    """It was given: it counts, and its lumen is to be flushed now."""
    compiled = given(RED + AS_NEEDED, "06-01 14:00 finished order=n dose=first", "06-01 14:05")
    assert [dose.key for dose in compiled.doses["n"]] == ["first"]


def test_no_limit_counts_from_a_flush_that_is_skipped() -> None:
    """After a flush that is not to be done the limit of the one before it goes on."""
    told = f"{GIVEN}\n06-01 20:00 skipped lumen=red planned_for=06-01T22:00\n06-01 20:00 skipped a of 06-02 09:00"
    compiled = given(DAILY, told, "06-01 21:00")
    skipped = at("06-01 22:00")
    assert all(touch.reason.last_flush != skipped for touch in compiled.touches)


def test_a_start_that_is_recorded_after_the_removal() -> None:
    """What may have happened is never refused: it is shown, though after the removal nothing is due."""
    told = "06-03 12:00 line-removed\n06-04 09:00 started a of 06-04 09:00"
    compiled = given(DAILY, told, "06-04 09:05")
    assert rows(compiled, "06-04 09:05", day="04")[0] == "04 09:00 done start a"


def test_a_new_dose_at_the_same_times_keeps_the_old_words_for_the_old_doses() -> None:
    """R19: what was before the revision's instant says 1 g, what is after it 2 g; the dose in between runs on."""
    later = REVISION.format(2, "06-02 09:30") + RED + daily(more='dose = "2 g"')
    told = "06-02 09:10 started a of 06-02 09:00"
    compiled = given(later, told, "06-02 09:40", [DAILY])
    titles = [event(compiled, touch)[0] for touch in compiled.touches if touch.kind is TouchKind.START][:3]
    assert titles == [
        "Red lumen: start a 1 g",
        "Done: Red lumen: start a 1 g",
        "Red lumen: start a 2 g",
    ]
    assert only(compiled.touches, TouchKind.FINISH, "06-02 10:10").ends[0].key == "2026-06-02T09:00"


def test_after_the_exchange_no_heparin() -> None:
    """A new line whose plan rules out heparin: none in any step after the revision, and before it as it was."""
    later = REVISION.format(2, "06-03 14:00") + NEW_LINE + '[lumen.red]\nlast_flushed = "2026-06-03 13:30"\n' + daily()
    compiled = given(later, "06-03 13:30 line-exchanged", "06-03 14:05", [DAILY])
    steps = {
        when: {
            step.what for touch in compiled.touches if when == (touch.at >= at("06-03 13:30")) for step in touch.steps
        }
        for when in (False, True)
    }
    assert "heparin" in steps[False]
    assert "heparin" not in steps[True]
    assert "saline" in steps[True]


def test_a_lock_that_is_withdrawn_first_after_a_delay() -> None:
    """R6: the idle flush that the delay brings about sets a lock, and the late start draws it out."""
    edits = '[lumen.red]\nlast_flushed = "2026-05-31 21:00"\nflush_through = "withdraw first"\n'
    edits += 'withdraw_volume = "5 mL"\n' + daily()
    compiled = given(edits, "06-01 08:30 delayed a of 06-01 09:00 until=06-01T11:00")
    assert [(touch.at, said(touch.steps)) for touch in compiled.touches[:3]] == [
        (at("06-01 09:00"), "withdraw, saline, lock heparin"),
        (at("06-01 11:00"), "withdraw, saline, connect a"),
        (at("06-01 12:00"), "disconnect a, saline, lock heparin"),
    ]


def test_ask_first_numbers_are_in_the_event() -> None:
    """R17: an overlap says which drug runs until when."""
    compiled = given(
        RED + daily(minutes=120) + daily("b", "11:00", 30), "06-01 09:30 started a of 06-01 09:00", "06-01 09:40"
    )
    title, body = event(compiled, only(compiled.touches, TouchKind.START, "06-01 11:00"))
    assert title == "ASK FIRST: Red lumen: start b 1 g"
    assert "a runs in this lumen until 11:30 CDT." in body
    assert f"ASK FIRST: call {NURSE} before you do this." in body


@pytest.mark.parametrize("kind", ["not-given", "skipped"])
def test_what_was_not_given_is_never_made_up(kind: str) -> None:
    """R18: no dose is added or moved, and the event says not to make it up, and whom to call."""
    before, compiled = given(DAILY, ""), given(DAILY, f"06-01 10:00 {kind} a of 06-01 09:00", "06-01 10:05")
    assert [(dose.key, dose.start) for dose in compiled.doses["a"]] == [
        (dose.key, dose.start) for dose in before.doses["a"]
    ]
    _, body = event(compiled, only(compiled.touches, TouchKind.START, "06-01 09:00"))
    assert f"Do not make it up by yourself. Questions? Call {NURSE}." in body


def test_a_report_that_arrives_twice_is_one() -> None:
    """R13: facts with the same keys are added once."""
    told = record(lines_of("06-01 09:00 started a of 06-01 09:00 key=one"))
    again = told.with_facts(told.facts)
    assert again.facts == told.facts


def test_the_order_of_entering_changes_nothing() -> None:
    """R13, R14: the same facts entered in any order give the same schedule."""
    facts = lines_of(
        """
        06-01 09:05 started a of 06-01 09:00 key=k1 entered=06-01T19:00
        06-01 09:20 interrupted a of 06-01 09:00 key=k2 entered=06-01T19:00
        06-01 09:40 resumed a of 06-01 09:00 key=k3 entered=06-01T19:00
        06-01 10:25 finished a of 06-01 09:00 key=k4 entered=06-01T19:00
        06-01 10:25 flushed lumen=red key=k5 entered=06-01T19:00
        06-01 15:00 drawn lumen=red key=k6 entered=06-01T19:00
        06-01 15:00 flushed lumen=red key=k7 entered=06-01T19:00
        """
    )
    wanted = rows(after(DAILY, facts), "06-01 19:00")
    assert wanted[:3] == ["01 09:05 done start a", "01 10:25 done finish a", "01 15:00 done draw"]
    for shift in range(1, len(facts)):
        assert rows(after(DAILY, [*facts[shift:], *facts[:shift]]), "06-01 19:00") == wanted
    assert rows(after(DAILY, facts[::-1]), "06-01 19:00") == wanted


def test_instants_do_not_move_because_time_passes() -> None:
    """R14: with the same record the same events stand at the same instants, whatever the time."""
    told = "06-02 08:30 delayed a of 06-02 09:00 until=06-02T11:00"
    moments = [
        [touch.at for touch in given(DAILY, told, now).touches] for now in ("06-01 08:00", "06-02 12:00", "07-01 08:00")
    ]
    assert moments[0] == moments[1] == moments[2]


def test_before_everything_the_plan_alone() -> None:
    """With an empty record the schedule is the plan's, and nothing is asked about."""
    compiled = given(DAILY, "")
    assert all(touch.asks == () and touch.outcome is None for touch in compiled.touches)
    assert compiled.lumens["red"].last_flush is None
    assert compiled.touches[0].at == Instant(at("06-01 09:00"))


def test_a_continuous_infusion_started_again_after_its_order_is_gone() -> None:
    """R18: what may have happened is shown, though no revision in force orders it any more."""
    stream = '[order.c]\ncontinuous = true\nfirst_dose = "2026-06-01 09:00"\nstops = "2026-06-06 09:00"\n'
    later = REVISION.format(2, "06-03 12:00") + RED
    told = "06-04 10:00 started order=c dose=continuous again=yes"
    compiled = after(later, told, "06-04 10:05", [RED + stream])
    assert "04 10:00 done start c" in rows(compiled, "06-04 10:05", day="04")


def test_facts_from_before_the_revision_that_brings_their_order_in_are_shown_as_what_happened() -> None:
    """A record that was joined from another computer may speak of an order and a lumen before their revision."""
    later = (
        '[plan]\nrevision = 2\ntakes_effect = "2026-06-05 08:00"\n'
        + DAILY
        + '[lumen.blue]\nlast_flushed = "2026-06-05 07:00"\n'
        + daily("b", "12:00", 30, 'lumen = "blue"\n').replace("2026-06-01 12:00", "2026-06-05 12:00")
    )
    dose = "order=b dose=2026-06-03T12:00"
    schedule = given(
        later,
        f"06-03 12:00 started {dose}\n06-03 12:40 finished {dose}\n06-03 13:00 flushed lumen=blue\n06-03 18:00 drawn lumen=blue",
        "06-04 12:00",
        [DAILY],
    )
    assert rows(schedule, "06-04 12:00", lumen="blue", day="03") == [
        "03 12:00 done start b",
        "03 12:40 late finish b",
        "03 18:00 overdue draw, flush outstanding",
    ]
