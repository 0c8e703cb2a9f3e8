"""The drawn timeline of a day and a week: all of the day's touches, each once and in its place, readable without colour.

Expected places are worked out from the zone's midnights and elapsed minutes, not from the code that draws.
"""

import re
from collections import Counter
from datetime import date, timedelta
from itertools import combinations, pairwise
from xml.etree.ElementTree import Element, tostring

import pytest
from histories import at
from history_strategies import History, histories
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from readers.samples import SAMPLE_PLANS, Sample, daily, listed, plan_of, sample
from simulation import Values
from small_plans import z
from test_care_made_up import cared_for
from timeline_days import DAYS, PLAN, Told
from timeline_reading import NS, Drawing, NoMidnightError, Sign, boxes_of, contrast, day_span

from reminders.plan.model import Plan
from reminders.record.facts import Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule, Status, TaskEvent, Touch, TouchKind
from reminders.schedule.status import status, task_status
from reminders.times import Instant
from reminders.views.timeline import SHEET, day_timeline, week_timeline
from reminders.views.timeline_care import AnyLane, care_lane
from reminders.views.timeline_lanes import Closed, Fill, Look, lane
from reminders.views.timeline_legend import KIND_WORDS
from reminders.views.timeline_shapes import (
    ALERT,
    FACT,
    INK,
    NIGHT,
    NIGHT_LINE,
    PAPER,
    SOFT,
    closed_sign,
    length,
    mark,
    spread,
    wrapped,
)
from reminders.words import clock_words, lumen_words

NEAR = 1.0
"""How far from its place a sign may stand: a pixel at the intended width."""


def told(name: str) -> Told:
    """Return one of the days by name."""
    return next(day for day in DAYS if day.name == name)


def drawn(day: Told) -> Drawing:
    """Draw one of the days."""
    return Drawing(day_timeline(day.schedule(), day.date, day.moment))


def place(drawing: Drawing, schedule: Schedule, day: date, at: Instant) -> float:
    """Return at which height an instant of a day is to stand: by elapsed minutes between the first and the last hour."""
    begin, end = day_span(schedule, day)
    hours = drawing.lines("hour")
    return min(hours) + (at - begin) / (end - begin) * (max(hours) - min(hours))


def of_day(schedule: Schedule, day: date) -> list[Touch | TaskEvent]:
    """Return the events of a day as they are drawn: lumen by lumen, then the care tasks, in order of time."""
    begin, end = day_span(schedule, day)
    names = list(schedule.plan.lumens)
    found = [touch for touch in schedule.touches if begin <= touch.at < end]
    tasks = [event for event in schedule.tasks if begin <= event.at < end]
    return [*sorted(found, key=lambda touch: names.index(touch.lumen)), *tasks]


def beginning(schedule: Schedule, event: Touch | TaskEvent) -> str:
    """Return how the words of an event's sign begin."""
    where = lumen_words(event.plan, event.lumen) if isinstance(event, Touch) else "care task"
    return f"{clock_words(schedule.plan.clock.local(event.at))}, {where}: "


def check_day(schedule: Schedule, day: date, now: Instant) -> Drawing:
    """Check that a day shows each of its touches once, in its place and with its time."""
    drawing = Drawing(day_timeline(schedule, day, now))
    signs, touches = drawing.of("touch"), of_day(schedule, day)
    assert len(signs) == len(touches)
    for sign, touch in zip(signs, touches, strict=True):
        assert sign.words.startswith(beginning(schedule, touch))
        assert sign.y == pytest.approx(place(drawing, schedule, day, touch.at), abs=NEAR)
        assert sign.texts[0].startswith(f"{schedule.plan.clock.local(touch.at):%H:%M}")
    return drawing


# Everything that is planned, once and in its place


def test_each_touch_of_a_day_is_drawn_once_in_its_place(sample: Sample) -> None:
    schedule = sample.schedule
    first = schedule.plan.clock.local(schedule.start).date()
    last = schedule.plan.clock.local(schedule.end).date()
    days = {first, first + timedelta(days=1), first + timedelta(days=20), last}
    shown = [len(check_day(schedule, day, sample.now).of("touch")) for day in sorted(days)]
    assert sum(shown) > 0


def test_each_touch_of_a_week_is_drawn_once_in_its_place(sample: Sample) -> None:
    schedule = sample.schedule
    first = schedule.plan.clock.local(schedule.start).date()
    drawing = Drawing(week_timeline(schedule, first, sample.now))
    signs = drawing.of("touch")
    days = [first + timedelta(days=number) for number in range(7)]
    touches = [(day, touch) for day in days for touch in of_day(schedule, day)]
    assert len(signs) == len(touches) > 0
    top = min(drawing.lines("hour"))
    minute = {
        round((sign.y - top) / (touch.at - day_span(schedule, day)[0]), 4)
        for sign, (day, touch) in zip(signs, touches, strict=True)
        if touch.at - day_span(schedule, day)[0] > 300
    }
    assert max(minute) - min(minute) < NEAR / 300
    for sign, (_day, touch) in zip(signs, touches, strict=True):
        assert sign.words.startswith(beginning(schedule, touch))


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_each_touch_of_a_recorded_day_is_drawn_once_in_its_place(day: Told) -> None:
    drawing = check_day(day.schedule(), day.date, day.moment)
    assert drawing.of("touch")


@given(histories())
@settings(max_examples=25)
def test_each_touch_of_any_history_is_drawn_once_in_its_place(history: History) -> None:
    schedule = compile_schedule(history.plan, history.record, history.now)
    for day in {history.plan.clock.local(when).date() for when in (history.now, Instant(history.now - 24 * 60))}:
        assert Drawing(week_timeline(schedule, day, history.now)).of("legend")
        try:
            touches = of_day(schedule, day)
        except NoMidnightError:  # a journey over a midnight: the day is drawn all the same
            assert Drawing(day_timeline(schedule, day, history.now)).of("legend")
            continue
        drawing = check_day(schedule, day, history.now)
        for sign, touch in zip(drawing.of("touch"), touches, strict=True):
            assert touch.outcome is not None or FACT not in sign.colours


# Days of 23, 24.5 and 25 hours, and journeys

CHANGES = [
    ("America/Chicago", "2026-11-01", 25 * 60, ["00:00 CDT", "01:00 CDT", "01:00 CST", "02:00 CST"]),
    ("America/Chicago", "2027-03-14", 23 * 60, ["00:00 CST", "01:00 CST", "03:00 CDT", "04:00 CDT"]),
    ("Europe/Dublin", "2026-10-25", 25 * 60, ["00:00 IST", "01:00 IST", "01:00 GMT", "02:00 GMT"]),
    ("Europe/Dublin", "2027-03-28", 23 * 60, ["00:00 GMT", "02:00 IST", "03:00 IST", "04:00 IST"]),
    ("Australia/Lord_Howe", "2027-04-04", 24 * 60 + 30, ["00:00 UTC+11:00", "01:00 UTC+11:00", "02:00 UTC+10:30", "03:00 UTC+10:30"]),
    ("Australia/Lord_Howe", "2026-10-04", 23 * 60 + 30, ["00:00 UTC+10:30", "01:00 UTC+10:30", "03:00 UTC+11:00", "04:00 UTC+11:00"]),
]  # fmt: skip


@pytest.mark.parametrize(("zone", "on", "minutes", "hours"), CHANGES)
def test_a_day_on_which_the_clocks_change(zone: str, on: str, minutes: int, hours: list[str]) -> None:
    day = date.fromisoformat(on)
    before = day - timedelta(days=1)
    orders = listed(f"{before} 22:00", f"{on} 00:30", f"{on} 03:45", f"{on} 12:00")
    schedule = plan_of(orders, start=f"{before} 08:00", end=f"{day + timedelta(days=2)} 08:00", zone=zone).schedule
    begin, end = day_span(schedule, day)
    assert end - begin == minutes
    drawing = check_day(schedule, day, schedule.start)
    assert len(drawing.of("touch")) >= 6
    texts = drawing.texts()
    beside = [f"{clock} {letters}" for clock, letters in pairwise(texts) if re.fullmatch(r"\d\d:00", clock)]
    assert beside[:4] == hours
    lines = sorted(drawing.lines("hour"))
    apart = [60, 90 if zone == "Australia/Lord_Howe" else 60, 60]
    scale = (lines[-1] - lines[0]) / minutes
    assert [two - one for one, two in pairwise(lines[:4])] == pytest.approx([scale * gap for gap in apart], abs=NEAR)
    assert len(drawing.lines("change")) == 1
    assert any("the clocks go" in text.lower() for text in texts)


def test_now_in_the_repeated_hour_says_which_pass_it_is() -> None:
    schedule = plan_of(
        daily("09:00", first="2026-10-31 09:00"), start="2026-10-31 08:00", end="2026-11-05 08:00"
    ).schedule
    day = date(2026, 11, 1)
    for now, rows in ((z("2026-11-01 06:20"), ("01:20", "CDT")), (z("2026-11-01 07:20"), ("01:20", "CST"))):
        drawing = Drawing(day_timeline(schedule, day, now))
        assert [found.texts for found in drawing.of("now")] == [rows]
        assert drawing.of("now")[0].y == pytest.approx(place(drawing, schedule, day, now), abs=NEAR)


def test_what_is_planned_at_midnight_belongs_to_the_day_that_begins() -> None:
    orders = listed("2026-06-03 00:00", "2026-06-03 23:40")  # of 20 minutes
    schedule = plan_of(orders, start="2026-06-02 08:00", end="2026-06-05 08:00").schedule
    shown = [check_day(schedule, date(2026, 6, number), schedule.start).of("touch") for number in (2, 3, 4)]
    midnight = [[sign.words for sign in signs if sign.words.startswith("00:00 CDT, Amaranth")] for signs in shown]
    assert [len(words) for words in midnight] == [0, 1, 1]
    assert "start" in midnight[1][0]
    assert "finish" in midnight[2][0]


def test_a_week_writes_the_hours_anew_before_the_day_of_the_change() -> None:
    schedule = plan_of(
        daily("09:00", first="2026-10-26 09:00"), start="2026-10-26 08:00", end="2026-11-09 08:00"
    ).schedule
    plain = Drawing(week_timeline(schedule, date(2026, 11, 2), schedule.start)).texts()
    changed = Drawing(week_timeline(schedule, date(2026, 10, 29), schedule.start)).texts()
    assert plain.count("12:00") == 1
    assert changed.count("12:00") == 3  # before the first day, before the changed one, and before the one after it


def test_a_journey_marks_where_the_clock_changes() -> None:
    traveller = sample(next(path for path in SAMPLE_PLANS if path.stem == "traveller")).schedule
    day = date(2026, 7, 10)
    drawing = check_day(traveller, day, traveller.start)
    assert day_span(traveller, day) == (z("2026-07-10 04:00"), z("2026-07-11 07:00"))
    assert drawing.lines("change") == [pytest.approx(place(drawing, traveller, day, z("2026-07-10 17:30")), abs=NEAR)]
    assert "From 10:30 MST on the clock of America/Phoenix" in drawing.texts()
    starts = [sign for sign in drawing.of("touch") if "17:00 MST, red" in sign.words]
    assert [sign.y for sign in starts] == [
        pytest.approx(place(drawing, traveller, day, z("2026-07-11 00:00")), abs=NEAR)
    ]


# Care tasks


def labels(drawing: Drawing) -> list[str]:
    """Return what stands above the lanes of a day, in bold."""
    heads = [text for text in drawing.root.iter(f"{NS}text") if text.get("font-size") == "13"]
    return [text.text or "" for text in sorted(heads, key=lambda text: float(text.attrib["x"]))]


def test_care_tasks_have_a_lane_of_their_own_after_the_lumens() -> None:
    """R20: five tasks stand in it; the draw through the white lumen stands in that lumen's lane, as a touch."""
    day = told("care-ahead")
    drawing = drawn(day)
    assert labels(drawing) == ["red lumen", "blue lumen", "white lumen", "Care tasks"]
    signs = [sign for sign in drawing.of("touch") if "care task: " in sign.words]
    assert [sign.words for sign in signs] == [
        "07:30 CDT, care task: Weigh yourself (planned)",
        "08:00 CDT, care task: Take the bag out of the refrigerator (planned)",
        "14:00 CDT, care task: Change the connectors (planned)",
        "14:00 CDT, care task: Change the dressing (planned, nurse)",
        "16:00 CDT, care task: Delivery (planned, pharmacy)",
    ]
    assert len({round(sign.extent[0]) for sign in signs}) == 1
    assert min(sign.extent[0] for sign in signs) > max(
        sign.extent[0] for sign in drawing.of("touch") if "care task" not in sign.words
    )
    (draw,) = (sign for sign in drawing.of("touch") if "blood draw" in sign.words)
    assert draw.words == "09:30 CDT, white lumen: blood draw: Level (planned)"
    assert " ".join(draw.texts) == "09:30 blood draw: Level"
    assert "white lumen, Care tasks. Events: " in (drawing.root.findtext(f"{NS}desc") or "")


def test_where_there_is_no_care_task_there_is_no_lane_for_any() -> None:
    """The 6th has none but the one tied to a dose; the day after the last dose has none at all."""
    schedule = told("care-ahead").schedule()
    without = told("ahead").schedule()
    assert labels(Drawing(day_timeline(without, date(2026, 6, 2), at("06-01 08:30"))))[-1] == "white lumen"
    assert labels(Drawing(day_timeline(schedule, date(2026, 6, 8), at("06-01 08:30"))))[-1] == "white lumen"
    week = Drawing(week_timeline(schedule, date(2026, 6, 1), at("06-01 08:30"))).texts()
    assert week.count("Care tasks") == week.count("white") == 7, "each day has the same lanes"
    assert "Care tasks" not in Drawing(week_timeline(without, date(2026, 6, 1), at("06-01 08:30"))).texts()
    assert "Care tasks" not in Drawing(week_timeline(schedule, date(2026, 6, 9), at("06-01 08:30"))).texts()


def test_how_a_care_task_stands_is_said_in_words_too() -> None:
    """The bag's own dose was started five minutes late; that moves nothing that was to be done before it."""
    texts = {sign.words: sign.texts for sign in drawn(told("care-told")).of("touch") if "care task" in sign.words}
    assert {words.partition("care task: ")[2]: " ".join(shown) for words, shown in texts.items()} == {
        "Done: Weigh yourself (done)": "07:40 Weigh yourself",
        "Take the bag out of the refrigerator (unconfirmed)": "08:00 Take the bag out of the refrigerator unconfirmed",
        "Done: Change the dressing (done, nurse)": "14:20 Change the dressing nurse",
        "Change the connectors (due)": "14:20 Change the connectors due",
        "Not to be done: Delivery (not to be done, pharmacy)": "16:00 Delivery not to be done pharmacy",
    }
    away = [sign.texts for sign in drawn(told("care-away")).of("touch") if "care task" in sign.words]
    assert away
    assert all("held" in shown for shown in away)


def test_a_draw_that_meets_a_start_stands_at_that_start() -> None:
    plan = told("care-ahead").plan.replace('before_dose = "30 min"', 'before_dose = "0 min"')
    drawing = drawn(Told("meets", "06-01 08:30", "", plan=plan))
    (start,) = (sign for sign in drawing.of("touch") if "blood draw" in sign.words)
    assert start.words.startswith("10:00 CDT, white lumen: start fluconazole 1 g, with blood draw: Level")
    assert " ".join(start.texts) == "10:00 fluconazole, with blood draw"


@given(cared_for())
@settings(max_examples=20, suppress_health_check=list(HealthCheck))
def test_each_event_of_any_plan_with_care_tasks_is_drawn_once_in_its_place(
    made: tuple[History, Plan, Values, Record],
) -> None:
    history, plan, _values, record = made
    schedule = compile_schedule(plan, record, history.now)
    day = plan.clock.local(history.now).date()
    try:
        check_day(schedule, day, history.now)
    except NoMidnightError:  # a journey over a midnight: the day is drawn all the same
        assert Drawing(day_timeline(schedule, day, history.now)).of("legend")
    week = Drawing(week_timeline(schedule, day, history.now))
    assert week.of("legend")


# What is recorded, and what is not


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_only_what_is_recorded_is_filled_as_recorded(day: Told) -> None:
    schedule = day.schedule()
    drawing = drawn(day)
    for sign, touch in zip(drawing.of("touch"), of_day(schedule, day.date), strict=True):
        if isinstance(touch, TaskEvent):
            how = task_status(touch, schedule, day.moment)
        else:
            how = status(touch, schedule, day.moment)
        done = how in (Status.DONE, Status.LATE) and touch.outcome is not None
        assert (FACT in sign.colours) == done, sign.words
    for run in drawing.of("run"):
        assert (FACT in run.colours) == ("runs, as recorded" in run.words), run.words


def test_where_nothing_is_recorded_nothing_has_the_colour_of_a_record() -> None:
    day = told("nothing-recorded")
    assert FACT not in day_timeline(day.schedule(), day.date, day.moment)
    assert FACT not in week_timeline(day.schedule(), day.date, day.moment)


def test_what_runs_is_recorded_until_now_and_planned_from_then_on() -> None:
    day = told("in-order")
    schedule, drawing = day.schedule(), drawn(day)
    runs = [run for run in drawing.of("run") if "milrinone" in run.words]
    assert ["as recorded" in run.words for run in runs] == [True, False]
    now = place(drawing, schedule, day.date, day.moment)
    assert runs[0].extent[3] == pytest.approx(now, abs=NEAR)
    assert runs[1].extent[1] == pytest.approx(now, abs=NEAR)
    assert runs[1].extent[3] == pytest.approx(max(drawing.lines("hour")), abs=NEAR)


def test_a_finish_that_nobody_reported_leaves_the_end_open_up_to_now() -> None:
    day = told("in-order")
    schedule, drawing = day.schedule(), drawn(day)
    runs = [run for run in drawing.of("run") if "fluconazole" in run.words]
    assert ["as recorded" in run.words for run in runs] == [True, False]
    assert "start or end not recorded" in runs[1].words
    edges = [at("06-02 10:05"), at("06-02 12:05"), at("06-02 12:30")]
    expected = [place(drawing, schedule, day.date, edge) for edge in edges]
    assert [run.extent[1] for run in runs] == [pytest.approx(y, abs=NEAR) for y in expected[:2]]
    assert [run.extent[3] for run in runs] == [pytest.approx(y, abs=NEAR) for y in expected[1:]]


def test_an_interrupted_infusion_has_a_gap() -> None:
    day = told("messy")
    schedule, drawing = day.schedule(), drawn(day)
    edges = [at(f"06-02 {clock}") for clock in ("03:40", "04:10", "04:50", "05:20")]
    runs = [run for run in drawing.of("run") if "cefazolin" in run.words][:3]
    assert ["interrupted" in run.words for run in runs] == [False, True, False]
    first = [next(part for part in run.element if part.tag in (f"{NS}rect", f"{NS}line")) for run in runs]
    found = [next(boxes_of(part)) for part in first]
    ys = [place(drawing, schedule, day.date, edge) for edge in edges]
    assert [box[1] for box in found] == pytest.approx(ys[:3], abs=NEAR)
    assert [box[3] for box in found] == pytest.approx(ys[1:], abs=NEAR)
    assert any("stroke-dasharray" in part.attrib for part in runs[1].element)


def test_what_runs_beyond_the_day_has_its_arrow() -> None:
    runs = [run for run in drawn(told("in-order")).of("run") if "milrinone" in run.words]
    arrows = [
        [part for part in run.element if part.tag == f"{NS}path" and part.get("stroke-width") == "1.75"] for run in runs
    ]
    assert [len(found) for found in arrows] == [1, 1]  # up from what was recorded, down from what is planned
    goes_on = [note.texts for note in drawn(told("in-order")).of("note")]
    assert ("goes on", "milrinone") in goes_on


def test_a_day_that_is_to_be_printed_fills_a_sheet() -> None:
    for day in DAYS:
        drawing = Drawing(day_timeline(day.schedule(), day.date, day.moment, SHEET))
        assert drawing.width == pytest.approx(SHEET, abs=1)
        # On A4 without its margins, 250 mm high, the smallest letters are 2.4 mm high or more.
        assert 12 * min(250 / drawing.height, 180 / drawing.width) >= 2.4
        assert len(drawing.of("touch")) == len(of_day(day.schedule(), day.date))


def test_nothing_runs_in_a_line_that_is_out() -> None:
    day = told("line-out")
    drawing = drawn(day)
    out = place(drawing, day.schedule(), day.date, at("06-02 11:00"))
    runs = drawing.of("run")
    assert any("milrinone" in run.words for run in runs)
    assert max(run.extent[3] for run in runs) <= out + NEAR


def test_what_was_stopped_early_says_so() -> None:
    texts = [text for sign in drawn(told("messy")).of("touch") if "10:00" in sign.words for text in sign.texts]
    assert "stopped early" in " ".join(texts)
    assert "stopped early" not in drawn(told("in-order")).texts()


def test_a_flush_that_is_still_to_be_done_is_not_drawn_as_done() -> None:
    sign = next(sign for sign in drawn(told("flush-now")).of("touch") if sign.words.startswith("10:10"))
    assert "FLUSH NOW" in sign.texts
    assert FACT not in sign.colours


@pytest.mark.parametrize(
    ("name", "words", "since", "until"),
    [
        ("suspended", "DO NOT USE", "09:10", None),
        ("released", "DO NOT USE", "02:00", "14:00"),
        ("messy", "ASK FIRST, no blood return", "13:00", None),
        ("held", "held", "08:00", None),
        ("out-of-use", "DO NOT USE", "07:00", None),
        ("line-out", "line out", "11:00", None),
    ],
)
def test_a_closed_lumen_is_marked_as_long_as_it_is_closed(name: str, words: str, since: str, until: str | None) -> None:
    day = told(name)
    schedule, drawing = day.schedule(), drawn(day)
    lumen = "white" if name == "out-of-use" else "red"
    boxes = [
        box
        for box in drawing.root.iter(f"{NS}rect")
        if box.get("class") == "closed" and (box.findtext(f"{NS}title") or "").startswith(f"{lumen} lumen: {words}")
    ]
    assert len(boxes) == 1
    _left, top, _right, foot = next(boxes_of(boxes[0]))
    assert top == pytest.approx(place(drawing, schedule, day.date, at(f"06-02 {since}")), abs=NEAR)
    end = max(drawing.lines("hour")) if until is None else place(drawing, schedule, day.date, at(f"06-02 {until}"))
    assert foot == pytest.approx(end, abs=NEAR)
    assert any(words.split(",")[0] in note.texts for note in drawing.of("note"))


def test_nothing_in_a_suspended_lumen_looks_merely_planned() -> None:
    day = told("suspended")
    signs = [sign for sign in drawn(day).of("touch") if "red lumen" in sign.words and "planned" in sign.words]
    assert len(signs) == 2
    assert all("DO NOT USE" in sign.texts for sign in signs)


def test_now_and_quiet_hours_stand_where_they_are() -> None:
    day = told("in-order")
    schedule, drawing = day.schedule(), drawn(day)
    (now,) = drawing.of("now")
    assert now.y == pytest.approx(place(drawing, schedule, day.date, day.moment), abs=NEAR)
    assert now.texts == ("now", "12:30")
    edges = [at(f"06-02 {clock}") for clock in ("00:00", "06:00", "22:30")] + [at("06-03 00:00")]
    ys = [place(drawing, schedule, day.date, edge) for edge in edges]
    assert [edge for box in drawing.boxes("quiet") for edge in box] == pytest.approx(ys, abs=NEAR)
    assert Drawing(day_timeline(schedule, date(2026, 6, 3), day.moment)).of("now") == []


# Found without colour, and room for everything


def grey(element: Element) -> str:
    """Return an element as text with every colour made dark or light."""
    text = tostring(element, encoding="unicode")
    return re.sub("#[0-9a-f]{6}", lambda found: "dark" if contrast(found[0], PAPER) > 3 else "light", text)


KINDS = (*TouchKind, None)
"""The kinds of touches, and a care task."""


def one_mark(kind: TouchKind | None, look: Look) -> str:
    """Draw one mark without colours; line widths and parts stay."""
    parent = Element("g")
    mark(parent, kind, look, (0, 0), 7, "p")
    return grey(parent)


def test_kinds_and_states_differ_without_colour() -> None:
    for look in Look:
        assert len({one_mark(kind, look) for kind in KINDS}) == len(KINDS)
    for kind in KINDS:
        for one, other in combinations(Look, 2):
            assert one_mark(kind, one) != one_mark(kind, other), (kind, one, other)


def test_signs_of_closed_stretches_are_unlike_those_of_touches() -> None:
    touches = {one_mark(kind, look) for kind in KINDS for look in Look}
    for why in Closed:
        parent = Element("g")
        closed_sign(parent, why, (0, 0), 7)
        assert grey(parent) not in touches
        assert len(parent[0].attrib["points"].split()) == 8


CROWDED = Told(
    "crowded",
    "06-02 12:00",
    "\n".join(f"06-02 10:{minute:02} flushed lumen=red" for minute in range(0, 60, 5)),
    plan=PLAN,
)
DRAWN = (*DAYS, CROWDED)


@pytest.mark.parametrize("day", DRAWN, ids=lambda day: day.name)
def test_signs_do_not_hide_each_other_and_stay_inside(day: Told) -> None:
    drawing = drawn(day)
    signs = [*drawing.of("touch"), *drawing.of("note")]
    for one, other in combinations(signs, 2):
        assert apart(one, other), (one.words, one.texts, other.words, other.texts)
    for part in drawing.root.iter():
        if part.tag != f"{NS}rect" or "x" in part.attrib:
            for left, top, right, foot in boxes_of(part):
                assert left >= 0
                assert top >= 0
                assert right <= drawing.width
                assert foot <= drawing.height


def apart(one: Sign, other: Sign) -> bool:
    """Say whether two signs with their texts share no more than an edge."""
    left, top, right, foot = one.extent
    left2, top2, right2, foot2 = other.extent
    slack = 1.0
    return right <= left2 + slack or right2 <= left + slack or foot <= top2 + slack or foot2 <= top + slack


@pytest.mark.parametrize("day", DRAWN, ids=lambda day: day.name)
def test_marks_of_a_week_do_not_hide_each_other(day: Told) -> None:
    drawing = Drawing(week_timeline(day.schedule(), date(2026, 6, 1), day.moment))
    places: Counter[tuple[float, float]] = Counter()
    for sign in drawing.of("touch"):
        lead = next(path for path in sign.element.iter(f"{NS}path") if path.get("class") == "lead")
        _x, _y, down, across = map(float, re.findall(r"[\d.]+", lead.attrib["d"]))
        places[across, down] += 1
    assert places
    for (x, y), (x2, y2) in combinations(places, 2):
        assert abs(x - x2) > 10 or abs(y - y2) > 10
    assert set(places.values()) == {1}


def test_text_is_large_enough_at_the_intended_width() -> None:
    for path in SAMPLE_PLANS:
        found = sample(path)
        day = found.plan.clock.local(found.now).date()
        for svg in (day_timeline(found.schedule, day, found.now), week_timeline(found.schedule, day, found.now)):
            sizes = [float(text.attrib["font-size"]) for text in Drawing(svg).root.iter(f"{NS}text")]
            assert min(sizes) >= 12


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_contrast_of_everything_that_is_drawn(day: Told) -> None:
    """WCAG 2.2 (W3C Recommendation): 1.4.3, text 4.5 to 1; 1.4.11, what is needed to understand graphics 3 to 1."""
    grounds = (PAPER, NIGHT, NIGHT_LINE)
    drawing = drawn(day)
    lanes = min(float(box.attrib["x"]) for box in drawing.root.iter(f"{NS}rect") if box.get("class") == "quiet")
    for text in drawing.root.iter(f"{NS}text"):
        fill, beside = text.attrib["fill"], float(text.attrib["x"]) < lanes and text.get("text-anchor") == "end"
        against = (ALERT,) if fill == PAPER else (PAPER,) if beside else grounds
        assert min(contrast(fill, ground) for ground in against) >= 4.5
    for sort in ("touch", "run", "now", "note"):
        for sign in drawing.of(sort):
            colours = {colour for colour in sign.colours if colour.startswith("#")} - {PAPER}
            assert colours <= {INK, SOFT, FACT, ALERT}
            assert all(contrast(colour, ground) >= 3 for colour in colours for ground in grounds)


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_the_legend_names_what_occurs_and_nothing_else(day: Told) -> None:
    schedule, drawing = day.schedule(), drawn(day)
    begin, end = day_span(schedule, day.date)
    lanes: list[AnyLane] = [lane(schedule, name, begin, end, day.moment) for name in schedule.plan.lumens]
    lanes.append(care_lane(schedule, begin, end, day.moment))
    occur = {one.look.value for found in lanes for one in found.marks}
    occur |= {run.fill.value for found in lanes for run in found.bars}
    occur |= {stretch.why.value for found in lanes for stretch in found.stretches}
    texts = [text for group in drawing.of("legend") for text in group.texts]
    said = {*texts, *(f"{one} {two}" for one, two in pairwise(texts))}  # an entry may stand in two rows
    every = {one.value for sort in (Look, Fill, Closed) for one in sort}
    assert said & every == occur
    assert "quiet hours" in said
    assert ("stopped early" in said) == (day.name == "messy")
    shown = of_day(schedule, day.date)
    kinds = {touch.kind for touch in shown if isinstance(touch, Touch)}
    assert ("care task" in said) == any(isinstance(event, TaskEvent) for event in shown)
    assert said & set(KIND_WORDS.values()) - {"flush"} == {KIND_WORDS[kind] for kind in kinds} - {"flush"}


# Safe in a page


TAGS = set("svg title desc defs pattern rect path circle polygon line g text a linearGradient stop".split())
ATTRIBUTES = set(
    """viewBox width height direction font-family role aria-labelledby aria-hidden aria-label id class x y x1 y1 x2 y2 cx cy
    r rx d points transform fill stroke stroke-width stroke-dasharray stroke-linecap stroke-linejoin font-size font-weight
    text-anchor patternUnits offset stop-color href""".split()
)


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_no_script_no_style_and_nothing_from_elsewhere(day: Told) -> None:
    schedule = day.schedule()
    for svg in (day_timeline(schedule, day.date, day.moment), week_timeline(schedule, day.date, day.moment)):
        root = Drawing(svg).root
        ids = [part.attrib["id"] for part in root.iter() if "id" in part.attrib]
        assert len(ids) == len(set(ids))
        for part in root.iter():
            assert part.tag.removeprefix(NS) in TAGS
            assert set(part.attrib) <= ATTRIBUTES
            assert part.get("href", "#").startswith("#")
            for name in re.findall(r"url\((.*?)\)", " ".join(part.attrib.values())):
                assert name.removeprefix("#") in ids
        assert set(root.attrib["aria-labelledby"].split()) <= set(ids)
        assert svg.count("http") == 1  # the name of the namespace


def test_days_and_weeks_on_one_page_share_no_id() -> None:
    day = told("in-order")
    schedule = day.schedule()
    drawings = [
        day_timeline(schedule, day.date, day.moment),
        day_timeline(schedule, date(2026, 6, 3), day.moment),
        week_timeline(schedule, day.date, day.moment),
    ]
    ids = [found for svg in drawings for found in re.findall(r' id="(.*?)"', svg)]
    assert len(ids) == len(set(ids)) > 20


def test_an_image_has_a_name_and_a_description_and_no_link() -> None:
    day = told("in-order")
    for svg in (
        day_timeline(day.schedule(), day.date, day.moment),
        week_timeline(day.schedule(), day.date, day.moment, link=None),
    ):
        root = Drawing(svg).root
        assert root.attrib["role"] == "img"
        assert root.attrib["width"] == "100%"
        assert [part.tag for part in root][:2] == [f"{NS}title", f"{NS}desc"]
        assert all(part.text for part in list(root)[:2])
        assert root.find(f".//{NS}a") is None


def test_the_days_of_a_week_lead_to_their_places_and_the_rest_is_hidden_from_readers() -> None:
    day = told("in-order")
    root = Drawing(week_timeline(day.schedule(), date(2026, 6, 1), day.moment)).root
    links = list(root.iter(f"{NS}a"))
    assert [link.attrib["href"] for link in links] == [f"#day-2026-06-{number:02}" for number in range(1, 8)]
    assert links[0].attrib["aria-label"] == "Mon 1 Jun 2026"
    assert root.attrib["role"] == "group"
    for part in root:
        assert part.tag != f"{NS}g" or part.attrib["aria-hidden"] == "true"
        assert part.tag.removeprefix(NS) in {"title", "desc", "defs", "rect", "g", "a"}
    other = week_timeline(day.schedule(), date(2026, 6, 1), day.moment, link=lambda on: f"#on-{on:%d}")
    assert next(link.attrib["href"] for link in Drawing(other).root.iter(f"{NS}a")) == "#on-01"


HOSTILE = [
    '</svg><script>alert("x")</script>',
    "a & b < c > \"d\" 'e'",
    "דם אדום",
    "الأحمر & <",
    "😀 一二三四五六七八",
    "x" * 40,
]


@pytest.mark.parametrize("label", HOSTILE)
def test_any_text_of_a_plan_is_shown_as_text(label: str) -> None:
    orders = daily("09:00", first="2026-06-01 09:00", drug=label)
    schedule = plan_of(orders, start="2026-06-01 08:00", end="2026-06-05 08:00", first_label=label).schedule
    svg = day_timeline(schedule, date(2026, 6, 2), schedule.start)
    drawing = Drawing(svg)
    assert "<script" not in svg
    assert any(f"{label} lumen: start {label}" in sign.words for sign in drawing.of("touch"))
    assert label[:8].split()[0] in " ".join(drawing.texts())
    assert Drawing(week_timeline(schedule, date(2026, 6, 1), schedule.start)).of("touch")


def test_the_same_input_gives_the_same_bytes() -> None:
    for day in DAYS:
        one, two = day.schedule(), day.schedule()
        assert day_timeline(one, day.date, day.moment) == day_timeline(two, day.date, day.moment)
        assert week_timeline(one, day.date, day.moment) == week_timeline(two, day.date, day.moment)


# Finding room

BLOCKS = st.lists(st.tuples(st.integers(0, 500), st.integers(5, 60)), min_size=1, max_size=12)


@given(BLOCKS)
def test_blocks_keep_their_order_and_share_no_room(blocks: list[tuple[int, int]]) -> None:
    blocks = sorted(blocks)
    tops, heights = [top for top, _ in blocks], [height for _, height in blocks]
    found = spread(tops, heights, 0, max(600, sum(heights)))
    assert min(found) >= 0
    assert found[-1] + heights[-1] <= max(600, sum(heights)) + 1e-6
    for (one, tall), (two, _) in pairwise(zip(found, heights, strict=True)):
        assert one + tall <= two + 1e-6


def test_blocks_with_room_stay_where_they_are_and_others_give_way_to_both_sides() -> None:
    assert spread([10, 100, 200], [20, 20, 20], 0, 300) == [10, 100, 200]
    assert spread([100, 100], [20, 20], 0, 300) == [90, 110]
    assert spread([290, 290], [20, 20], 0, 300) == [260, 280]


@given(st.text(st.characters(whitelist_categories=("Lu", "Ll", "Nd")), min_size=1, max_size=60), st.integers(40, 200))
def test_wrapped_rows_fit_and_lose_nothing(text: str, room: int) -> None:
    rows = wrapped(text, room, 100)
    assert all(length(row) <= room for row in rows)
    assert "".join(row.removesuffix("-") for row in rows) == text


def test_what_finds_no_room_ends_with_an_ellipsis() -> None:
    assert wrapped("one two three four", 40, 2)[-1].endswith("…")
    assert wrapped("piperacillin-tazobactam", 84, 3) == ["piperacillin-", "tazobactam"]
