"""What the standards and the rules ask of a calendar file, one test for each clause.

RFC 5545 is iCalendar, RFC 7986 its newer calendar properties. The tests read the file's own lines, by the few rules
of RFC 5545, 3.1, written out below; where they need more than lines they ask a library. That readers find the right
instants is tested in ``test_readers.py``.
"""

import hashlib
import os
import re
import subprocess
import sys
import tomllib
import unicodedata
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, datetime, timedelta
from functools import cache, lru_cache
from importlib import resources
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
import small_plans
from hypothesis import example, given, settings
from hypothesis import strategies as st
from readers.samples import CARED_FOR, ROOT, SAMPLE_PLANS, Sample, at_minute, daily, instant, moment, plan_of, row_spans

from reminders.plan.model import Reveals
from reminders.plan.read import read_plan
from reminders.schedule.counts import supplies
from reminders.times import Instant
from reminders.views.calendar import LARGEST_FILE, calendar_file
from reminders.views.event_bytes import MOST_KEPT, EventText, event_bytes

UNBOUNDED = 10**9
"""Bytes; more than any plan's calendar, so that nothing is cut."""


@dataclass(frozen=True)
class Line:
    """One content line: its name, its parameters as written, and its value as written."""

    name: str
    parameters: str
    value: str


@dataclass
class Component:
    """What stands between BEGIN and END."""

    name: str
    lines: list[Line] = field(default_factory=list)
    parts: list["Component"] = field(default_factory=list)

    def all(self, name: str) -> list[Line]:
        """Return every line of this component, parts apart, with a name."""
        return [line for line in self.lines if line.name == name]

    def one(self, name: str) -> Line:
        """Return the line with a name, which must stand exactly once."""
        (line,) = self.all(name)
        return line

    def walk(self) -> Iterator["Component"]:
        """Yield this component and everything in it."""
        yield self
        for part in self.parts:
            yield from part.walk()


CONTENT_LINE = re.compile(r'([A-Z0-9-]+)((?:;[A-Z0-9-]+=(?:"[^"]*"|[^";:,])*)*):(.*)', re.DOTALL)


@lru_cache(64)
def parse(content: bytes) -> Component:
    """Unfold a file's lines and return its calendar (RFC 5545, 3.1 and 3.4)."""
    text = content.replace(b"\r\n ", b"").replace(b"\r\n\t", b"").decode()
    assert text.endswith("\r\n")
    open_: list[Component] = [Component("")]
    for written in text[:-2].split("\r\n"):
        match = CONTENT_LINE.fullmatch(written)
        assert match, f"no content line: {written!r}"
        line = Line(*match.groups())
        if line.name == "BEGIN":
            open_.append(Component(line.value))
            open_[-2].parts.append(open_[-1])
        elif line.name == "END":
            assert open_[-1].name == line.value
            open_.pop()
        else:
            assert not open_[-1].parts, f"{line.name} of {open_[-1].name} stands after the components in it"
            open_[-1].lines.append(line)
    (root,) = open_
    (calendar,) = root.parts
    assert not root.lines
    return calendar


def events_of(content: bytes) -> dict[str, Component]:
    """Return a file's events by their UIDs."""
    events = parse(content).parts
    found = {event.one("UID").value: event for event in events}
    assert len(found) == len(events), "two events of one UID"
    return found


def texts(content: bytes, name: str) -> list[str]:
    """Return the texts of one property of every event, unescaped by icalendar."""
    return [str(event[name]) for event in read_events(content)]


def read_events(content: bytes) -> list[icalendar.Event]:
    """Return a file's events as icalendar reads them."""
    return icalendar.Calendar.from_ical(content).events


@pytest.fixture(name="contents")
def every_file(sample: Sample) -> list[bytes]:
    """Give a test the whole calendar at each degree of discretion, and one file for each lumen."""
    return sample.contents


# The file


def test_lines_end_in_crlf_and_hold_at_most_75_octets(contents: list[bytes]) -> None:
    """RFC 5545, 3.1: lines end in CRLF and should hold at most 75 octets without it."""
    for content in contents:
        lines = content.split(b"\r\n")
        assert lines[-1] == b""
        for line in lines:
            assert b"\r" not in line
            assert b"\n" not in line
            assert len(line) <= 75


def test_no_character_is_split_between_lines(contents: list[bytes]) -> None:
    """RFC 5545, 3.1: folding may split a multi-octet character, and readers that unfold after decoding then fail."""
    for content in contents:
        for line in content.split(b"\r\n"):
            line.decode()


def test_there_is_no_control_character(contents: list[bytes]) -> None:
    """RFC 5545, 3.1: values hold no control character but the tab."""
    for content in contents:
        kinds = {unicodedata.category(char) for char in content.decode().replace("\r\n", "")}
        assert "Cc" not in kinds


def test_version_and_product_stand_once(contents: list[bytes]) -> None:
    """RFC 5545, 3.6, 3.7.3 and 3.7.4: VERSION:2.0 and a PRODID, each exactly once."""
    for content in contents:
        calendar = parse(content)
        assert calendar.name == "VCALENDAR"
        assert calendar.one("VERSION") == Line("VERSION", "", "2.0")
        assert calendar.one("PRODID") == Line("PRODID", "", "-//reminders//EN")


def test_there_are_events_and_nothing_else(contents: list[bytes]) -> None:
    """RFC 5545, 3.6: a calendar holds at least one component. Ours are events, each with one alarm."""
    for content in contents:
        calendar = parse(content)
        assert {part.name for part in calendar.parts} == {"VEVENT"}
        for event in calendar.parts:
            assert [part.name for part in event.parts] == ["VALARM"]


def test_a_range_without_events_is_still_a_calendar() -> None:
    """RFC 5545, 3.6: a calendar must hold at least one component, on days on which nothing is due too."""
    plan = plan_of(daily("09:00", first="2026-06-02 09:00"), start="2026-06-02 08:00", end="2026-06-04 08:00")
    first, last = instant("2026-06-02T17:00Z"), instant("2026-06-02T18:00Z")
    assert not [row for row in plan.rows if "2026-06-02T17:00Z" <= row["start"] < "2026-06-02T18:00Z"]
    assert parse(calendar_file(plan.schedule, first=first, last=last).content).parts


def test_a_snapshot_has_no_method(contents: list[bytes]) -> None:
    """RFC 5545, 3.7.2: without METHOD a file is a plain copy of a calendar, which asks nobody for anything."""
    for content in contents:
        assert not parse(content).all("METHOD")


def test_nothing_is_left_to_the_reader_to_work_out(contents: list[bytes]) -> None:
    """R25: no zone, rule of recurrence or nominal length of time in any component, and no hint about zones."""
    forbidden = {
        "RRULE", "RDATE", "EXDATE", "EXRULE", "RECURRENCE-ID", "DURATION", "TZID", "X-WR-TIMEZONE", "ACKNOWLEDGED",
        "REPEAT", "TIMEZONE-ID",
    }  # fmt: skip
    for content in contents:
        assert b"TZID" not in content
        for part in parse(content).walk():
            assert not forbidden & {line.name for line in part.lines}


# The events


def test_each_event_has_what_it_needs_once(contents: list[bytes]) -> None:
    """RFC 5545, 3.6.1: UID, DTSTAMP and, where there is no METHOD, DTSTART are required; none may stand twice.

    DTEND stands instead of DURATION, and SUMMARY, DESCRIPTION, SEQUENCE and LAST-MODIFIED at most once.
    """
    for content in contents:
        for event in parse(content).parts:
            for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "SEQUENCE", "LAST-MODIFIED"):
                assert event.one(name).value


def test_times_are_in_utc(contents: list[bytes]) -> None:
    """RFC 5545, 3.3.5, form 2: each time ends in Z and carries no parameter."""
    for content in contents:
        for event in parse(content).parts:
            for name in ("DTSTAMP", "DTSTART", "DTEND", "LAST-MODIFIED"):
                line = event.one(name)
                assert line.parameters == ""
                assert re.fullmatch(r"\d{8}T\d{6}Z", line.value)
            assert event.one("DTSTART").value < event.one("DTEND").value


def stamp(line: Line) -> datetime:
    """Return the instant of a time in UTC."""
    return datetime.strptime(line.value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def test_events_stand_where_the_json_form_says(sample: Sample) -> None:
    """R25: DTSTART and DTEND of the whole calendar are those of the schedule's rows, event by event."""
    file = calendar_file(sample.schedule, largest=UNBOUNDED)
    events = events_of(file.content)
    found = {uid: (stamp(event.one("DTSTART")), stamp(event.one("DTEND"))) for uid, event in events.items()}
    planned = sample.planned(found)
    assert planned == row_spans(sample.rows)
    assert len(sample.rows) == len(planned), "two rows of one UID"
    assert [span for uid, span in found.items() if uid not in planned] == sample.closing(file)


@pytest.mark.parametrize("revision", [1, 4])
def test_sequence_and_stamps_are_the_revisions(revision: int) -> None:
    """RFC 5545, 3.8.7.4 and 3.8.7.2: SEQUENCE starts at 0 and rises with the revision; DTSTAMP is its instant.

    The revision takes effect with the plan, at 08:00 CDT, 13:00 UTC.
    """
    plan = plan_of(
        daily("09:00", first="2026-06-02 09:00"), start="2026-06-02 08:00", end="2026-06-04 08:00", revision=revision
    )
    calendar = parse(plan.file.content)
    assert calendar.parts
    assert calendar.one("LAST-MODIFIED").value == "20260602T130000Z"
    *planned, closing = calendar.parts
    # The closing event is one and the same in every file of its calendar, and moves with the file's end: two days here.
    assert closing.one("SEQUENCE").value == str(revision - 1 + 2)
    for event in planned:
        assert event.one("SEQUENCE").value == str(revision - 1)
    for event in calendar.parts:
        assert event.one("DTSTAMP").value == "20260602T130000Z"
        assert event.one("LAST-MODIFIED").value == "20260602T130000Z"


def plan_texts(sample: Sample) -> set[str]:
    """Return what a plan's file says in words of its own: labels, drugs, names, phones, notes, items of supply."""
    found: set[str] = set()

    def walk(table: dict[str, Any], path: tuple[str, ...]) -> None:
        for key, value in table.items():
            if isinstance(value, dict):
                if path and path[0] in ("lumen", "fluid", "order", "step", "task") and len(path) == 1:
                    found.add(key)  # a table's name, such as a drug's
                if key.startswith("each_") or key in ("consumes", "uses", "brings"):
                    found.update(value)  # items of supply
                else:
                    walk(value, (*path, key))
            elif key in ("label", "drug", "who", "phone", "note", "provider", "name", "syringe", "dose"):
                found.add(value)
            elif key in ("signs", "allergies"):
                found.update(value)

    raw = tomllib.loads(sample.text.decode())
    for name, table in raw.items():
        if isinstance(table, dict):
            walk(table, (name,))
    # A plan may name its calendar as the program names every discreet one: that tells nothing.
    return {text for text in found if len(text) >= 3} - {"Reminders"}


TRADE_WORDS = (
    "flush flushes saline heparin lock dose doses drug infusion infuse lumen catheter line PICC port midline syringe "
    "pump bag nurse pharmacist injection medication medicine units antibiotic nutrition sodium"
).split()
"""Words that tell a stranger what it is about."""


def told(text: str, words: set[str]) -> set[str]:
    """Return which of the words (or phrases) stand in a text as whole words."""
    return {word for word in words if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE)}


def test_uids_are_uuids_and_tell_nothing(sample: Sample, contents: list[bytes]) -> None:
    """RFC 7986, 5.3: a UID should be a UUID, of less than 255 octets, and must not identify anyone or any host.

    RFC 9074, 4, asks the same of an alarm's.
    """
    words = plan_texts(sample)
    for content in contents:
        for part in parse(content).walk():
            written = part.one("UID").value
            assert str(uuid.UUID(written)) == written
            assert "@" not in written
            assert not told(written, words)


def test_uids_are_unique_in_a_file(contents: list[bytes]) -> None:
    """RFC 5545, 3.8.4.7: a UID is unique to its component, alarms' and the calendar's own among them."""
    for content in contents:
        uids = Counter(part.one("UID").value for part in parse(content).walk())
        assert max(uids.values()) == 1


def test_plans_with_other_ids_share_no_uid() -> None:
    """RFC 7986, 5.3: UIDs are unique in the world, so two patients of one order differ in all of them."""
    first, second = (
        plan_of(
            daily("09:00", first="2026-06-02 09:00"),
            start="2026-06-02 08:00",
            end="2026-06-05 08:00",
            identity=identity,
        )
        for identity in ("7c0a2d53-3a5e-4b0e-8b6e-52b1f2f6a001", "1d9f1b7a-94c8-4b57-a7a5-9f0b2c0de002")
    )
    uids = [{part.one("UID").value for part in parse(plan.file.content).walk()} for plan in (first, second)]
    assert row_spans(first.rows).keys() != row_spans(second.rows).keys()
    assert not uids[0] & uids[1]


# The alarm


def test_each_event_has_one_display_alarm_before_it(sample: Sample, contents: list[bytes]) -> None:
    """RFC 5545, 3.6.6: a DISPLAY alarm has ACTION, TRIGGER and DESCRIPTION once. Ours rings at the plan's lead time.

    Its trigger is relative to the start (3.8.6.3) and exact: days and weeks are nominal (3.3.6) and stay out.
    """
    lead = sample.plan.calendar.alarm_before
    planned = {row["uid"] for row in sample.rows}
    for content in contents:
        for event in parse(content).parts:
            (alarm,) = event.parts
            if event.one("UID").value not in planned:
                assert exact_minutes(alarm.one("TRIGGER").value) <= -lead  # the closing event, see below
                continue
            assert alarm.one("ACTION").value == "DISPLAY"
            assert alarm.one("DESCRIPTION").value
            assert alarm.one("TRIGGER").parameters == ""
            assert exact_minutes(alarm.one("TRIGGER").value) == -lead


def exact_minutes(duration: str) -> int:
    """Return the minutes of a duration that has no nominal part, by RFC 5545, 3.3.6."""
    if duration == "P0D":
        return 0  # nothing, however long a day is
    match = re.fullmatch(r"(-?)PT(?:(\d+)H)?(?:(\d+)M)?(?:0S)?", duration)
    assert match, f"not a duration in hours and minutes alone: {duration}"
    sign, hours, minutes = match.groups(default="0")
    return (int(hours) * 60 + int(minutes)) * (-1 if sign == "-" else 1)


@pytest.mark.parametrize(("lead", "minutes"), [("0 min", 0), ("45 min", 45), ("90 min", 90), ("12 h", 720)])
def test_alarm_is_the_lead_time_in_exact_time(lead: str, minutes: int) -> None:
    """RFC 5545, 3.3.6: a day is as long as the clocks make it, 1440 minutes are not (R1)."""
    plan = plan_of(
        daily("09:00", first="2026-10-31 09:00"),
        start="2026-10-31 08:00", end="2026-11-02 08:00", alarm_before=lead,
    )  # fmt: skip
    for event in parse(plan.file.content).parts:
        assert exact_minutes(event.parts[0].one("TRIGGER").value) == -minutes


def test_icalendar_rings_at_the_lead_time(sample: Sample) -> None:
    """icalendar's own reckoning of alarms (RFC 5545, 3.8.6.3) and plain subtraction agree for every event."""
    lead = timedelta(minutes=sample.plan.calendar.alarm_before)
    planned = {row["uid"] for row in sample.rows}
    for event in read_events(sample.file.content):
        start = event.start
        assert isinstance(start, datetime)
        rings = [time.trigger for time in icalendar.Alarms(event).times]
        if str(event["UID"]) in planned:
            assert rings == [start - lead]
        else:
            (ring,) = rings
            assert isinstance(ring, datetime)
            assert not any(begin <= ring.timestamp() // 60 < end for begin, end in sample.schedule.quiet)


def test_nobody_is_woken_to_hear_that_a_calendar_ends() -> None:
    """A part that ends at midnight, in the quiet hours from 22:00, says so at 21:59."""
    quiet = '\n[household]\nquiet_hours = ["22:00-07:00"]\n'
    orders = daily("09:00", first="2026-06-02 09:00") + quiet
    plan = plan_of(orders, start="2026-06-02 08:00", end="2026-06-06 12:00")
    part = calendar_file(plan.schedule, last=instant("2026-06-04T05:00Z"))
    (closing,) = closing_of(plan, part.content)
    rings = stamp(closing.one("DTSTART")) + timedelta(minutes=exact_minutes(closing.parts[0].one("TRIGGER").value))
    assert rings == moment("2026-06-04T02:59Z")


# The calendar's own properties


def test_refresh_interval_says_that_it_is_a_duration() -> None:
    """RFC 7986, 5.7: REFRESH-INTERVAL has no default type, so VALUE=DURATION must stand there."""
    plan = plan_of(daily("09:00", first="2026-06-02 09:00"), start="2026-06-02 08:00", end="2026-06-03 08:00")
    assert plan.plan.calendar.refresh_every == 60
    assert plan.file.content.count(b"\r\nREFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n") == 1


# The 147 colour names of CSS3 (W3C, CSS Color Module Level 3, section 4.3), those that plans may use among them.
CSS3_COLOURS = frozenset(
    "aliceblue antiquewhite aqua aquamarine azure beige bisque black blanchedalmond blue blueviolet brown burlywood "
    "cadetblue chartreuse chocolate coral cornflowerblue cornsilk crimson cyan darkblue darkcyan darkgoldenrod "
    "darkgray darkgreen darkgrey darkkhaki darkmagenta darkolivegreen darkorange darkorchid darkred darksalmon "
    "darkseagreen darkslateblue darkslategray darkslategrey darkturquoise darkviolet deeppink deepskyblue dimgray "
    "dimgrey dodgerblue firebrick floralwhite forestgreen fuchsia gainsboro ghostwhite gold goldenrod gray green "
    "greenyellow grey honeydew hotpink indianred indigo ivory khaki lavender lavenderblush lawngreen lemonchiffon "
    "lightblue lightcoral lightcyan lightgoldenrodyellow lightgray lightgreen lightgrey lightpink lightsalmon "
    "lightseagreen lightskyblue lightslategray lightslategrey lightsteelblue lightyellow lime limegreen linen magenta "
    "maroon mediumaquamarine mediumblue mediumorchid mediumpurple mediumseagreen mediumslateblue mediumspringgreen "
    "mediumturquoise mediumvioletred midnightblue mintcream mistyrose moccasin navajowhite navy oldlace olive "
    "olivedrab orange orangered orchid palegoldenrod palegreen paleturquoise palevioletred papayawhip peachpuff peru "
    "pink plum powderblue purple red rosybrown royalblue saddlebrown salmon sandybrown seagreen seashell sienna "
    "silver skyblue slateblue slategray slategrey snow springgreen steelblue tan teal thistle tomato turquoise violet "
    "wheat white whitesmoke yellow yellowgreen".split()
)


def test_calendar_says_its_name_colour_and_identity_once(contents: list[bytes]) -> None:
    """RFC 7986, 5.1, 5.3, 5.4 and 5.9: NAME, UID, LAST-MODIFIED once; COLOR once, by a name of CSS3."""
    assert len(CSS3_COLOURS) == 147
    for content in contents:
        calendar = parse(content)
        assert calendar.one("NAME").value == calendar.one("X-WR-CALNAME").value
        assert calendar.one("COLOR").value in CSS3_COLOURS
        calendar.one("UID")
        calendar.one("LAST-MODIFIED")


def test_only_known_properties_stand_in_a_file(contents: list[bytes]) -> None:
    """Whatever else a library might add by itself would stand in every phone: nothing does."""
    known = {
        "VCALENDAR": "VERSION PRODID UID NAME X-WR-CALNAME DESCRIPTION X-WR-CALDESC COLOR LAST-MODIFIED REFRESH-INTERVAL X-PUBLISHED-TTL "
        "X-ZONE-DATA",
        "VEVENT": "UID DTSTAMP DTSTART DTEND SUMMARY DESCRIPTION SEQUENCE LAST-MODIFIED CATEGORIES CLASS",
        "VALARM": "UID ACTION TRIGGER DESCRIPTION",
    }
    for content in contents:
        for part in parse(content).walk():
            assert {line.name for line in part.lines} <= set(known[part.name].split())


# Texts


def unescaped(value: str) -> str:
    """Return the text of a value: each backslash belongs to the character after it (RFC 5545, 3.3.11).

    In one pass, unlike icalendar 7.3.2, which takes an escaped backslash before a capital N for a new line.
    """
    assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", value), "something is not escaped"
    return re.sub(r"\\(.)", lambda match: "\n" if match[1] in "nN" else match[1], value)


PLAIN_CHARACTERS = st.characters(exclude_categories=("Cc", "Cs", "Co", "Cn"), exclude_characters="\\")
"""What a plan's texts may be made of."""


@settings(max_examples=60)
@example(label="L", drug="a,;b", note=";,:;")
@given(
    label=st.text(PLAIN_CHARACTERS, min_size=1, max_size=55),
    drug=st.text(st.sampled_from(';,:"nN é𝕏👩\u200d\u202e'), min_size=1, max_size=59),
    note=st.text(PLAIN_CHARACTERS | st.sampled_from(",;"), min_size=1, max_size=400),
)
def test_any_text_comes_back_as_it_was(label: str, drug: str, note: str) -> None:
    """RFC 5545, 3.3.11 and 3.1: escaping and folding lose, add and change nothing, whatever the text.

    The plan reader joins runs of white space; what it takes in must arrive.
    """
    label, drug, note = (" ".join(text.split()) or "x" for text in (f"L{label.replace(',', ';')}", f"D{drug}", note))
    plan = plan_of(
        daily("09:00", first="2026-06-02 09:00", drug=drug, note=note),
        start="2026-06-02 08:00", end="2026-06-03 08:00", first_label=label,
    )  # fmt: skip
    content = plan.file.content
    for line in content.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()
    starts = {row["uid"] for row in plan.rows if row["kind"] == "start"}
    (start,) = (event for uid, event in events_of(content).items() if uid in starts)
    assert unescaped(start.one("SUMMARY").value) == f"{label} lumen: start {drug} 2 g"
    assert f"Note: {note}" in unescaped(start.one("DESCRIPTION").value).split("\n")


@pytest.mark.parametrize("control", ["\\u0000", "\\u0007", "\\u001B", "\\u007F", "\\u009B", "\\uE000"])
def test_control_characters_do_not_get_as_far_as_a_calendar(control: str) -> None:
    """RFC 5545, 3.1: control characters must not stand in a value; the plan reader refuses them."""
    good = plan_of(daily("09:00", first="2026-06-02 09:00"), start="2026-06-02 08:00", end="2026-06-03 08:00")
    reading = read_plan("control", good.text.replace(b'"Jasper"', f'"Jas{control}per"'.encode()))
    assert [finding.code for finding in reading.findings if finding.places == (("lumen", "two", "label"),)] == [
        "wrong-form"
    ]
    assert not reading.complete


BACKSLASHES = ["a\\nb", "a\\Nb", "a\\,b", "a\\", "\\\\", "a \\ b"]
"""What programs read in different ways: icalendar 7.3.2 takes an escaped backslash before a capital N for a new line."""

BACKSLASHED = {
    "a lumen's label": (('label = "Jasper"', "label = {}"), ("lumen", "two", "label")),
    "a fluid's label": (('label = "Brineol"', "label = {}"), ("fluid", "sal", "label")),
    "a fluid's syringe": (('syringe = "Brineol syringe"', "syringe = {}"), ("fluid", "sal", "syringe")),
    "a drug": (('drug = "Velmorin"', "drug = {}"), ("order", "daily", "drug")),
    "a note": (('note = "Keep it in the Larkspur box."', "note = {}"), ("order", "daily", "note")),
    "a name": (('who = "Ward Quillhaven"', "who = {}"), ("call", "now", "who")),
    "a phone": (('phone = "555-0191"', "phone = {}"), ("call", "now", "phone")),
    "a sign": (('phone = "555-0191"', 'phone = "555-0191"\nsigns = [{}]'), ("call", "now", "signs")),
    "the calendar's name": (('name = "Calendar of Quillhaven"', "name = {}"), ("calendar", "name")),
    "the provider": (('provider = "Quillhaven Home Care"', "provider = {}"), ("protocol", "provider")),
    "an item of supply": (
        ("[call.now]", "[supplies]\neach_touch = {{ {} = 1 }}\n\n[call.now]"),
        ("supplies", "each_touch"),
    ),
    "an item of a dose": (
        ('note = "Keep it in the Larkspur box."', "each_dose = {{ {} = 1 }}"),
        ("order", "daily", "each_dose"),
    ),
}


@pytest.mark.parametrize("text", BACKSLASHES)
@pytest.mark.parametrize("where", BACKSLASHED)
def test_no_backslash_gets_as_far_as_a_calendar(where: str, text: str) -> None:
    """RFC 5545, 3.3.11: what follows a backslash is read in different ways, so the plan reader takes in none."""
    good = plan_of(daily("09:00", first="2026-06-02 09:00"), start="2026-06-02 08:00", end="2026-06-03 08:00")
    (old, new), place = BACKSLASHED[where]
    assert good.text.decode().count(old) == 1
    reading = read_plan("backslash", good.text.decode().replace(old, new.format(f"'{text}'")).encode())
    assert [(finding.code, finding.places) for finding in reading.findings] == [("wrong-form", (place,))]
    assert "backslash" in reading.findings[0].message
    assert not reading.complete
    assert good.plan, "without the backslash it is a plan"


# Determinism


def digests(paths: list[str]) -> list[str]:
    """Return a digest of the calendar that each plan gives, compiled anew."""
    made = (Sample(path, Path(path).read_bytes()).file.content for path in paths)
    return [hashlib.sha256(content).hexdigest() for content in made]


def test_same_plan_gives_the_same_bytes_elsewhere() -> None:
    """R24: another hash seed, zone, language and system zone data, and a second time, change no byte."""
    paths = [str(path) for path in SAMPLE_PLANS]
    here = digests(paths)
    assert digests(paths) == here
    environment = os.environ | {
        "PYTHONHASHSEED": "1071", "TZ": "Pacific/Chatham", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONTZPATH": "",
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]), "LANGUAGE": "de",
    }  # fmt: skip
    code = "import sys, test_calendar; print(*test_calendar.digests(sys.argv[1:]))"
    done = subprocess.run(
        [sys.executable, "-c", code, *paths], env=environment, capture_output=True, text=True, check=True, timeout=300
    )
    assert done.stdout.split() == here


# Parts of a calendar


def test_lumens_and_care_tasks_files_together_are_the_whole_calendar(sample: Sample) -> None:
    """Each event stands in the file of its lumen, or of the care tasks, and in no other, byte for byte as in the whole."""
    whole = sample.planned(events_of(calendar_file(sample.schedule, largest=UNBOUNDED).content))
    lumen_of = {row["uid"]: row["lumen"] for row in sample.rows}
    parts = {
        lumen: sample.planned(
            events_of(calendar_file(sample.schedule, lumen=lumen, care_tasks=lumen is None, largest=UNBOUNDED).content)
        )
        for lumen in (*sample.plan.lumens, None)
    }
    assert {uid: event for events in parts.values() for uid, event in events.items()} == whole
    for lumen, events in parts.items():
        assert {lumen_of[uid] for uid in events} <= {lumen}


CARE = {"ahead": ("cover", "hubs", "cold", "vein", "van"), "lumens": ("level", "labs")}
"""The tasks of the tests' own sample: those that stand for themselves, and draws through a lumen."""


def test_a_draw_through_a_lumen_is_that_lumens_and_every_other_care_task_is_not() -> None:
    """R20: a draw through a lumen is a touch; a draw from a vein, a visit or a delivery is none."""
    for lumen, label in (("onyx", "Velmorin level"), ("two", "Tessel panel")):
        titles = texts(calendar_file(CARED_FOR.schedule, lumen=lumen).content, "SUMMARY")
        assert [title for title in titles if label in title]
        assert not [title for title in titles if "Wendle" in title or "vein" in title or "van" in title]
    content = calendar_file(CARED_FOR.schedule, care_tasks=True).content
    assert {row["task"] for row in CARED_FOR.rows if row["uid"] in events_of(content)} == set(CARE["ahead"])
    assert parse(content).one("NAME").value == "Calendar of Quillhaven: Care tasks"
    names = {parse(file).one("UID").value for file in CARED_FOR.contents[-3:]}
    assert len(names) == 3, "each calendar has a name of its own"


def test_a_care_task_lasts_as_long_as_it_takes() -> None:
    """Changing the dressing takes 45 min; what says nothing takes as long as a touch, 10 min."""
    file = events_of(CARED_FOR.file.content)
    lasts = {
        row["task"]: stamp(file[row["uid"]].one("DTEND")) - stamp(file[row["uid"]].one("DTSTART"))
        for row in CARED_FOR.rows
        if row["lumen"] is None
    }
    short = timedelta(minutes=10)
    assert lasts == dict.fromkeys(CARE["ahead"], short) | {"cover": timedelta(minutes=45)}


def test_a_care_task_says_who_does_it_when_with_what_and_whom_to_call() -> None:
    """R20, R21, R27: what the family sees when it opens the event of the dressing of 31 October, 10:00 CDT."""
    (said,) = [
        unescaped(event.one("DESCRIPTION").value)
        for event in parse(CARED_FOR.file.content).parts
        if event.one("DTSTART").value == "20261031T150000Z" and "Wendle" in event.one("SUMMARY").value
    ]
    assert said.split("\n") == [
        "Sat 31 Oct 2026, 10:00 CDT. Renew the Wendle cover.",
        "The nurse does this.",
        "At any hour of this day.",
        "Prepare: 1 × Ostrel kit.",
        "Note: Ask for Tamsin.",
        "Something does not look right, or it cannot be done? Call Ward Quillhaven, 555-0191. What Quillhaven Home Care "
        "told you comes first.",
    ]


@pytest.mark.parametrize(
    ("reveals", "category", "name"),
    [
        (Reveals.EVERYTHING, "Care tasks", "Calendar of Quillhaven: Care tasks"),
        (Reveals.UNLOCKED, "0", "Reminders 0"),
        (Reveals.NOTHING, "0", "Reminders 0"),
    ],
)
def test_care_tasks_have_a_category_and_a_calendar_that_tell_no_more_than_may_be_told(
    reveals: Reveals, category: str, name: str
) -> None:
    """R26: where not everything may be shown they have a number that no lumen has, however many there are."""
    content = calendar_file(CARED_FOR.revealing(reveals), care_tasks=True).content
    tasks = CARED_FOR.planned(events_of(content))
    assert len(tasks) == len([row for row in CARED_FOR.rows if row["lumen"] is None])
    assert {event.one("CATEGORIES").value for event in tasks.values()} == {category}
    assert parse(content).one("NAME").value == name


def test_ranges_that_meet_share_no_event_and_lose_none(sample: Sample) -> None:
    """A file holds the events from its first instant up to its last; the next file goes on from there."""
    touches = [moment(row["start"]) for row in sample.rows]
    middle = int(touches[len(touches) // 2].timestamp()) // 60
    first, last = sample.schedule.start, int(touches[-1].timestamp()) // 60 + 1
    files = [
        calendar_file(sample.schedule, first=Instant(left), last=Instant(right), largest=UNBOUNDED)
        for left, right in ((first, middle), (middle, last))
    ]
    held = [
        [stamp(event.one("DTSTART")) for event in sample.planned(events_of(file.content)).values()] for file in files
    ]
    assert max(held[0]) < at_minute(middle) == min(held[1])
    assert sorted(held[0] + held[1]) == touches


def year() -> Sample:
    """Return a year of doses every 8 hours beside a second lumen: far more than one file may hold."""
    return plan_of(
        daily("06:00", "14:00", "22:00", first="2026-03-02 14:00"), start="2026-03-02 08:00", end="2027-03-02 08:00"
    )


YEAR = year()

CARED_FOR_YEAR = Sample(
    "a year with care tasks",
    YEAR.text
    + b"""
[task.weight]
kind = "weighing"
label = "Weigh"
done_by = "household"
every_days = 1
at = "07:30"
last_done = "2026-03-01 07:30"

[task.evening]
kind = "other"
label = "Look at the cover"
done_by = "household"
weekdays = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
at = "23:30"
""",
)
"""The same with two care tasks on each day, one of them the last event of the day."""


@pytest.mark.parametrize("plan", [YEAR, CARED_FOR_YEAR], ids=["touches", "with care tasks"])
@pytest.mark.parametrize("largest", [LARGEST_FILE, 50_000])
def test_a_year_is_cut_at_whole_days_and_says_so(largest: int, plan: Sample) -> None:
    """A file stays within its size, holds as many whole local days as fit, and closes with an event that says so."""
    file = calendar_file(plan.schedule, largest=largest)
    assert len(file.content) <= largest
    assert file.left_out == len(plan.rows) - file.events > 0
    zone = zone_of("America/Chicago")
    days = Counter(moment(row["start"]).astimezone(zone).date() for row in plan.rows)
    events = events_of(file.content)
    kept = [row for row in plan.rows if row["uid"] in events]
    assert len({row["lumen"] for row in kept}) == (3 if plan is CARED_FOR_YEAR else 2)
    cut = moment(plan.rows[file.events]["start"]).astimezone(zone).date()
    assert Counter(moment(row["start"]).astimezone(zone).date() for row in kept) == {
        day: touches for day, touches in days.items() if day < cut
    }
    (closing,) = (event for uid, event in events.items() if uid not in {row["uid"] for row in kept})
    assert stamp(closing.one("DTEND")) == at_minute(file.until)
    assert file.until == instant(plan.rows[file.events]["start"]), "all events up to here are in the file"
    assert "calendar ends" in closing.one("SUMMARY").value
    # With the day after as well it would not have fitted. Closing events differ by the digits of a date.
    after = datetime(cut.year, cut.month, cut.day, tzinfo=zone) + timedelta(days=1)
    longer = calendar_file(plan.schedule, last=Instant(int(after.timestamp()) // 60), largest=UNBOUNDED)
    closing_size = len(file.content) - file.content.rindex(b"BEGIN:VEVENT") - len(b"END:VCALENDAR\r\n")
    assert len(longer.content) + closing_size + 8 > largest


@pytest.mark.parametrize("reveals", Reveals)
def test_no_size_is_overrun_by_a_byte(reveals: Reveals) -> None:
    """Asked each time for one byte less than the last file had, each file stays within what was asked for.

    So every place at which the file can be cut is tried at the size at which it only just fits.
    """
    plan = plan_of(
        daily("09:00", first="2026-06-05 09:00"), start="2026-06-05 08:00", end="2026-07-02 08:00", reveals=reveals
    )
    file = plan.file
    cuts = 0
    while file.events:
        largest = len(file.content) - 1
        file = calendar_file(plan.schedule, largest=largest)
        assert len(file.content) <= largest
        cuts += 1
    assert cuts >= 27, "each of the plan's days was cut off once"


def closing_of(plan: Sample, content: bytes) -> list[Component]:
    """Return the events of a file that are none of the schedule's."""
    uids = {row["uid"] for row in plan.rows}
    return [event for uid, event in events_of(content).items() if uid not in uids]


@pytest.mark.parametrize("end", ["2026-06-03 09:30", "2026-06-03 10:00", "2026-06-03 10:05", "2026-06-03 12:00"])
def test_the_closing_event_is_the_last(end: str) -> None:
    """Whatever is finished last, past the plan's end too, is over in the file before the event that says that it ends.

    The dose of 09:00 runs to 10:00 CDT, 15:00Z.
    """
    plan = plan_of(daily("09:00", first="2026-06-02 09:00", duration="60 min"), start="2026-06-02 08:00", end=end)
    assert max(row["start"] for row in plan.rows if row["lumen"] == "one") == "2026-06-03T15:00Z"
    (closing,) = closing_of(plan, plan.file.content)
    assert closing is not None
    assert parse(plan.file.content).parts[-1].one("UID") == closing.one("UID")
    last_event = events_of(plan.file.content)[plan.rows[-1]["uid"]]
    assert stamp(closing.one("DTSTART")) >= stamp(last_event.one("DTEND"))


DOSES = daily("09:00", first="2026-06-02 09:00")
REMOVED = plan_of(DOSES, start="2026-06-02 08:00", end="2026-06-06 12:00", ends_with="line_removal")
"""A plan with whose end the line is taken out, on 6 June at noon, 17:00Z."""


def test_a_calendar_that_reaches_the_removal_has_no_closing_event() -> None:
    """Nothing is due once the line is out, so there is no next calendar to ask for."""
    for lumen in (None, "one", "two"):
        file = calendar_file(REMOVED.schedule, lumen=lumen)
        assert file.events
        assert closing_of(REMOVED, file.content) == []


def test_a_calendar_that_ends_before_the_removal_has_a_closing_event() -> None:
    """The days before are closed like any others, be it by choice or for their size."""
    part = calendar_file(REMOVED.schedule, last=instant("2026-06-05T05:00Z"))
    small = calendar_file(REMOVED.schedule, largest=len(REMOVED.file.content) - 1)
    assert small.left_out
    for file in (part, small):
        (closing,) = closing_of(REMOVED, file.content)
        assert stamp(closing.one("DTEND")) == at_minute(file.until)
        assert "calendar ends" in closing.one("SUMMARY").value
    rest = calendar_file(REMOVED.schedule, first=instant("2026-06-05T05:00Z"))
    assert rest.events
    assert closing_of(REMOVED, rest.content) == []


def test_a_calendar_without_a_removal_has_a_closing_event() -> None:
    """A plan's end is not the line's: it may still need flushes, and somebody must hear of it."""
    plan = plan_of(DOSES, start="2026-06-02 08:00", end="2026-06-06 12:00")
    (closing,) = closing_of(plan, plan.file.content)
    assert stamp(closing.one("DTEND")) >= moment("2026-06-06T17:00Z")


def test_a_calendar_that_holds_nothing_has_a_closing_event() -> None:
    """RFC 5545, 3.6: at least one component, even when the line is out by then."""
    unused = Sample("unused", REMOVED.text.replace(b'label = "Jasper"', b'label = "Jasper"\nin_use = false'))
    file = calendar_file(unused.schedule, lumen="two")
    assert file.events == 0
    (event,) = parse(file.content).parts
    assert "calendar ends" in event.one("SUMMARY").value


@pytest.mark.parametrize(
    ("reveals", "title", "body"),
    [
        (
            Reveals.EVERYTHING,
            "This calendar ends here: get the next one",
            "ask for the calendar of the days that follow",
        ),
        (Reveals.UNLOCKED, "Reminder", "ask for the calendar of the days that follow"),
        (Reveals.NOTHING, "Reminder", "Last reminder in this calendar: get the next one."),
    ],
)
def test_a_closing_event_says_that_another_calendar_is_needed(reveals: Reveals, title: str, body: str) -> None:
    """At each degree of discretion the household learns that the calendar, not the care, is over."""
    plan = plan_of(DOSES, start="2026-06-02 08:00", end="2026-06-06 12:00", reveals=reveals)
    (closing,) = closing_of(plan, plan.file.content)
    assert unescaped(closing.one("SUMMARY").value) == title
    when, *said = unescaped(closing.one("DESCRIPTION").value).split("\n")
    assert when == f"{local_words(plan, stamp(closing.one('DTSTART')))}."
    assert body in said[0]


@pytest.mark.parametrize(
    ("reveals", "categories"),
    [
        (Reveals.EVERYTHING, {"one": "Amaranth lumen", "two": "Jasper lumen"}),
        (Reveals.UNLOCKED, {"one": "1", "two": "2"}),
        (Reveals.NOTHING, {"one": "1", "two": "2"}),
    ],
)
def test_categories_tell_lumens_apart_and_no_more_than_may_be_told(
    reveals: Reveals, categories: dict[str, str]
) -> None:
    """RFC 5545, 3.8.1.2. R26: a phone may show categories, so they are numbers unless everything may be shown."""
    plan = plan_of(DOSES, start="2026-06-02 08:00", end="2026-06-06 12:00", reveals=reveals)
    lumen_of = {row["uid"]: row["lumen"] for row in plan.rows}
    assert set(lumen_of.values()) == {"one", "two"}
    for uid, event in plan.planned(events_of(plan.file.content)).items():
        assert event.one("CATEGORIES").value == categories[lumen_of[uid]]
    (closing,) = closing_of(plan, plan.file.content)
    assert not closing.all("CATEGORIES")


# Discretion (R26)


def test_samples_texts_are_found_where_all_is_revealed(sample: Sample) -> None:
    """The search that the next tests rest on finds drugs, lumens, phones and trade words where they stand."""
    content = sample.files[Reveals.EVERYTHING].content
    text = " ".join(texts(content, "SUMMARY") + texts(content, "DESCRIPTION"))
    found = told(text, plan_texts(sample))
    assert sample.plan.contacts["now"].phone in found
    assert sample.plan.protocol.provider in found
    assert any(lumen.label in found for lumen in sample.plan.lumens.values())
    assert told(text, set(TRADE_WORDS)) >= {"flush", "lumen", "drug", "nurse"}


def test_a_locked_screen_tells_nothing(sample: Sample) -> None:
    """R26: titles, alarms' texts and the calendar's name hold nothing of the plan and no word of the trade."""
    words = plan_texts(sample) | set(TRADE_WORDS)
    for reveals in (Reveals.UNLOCKED, Reveals.NOTHING):
        schedule = sample.revealing(reveals)
        files = [calendar_file(schedule), *(calendar_file(schedule, lumen=lumen) for lumen in sample.plan.lumens)]
        for file in (*files, calendar_file(schedule, care_tasks=True)):
            calendar = parse(file.content)
            shown = [calendar.one("NAME").value, calendar.one("X-WR-CALNAME").value]
            for event in calendar.parts:
                shown += [event.one("SUMMARY").value, event.parts[0].one("DESCRIPTION").value]
                shown += [line.value for line in event.all("CATEGORIES")]
                assert event.one("CLASS").value == "PRIVATE"
            assert not told(" | ".join(dict.fromkeys(shown)), words)


def test_a_closing_event_tells_nothing_either() -> None:
    """R26: the event that says that the file ends is as discreet as the others."""
    words = plan_texts(YEAR) | set(TRADE_WORDS)
    for reveals in (Reveals.UNLOCKED, Reveals.NOTHING):
        file = calendar_file(YEAR.revealing(reveals), largest=50_000)
        closing = parse(file.content).parts[-1]
        assert stamp(closing.one("DTEND")) == at_minute(file.until)
        assert not told(closing.one("SUMMARY").value + " | " + closing.parts[0].one("DESCRIPTION").value, words)


def test_a_file_that_reveals_nothing_holds_nothing(sample: Sample) -> None:
    """R26: with "nothing at all" no line of the file holds anything of the plan or a word of the trade.

    The colour is left aside: it is the plan's choice among names of colours, which are names of lumens too.
    """
    words = plan_texts(sample) | set(TRADE_WORDS)
    schedule = sample.revealing(Reveals.NOTHING)
    contents = [calendar_file(schedule, lumen=lumen, largest=60_000).content for lumen in (None, *sample.plan.lumens)]
    for content in (*contents, calendar_file(schedule, care_tasks=True).content):
        unfolded = content.replace(b"\r\n ", b"").decode()
        lines = [line for line in dict.fromkeys(unfolded.split("\r\n")) if not line.startswith("COLOR:")]
        assert not told("\n".join(lines), words)


# Cautions (R27) and local time


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@cache
def zone_of(name: str) -> ZoneInfo:
    """Return a zone's rules as the tzdata package has them (R3), whatever the machine has."""
    with resources.files("tzdata").joinpath("zoneinfo", *name.split("/")).open("rb") as file:
        return ZoneInfo.from_file(file, key=name)


def local_words(sample: Sample, at: datetime) -> str:
    """Return day, time and abbreviation on the clock in force; the offset where a zone has no letters for it."""
    zone = sample.plan.course.zone.key
    for change in sample.plan.zone_changes:
        if at_minute(change.at.instant) <= at:
            zone = change.zone.key
    local = at.astimezone(zone_of(zone))
    name = local.tzname() or ""
    if not name.isalpha():
        offset = int((local.utcoffset() or timedelta()).total_seconds()) // 60
        name = f"UTC{'-' if offset < 0 else '+'}{abs(offset) // 60:02}:{abs(offset) % 60:02}"
    day = f"{WEEKDAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local.year}"
    return f"{day}, {local.hour:02}:{local.minute:02} {name}"


def test_each_event_says_its_local_time_in_words(sample: Sample) -> None:
    """R5, R25: whatever clock a phone shows, the text begins with the local time and its zone's abbreviation."""
    for file in sample.files.values():
        for event in read_events(file.content):
            assert isinstance(event.start, datetime)
            assert str(event["DESCRIPTION"]).startswith(local_words(sample, event.start) + ".")


# Common practice, no source: what a household is told wherever it is told to flush (R27).
CAUTIONS = (
    r"\bSTOP\b", r"\bclamp\b", r"never force", r"no blood return", r"\bpain\b", r"\bswelling\b", r"\bleak\b",
    r"[Cc]heck name, drug, strength, expiry (?:date )?and lumen", r"[Nn]ever double", r"speed it up",
    r"[Nn]ot recorded does not mean not done", r"comes? first",
)  # fmt: skip


def test_wherever_steps_are_told_so_is_when_to_stop_and_whom_to_call(sample: Sample) -> None:
    """R27: each event that says what to do says when to stop, whom to call, and that the provider comes first.

    A care task touches no lumen; it says whom to call and who comes first all the same.
    """
    contacts = sample.plan.contacts
    uids = {row["uid"] for row in sample.rows if row["lumen"] is not None}
    tasks = {row["uid"] for row in sample.rows} - uids
    for reveals in (Reveals.EVERYTHING, Reveals.UNLOCKED):
        events = read_events(sample.files[reveals].content)
        told_steps = [event for event in events if re.search(r"^1\. ", str(event["DESCRIPTION"]), re.MULTILINE)]
        assert {str(event["UID"]) for event in events if str(event["UID"]) in uids} == {
            str(event["UID"]) for event in told_steps
        }
        for event in told_steps:
            said = str(event["DESCRIPTION"])
            missing = [caution for caution in CAUTIONS if not re.search(caution, said)]
            assert not missing
            for tier in ("now", "emergency"):
                assert contacts[tier].phone in said
                assert contacts[tier].who in said
            assert sample.plan.protocol.provider in said
        of_tasks = [str(event["DESCRIPTION"]) for event in events if str(event["UID"]) in tasks]
        assert len(of_tasks) == len(tasks)
        for said in of_tasks:
            assert contacts["now"].phone in said
            assert re.search(rf"{re.escape(sample.plan.protocol.provider)} told you comes first", said)


def test_nothing_at_all_still_says_where_to_look(sample: Sample) -> None:
    """R27: an event that may reveal nothing tells no step, and points to the plan, where cautions and phones stand."""
    found = sample.planned(events_of(sample.files[Reveals.NOTHING].content))
    assert found
    for event in found.values():
        said = unescaped(event.one("DESCRIPTION").value)
        assert not re.search(r"^1\. ", said, re.MULTILINE)
        assert re.search(r"\byour plan\b", said)


# Supplies, counted from what the calendar tells people to lay out (R21)


def prepared(content: bytes) -> Counter[str]:
    """Return the sum of what the events of a file say to lay out."""
    found: Counter[str] = Counter()
    for said in texts(content, "DESCRIPTION"):
        for line in said.split("\n"):
            if line.startswith("Prepare: "):
                items = re.split(r", (?=\d+ × )", line.removeprefix("Prepare: ").removesuffix("."))
                for item in items:
                    number, name = item.split(" × ", 1)
                    found[name] += int(number)
    return found


def test_what_the_calendar_says_to_lay_out_is_what_the_supplies_count(sample: Sample) -> None:
    """R21: the events' own lists add up to the supplies of the same range, of the whole plan and of its middle."""
    schedule = sample.revealing(Reveals.EVERYTHING)
    first, last = schedule.start, Instant(int(moment(sample.rows[-1]["start"]).timestamp()) // 60 + 1)
    third = (last - first) // 3
    for left, right in ((first, last), (Instant(first + third), Instant(last - third))):
        content = calendar_file(schedule, first=left, last=right, largest=UNBOUNDED).content
        expected = supplies(schedule, left, right)
        assert prepared(content) == expected
        assert expected.total() > 0 or not sample.planned(events_of(content))


def test_w2_a_week_of_syringes() -> None:
    """W2: a 60-minute dose at 08:00 and 20:00 for 7 days takes 14 doses, 28 saline and 14 heparin syringes.

    One lumen is asked about: its gaps of 11 h need no flush of their own. The second lumen has no part in it.
    """
    plan = plan_of(daily("08:00", "20:00", first="2026-06-01 08:00"), start="2026-06-01 08:00", end="2026-06-08 08:00")
    content = calendar_file(plan.schedule, lumen="one").content
    assert prepared(content) == {"Brineol syringe": 28, "Stillwell syringe": 14}


# What was written before in the same process


@given(st.data())
@settings(max_examples=30)
def test_an_event_that_was_written_before_is_written_alike(data: st.DataObject) -> None:
    """R24: whatever an event's lines depend on tells it apart from those that were written before; else it is the same."""
    one = EventText(
        uid="9b1f0f7e-5a5b-5c4e-8d0a-2f6a1c9d7e01",
        at=instant("2026-06-01T14:00Z"),
        lasts=15,
        title="Red lumen: flush",
        description="Mon 1 Jun 2026, 09:00 CDT.",
        category="red lumen",
        rings=10,
        cancelled=False,
        sequence=1,
        stamp=instant("2026-06-01T12:00Z"),
        alarm="5d0c2a44-6f0e-5b3f-9a57-0f4f0a4b8c02",
        private=False,
        organizer=("urn:uuid:7a3e", "Fennimore Vale"),
    )
    changes: dict[str, Any] = {
        "uid": "other",
        "at": instant("2026-06-01T14:01Z"),
        "lasts": 16,
        "title": "Red lumen: Flush",
        "description": "",
        "category": None,
        "rings": 0,
        "cancelled": True,
        "sequence": 2,
        "stamp": instant("2026-06-01T12:01Z"),
        "alarm": "other",
        "private": True,
        "organizer": ("urn:uuid:7a3e", ""),
    }
    assert set(changes) == {entry.name for entry in fields(EventText)}
    event_bytes.cache_clear()
    chosen = data.draw(st.sets(st.sampled_from(sorted(changes)), min_size=1))
    other = replace(one, **{name: changes[name] for name in chosen})
    before, after = event_bytes(one), event_bytes(other)
    assert before != after
    assert event_bytes(one) == before == event_bytes.__wrapped__(one)
    assert event_bytes(other) == after == event_bytes.__wrapped__(other)
    assert event_bytes.cache_info().misses == 2


def test_a_calendar_is_the_same_whatever_was_written_before(sample: Sample) -> None:
    """R24: the first in a process and a later one; and no more is kept than so many events."""
    event_bytes.cache_clear()
    first = calendar_file(sample.schedule).content
    misses = event_bytes.cache_info().misses
    assert calendar_file(sample.schedule).content == first
    if misses <= MOST_KEPT:
        assert event_bytes.cache_info().misses == misses
    assert event_bytes.cache_info().currsize <= MOST_KEPT


def test_a_name_with_a_semicolon_or_comma_is_escaped() -> None:
    """RFC 5545, 3.3.11."""
    content = calendar_file(
        small_plans.schedule(small_plans.DAILY + '[calendar]\nname = "Care; morning, evening"\n')
    ).content
    assert b"NAME:Care\\; morning\\, evening\r\n" in content
