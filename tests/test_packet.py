"""The packet: an e-mail with plan, calendar and sheet that says what to do, reads alike everywhere, and tells nothing that
nobody typed (RFC 5322, 2045-2047, 2183, 1864 for mail; RFC 6047 and 5546 for the calendar in it)."""

import email
import getpass
import hashlib
import io
import os
import re
import socket
import tomllib
from base64 import b64decode
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from email.policy import default
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pytest
from applying import Importer, calendar, events, live
from click.testing import Result
from mail_server import HOST, certificate_for, mail_server
from own_places import HOME, OTHER, SECOND, own_places, run
from packet_home import NOW, Desk, packed, with_read_back
from page_browser import LAPTOP, PHONE, chromium, size
from readers.mail import MAIL_READERS, MailReader
from readers.readers import READERS, Reader, ask_libical, spans
from small_plans import plan_text

from reminders.examine import examine
from reminders.mailing.contents import Typed, holdings
from reminders.mailing.forms import html, plain
from reminders.mailing.letter import Enclosed, Letter, letter_of, names_of, subject_of
from reminders.mailing.message import AddressError, Envelope, Files, address_of, draft, message_of, posted
from reminders.plan import model
from reminders.plan.keys import LABEL, TEXT
from reminders.record.facts import EMPTY
from reminders.schedule.model import Schedule
from reminders.times import Instant, utc

NAMES = ("plan-revision-1-0F0E-8A52.toml", "calendar-revision-1-0F0E-8A52.ics", "sheet-revision-1-0F0E-8A52.pdf")
SHAPE = [
    (1, "multipart/mixed", ""),
    (2, "multipart/alternative", ""),
    (3, "text/plain", ""),
    (3, "text/html", ""),
    (3, "text/calendar", ""),
    (2, "application/toml", NAMES[0]),
    (2, "text/calendar", NAMES[1]),
    (2, "application/pdf", NAMES[2]),
]


@pytest.fixture(autouse=True)
def _own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "home", monkeypatch)


@pytest.fixture(name="desk")
def a_desk(tmp_path: Path) -> Desk:
    """Give a test a desk at which a packet was made, with everything typed that can be."""
    return packed(
        tmp_path / "desk", HOME, "--patient", "Zoë Quill", "--from", "Ana Bëll <ana@fennimore.example>",
        "--to", "family@quill.example", "--to", "Rué <r@quill.example>",
    )  # fmt: skip


@pytest.fixture(name="bare")
def a_bare_desk(tmp_path: Path) -> Desk:
    """Give a test a desk at which a packet was made, with nothing typed."""
    return packed(tmp_path / "desk")


def schedule_of(edits: str = HOME) -> Schedule:
    """Return the schedule of the base plan with edits."""
    found = examine("plan.toml", plan_text(edits).encode(), EMPTY, Instant(0)).schedule
    assert found is not None
    return found


def letter(edits: str = HOME, patient: str = "") -> Letter:
    """Return the letter to a plan."""
    schedule = schedule_of(edits)
    enclosed = Enclosed(names=names_of(schedule.plan), made=schedule.start, until=schedule.end, patient=patient)
    return letter_of(schedule, enclosed)


def parsed(content: bytes) -> EmailMessage:
    """Return an e-mail as Python's newer reader has it."""
    message = email.message_from_bytes(content, policy=default)
    assert isinstance(message, EmailMessage)
    return message


# The e-mail, read by others


@pytest.mark.parametrize("reader", MAIL_READERS.values(), ids=MAIL_READERS.keys())
def test_every_reader_of_mail_finds_the_same_parts_and_the_same_bytes(
    desk: Desk, reader: MailReader, tmp_path: Path
) -> None:
    seen = reader(desk.mail(), tmp_path)
    assert seen.shape == SHAPE
    assert seen.headers["From"] == "Ana Bëll <ana@fennimore.example>"
    assert seen.headers["To"] == "family@quill.example, Rué <r@quill.example>"
    assert seen.headers["Subject"] == "Your packet, revision 1: it takes the place of earlier ones"
    assert seen.named(NAMES[0]) == (desk.folder / "fennimore.toml").read_bytes()
    assert seen.named(NAMES[1]) == desk.calendar() == seen.of_kind("text/calendar")[0]
    assert seen.named(NAMES[2]) == desk.sheet()
    (text,), (page,) = seen.of_kind("text/plain"), seen.of_kind("text/html")
    assert "Zoë Quill" in text.decode()
    assert "Zoë Quill" in page.decode()


@pytest.mark.parametrize("which", [0, 1], ids=["beside the letter", "as a file"])
@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_every_calendar_program_finds_the_plans_instants_in_the_calendar_of_the_mail(
    bare: Desk, reader: Reader, which: int, tmp_path: Path
) -> None:
    content = parsed(bare.mail())
    part = [found for found in content.walk() if found.get_content_type() == "text/calendar"][which]
    body = part.get_payload(decode=True)
    assert isinstance(body, bytes)
    found = spans(reader(body, tmp_path))
    schedule = schedule_of()
    took = timedelta(minutes=schedule.plan.course.handling_time)
    planned = {touch.uid: (utc(touch.at), utc(touch.at) + took) for touch in schedule.touches}
    assert {uid: span for uid, span in found.items() if uid in planned} == planned
    assert len(found) == len(planned) + 1, "and the event that says that it ends"


# RFC 6047 and RFC 5546, requirement by requirement


def calendar_parts(content: bytes) -> list[EmailMessage]:
    """Return the calendar parts of an e-mail."""
    found = [part for part in parsed(content).walk() if part.get_content_type() == "text/calendar"]
    assert len(found) == 2
    return [part for part in found if isinstance(part, EmailMessage)]


def body(part: EmailMessage) -> bytes:
    """Return the bytes of a part."""
    content = part.get_payload(decode=True)
    assert isinstance(content, bytes)
    return content


def organizer_is_a_mailto(content: bytes) -> None:
    """RFC 6047, 2.3: ORGANIZER MUST be a proper mailto URI; the sender, where one was typed."""
    for part in calendar_parts(content):
        found = {event.one("ORGANIZER") for event in calendar(body(part)).parts}
        assert found == {"mailto:ana@fennimore.example"}


def type_is_text_calendar_with_method(content: bytes) -> None:
    """RFC 6047, 2.4: the method parameter MUST be there, and be the METHOD of the calendar."""
    for part in calendar_parts(content):
        assert part.get_param("method") == calendar(body(part)).one("METHOD") == "PUBLISH"


def charset_is_stated(content: bytes) -> None:
    """RFC 6047, 2.4: charset MUST be stated unless all is US-ASCII; UTF-8 is what the bytes are."""
    for part in calendar_parts(content):
        assert str(part.get_param("charset")).upper() == "UTF-8"
        body(part).decode("utf-8")


def component_is_what_it_holds(content: bytes) -> None:
    """RFC 5545, 8.1: the component parameter names the kinds of component in the part."""
    for part in calendar_parts(content):
        assert {part.get_param("component")} == {event.name for event in calendar(body(part)).parts}


def encoding_keeps_every_byte(content: bytes) -> None:
    """RFC 6047, 2.5: encoded so that no server changes it; the whole e-mail is 7-bit with lines of at most 998 (RFC 5322, 2.1.1)."""
    assert {part["Content-Transfer-Encoding"] for part in calendar_parts(content)} == {"base64"}
    assert content.isascii()
    assert max(len(line) for line in content.split(b"\r\n")) <= 998
    assert b"\n" not in content.replace(b"\r\n", b"")


def one_part_is_a_file(content: bytes) -> None:
    """RFC 6047, 2.6 and RFC 2183: what is to be saved is an attachment whose name ends in .ics."""
    beside, attached = calendar_parts(content)
    assert beside.get_filename() is None
    assert beside.get_content_disposition() in (None, "inline")
    assert attached.get_content_disposition() == "attachment"
    assert attached.get_filename() == "calendar-revision-1-0F0E-8A52.ics"


def there_is_a_text_for_people(content: bytes) -> None:
    """RFC 6047, 2.4: a readable alternative SHOULD be sent; RFC 2046, 5.1.4: the plainest comes first."""
    mixed = parsed(content)
    alternative = next(mixed.iter_parts())
    assert alternative.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in alternative.iter_parts()] == [
        "text/plain",
        "text/html",
        "text/calendar",
    ]


def all_parts_say_the_same_events(content: bytes) -> None:
    """RFC 6047, 2.4: alternatives MUST NOT hold different calendar objects."""
    assert len({body(part) for part in calendar_parts(content)}) == 1


def one_publish_with_one_event_per_uid(content: bytes) -> None:
    """RFC 5546, 3.2.1: PUBLISH may hold many events; each UID once, no recurrence, no ATTENDEE, no REQUEST-STATUS."""
    found = calendar(body(calendar_parts(content)[0]))
    uids = [event.one("UID") for event in found.parts]
    assert len(uids) == len(set(uids)) > 10
    for event in found.parts:
        for name in ("ATTENDEE", "RECURRENCE-ID", "REQUEST-STATUS", "RRULE"):
            assert event.values(name) == []


def each_event_has_what_publish_asks_for(content: bytes) -> None:
    """RFC 5546, 3.2.1: ORGANIZER, DTSTAMP, DTSTART, SUMMARY, UID once each; SEQUENCE (2.1.4), here always."""
    for event in calendar(body(calendar_parts(content)[0])).parts:
        for name in ("ORGANIZER", "DTSTAMP", "DTSTART", "SUMMARY", "UID", "SEQUENCE"):
            assert event.one(name)


def head_is_complete(content: bytes) -> None:
    """RFC 5322, 3.6: Date, From once; Message-ID should be there; MIME-Version once (RFC 2045, 4)."""
    message = parsed(content)
    for name in ("Date", "From", "To", "Subject", "Message-ID", "MIME-Version"):
        assert len(message.get_all(name, [])) == 1, name
    assert message["Date"].datetime == datetime(2026, 6, 1, 13, 30, tzinfo=UTC)
    assert re.fullmatch(r"<[0-9a-f-]{36}@fennimore\.example>", message["Message-ID"])


def names_of_files_are_plain(content: bytes) -> None:
    """RFC 2183, 2.3 and RFC 2231: ASCII names need no encoding that some programs do not know."""
    raw = re.findall(rb'filename="?([^"\r\n]*)', content)
    assert [name.decode("ascii") for name in raw] == list(NAMES)
    assert b"filename*" not in content


def boundaries_occur_nowhere_else(content: bytes) -> None:
    """RFC 2046, 5.1.1: a boundary must not appear in what it separates."""
    found = re.findall(rb'boundary="([^"]+)"', content)
    assert len(found) == len(set(found)) == 2
    assert [content.count(b"--" + boundary) for boundary in found] == [5, 4]


def digests_are_right(content: bytes) -> None:
    """RFC 1864: Content-MD5 is that of the decoded bytes, on each file."""
    files = [part for part in parsed(content).walk() if part.get_content_disposition() == "attachment"]
    assert len(files) == 3
    for part in files:
        decoded = part.get_payload(decode=True)
        assert isinstance(decoded, bytes)
        assert b64decode(part["Content-MD5"]) == hashlib.md5(decoded, usedforsecurity=False).digest()


REQUIREMENTS: list[Callable[[bytes], None]] = [
    organizer_is_a_mailto,
    type_is_text_calendar_with_method,
    charset_is_stated,
    component_is_what_it_holds,
    encoding_keeps_every_byte,
    one_part_is_a_file,
    there_is_a_text_for_people,
    all_parts_say_the_same_events,
    one_publish_with_one_event_per_uid,
    each_event_has_what_publish_asks_for,
    head_is_complete,
    names_of_files_are_plain,
    boundaries_occur_nowhere_else,
    digests_are_right,
]


@pytest.mark.parametrize("requirement", REQUIREMENTS, ids=lambda check: check.__name__)
def test_the_standards_are_kept(desk: Desk, requirement: Callable[[bytes], None]) -> None:
    requirement(desk.mail())


def test_libical_agrees_that_the_calendar_keeps_the_restrictions(desk: Desk, libical: Path, tmp_path: Path) -> None:
    says = ask_libical(libical, desk.calendar(), tmp_path)
    assert says.faults == 0
    assert says.keeps_restrictions


def test_without_a_sender_the_organizer_can_never_be_reached(bare: Desk) -> None:
    """RFC 6047, 2.3 asks for a mailto; RFC 2606, 2: nothing under .invalid exists."""
    found = {event.one("ORGANIZER") for event in calendar(bare.calendar()).parts}
    assert len(found) == 1
    assert re.fullmatch(r"mailto:[0-9a-f-]{36}@reminders\.invalid", found.pop())


def test_a_calendar_that_is_to_tell_nothing_does_not_tell_the_sender(tmp_path: Path) -> None:
    quiet = f'{HOME}\n[calendar]\nreveals = "nothing at all"\n'
    desk = packed(tmp_path / "desk", quiet, "--from", "ana@fennimore.example")
    assert b"fennimore" not in desk.calendar().lower()


# The same input, the same bytes; a draft and what is posted


def a_message(**changes: object) -> EmailMessage:
    """Return an e-mail of its parts."""
    head = {"date": datetime(2026, 6, 1, 13, 30, tzinfo=UTC), "message_id": "<1@reminders.invalid>", "subject": "S"}
    envelope = Envelope(**{**head, **changes})  # type: ignore[arg-type]
    files = Files(
        plan=b"plan = 1\r\nend\n", calendar=b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n", sheet=b"%PDF-1.4\n\x00\xff"
    )
    return message_of(letter(), names_of(schedule_of().plan), files, envelope)


def test_the_same_input_gives_the_same_bytes() -> None:
    assert draft(a_message()) == draft(a_message())
    assert draft(a_message()) != draft(a_message(message_id="<2@reminders.invalid>"))


def test_a_draft_says_so_and_what_is_posted_does_not() -> None:
    """X-Unsent, documented by Microsoft for MAPI and CDO: opened as a draft. A received one must not."""
    message = a_message()
    assert parsed(draft(message))["X-Unsent"] == "1"
    assert parsed(posted(message))["X-Unsent"] is None
    assert draft(message).replace(b"X-Unsent: 1\r\n", b"") == posted(message)


@pytest.mark.parametrize("reader", MAIL_READERS.values(), ids=MAIL_READERS.keys())
def test_bytes_that_a_text_would_lose_arrive(reader: MailReader, tmp_path: Path) -> None:
    """Bare line ends, NUL, bytes above 127, a last line without an end."""
    seen = reader(posted(a_message()), tmp_path)
    assert seen.named(NAMES[0]) == b"plan = 1\r\nend\n"
    assert seen.named(NAMES[2]) == b"%PDF-1.4\n\x00\xff"


# Nothing personal unless typed


def everything_in(content: bytes) -> str:
    """Return all texts of an e-mail, decoded, its PDF's too."""
    told = [f"{name}: {value}" for part in parsed(content).walk() for name, value in part.items()]
    for part in parsed(content).walk():
        decoded = part.get_payload(decode=True)
        if isinstance(decoded, bytes) and part.get_content_type() != "application/pdf":
            told.append(decoded.decode("utf-8", errors="replace"))
        if part.get_content_type() == "application/pdf":
            assert isinstance(decoded, bytes)
            told += [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(decoded)).pages]
    return "\n".join(told)


def test_nothing_that_nobody_typed_is_in_it(bare: Desk) -> None:
    """No sender, no receiver, no name of the computer, its user, its folders or the plan's file."""
    message = parsed(bare.mail())
    assert message["From"] is message["To"] is None
    told = everything_in(bare.mail())
    for secret in (socket.gethostname(), socket.getfqdn(), f"{getpass.getuser()}@", bare.folder.name, "fennimore.toml"):
        assert not re.search(rf"\b{re.escape(secret)}(?!\w)", told), secret
    assert message["Message-ID"].endswith("@reminders.invalid>")


def test_the_patients_name_stands_in_letter_and_sheet_and_not_in_the_subject(desk: Desk) -> None:
    message = parsed(desk.mail())
    assert "Zoë" not in message["Subject"]
    assert "Zoë Quill" in "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(desk.sheet())).pages)
    assert "Zoë Quill".encode() not in desk.calendar()


def test_a_subject_that_was_typed_is_taken(tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk", HOME, "--subject", "Für Zoë")
    assert parsed(desk.mail())["Subject"] == "Für Zoë"


# What it holds is said


MARKED = """
[plan]
note = "mark-note"
[line]
allergies = ["mark-allergy"]
[step.weigh]
label = "mark-step"
[task.visit]
kind = "visit"
label = "mark-task"
done_by = "nurse"
moments = ["2026-06-03 10:00"]
note = "mark-task-note"
[task.van]
kind = "delivery"
label = "mark-van"
done_by = "pharmacy"
moments = ["2026-06-04 10:00"]
brings = { "saline syringe" = 20 }
[order.cefazolin]
drug = "mark-drug"
note = "mark-order-note"
[protocol]
provider = "mark-provider"
[lumen.red]
label = "mark-lumen"
[fluid.saline]
label = "mark-fluid"
[call.emergency]
who = "mark-emergency"
phone = "555-0171"
signs = ["mark-sign"]
[call.now]
who = "mark-now"
phone = "555-0172"
[stock.saline]
item = "saline syringe"
on_hand = 40
counted_at = "2026-06-01 07:00"
order_ahead = "2 days"
[read_back]
by = "mark-reader"
at = "2026-05-31 16:00"
check = "mark-letters"
[calendar]
name = "mark-calendar"
"""

NOT_LISTED = {
    ("stock", "item"): "an item of supply; it is listed, but no mark can stand there",
    ("fluid", "syringe"): "the name of an item of supply, as a shop has it",
    ("read_back", "check"): "letters of what is read back, which name nothing",
}
"""Free texts of a plan that are neither personal nor medical."""


def test_what_it_holds_names_every_text_of_the_plan_that_is_personal_or_medical() -> None:
    """Each key that takes a free text is marked in the plan above; each mark is told."""
    edits = HOME + MARKED
    plan = schedule_of(edits).plan
    told = "\n".join(entry for held in holdings(plan, plan_text(edits), Typed()) for entry in held.entries)
    marks = set(re.findall(r"mark-[a-z-]+|555-\d{4}", plan_text(edits))) - {"mark-letters"}
    assert len(marks) == 18
    assert {mark for mark in marks if mark not in told} == set()
    marked = tomllib.loads(MARKED)
    for table, cls in model.TABLES.items():
        for key in fields(cls):
            if key.metadata.get("form") in (LABEL, TEXT) and (table, key.name) not in NOT_LISTED:
                rows = marked[table].values() if table in model.NAMED_TABLES else [marked[table]]
                assert any(re.match("mark-|555-", row.get(key.name, "")) for row in rows), (
                    f"no mark for {table}.{key.name}"
                )


def test_what_it_holds_names_what_was_typed_and_what_is_not_in_it(desk: Desk, tmp_path: Path) -> None:
    said = desk.packs(
        desk.folder / "fennimore.toml", "--patient", "Zoë Quill", "--from", "ana@fennimore.example"
    ).output
    before, _, after = said.partition("Wrote ")
    assert "the patient's name: Zoë Quill" in before
    assert "from ana@fennimore.example" in before
    assert "555-0142" in before
    assert "cefazolin 1 g, red lumen" in before
    assert "Allergies: none known" in before
    assert "0f0e8a52-6a0b-4c53-8d3e-6f5a1f0b9c11" in before
    assert "Read back by: Ines Marlow" in before
    assert "to whom it goes" in before.partition("Not in it:")[2]
    assert "packet-revision-1-0F0E-8A52.eml" in after


def test_remarks_in_the_plans_file_are_said_because_they_go_along(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    text = plan.read_text(encoding="utf-8")
    plan.write_text(f'# for Zoë Quill, room 4\n{text}\n# "and" [this] = too\n', encoding="utf-8")
    said = desk.packs(plan).output
    assert "- for Zoë Quill, room 4\n" in said
    assert '- "and" [this] = too\n' in said


def test_what_was_recorded_is_said_where_the_calendar_shows_it(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    assert "really happened" not in desk.packs(plan).output
    run("record", plan, "started", "cefazolin", "9:05", "--now", "2026-06-01 09:10-05:00")
    said = desk.packs(plan).output
    assert "What really happened, in calendar and sheet: 1 report" in said
    assert "the record of what happened" not in said
    assert "the record itself, beyond what calendar and sheet show of it" in said


# The letter


class Seen(HTMLParser):
    """What a browser would show of a page, and what it would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self._hidden += tag in ("style", "title")
        self.links += [
            value or "" for name, value in attrs if name in ("href", "src", "action", "background", "srcset")
        ]
        assert not any(name.startswith("on") or name == "style" for name, _value in attrs)

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("style", "title")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.words += data.split()


NASTY = 'Zoë <b>Quill</b> & "sons" <script>alert(1)</script> <img src=x>'


@pytest.mark.parametrize("edits", [HOME, HOME + MARKED, with_read_back(HOME)], ids=["small", "all tiers", "read back"])
@pytest.mark.parametrize("patient", ["", "Zoë Quill", NASTY], ids=["nobody", "somebody", "nasty"])
def test_text_and_html_say_the_same_words_in_the_same_order(edits: str, patient: str) -> None:
    said = letter(edits, patient)
    seen = Seen()
    seen.feed(html(said))
    numbers = re.compile(r"[0-9]\.|-|=+|\*\*\*")
    text = [word for word in plain(said).split() if not numbers.fullmatch(word)]
    assert "".join(text).upper() == "".join(seen.words).upper()
    assert set(seen.tags) <= set("html head meta title style body h1 h2 p ol ul li dl dt dd a".split())
    assert all(re.fullmatch(r"tel:\+?[0-9]+", link) for link in seen.links)
    assert not re.search(r"url\(|@import|https?:", html(said))


def test_the_letter_says_what_to_do_whom_to_call_and_what_it_replaces() -> None:
    said = " ".join(plain(letter(with_read_back(HOME))).split())
    for part in (
        "This is revision 1 of the plan, made Mon 1 Jun 2026, 08:00 CDT.",
        "from then on it takes the place of every earlier revision; throw older sheets away then",
        "1. Print the sheet, sheet-revision-1-0F0E-8A52.pdf",
        "2. If a computer reminds you: save plan-revision-1-0F0E-8A52.toml",
        "type reminders open plan-revision-1-0F0E-8A52.toml",
        "3. On a phone that does not follow that computer's calendar: open calendar-revision-1-0F0E-8A52.ics.",
        "On a phone that does follow it, do not open it",
        "EMERGENCY, call Emergency services, 911: short of breath",
        "STOP, clamp and call On-call nurse, Fennimore Vale, 555-0142: it will not flush (never force it)",
        "Never double a dose",
        "Fennimore Vale Home Infusion or your nurse told you comes first",
        "Read back by Ines Marlow, Sun 31 May 2026, 16:00 CDT; check letters",
    ):
        assert part in said
    assert said.index("EMERGENCY") < said.index("STOP, clamp")
    assert max(len(line) for line in plain(letter()).splitlines()) <= 72


@pytest.mark.parametrize(
    ("edits", "loud"),
    [
        (HOME, "NOBODY HAS READ THIS PLAN BACK YET."),
        (with_read_back(HOME).replace('drug = "cefazolin"', 'drug = "cefazolin"') + '[order.cefazolin]\ndose = "2 g"\n',
         "THIS PLAN WAS CHANGED AFTER IT WAS READ BACK by Ines Marlow"),
    ],
    ids=["nobody", "changed since"],
)  # fmt: skip
def test_the_letter_says_loudly_that_the_plan_was_not_read_back(edits: str, loud: str) -> None:
    said = letter(edits)
    assert f"*** {loud}"[:30] in plain(said)
    assert f'<p class="loud">{loud}' in html(said)
    assert 'class="loud"' not in html(letter(with_read_back(HOME)))


def test_the_subject_tells_nothing(bare: Desk) -> None:
    plan = schedule_of().plan
    assert parsed(bare.mail())["Subject"] == subject_of(plan)
    for word in (plan.protocol.provider, plan.calendar.name, "infusion", "cefazolin", "line", "flush"):
        assert word.lower() not in subject_of(plan).lower()


def test_the_page_is_readable_on_a_phone_and_in_the_dark(tmp_path: Path) -> None:
    """No sideways scrolling at 390 px, letters of at least 16 px, contrast of at least 7 to 1 both ways (WCAG 2.2, 1.4.6)."""
    file = tmp_path / "letter.html"
    file.write_text(html(letter(HOME + MARKED, "Zoë " + "Quillanandershire" * 8)), encoding="utf-8")
    driver = chromium(tmp_path / "profile")
    try:
        for (width, height), dark in ((PHONE, False), (PHONE, True), (LAPTOP, False)):
            size(driver, width, height, dark=dark)
            driver.get(file.as_uri())
            assert driver.execute_script("return document.documentElement.scrollWidth") <= width
            letters, ink, ground = driver.execute_script(
                "const probe = document.createElement('p'); document.body.append(probe);"
                "const canvas = document.createElement('canvas').getContext('2d');"
                "const rgb = colour => { canvas.fillStyle = colour; canvas.fillRect(0, 0, 1, 1);"
                " return [...canvas.getImageData(0, 0, 1, 1).data].slice(0, 3); };"
                "probe.style.background = 'Canvas';"
                "const style = getComputedStyle(probe);"
                "return [parseFloat(style.fontSize), rgb(style.color), rgb(style.backgroundColor)];"
            )
            assert letters >= 16
            assert contrast(ink, ground) >= 7
            assert (sum(ground) < sum(ink)) is dark
    finally:
        driver.quit()


def contrast(one: list[int], two: list[int]) -> float:
    """Return the contrast of two colours (WCAG 2.2, relative luminance)."""

    def light(colour: list[int]) -> float:
        parts = [part / 255 for part in colour]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dim = sorted((light(one), light(two)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


# The calendar's numbers: a packet rolls nothing back


def test_packets_and_other_calendars_share_their_numbers(tmp_path: Path) -> None:
    """One event bears the same SEQUENCE in the packet and in what compile --for-mail wrote before and after it."""
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    run("compile", plan, "--for-mail", "--out", tmp_path / "files", *NOW)
    desk.packs(plan)
    written = (tmp_path / "files" / "fennimore-mail.ics").read_bytes()
    assert events(desk.calendar()) == events(written)
    run("record", plan, "started", "cefazolin", "9:20", "--now", "2026-06-01 09:25-05:00")
    later = (tmp_path / "files" / "fennimore-mail.ics").read_bytes()
    assert events(later) != events(written), "compile's calendar is written again after a report"
    desk.packs(plan, now=("--now", "2026-06-01 09:30-05:00"))
    assert events(desk.calendar()) == events(later)


def test_a_phone_that_opens_packets_in_any_order_has_the_newest(tmp_path: Path) -> None:
    """Revision 2 moves doses: RFC 5546, 2.1.5 makes it win over revision 1, whichever is opened last."""
    desk = Desk(tmp_path)
    first = desk.write(HOME)
    desk.packs(first)
    assert run("record", first, "started", "cefazolin", "8:25", *NOW).exit_code == 0
    second = desk.write(SECOND, "second.toml")
    refused = desk.packs(second)
    assert refused.exit_code == 1
    assert "revision 1 is in use" in refused.output
    assert not (desk.out / "packet-revision-2-0F0E-8A52.eml").exists()
    assert run("record", second, "in", "use", *NOW).exit_code == 0
    assert desk.packs(second).exit_code == 0
    old, new = desk.calendar(1), desk.calendar(2)
    assert events(old) != events(new)
    for order in ([old, new], [new, old], [new], [old, new, old]):
        phone = Importer(order)
        assert {uid: event.said for uid, event in phone.has.items()} == {
            uid: event.said for uid, event in live(events(new)).items()
        }


@pytest.mark.parametrize("command", ["packet", "compile"])
def test_where_nothing_was_reported_a_later_revision_follows_by_itself(command: str, tmp_path: Path) -> None:
    """A nurse's folder holds what was published alone: the next week's packet is made, and it says what that changed."""
    desk = Desk(tmp_path)
    desk.packs(desk.write(HOME))
    second = desk.write(SECOND, "second.toml")
    made = run(command, second, "--out", desk.out, *NOW)
    assert made.exit_code == 0, made.output
    assert made.output.count("Revision 2 is in use beside second.toml now: nothing was reported under revision 1.") == 1
    again = desk.packs(second)
    assert again.exit_code == 0 and "now: nothing was reported" not in again.output
    older = desk.packs(tmp_path / "fennimore.toml")
    assert older.exit_code == 1 and "revision 2 is in use" in older.output


def test_what_went_out_stays_as_it_went(tmp_path: Path) -> None:
    """A report writes calendars again, but not the file that lies beside an e-mail that was sent."""
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    desk.packs(plan)
    before = {path.name: path.read_bytes() for path in desk.out.iterdir()}
    said = run("record", plan, "started", "cefazolin", "9:20", "--now", "2026-06-01 09:25-05:00").output
    assert "Calendar written again" not in said
    assert {path.name: path.read_bytes() for path in desk.out.iterdir()} == before
    assert sorted(before) == [
        "calendar-revision-1-0F0E-8A52.ics",
        "packet-revision-1-0F0E-8A52.eml",
        "sheet-revision-1-0F0E-8A52.pdf",
    ]


# What changes from one packet to the next

WITH_ANOTHER = f"""{HOME}
[order.ceftriaxone]
dose = "2 g"
lumen = "grey"
clock_times = ["12:00"]
first_dose = "2026-06-01 12:00"
last_day = 2026-06-06
duration = "30 min"
least_spacing = "20 h"
[order.ondansetron]
drug = "ondansetron"
dose = "4 mg"
lumen = "grey"
given_as = "push"
as_needed = true
most_in_24h = 3
until_removal = true
least_spacing = "8 h"
duration = "5 min"
without on_time_within
without cut_off
"""
RENAMED = HOME.replace("[lumen.grey]", '[lumen.g]\nlabel = "grey"')
REVISION_2 = '[plan]\nrevision = 2\ntakes_effect = "2026-06-03 08:00"\n'
MENDED = HOME.replace('clock_times = ["09:00"]', 'clock_times = ["10:00"]').replace("06-01 09:00", "06-01 10:00")
"""Revision 1 again, after a slip in it was seen: the dose comes at 10:00."""


def read(pdf: bytes) -> str:
    """Return a sheet's texts, blanks as one."""
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.mark.parametrize(
    ("first", "second"),
    [(WITH_ANOTHER, HOME), (HOME, RENAMED)],
    ids=["an order taken out", "a lumen of another short name"],
)
def test_what_an_earlier_revision_held_changes_nothing_of_what_was_read_back(
    first: str, second: str, tmp_path: Path
) -> None:
    """What is left of it to be finished is no part of the revision that somebody read back and the packet encloses."""
    desk = Desk(tmp_path)
    desk.packs(desk.write(with_read_back(first)))
    made = desk.packs(desk.write(with_read_back(f"{second}\n{REVISION_2}"), "second.toml"))
    assert made.exit_code == 0, made.output
    letter_text = parsed(desk.mail(2)).get_body(("plain",)).get_content()  # type: ignore[union-attr]
    sheet = read(desk.sheet(2))
    for text in (made.output, letter_text, sheet):
        assert "CHANGED AFTER IT WAS READ BACK" not in text
        assert "ince: the check letters" not in text
    assert "Read back by Ines Marlow" in sheet and "Read back by Ines Marlow" in letter_text
    assert "ondansetron" not in sheet, "what was taken out is offered no more"
    assert sheet.count("Grey lumen") == 1 and "OUT OF USE" not in sheet


def test_a_packet_that_was_never_sent_locks_nothing(tmp_path: Path) -> None:
    """A slip that is seen in the packet is mended in the plan, and the packet made again: as often as it takes."""
    desk = Desk(tmp_path)
    desk.packs(desk.write(with_read_back(WITH_ANOTHER)))
    old = desk.calendar()
    for edits in (HOME, RENAMED, MENDED):
        plan = desk.write(with_read_back(edits))
        made = desk.packs(plan)
        assert made.exit_code == 0, made.output
        told = "As revision 1, fennimore.toml says something else than the packet of Mon 1 Jun 2026, 08:30 CDT"
        assert made.stderr.count(told) == 1
        assert "raise revision by one instead" in made.stderr
        sheet = read(desk.sheet())
        assert "ceftriaxone" not in sheet and "OUT OF USE" not in sheet and sheet.count("Grey lumen") == 1
        assert "says something else" not in desk.packs(plan).stderr
    # Whoever sent the first one by hand all the same: a phone that had it forgets what is gone.
    assert {uid: event.said for uid, event in Importer([old, desk.calendar()]).has.items()} == {
        uid: event.said for uid, event in live(events(desk.calendar())).items()
    }
    following = desk.packs(desk.write(with_read_back(f"{MENDED}\n{REVISION_2}"), "second.toml"))
    assert following.exit_code == 0
    assert "Revision 2 is in use beside second.toml now" in following.output
    # And so it goes on with the second one.
    mended = desk.packs(desk.write(with_read_back(f"{HOME}\n{REVISION_2}"), "second.toml"))
    assert mended.exit_code == 0, mended.output
    assert "As revision 2, second.toml says something else than the packet" in mended.stderr
    assert "nothing is recorded" not in run("history", tmp_path / "second.toml", *NOW).output


def _sent(desk: Desk, plan: Path) -> Result:
    certificate = certificate_for(desk.folder)
    with mail_server(starttls=certificate) as inbox:
        return desk.packs(
            plan, "--send", "--smtp", f"{HOST}:{inbox.port}", "--authority", certificate.file,
            "--from", "ana@fennimore.example", "--to", "family@quill.example",
        )  # fmt: skip


BINDS: dict[str, Callable[[Desk, Path], Result]] = {
    "sent": _sent,
    "sent, and made again": lambda desk, plan: (_sent(desk, plan), desk.packs(plan))[1],
    "put in use": lambda _desk, plan: run("record", plan, "in", "use", *NOW),
    "in use on this computer": lambda _desk, plan: run("use", plan, *NOW),
    "reported on": lambda _desk, plan: run("record", plan, "flushed", "grey", "8:25", *NOW),
    "reported on, and taken back": lambda _desk, plan: (
        run("record", plan, "flushed", "grey", "8:25", *NOW),
        run("undo", plan, *NOW),
    )[1],
    "a calendar besides": lambda desk, plan: run("compile", plan, "--out", desk.folder / "files", *NOW),
}


@pytest.mark.parametrize("how", BINDS)
def test_what_went_out_or_is_in_use_is_changed_only_by_a_revision(how: str, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    plan = desk.write(with_read_back(HOME))
    assert desk.packs(plan).exit_code == 0
    done = BINDS[how](desk, plan)
    assert done.exit_code == 0, done.output
    assert desk.packs(plan).exit_code == 0, "as it was it may be made again"
    before = desk.sheet()
    refused = desk.packs(desk.write(with_read_back(MENDED)))
    assert refused.exit_code == 1
    assert "raise revision by one" in refused.output
    assert desk.sheet() == before
    assert desk.packs(desk.write(with_read_back(HOME))).exit_code == 0, "taken back"


def test_what_may_be_replaced_is_put_in_use_by_the_first_report(tmp_path: Path) -> None:
    """A report is about what the file says by then; from then on it is bound."""
    desk = Desk(tmp_path)
    desk.packs(desk.write(HOME))
    plan = desk.write(MENDED)
    reported = run("record", plan, "flushed", "grey", "8:25", *NOW)
    assert reported.exit_code == 0, reported.output
    assert "takes its place" in reported.stderr
    assert "10:00" in run("agenda", plan, "--from", "2026-06-02", "--to", "2026-06-02", *NOW).output
    assert desk.packs(desk.write(HOME)).exit_code == 1


# The command


def test_a_plan_with_errors_makes_no_packet(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    result = desk.packs(desk.write(f'{HOME}\n[order.cefazolin]\ndose = "1 parsec"\n'))
    assert result.exit_code == 1
    assert "ERROR (wrong-unit)" in result.output
    assert "Nothing was written." in result.output
    assert not desk.out.exists()
    assert [path.name for path in tmp_path.iterdir() if path.suffix == ".sqlite3"] == []


def test_files_are_written_all_or_none(tmp_path: Path) -> None:
    """Where the e-mail cannot be put in its place, the sheet and calendar that stood there stand again."""
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    desk.packs(plan)
    before = desk.calendar(), desk.sheet()
    (desk.out / "packet-revision-1-0F0E-8A52.eml").unlink()
    (desk.out / "packet-revision-1-0F0E-8A52.eml").mkdir()
    result = desk.packs(plan, "--paper", "a4", "--from-day", "2026-06-03")
    assert result.exit_code == 1
    assert "Nothing was written" in result.output
    assert (desk.calendar(), desk.sheet()) == before
    assert len(list(desk.out.iterdir())) == 3


def test_packets_of_two_plans_lie_beside_each_other_in_one_folder(tmp_path: Path) -> None:
    """A nurse makes every household's packet in the same folder: none takes the place of another's."""
    desk = Desk(tmp_path)
    assert "took the place" not in desk.packs(desk.write(HOME)).output
    first = {path.name: path.read_bytes() for path in desk.out.iterdir()}
    assert "took the place" not in desk.packs(desk.write(OTHER, "other.toml")).output
    assert len(list(desk.out.iterdir())) == 6
    assert {name: (desk.out / name).read_bytes() for name in first} == first
    again = desk.packs(desk.folder / "fennimore.toml").output
    assert (
        "They took the place of earlier ones of the same plan and revision: packet-revision-1-0F0E-8A52.eml, " in again
    )


@pytest.mark.skipif(os.name != "posix", reason="not run: modes of files are POSIX")
def test_only_their_owner_may_read_the_files_and_look_into_the_folder(tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk")
    assert {oct(path.stat().st_mode & 0o777) for path in desk.out.iterdir()} == {"0o600"}
    assert oct(desk.out.stat().st_mode & 0o777) == "0o700"


def test_nobody_has_read_it_back_is_said_loudly_and_it_is_made_all_the_same(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    result = desk.packs(desk.write(HOME))
    assert result.exit_code == 0
    assert "NOBODY HAS READ THIS PLAN BACK YET." in result.stderr
    assert "Nobody has read this plan back as it stands." in result.stdout
    assert "NOBODY" not in packed(tmp_path / "other").packs(tmp_path / "other" / "fennimore.toml").output


@pytest.mark.parametrize(
    ("paper", "points"), [("letter", (612, 792)), ("a4", (595, 842)), ("A4", (595, 842))], ids=["letter", "a4", "A4"]
)
def test_the_sheet_is_of_the_paper_that_was_asked_for(tmp_path: Path, paper: str, points: tuple[int, int]) -> None:
    """Letter is 8.5 by 11 inches; A4 is 210 by 297 mm (ISO 216)."""
    desk = packed(tmp_path / "desk", HOME, "--paper", paper)
    box = pypdf.PdfReader(io.BytesIO(desk.sheet())).pages[0].mediabox
    assert (round(box.width), round(box.height)) == points


@pytest.mark.parametrize(
    ("options", "first"),
    [
        ((), "Mon 1 Jun 2026"),
        (("--from-day", "2026-06-04"), "Thu 4 Jun 2026"),
    ],
)
def test_sheet_and_calendar_begin_on_the_day_that_was_asked_for(
    tmp_path: Path, options: tuple[str, ...], first: str
) -> None:
    desk = packed(tmp_path / "desk", HOME, *options)
    title = pypdf.PdfReader(io.BytesIO(desk.sheet())).metadata
    assert title is not None
    assert f"{first} to" in str(title.title)
    earliest = min(event.start for event in events(desk.calendar()).values())
    day = datetime(2026, 6, 4 if options else 1, tzinfo=UTC) + timedelta(hours=5)
    assert day <= earliest < day + timedelta(days=1)


def test_a_packet_of_a_revision_that_is_still_to_come_shows_the_days_from_then_on(tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk", f'{HOME}\n[plan]\ntakes_effect = "2026-06-03 08:00"\n')
    title = pypdf.PdfReader(io.BytesIO(desk.sheet())).metadata
    assert title is not None
    assert "Wed 3 Jun 2026 to" in str(title.title)


BAD_OPTIONS = {
    "no such day": (("--from-day", "2026-02-30"), 2, "is not a date"),
    "a day outside the plan": (("--from-day", "2027-01-01"), 1, "outside the plan"),
    "another paper": (("--paper", "legal"), 2, "legal"),
    "no address": (("--to", "the family"), 2, "not an e-mail address"),
    "two addresses in one": (("--to", "a@b.example, c@d.example"), 2, "not an e-mail address"),
    "an address without a domain": (("--from", "ana@"), 2, "not an e-mail address"),
    "an address without a name": (("--from", "@fennimore.example"), 2, "not an e-mail address"),
    "a line end in an address": (("--to", "a@b.example\nBcc: x@y.example"), 2, "no keyboard types"),
    "a letter that services refuse": (("--to", "zoë@quill.example"), 2, "many mail services refuse"),
    "a line end in the subject": (("--subject", "hello\nBcc: x@y.example"), 2, "--subject"),
    "a bell in the name": (("--patient", "Zoë\x07"), 2, "--patient"),
    "a server and nothing to send": (("--smtp", "mail.example:587"), 2, "add --send"),
    "to send without a server": (("--send", "--to", "a@b.example", "--from", "c@d.example"), 2, "--smtp HOST:PORT"),
    "to send to nobody": (("--send", "--smtp", "mail.example:587", "--from", "c@d.example"), 2, "--to"),
    "a server without a port": (
        ("--send", "--smtp", "mail.example", "--to", "a@b.example", "--from", "c@d.example"), 2, "HOST:PORT",
    ),
    "a port that is none": (
        ("--send", "--smtp", "mail.example:99999", "--to", "a@b.example", "--from", "c@d.example"), 2, "HOST:PORT",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_OPTIONS)
def test_what_cannot_be_meant_is_told_and_nothing_is_written(tmp_path: Path, case: str) -> None:
    options, status, told = BAD_OPTIONS[case]
    desk = Desk(tmp_path)
    result = desk.packs(desk.write(with_read_back(HOME)), *options)
    assert result.exit_code == status, result.output
    assert told in result.output
    assert not desk.out.exists()


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("ana@fennimore.example", "ana@fennimore.example"),
        ("Ana Bëll <ana@fennimore.example>", "ana@fennimore.example"),
        ('"Bell, Ana" <ana.b+line@fennimore.example>', "ana.b+line@fennimore.example"),
    ],
)
def test_an_address_is_taken_as_it_is_typed(text: str, address: str) -> None:
    assert address_of(text).addr_spec == address


def test_an_address_that_is_none_is_told() -> None:
    with pytest.raises(AddressError, match="Expected: one address such as"):
        address_of("")


@pytest.mark.parametrize("ends", ["=0D=0A", "=0A", "=0D"])
def test_a_line_end_that_an_address_encodes_is_told(ends: str) -> None:
    """RFC 2047 words may hide what no header may hold."""
    with pytest.raises(AddressError):
        address_of(f'"=?utf-8?q?x{ends}Bcc:_e@evil.example?=" <a@b.example>')


def test_letters_that_the_sheet_cannot_print_are_told(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    result = desk.packs(desk.write(HOME), "--patient", "春子")
    assert result.exit_code == 0
    assert 'The sheet: Of "春子" not every letter can be printed' in result.stderr
    assert "春子" in parsed(desk.mail()).get_body(("plain",)).get_content()  # type: ignore[union-attr]


def test_a_calendar_that_is_cut_says_so(tmp_path: Path) -> None:
    """A plan of a year does not fit into a file that phones take."""
    year = f'{HOME}\n[plan]\nend = "2027-06-01 08:00"\n[order.cefazolin]\nlast_day = 2027-05-30\n'
    desk = Desk(tmp_path)
    result = desk.packs(desk.write(year))
    assert result.exit_code == 0
    assert "later events are left out" in result.output
    assert "--from-day 2026-" in result.output
    assert len(desk.calendar()) <= 900_000


def test_the_plan_in_use_makes_a_packet_without_being_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = Desk(tmp_path).write(with_read_back(HOME))
    assert run("use", plan, *NOW).exit_code == 0
    result = run("packet", "--out", tmp_path / "out", *NOW)
    assert result.exit_code == 0
    found = parsed((tmp_path / "out" / "packet-revision-1-0F0E-8A52.eml").read_bytes())
    assert "plan-revision-1-0F0E-8A52.toml" in [part.get_filename() for part in found.iter_attachments()]


def test_a_name_is_only_shown_where_it_was_typed() -> None:
    assert holdings(schedule_of().plan, "", Typed())[0].what != "Typed for this packet"
    typed = replace(Typed(), patient="Zoë")
    assert holdings(schedule_of().plan, "", typed)[0].entries == ("the patient's name: Zoë",)
