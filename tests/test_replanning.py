"""Replanning from made-up records, judged by :mod:`replay`, which shares no code with the compiler (R8, R13-R19).

The plans and histories are invented (:mod:`history_strategies`); small ones are written as in :mod:`histories`.
"""

import random
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from histories import at, fact, record
from histories import plan as small_plan
from history_strategies import History, histories
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from replay import Names, complaints
from simulation import Values, Wanted
from small_plans import plan_text
from strategies import ZONES, plans, toml_text

from reminders.findings import has_errors
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Kind, Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.doses import moment_key
from reminders.schedule.model import Dose, Outcome, Schedule, Touch, TouchKind
from reminders.schedule.status import status
from reminders.times import Instant

SAMPLES = sorted((Path(__file__).parent.parent / "sample_plans").glob("*.toml"))
PER_ZONE = 16  # times 21 zones, for the replay alone
THOROUGH = settings(
    phases=[Phase.explicit, Phase.generate],  # a history from chance shrinks to no simpler one, only slowly
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)


# --- Plain data for the replay ---


def plain_facts(told: Record) -> list[Values]:
    """Return a record as the replay reads it."""
    names = "key happened order dose lumen until fluids elsewhere lumen_used again planned_for withdraws".split()
    return [
        {name: getattr(entry, name) for name in names}
        | {"kind": entry.kind.value, "sign": entry.sign.value if entry.sign else None}
        for entry in told.facts
    ]


def pairs(doses: Iterable[Dose]) -> list[tuple[str, str]]:
    return [(dose.order, dose.key) for dose in doses]


def plain_touch(touch: Touch, schedule: Schedule, now: Instant) -> Values:
    return {
        **{name: getattr(touch, name) for name in "uid lumen at planned outstanding flushed".split()},
        "kind": touch.kind.value,
        "steps": [(step.action.value, step.what) for step in touch.steps],
        "starts": pairs(touch.starts),
        "ends": pairs(touch.ends),
        "bags": pairs(touch.bags),
        "outcome": touch.outcome.value if touch.outcome else None,
        "asks": [ask.why.value for ask in touch.asks],
        "status": status(touch, schedule, now).value,
    }


def plain_dose(dose: Dose) -> Values:
    plain = {name: getattr(dose, name) for name in "order key number lumen start end".split()}
    return plain | {"state": dose.state.value, "asks": [ask.why.value for ask in dose.asks]}


def plain_schedule(schedule: Schedule, now: Instant) -> Values:
    """Return a schedule as the replay reads it."""
    return {
        "end": schedule.end,
        "touches": [plain_touch(touch, schedule, now) for touch in schedule.touches],
        "doses": [plain_dose(dose) for doses in schedule.doses.values() for dose in doses],
        "lumens": {name: {"last_flush": state.last_flush} for name, state in schedule.lumens.items()},
    }


def names_of(plan: Plan, now: Instant) -> Names:
    """Return each dose's number by what it is called before anything is recorded."""
    doses = compile_schedule(plan, EMPTY, now).doses.values()
    return {(dose.order, dose.key): dose.number for found in doses for dose in found}


def judged(history: History, told: Record | None = None) -> list[str]:
    """Return what the replay has to say about a history."""
    told = history.record if told is None else told
    schedule = compile_schedule(history.plan, told, history.now)
    names = names_of(history.plan, history.now)
    return complaints(
        history.values, plain_facts(told), names, history.now, plain_schedule(schedule, history.now)
    )  # fmt: skip


def assume_one_reading(history: History) -> None:
    """Leave out a plan of which the simulation reads another number of doses: one that a clock change at midnight moves
    past its last day."""
    wanted = Wanted(history.values, compile_schedule(history.plan, EMPTY, history.now).end)
    for (order, _), number in names_of(history.plan, history.now).items():
        if "follows" not in history.values["order"][order]:
            assume(number in {dose.number for dose in wanted.doses(order)})


def shown(schedule: Schedule) -> list[tuple[object, ...]]:
    """Return all that a schedule says of its events."""
    return [
        (
            touch.uid, touch.kind, touch.lumen, touch.at, touch.planned, touch.steps, pairs(touch.starts),
            pairs(touch.ends), touch.outcome, touch.asks, touch.outstanding, touch.flushed, touch.reason,
        )
        for touch in schedule.touches
    ]  # fmt: skip


def places(schedule: Schedule) -> Counter[tuple[str, str, int]]:
    """Return what stands where, leaving aside what it is called and its steps."""
    return Counter((touch.lumen, touch.kind.value, int(touch.at)) for touch in schedule.touches)


# --- It holds ---


@pytest.mark.parametrize("zone", ZONES)
def test_every_replanned_schedule_survives_the_replay(zone: str) -> None:
    """What was recorded, what is planned and every idle stretch are as the rules have them, across clock changes."""

    @given(histories([zone]))
    @settings(THOROUGH, max_examples=PER_ZONE)
    def replay(history: History) -> None:
        assume_one_reading(history)
        assert judged(history) == []

    replay()


def test_the_histories_hold_what_can_be_recorded() -> None:
    """Were most histories empty, or of one kind, the replay of them would prove little."""
    seen: Counter[Kind] = Counter()
    counts: list[int] = []
    signs: set[object] = set()

    @given(histories())
    @settings(THOROUGH, max_examples=80)
    def note(history: History) -> None:
        counts.append(len(history.record.facts))
        seen.update(entry.kind for entry in history.record.facts)
        signs.update(entry.sign for entry in history.record.facts)

    note()
    needed = {Kind.STARTED, Kind.FINISHED, Kind.FLUSHED, Kind.NOT_GIVEN, Kind.SKIPPED, Kind.DELAYED, Kind.STOPPED}
    needed |= {Kind.INTERRUPTED, Kind.RESUMED, Kind.DRAWN, Kind.PROBLEM, Kind.OUT_OF_USE, Kind.HELD, Kind.RELEASED}
    needed |= {Kind.REMOVED, Kind.WITHDRAWN, Kind.BAG_CHANGED}
    assert needed - set(seen) == set()
    assert sum(counts) >= 5 * len(counts)
    assert counts.count(0) <= len(counts) * 0.3
    assert len(signs) >= 5


# --- Facts stay, and are all that counts ---


@given(histories())
@settings(THOROUGH, max_examples=60)
def test_planning_anew_changes_no_fact(history: History) -> None:
    """R13: the record that went in is the record that is there afterwards."""
    before = tuple(replace(entry) for entry in history.record.facts)
    compile_schedule(history.plan, history.record, history.now)
    assert history.record.facts == before


@given(histories())
@settings(THOROUGH, max_examples=60)
def test_every_fact_shows_up_once(history: History) -> None:
    """R13, R18: each started dose starts in one event, each finished one ends in one, each draw and flush is one."""
    schedule = compile_schedule(history.plan, history.record, history.now)
    starts = Counter(pair for touch in schedule.touches for pair in pairs(touch.starts))
    ends = Counter(pair for touch in schedule.touches for pair in pairs(touch.ends))
    assert not [pair for pair, times in (starts + ends).items() if max(starts[pair], ends[pair]) > 1]
    known = {pair for doses in schedule.connected.values() for pair in pairs(doses)}
    begins = {(dose.order, dose.key): dose.start for doses in schedule.connected.values() for dose in doses}
    for entry in history.record.of_kind(Kind.STARTED):
        again = f" again {moment_key(entry.happened)}" if entry.again and " again " not in entry.dose else ""
        pair = (entry.order, entry.dose + again)
        if pair in known and begins[pair] >= schedule.start:
            assert starts[pair] == 1
            assert begins[pair] <= entry.happened
    for entry in history.record.of_kind(Kind.DRAWN):
        draws = [touch for touch in schedule.touches if touch.kind is TouchKind.DRAW and touch.at == entry.happened]
        assert len([touch for touch in draws if touch.lumen == entry.lumen]) == 1


@given(histories(), st.randoms(use_true_random=False))
@settings(THOROUGH, max_examples=60)
def test_the_order_of_entry_does_not_matter(history: History, chance: random.Random) -> None:
    """R13: facts are read in the order in which they happened, wherever they stand in the record."""
    facts = list(history.record.facts)
    chance.shuffle(facts)
    expected = compile_schedule(history.plan, history.record, history.now)
    assert shown(compile_schedule(history.plan, Record(tuple(facts)), history.now)) == shown(expected)


@given(histories(), st.randoms(use_true_random=False))
@settings(THOROUGH, max_examples=60)
def test_a_fact_that_is_taken_back_was_never_said(history: History, chance: random.Random) -> None:
    """R13: a fact and its withdrawal together are nothing, wherever they stand in the record."""
    standing = history.record.standing
    assume(standing)
    gone = chance.choice(standing)
    back = Fact(
        key="back", report="back", kind=Kind.WITHDRAWN, happened=history.now, entered=history.now, withdraws=gone.key
    )
    without = Record(tuple(entry for entry in history.record.facts if entry.key != gone.key))
    both = history.record.with_facts([back])
    assert both.facts[: len(history.record.facts)] == history.record.facts
    expected = compile_schedule(history.plan, without, history.now)
    assert shown(compile_schedule(history.plan, both, history.now)) == shown(expected)


@given(histories())
@settings(THOROUGH, max_examples=60)
def test_a_fact_about_an_unknown_dose_that_did_not_begin_changes_nothing(history: History) -> None:
    """A delay of a dose that nobody knows, or a finish in an order that nobody gave, moves no event."""
    assume(history.plan.orders)
    order = next(iter(history.plan.orders))
    about: Values = {
        "report": "odd",
        "happened": history.now,
        "entered": history.now,
        "order": order,
        "dose": "1999-01-01T00:00",
    }
    odd = [
        Fact(key="odd1", kind=Kind.DELAYED, until=Instant(history.now + 60), **about),
        Fact(key="odd2", kind=Kind.NOT_GIVEN, **about),
        Fact(key="odd3", kind=Kind.FINISHED, **{**about, "order": "nobody-ordered-this"}),
    ]
    expected = compile_schedule(history.plan, history.record, history.now)
    found = compile_schedule(history.plan, history.record.with_facts(odd), history.now)
    assert shown(found) == shown(expected)


# --- Now moves nothing ---


def has_an_end(plan: Plan) -> bool:
    return plan.course.open_ended is None


@given(histories(), st.integers(0, 4000))
@settings(THOROUGH, max_examples=60)
def test_the_same_record_later_gives_the_same_instants(history: History, later: int) -> None:
    """R14: instants move only by facts, never because time passes."""
    assume(has_an_end(history.plan))
    expected = compile_schedule(history.plan, history.record, history.now)
    found = compile_schedule(history.plan, history.record, Instant(history.now + later))
    assert shown(found) == shown(expected)


def read_sound(text: str) -> Plan | None:
    reading = read_plan("plan.toml", text.encode())
    return None if reading.plan is None or has_errors(reading.findings) else reading.plan


def unmoved_by_time(plan: Plan) -> None:
    """Check that nothing moves, and nothing is done, however often a plan without a record is compiled."""
    start = plan.course.start.instant
    first = compile_schedule(plan, EMPTY, start)
    assert not [touch for touch in first.touches if touch.outcome or touch.outstanding or touch.asks]
    if has_an_end(plan):
        for now in (start - 5000, start + 1, (start + first.end) // 2, first.end + 5000):
            assert shown(compile_schedule(plan, EMPTY, Instant(now))) == shown(first)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_without_a_record_no_sample_plan_moves(path: Path) -> None:
    """R14: an empty record changes nothing, at whatever moment."""
    plan = read_sound(path.read_text(encoding="utf-8"))
    assert plan is not None
    unmoved_by_time(plan)


@given(plans())
@settings(THOROUGH, max_examples=60)
def test_without_a_record_no_made_up_plan_moves(values: Values) -> None:
    """R14: an empty record changes nothing, at whatever moment."""
    plan = read_sound(toml_text(values))
    assume(plan is not None)
    assert plan is not None
    unmoved_by_time(plan)


# --- What a fact may touch ---


def related(plan: Plan, names: Iterable[str]) -> set[str]:
    """Return the orders that follow some orders, however many steps on, and the orders themselves."""
    found = set(names)
    while True:
        more = {name for name, order in plan.orders.items() if order.follows in found} - found
        if not more:
            return found
        found |= more


def lumens_of(plan: Plan, entry: Fact) -> set[str] | None:
    """Return the lumens that a fact may change; None where that is all of them."""
    if entry.kind in (Kind.REMOVED, Kind.WITHDRAWN):
        return None
    if not entry.order and not entry.lumen:
        return None
    orders = related(plan, [entry.order]) if entry.order else set()
    return {plan.orders[name].lumen for name in orders if name in plan.orders} | (
        {entry.lumen} if entry.lumen else set()
    )


@given(histories(), st.randoms(use_true_random=False))
@settings(THOROUGH, max_examples=100)
def test_other_lumens_never_wait(history: History, chance: random.Random) -> None:
    """R16: a fact moves nothing in a lumen that has nothing to do with it; only a stay, or removal, is about all.

    Its idle flushes may join other touches than before; that they keep its limit the replay looks at.
    """
    assume(history.record.standing)
    entry = chance.choice(history.record.standing)
    touched = lumens_of(history.plan, entry)
    assume(touched is not None)
    assert touched is not None
    if entry.order:  # what follows its order may have been given through another lumen than the ordered one
        orders = related(history.plan, [entry.order])
        touched |= {other.lumen for other in history.record.facts if other.order in orders and other.lumen}
    without = Record(tuple(other for other in history.record.facts if entry.key not in (other.key, other.withdraws)))
    before = compile_schedule(history.plan, without, history.now)
    after = compile_schedule(history.plan, history.record, history.now)
    for lumen in set(history.plan.lumens) - touched:
        ordered = [
            [row for row in shown(schedule) if row[2] == lumen and row[1] is not TouchKind.IDLE_FLUSH]
            for schedule in (before, after)
        ]
        assert ordered[0] == ordered[1]


def unrecorded_before(schedule: Schedule, at: int) -> list[Touch]:
    """Return what nobody has recorded and stands before an instant; a longer infusion's bag changes are no surprise."""
    touches = (touch for touch in schedule.touches if touch.outcome is None and touch.at < at)
    return [touch for touch in touches if touch.kind is not TouchKind.BAG_CHANGE]


def step_by_step(history: History) -> Iterable[tuple[Fact, Schedule, Schedule]]:
    """Yield each standing fact with the schedules before and after it, as of its minute."""
    known: list[Fact] = []
    before = compile_schedule(history.plan, EMPTY, history.now)
    for entry in history.record.standing:
        known.append(entry)
        after = compile_schedule(history.plan, Record(tuple(known)), history.now)
        yield entry, before, after
        before = after


def answered_before(before: Schedule, new: Touch) -> bool:
    """Say whether a flush was planned at a moment, and the recorded one that was it now answers another."""
    here = [touch for touch in before.touches if touch.lumen == new.lumen and touch.kind is TouchKind.IDLE_FLUSH]
    return any(touch.outcome and touch.planned == new.at for touch in here)


@given(histories())
@settings(THOROUGH, max_examples=80)
def test_no_fact_plans_anything_into_its_past(history: History) -> None:
    """R14, R16: what a fact makes necessary is due at once, never before that fact was there to be known.

    So the list of what is overdue holds nothing that nobody could have done. (Of two things at one minute, the one that
    was not recorded stays there by itself.)
    """
    for entry, before, after in step_by_step(history):
        taken = {(touch.lumen, touch.at) for touch in before.touches}
        new = [touch for touch in unrecorded_before(after, entry.happened) if (touch.lumen, touch.at) not in taken]
        new = [touch for touch in new if not answered_before(before, touch)]
        assert not new, (entry.kind, [(touch.kind, touch.lumen, touch.at) for touch in new])


FROM_THEN_ON = (Kind.HELD, Kind.RELEASED, Kind.OUT_OF_USE, Kind.PROBLEM, Kind.INTERRUPTED, Kind.RESUMED, Kind.REMOVED)
"""Facts that take effect at their minute and are about nothing that lies before it (R19)."""


@given(histories())
@settings(THOROUGH, max_examples=80)
def test_what_was_before_a_change_stays_as_it_was(history: History) -> None:
    """R19: a hold, a problem, a pause or the removal takes no start and no finish away that lay before it."""
    for entry, before, after in step_by_step(history):
        if entry.kind in FROM_THEN_ON:
            kept = Counter(
                (touch.uid, touch.at)
                for touch in before.touches
                if touch.at < entry.happened and touch.kind is not TouchKind.IDLE_FLUSH
            )
            # What follows an infusion that is only now said to stand, or to run again, had not begun (R2).
            led = followers(history.plan, entry.order) if entry.kind in (Kind.INTERRUPTED, Kind.RESUMED) else set()
            kept -= Counter(
                (touch.uid, touch.at)
                for touch in before.touches
                if any(dose.order in led for dose in (*touch.starts, *touch.ends))
            )
            assert kept - Counter((touch.uid, touch.at) for touch in after.touches) == Counter()


def followers(plan: Plan, order: str) -> set[str]:
    """Return the orders that follow one, and those that follow them."""
    found = {name for name, other in plan.orders.items() if other.follows == order}
    return found | {name for led in found for name in followers(plan, led)}


# --- The replay can fail ---

NOW = "06-02 22:00"
THREE_LUMENS = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.white]
last_flushed = "2026-06-01 08:00"
[lumen.blue]
last_flushed = "2026-06-01 08:00"
[order.cefa]
lumen = "red"
clock_times = ["09:00", "21:00"]
first_dose = "2026-06-01 09:00"
until_removal = true
duration = "60 min"
least_spacing = "8 h"
cut_off = "4 h"
[order.tesm]
lumen = "blue"
clock_times = ["15:00"]
first_dose = "2026-06-01 15:00"
until_removal = true
duration = "90 min"
"""
TWO_DAYS = """
06-01 09:20 started order=cefa dose=2026-06-01T09:00
06-01 10:25 finished order=cefa dose=2026-06-01T09:00
06-01 10:30 flushed lumen=red
06-01 12:00 problem lumen=blue sign=pain
06-01 20:00 delayed order=cefa dose=2026-06-01T21:00 until=06-02T04:00
06-01 20:30 flushed lumen=white
06-02 04:00 started order=cefa dose=2026-06-01T21:00
06-02 12:00 drawn lumen=white
06-02 12:02 flushed lumen=white
06-02 17:00 released lumen=blue
06-02 21:30 not-given order=cefa dose=2026-06-02T21:00
"""


@cache
def two_days() -> tuple[Values, list[Values], Names, int, Schedule]:
    plan = small_plan(THREE_LUMENS)
    now = at(NOW)
    told = record(TWO_DAYS)
    values = tomllib.loads(plan_text(THREE_LUMENS))
    return values, plain_facts(told), names_of(plan, now), now, compile_schedule(plan, told, now)


def judge_two_days(spoil: Callable[[Values], None]) -> list[str]:
    values, told, names, now, schedule = two_days()
    spoilt = plain_schedule(schedule, Instant(now))
    spoil(spoilt)
    return complaints(values, told, names, now, spoilt)


def one(schedule: Values, kind: str, lumen: str, when: str) -> Values:
    """Return the only touch of its kind in a lumen at a moment."""
    touches: list[Values] = schedule["touches"]
    found = [touch for touch in touches if (touch["kind"], touch["lumen"], touch["at"]) == (kind, lumen, at(when))]
    assert len(found) == 1, [(touch["kind"], touch["lumen"]) for touch in touches if touch["at"] == at(when)]
    return found[0]


def resort(schedule: Values) -> None:
    schedule["touches"].sort(key=lambda touch: touch["at"])


def flushes_of(schedule: Values, lumen: str) -> list[Values]:
    """Return the idle flushes of a lumen that are still ahead of the last fact."""
    return [
        touch
        for touch in schedule["touches"]
        if touch["kind"] == "idle flush" and touch["lumen"] == lumen and touch["at"] >= at(NOW)
    ]


def dose(schedule: Values, order: str, key: str) -> Values:
    return next(row for row in schedule["doses"] if (row["order"], row["key"]) == (order, key))


def drop_an_idle_flush(schedule: Values) -> None:
    schedule["touches"].remove(flushes_of(schedule, "white")[0])


def flush_a_minute_late(schedule: Values) -> None:
    flush = flushes_of(schedule, "white")[0]
    flush["at"] = flush["planned"] = flush["at"] + 1
    resort(schedule)


def drop_the_flush_for_the_delayed_dose(schedule: Values) -> None:
    schedule["touches"].remove(one(schedule, "idle flush", "red", "06-01 22:30"))


def flush_in_the_infusion(schedule: Values) -> None:
    flush = dict(flushes_of(schedule, "white")[0], uid="another", lumen="red", at=at("06-03 09:30"))
    schedule["touches"].append(flush | {"planned": flush["at"]})
    resort(schedule)


def flush_in_the_suspended_lumen(schedule: Values) -> None:
    flush = dict(flushes_of(schedule, "white")[0], uid="another", lumen="blue", at=at("06-01 20:00"))
    schedule["touches"].append(flush | {"planned": flush["at"], "status": "unconfirmed"})
    resort(schedule)


def steps_in_the_suspended_lumen(schedule: Values) -> None:
    one(schedule, "start", "blue", "06-01 15:00")["steps"] = [("flush", "saline"), ("connect", "tesm")]


def nothing_after_the_release(schedule: Values) -> None:
    schedule["touches"].remove(one(schedule, "idle flush", "blue", "06-02 17:00"))


def do_what_nobody_recorded(schedule: Values) -> None:
    flushes_of(schedule, "white")[0].update({"outcome": "done", "status": "done"})


def start_what_nobody_recorded(schedule: Values) -> None:
    one(schedule, "start", "blue", "06-03 15:00").update({"outcome": "done", "status": "done"})


def finish_what_nobody_recorded(schedule: Values) -> None:
    one(schedule, "finish", "red", "06-02 05:00").update({"outcome": "done", "status": "done"})


def forget_a_start(schedule: Values) -> None:
    one(schedule, "start", "red", "06-01 09:20").update({"outcome": None, "status": "unconfirmed"})


def forget_a_finish(schedule: Values) -> None:
    schedule["touches"].remove(one(schedule, "finish", "red", "06-01 10:25"))


def finish_as_planned(schedule: Values) -> None:
    one(schedule, "finish", "red", "06-01 10:25")["at"] = at("06-01 10:20")


def late_dose_ends_on_time(schedule: Values) -> None:
    touch = one(schedule, "finish", "red", "06-02 05:00")
    touch["at"] = touch["planned"] = at("06-01 22:00")
    resort(schedule)


def listed_dose_ends_on_time(schedule: Values) -> None:
    dose(schedule, "cefa", "2026-06-01T21:00")["end"] = at("06-01 22:00")


def move_the_next_dose(schedule: Values) -> None:
    touch = one(schedule, "start", "red", "06-02 09:00")
    touch["at"] = touch["planned"] = at("06-02 12:00")
    resort(schedule)


def ask_nobody(schedule: Values) -> None:
    dose(schedule, "cefa", "2026-06-02T09:00")["asks"] = []


def ask_for_no_reason(schedule: Values) -> None:
    dose(schedule, "cefa", "2026-06-03T09:00")["asks"] = ["less than the least spacing"]


def drop_the_dose_to_ask_about(schedule: Values) -> None:
    schedule["touches"].remove(one(schedule, "start", "red", "06-02 09:00"))


def offer_the_missed_dose(schedule: Values) -> None:
    one(schedule, "start", "red", "06-02 21:00")["steps"] = [("flush", "saline"), ("connect", "cefa")]


def make_up_for_the_missed_dose(schedule: Values) -> None:
    copy = dict(one(schedule, "start", "red", "06-03 09:00"), uid="another", at=at("06-02 23:00"))
    schedule["touches"].append(copy | {"starts": [("cefa", "2026-06-02T21:00")]})
    resort(schedule)


def missed_is_only_skipped(schedule: Values) -> None:
    one(schedule, "start", "red", "06-02 21:00").update({"outcome": "skipped", "status": "skipped"})


def missed_counts_as_given(schedule: Values) -> None:
    dose(schedule, "cefa", "2026-06-02T21:00")["state"] = "started and finished"


def dose_twice(schedule: Values) -> None:
    schedule["touches"].append(dict(one(schedule, "start", "red", "06-03 09:00"), uid="another"))
    resort(schedule)


def one_uid_twice(schedule: Values) -> None:
    schedule["touches"][4]["uid"] = schedule["touches"][9]["uid"]


def out_of_order(schedule: Values) -> None:
    schedule["touches"].reverse()


def lose_a_flush(schedule: Values) -> None:
    touch = next(row for row in schedule["touches"] if row["lumen"] == "white" and row["at"] == at("06-01 20:30"))
    touch |= {"at": touch["planned"] + 60, "outcome": None, "status": "unconfirmed"}
    resort(schedule)


def flush_shown_twice(schedule: Values) -> None:
    touch = next(row for row in schedule["touches"] if row["lumen"] == "white" and row["at"] == at("06-01 20:30"))
    schedule["touches"].append(dict(touch, uid="another"))
    resort(schedule)


def lose_the_draw(schedule: Values) -> None:
    schedule["touches"].remove(one(schedule, "draw", "white", "06-02 12:00"))


def forget_the_last_flush(schedule: Values) -> None:
    schedule["lumens"]["white"]["last_flush"] = None


def invent_a_last_flush(schedule: Values) -> None:
    schedule["lumens"]["blue"]["last_flush"] = at("06-02 18:00")


def outstanding_without_a_fact(schedule: Values) -> None:
    one(schedule, "finish", "blue", "06-03 16:30")["outstanding"] = True


def leave_out_the_lock(schedule: Values) -> None:
    one(schedule, "finish", "red", "06-03 10:00")["steps"].pop()


def leave_out_the_steps(schedule: Values) -> None:
    one(schedule, "start", "red", "06-03 09:00")["steps"] = []


def through_another_lumen(schedule: Values) -> None:
    one(schedule, "start", "red", "06-03 09:00")["lumen"] = "white"


def still_ahead(schedule: Values) -> None:
    one(schedule, "start", "blue", "06-01 15:00")["status"] = "planned"


def done_though_late(schedule: Values) -> None:
    one(schedule, "start", "red", "06-01 09:20")["status"] = "late"


def horizon_too_short(schedule: Values) -> None:
    schedule["end"] = at("06-04 08:00")


SPOILT: list[tuple[Callable[[Values], None], str]] = [
    (drop_an_idle_flush, "R8"),
    (flush_a_minute_late, "R8"),
    (drop_the_flush_for_the_delayed_dose, "R8"),
    (flush_in_the_infusion, "not idle"),
    (flush_in_the_suspended_lumen, "S1"),
    (steps_in_the_suspended_lumen, "S1"),
    (nothing_after_the_release, "R8"),
    (do_what_nobody_recorded, "no such flush is recorded"),
    (start_what_nobody_recorded, "are not recorded"),
    (finish_what_nobody_recorded, "are not recorded"),
    (forget_a_start, "not shown as done"),
    (forget_a_finish, "do not stand"),
    (finish_as_planned, "R15"),
    (late_dose_ends_on_time, "R15"),
    (listed_dose_ends_on_time, "R15"),
    (move_the_next_dose, "R15: starts"),
    (ask_nobody, "R17"),
    (ask_for_no_reason, "R17"),
    (drop_the_dose_to_ask_about, "do not stand"),
    (offer_the_missed_dose, "is offered"),
    (make_up_for_the_missed_dose, "stand 2 times"),
    (missed_is_only_skipped, "not 'not given'"),
    (missed_counts_as_given, "R18"),
    (dose_twice, "stand 2 times"),
    (one_uid_twice, "R23"),
    (out_of_order, "not in order"),
    (lose_a_flush, "is not shown"),
    (flush_shown_twice, "shown 2 times"),
    (lose_the_draw, "shown 0 times"),
    (forget_the_last_flush, "was last flushed"),
    (invent_a_last_flush, "was last flushed"),
    (outstanding_without_a_fact, "outstanding though"),
    (leave_out_the_lock, "the steps are"),
    (leave_out_the_steps, "no steps"),
    (through_another_lumen, "R19"),
    (still_ahead, "shown as planned"),
    (done_though_late, "shown as late"),
    (horizon_too_short, "the horizon ends"),
]


def test_the_schedule_that_is_spoilt_is_sound_before() -> None:
    """What the tests below spoil breaks nothing as long as it is not spoilt."""
    assert judge_two_days(lambda _: None) == []


@pytest.mark.parametrize(("spoil", "complaint"), SPOILT, ids=[spoil.__name__ for spoil, _ in SPOILT])
def test_the_replay_complains_of(spoil: Callable[[Values], None], complaint: str) -> None:
    """Each way of spoiling a replanned schedule is told, in words that name it."""
    assert any(complaint in told for told in judge_two_days(spoil))


# --- Small histories that are easily got wrong ---

ONE_LUMEN = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.cefa]
lumen = "red"
clock_times = ["09:00", "21:00"]
first_dose = "2026-06-01 09:00"
until_removal = true
duration = "60 min"
"""
A_PUSH = (
    ONE_LUMEN
    + """
given_as = "push"
duration = "5 min"
"""
)
BACK_TO_BACK = (
    ONE_LUMEN
    + """
[order.tesm]
lumen = "red"
follows = "cefa"
duration = "30 min"
"""
)
A_PUMP = (
    ONE_LUMEN
    + """
given_as = "pump"
kept_open = true
"""
)
CONTINUOUS = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.white]
last_flushed = "2026-06-01 07:00"
[order.cefa]
lumen = "red"
continuous = true
first_dose = "2026-06-01 09:00"
stops = "2026-06-03 09:00"
without least_spacing
"""
SHIFTING = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.cefa]
lumen = "red"
every = "12 h"
first_dose = "2026-06-01 19:30"
until_removal = true
duration = "12 h"
after_late_dose = "shift following doses"
"""
DOSES_AT_SIX = """
[order.cefa]
clock_times = ["18:00"]
first_dose = "2026-06-01 18:00"
"""
UNUSED = (
    ONE_LUMEN
    + """
[lumen.white]
last_flushed = "2026-06-01 07:00"
in_use = false
"""
)

HARD: dict[str, tuple[str, str]] = {
    "a finish that lies before the planned start of a dose whose start nobody reported": (
        ONE_LUMEN,
        "06-01 08:50 finished order=cefa dose=2026-06-01T09:00",
    ),
    "a push that was given elsewhere": (
        A_PUSH,
        "06-01 09:00 started order=cefa dose=2026-06-01T09:00 elsewhere=yes",
    ),
    "what is recorded of a pump's reservoir": (A_PUMP, "06-01 09:00 started order=cefa dose=reservoir"),
    "a second start of a dose that another order follows": (
        BACK_TO_BACK,
        """06-01 09:00 started order=cefa dose=2026-06-01T09:00
        06-01 14:00 started order=cefa dose=2026-06-01T09:00 again=yes""",
    ),
    "a second start of a continuous infusion": (
        CONTINUOUS,
        """06-01 09:00 started order=cefa dose=continuous
        06-01 12:00 stopped-early order=cefa dose=continuous
        06-01 13:00 started order=cefa dose=continuous again=yes""",
    ),
    "a continuous infusion that was started through another lumen": (
        CONTINUOUS,
        "06-01 09:00 started order=cefa dose=continuous lumen=white",
    ),
    "a draw from a lumen that is suspended or out of use": (
        ONE_LUMEN,
        """06-01 12:00 problem lumen=red sign=pain
        06-01 13:00 drawn lumen=red""",
    ),
    "a start or finish in the very minute in which something unrecorded is planned": (
        BACK_TO_BACK,
        "06-01 10:00 started order=tesm dose=2026-06-01T09:00",
    ),
    "a flush within the handling time of a planned touch that is not recorded": (
        ONE_LUMEN,
        "06-01 08:50 flushed lumen=red",
    ),
    "a flush after the last stretch in which the lumen is idle": (
        ONE_LUMEN,
        """06-01 12:00 held
        06-01 17:00 flushed lumen=red""",
    ),
    "a flush without its lock at a finish or draw": (
        ONE_LUMEN,
        """06-01 12:00 drawn lumen=red
        06-01 12:05 flushed lumen=red fluids=saline
        06-01 19:00 not-given order=cefa dose=2026-06-01T21:00""",
    ),
    "an infusion that ends during a stay in hospital": (
        ONE_LUMEN,
        """06-01 09:00 started order=cefa dose=2026-06-01T09:00
        06-01 09:30 held
        06-01 20:00 released
        06-01 20:30 not-given order=cefa dose=2026-06-01T21:00""",
    ),
    "what is recorded after the line's removal": (
        ONE_LUMEN,
        """06-01 09:00 started order=cefa dose=2026-06-01T09:00
        06-01 09:30 line-removed
        06-01 10:00 finished order=cefa dose=2026-06-01T09:00""",
    ),
    "a finish of a dose whose leader was called off": (
        BACK_TO_BACK,
        """06-01 09:00 not-given order=cefa dose=2026-06-01T09:00
        06-01 10:30 finished order=tesm dose=2026-06-01T09:00""",
    ),
    "a flush at a touch that offers none, as in a lumen that is suspended": (
        ONE_LUMEN,
        """06-01 09:00 started order=cefa dose=2026-06-01T09:00
        06-01 09:50 problem lumen=red sign=pain
        06-01 10:00 finished order=cefa dose=2026-06-01T09:00
        06-01 10:00 flushed lumen=red""",
    ),
    "a late dose that shifts another one past the plan's end": (
        SHIFTING,
        "06-01 20:30 started order=cefa dose=2026-06-02T00:30Z",
    ),
    "what is recorded of a lumen that the plan does not use": (UNUSED, "06-01 12:00 flushed lumen=white"),
    "a dose that another one follows, put off and then recorded": (
        BACK_TO_BACK + DOSES_AT_SIX,
        """06-01 17:00 delayed order=cefa dose=2026-06-01T18:00 until=06-01T21:00
        06-01 21:05 started order=cefa dose=2026-06-01T18:00""",
    ),
    "a continuous infusion that is started once more": (
        CONTINUOUS,
        """06-01 09:00 started order=cefa dose=continuous
        06-01 13:00 started order=cefa dose=continuous again=yes""",
    ),
}
"""A plan and a few facts each, which stand in the way of one another."""


def named(lines: str) -> list[Fact]:
    """Return facts whose doses may be called by several words."""
    stripped = (line.strip() for line in lines.splitlines())
    return [
        replace(found, dose=found.dose.replace("_", " "))
        for found in (fact(line, number) for number, line in enumerate(stripped, start=1))
    ]


def judge_small(edits: str, told: Record, now: Instant) -> list[str]:
    plan = small_plan(edits)
    schedule = plain_schedule(compile_schedule(plan, told, now), now)
    values = tomllib.loads(plan_text(edits))
    return complaints(values, plain_facts(told), names_of(plan, now), now, schedule)


@pytest.mark.parametrize(("edits", "lines"), HARD.values(), ids=list(HARD))
def test_the_plans_of_the_small_histories_are_sound_without_their_facts(edits: str, lines: str) -> None:
    """It is the facts that make them hard."""
    assert lines
    assert judge_small(edits, EMPTY, at("06-02 12:00")) == []


@pytest.mark.parametrize(("edits", "lines"), HARD.values(), ids=list(HARD))
def test_small_histories_survive_the_replay(edits: str, lines: str) -> None:
    """R13-R19: also while each fact is the last one that is known."""
    facts = named(lines)
    for known in range(1, len(facts) + 1):
        assert judge_small(edits, Record(tuple(facts[:known])), at("06-02 12:00")) == []


FINISHES_OF_THE_UNKNOWN = [
    ("06-01 16:00 finished order=cefa dose=1999-01-01T00:00", [("cefa", "1999-01-01T00:00")]),
    ("06-01 16:00 stopped-early order=cefa dose=1999-01-01T00:00", [("cefa", "1999-01-01T00:00")]),
    ("06-01 16:00 finished order=nobody-ordered-this dose=1999-01-01T00:00", []),
]


@pytest.mark.parametrize(("line", "besides"), FINISHES_OF_THE_UNKNOWN)
def test_a_finish_of_an_unknown_dose_shows_a_dose_given_besides(line: str, besides: list[tuple[str, str]]) -> None:
    """R18: what may have happened is never refused; it began as long before its finish as the order runs."""
    now = at("06-01 17:00")
    plan, told = small_plan(ONE_LUMEN), Record(tuple(named(line)))
    schedule = compile_schedule(plan, told, now)
    known = compile_schedule(plan, EMPTY, now)
    before = {pair for touch in known.touches for pair in pairs(touch.starts)}
    more = [(pair, touch) for touch in schedule.touches for pair in pairs(touch.starts) if pair not in before]
    assert [(pair, touch.at, touch.outcome) for pair, touch in more] == [
        (pair, at("06-01 15:00"), Outcome.DONE) for pair in besides
    ]
    assert judge_small(ONE_LUMEN, told, now) == []


LATE_AT_NIGHT = """
[household]
quiet_hours = ["22:00-07:00"]
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.cefa]
lumen = "red"
clock_times = ["23:00"]
first_dose = "2026-06-01 23:00"
until_removal = true
duration = "60 min"
"""
LEADER_ELSEWHERE = (
    ONE_LUMEN
    + """
[lumen.white]
last_flushed = "2026-06-01 07:00"
[order.tesm]
lumen = "white"
follows = "cefa"
duration = "30 min"
"""
)


@pytest.mark.parametrize(
    ("edits", "lines"),
    [
        (
            LATE_AT_NIGHT,
            """06-01 12:00 flushed lumen=red
            06-02 02:00 not-given order=cefa dose=2026-06-01T23:00""",
        ),
        (
            ONE_LUMEN,
            """06-01 09:00 started order=cefa dose=2026-06-01T09:00
            06-01 10:00 finished order=cefa dose=2026-06-01T09:00
            06-01 10:10 flushed lumen=red
            06-02 01:00 started order=cefa dose=2026-06-01T21:00 elsewhere=yes""",
        ),
        (
            LEADER_ELSEWHERE,
            """06-01 17:00 flushed lumen=white
            06-02 06:00 not-given order=cefa dose=2026-06-01T21:00""",
        ),
    ],
    ids=["what had been placed to spare the night", "a dose given elsewhere", "a dose followed in another lumen"],
)
def test_a_flush_that_a_fact_makes_necessary_is_not_placed_before_it(edits: str, lines: str) -> None:
    """R14, R16: as ``test_no_fact_plans_anything_into_its_past``, in small."""
    plan, facts = small_plan(edits), named(lines)
    now = facts[-1].happened
    before = compile_schedule(plan, Record(tuple(facts[:-1])), now)
    after = compile_schedule(plan, Record(tuple(facts)), now)
    stood = {(touch.lumen, touch.at) for touch in before.touches}
    assert [touch.at for touch in unrecorded_before(after, now) if (touch.lumen, touch.at) not in stood] == []
