"""Clock arithmetic against the IANA data themselves and against dateutil (R1, R3, R5).

The data are read here by the TZif reader of :mod:`simulation`, not by ``zoneinfo``; dateutil is a second judge of gaps
and repeated hours. All orders and plans are invented.
"""

import io
import json
import os
import shutil
import struct
import subprocess
import sys
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path

import pytest
import tzdata
from dateutil import rrule, tz
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from simulation import EPOCH, WEEKDAYS, Change, ZoneRules, from_words, minutes_of, zone_file, zone_rules
from strategies import DAY, ZONES, bare_order, bare_plan, clock_changes, stated, toml_text

from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.schedule.counts import daily_totals
from reminders.times import ClockCase, Instant, ZoneTimeline, from_datetime, instant_of, local
from reminders.views.schedule_json import schedule_json
from reminders.zones import known_zones, release, zone

FIRST, LAST = 2026, 2036
ALL_ZONES = sorted(known_zones())


def around(change: Change) -> range:
    """Return the wall-clock readings, as minutes, from just before to just after a gap or a repeated hour."""
    edges = (change.at + change.before, change.at + change.after)
    return range(min(edges) - 3, max(edges) + 4)


def by_the_rule(reading: int, change: Change) -> tuple[int, ClockCase]:
    """Return what R3 says about a reading near a change, by hand: only the two offsets come in."""
    old, new = change.at + change.before, change.at + change.after
    if old <= reading < new:  # in the gap: moved forward by its length, read by the new offset
        return reading + (change.after - change.before) - change.after, ClockCase.SKIPPED
    if new <= reading < old:  # twice: the first is by the old offset
        return reading - change.before, ClockCase.REPEATED
    return reading - (change.before if reading < old else change.after), ClockCase.PLAIN


def wall_of(reading: int) -> datetime:
    """Return a reading of the clock as a naive datetime."""
    return EPOCH + timedelta(minutes=reading)


# --- The zone data ---


def test_all_zones_show_the_clock_that_the_iana_data_give() -> None:
    """Every zone, at every change from 2026 to 2036 a minute before, at and after it, and mid-month."""
    wrong = []
    for name in ALL_ZONES:
        rules, read = zone_rules(name), zone(name)
        instants = [change.at + step for change in rules.changes(FIRST, LAST) for step in (-1, 0, 1)]
        instants += [
            minutes_of(datetime(year, month, 15, 3)) for year in range(FIRST, LAST + 1) for month in (1, 4, 7, 10)
        ]
        wrong += [
            (name, instant)
            for instant in instants
            if local(Instant(instant), read).replace(tzinfo=None, fold=0) != rules.wall(instant)
        ]
    assert wrong == []


def test_offsets_are_whole_minutes() -> None:
    """Whole-minute instants (R1) lose nothing: no zone's change since 2026 lies off a whole minute."""
    for name in ALL_ZONES:
        rules = zone_rules(name)
        recent = [
            (at, offset)
            for at, offset in zip(rules.at, rules.offsets[1:], strict=True)
            if at >= minutes_of(datetime(FIRST, 1, 1)) * 60
        ]
        assert all(at % 60 == 0 and offset % 60 == 0 for at, offset in recent), name


@pytest.mark.parametrize("name", ["America/Chicago", "America/New_York", "Europe/London", "Australia/Sydney"])
def test_the_rule_for_later_years_reads_as_dateutil_reads_it(name: str) -> None:
    """The judge is judged: dateutil's reader of zone rules gives the offsets of our own reader to 2036."""
    rules = zone_rules(name)
    other = tz.tzstr(rules.rule)
    instants = [change.at + step for change in rules.changes(2028, LAST) for step in (-1, 0, 1)]
    instants += [minutes_of(datetime(2030, month, 15)) for month in range(1, 13)]
    for instant in instants:
        assert wall_of(instant).replace(tzinfo=UTC).astimezone(other).replace(tzinfo=None, fold=0) == rules.wall(
            instant
        )


def test_the_second_sunday_of_march_and_the_first_of_november() -> None:
    """Chicago's changes of 2026 and 2027, by hand: 02:00 CST is 08:00Z, 02:00 CDT is 07:00Z."""
    found = [wall_of(change.at) for change in zone_rules("America/Chicago").changes(2026, 2027)]
    assert found == [
        datetime(2026, 3, 8, 8),
        datetime(2026, 11, 1, 7),
        datetime(2027, 3, 14, 8),
        datetime(2027, 11, 7, 7),
    ]


# --- Clock times to instants (R3) ---


@pytest.mark.parametrize("name", ZONES)
def test_every_minute_around_every_change(name: str) -> None:
    """From three minutes before each gap or repeated hour to three after it, 2026 to 2036, minute by minute."""
    for change in zone_rules(name).changes(FIRST, LAST):
        for reading in around(change):
            assert instant_of(wall_of(reading), zone(name)) == by_the_rule(reading, change), wall_of(reading)


def test_the_edges_of_every_change_in_all_zones() -> None:
    """The first and last minutes of each gap and repeated hour, and their neighbours, in all zones of the data."""
    wrong = []
    for name in ALL_ZONES:
        for change in zone_rules(name).changes(FIRST, LAST):
            readings = around(change)
            for reading in [*readings[:6], *readings[-6:]]:
                read = instant_of(wall_of(reading), zone(name))
                wrong += [(name, wall_of(reading), read)] if read != by_the_rule(reading, change) else []
    assert wrong == []


def test_clock_times_by_hand() -> None:
    """Hand arithmetic: half an hour, two hours, midnight and a zone whose winter time is the exception."""
    cases = [
        ("America/Chicago", datetime(2027, 3, 14, 2, 30), datetime(2027, 3, 14, 8, 30), ClockCase.SKIPPED),
        ("America/Chicago", datetime(2026, 11, 1, 1, 30), datetime(2026, 11, 1, 6, 30), ClockCase.REPEATED),
        ("Australia/Lord_Howe", datetime(2026, 10, 4, 2, 15), datetime(2026, 10, 3, 15, 45), ClockCase.SKIPPED),
        ("Australia/Lord_Howe", datetime(2026, 4, 5, 1, 45), datetime(2026, 4, 4, 14, 45), ClockCase.REPEATED),
        ("Antarctica/Troll", datetime(2026, 3, 29, 1, 30), datetime(2026, 3, 29, 1, 30), ClockCase.SKIPPED),
        ("Antarctica/Troll", datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 24, 23, 30), ClockCase.REPEATED),
        ("Africa/Cairo", datetime(2026, 4, 24, 0, 30), datetime(2026, 4, 23, 22, 30), ClockCase.SKIPPED),
        ("Africa/Cairo", datetime(2026, 10, 29, 23, 30), datetime(2026, 10, 29, 20, 30), ClockCase.REPEATED),
        ("Europe/Dublin", datetime(2026, 3, 29, 1, 30), datetime(2026, 3, 29, 1, 30), ClockCase.SKIPPED),
        ("Europe/Dublin", datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 25, 0, 30), ClockCase.REPEATED),
        ("Asia/Kathmandu", datetime(2026, 3, 29, 2, 30), datetime(2026, 3, 28, 20, 45), ClockCase.PLAIN),
    ]
    for name, wall, expected, case in cases:
        assert instant_of(wall, zone(name)) == (minutes_of(expected), case), (name, wall)


@cache
def dateutil_zone(name: str) -> tz.tzfile:
    """Return a zone as dateutil reads it: the data's transitions to 2037, written out in the old form that it knows.

    The package's files say the years ahead by a rule alone, which dateutil's reader of zone files passes over.
    """
    rules = ZoneRules(zone_file(name), 2037)
    moves = [
        (at, offset)
        for at, offset in zip(rules.at, rules.offsets[1:], strict=True)
        if minutes_of(datetime(2000, 1, 1)) * 60 <= at < 2**31
    ]
    offsets = sorted({rules.offsets[0], *(offset for _, offset in moves)})
    if not moves:
        moves = [(0, rules.offset(minutes_of(datetime(2026, 1, 1))) * 60)]
        offsets = [moves[0][1]]
    content = struct.pack(">4s16x6l", b"TZif", 0, 0, 0, len(moves), len(offsets), 2)
    content += struct.pack(f">{len(moves)}l", *(at for at, _ in moves))
    content += bytes(offsets.index(offset) for _, offset in moves)
    content += b"".join(struct.pack(">lBB", offset, 0, 0) for offset in offsets) + b"X\0"
    return tz.tzfile(io.BytesIO(content), name)


@pytest.mark.parametrize("name", ZONES)
def test_dateutil_agrees_about_gaps_and_repeated_hours(name: str) -> None:
    """dateutil's own ``resolve_imaginary`` and ``datetime_ambiguous`` judge the same minutes."""
    for change in zone_rules(name).changes(FIRST, LAST):
        for reading in around(change):
            aware = wall_of(reading).replace(tzinfo=dateutil_zone(name), fold=0)
            instant, case = instant_of(wall_of(reading), zone(name))
            resolved = tz.resolve_imaginary(aware).astimezone(UTC).replace(tzinfo=None)
            assert minutes_of(resolved) == instant, aware
            assert (case is ClockCase.REPEATED) == tz.datetime_ambiguous(aware), aware
            assert (case is ClockCase.SKIPPED) != tz.datetime_exists(aware), aware


@given(st.sampled_from(ZONES), st.integers(minutes_of(datetime(2026, 1, 1)), minutes_of(datetime(2036, 12, 1))))
@settings(max_examples=300)
def test_there_and_back(name: str, instant: int) -> None:
    """An instant shown on a clock and read from it is itself, or the first of two."""
    shown = local(Instant(instant), zone(name))
    back, case = instant_of(shown.replace(tzinfo=None, fold=0), zone(name))
    assert case is not ClockCase.SKIPPED
    if shown.fold:
        assert back < instant
    else:
        assert back == instant


def test_a_datetime_without_a_zone_is_no_instant() -> None:
    """R1: a wall-clock time alone names no instant."""
    with pytest.raises(ValueError, match="without a zone"):
        from_datetime(datetime(2026, 1, 1))
    assert from_datetime(datetime(1970, 1, 1, 2, 1, 59, tzinfo=UTC)) == 121


@pytest.mark.parametrize("name", ZONES)
def test_days_begin_at_their_own_midnight(name: str) -> None:
    """Each local date begins at its midnight, or where a gap swallows that, when the gap is over."""
    clock = ZoneTimeline(zone(name))
    for change in clock_changes(name):
        day = zone_rules(name).wall(change.at).date()
        found = clock.day_starts(day - timedelta(days=1), day + timedelta(days=1))
        assert [on for on, _ in found] == [day - timedelta(days=1), day, day + timedelta(days=1)]
        for on, start in found:
            assert start == zone_rules(name).instant(datetime.combine(on, time()))
            assert zone_rules(name).wall(start).date() == on


def test_a_date_whose_midnight_a_journey_leaps_over_begins_with_the_change() -> None:
    """23:30 in New York on 10 July 2026 is 04:30 in Dublin on the 11th; the other way, a midnight is passed twice."""
    home, away = zone("America/New_York"), zone("Europe/Dublin")
    change = zone_rules("America/New_York").instant(datetime(2026, 7, 10, 23, 30))
    clock = ZoneTimeline(home, ((Instant(change), away),))
    starts = dict(clock.day_starts(date(2026, 7, 10), date(2026, 7, 12)))
    assert starts[date(2026, 7, 11)] == change
    assert starts[date(2026, 7, 12)] == zone_rules("Europe/Dublin").instant(datetime(2026, 7, 12))
    west = zone_rules("Europe/Dublin").instant(datetime(2026, 7, 10, 0, 30))
    back = ZoneTimeline(away, ((Instant(west), home),))
    assert dict(back.day_starts(date(2026, 7, 10), date(2026, 7, 10)))[date(2026, 7, 10)] == west - 30


def test_a_journey_changes_the_clock_at_its_instant() -> None:
    """R5: up to the minute of the change the old clock is shown, from it on the new one."""
    at = Instant(minutes_of(datetime(2026, 7, 10, 13)))
    clock = ZoneTimeline(zone("America/New_York"), ((at, zone("America/Phoenix")),))
    assert clock.local(Instant(at - 1)).replace(tzinfo=None) == datetime(2026, 7, 10, 8, 59)
    assert clock.local(at).replace(tzinfo=None) == datetime(2026, 7, 10, 6, 0)
    found = list(clock.segments(Instant(at - 60), Instant(at + 60)))
    assert [(left - at, right - at, part.key) for left, right, part in found] == [
        (-60, 0, "America/New_York"),
        (0, 60, "America/Phoenix"),
    ]


def test_a_journey_back_over_the_date_line_has_totals_for_the_day_it_goes_back_to() -> None:
    """R5, R22 by hand: 12:30 on 1 June in Sydney (UTC+10) is 02:30Z, 22:30 on 31 May in Havana (UTC-4)."""
    sydney = "Australia/Sydney"
    start = zone_rules(sydney).instant(datetime(2026, 6, 1, 3))
    plan = bare_plan(sydney, start, start + 3 * DAY)
    plan["order"]["a"] = bare_order("red", moments=["2026-06-01 12:30"], duration="30 min", volume="100 mL")
    journey = {"zone_change": [{"at": "2026-06-01 12:00", "zone": "America/Havana"}]}
    text = toml_text({"plan": plan.pop("plan"), **journey, **plan})
    read = read_plan("plan.toml", text.encode()).plan
    assert read is not None
    totals = {total.day: total for total in daily_totals(compile_schedule(read, EMPTY, Instant(start)))}
    # Saline before the dose, and saline as the lock after it: 10 mL each.
    assert totals[date(2026, 5, 31)].flushed == 20


# --- Recurrence (R2) ---


def starts_of(text: str, order: str) -> list[int]:
    """Return the starts of an order's doses as the compiler's JSON tells them."""
    return [start for _, start in doses_in(text, order)]


def doses_in(text: str, order: str) -> list[tuple[int, int]]:
    """Return number and start of an order's doses as the compiler's JSON tells them."""
    reading = read_plan("plan.toml", text.encode())
    assert reading.complete, reading.findings
    assert reading.plan is not None
    now = reading.plan.course.start.instant
    schedule = json.loads(schedule_json(compile_schedule(reading.plan, EMPTY, now), now))
    return [(dose["dose"], from_words(dose["start"]) or 0) for dose in schedule["doses"] if dose["order"] == order]


@given(
    st.sampled_from(ZONES),
    st.integers(0, 100),
    st.sets(st.integers(0, DAY - 1), min_size=1, max_size=4),
    st.one_of(st.none(), st.integers(1, 5), st.sets(st.sampled_from(WEEKDAYS), min_size=1)),
    st.integers(0, 3),
    st.integers(6, 40),
)
@settings(max_examples=250)
def test_clock_times_recur_as_dateutil_says(
    name: str, nth: int, times: set[int], days: int | set[str] | None, later: int, length: int
) -> None:
    """Clock times daily, on weekdays or every n days, against ``dateutil.rrule`` and ``resolve_imaginary``."""
    changes = clock_changes(name)
    start = changes[nth % len(changes)].at - 5 * DAY if changes else minutes_of(datetime(2026, 1 + nth % 12, 3))
    clocks = [time(*divmod(minute, 60)) for minute in sorted(times)]
    first_day = (zone_rules(name).wall(start) + timedelta(days=1 + later)).date()
    if isinstance(days, set):
        while WEEKDAYS[first_day.weekday()] not in days:
            first_day += timedelta(days=1)
    last_day = first_day + timedelta(days=length)
    first = datetime.combine(first_day, clocks[nth % len(clocks)])
    plan = bare_plan(name, start, start + 60 * DAY)
    order = bare_order(
        "red",
        clock_times=[f"{at:%H:%M}" for at in clocks],
        first_dose=f"{first:%Y-%m-%d %H:%M}",
        last_day=last_day,
        duration="1 min",
        least_spacing="1 min",
    )
    weekdays = None
    if isinstance(days, int):
        order["every_days"] = days
    elif days is not None:
        order["weekdays"] = sorted(days, key=WEEKDAYS.index)
        weekdays = [WEEKDAYS.index(day) for day in days]
    plan["order"]["a"] = order
    walls = [
        wall
        for at in clocks
        for wall in rrule.rrule(
            rrule.DAILY,
            dtstart=datetime.combine(first_day, at),
            interval=days if isinstance(days, int) else 1,
            byweekday=weekdays,
            until=datetime.combine(last_day, time(23, 59)),
        )
        if wall >= first
    ]
    zone_of_dateutil = dateutil_zone(name)
    expected = sorted(
        minutes_of(tz.resolve_imaginary(wall.replace(tzinfo=zone_of_dateutil)).astimezone(UTC).replace(tzinfo=None))
        for wall in walls
    )
    assume(len(set(expected)) == len(expected))  # two clock times that a gap makes one are an overlap
    assert starts_of(toml_text(plan), "a") == [at for at in expected if at < start + 60 * DAY]


@pytest.mark.parametrize("name", ZONES)
def test_an_interval_is_elapsed_time(name: str) -> None:
    """R1: every 8 h is every 480 minutes of UTC, whatever the clocks do between."""
    for change in clock_changes(name) or [Change(29_900_000, 0, 0)]:
        start = change.at - 2 * DAY
        plan = bare_plan(name, start, start + 4 * DAY)
        plan["order"]["a"] = bare_order(
            "red",
            every="8 h",
            first_dose=stated(name, start + 17),
            until_removal=True,
            duration="30 min",
            least_spacing="6 h",
        )
        begun = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=start + 17)
        expected = [begun + timedelta(hours=8 * index) for index in range(12)]
        found = starts_of(toml_text(plan), "a")
        assert found == [int(at.timestamp()) // 60 for at in expected]


def test_a_local_order_moves_to_the_local_clock() -> None:
    """R5 by hand: 20:00 in New York (00:00Z), then 20:00 in Phoenix (03:00Z): 27 h at the flight, 24 h after it."""
    start = minutes_of(datetime(2026, 7, 9, 12))
    plan = bare_plan("America/New_York", start, start + 4 * DAY)
    plan["order"]["a"] = bare_order(
        "red",
        clock_times=["20:00"],
        first_dose="2026-07-09 20:00",
        last_day=date(2026, 7, 11),
        clock="local",
        duration="30 min",
        least_spacing="12 h",
    )
    journey = {"zone_change": [{"at": "2026-07-10 09:00", "zone": "America/Phoenix"}]}
    text = toml_text({"plan": plan.pop("plan"), **journey, **plan})
    assert [wall_of(at) for at in starts_of(text, "a")] == [
        datetime(2026, 7, 10, 0),
        datetime(2026, 7, 11, 3),
        datetime(2026, 7, 12, 3),
    ]
    assert [wall_of(at) for at in starts_of(text.replace('clock = "local"\n', ""), "a")] == [
        datetime(2026, 7, 10, 0),
        datetime(2026, 7, 11, 0),
        datetime(2026, 7, 12, 0),
    ]


def test_doses_are_numbered_from_the_first_one_even_before_the_plan() -> None:
    """A dose's number counts from the order's first dose, the ones before the plan included: 3 days at 2 are 6."""
    start = minutes_of(datetime(2026, 6, 1, 13))
    plan = bare_plan("America/Chicago", start, start + 2 * DAY)
    plan["order"]["a"] = bare_order(
        "red",
        clock_times=["09:00", "21:00"],
        first_dose="2026-05-29 09:00",
        until_removal=True,
        duration="30 min",
        least_spacing="8 h",
    )
    assert [(number, wall_of(at)) for number, at in doses_in(toml_text(plan), "a")][:2] == [
        (7, datetime(2026, 6, 1, 14)),
        (8, datetime(2026, 6, 2, 2)),
    ]


# --- A clock time on the household's clock, wherever it is then (R3, R5) ---


@pytest.mark.parametrize(
    ("home", "change", "away", "wall", "shown"),
    [
        # Friday 10:00; at 08:00 CDT (13:00Z) the clock leaps to 14:00 in Dublin: 10:00 is six hours later there.
        ("America/Chicago", (5, 13, 0), "Europe/Dublin", (5, 10, 0), (5, 15, 0)),
        ("America/Chicago", (5, 13, 0), "Europe/Dublin", (5, 7, 59), (5, 12, 59)),
        ("America/Chicago", (5, 13, 0), "Europe/Dublin", (5, 8, 0), (5, 13, 0)),
        ("America/Chicago", (5, 13, 0), "Europe/Dublin", (5, 13, 59), (5, 18, 59)),
        ("America/Chicago", (5, 13, 0), "Europe/Dublin", (5, 14, 0), (5, 13, 0)),
        # At 12:00 CDT (17:00Z) it is 07:00 in Honolulu: 09:00 has been, and comes again.
        ("America/Chicago", (5, 17, 0), "Pacific/Honolulu", (5, 9, 0), (5, 14, 0)),
        ("America/Chicago", (5, 17, 0), "Pacific/Honolulu", (5, 12, 0), (5, 22, 0)),
        # Over the date line: at 12:00 CDT of the 5th it is 05:00 of the 6th in Auckland.
        ("America/Chicago", (5, 17, 0), "Pacific/Auckland", (6, 3, 0), (6, 8, 0)),
        ("America/Chicago", (5, 17, 0), "Pacific/Auckland", (6, 5, 0), (5, 17, 0)),
    ],
)
def test_a_clock_time_is_when_the_households_clock_first_shows_it(
    home: str, change: tuple[int, int, int], away: str, wall: tuple[int, int, int], shown: tuple[int, int, int]
) -> None:
    """June 2026, by hand; ``change`` and ``shown`` in UTC."""
    clock = ZoneTimeline(zone(home), ((Instant(minutes_of(datetime(2026, 6, *change))), zone(away)),))
    assert wall_of(clock.first_showing(datetime(2026, 6, *wall))) == datetime(2026, 6, *shown)


@settings(max_examples=200)
@given(
    st.lists(st.sampled_from(ZONES), min_size=2, max_size=3),
    st.lists(st.integers(0, 4 * DAY), min_size=2, max_size=2, unique=True),
    st.integers(DAY, 3 * DAY),
)
def test_a_clock_time_that_the_clock_shows_is_found_minute_by_minute(
    names: list[str], changes: list[int], reading: int
) -> None:
    """Against a scan of every minute of some days in June 2026, in which none of these zones changes its clocks."""
    start = minutes_of(datetime(2026, 6, 1))
    legs = tuple((Instant(start + at), zone(name)) for at, name in zip(sorted(changes), names[1:], strict=False))
    clock = ZoneTimeline(zone(names[0]), legs)
    wall = wall_of(start + reading)
    shows = [
        at
        for at in range(start - 2 * DAY, start + 7 * DAY)
        if clock.local(Instant(at)).replace(tzinfo=None, fold=0) == wall
    ]
    found = clock.first_showing(wall)
    if shows:
        assert found == shows[0]
    else:
        assert any(leg[0] <= found for leg in legs)
        assert clock.local(found).replace(tzinfo=None, fold=0) > wall


# --- Where the zone rules come from ---


def test_an_unknown_zone_is_refused() -> None:
    """A name that the data do not have is no zone, nor is a path out of them."""
    for name in ("Mars/Olympus", "", "../zones", "america/chicago"):
        with pytest.raises(KeyError):
            zone(name)


def test_the_schedule_names_the_release_of_the_zone_data() -> None:
    """R3: the release is that of the tzdata package."""
    start = minutes_of(datetime(2026, 6, 1))
    read = read_plan("plan.toml", toml_text(bare_plan("America/Chicago", start, start + DAY)).encode()).plan
    assert read is not None
    schedule = json.loads(schedule_json(compile_schedule(read, EMPTY, Instant(start)), Instant(start)))
    assert schedule["zone_data"] == release() == tzdata.IANA_VERSION


SHOW = """
import sys, zoneinfo
from pathlib import Path
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.times import Instant
from reminders.views.schedule_json import schedule_json
from datetime import datetime
content = Path(sys.argv[1]).read_bytes()
print(datetime(2026, 6, 1, tzinfo=zoneinfo.ZoneInfo("America/Chicago")).utcoffset(), file=sys.stderr)
plan = read_plan("plan.toml", content).plan
sys.stdout.buffer.write(schedule_json(compile_schedule(plan, EMPTY, Instant(0)), Instant(0)))
"""


def test_a_wrong_copy_of_the_zone_data_on_the_machine_changes_nothing(tmp_path: Path) -> None:
    """R3: rules come from the tzdata package although PYTHONTZPATH points to a Chicago that is really Tokyo's."""
    start = minutes_of(datetime(2026, 10, 30))
    plan = bare_plan("America/Chicago", start, start + 4 * DAY)
    plan["order"]["a"] = bare_order(
        "red",
        clock_times=["08:00"],
        first_dose="2026-10-30 08:00",
        until_removal=True,
        duration="30 min",
        least_spacing="12 h",
    )
    (tmp_path / "plan.toml").write_text(toml_text(plan), encoding="utf-8")
    wrong = tmp_path / "zoneinfo" / "America" / "Chicago"
    wrong.parent.mkdir(parents=True)
    wrong.write_bytes(zone_file("Asia/Tokyo"))
    shutil.copy(wrong, wrong.parent / "Denver")
    found = []
    for path in ("", str(tmp_path / "zoneinfo")):
        environment = {**os.environ, "PYTHONTZPATH": path, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        done = subprocess.run(
            [sys.executable, "-c", SHOW, str(tmp_path / "plan.toml")], env=environment, capture_output=True, check=True
        )
        found.append((done.stdout, done.stderr.decode().strip()))
    assert found[1][1] == "9:00:00", "the wrong copy was not even read, so this test would prove nothing"
    assert found[0][1] == "-1 day, 19:00:00"  # CDT, UTC-5
    assert found[0][0] == found[1][0]
    assert b'"2026-10-31T13:00Z"' in found[1][0]  # 08:00 CDT
