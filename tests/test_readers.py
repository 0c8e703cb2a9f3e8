"""Every reader finds exactly the instants that the compiler computed (R25), in every sample and where clocks change.

The readers are listed in ``readers/readers.py``; no one here wrote any of them.
"""

import re
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest
from readers.readers import (
    READERS,
    Reader,
    ask_libical,
    read_with_icalendar,
    read_with_icaljs,
    read_with_libical,
    spans,
    spans_in_calcurse,
)
from readers.samples import CARED_FOR, Sample, Span, at_minute, daily, instant, listed, moment, plan_of, row_spans

from reminders.views.calendar import calendar_file


def written(sample: Sample) -> dict[str, Span]:
    """Return the spans of the events that the sample's file must hold, according to the JSON form."""
    file = sample.file
    until = at_minute(file.until)
    kept = [row for row in sample.rows if moment(row["start"]) < until or not file.left_out]
    assert len(kept) == file.events
    assert len(sample.rows) == file.events + file.left_out
    return row_spans(kept)


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_reader_finds_the_compilers_instants_in_each_sample(sample: Sample, reader: Reader, tmp_path: Path) -> None:
    """Every event of every sample stands where the compiler put it, and nothing else but the closing event."""
    found = spans(reader(sample.file.content, tmp_path))
    planned = sample.planned(found)
    assert planned == written(sample)
    assert [span for uid, span in found.items() if uid not in planned] == sample.closing(sample.file)


def test_calcurse_finds_the_compilers_instants_in_each_sample(sample: Sample, tmp_path: Path) -> None:
    """calcurse knows no UIDs: it must have each span as often as the compiler has."""
    expected = Counter([*written(sample).values(), *sample.closing(sample.file)])
    assert spans_in_calcurse(sample.file.content, tmp_path) == expected


# Clock changes by hand. Each case: the plan, and the instants at which its order's doses must start.
# The rules of the zones: IANA tz data. Chicago leaves daylight time on 2026-11-01 at 07:00Z and enters it on
# 2027-03-14 at 08:00Z. Lord Howe goes back half an hour, from +11 to +10:30, on 2027-04-03 at 15:00Z. British
# Columbia stays at -07 from 2026-03-09 on (tz data 2026b, NEWS), so older copies are an hour off in winter.
CLOCK_CHANGES = {
    "both halves of the repeated hour": (
        plan_of(
            listed("2026-11-01 01:30-05:00", "2026-11-01 01:30-06:00", "2026-11-01 02:30"),
            start="2026-10-31 20:00", end="2026-11-02 08:00",
        ),
        ["2026-11-01T06:30Z", "2026-11-01T07:30Z", "2026-11-01T08:30Z"],
    ),
    "W5: a clock time in the gap": (
        plan_of(daily("02:30", first="2027-03-13 02:30"), start="2027-03-13 00:00", end="2027-03-16 00:00"),
        ["2027-03-13T08:30Z", "2027-03-14T08:30Z", "2027-03-15T07:30Z"],
    ),
    "W6: a clock time that occurs twice": (
        plan_of(
            daily("01:30", "07:30", "13:30", "19:30", first="2026-11-01 01:30", duration="30 min"),
            start="2026-11-01 00:00", end="2026-11-02 00:00",
        ),
        ["2026-11-01T06:30Z", "2026-11-01T13:30Z", "2026-11-01T19:30Z", "2026-11-02T01:30Z"],
    ),
    "a repeated half hour": (
        plan_of(
            listed("2027-04-04 01:45+11:00", "2027-04-04 01:45+10:30"),
            start="2027-04-03 20:00", end="2027-04-05 08:00", zone="Australia/Lord_Howe",
        ),
        ["2027-04-03T14:45Z", "2027-04-03T15:15Z"],
    ),
    "a zone whose law changed": (
        plan_of(
            daily("09:00", first="2026-12-01 09:00"),
            start="2026-12-01 08:00", end="2026-12-03 08:00", zone="America/Vancouver",
        ),
        ["2026-12-01T16:00Z", "2026-12-02T16:00Z"],
    ),
}  # fmt: skip


def starts_expected(case: str) -> tuple[Sample, list[Span]]:
    """Return a case's plan and the spans of its start touches; a touch of these plans takes 10 minutes."""
    plan, starts = CLOCK_CHANGES[case]
    return plan, [(moment(at), moment(at) + timedelta(minutes=10)) for at in starts]


@pytest.mark.parametrize("case", CLOCK_CHANGES)
@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_reader_finds_the_hand_computed_instants(case: str, reader: Reader, tmp_path: Path) -> None:
    """Where clocks change, readers find the instants that arithmetic by hand gives."""
    plan, expected = starts_expected(case)
    starts = {row["uid"] for row in plan.rows if row["kind"] == "start"}
    found = spans(reader(plan.file.content, tmp_path))
    assert sorted(span for uid, span in found.items() if uid in starts) == expected
    assert plan.planned(found) == row_spans(plan.rows)


@pytest.mark.parametrize("case", CLOCK_CHANGES)
def test_calcurse_finds_the_hand_computed_instants(case: str, tmp_path: Path) -> None:
    """The same for calcurse, by number of spans."""
    plan, expected = starts_expected(case)
    found = spans_in_calcurse(plan.file.content, tmp_path)
    assert found == Counter([*row_spans(plan.rows).values(), *plan.closing(plan.file)])
    assert Counter(expected) <= found


CARE_TASKS = {
    "cover": (["2026-10-31T15:00Z", "2026-11-03T16:00Z", "2026-11-06T16:00Z"], 45),
    "hubs": (["2026-11-01T04:00Z", "2026-11-03T06:00Z", "2026-11-05T08:00Z", "2026-11-07T10:00Z"], 10),
    "cold": (["2026-10-31T12:30Z", *(f"2026-11-0{day}T13:30Z" for day in range(1, 7))], 10),
    "vein": (["2026-11-01T07:30Z"], 10),
    "van": (["2026-11-04T20:00Z"], 10),
}
"""Every care task of the tests' own sample, worked out by hand: when it is, and for how many minutes.

The plan runs from 30 October, 08:00 CDT (13:00Z), to 7 November, 08:00 CST (14:00Z); CDT is UTC-5, CST UTC-6 from
1 November, 07:00Z on. The cover: every three days at 10:00 from 28 October. The hubs: every 50 elapsed hours from
29 October, 21:00 CDT (30 October, 02:00Z). Out of the refrigerator: 90 min before 09:00; on the first day that is
before the plan, and the last dose is of the 6th. The vein: 1:30 in the hour that comes twice, the second time. The van: 4 November, 14:00 CST.
"""


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_reader_finds_care_tasks_where_arithmetic_by_hand_puts_them(reader: Reader, tmp_path: Path) -> None:
    """R20, R25: each occurrence of each task, over the change of the clocks too."""
    found = spans(reader(calendar_file(CARED_FOR.schedule, care_tasks=True).content, tmp_path))
    tasks = {row["uid"]: row["task"] for row in CARED_FOR.rows if row["lumen"] is None}
    for name, (starts, lasts) in CARE_TASKS.items():
        expected = [(moment(at), moment(at) + timedelta(minutes=lasts)) for at in starts]
        assert sorted(span for uid, span in found.items() if tasks.get(uid) == name) == expected
    assert len([uid for uid in found if uid not in tasks]) == 1, "the closing event, and no touch of a lumen"


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_reader_tells_a_file_that_is_an_hour_off(reader: Reader, tmp_path: Path) -> None:
    """The readers really read: one event moved by an hour in the file is moved by an hour in what they find."""
    plan, _ = starts_expected("W6: a clock time that occurs twice")
    moved = plan.file.content.replace(b"DTSTART:20261101T063000Z", b"DTSTART:20261101T053000Z")
    assert moved != plan.file.content
    found, expected = spans(reader(moved, tmp_path)), row_spans(plan.rows)
    differing = [(found[uid], expected[uid]) for uid in expected if found[uid] != expected[uid]]
    assert [(seen[0] - meant[0], seen[1] - meant[1]) for seen, meant in differing] == [
        (timedelta(hours=-1), timedelta(0))
    ]


@pytest.mark.parametrize(
    "reader", [read_with_icalendar, read_with_libical, read_with_icaljs], ids=["icalendar", "libical", "ical.js"]
)
@pytest.mark.parametrize("lead", ["0 min", "10 min", "90 min", "12 h"])
def test_readers_find_the_alarm_at_the_lead_time(reader: Reader, lead: str, tmp_path: Path) -> None:
    """The phone rings the plan's lead time before the start, in elapsed time, across a clock change too."""
    number, unit = lead.split()
    before = timedelta(minutes=int(number) * (60 if unit == "h" else 1))
    plan = plan_of(
        daily("09:00", first="2026-10-31 09:00"),
        start="2026-10-31 08:00", end="2026-11-03 08:00", alarm_before=lead,
    )  # fmt: skip
    found = plan.planned(reader(plan.file.content, tmp_path))
    assert {uid: seen.alarm for uid, seen in found.items()} == {
        uid: start - before for uid, (start, _) in row_spans(plan.rows).items()
    }


HOSTILE = {
    "what iCalendar escapes": 'Zk, a;b ,;c,,d;; "e" : f=g',
    "looks like a property": "Zk END:VEVENT BEGIN:VALARM TRIGGER:-PT5M",
    "emoji of several code points": "Zk 👩🏽‍⚕️ 🏳️‍🌈 é",
    "right to left": "Zk \u202bחולה مريض\u202c ok",
    "one very long word": "Zk" + "Überlänge" * 6,
    "format braces and percent": "Zk {what} %s {0} %(x)s",
}


@pytest.mark.parametrize(
    "reader", [read_with_icalendar, read_with_libical, read_with_icaljs], ids=["icalendar", "libical", "ical.js"]
)
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_readers_find_hostile_texts_unharmed(reader: Reader, text: str, tmp_path: Path) -> None:
    """A label and a note arrive character by character, whatever they hold (RFC 5545, 3.3.11)."""
    note = f"{text} | {text} | {text}"
    label = text.replace(",", "")  # a comma parts names of lumens
    plan = plan_of(
        daily("09:00", first="2026-06-02 09:00", drug=text, note=note),
        start="2026-06-02 08:00", end="2026-06-03 08:00", first_label=label,
    )  # fmt: skip
    found = reader(plan.file.content, tmp_path)
    starts = [found[row["uid"]] for row in plan.rows if row["kind"] == "start"]
    assert len(starts) == 1
    assert starts[0].summary == f"{label} lumen: start {text} 2 g"
    assert f"Note: {note}" in (starts[0].description or "").split("\n")


def test_libical_reads_every_line_of_each_sample(sample: Sample, libical: Path, tmp_path: Path) -> None:
    """libical finds no property that it cannot read and none that the standards' restrictions forbid or miss."""
    for number, file in enumerate(sample.files.values()):
        folder = tmp_path / str(number)
        folder.mkdir()
        says = ask_libical(libical, file.content, folder)
        assert says.faults == 0
        assert says.keeps_restrictions


@pytest.mark.parametrize("spoil", [rb"DTSTAMP:[^\r]*\r\n", rb"UID:[^\r]*\r\n(?=SEQUENCE)"], ids=["DTSTAMP", "UID"])
def test_libical_finds_what_is_missing(spoil: bytes, libical: Path, tmp_path: Path) -> None:
    """The check above can fail: as a published object without DTSTAMP or UID the file breaks the restrictions.

    libical looks for them only where a METHOD says which restrictions of RFC 5546 (3.2.1) hold.
    """
    plan, _ = starts_expected("W6: a clock time that occurs twice")
    published = plan.file.content.replace(b"VERSION:2.0\r\n", b"VERSION:2.0\r\nMETHOD:PUBLISH\r\n")
    published = re.sub(rb"(SEQUENCE:\d+\r\n)", rb"\1ORGANIZER:mailto:a@example.com\r\n", published)
    assert ask_libical(libical, published, tmp_path).keeps_restrictions
    spoilt = re.sub(spoil, b"", published, count=1)
    assert spoilt != published
    assert not ask_libical(libical, spoilt, tmp_path).keeps_restrictions


def test_reader_finds_a_range_of_days_alone(tmp_path: Path) -> None:
    """A file for some days holds the events of those days, the first instant included and the last not."""
    plan = plan_of(daily("09:00", first="2026-10-31 09:00"), start="2026-10-31 08:00", end="2026-11-05 08:00")
    first, last = "2026-11-01T15:00Z", "2026-11-03T15:00Z"  # 09:00 CST, when a dose starts, on both days
    file = calendar_file(plan.schedule, first=instant(first), last=instant(last))
    expected = {uid: span for uid, span in row_spans(plan.rows).items() if moment(first) <= span[0] < moment(last)}
    assert moment(first) in [start for start, _ in expected.values()]
    assert moment(last) in [start for start, _ in row_spans(plan.rows).values()]
    found = spans(read_with_libical(file.content, tmp_path))
    assert plan.planned(found) == expected
    assert [span for uid, span in found.items() if uid not in expected] == plan.closing(file)
    assert file.until == instant(last)
