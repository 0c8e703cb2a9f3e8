"""What is left of each item, when it runs out and when to order (R21), against a table worked by hand and a recount.

The plan and its numbers are invented; clock times are Chicago's, in June 2026. Cefazolin runs from 09:00 to 10:00 each day
in a lumen that may lie idle for 12 h: a saline syringe at 09:00, at 10:00 and with the flush of 22:00, so three a day, and a
heparin syringe at 10:00 and at 22:00. The recount (:func:`recount`) shares no rule with the package: it puts pieces on a
shelf and takes them off, one happening after the other, and tries every day to order and every number of packs.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from typing import Any

import pytest
from histories import after, at, plan, record
from hypothesis import given, settings
from hypothesis import strategies as st
from small_plans import SAMPLES, findings, of_code

from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Kind, Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Action, Outcome, Schedule, Step, TouchKind
from reminders.schedule.stock import Standing, Stocked, at_clock, stock
from reminders.times import Instant

PLAN = """
[plan]
end = "2026-06-15 08:00"
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.cefazolin]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-14
duration = "60 min"
least_spacing = "8 h"
[supplies]
order_ahead = "2 days"
[stock.saline]
item = "saline syringe"
on_hand = 20
counted_at = "2026-06-01 08:00"
[stock.heparin]
item = "heparin syringe"
on_hand = 60
counted_at = "2026-06-01 08:00"
"""

WEDNESDAYS = """
[task.delivery]
kind = "delivery"
label = "Delivery of supplies"
done_by = "pharmacy"
weekdays = ["Wed"]
at = "10:00"
brings = { "saline syringe" = 14 }
"""

DRAWN = """
[protocol]
before_draw = ["saline"]
discard_volume = "5 mL"
after_draw = ["saline 20 mL"]
[supplies]
each_syringe = { "hub scrub" = 1 }
each_draw = { "empty syringe" = 1 }
[stock.scrub]
item = "hub scrub"
on_hand = 200
counted_at = "2026-06-01 08:00"
"""

COUNTED = """
06-03 13:30 stock-counted name=saline_syringe count=20
06-03 13:30 stock-counted name=hub_scrub count=40
"""

DRAWN_AT_14 = "06-03 14:00 drawn lumen=red"

LABS = """
[task.labs]
kind = "blood draw"
label = "Blood count"
done_by = "nurse"
moments = ["2026-06-03 14:00"]
lumen = "red"
uses = { "blood tube" = 2 }
"""

DRESSING = """
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "household"
every_days = 7
at = "18:00"
last_done = "2026-05-29 18:00"
uses = { "dressing kit" = 1 }
[stock.kit]
item = "dressing kit"
on_hand = 1
counted_at = "2026-06-01 08:00"
"""

FIRST_DAY = """
06-01 09:00 started order=cefazolin dose=2026-06-01T09:00
06-01 10:00 finished order=cefazolin dose=2026-06-01T09:00
06-01 10:00 flushed lumen=red
"""


@dataclass(frozen=True)
class Row:
    """One situation: the plan, what is recorded, the moment; and what is then said of one item."""

    name: str
    left: int
    runs_out: str = ""
    order_by: str = ""
    packs: int = 0
    standing: Standing = Standing.ENOUGH
    edits: str = ""
    told: str = ""
    now: str = "06-04 12:00"
    item: str = "saline"
    besides: dict[str, Any] = field(default_factory=dict)
    earlier: tuple[str, ...] = ()


ROWS = [
    # 20 last for 6 days and two of the seventh: 06-07 22:00. Two days before that is 06-05 22:00, so 06-05. To the end are
    # needed 14 x 3 = 42, so 22 more. By 06-04 12:00 three days and two syringes are used: 11.
    Row("the plan's own count", 9, "06-07 22:00", "06-05", 22, Standing.SOON, besides={"used": 11, "unrecorded": 11}),
    # the first day is recorded, but for its flush of 22:00
    Row("what was recorded and what was not", 9, "06-07 22:00", "06-05", 22, Standing.SOON, told=FIRST_DAY,
        besides={"used": 11, "unrecorded": 9}),
    # 12 came instead of 14: 32 last for ten days and two: 06-11 22:00, and ten are missing
    Row("a short delivery", 21, "06-11 22:00", "06-09", 10, edits=WEDNESDAYS, besides={"delivered": 12},
        told="06-03 10:30 delivered name=saline_syringe count=12"),
    # nine were reckoned; 6 last for two days more from 06-04 12:00: 22:00 and five on 06-05 and 06-06 09:00, 10:00, so 22:00
    Row("counted fewer than reckoned", 6, "06-06 22:00", "06-04", 25, Standing.TODAY,
        told="06-04 12:00 stock-counted name=saline_syringe count=6", besides={"counted": 6, "used": 0}),
    Row("counted more than reckoned", 15, "06-09 22:00", "06-07", 16, Standing.SOON,
        told="06-04 12:00 stock-counted name=saline_syringe count=15"),
    # planned for Wednesday 06-03 and not recorded: nothing of it counts, and the next one is a week later
    Row("a delivery that nobody reported", 9, "06-07 22:00", "06-05", 8, Standing.SOON, edits=WEDNESDAYS,
        besides={"awaited": "06-03 10:00", "delivery": "06-10 10:00", "delivered": 0}),
    # the same, come two days late: 14 more last for four days and two more
    Row("a delivery two days late", 20, "06-12 10:00", "06-10", 8, edits=WEDNESDAYS, now="06-05 12:00",
        told="06-05 11:00 delivered name=saline_syringe count=14", besides={"awaited": None, "delivery": "06-10 10:00"}),
    # from the 1st at 09:00 to the 10th at 09:00 are 28: the delivery of the 3rd would have to bring the 18 that are not there
    Row("a delivery that does not reach the next one", 5, "06-04 10:00", "06-02", 18, Standing.TODAY, edits=f"{WEDNESDAYS}[stock.saline]\non_hand = 10",
        now="06-02 12:00", besides={"delivery": "06-03 10:00", "falls_short": (18, "06-10 10:00")}),
    Row("a delivery that reaches the next one", 9, "06-05 22:00", "06-03", 14, Standing.SOON, edits=f"{WEDNESDAYS}[stock.saline]\non_hand = 14",
        now="06-02 12:00", besides={"delivery": "06-03 10:00", "falls_short": None}),
    # that a delivery was done says nothing of what it brought
    Row("a delivery done, and nothing said of what came", 9, "06-07 22:00", "06-05", 8, Standing.SOON, edits=WEDNESDAYS,
        told="06-03 10:30 task-done name=delivery", besides={"awaited": "06-03 10:00", "delivered": 0}),
    # 06-05 is a Friday. With 2 on the shelf less it runs out on 06-07 09:00: two days before, at 10:00, is 06-04.
    Row("the time of day of the reminder decides", 7, "06-07 09:00", "06-04", 24, Standing.TODAY,
        edits="[stock.saline]\non_hand = 18"),
    # on Saturday or Sunday nobody takes orders: 06-07 10:00 less one day is Saturday 06-06, so Friday 06-05
    Row("no orders at the weekend", 8, "06-07 10:00", "06-05", 23, Standing.SOON,
        edits='[stock.saline]\non_hand = 19\norder_ahead = "1 day"\n[supplies]\norder_days = ["Mon", "Tue", "Wed", "Thu", "Fri"]'),
    Row("orders on Mondays only", 9, "06-07 22:00", "06-01", 22, Standing.LATE, edits='[supplies]\norder_days = ["Mon"]'),
    # heparin stopped on 06-02 08:00: two were used on 06-01, none is needed any more
    Row("heparin stopped everywhere", 58, told="06-02 08:00 heparin-stopped", item="heparin", edits="[stock.heparin]\non_hand = 60",
        besides={"used": 2}),
    Row("heparin, if it is not stopped", 0, "06-04 22:00", "06-02", 21, Standing.LACKING, item="heparin",
        edits="[stock.heparin]\non_hand = 7"),
    # 50 last for the first plan's 42; a week more needs 63
    Row("enough to the end", 39, edits="[stock.saline]\non_hand = 50"),
    Row("the course is extended by a week", 39, "06-17 22:00", "06-15", 13,
        edits="""
        [stock.saline]
        on_hand = 50
        [plan]
        revision = 2
        takes_effect = "2026-06-04 08:00"
        end = "2026-06-22 08:00"
        [order.cefazolin]
        last_day = 2026-06-21
        """,
        earlier=("[stock.saline]\non_hand = 50",)),
    # the dose of 09:00 lies in them; nobody orders in the night, so nothing else is the matter
    Row("it runs out in the quiet hours", 7, "06-07 09:00", "06-04", 24, Standing.TODAY,
        edits='[household]\nquiet_hours = ["08:00-09:30"]\n[stock.saline]\non_hand = 18'),
    # 4 are not touched: 16 last for five days and one
    Row("some are kept back", 9, "06-06 10:00", "06-04", 26, Standing.TODAY, edits="[stock.saline]\nkept_back = 4"),
    Row("only what is kept back is left", 3, "06-06 10:00", "06-04", 26, Standing.LATE, edits="[stock.saline]\nkept_back = 4",
        now="06-06 12:00"),
    # 22 in packs of ten are three packs; until the delivery of 06-10 10:00 are needed 28 (six days of three, then 09:00 ... )
    Row("whole packs to the end", 9, "06-07 22:00", "06-05", 3, Standing.SOON, edits="[stock.saline]\ncomes_in = 10"),
    Row("whole packs to the next delivery", 9, "06-07 22:00", "06-05", 1, Standing.SOON,
        edits=f"{WEDNESDAYS}[stock.saline]\ncomes_in = 10", besides={"reach": "06-10 10:00"}),
    Row("a count that was taken back", 9, "06-07 22:00", "06-05", 22, Standing.SOON,
        told="06-04 11:00 stock-counted key=wrong name=saline_syringe count=90\n06-04 11:05 withdrawn withdraws=wrong"),
    Row("a delivery that was taken back", 9, "06-07 22:00", "06-05", 22, Standing.SOON,
        told="06-04 11:00 delivered key=wrong name=saline_syringe count=90\n06-04 11:05 withdrawn withdraws=wrong"),
    Row("a count stands for the deliveries before it", 10, "06-07 22:00", "06-05", 22, Standing.SOON, now="06-04 09:30",
        told="06-04 09:00 delivered name=saline_syringe count=90\n06-04 09:01 stock-counted name=saline_syringe count=10",
        besides={"delivered": 0}),
    # counted first, then delivered, then used: 15 last for five days with this one; the dose of 06-09 09:00 is not covered
    Row("count, delivery and use in one minute", 14, "06-09 09:00", "06-06", 18, Standing.SOON, now="06-04 09:30",
        told="06-04 09:00 delivered name=saline_syringe count=5\n06-04 09:00 stock-counted name=saline_syringe count=10"),
    Row("of two counts in one minute the one entered last", 12, "06-08 22:00", "06-06", 19, Standing.SOON,
        told="06-04 12:00 stock-counted key=a entered=06-04T12:00 name=saline_syringe count=90\n"
        "06-04 12:00 stock-counted key=b entered=06-04T12:01 name=saline_syringe count=12", now="06-04 12:05"),
    # three last for the first day; two days before 06-02 09:00, at 10:00, is 05-30
    Row("used more than there can have been", -2, "06-02 09:00", "05-30", 39, Standing.COUNT, edits="[stock.saline]\non_hand = 3",
        now="06-02 12:00"),
    # without idle flushes two a day; the dose of 06-05 is left out, so nine last from 06-06 on for four days and one
    Row("what is left out needs nothing", 9, "06-10 10:00", "06-08", 9,
        told="06-04 11:00 skipped order=cefazolin dose=2026-06-05T09:00",
        edits='[lumen.red]\nidle_limit = "7 days"\n[stock.saline]\non_hand = 17', besides={"used": 8}),
    Row("in hospital nothing is needed", 9, told="06-04 11:30 held"),
    Row("after the line's removal nothing is needed", 9, told="06-04 11:30 line-removed"),
    # grey lies idle and is flushed at 20:00 and 08:00: four on the first day, then five a day, 69 in all
    Row("two lumens share an item", 3, "06-05 09:00", "06-02", 49, Standing.LATE,
        edits='[lumen.grey]\nlast_flushed = "2026-06-01 08:00"\n[protocol]\nsaved_session_worth = 0',
        besides={"used": 17}),
    # the kit is used on 06-05 18:00; the next one is needed on 06-12 18:00
    Row("an item that only a care task uses", 1, "06-12 18:00", "06-10", 1, edits=DRESSING, item="kit"),
    Row("done early, it is used then", 0, "06-11 18:00", "06-09", 1, edits=DRESSING, item="kit", now="06-04 12:00",
        told="06-04 11:00 task-done name=dressing"),
    Row("a week before it is needed nothing lacks", 0, "06-12 18:00", "06-10", 1, Standing.ENOUGH, edits=DRESSING, item="kit",
        now="06-06 12:00"),
    Row("once an order comes too late it lacks", 0, "06-12 18:00", "06-10", 1, Standing.LACKING, edits=DRESSING, item="kit",
        now="06-10 19:00"),
    # before it one of 10 mL and after it two, then the heparin that locks it: three, and four to scrub. The next flush is that
    # of 02:00, then there are three a day: of 17 are left on 06-09 at 09:00 none. To the end are needed 1 + 11 x 3.
    *(
        Row(name, 17, "06-09 10:00", "06-07", 17, edits=DRAWN + more, now="06-03 15:00", told=f"{COUNTED}{lines}",
            besides={"used": 3, **besides})
        for name, more, lines, besides in (
            ("a planned draw that nobody recorded", LABS, "", {"unrecorded": 3}),
            ("a planned draw that was recorded", LABS, f"{DRAWN_AT_14}\n06-03 14:00 flushed lumen=red", {"unrecorded": 0}),
            ("a draw that nobody planned", "", f"{DRAWN_AT_14}\n06-03 14:00 flushed lumen=red", {"unrecorded": 0}),
            ("a draw of which nobody has said that it was flushed", LABS, DRAWN_AT_14, {}),
        )
    ),
    Row("a hub is scrubbed for each syringe of a draw", 36, "06-10 22:00", "06-08", 21, edits=DRAWN + LABS, now="06-03 15:00", item="scrub",
        told=f"{COUNTED}{DRAWN_AT_14}\n06-03 14:00 flushed lumen=red", besides={"used": 4}),
    Row("what is written otherwise is the same item", 21, "06-11 22:00", "06-09", 10,
        told="06-03 10:30 delivered name=Saline__SYRINGE count=12"),
    Row("what happens later counts for nothing yet", 9, "06-07 22:00", "06-05", 22, Standing.SOON,
        told="06-04 13:00 delivered name=saline_syringe count=40"),
]  # fmt: skip


def found(row: Row) -> tuple[Schedule, Record, Stocked]:
    """Reckon one situation."""
    schedule = after(f"{PLAN}{row.edits}", row.told, row.now, [f"{PLAN}{edits}" for edits in row.earlier])
    told = record(row.told)
    return schedule, told, next(entry for entry in stock(schedule, told, at(row.now)) if entry.entry.name == row.item)


def local(schedule: Schedule, instant: Instant | None) -> str:
    return "" if instant is None else f"{schedule.plan.clock.local(instant):%m-%d %H:%M}"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_a_situation(row: Row) -> None:
    schedule, _told, entry = found(row)
    shown = (
        entry.left,
        local(schedule, entry.runs_out),
        "" if entry.order_by is None else f"{entry.order_by:%m-%d}",
        entry.packs,
        entry.standing(schedule.plan, at(row.now)),
    )
    assert shown == (row.left, row.runs_out, row.order_by, row.packs, row.standing)
    for name, expected in row.besides.items():
        value = getattr(entry, name)
        if name in ("awaited", "delivery"):
            value = None if value is None else local(schedule, value.planned)
        elif name == "reach":
            value = local(schedule, value)
        elif name == "falls_short" and value is not None:
            value = (value[0], local(schedule, value[1]))
        assert value == expected, name


def test_there_are_many_situations() -> None:
    assert len(ROWS) >= 15
    assert len({row.name for row in ROWS}) == len(ROWS)


# --- The recount ---


def pieces_of(step: Step, plan: Any, item: str) -> int:
    """Return how many of an item one step takes, by the plan's tables."""
    number = 0
    if step.action in (Action.FLUSH, Action.LOCK):
        fluid = plan.fluids[step.what]
        volume = Fraction(fluid.volume.amount if step.volume is None else step.volume.amount)
        syringes = 0
        while volume > 0:
            volume -= fluid.syringe_holds.amount
            syringes += 1
        number += syringes * (fluid.syringe == item) + syringes * plan.supplies.each_syringe.get(item, 0)
    if step.action in (Action.CONNECT, Action.CHANGE_BAG, Action.PUSH):
        number += plan.supplies.each_connection.get(item, 0)
    if step.action is Action.CHANGE_BAG:
        number += plan.orders[step.what].each_bag.get(item, 0)
    if step.action is Action.WITHDRAW:
        number += plan.supplies.each_withdrawal.get(item, 0)
    if step.action is Action.EXTRA:
        number += plan.extra_steps[step.what].consumes.get(item, 0)
    return number


def needs(schedule: Schedule, item: str) -> list[tuple[Instant, int, bool]]:
    """Return when how many of an item are needed, and whether that is recorded as done."""
    listed = []
    for touch in schedule.touches:
        if touch.steps:
            number = sum(pieces_of(step, touch.plan, item) for step in (*touch.done_first, *touch.steps))
            number += touch.plan.supplies.each_touch.get(item, 0)
            number += sum(touch.plan.orders[dose.order].each_dose.get(item, 0) for dose in touch.starts)
            number += sum(touch.plan.tasks[name].uses.get(item, 0) for name in touch.tasks)
            if touch.kind is TouchKind.DRAW or touch.tasks:
                number += touch.plan.supplies.each_draw.get(item, 0)
            listed.append((touch.at, number, touch.outcome is Outcome.DONE))
    for event in schedule.tasks:
        if event.outcome in (None, Outcome.DONE):
            uses = event.plan.tasks[event.task].uses
            listed += [(event.at, uses.get(item, 0), event.outcome is Outcome.DONE)]
    return sorted((need for need in listed if need[1]), key=lambda need: need[0])


@dataclass
class Recount:
    left: int
    unrecorded: int
    runs_out: Instant | None
    order_by: date | None
    packs: int


def recount(schedule: Schedule, told: Iterable[Fact], entry: Stocked, now: Instant) -> Recount:
    """Put pieces on a shelf and take them off; ``entry`` says only which item, and what the plan says of it."""
    item, plan = entry.item, schedule.plan
    facts = [f for f in told if f.happened <= now and "".join(f.name.lower().split()) == "".join(item.lower().split())]
    happenings: list[tuple[Instant, int, int, str]] = [
        (entry.entry.counted_at.instant, 0, entry.entry.on_hand, "count")
    ]
    happenings += [(f.happened, 0, f.count or 0, "count") for f in facts if f.kind is Kind.STOCK_COUNTED]
    happenings += [(f.happened, 1, f.count or 0, "came") for f in facts if f.kind is Kind.DELIVERED]
    wanted = needs(schedule, item)
    happenings += [
        (when, 2, number, "done" if done else "perhaps")
        for when, number, done in wanted
        if when < now or (when == now and done)
    ]
    shelf = unrecorded = 0
    for _when, _order, number, what in sorted(happenings, key=lambda happening: happening[:2]):
        if what == "count":
            shelf, unrecorded = number, 0
        elif what == "came":
            shelf += number
        else:
            shelf -= number
            unrecorded += number * (what == "perhaps")
    ahead = [(when, number) for when, number, done in wanted if when > now or (when == now and not done)]
    runs_out = _first_not_covered(shelf - entry.entry.kept_back, ahead)
    if runs_out is None:
        return Recount(shelf, unrecorded, None, None, 0)
    coming = [event.planned for event in schedule.tasks if event.outcome is None and item in event.care.brings]
    target = min([*(when for when in coming if when > runs_out), Instant(schedule.end + 1)])
    packs = 0
    while _first_not_covered(
        shelf - entry.entry.kept_back + packs * entry.entry.comes_in, [need for need in ahead if need[0] < target]
    ):
        packs += 1
    return Recount(shelf, unrecorded, runs_out, _last_day(runs_out, entry, plan), packs)


def _first_not_covered(shelf: int, ahead: Iterable[tuple[Instant, int]]) -> Instant | None:
    for when, number in ahead:
        shelf -= number
        if shelf < 0:
            return when
    return None


def _last_day(runs_out: Instant, entry: Stocked, plan: Any) -> date:
    """Try every day: the last one on which an order, at the time of reminding, comes in time."""
    lead = plan.supplies.order_ahead if entry.entry.order_ahead is None else entry.entry.order_ahead
    zone = plan.course.zone
    out = datetime.fromtimestamp(runs_out * 60, zone)
    fitting = []
    for back in range(-1, 120):
        day = out.date() - timedelta(days=back)
        told = datetime.combine(day, plan.supplies.remind_at, zone)
        open_ = plan.supplies.order_days is None or day.weekday() in plan.supplies.order_days
        if open_ and told.timestamp() + lead * 60 <= out.timestamp():
            fitting.append(day)
    return max(fitting)


def agrees(schedule: Schedule, told: Record, now: Instant) -> None:
    for entry in stock(schedule, told, now):
        by_hand = recount(schedule, told.of_kind(Kind.STOCK_COUNTED, Kind.DELIVERED), entry, now)
        assert (entry.left, entry.unrecorded) == (by_hand.left, by_hand.unrecorded)
        if entry.runs_out is None or entry.runs_out >= now:
            assert entry.runs_out == by_hand.runs_out
            assert (entry.order_by, entry.packs) == (by_hand.order_by, by_hand.packs)
        else:  # it ran out before: then nothing ahead is covered either
            assert by_hand.runs_out is not None


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_a_recount_comes_to_the_same(row: Row) -> None:
    schedule, told, _entry = found(row)
    agrees(schedule, told, at(row.now))


FULL = f"""{PLAN}{WEDNESDAYS}{DRESSING}
[household]
quiet_hours = ["22:30-06:30"]
[lumen.grey]
last_flushed = "2026-06-01 07:30"
[supplies]
each_touch = {{ "pair of gloves" = 1 }}
each_syringe = {{ "hub scrub" = 1 }}
each_connection = {{ "hub scrub" = 1 }}
order_days = ["Mon", "Tue", "Thu"]
[stock.scrub]
item = "hub scrub"
on_hand = 30
counted_at = "2026-06-01 08:00"
kept_back = 3
comes_in = 25
[stock.gloves]
item = "pair of gloves"
on_hand = 30
counted_at = "2026-06-01 08:00"
order_ahead = "30 h"
"""

ITEMS = ("saline_syringe", "heparin_syringe", "hub_scrub", "dressing_kit")


@st.composite
def happenings(draw: st.DrawFn) -> tuple[str, str]:
    """Draw what a household may report of supplies within two weeks, and a moment."""
    lines = []
    for number in range(draw(st.integers(0, 5))):
        when = f"06-{draw(st.integers(1, 14)):02} {draw(st.integers(8, 23)):02}:{draw(st.sampled_from(['00', '30']))}"
        kind = draw(st.sampled_from(["delivered", "stock-counted"]))
        lines.append(
            f"{when} {kind} key=f{number} name={draw(st.sampled_from(ITEMS))} count={draw(st.integers(0, 60))}"
        )
    return "\n".join(
        lines
    ), f"06-{draw(st.integers(1, 14)):02} {draw(st.integers(8, 23)):02}:{draw(st.sampled_from(['00', '15']))}"


WHOLE = after(FULL, "")


@settings(max_examples=150)
@given(happenings())
def test_a_recount_comes_to_the_same_whatever_is_reported(told: tuple[str, str]) -> None:
    """Supplies change nothing in the schedule, so it is compiled once; two counts in one minute are left to the table."""
    facts = record(told[0])
    minutes = [(f.name, f.happened) for f in facts.of_kind(Kind.STOCK_COUNTED)]
    if len(set(minutes)) == len(minutes):
        agrees(WHOLE, facts, at(told[1]))


AUTUMN = (
    PLAN.replace("2026-06-15", "2026-11-08").replace("2026-06-14", "2026-11-07").replace("2026-06-01", "2026-10-26")
    + """
    [plan]
    start = "2026-10-26 08:00"
    takes_effect = "2026-10-26 08:00"
    [line]
    placed_on = 2026-10-20
    """
)
"""The same from 26 October 2026 on; the clocks go back on 1 November, and 25 hours lie between two doses at 09:00."""


@pytest.mark.parametrize(
    ("edits", "runs_out", "order_by"),
    [
        # 19 and 20 are the dose and the finish of 1 November, the flush 12 h after 10:00 CST stands at 22:00 CST. 48 h
        # before that it is 23:00 CDT on Friday.
        ("", "11-01 22:00", "2026-10-30"),
        # 24 h before 09:00 CST it is 10:00 CDT, which is just the time of the reminder: by the clock alone it would be 09:00.
        ('[stock.saline]\non_hand = 18\norder_ahead = "24 h"', "11-01 09:00", "2026-10-31"),
        ('[stock.saline]\non_hand = 18\norder_ahead = "24 h 1 min"', "11-01 09:00", "2026-10-30"),
    ],
)
def test_what_is_ordered_ahead_is_elapsed_time_over_the_clock_change(edits: str, runs_out: str, order_by: str) -> None:
    schedule = after(f"{AUTUMN}{edits}", "")
    now = at("10-26 08:00")
    agrees(schedule, EMPTY, now)
    saline = stock(schedule, EMPTY, now)[0]
    assert (local(schedule, saline.runs_out), f"{saline.order_by}") == (runs_out, order_by)
    assert local(schedule, saline.order_at) == f"{order_by[5:]} 10:00"


def test_a_plan_that_goes_on_is_reckoned_as_far_as_it_looks() -> None:
    """Ten days ahead: 40 last for 13 days and one, which lies beyond that at first and not four days later."""
    rolling = PLAN.replace('end = "2026-06-15 08:00"', 'without end\nopen_ended = "10 days"')
    edits = rolling.replace("last_day = 2026-06-14", "until_removal = true") + "[stock.saline]\non_hand = 40"
    first, later = at("06-01 08:00"), at("06-05 08:00")
    assert stock(after(edits, "", "06-01 08:00"), EMPTY, first)[0].runs_out is None
    schedule = after(edits, "", "06-05 08:00")
    agrees(schedule, EMPTY, later)
    assert local(schedule, stock(schedule, EMPTY, later)[0].runs_out) == "06-14 10:00"


def test_a_revision_that_counts_anew_stands_for_what_was_before() -> None:
    second = f"""{PLAN}
    [plan]
    revision = 2
    takes_effect = "2026-06-04 08:00"
    [stock.saline]
    on_hand = 50
    counted_at = "2026-06-04 08:00"
    """
    told = "06-03 08:00 stock-counted name=saline_syringe count=1"
    schedule = after(second, told, "06-04 12:00", [PLAN])
    entry = stock(schedule, record(told), at("06-04 12:00"))[0]
    assert (entry.counted, entry.count, entry.left) == (50, None, 48)
    before = stock(schedule, record(told), at("06-03 12:00"))[0]
    assert (before.counted, before.left) == (1, -1)


def test_a_plan_without_stock_has_none() -> None:
    schedule = after(PLAN[: PLAN.index("[supplies]")], "")
    assert stock(schedule, EMPTY, schedule.start) == ()


def test_the_draw_and_what_belongs_to_it_are_taken_off() -> None:
    """Blood is drawn through grey on 06-03 11:00: its tube, a syringe for it, the saline after it."""
    edits = f"""{PLAN}
    [lumen.grey]
    last_flushed = "2026-06-01 08:00"
    idle_limit = "7 days"
    [protocol]
    before_draw = []
    after_draw = ["saline 20 mL"]
    [task.draw]
    kind = "blood draw"
    label = "Blood count"
    done_by = "household"
    lumen = "grey"
    moments = ["2026-06-03 11:00"]
    on_time_within = "1 h"
    uses = {{ "blood tube" = 2 }}
    [supplies]
    each_draw = {{ "syringe for drawing" = 1 }}
    [stock.tube]
    item = "blood tube"
    on_hand = 2
    counted_at = "2026-06-01 08:00"
    [stock.drawing]
    item = "syringe for drawing"
    on_hand = 5
    counted_at = "2026-06-01 08:00"
    """
    schedule = after(edits, "", "06-04 12:00")
    agrees(schedule, EMPTY, at("06-04 12:00"))
    left = {entry.entry.name: entry.left for entry in stock(schedule, EMPTY, at("06-04 12:00"))}
    assert (left["tube"], left["drawing"], left["saline"]) == (0, 4, 20 - 11 - 2)


def test_the_three_lumens_are_recounted() -> None:
    """The sample with stock added to it, for its first weeks."""
    text = (
        (SAMPLES / "three-lumens.toml")
        .read_text(encoding="utf-8")
        .replace("[supplies]", '[supplies]\norder_ahead = "72 h"\norder_days = ["Mon", "Wed", "Fri"]')
    )
    for name, item, number in (
        ("saline", "saline syringe 10 mL", 300), ("lock", "heparin syringe 3 mL", 90), ("hub", "hub scrub", 500),
        ("bag", "nutrition bag 2000 mL", 14), ("set", "administration set", 42), ("gloves", "pair of gloves", 200),
    ):  # fmt: skip
        text += (
            f'\n[stock.{name}]\nitem = "{item}"\non_hand = {number}\ncounted_at = "2026-10-12 08:00"\ncomes_in = 30\n'
        )
    read = read_plan("three-lumens.toml", text.encode())
    assert read.plan is not None, read.findings
    schedule = compile_schedule(read.plan, EMPTY, read.plan.course.start.instant)
    for days in (0, 5, 20):
        agrees(schedule, EMPTY, Instant(schedule.start + days * 1440))
    bags = next(entry for entry in stock(schedule, EMPTY, schedule.start) if entry.entry.name == "bag")
    assert local(schedule, bags.runs_out) == "10-26 20:00"  # the fifteenth evening


def test_what_is_needed_twice_at_one_instant_is_needed_together() -> None:
    """A flush of 25 mL takes three syringes at once: with two left it runs out there, not between them."""
    edits = f'{PLAN}[protocol]\nafter = ["saline 25 mL"]\n[stock.saline]\non_hand = 3'
    schedule = after(edits, "")
    saline = stock(schedule, EMPTY, at("06-01 08:00"))[0]
    assert local(schedule, saline.runs_out) == "06-01 10:00"
    assert saline.packs == 14 * 5 - 3


def test_the_moment_of_the_reminder_is_on_the_households_clock() -> None:
    schedule = after(f"{PLAN}[supplies]\nremind_at = '18:30'", "")
    saline = stock(schedule, EMPTY, at("06-01 08:00"))[0]
    assert saline.order_at is not None
    assert schedule.plan.clock.local(saline.order_at).time() == time(18, 30)
    assert plan(PLAN).supplies.remind_at == time(10)
    # On the day of a journey over it, it is not before they leave, on a clock that they do not have yet.
    abroad = plan(PLAN + '[[zone_change]]\nat = "2026-06-05 08:00"\nzone = "Europe/Dublin"\n')
    assert at_clock(abroad, date(2026, 6, 5), time(10)) == at("06-05 10:00")


# --- What a plan says of stock that cannot be meant ---


def test_an_item_that_nothing_uses_is_told_with_the_nearest_spelling() -> None:
    (finding,) = of_code(f'{PLAN}[stock.saline]\nitem = "salien syringe"', "stock-unused")
    assert 'did you mean "saline syringe"?' in finding.message
    (far,) = of_code(f'{PLAN}[stock.saline]\nitem = "walking stick"', "stock-unused")
    assert "did you mean" not in far.message
    assert not of_code(f'{PLAN}[stock.saline]\nitem = "Saline  syringe"', "stock-unused")


def test_every_item_with_its_own_order_ahead_needs_no_other() -> None:
    own = PLAN.replace('order_ahead = "2 days"', "").replace("on_hand =", 'order_ahead = "3 days"\non_hand =')
    assert not of_code(own, "missing")
    assert of_code(PLAN.replace('order_ahead = "2 days"', ""), "missing")


@pytest.mark.parametrize(
    ("counted_at", "code"),
    [
        ("2026-05-30 23:59", "stock-count-early"),
        ("2026-05-31 00:00", ""),
        ("2026-06-01 23:59", ""),
        ("2026-06-02 00:00", "dates-reversed"),
    ],
)
def test_a_count_is_of_the_day_on_which_the_plan_starts_or_of_the_day_before(counted_at: str, code: str) -> None:
    told = [finding.code for finding in findings(f'{PLAN}[stock.saline]\ncounted_at = "{counted_at}"')]
    assert told == ([code] if code else [])


def test_a_count_that_the_clocks_repeat_is_a_note() -> None:
    assert of_code(
        f'{AUTUMN}[plan]\nrevision = 2\ntakes_effect = "2026-11-01 08:00"\n[stock.saline]\ncounted_at = "2026-11-01 01:30"',
        "clock-repeated",
    )


def test_the_sample_with_weekly_deliveries_is_recounted() -> None:
    """Nine bags on Monday 7 September, one each day at 09:00: the tenth is needed on the 16th; three days before it lies
    a Sunday, 13 September, and orders are taken on weekdays, so Friday the 11th."""
    path = SAMPLES / "weekly-delivery.toml"
    read = read_plan(path.name, path.read_bytes())
    assert read.plan is not None, read.findings
    schedule = compile_schedule(read.plan, EMPTY, read.plan.course.start.instant)
    for days in (0, 1, 6, 9, 30):
        agrees(schedule, EMPTY, Instant(schedule.start + days * 1440))
    entries = {entry.entry.name: entry for entry in stock(schedule, EMPTY, schedule.start)}
    bag = entries["bag"]
    assert (local(schedule, bag.runs_out), f"{bag.order_by}", bag.packs) == ("09-16 09:00", "2026-09-11", 6 + 1)
    # two with the draw of each Monday, on 12 October on Tuesday: four are gone with the second draw
    assert local(schedule, entries["connector"].runs_out) == "09-21 08:00"
    assert entries["gloves"].runs_out is None
