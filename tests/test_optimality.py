"""Idle flushes stand where integer programming proves that no placing is better (R11).

:mod:`integer_program` is the judge; it shares no code with the compiler and knows nothing of how that searches. First
the judge itself is judged: by plans whose answer is worked out by hand, by placings that are spoiled on purpose, by
whether its own ways agree, and by a judge of another kind. Then it judges the schedules of made-up plans and samples.

Three numbers such as ``(1, 7, 20)`` are figures: one idle-only session in quiet hours, seven idle-only sessions, twenty
idle flushes. What the solver does not prove counts for nothing, and every batch says how many such there were.
"""

import tomllib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import brute_force
import pytest
from integer_program import (
    ByCount,
    ByMinute,
    Figures,
    Flushes,
    Question,
    best,
    candidates,
    complaints,
    figures,
    planned,
    question,
    solved,
)
from made_up_placings import COMPRESSED, REAL_SIZE, Family, made_up
from small_plans import SAMPLES, plan_text, z
from strategies import toml_text

from reminders.examine import examine
from reminders.findings import Severity
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.model import Schedule, TouchKind, Why

BATCH = 30
BATCHES = {COMPRESSED: 9, REAL_SIZE: 7}
PROVEN = {COMPRESSED: 20, REAL_SIZE: 18}
"""How many optima of a batch must be proven. Of the others, most have nothing to place, or nothing that can be."""


@dataclass(frozen=True)
class Case:
    """A plan's schedule, and what the plan asks of the placing."""

    schedule: Schedule
    asked: Question


def case(text: str) -> Case:
    """Compile a plan, which must be without errors."""
    plan = read_plan("plan.toml", text.encode()).plan
    assert plan is not None, text
    seen = examine("plan.toml", text.encode(), EMPTY, plan.course.start.instant)
    errors = [finding.message for finding in seen.findings if finding.severity is Severity.ERROR]
    assert not errors, (errors, text)
    assert seen.schedule is not None
    return Case(seen.schedule, question(tomllib.loads(text), seen.schedule))


def fault(asked: Question, flushes: Flushes, least: Figures) -> str:
    """Say what is wrong with a placing, given the least figures that there are; nothing if it is a best one."""
    found = figures(asked, flushes)
    worse = [] if found.rank(asked.worth) == least.rank(asked.worth) else [f"{found} and not {least}"]
    return "; ".join(complaints(asked, flushes) + worse)


def without_bounds(asked: Question) -> Question:
    """Return the question without the least time and the totals of a day, so that only R8 is left."""
    lumens = tuple(replace(lumen, allowed=lumen.idle) for lumen in asked.lumens)
    return replace(asked, lumens=lumens, least=0, rooms=())


# --- The judge is judged by hand ---


def answer(edits: str, *, every_minute: bool = True) -> tuple[int, int, int] | None:
    """Return the figures that the judge proves for the base plan with ``edits``; None if no placing keeps all rules.

    Over every minute, if there are not too many of them, it must come to the same as over the candidates.
    """
    asked = case(plan_text(edits)).asked
    verdict = best(asked, candidates(asked))
    assert verdict.proven
    if every_minute:
        slowly = best(asked)
        assert slowly.proven
        assert slowly.figures == verdict.figures
    if verdict.figures is None:
        return None
    return verdict.figures.nights, verdict.figures.sessions, verdict.figures.flushes


def worth(flushes: int) -> str:
    """Say in a plan how many flushes a saved session is worth."""
    return f"\n[protocol]\nsaved_session_worth = {flushes}\n"


W11 = """
[plan]
takes_effect = "2026-06-01 09:00"
start = "2026-06-01 09:00"
end = "2026-06-08 09:00"
[household]
quiet_hours = ["22:00-07:00"]
[lumen.a]
last_flushed = "2026-06-01 08:00"
[lumen.b]
last_flushed = "2026-06-01 09:00"
[order.drug]
lumen = "a"
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
until_removal = true
duration = "30 min"
"""

W12 = W11.replace("2026-06-01", "2026-10-31").replace("2026-06-08", "2026-11-02")


@pytest.mark.parametrize("flushes", [0, 1, 1000])
def test_w11_one_session_each_evening(flushes: int) -> None:
    """Seven evenings with both lumens; on the six mornings between, b joins a's dose: 7 sessions, 7 + 7 + 6 flushes.

    a needs one in each gap of 23.5 h, and b 13 in 168 h: no fewer flushes do, whatever a session is worth.
    """
    assert answer(W11 + worth(flushes), every_minute=False) == (0, 7, 20)


@pytest.mark.parametrize("flushes", [0, 1, 1000])
def test_w12_two_sessions_in_the_gap_of_25_hours(flushes: int) -> None:
    """21:00 CDT, 07:00 to 08:00 CST and the next evening, both lumens each time; and b once with a's dose: 3, 3 + 4.

    a needs two in its gap of 24.5 h and one in that of 23.5 h, and b four in 49 h: no fewer flushes do.
    """
    assert answer(W12 + worth(flushes)) == (0, 3, 7)


TWO_LIMITS = """
[plan]
end = "2026-06-02 08:00"
[lumen.a]
last_flushed = "2026-06-01 08:00"
idle_limit = "8 h"
[lumen.b]
last_flushed = "2026-06-01 08:00"
"""
"""24 h after a flush of both. By themselves, a needs flushes at 16:00 and 24:00, b at 20:00, to the minute: 3 sessions,
3 flushes. With b in both of a's sessions it is 2 sessions, 4 flushes."""


@pytest.mark.parametrize(
    ("flushes", "wanted"),
    [
        (0, (0, 3, 3)),
        (1, (0, 2, 4)),  # 1 x 3 + 3 is as much as 1 x 2 + 4; then the fewer sessions
        (2, (0, 2, 4)),
        (1000, (0, 2, 4)),
    ],
)
def test_a_session_for_one_flush(flushes: int, wanted: tuple[int, int, int]) -> None:
    """A flush more saves a session, where a session is worth one."""
    assert answer(TWO_LIMITS + worth(flushes)) == wanted


THREE_LIMITS = f"""
{TWO_LIMITS}
[lumen.c]
last_flushed = "2026-06-01 08:00"
"""
"""The same with c, which is like b: 3 sessions and 4 flushes, or 2 sessions and 6 flushes."""


@pytest.mark.parametrize(
    ("flushes", "wanted"),
    [
        (0, (0, 3, 4)),
        (1, (0, 3, 4)),  # 1 x 3 + 4 is less than 1 x 2 + 6
        (2, (0, 2, 6)),  # 2 x 3 + 4 is as much as 2 x 2 + 6
        (1000, (0, 2, 6)),
    ],
)
def test_a_session_for_two_flushes(flushes: int, wanted: tuple[int, int, int]) -> None:
    """Two flushes more save a session, where a session is worth two."""
    assert answer(THREE_LIMITS + worth(flushes)) == wanted


DOSE_BY_THE_NURSE = """
[lumen.d]
last_flushed = "2026-06-01 08:00"
flush_through = "nurse only"
[order.drug]
lumen = "d"
moments = ["2026-06-02 06:00"]
duration = "30 min"
[daily_limits]
"""
"""On the second day 10 mL before, 10 mL after and 5 mL of lock. An idle flush is 10 mL and 5 mL of lock."""


@pytest.mark.parametrize(
    ("total", "wanted"),
    [
        ('flushed = "70 mL"', (0, 2, 6)),  # at 24:00 a, b and c: 3 x 15 mL, and the nurse's 25 mL
        ('flushed = "69.9 mL"', (0, 3, 4)),  # at 24:00 a alone: 40 mL; on the first day a, b and c: 45 mL
        ('flushed = "45 mL"', (0, 3, 4)),
        ('flushed = "44.9 mL"', None),  # all three must be flushed on the first day
        ('heparin = "200 units"', (0, 2, 6)),  # 10 units/mL: 50 in each lock, 3 x 50 + 50
        ('heparin = "199 units"', (0, 3, 4)),
        ('sodium = "7.7 mmol"', (0, 2, 6)),  # 0.154 mmol/mL of saline: 3 x 1.54 + 3.08
        ('sodium = "7.69 mmol"', (0, 3, 4)),
    ],
)
def test_a_stated_total_of_a_day(total: str, wanted: tuple[int, int, int] | None) -> None:
    """The second day's total allows all three lumens at 24:00, or not; the figures are those above."""
    assert answer(THREE_LIMITS + DOSE_BY_THE_NURSE + total, every_minute=False) == wanted


NIGHT = """
[plan]
end = "2026-06-02 08:00"
[household]
quiet_hours = ["22:00-07:00"]
[lumen.a]
last_flushed = "2026-06-01 08:00"
idle_limit = "541 min"
"""


@pytest.mark.parametrize(
    ("limit", "flushes", "wanted"),
    [
        ("541 min", 1000, (0, 3, 3)),  # just from 21:59 to 07:00; one before, since 08:00 to 21:59 is 839 min
        ("541 min", 0, (1, 2, 2)),  # two flushes do for 24 h, the second of them from 22:59 to 02:02
        ("540 min", 1000, (1, 2, 2)),  # from 21:59 to 06:59: a night is forced, and then two flushes do
        ("480 min", 1000, (1, 2, 2)),  # at 16:00 and 24:00
        ("479 min", 1000, (1, 3, 3)),  # three are needed for 24 h, one of them in the quiet hours
    ],
)
def test_quiet_hours_hold_their_first_minute_and_not_their_last(
    limit: str, flushes: int, wanted: tuple[int, int, int]
) -> None:
    """A limit reaches across the quiet hours, or is a minute short."""
    assert answer(NIGHT.replace("541 min", limit) + worth(flushes)) == wanted


JOINED = """
[plan]
end = "2026-06-01 21:00"
[lumen.a]
last_flushed = "2026-06-01 08:00"
[lumen.b]
last_flushed = "2026-06-01 07:30"
[order.of_a]
lumen = "a"
moments = ["2026-06-01 20:30"]
duration = "10 min"
[order.of_b]
lumen = "b"
moments = ["2026-06-01 19:30"]
duration = "30 min"
[protocol]
"""
"""a's dose at 20:30 comes 12 h 30 min after its flush, so it needs one from 08:30 to 20:00; b needs none."""


@pytest.mark.parametrize(
    ("least", "wanted"),
    [
        ("0 min", (0, 0, 1)),
        ("30 min", (0, 0, 1)),  # with b's finish at 20:00
        ("60 min", (0, 0, 1)),  # with b's start at 19:30
        ("61 min", (0, 1, 1)),  # by itself, at 19:29 or before
    ],
)
def test_the_least_time_to_a_dose(least: str, wanted: tuple[int, int, int]) -> None:
    """The flush joins another lumen's touch if that leaves the least time."""
    assert answer(f'{JOINED}least_time_to_next_touch = "{least}"') == wanted


CHAIN = """
[plan]
end = "2026-06-02 12:00"
[lumen.a]
last_flushed = "2026-06-01 08:00"
[lumen.b]
last_flushed = "2026-06-01 08:00"
flush_through = "nurse only"
[order.of_b]
lumen = "b"
given_as = "push"
moments = ["2026-06-01 19:00", "2026-06-01 20:30", "2026-06-02 08:00"]
duration = "5 min"
[protocol]
"""


@pytest.mark.parametrize(
    ("least", "wanted"),
    [
        ("90 min", (0, 0, 3)),  # with all three of b's: 11 h, 1.5 h, 11.5 h, 4 h
        ("91 min", (0, 1, 2)),  # at 20:00 by itself, and with b's at 08:00, 12 h later
    ],
)
def test_the_least_time_to_the_next_idle_flush(least: str, wanted: tuple[int, int, int]) -> None:
    """Two flushes that join touches of another lumen stand 90 min apart, if they may."""
    assert answer(f'{CHAIN}least_time_to_next_touch = "{least}"') == wanted


PUMP = """
[plan]
takes_effect = "2026-06-01 12:00"
start = "2026-06-01 12:00"
end = "2026-06-02 07:00"
[household]
quiet_hours = ["22:00-07:00"]
[lumen.a]
last_flushed = "2026-06-01 12:00"
[order.of_a]
lumen = "a"
given_as = "pump"
every = "24 h"
first_dose = "2026-05-31 20:00"
doses = 5
duration = "210 min"
kept_open = false
"""
"""The pump runs from 20:00 to 23:30; nobody touches the lumen then."""


@pytest.mark.parametrize(
    ("edits", "wanted"),
    [
        ("", (0, 1, 1)),  # from 19:00, for the limit to reach to the end at 07:00, to 19:59
        ('[plan]\nend = "2026-06-02 08:00"', (0, 2, 2)),  # an hour longer: another one from 07:00
        ('[plan]\nend = "2026-06-02 08:00"' + worth(0), (1, 1, 1)),  # one from 23:30, when the pump stops, to 24:00
        ("[order.of_a]\nkept_open = true", (0, 0, 0)),  # it is never idle
    ],
)
def test_a_pump_that_runs_where_nobody_touches_the_lumen(edits: str, wanted: tuple[int, int, int]) -> None:
    """While it runs nothing is flushed, and the limit counts on."""
    assert answer(PUMP + edits) == wanted


LATE = """
[plan]
takes_effect = "2026-06-01 23:00"
start = "2026-06-01 23:00"
end = "2026-06-02 09:00"
[household]
quiet_hours = ["22:00-07:00"]
[lumen.a]
last_flushed = "2026-06-01 08:00"
"""


def test_a_limit_that_has_passed_is_made_good_at_once() -> None:
    """15 h at the start, at 23:00: flushed then, and 10 h are left to the end."""
    assert answer(LATE) == (1, 1, 1)


def test_no_placing_keeps_all_rules() -> None:
    """A flush is due at once, at 23:00, and a dose at 23:20 leaves it 20 min, where 30 min are the least."""
    dose = '[order.drug]\nlumen = "a"\nmoments = ["2026-06-01 23:20"]\nduration = "10 min"\n'
    least = '[protocol]\nleast_time_to_next_touch = "{} min"'
    assert answer(LATE + dose + least.format(20)) == (1, 1, 1)
    assert answer(LATE + dose + least.format(21)) is None


def test_once_each_calendar_day() -> None:
    """Flushed on the 1st, and again on the 2nd and 3rd; the plan ends on the 4th, which is not over."""
    edits = TWO_LIMITS.replace("06-02", "06-04").replace("8 h", "each calendar day").replace("[lumen.b]", "")
    assert answer(edits) == (0, 2, 2)


PUMP_ENDS_WITH_THE_PLAN = PUMP.replace("2026-06-02 07:00", "2026-06-01 23:30") + '[line]\nidle_limit = "11 h"'
"""The limit passes at 23:00 while the pump runs; it stops at 23:30, with the plan, and leaves the lumen idle."""

BAG_WITHOUT_A_FLUSH = """
[plan]
end = "2026-06-01 21:00"
[lumen.a]
last_flushed = "2026-06-01 08:00"
[order.of_a]
lumen = "a"
given_as = "pump"
every = "24 h"
first_dose = "2026-06-01 07:50"
until_removal = true
stops = "2026-06-01 20:30"
duration = "30 min"
kept_open = false
bag_every = "670 min"
bag_flush = []
[protocol]
"""
"""The limit passes at 20:00. At 19:00 the bag is changed and nothing pushed; at 20:30 the pump comes off."""


def test_the_end_of_the_plan_counts_too() -> None:
    """At 23:30 the last flush must be within 11 h: one from 12:30 to 19:59 is."""
    assert answer(PUMP_ENDS_WITH_THE_PLAN) == (0, 1, 1)


@pytest.mark.parametrize(
    ("least", "wanted"),
    [
        ("90 min", (0, 0, 1)),  # with the change of the bag
        ("91 min", (0, 1, 1)),  # 91 min before the bag is changed, at 17:29, or earlier
    ],
)
def test_the_least_time_to_a_touch_that_flushes_nothing(least: str, wanted: tuple[int, int, int]) -> None:
    """It is a touch like any other."""
    assert answer(f'{BAG_WITHOUT_A_FLUSH}least_time_to_next_touch = "{least}"') == wanted


# --- Spoiled placings are noticed ---


def moved(lumen: str, when: str, then: str) -> Callable[[dict[str, list[int]]], None]:
    """Move one flush from one moment in UTC to another."""

    def spoil(flushes: dict[str, list[int]]) -> None:
        flushes[lumen] = sorted({*flushes[lumen], z(then)} - {z(when)})

    return spoil


BEST_OF_W12 = {
    "a": ["2026-11-01 02:00", "2026-11-01 14:00", "2026-11-02 03:30"],
    "b": ["2026-11-01 02:00", "2026-11-01 14:00", "2026-11-01 15:30", "2026-11-02 03:30"],
}
"""In UTC: 21:00 CDT, 08:00 CST, 09:30 CST with the dose's finish, and 21:30 CST."""


def best_of_w12() -> dict[str, list[int]]:
    """Return it as instants."""
    return {name: [int(z(at)) for at in moments] for name, moments in BEST_OF_W12.items()}


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (moved("b", "2026-11-02 03:30", "2026-11-02 03:29"), "sessions=4"),
        (moved("b", "2026-11-01 15:30", "2026-11-01 15:31"), "sessions=4"),
        (moved("b", "2026-11-01 12:00", "2026-11-01 15:00"), "flushes=8"),
        (moved("a", "2026-11-02 03:30", "2026-11-02 03:31"), "a: no flush in time before 2026-11-02 03:31Z"),
        (moved("b", "2026-11-01 14:00", "2026-11-01 14:01"), "b: no flush in time before 2026-11-01 14:01Z"),
        (moved("a", "2026-11-01 14:00", "2026-11-01 15:29"), "a: an idle flush at 2026-11-01 15:29Z, when"),
        (moved("a", "2026-11-01 02:00", "2026-11-01 03:00"), "nights=1"),
        (lambda flushes: flushes.update(c=[z("2026-11-01 14:00")]), "c: idle flushes where none belong"),
    ],
)
def test_a_spoiled_placing_is_noticed(spoil: Callable[[dict[str, list[int]]], None], said: str) -> None:
    """One flush a minute off, or in one too many, of a best placing for W12."""
    asked = case(plan_text(W12)).asked
    flushes = best_of_w12()
    assert fault(asked, flushes, Figures(0, 3, 7)) == ""
    spoil(flushes)
    assert said in fault(asked, flushes, Figures(0, 3, 7))


def test_totals_and_the_least_time_are_checked_to_the_last_drop_and_minute() -> None:
    """20:00 is 30 min before the dose; the flush takes 15 mL, and both doses 25 mL each."""
    least, total = '\nleast_time_to_next_touch = "{} min"', '\n[daily_limits]\nflushed = "{} mL"'
    flushes = {"a": [z("2026-06-02 01:00")]}
    for edits, said in [
        (least.format(30) + total.format(65), ""),
        (least.format(31), "a: 30 min from the idle flush at 2026-06-02 01:00Z to the next touch"),
        (total.format("64.9"), "flushed on 2026-06-01: idle flushes take 15 of 14"),
    ]:
        assert "; ".join(complaints(case(plan_text(JOINED + edits)).asked, flushes)) == said


@pytest.mark.parametrize("change", [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0, -1, 0)])
def test_figures_that_are_off_by_one_are_noticed(change: tuple[int, int, int]) -> None:
    """A judge whose figures are one off would not pass the best placing."""
    asked = case(plan_text(W12)).asked
    flushes = best_of_w12()
    nights, sessions, idle = change
    assert fault(asked, flushes, Figures(nights, 3 + sessions, 7 + idle)) != ""


# --- The judge's own ways agree, and so does another judge ---


def test_both_ways_to_write_the_program_agree() -> None:
    """Counted, or minute by minute: the same figures."""
    agreed = 0
    for number in range(43, 58):
        asked = case(toml_text(made_up(COMPRESSED, number))).asked
        some = candidates(asked)
        counted, each = solved(asked, ByCount(asked, some), 4), solved(asked, ByMinute(asked, some), 4)
        if counted.proven and each.proven:
            assert counted.figures == each.figures, number
            agreed += counted.figures is not None
    assert agreed >= 8


def tried(asked: Question, schedule: Schedule) -> Figures | None:
    """Return the figures of a best placing by the judge that tries everything; None if R8 forces too short a time."""
    found = brute_force.best(brute_force.problem_of(schedule))
    assert found is not None
    if found.key[0]:
        return None
    flushes = {lumen.name: each for lumen, each in zip(asked.lumens, found.placement, strict=True)}
    return figures(asked, flushes)


def small_enough(asked: Question) -> bool:
    """Say whether everything can be tried in a moment."""
    states = 1
    for lumen in asked.lumens:
        states *= lumen.until(asked.start) - asked.start
    return states * (asked.end - asked.start) < 400_000


def test_trying_everything_comes_to_the_same() -> None:
    """Plans of one to three lumens, without totals and pumps, which the other judge does not know."""
    agreed = 0
    for number in range(200):
        plan = made_up(COMPRESSED, number)
        if "daily_limits" in plan or any(order["given_as"] == "pump" for order in plan["order"].values()):
            continue
        found = case(toml_text(plan))
        if small_enough(found.asked):
            verdict = best(found.asked)
            assert verdict.proven
            assert verdict.figures == tried(found.asked, found.schedule), number
            agreed += verdict.figures is not None
    assert agreed >= 15


def test_the_bounds_bind_often_enough_to_be_tested() -> None:
    """Of the plans with a least time or a stated total, some have other figures without it."""
    bound = Counter[str]()
    for number in range(50):
        asked = case(toml_text(made_up(COMPRESSED, number))).asked
        ways = {
            "total": replace(asked, rooms=()) if asked.rooms else asked,
            "least time": replace(without_bounds(asked), rooms=asked.rooms) if asked.least else asked,
        }
        for what, other in ways.items():
            if other is not asked:
                with_it, without = best(asked, candidates(asked), 1), best(other, candidates(other), 1)
                both = with_it.proven and without.proven and with_it.figures is not None
                bound[what] += both and with_it.figures != without.figures
    assert bound["total"] >= 3
    assert bound["least time"] >= 3


# --- Schedules ---

HAND_MADE = {
    "W11": W11,
    "W12": W12,
    **{f"two limits, {flushes}": TWO_LIMITS + worth(flushes) for flushes in (0, 1, 2, 1000)},
    **{f"three limits, {flushes}": THREE_LIMITS + worth(flushes) for flushes in (0, 1, 2, 1000)},
    **{
        f"a day of {total}": f'{THREE_LIMITS}{DOSE_BY_THE_NURSE}flushed = "{total}"'
        for total in ("70 mL", "69.9 mL", "45 mL", "44.9 mL")
    },
    **{
        f"a night of {limit}": NIGHT.replace("541 min", limit) for limit in ("541 min", "540 min", "480 min", "479 min")
    },
    "a night, flushes first": NIGHT + worth(0),
    **{
        f"{name}, {least} min apart": f'{edits}least_time_to_next_touch = "{least} min"'
        for name, edits, times in (
            ("joined", JOINED, (0, 30, 31, 60, 61)),
            ("a chain", CHAIN, (90, 91)),
            ("a bag", BAG_WITHOUT_A_FLUSH, (90, 91)),
        )
        for least in times
    },
    "a pump": PUMP,
    "a pump, longer": PUMP + '[plan]\nend = "2026-06-02 08:00"',
    "a pump, flushes first": PUMP + '[plan]\nend = "2026-06-02 08:00"' + worth(0),
    "a pump, kept open": PUMP + "[order.of_a]\nkept_open = true",
    "late": LATE,
}


def compared(found: Case, instants: frozenset[int] | None) -> tuple[str, str]:
    """Say how the judge's search for an optimum ended, and what is wrong with the schedule's idle flushes."""
    flushes = planned(found.schedule)
    verdict = best(found.asked, instants, seconds=8)
    if not verdict.proven:
        return "unproven", ""
    if verdict.figures is None:  # then R8 comes first
        return "not all rules can be kept", "; ".join(complaints(without_bounds(found.asked), flushes))
    ended = "proven" if verdict.figures.flushes else "nothing to place"
    return ended, fault(found.asked, flushes, verdict.figures)


@pytest.mark.parametrize("edits", HAND_MADE.values(), ids=HAND_MADE.keys())
def test_no_placing_is_better_for_plans_made_by_hand(edits: str) -> None:
    """The plans above, as the compiler places their flushes."""
    found = case(plan_text(edits))
    how, fault_found = compared(found, candidates(found.asked))
    assert how != "unproven"
    assert fault_found == ""


def test_the_limit_holds_where_a_pump_ends_with_the_plan() -> None:
    """R8 holds at the plan's end too, also where the lumen was in use until then and nothing flushes it."""
    found = case(plan_text(PUMP_ENDS_WITH_THE_PLAN))
    assert compared(found, candidates(found.asked)) == ("proven", "")
    (flush,) = [touch for touch in found.schedule.touches if touch.kind is TouchKind.IDLE_FLUSH]
    assert flush.at == z("2026-06-02 00:59")  # 19:59 in Chicago, the last minute before the pump runs
    assert flush.reason.why is Why.BEFORE_USE


@pytest.mark.parametrize(
    ("family", "first"),
    [
        pytest.param(family, index * BATCH, id=f"{family.name} from {index * BATCH}")
        for family, batches in BATCHES.items()
        for index in range(batches)
    ],
)
def test_no_placing_is_better(family: Family, first: int, record_property: Callable[[str, object], None]) -> None:
    """Each schedule of a batch keeps all rules and has the figures that are proven to be the least.

    ``python tests/made_up_placings.py "real size" 21`` shows the plan of a number.
    """
    ended, wrong = Counter[str](), []
    for number in range(first, first + BATCH):
        found = case(toml_text(made_up(family, number)))
        how, fault_found = compared(found, None if family is COMPRESSED else candidates(found.asked))
        ended[how] += 1
        if fault_found:
            wrong.append(f"{family.name} {number}: {fault_found}")
    for how, times in ended.items():
        record_property(how, times)
    assert not wrong, "\n".join([*wrong, str(dict(ended))])
    assert ended["proven"] >= PROVEN[family], dict(ended)


def test_the_batches_prove_at_least_300_optima() -> None:
    """The least that each batch must prove come to this."""
    assert sum(BATCHES[family] * PROVEN[family] for family in BATCHES) >= 300


def test_few_minutes_are_enough() -> None:
    """Over all minutes and over the candidates among them, the least figures are the same."""
    agreed = 0
    for number in range(BATCHES[COMPRESSED] * BATCH, BATCHES[COMPRESSED] * BATCH + 60):
        asked = case(toml_text(made_up(COMPRESSED, number))).asked
        every, some = best(asked, seconds=5), best(asked, candidates(asked), seconds=5)
        if every.proven and some.proven:
            assert every.figures == some.figures, number
            agreed += every.figures is not None
    assert agreed >= 45


ENDED = [path for path in sorted(SAMPLES.glob("*.toml")) if "open_ended" not in tomllib.loads(path.read_text())["plan"]]
"""The samples that have an end. In one that goes on, flushes stand as they must if it does, whatever that takes."""


@pytest.mark.parametrize("path", ENDED, ids=lambda path: path.stem)
def test_no_placing_is_better_for_a_sample(path: Path) -> None:
    """A sample plan is judged like the made-up ones."""
    found = case(path.read_text())
    how, fault_found = compared(found, candidates(found.asked))
    assert how in ("proven", "nothing to place")
    assert fault_found == ""
