"""When somebody is told of what is due, and in which words: worked out by hand, to the minute.

The plan is invented; clock times are Chicago's, in June 2026. Nothing here is clinical: the intervals are the household's.
"""

from collections.abc import Mapping
from itertools import takewhile

import pytest
from histories import after, at

from reminders.reminding.decide import Decision, decide
from reminders.reminding.matters import Sort, matters
from reminders.reminding.moments import tellings
from reminders.reminding.outlook import following
from reminders.reminding.wording import LONGEST_BODY, LONGEST_TITLE, text_of
from reminders.schedule.model import ENDLESS, Schedule
from reminders.times import Instant

PLAN = """
[plan]
end = "2026-06-05 08:00"
[household]
quiet_hours = ["22:30-06:30"]
[pop_up]
ahead = "15 min"
again_every = "10 min"
urgent_again_every = "3 min"
ordinary_repeats = 3
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.cefazolin]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-03
duration = "60 min"
least_spacing = "8 h"
"""
"""Cefazolin at 09:00 for an hour, and a flush 12 h after 10:00 and between: 22:00, so before the quiet hours."""
STARTED = "06-01 09:00 started order=cefazolin dose=2026-06-01T09:00"
DONE = "06-01 10:00 finished order=cefazolin dose=2026-06-01T09:00\n06-01 10:00 flushed lumen=red"


def told(schedule: Schedule, sort: Sort, until: str, now: str) -> list[str]:
    """Return when the first matter of a sort is told, as local times with ! where that is urgent, up to ``until``."""
    matter = next(m for m in matters(schedule, at(now)) if m.sort is sort)
    clock = schedule.plan.clock
    found = []
    for telling in tellings(matter, schedule.plan.pop_ups, schedule.quiet):
        if telling.moment > at(until):
            break
        found.append(f"{clock.local(telling.moment):%H:%M}{'!' if telling.urgent else ''}")
    return found


def test_an_event_is_told_ahead_at_its_time_and_again_until_its_repeats_are_used_up() -> None:
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '72 h'", "", "06-01 08:30")
    assert told(schedule, Sort.EVENT, "06-01 09:59", "06-01 08:30") == ["08:45", "09:00", "09:10", "09:20", "09:30"]


def test_a_start_becomes_urgent_once_its_lumens_limit_has_passed() -> None:
    """Last flushed at 07:00 with a limit of 2 h 20 min: from 09:20 on it is urgent."""
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '140 min'", "", "06-01 09:30")
    first = next(m for m in matters(schedule, at("06-01 09:30")) if m.touch is not None and m.touch.starts)
    assert first.urgent_from == at("06-01 09:20")
    moments = tellings(first, schedule.plan.pop_ups, schedule.quiet)
    assert [(next(moments).moment - at("06-01 09:00")) for _ in range(6)] == [-15, 0, 10, 20, 23, 26]


def test_a_limit_is_told_where_the_start_that_took_the_flushs_place_is_only_asked_about() -> None:
    """Only the nurse may flush after this drug, so that its finish is asked about too, and is not urgent. From the
    cut-off on nothing else would speak of a lumen that has lain idle too long."""
    edits = (
        f"{PLAN}[order.cefazolin]\nflush_through = 'nurse only'\ncut_off = '2 h'\n[lumen.red]\nidle_limit = '12 h'\n"
    )
    recorded = f"{STARTED}\n{DONE}"
    schedule = after(edits, recorded, "06-02 13:00")
    limit = next(m for m in matters(schedule, at("06-02 13:00")) if m.sort is Sort.LIMIT)
    assert (limit.at, limit.urgent_from) == (at("06-01 22:00"), at("06-01 22:00"))
    assert not [
        m
        for m in matters(after(edits, recorded, "06-02 08:00"), at("06-02 08:00"))
        if m.sort is Sort.LIMIT and m.at <= at("06-02 08:00")
    ]


def test_an_infusion_that_stands_becomes_urgent_with_its_lumens_limit() -> None:
    facts = f"{STARTED}\n06-01 09:20 interrupted order=cefazolin dose=2026-06-01T09:00"
    standing = next(m for m in matters(after(PLAN, facts, "06-01 10:00"), at("06-01 10:00")) if m.sort is Sort.STANDING)
    assert standing.urgent_from == at("06-01 21:20")


def test_a_finish_that_nobody_reports_grows_more_insistent() -> None:
    """The pause halves from ten minutes down to three, and then goes on at three (R15)."""
    schedule = after(PLAN, STARTED, "06-01 10:30")
    assert told(schedule, Sort.FINISH, "06-01 10:27", "06-01 10:30") == [
        "09:45", "10:00!", "10:10!", "10:15!", "10:18!", "10:21!", "10:24!", "10:27!",
    ]  # fmt: skip


def test_the_finish_of_a_start_that_nobody_reported_is_asked_for_like_any_event() -> None:
    schedule = after(PLAN, "", "06-01 10:30")
    assert told(schedule, Sort.MAYBE_FINISH, "06-01 12:00", "06-01 10:30") == [
        "09:45", "10:00", "10:10", "10:20", "10:30",
    ]  # fmt: skip


def test_whoever_is_asked_for_the_finish_is_no_more_asked_for_the_start() -> None:
    schedule = after(f"{PLAN}[pop_up]\nordinary_repeats = 50\n[lumen.red]\nidle_limit = '72 h'", "", "06-01 10:30")
    assert told(schedule, Sort.EVENT, "06-01 12:00", "06-01 10:30")[-1] == "09:50"


def test_a_flush_that_is_outstanding_is_urgent_at_once_and_told_until_it_is_recorded() -> None:
    schedule = after(PLAN, f"{STARTED}\n06-01 10:05 finished order=cefazolin dose=2026-06-01T09:00", "06-01 10:20")
    assert told(schedule, Sort.FLUSH, "06-01 10:15", "06-01 10:20") == ["09:50", "10:05!", "10:08!", "10:11!", "10:14!"]
    done = after(PLAN, f"{STARTED}\n{DONE}", "06-01 10:20")
    assert not [m for m in matters(done, at("06-01 10:20")) if m.at < at("06-01 10:20")]


def test_what_is_not_urgent_waits_for_the_end_of_the_quiet_hours() -> None:
    """Nor does what becomes urgent in them wait."""
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '13 h'", f"{STARTED}\n{DONE}", "06-01 23:30")
    # 10:00 + 13 h = 23:00 lies in the quiet hours, so the flush stands at 22:29, the last minute before them.
    assert told(schedule, Sort.EVENT, "06-02 06:40", "06-01 23:30")[:3] == ["22:14", "22:29", "23:00!"]
    later = after(f"{PLAN}[lumen.red]\nidle_limit = '22 h'", f"{STARTED}\n{DONE}", "06-01 23:30")
    # 10:00 + 22 h = 08:00: told in the morning; at its limit, but not urgent in its first minutes.
    assert told(later, Sort.EVENT, "06-02 08:10", "06-01 23:30") == ["07:45", "08:00", "08:10!"]


def test_nobody_is_woken_for_the_announcement_of_what_lies_after_the_quiet_hours() -> None:
    early = PLAN.replace('clock_times = ["09:00"]', 'clock_times = ["06:35"]').replace("06-01 09:00", "06-02 06:35")
    schedule = after(f"{early}[lumen.red]\nidle_limit = '72 h'", "", "06-01 23:00")
    assert told(schedule, Sort.EVENT, "06-02 06:50", "06-01 23:00") == ["06:35", "06:45"]


def test_a_repeat_that_falls_into_the_quiet_hours_comes_at_their_end() -> None:
    evening = PLAN.replace('clock_times = ["09:00"]', 'clock_times = ["22:15"]').replace("06-01 09:00", "06-01 22:15")
    schedule = after(f"{evening}[lumen.red]\nidle_limit = '72 h'", "", "06-01 21:00")
    matter = next(m for m in matters(schedule, at("06-01 21:00")) if m.touch is not None and m.touch.starts)
    moments = [t.moment for t in tellings(matter, schedule.plan.pop_ups, schedule.quiet)]
    # 22:00 ahead, 22:15, 22:25; 22:35 and 22:45 wait for 06:30, where one is enough. But the finish at 23:15 takes over.
    assert moments == [at("06-01 22:00"), at("06-01 22:15"), at("06-01 22:25")]


def test_a_household_that_does_not_record_is_told_once_and_not_asked() -> None:
    schedule = after(f"{PLAN}[plan]\nhousehold_records = false", "", "06-01 12:00")
    assert told(schedule, Sort.EVENT, "06-01 20:00", "06-01 12:00") == ["08:45", "09:00"]


def test_after_the_lines_removal_nothing_is_told() -> None:
    schedule = after(PLAN, "06-01 08:30 line-removed", "06-01 09:00")
    assert matters(schedule, at("06-01 09:00")) == []


def test_a_suspended_lumen_is_not_to_be_used_and_nothing_of_it_is_urgent() -> None:
    history = f"{STARTED}\n06-01 09:30 stopped-early order=cefazolin dose=2026-06-01T09:00 sign=swelling"
    schedule = after(PLAN, history, "06-01 22:10")
    found = [m for m in matters(schedule, at("06-01 22:10")) if m.at > at("06-01 09:30")]
    assert found
    assert {m.sort for m in found} == {Sort.CLOSED}
    assert all(m.urgent_from is None for m in found)


def test_a_dose_that_comes_too_near_is_told_as_ask_first_with_whom_to_call() -> None:
    late = PLAN.replace('least_spacing = "8 h"', 'least_spacing = "23 h"')
    history = "06-01 12:00 started order=cefazolin dose=2026-06-01T09:00\n06-01 13:00 finished order=cefazolin dose=2026-06-01T09:00"
    schedule = after(late, f"{history}\n06-01 13:00 flushed lumen=red", "06-02 09:00")
    notices = decide(schedule, {}, at("06-02 09:00")).notices
    text = next(text_of(n, schedule, at("06-02 09:00")) for n in notices if not n.late)
    assert text.title == "ASK FIRST: red lumen, start cefazolin 1 g"
    assert "Call On-call nurse, Fennimore Vale, 555-0142 first." in text.body


def test_a_limit_that_has_passed_is_asked_about_where_no_event_speaks_of_it() -> None:
    """The flush of 22:00 was left out because somebody said so; from 22:00 on the limit has passed (R16)."""
    history = f"{STARTED}\n{DONE}\n06-01 20:00 skipped lumen=red planned_for=06-01T22:00"
    schedule = after(PLAN, history, "06-02 06:40")
    limit = [m for m in matters(schedule, at("06-02 06:40")) if m.sort is Sort.LIMIT]
    assert [(m.at, m.since) for m in limit] == [(at("06-01 22:00"), at("06-01 10:00"))]
    text = next(text_of(n, schedule, at("06-02 06:40")) for n in decide(schedule, {}, at("06-02 06:40")).notices)
    assert (
        "Its limit passed at Mon 1 Jun 2026, 22:00 CDT; the last flush that is known was Mon 1 Jun 2026, 10:00 CDT"
        in text.body
    )


# --- What endangers ---


def test_a_flush_that_was_not_recorded_is_not_asked_for_once_the_next_dose_runs() -> None:
    history = f"""{STARTED}
        06-01 10:00 finished order=cefazolin dose=2026-06-01T09:00
        06-02 09:00 started order=cefazolin dose=2026-06-02T09:00"""
    schedule = after(PLAN, history, "06-02 09:30")
    assert not [m for m in matters(schedule, at("06-02 09:30")) if m.sort is Sort.FLUSH]


def test_a_limit_that_passes_while_start_and_finish_are_unrecorded_is_urgent() -> None:
    """Last flushed at 07:00; with a limit of 3 h it passes at 10:00, when the finish has taken over from the start."""
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '3 h'", "", "06-01 10:30")
    finish = next(m for m in matters(schedule, at("06-01 10:30")) if m.sort is Sort.MAYBE_FINISH)
    assert finish.urgent_from == at("06-01 10:10")


BACK_TO_BACK = f"""{PLAN}
[order.ceftriaxone]
clock_times = ["10:00"]
first_dose = "2026-06-01 10:00"
last_day = 2026-06-03
duration = "60 min"
least_spacing = "8 h"
"""


def test_a_changeover_of_which_nothing_is_reported_while_the_first_runs_becomes_urgent() -> None:
    schedule = after(BACK_TO_BACK, STARTED, "06-01 10:40")
    change = next(m for m in matters(schedule, at("06-01 10:40")) if m.at == at("06-01 10:00"))
    assert change.urgent_from == at("06-01 10:10")
    assert change.until > at("06-01 11:00"), "the second's finish does not take its place: the first still runs"


CONTINUOUS = f"""{PLAN}
[order.cefazolin]
without clock_times
without last_day
without duration
continuous = true
until_removal = true
rate = "40 mL/h"
bag_every = "12 h"
bag_flush = ["saline"]
first_dose = "2026-06-01 09:00"
"""


def test_the_bag_of_an_infusion_that_runs_becomes_urgent() -> None:
    schedule = after(
        CONTINUOUS.replace('end = "2026-06-05 08:00"', 'without end\nline_removal = "2026-06-05 08:00"'),
        "06-01 09:00 started order=cefazolin dose=continuous",
        "06-01 21:30",
    )
    bag = next(m for m in matters(schedule, at("06-01 21:30")) if m.touch is not None and m.touch.bags)
    assert (bag.at, bag.urgent_from) == (at("06-01 21:00"), at("06-01 21:10"))


@pytest.mark.parametrize(
    ("edits", "history"),
    [
        ("", "06-01 09:20 problem lumen=red sign=will-not-flush".replace("will-not-flush", "will_not_flush")),
        ('[order.cefazolin]\nflush_through = "nurse only"', ""),
    ],
)
def test_a_finish_about_which_must_be_asked_is_not_pressed_as_an_ordinary_one(edits: str, history: str) -> None:
    schedule = after(f"{PLAN}{edits}", f"{STARTED}\n{history}", "06-01 10:05")
    finish = next(m for m in matters(schedule, at("06-01 10:05")) if m.at == at("06-01 10:00"))
    assert finish.sort is Sort.ASK_FIRST
    told_at = takewhile(lambda t: t.moment < at("06-01 10:45"), tellings(finish, schedule.plan.pop_ups, schedule.quiet))
    pauses = [telling.moment - at("06-01 10:00") for telling in told_at]
    assert pauses == [-15, 0, 10, 20, 30, 40], "whoever waits for the nurse is not told every three minutes"


def test_a_dose_past_its_cut_off_is_told_as_ask_first() -> None:
    schedule = after(f"{PLAN}[order.cefazolin]\ncut_off = '90 min'", "", "06-01 10:40")
    start = next(m for m in matters(schedule, at("06-01 10:40")) if m.touch is not None and m.touch.starts)
    assert start.sort is Sort.ASK_FIRST


def test_a_limit_that_had_passed_before_the_plan_is_told_as_ask_first() -> None:
    """Its event says: due at once, ask the nurse first."""
    schedule = after(f"{PLAN}[lumen.grey]\nlast_flushed = '2026-05-30 07:00'", "", "06-01 08:30")
    flush = next(m for m in matters(schedule, at("06-01 08:30")) if m.lumen == "grey")
    assert flush.sort is Sort.ASK_FIRST


def test_an_infusion_that_should_have_been_stopped_is_asked_for_urgently() -> None:
    schedule = after(PLAN, f"{STARTED}\n06-01 09:30 problem lumen=red sign=swelling", "06-01 09:45")
    found = [m for m in matters(schedule, at("06-01 09:45")) if m.sort is Sort.NOT_STOPPED]
    assert [(m.at, m.urgent_from) for m in found] == [(at("06-01 09:40"), at("06-01 09:40"))]
    notice = decide(schedule, {}, at("06-01 09:45")).notices[0]
    text = text_of(notice, schedule, at("06-01 09:45"))
    assert "stopped? red lumen, cefazolin" in f"{text.title} {text.body}"
    assert "555-0142" in text.body


def test_an_infusion_that_stands_is_asked_for_and_not_once_it_runs_again() -> None:
    paused = f"{STARTED}\n06-01 09:30 interrupted order=cefazolin dose=2026-06-01T09:00"
    schedule = after(PLAN, paused, "06-01 09:45")
    assert told(schedule, Sort.STANDING, "06-01 10:30", "06-01 09:45") == ["09:40", "09:50", "10:00", "10:10"]
    again = after(PLAN, f"{paused}\n06-01 09:50 resumed order=cefazolin dose=2026-06-01T09:00", "06-01 10:00")
    assert not [m for m in matters(again, at("06-01 10:00")) if m.sort is Sort.STANDING]


def test_nobody_is_told_to_flush_twice_where_a_flush_is_outstanding() -> None:
    late = f"{STARTED}\n06-01 22:00 finished order=cefazolin dose=2026-06-01T09:00"
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '2 h'", late, "06-02 00:30")
    due = [m.sort for m in matters(schedule, at("06-02 00:30")) if m.at <= at("06-02 00:30")]
    assert due.count(Sort.FLUSH) == 1
    assert not [m for m in matters(schedule, at("06-02 00:30")) if m.sort is Sort.EVENT and m.at <= at("06-02 00:30")]


def test_whoever_left_a_flush_out_on_purpose_is_not_nagged_all_night() -> None:
    history = f"{STARTED}\n{DONE}\n06-01 20:00 skipped lumen=red planned_for=06-01T22:00"
    schedule = after(PLAN, history, "06-01 23:00")
    assert told(schedule, Sort.LIMIT, "06-02 08:00", "06-01 23:00") == ["22:00", "22:10", "22:20", "06:30"]


def test_nobody_is_woken_for_what_must_not_be_done() -> None:
    night = PLAN.replace('clock_times = ["09:00"]', 'clock_times = ["02:00"]').replace("06-01 09:00", "06-02 02:00")
    schedule = after(night, "06-01 20:00 lumen-out-of-use lumen=red", "06-02 07:00")
    found = [m for m in matters(schedule, at("06-02 07:00")) if m.sort is Sort.CLOSED and m.at == at("06-02 02:00")]
    moments = [t.moment for t in tellings(found[0], schedule.plan.pop_ups, schedule.quiet)]
    assert moments == [at("06-02 06:30")]


def test_while_the_line_is_looked_after_elsewhere_nothing_is_told() -> None:
    schedule = after(PLAN, "06-01 08:40 held", "06-01 09:30")
    assert not [m for m in matters(schedule, at("06-01 09:30")) if m.at <= at("06-01 09:30")]


def test_a_start_takes_over_from_the_idle_flush_before_it() -> None:
    schedule = after(PLAN, f"{STARTED}\n{DONE}", "06-02 09:30")
    flush = next(m for m in matters(schedule, at("06-02 09:30")) if m.at == at("06-01 22:00"))
    assert flush.until == at("06-02 09:00")


def test_a_household_that_does_not_record_is_told_of_the_last_only_after_a_sleep() -> None:
    schedule = after(f"{PLAN}[plan]\nhousehold_records = false", "", "06-03 12:00")
    notices = decide(schedule, {}, at("06-03 12:00")).notices
    assert 0 < sum(len(notice.items) for notice in notices) <= 3


# --- What is told now ---


def now_told(schedule: Schedule, now: str, before: Mapping[str, Instant] | None = None) -> tuple[Decision, list[str]]:
    """Return the decision at a moment, and its pop-ups' titles."""
    decision = decide(schedule, before or {}, at(now))
    return decision, [text_of(notice, schedule, at(now)).title for notice in decision.notices]


def all_told(decision: Decision) -> dict[str, Instant]:
    return {item.matter.key: item.telling.moment for notice in decision.notices for item in notice.items}


def test_on_a_morning_each_thing_is_told_in_its_minute_and_only_once() -> None:
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '72 h'", "", "06-01 08:44")
    decision, titles = now_told(schedule, "06-01 08:44")
    assert (titles, decision.next_moment) == ([], at("06-01 08:45"))
    decision, titles = now_told(schedule, "06-01 08:45")
    assert titles == ["In 15 min: red lumen, start cefazolin 1 g"]
    before = all_told(decision)
    assert now_told(schedule, "06-01 08:50", before)[1] == []
    decision, titles = now_told(schedule, "06-01 09:00", before)
    assert titles == ["Now: red lumen, start cefazolin 1 g"]
    before |= all_told(decision)
    decision, titles = now_told(schedule, "06-01 09:10", before)
    assert titles == ["Was it done? red lumen, start cefazolin 1 g"]
    assert decision.next_moment == at("06-01 09:20")


def test_what_came_due_in_a_sleep_of_three_days_is_one_notice_with_how_late_it_is() -> None:
    schedule = after(PLAN, "", "06-04 09:30")
    decision, titles = now_told(schedule, "06-04 09:30")
    late = [notice for notice in decision.notices if notice.late]
    assert len(late) == 1
    events = [touch for touch in schedule.touches if touch.at <= at("06-04 09:28")]
    assert len(late[0].items) == len(events)
    assert titles == [f"{len(events)} things to answer, the first 3 days late"]
    body = text_of(late[0], schedule, at("06-04 09:30")).body
    assert "Done? Say so on the page first." in body
    assert " ago): red lumen" in body
    assert decide(schedule, all_told(decision), at("06-04 09:30")).notices == ()


def test_a_sleep_of_a_minute_makes_nothing_late() -> None:
    schedule = after(PLAN, "", "06-01 09:01")
    before = {m.key: m.at for m in matters(schedule, at("06-01 08:59")) if m.at < at("06-01 09:00")}
    decision, titles = now_told(schedule, "06-01 09:01", before)
    assert titles == ["Was it done? red lumen, start cefazolin 1 g"]
    assert not decision.notices[0].late


def test_what_may_have_been_shown_before_a_crash_says_so() -> None:
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '72 h'", "", "06-01 09:00")
    first = decide(schedule, {}, at("06-01 09:00"))
    again = decide(schedule, {}, at("06-01 09:00"), perhaps=all_told(first))
    assert "(Perhaps told already.)" in text_of(again.notices[0], schedule, at("06-01 09:00")).body
    later = decide(schedule, {}, at("06-01 09:10"), perhaps=all_told(first))
    assert "Perhaps" not in text_of(later.notices[0], schedule, at("06-01 09:10")).body, "that is another telling"


def test_what_could_not_be_shown_is_held_back_and_nothing_else() -> None:
    schedule = after(f"{PLAN}[lumen.red]\nidle_limit = '72 h'", "", "06-01 09:00")
    first = decide(schedule, {}, at("06-01 09:00"))
    assert decide(schedule, {}, at("06-01 09:00"), held_back=all_told(first)).notices == ()


def test_what_is_urgent_is_told_apart_from_what_is_not() -> None:
    """Grey's flush is only announced while red's is outstanding."""
    two = f"{PLAN}[lumen.grey]\nlast_flushed = '2026-06-01 07:30'\nidle_limit = '160 min'"
    history = f"{STARTED}\n06-01 09:56 finished order=cefazolin dose=2026-06-01T09:00"
    schedule = after(two, history, "06-01 09:56")
    decision = decide(schedule, {}, at("06-01 09:56"))
    shown = {notice.urgent: text_of(notice, schedule, at("06-01 09:56")).title for notice in decision.notices}
    assert shown[True] == "FLUSH NOW: red lumen"
    assert shown[False].startswith("In 14 min: grey lumen")


@pytest.mark.parametrize(
    ("edits", "discreet"),
    [
        ('[calendar]\nreveals = "everything"', False),
        ('[calendar]\nreveals = "nothing on the locked screen"', True),
        ('[calendar]\nreveals = "nothing at all"', True),
        ('[calendar]\nreveals = "everything"\n[pop_up]\ndiscreet = true', True),
        ('[calendar]\nreveals = "nothing at all"\n[pop_up]\ndiscreet = false', False),
    ],
)
def test_a_discreet_pop_up_tells_a_stranger_nothing(edits: str, discreet: bool) -> None:
    schedule = after(f"{PLAN}{edits}", STARTED, "06-01 10:10")
    for now in ("06-01 08:45", "06-01 09:00", "06-01 10:10", "06-04 09:00"):
        for notice in decide(schedule, {}, at(now)).notices:
            text = text_of(notice, schedule, at(now))
            said = f"{text.title} {text.body}".casefold()
            personal = ("cefazolin", "red", "lumen", "flush", "nurse", "555", "start", "finish", "clamp")
            assert any(word in said for word in personal) is not discreet
            assert text.title.startswith("Reminder") is discreet


def test_several_things_are_asked_about_before_they_are_asked_for_and_nothing_of_the_caution_is_cut() -> None:
    two = f"{PLAN}[lumen.grey]\nlast_flushed = '2026-06-01 07:30'\n[lumen.blue]\nlast_flushed = '2026-06-01 07:30'"
    schedule = after(two, f"{STARTED}\n06-01 09:50 finished order=cefazolin dose=2026-06-01T09:00", "06-03 09:30")
    for notice in decide(schedule, {}, at("06-03 09:30")).notices:
        text = text_of(notice, schedule, at("06-03 09:30"))
        if len(notice.items) > 1:
            assert "Done? Say so on the page first." in text.body
            assert text.body.endswith(("Your provider's word goes first.", "555-0142 first."))
            assert "555-0142" in text.body
    ahead = decide(schedule, {}, at("06-01 09:45")).notices
    assert ahead


def test_texts_fit_every_system_even_with_the_longest_names() -> None:
    long = f"""{PLAN}
[lumen.red]
label = "{"r" * 60}"
[order.cefazolin]
drug = "{"c" * 60}"
[call.now]
who = "{"w" * 60}"
phone = "{"5" * 60}"
"""
    for history, now in ((STARTED, "06-01 10:10"), ("", "06-04 09:00"), ("", "06-01 09:00")):
        schedule = after(long, history, now)
        for notice in decide(schedule, {}, at(now)).notices:
            text = text_of(notice, schedule, at(now))
            assert len(text.title.encode("utf-16-le")) // 2 <= LONGEST_TITLE
            assert len(text.body.encode("utf-16-le")) // 2 <= LONGEST_BODY


def test_whoever_is_told_to_flush_is_told_when_to_stop_and_whom_to_call() -> None:
    """R27, on the pop-up itself where it is not discreet."""
    schedule = after(PLAN, STARTED, "06-01 10:00")
    for now in ("06-01 09:45", "06-01 10:00", "06-01 22:00"):
        for notice in decide(schedule, {}, at(now)).notices:
            body = text_of(notice, schedule, at(now)).body
            assert "On-call nurse, Fennimore Vale, 555-0142" in body
            assert "provider's word goes first" in body


def test_the_outlook_tells_what_comes_and_leaves_out_what_comes_again() -> None:
    schedule = after(PLAN, STARTED, "06-01 09:30")
    clock = schedule.plan.clock
    said = [
        f"{clock.local(moment):%H:%M} {title}"
        for moment, title in following(schedule, at("06-01 09:30"), at("06-01 12:00"))
    ]
    assert said == ["09:45 In 15 min: red lumen, finish cefazolin", "10:00 Now: red lumen, finish cefazolin"]


def test_nothing_is_left_to_tell_after_the_end() -> None:
    schedule = after(PLAN, "06-01 08:30 line-removed", "06-01 09:00")
    assert decide(schedule, {}, at("06-01 09:00")).next_moment == ENDLESS
