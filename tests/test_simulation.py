"""The simulation of every lumen, minute by minute, over sample plans, made-up plans and every clock change (R1-R10).

:mod:`simulation` shares no code with the compiler. The plans of :mod:`strategies` and those below are invented.
"""

import copy
import json
import random
import tomllib
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from simulation import Change, Values, Wanted, in_words, violations, zone_rules
from strategies import DAY, ZONES, bare_order, bare_plan, clock_changes, plans, stated, toml_text, with_offset

from reminders.findings import Severity
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.times import Instant
from reminders.views.schedule_json import schedule_json

SAMPLES = sorted((Path(__file__).parent.parent / "sample_plans").glob("*.toml"))
PLANS_PER_ZONE = 110  # times 19 zones: more than 2000 plans
THOROUGH = settings(
    phases=[Phase.explicit, Phase.generate],  # a plan from chance shrinks to no simpler one, only slowly
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def schedule_bytes(text: str, now: int | None = None) -> bytes | None:
    """Return the schedule of a plan's text as JSON; None where the plan has errors."""
    reading = read_plan("plan.toml", text.encode())
    if reading.plan is None or any(finding.severity is Severity.ERROR for finding in reading.findings):
        return None
    at = Instant(reading.plan.course.start.instant if now is None else now)
    return schedule_json(compile_schedule(reading.plan, EMPTY, at), at)


def compiled(plan: Values | str) -> tuple[Values, Values]:
    """Return a plan as tomllib reads it and its schedule as JSON reads it; the plan must be valid."""
    text = plan if isinstance(plan, str) else toml_text(plan)
    content = schedule_bytes(text)
    assert content is not None, [finding.message for finding in read_plan("plan.toml", text.encode()).findings]
    return tomllib.loads(text), json.loads(content)


# --- It holds ---


def test_there_are_sample_plans() -> None:
    """A glob that finds nothing would let the next test pass for nothing."""
    assert SAMPLES


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_plan_survives_the_walk(path: Path) -> None:
    """Each sample plan's schedule breaks nothing, whichever plans there are."""
    assert violations(*compiled(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("zone", ZONES)
def test_every_made_up_plan_survives_the_walk(zone: str) -> None:
    """Over a hundred plans in each zone, most of them beside one of its clock changes, break nothing."""

    @given(plans([zone]))
    @settings(THOROUGH, max_examples=PLANS_PER_ZONE)
    def walk(plan: Values) -> None:
        text = toml_text(plan)
        content = schedule_bytes(text)
        assume(content is not None)
        assert content is not None
        assert violations(tomllib.loads(text), json.loads(content)) == []

    walk()


def test_hardly_any_made_up_plan_is_invalid() -> None:
    """Were most plans thrown away, the walk over them would prove little."""
    drawn: list[bool] = []

    @given(plans())
    @settings(THOROUGH, max_examples=200)
    def count(plan: Values) -> None:
        drawn.append(schedule_bytes(toml_text(plan)) is not None)

    count()
    assert len(drawn) >= 200
    assert drawn.count(False) <= len(drawn) * 0.02


def test_the_made_up_plans_hold_every_form_of_order() -> None:
    """Each key that shapes a schedule occurs among two hundred made-up plans."""
    seen: set[str] = set()

    @given(plans())
    @settings(THOROUGH, max_examples=200)
    def note(plan: Values) -> None:
        seen.update(plan["plan"], plan["protocol"], *plan["lumen"].values(), *plan["order"].values())
        seen.update(str(order["given_as"]) for order in plan["order"].values())
        seen.update(str(order["flush_through"]) for order in plan["order"].values())
        seen.update({"journey"} if "zone_change" in plan else set())

    note()
    wanted = {"clock_times", "weekdays", "every_days", "every", "moments", "continuous", "follows", "as_needed"}
    wanted |= {"last_day", "doses", "stops", "until_removal", "end", "line_removal", "open_ended", "journey"}
    wanted |= {"push", "pump", "infusion", "kept_open", "runs_with", "rate_steps", "rate", "duration", "clock"}
    wanted |= {"before", "after", "after_nutrition", "bag_every", "bag_times", "withdraw first", "nurse only"}
    wanted |= {"lock", "idle_limit", "flush_volume", "lock_volume", "in_use"}
    assert wanted - seen == set()


# --- Every clock change of three years ---


def the_change(zone: str, change: Change | None, order: str) -> Values:
    """Return a plan across one clock change: saline and heparin locks, doses just where the clocks change."""
    middle = change.at if change else 29_900_000  # in November 2026; any day does where the clocks stand still
    rules = zone_rules(zone)
    plan = bare_plan(zone, middle - 30 * 60, middle + 40 * 60)
    plan["lumen"]["white"] = {
        "label": "white",
        "last_flushed": stated(zone, middle - 31 * 60),
        "lock": "heparin",
        "idle_limit": "8 h",
    }
    before = rules.wall(middle - 1) + timedelta(minutes=1)
    length = change.after - change.before if change else 60
    inside = before + timedelta(minutes=length // 2)  # in the gap, or in the repeated hour
    day_before = (inside - timedelta(days=1)).date()
    if order == "clock times":
        times = sorted(
            {f"{inside:%H:%M}", f"{inside + timedelta(hours=8):%H:%M}", f"{inside + timedelta(hours=15):%H:%M}"}
        )
        plan["order"]["a"] = bare_order(
            "red",
            clock_times=times,
            first_dose=f"{day_before} {inside:%H:%M}",
            until_removal=True,
            duration="30 min",
            least_spacing="4 h",
        )
        plan["order"]["b"] = bare_order("red", follows="a", duration="20 min", drug="tesmorin")
    elif order == "interval":
        plan["order"]["a"] = bare_order(
            "white",
            every="8 h",
            first_dose=stated(zone, middle - 29 * 60),
            until_removal=True,
            volume="250 mL",
            rate="125 mL/h",
            least_spacing="6 h",
        )
        plan["order"]["c"] = bare_order(
            "red",
            given_as="pump",
            kept_open=False,
            every="6 h",
            first_dose=stated(zone, middle - 27 * 60),
            until_removal=True,
            duration="30 min",
            least_spacing="5 h",
            drug="tesmorin",
            bag_times=[f"{inside:%H:%M}"],
            bag_flush=["saline"],
        )
    else:
        plan["order"]["a"] = bare_order(
            "white",
            continuous=True,
            first_dose=stated(zone, middle - 25 * 60),
            stops=stated(zone, middle + 30 * 60),
            bag_times=[f"{inside:%H:%M}", f"{inside + timedelta(hours=12):%H:%M}"],
            bag_flush=["saline 5 mL"],
        )
    return plan


@pytest.mark.parametrize("order", ["clock times", "interval", "continuous"])
@pytest.mark.parametrize("zone", ZONES)
def test_every_clock_change_of_three_years(zone: str, order: str) -> None:
    """Plans across each of a zone's clock changes from 2026 to 2028 break nothing."""
    for change in [*clock_changes(zone), None]:
        plan, schedule = compiled(the_change(zone, change, order))
        assert violations(plan, schedule) == []
        assert schedule["doses"]


def test_most_zones_have_clock_changes() -> None:
    """The test above would prove little in zones without any: fifteen of the nineteen have at least one."""
    assert sum(bool(clock_changes(zone)) for zone in ZONES) >= 15


# --- The simulation can fail ---


def two_lumens() -> Values:
    """Return a plan of four days: short doses back to back in one lumen, a continuous infusion and idle times."""
    start = 29_890_080  # 2026-10-31 00:00Z
    zone = "America/Chicago"
    plan = bare_plan(zone, start, start + 4 * DAY)
    plan["line"]["lock"] = "heparin"
    plan["lumen"]["red"]["lock"] = "saline"
    plan["lumen"]["white"] = {"label": "white", "last_flushed": stated(zone, start - 60)}
    plan["order"] = {
        "a": bare_order(
            "white",
            clock_times=["09:00"],
            first_dose="2026-10-31 09:00",
            until_removal=True,
            duration="90 min",
            least_spacing="12 h",
        ),
        "b": bare_order("white", follows="a", follows_after="10 min", duration="30 min", drug="tesmorin"),
        "c": bare_order(
            "red",
            continuous=True,
            first_dose="2026-11-01 12:00",
            stops="2026-11-02 20:00",
            bag_every="12 h",
            bag_flush=["saline"],
            drug="quillocept",
        ),
    }
    return plan


def kinds(schedule: Values, lumen: str, *wanted: str) -> list[Values]:
    """Return a schedule's events of some kinds in one lumen."""
    return [event for event in schedule["events"] if event["lumen"] == lumen and event["kind"] in wanted]


def moved(event: Values, minutes_on: int) -> None:
    """Move an event in all its fields but the reason."""
    for key in ("start", "end"):
        at = datetime.fromisoformat(event[key]) + timedelta(minutes=minutes_on)
        event[key] = at.strftime("%Y-%m-%dT%H:%MZ")
    event["local"] = (datetime.fromisoformat(event["local"]) + timedelta(minutes=minutes_on)).isoformat()


def after_the_first_doses(schedule: Values) -> tuple[Values, Values]:
    """Return the last touch of the first two joined doses, and the idle flush after it."""
    flush = next(event for event in kinds(schedule, "white", "idle flush") if event["start"] > "2026-10-31T16:10Z")
    return kinds(schedule, "white", "finish")[1], flush


def drop_idle_flush(schedule: Values) -> None:
    schedule["events"].remove(after_the_first_doses(schedule)[1])


def flush_one_minute_late(schedule: Values) -> None:
    finish, flush = after_the_first_doses(schedule)
    since = datetime.fromisoformat(flush["start"]) - datetime.fromisoformat(finish["start"])
    moved(flush, 12 * 60 + 1 - since // timedelta(minutes=1))


def drop_the_last_flush(schedule: Values) -> None:
    schedule["events"].remove(kinds(schedule, "red", "idle flush")[-1])


def flush_during_the_infusion(schedule: Values) -> None:
    flush = kinds(schedule, "red", "idle flush")[0]
    row = copy.deepcopy(flush) | {"uid": "another"}
    bag = kinds(schedule, "red", "bag change")[0]
    row |= {key: bag[key] for key in ("start", "end", "local")}
    moved(row, 7)
    schedule["events"].append(row)
    schedule["events"].sort(key=lambda event: (event["start"], event["lumen"] != "red"))


def heparin_into_the_saline_lumen(schedule: Values) -> None:
    kinds(schedule, "red", "idle flush")[0]["steps"].append({"action": "lock", "what": "heparin", "volume": "3 mL"})


def heparin_instead_of_saline(schedule: Values) -> None:
    kinds(schedule, "red", "finish")[0]["steps"][-1] = {"action": "lock", "what": "heparin", "volume": "3 mL"}


def swap_the_steps(schedule: Values) -> None:
    kinds(schedule, "white", "start")[0]["steps"].reverse()


def drop_the_lock(schedule: Values) -> None:
    kinds(schedule, "white", "finish")[1]["steps"].pop()


def lock_between_joined_doses(schedule: Values) -> None:
    kinds(schedule, "white", "finish")[0]["steps"].append({"action": "lock", "what": "heparin", "volume": "3 mL"})


def leave_out_the_flush(schedule: Values) -> None:
    steps = kinds(schedule, "white", "finish")[0]["steps"]
    steps.remove({"action": "flush", "what": "saline", "volume": "10 mL"})


def too_little_saline(schedule: Values) -> None:
    kinds(schedule, "white", "start")[0]["steps"][0]["volume"] = "5 mL"


def drop_a_bag_change(schedule: Values) -> None:
    schedule["events"].remove(kinds(schedule, "red", "bag change")[1])


def bag_change_an_hour_late(schedule: Values) -> None:
    moved(kinds(schedule, "red", "bag change")[0], 60)


def drop_a_start(schedule: Values) -> None:
    schedule["events"].remove(kinds(schedule, "white", "start")[2])


def drop_a_finish(schedule: Values) -> None:
    schedule["events"].remove(kinds(schedule, "white", "finish")[2])


def dose_twice(schedule: Values) -> None:
    index = schedule["events"].index(kinds(schedule, "white", "start")[0])
    schedule["events"].insert(index, copy.deepcopy(schedule["events"][index]) | {"uid": "another"})


def one_uid_twice(schedule: Values) -> None:
    schedule["events"][3]["uid"] = schedule["events"][5]["uid"]


def out_of_order(schedule: Values) -> None:
    schedule["events"].reverse()


def before_the_plan(schedule: Values) -> None:
    first = schedule["events"][0]
    moved(first, -3 * DAY)


def shown_on_another_clock(schedule: Values) -> None:
    event = schedule["events"][0]
    event["local"] = datetime.fromisoformat(event["local"]).replace(hour=3).isoformat()


def dose_an_hour_late(schedule: Values) -> None:
    for event in kinds(schedule, "white", "start")[-2:-1]:
        moved(event, 60)


def dose_not_listed(schedule: Values) -> None:
    schedule["doses"].pop(0)


def dose_listed_for_another_day(schedule: Values) -> None:
    schedule["doses"][0]["start"] = "2026-10-31T15:00Z"


def horizon_too_short(schedule: Values) -> None:
    schedule["end"] = "2026-11-02T00:00Z"


MUTATIONS: list[tuple[Callable[[Values], None], str]] = [
    (drop_idle_flush, "R8"),
    (flush_one_minute_late, "R8"),
    (drop_the_last_flush, "R8"),
    (flush_during_the_infusion, "not idle"),
    (heparin_into_the_saline_lumen, "heparin where none belongs"),
    (heparin_instead_of_saline, "heparin where none belongs"),
    (swap_the_steps, "the steps are"),
    (drop_the_lock, "the lock is missing"),
    (lock_between_joined_doses, "a lock where none belongs"),
    (leave_out_the_flush, "the flush is left out"),
    (too_little_saline, "the steps are"),
    (drop_a_bag_change, "the bag change of c"),
    (bag_change_an_hour_late, "no reason"),
    (drop_a_start, "the start of"),
    (drop_a_finish, "the finish of"),
    (dose_twice, "2 touches"),
    (one_uid_twice, "R23"),
    (out_of_order, "not in order"),
    (before_the_plan, "before the plan starts"),
    (shown_on_another_clock, "R5"),
    (dose_an_hour_late, "no reason"),
    (dose_not_listed, "is not listed"),
    (dose_listed_for_another_day, "is not ordered so"),
    (horizon_too_short, "the horizon ends"),
]


def test_the_plan_that_is_spoilt_is_sound_before() -> None:
    """What the tests below spoil breaks nothing as long as it is not spoilt."""
    assert violations(*compiled(two_lumens())) == []


@pytest.mark.parametrize(("spoil", "complaint"), MUTATIONS, ids=[spoil.__name__ for spoil, _ in MUTATIONS])
def test_the_simulation_complains_of(spoil: Callable[[Values], None], complaint: str) -> None:
    """Each way of spoiling a schedule is told, in words that name it."""
    plan, schedule = compiled(two_lumens())
    spoil(schedule)
    assert any(complaint in told for told in violations(plan, schedule))


def test_the_simulation_complains_of_a_flush_in_a_nurse_only_lumen() -> None:
    """No routine flush belongs into a lumen that only the nurse may flush (R6)."""
    plan, schedule = compiled(two_lumens())
    plan["lumen"]["white"]["flush_through"] = "nurse only"
    assert any("nurse-only lumen" in told for told in violations(plan, schedule))


def test_the_simulation_complains_of_an_event_in_a_lumen_out_of_use() -> None:
    """Nothing is planned into a lumen that is out of use."""
    plan, schedule = compiled(two_lumens())
    plan["lumen"]["white"]["in_use"] = False
    assert any("out of use" in told for told in violations(plan, schedule))


def test_the_simulation_complains_of_an_overlap() -> None:
    """Two doses in one lumen at once are told (R9), and none where one is declared to run with the other."""
    plan, schedule = compiled(two_lumens())
    plan["order"]["d"] = bare_order("red", moments=["2026-11-02 08:00"], duration="30 min")
    assert any(told.startswith("R9") for told in violations(plan, schedule))
    plan["order"]["d"]["runs_with"] = "c"
    assert not any(told.startswith("R9") for told in violations(plan, schedule))


def test_the_simulation_complains_of_an_event_after_removal() -> None:
    """After the line's removal nothing is due (R19)."""
    plan, schedule = compiled(two_lumens())
    plan["plan"]["line_removal"] = "2026-11-02 01:00"
    del plan["plan"]["end"]
    assert any(told.startswith("R19") for told in violations(plan, schedule))


def test_the_simulation_knows_when_a_pump_leaves_its_lumen_idle() -> None:
    """A pump that is not kept open needs idle flushes between its doses; one that is kept open does not (R8)."""
    zone, start = "America/Chicago", 29_890_080
    plan = bare_plan(zone, start, start + 3 * DAY)
    plan["order"]["a"] = bare_order(
        "red",
        given_as="pump",
        kept_open=True,
        every="20 h",
        first_dose=stated(zone, start + 60),
        until_removal=True,
        duration="30 min",
        least_spacing="12 h",
    )
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    read["order"]["a"]["kept_open"] = False
    assert any(told.startswith("R8") for told in violations(read, schedule))


# --- Single rules that the random plans reach seldom ---


def test_a_limit_already_passed_makes_the_first_flush_due_at_once() -> None:
    """R8: a lumen last flushed 20 h before the plan, with a limit of 12 h, is flushed in the plan's first minute."""
    plan = two_lumens()
    plan["lumen"]["white"]["last_flushed"] = stated("America/Chicago", 29_890_080 - 20 * 60)
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    assert kinds(schedule, "white", "idle flush")[0]["start"] == "2026-10-31T00:00Z"


def test_what_an_ordered_list_says_twice_is_done_twice() -> None:
    """R6: two flushes of 10 mL ordered in one list are two; only neighbours from two lists become one (R7)."""
    plan = two_lumens()
    plan["order"]["a"]["after"] = ["saline", "saline"]
    _, schedule = compiled(plan)
    saline = {"action": "flush", "what": "saline", "volume": "10 mL"}
    assert kinds(schedule, "white", "finish")[0]["steps"] == [{"action": "disconnect", "what": "a"}, saline, saline]


def test_the_last_dose_of_a_plan_ends_in_the_lock() -> None:
    """R7: a dose that would start ten minutes after the plan's end is none of this plan's, so the lock is due."""
    plan = two_lumens()
    plan["plan"]["end"] = "2026-11-03 10:35"  # between a's finish at 10:30 and b's start at 10:40
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    assert kinds(schedule, "white", "finish")[-1]["steps"][-1] == {
        "action": "lock",
        "what": "heparin",
        "volume": "3 mL",
    }


def test_no_dose_starts_after_the_plan_has_ended() -> None:
    """A dose that runs past the end is finished, and the one that would start in that minute is not started."""
    plan = two_lumens()
    plan["order"]["b"]["follows_after"] = "0 min"
    plan["plan"]["end"] = "2026-11-03 10:00"  # a runs to 10:30
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    last = schedule["events"][-1]
    assert (last["kind"], last["start"], last["starts"]) == ("finish", "2026-11-03T16:30Z", [])


def test_a_dose_that_ends_as_the_plan_starts_is_taken_off() -> None:
    """The finish of a dose that ends in the plan's first minute belongs to the plan."""
    plan = two_lumens()
    plan["plan"]["start"] = plan["plan"]["takes_effect"] = "2026-10-31 10:30"
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    first = next(event for event in schedule["events"] if event["lumen"] == "white")
    assert (first["kind"], first["start"]) == ("finish", "2026-10-31T15:30Z")


def test_moments_in_both_passes_of_a_repeated_hour_are_two_doses() -> None:
    """R23: 01:30 before and after the clocks go back are two list entries with two names."""
    plan = two_lumens()
    plan["order"]["a"] = bare_order(
        "white", moments=["2026-11-01 01:30-05:00", "2026-11-01 01:30-06:00"], duration="15 min"
    )
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []


def test_a_push_into_a_running_infusion_leaves_the_lock_to_the_last_finish() -> None:
    """S12 and R9: the lock comes when the last of them ends, here the infusion, three minutes into the push."""
    plan = two_lumens()
    plan["order"] = {
        "a": bare_order("white", moments=["2026-11-01 08:00"], duration="63 min"),
        "d": bare_order(
            "white", moments=["2026-11-01 09:00"], duration="5 min", given_as="push", runs_with="a", drug="tesmorin"
        ),
    }
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    push, finish = kinds(schedule, "white", "push")[0], kinds(schedule, "white", "finish")[0]
    assert [any(step["action"] == "lock" for step in event["steps"]) for event in (push, finish)] == [False, True]


def test_a_finish_beyond_the_plans_end_does_not_lock_a_lumen_in_which_something_still_runs() -> None:
    """R9, S12: a continuous infusion goes on past the plan's end; the dose beside it, finished there, sets no lock."""
    plan = two_lumens()
    plan["plan"]["end"] = "2026-11-02 09:00"
    plan["order"] = {
        "a": bare_order("white", continuous=True, first_dose="2026-10-31 08:00", until_removal=True),
        "d": bare_order("white", moments=["2026-11-02 08:30"], duration="1 h", runs_with="a", drug="tesmorin"),
    }
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    finish = kinds(schedule, "white", "finish")[0]
    assert [step["action"] for step in finish["steps"]] == ["disconnect", "flush"]


def test_a_pushed_drug_that_only_the_nurse_may_flush_is_the_nurses() -> None:
    """R6: a push ends in its flush, so a drug that only the nurse may flush is the nurse's from the start."""
    plan = two_lumens()
    plan["order"]["a"] |= {"given_as": "push", "duration": "5 min", "flush_through": "nurse only"}
    _, schedule = compiled(plan)
    assert kinds(schedule, "white", "push")[0]["nurse_only"]


def pump_on_mondays(kept_open: bool) -> Values:
    """Return a plan from a Tuesday to a Thursday with a pump that gives its doses on Mondays."""
    start = 29_894_400  # 2026-11-03 00:00Z, a Tuesday
    zone = "America/Chicago"
    plan = bare_plan(zone, start, start + 2 * DAY)
    plan["order"]["a"] = bare_order(
        "red",
        given_as="pump",
        kept_open=kept_open,
        clock_times=["08:00"],
        weekdays=["Mon"],
        first_dose="2026-10-26 08:00",
        until_removal=True,
        duration="1 h",
        least_spacing="24 h",
        bag_times=["12:00"],
        bag_flush=["saline"],
    )
    return plan


@pytest.mark.parametrize("kept_open", [True, False])
def test_a_pump_stays_connected_between_its_doses(kept_open: bool) -> None:
    """R8, R10: a reservoir without a dose in the horizon still has its changes, and its lumen is open or idle."""
    read, schedule = compiled(pump_on_mondays(kept_open))
    assert violations(read, schedule) == []
    assert len(kinds(schedule, "red", "bag change")) == 2
    assert bool(kinds(schedule, "red", "idle flush")) is not kept_open


def test_a_pump_is_not_taken_off_where_the_horizon_ends() -> None:
    """R10: a reservoir is disconnected after its last ordered dose, not after the last one that is planned yet."""
    plan = two_lumens()
    plan["order"]["c"] = bare_order(
        "red",
        given_as="pump",
        kept_open=True,
        every="6 h",
        first_dose="2026-10-31 08:00",
        last_day="2026-12-24",
        duration="30 min",
        least_spacing="4 h",
        drug="quillocept",
    )
    for end in ({"open_ended": "2 days"}, {"end": "2026-11-02 09:00"}):
        trial = copy.deepcopy(plan)
        del trial["plan"]["end"]
        trial["plan"] |= end
        _, schedule = compiled(trial)
        soon = [event for event in kinds(schedule, "red", "finish") if event["start"] < "2026-12-01"]
        assert soon == []


def test_a_pump_is_taken_off_after_the_last_dose_of_its_last_day() -> None:
    """R10: doses at 08:00 up to the plan's last day, which ends at 20:00: the reservoir comes off at 08:30 that day."""
    plan = two_lumens()
    plan["plan"]["end"] = "2026-11-02 20:00"
    plan["order"] = {
        "c": bare_order(
            "red", given_as="pump", kept_open=True, clock_times=["08:00"], first_dose="2026-10-31 08:00",
            last_day="2026-11-02", duration="30 min", least_spacing="12 h",
        )
    }  # fmt: skip
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []
    assert [event["start"] for event in kinds(schedule, "red", "finish")] == ["2026-11-02T14:30Z"]


def test_an_idle_flush_between_joined_doses_locks_and_the_next_start_draws_it_out() -> None:
    """R6: where a lock must not be flushed in, it is drawn out whenever there is one, after an idle flush too.

    The joining time (12 h) is longer than the idle limit (8 h), so an idle flush falls between two joined doses.
    """
    plan = two_lumens()
    plan["protocol"]["joining_time"] = "12 h"
    plan["lumen"]["white"] |= {"idle_limit": "8 h", "flush_through": "withdraw first", "withdraw_volume": "5 mL"}
    plan["order"] = {
        "a": bare_order("white", moments=["2026-10-31 08:00", "2026-10-31 19:00"], duration="30 min"),
    }
    read, schedule = compiled(plan)
    assert violations(read, schedule) == []


def test_after_the_lines_removal_nothing_is_due() -> None:
    """R19: an infusion that would outlast the line has no finish after it."""
    plan = two_lumens()
    del plan["plan"]["end"]
    plan["plan"]["line_removal"] = "2026-11-03 09:30"  # a runs from 09:00 to 10:30
    _, schedule = compiled(plan)
    assert [event["start"] for event in schedule["events"] if event["start"] > "2026-11-03T15:30Z"] == []


def test_an_open_ended_plan_looks_ahead_at_least_as_far_as_it_says() -> None:
    """A plan that says one day and is compiled an hour before midnight reaches further than to midnight."""
    plan = two_lumens()
    del plan["plan"]["end"]
    plan["plan"]["open_ended"] = "1 day"
    plan["plan"]["start"] = "2026-10-31 23:00"
    plan["order"]["a"]["first_dose"] = "2026-11-01 09:00"
    _, schedule = compiled(plan)
    start, end = (datetime.fromisoformat(schedule[key]) for key in ("start", "end"))
    assert end - start >= timedelta(days=1)


# --- Determinism and identity (R23, R24) ---


@given(plans())
@settings(THOROUGH, max_examples=100)
def test_the_same_plan_gives_the_same_bytes(plan: Values) -> None:
    """R24: compiled twice, byte for byte."""
    text = toml_text(plan)
    assert schedule_bytes(text) == schedule_bytes(text)


def told_apart(schedule: Values) -> set[tuple[str, str, str, str]]:
    """Return what the household gets to see of each event: name, lumen, start and steps."""
    return {(event["uid"], event["lumen"], event["start"], json.dumps(event["steps"])) for event in schedule["events"]}


@given(plans(), st.randoms(use_true_random=False))
@settings(THOROUGH, max_examples=200)
def test_the_order_of_the_orders_in_the_file_changes_nothing(plan: Values, chance: random.Random) -> None:
    """R23, R24: names, instants and steps come from what the orders say, not from where they stand in the file."""
    names = list(plan["order"])
    chance.shuffle(names)
    content = schedule_bytes(toml_text(plan))
    assume(content is not None)
    assert content is not None
    shuffled = schedule_bytes(toml_text(plan | {"order": {name: plan["order"][name] for name in names}}))
    assert shuffled is not None
    assert told_apart(json.loads(content)) == told_apart(json.loads(shuffled))


def test_two_doses_that_start_at_once_have_one_name_whichever_stands_first() -> None:
    """R23: where two orders run together, their common start does not depend on which is written first."""
    plan = two_lumens()
    plan["order"] = {
        "a": bare_order("white", moments=["2026-11-01 08:00"], duration="1 h"),
        "d": bare_order("white", moments=["2026-11-01 08:00"], duration="1 h", runs_with="a", drug="tesmorin"),
    }
    swapped = plan | {"order": {"d": plan["order"]["d"], "a": plan["order"]["a"]}}
    assert told_apart(compiled(plan)[1]) == told_apart(compiled(swapped)[1])


def names_of_doses(schedule: Values, order: str) -> dict[tuple[str, str, str], str]:
    """Return the UID of each touch of an order's doses, by what it does and the dose's start."""
    found = {}
    for event in schedule["events"]:
        for key in ("starts", "ends"):
            for dose in event[key]:
                if dose["order"] == order:
                    found[key, dose["start"], event["lumen"]] = event["uid"]
    return found


@given(plans())
@settings(THOROUGH, max_examples=100)
def test_an_unrelated_order_renames_no_dose(plan: Values) -> None:
    """R23: one more order through another lumen leaves the names of all other doses alone."""
    content = schedule_bytes(toml_text(plan))
    assume(content is not None)
    assert content is not None
    plan = copy.deepcopy(plan)
    start = Wanted(plan, 0 if "open_ended" in plan["plan"] else None).start
    plan["lumen"] = {"aux": {"label": "aux", "last_flushed": stated(plan["plan"]["zone"], start)}, **plan["lumen"]}
    extra = bare_order("aux", moments=[stated(plan["plan"]["zone"], start + 120)], duration="1 h")
    names = list(plan["order"])
    more = schedule_bytes(toml_text(plan | {"order": {"extra": extra, **plan["order"]}}))
    assert more is not None
    before, after = json.loads(content), json.loads(more)
    for name in names:
        assert names_of_doses(before, name) == names_of_doses(after, name)


@given(
    st.sampled_from(ZONES),
    st.sets(st.integers(0, 47), min_size=1, max_size=5),
    st.integers(0, 47),
    st.integers(0, 1000),
)
@settings(THOROUGH, max_examples=150)
def test_one_more_clock_time_renames_no_other_dose(zone: str, slots: set[int], extra: int, shift: int) -> None:
    """R23: a dose is its order and its ordered moment, so a new clock time names its own doses only.

    Slots are half hours, doses 10 minutes, so that no dose touches another save where the clocks change.
    """
    assume(extra not in slots)
    changes = clock_changes(zone)
    start = (changes[shift % len(changes)].at if changes else 29_900_000) - DAY
    first = f"{(zone_rules(zone).wall(start) - timedelta(days=1)).date()} {min(slots) // 2:02}:{min(slots) % 2 * 30:02}"

    def scheduled(times: set[int]) -> dict[tuple[str, str, str], str]:
        plan = bare_plan(zone, start, start + 3 * DAY)
        plan["order"]["a"] = bare_order(
            "red",
            clock_times=[f"{slot // 2:02}:{slot % 2 * 30:02}" for slot in sorted(times)],
            first_dose=first,
            until_removal=True,
            duration="10 min",
            least_spacing="1 min",
        )
        return names_of_doses(compiled(plan)[1], "a")

    before, after = scheduled(slots), scheduled(slots | {extra})
    doses = [start for kind, start, _ in after if kind == "starts"]
    assume(len(doses) == len(set(doses)))
    assert {key: after[key] for key in before} == before
    assert len(set(after.values())) == len(after)


def test_moments_can_be_written_with_their_offset() -> None:
    """A moment written with an offset is the same instant as on the home clock."""
    at = 29_893_000
    for zone in ZONES:
        wanted = Wanted(bare_plan(zone, at, at + DAY))
        assert wanted.moment(with_offset(zone, at)) == at, in_words(at)
