"""Opening what was sent: an e-mail in whatever form it arrives, or a plan; what it is, whether it fits, and nothing in use unless told."""

import base64
import email
import io
import logging
import quopri
import random
import re
import sys
import time
import tracemalloc
import warnings
import zipfile
import zlib
from collections.abc import Callable, Sequence
from email.message import EmailMessage
from email.policy import SMTP, default
from pathlib import Path
from unittest.mock import Mock

import pytest
from own_places import HOME, OTHER, PLAN_ID, SECOND, facts, own_places, put_in_use, run, write
from packet_home import NOW, Desk, packed, with_read_back
from pypdf import PageObject, PdfReader
from readers.samples import Sample
from reportlab.pdfgen.canvas import Canvas
from small_plans import plan_text
from test_care import dressing
from test_sending import at_a_terminal

from reminders import receiving
from reminders.commands.shared import names_a_plan
from reminders.mailing.fitting import LARGEST_DRAWING, MOST_FONTS
from reminders.mailing.unpacking import LARGEST, Unpacked, UnpackError, unpack
from reminders.plan.model import Reveals
from reminders.plan.source import LONGEST_FILE
from reminders.record.facts import Kind
from reminders.times import DAY, Instant, utc

LATER = ("--now", "2026-06-02 08:00-05:00")


@pytest.fixture(name="data", autouse=True)
def a_household_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a test folders of its own; return that for data."""
    return own_places(tmp_path / "home", monkeypatch)


@pytest.fixture(name="mail", scope="session")
def a_mail(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give tests a packet's e-mail as it would be sent: revision 1, read back, from Ana."""
    return _packet(tmp_path_factory, HOME)


@pytest.fixture(name="second", scope="session")
def a_second_mail(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give tests the e-mail of revision 2, made where revision 1 was sent before."""
    return _packet(tmp_path_factory, HOME, SECOND)


def _packet(folders: pytest.TempPathFactory, *revisions: str) -> bytes:
    with pytest.MonkeyPatch.context() as patch:
        own_places(folders.mktemp("home"), patch)
        desk = Desk(folders.mktemp("desk"))
        for number, edits in enumerate(revisions, start=1):
            plan = desk.write(with_read_back(edits), f"{number}.toml")
            if number > 1:
                run("record", plan, "in", "use", *NOW)
            result = desk.packs(plan, "--from", "Ana Bell <ana@fennimore.example>", "--to", "family@quill.example")
            assert result.exit_code == 0, result.output
        return desk.mail(len(revisions)).replace(b"X-Unsent: 1\r\n", b"")


def saved(folder: Path, content: bytes, name: str = "mail.eml") -> Path:
    """Save a file as a family would."""
    path = folder / name
    path.write_bytes(content)
    return path


def parsed(content: bytes) -> EmailMessage:
    """Return an e-mail, to be taken apart and put together otherwise."""
    message = email.message_from_bytes(content, policy=default)
    assert isinstance(message, EmailMessage)
    return message


def files_of(content: bytes) -> dict[str, bytes]:
    """Return the files of an e-mail by the kind of each."""
    found = {}
    for part in parsed(content).iter_attachments():
        decoded = part.get_payload(decode=True)
        assert isinstance(decoded, bytes)
        found[part.get_content_type()] = decoded
    return found


def plan_in(content: bytes) -> bytes:
    """Return the plan of an e-mail."""
    return files_of(content)["application/toml"]


def a_mail_with(*files: tuple[str, str, bytes], text: str = "Hello.\n") -> bytes:
    """Return an e-mail with these files: name, type, bytes."""
    message = EmailMessage(policy=SMTP)
    message["From"], message["Date"] = "ana@fennimore.example", "Mon, 01 Jun 2026 13:30:00 +0000"
    message.set_content(text)
    for name, kind, content in files:
        maintype, subtype = kind.split("/")
        message.add_attachment(content, maintype=maintype, subtype=subtype, filename=name)
    return message.as_bytes()


# What arrives in another form than it was sent


def as_sent(mail: bytes) -> bytes:
    return mail


def with_unix_line_ends(mail: bytes) -> bytes:
    return mail.replace(b"\r\n", b"\n")


def with_the_line_of_a_mailbox(mail: bytes) -> bytes:
    return b"From ana@fennimore.example Mon Jun  1 13:30:00 2026\n" + mail.replace(b"\r\n", b"\n")


def with_the_quoted_line_of_a_mailbox(mail: bytes) -> bytes:
    return b">From - Mon Jun 01 13:30:00 2026\r\n" + mail


def with_a_mark_and_empty_lines_before_it(mail: bytes) -> bytes:
    return b"\xef\xbb\xbf\r\n\r\n" + mail


def with_headers_of_servers(mail: bytes) -> bytes:
    received = b"".join(
        b"Received: from mx%d.example by mx.example; Mon, 01 Jun 2026 13:30:0%d +0000\r\n" % (n, n) for n in range(9)
    )
    return (
        b"Return-Path: <ana@fennimore.example>\r\n"
        + received
        + b"DKIM-Signature: v=1; a=rsa-sha256; bh=x=; b=y==\r\n"
        + mail
    )


def with_a_footer_of_a_mailing_list(mail: bytes) -> bytes:
    end = re.findall(rb'boundary="(=_0_[^"]+)"', mail)[0]
    footer = b"--" + end + b"\r\nContent-Type: text/plain\r\n\r\n-- \r\nThe list\r\n--" + end + b"--\r\n"
    return mail.replace(b"--" + end + b"--\r\n", footer)


def forwarded_as_a_message(mail: bytes) -> bytes:
    outer = EmailMessage(policy=SMTP)
    outer["From"], outer["Date"], outer["Subject"] = "Rué <r@quill.example>", "Mon, 01 Jun 2026 15:00:00 +0000", "Fwd"
    outer.set_content("Look.\n")
    outer.add_attachment(parsed(mail))
    return outer.as_bytes()


def forwarded_twice(mail: bytes) -> bytes:
    return forwarded_as_a_message(forwarded_as_a_message(mail))


def forwarded_as_a_file(mail: bytes) -> bytes:
    return a_mail_with(("Your packet.eml", "application/octet-stream", mail))


def forwarded_as_an_encoded_message(mail: bytes) -> bytes:
    """RFC 2046, 5.2.1, does not allow it; some do it all the same."""
    head = b'MIME-Version: 1.0\r\nFrom: r@quill.example\r\nContent-Type: multipart/mixed; boundary="b"\r\n\r\n--b\r\n'
    kind = b"Content-Type: message/rfc822\r\nContent-Transfer-Encoding: base64\r\n\r\n"
    return head + kind + base64.encodebytes(mail) + b"\r\n--b--\r\n"


def with_renamed_files(mail: bytes) -> bytes:
    """A webmail that knows no type and calls each file as it likes."""
    files = files_of(mail)
    kinds = ("application/toml", "text/calendar", "application/pdf")
    return a_mail_with(*((f"attachment({n})", "application/octet-stream", files[kind]) for n, kind in enumerate(kinds)))


def with_the_plan_alone_as_text(mail: bytes) -> bytes:
    message = EmailMessage(policy=SMTP)
    message["From"] = "ana@fennimore.example"
    message.set_content("Hello.\n")
    message.add_attachment(plan_in(mail).decode(), subtype="plain", filename="plan.txt", cte="quoted-printable")
    return message.as_bytes()


def with_the_plan_in_another_charset(mail: bytes) -> bytes:
    plan = plan_in(mail).decode().encode("utf-16")
    head = b'MIME-Version: 1.0\r\nContent-Type: multipart/mixed; boundary="b"\r\n\r\n--b\r\n'
    kind = b'Content-Type: text/plain; charset="utf-16"; name="plan.toml"\r\nContent-Transfer-Encoding: base64\r\n\r\n'
    return head + kind + base64.encodebytes(plan) + b"--b--\r\n"


def with_quoted_printable_files(mail: bytes) -> bytes:
    message = parsed(mail)
    for part in message.iter_attachments():
        if part.get_content_type() != "application/pdf":
            decoded = part.get_payload(decode=True)
            assert isinstance(decoded, bytes)
            part.replace_header("Content-Transfer-Encoding", "quoted-printable")
            part.set_payload(
                quopri.encodestring(
                    decoded.replace(b"\r\n", b"\n") if part.get_content_maintype() == "text" else decoded
                ).decode()
            )
    return message.as_bytes(policy=SMTP)


def with_names_by_rfc_2231(mail: bytes) -> bytes:
    return mail.replace(
        b'filename="plan-revision-1-0F0E-8A52.toml"', b"filename*0*=utf-8''pl%C3%A4n%20; filename*1*=Zo%C3%AB.toml"
    )


def with_names_by_rfc_2047(mail: bytes) -> bytes:
    return mail.replace(b'filename="plan-revision-1-0F0E-8A52.toml"', b'filename="=?utf-8?Q?pl=C3=A4n_Zo=C3=AB.toml?="')


def with_bare_returns(mail: bytes) -> bytes:
    return mail.replace(b"\r\n", b"\r")


def with_an_inline_plan(mail: bytes) -> bytes:
    return mail.replace(b'attachment; filename="plan', b'inline; filename="plan')


def with_the_plan_twice(mail: bytes) -> bytes:
    """Forwarded, with the same file attached once more, its lines ended otherwise."""
    plan = plan_in(mail).replace(b"\n", b"\r\n")
    outer = EmailMessage(policy=SMTP)
    outer.set_content("Look.\n")
    outer.add_attachment(parsed(mail))
    outer.add_attachment(plan, maintype="application", subtype="octet-stream", filename="again.toml")
    return outer.as_bytes()


def with_a_handout_besides(mail: bytes) -> bytes:
    message = parsed(mail)
    message.add_attachment(b"PK\x03\x04", maintype="application", subtype="zip", filename="teaching.docx")
    return message.as_bytes(policy=SMTP)


ARRIVES: list[Callable[[bytes], bytes]] = [
    as_sent, with_unix_line_ends, with_the_line_of_a_mailbox, with_the_quoted_line_of_a_mailbox,
    with_a_mark_and_empty_lines_before_it, with_headers_of_servers, with_a_footer_of_a_mailing_list, forwarded_as_a_message,
    forwarded_twice, forwarded_as_a_file, forwarded_as_an_encoded_message, with_renamed_files, with_the_plan_alone_as_text,
    with_the_plan_in_another_charset, with_quoted_printable_files, with_names_by_rfc_2231, with_names_by_rfc_2047,
    with_bare_returns, with_an_inline_plan, with_the_plan_twice, with_a_handout_besides,
]  # fmt: skip


@pytest.mark.parametrize("change", ARRIVES, ids=lambda change: change.__name__)
def test_in_whatever_form_it_arrives_the_same_plan_is_put_in_use(
    mail: bytes, tmp_path: Path, data: Path, change: Callable[[bytes], bytes]
) -> None:
    result = run("open", saved(tmp_path, change(mail)), "--use", *NOW)
    assert result.exit_code == 0, result.output
    assert "DOES NOT FIT" not in result.output
    assert "Revision 1 is in use" in result.output
    kept = (data / "plan.toml").read_bytes()
    assert kept.replace(b"\r\n", b"\n").strip() == plan_in(mail).strip()
    assert [fact.kind for fact in facts(data)] == [Kind.IN_USE]


@pytest.mark.parametrize("name", ["mail.eml", "mail", "mail.txt", "Your packet.EML", "message"])
def test_the_name_of_the_file_does_not_matter(mail: bytes, tmp_path: Path, name: str) -> None:
    result = run("open", saved(tmp_path, mail, name), *NOW)
    assert result.exit_code == 0
    assert f"{name} is an e-mail with a packet." in result.output


# What is said of it


def test_it_says_what_it_is_and_changes_nothing(mail: bytes, tmp_path: Path, data: Path) -> None:
    result = run("open", saved(tmp_path, mail), *NOW)
    assert result.exit_code == 0
    for said in (
        "mail.eml is an e-mail with a packet. What it says of itself, which anybody could have written:",
        "  from Ana Bell <ana@fennimore.example>, Mon, 01 Jun 2026 13:30:00 +0000",
        "plan-revision-1-0F0E-8A52.toml (the plan), calendar-revision-1-0F0E-8A52.ics (calendar), sheet-revision-1-0F0E-8A52.pdf (PDF)",
        'The plan is "Line care" of Fennimore Vale Home Infusion, revision 1, in force from Mon 1 Jun 2026, 08:00 CDT.',
        "Read back by Ines Marlow, Sun 31 May 2026, 16:00 CDT; check letters",
        "Checked: no errors",
        "What came with the plan fits it.",
        "No plan is in use on this computer yet.",
        "Nothing was put in use.",
    ):
        assert said in result.output
    assert not data.exists()


def test_it_says_who_forwarded_it(mail: bytes, tmp_path: Path) -> None:
    said = run("open", saved(tmp_path, forwarded_as_a_message(mail)), *NOW).output
    assert "forwarded by Rué <r@quill.example>, Mon, 01 Jun 2026 15:00:00 +0000\n  from Ana Bell" in said


def test_a_draft_without_sender_says_so(tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk")
    said = run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", *NOW).output
    assert "  from nobody named, Mon, 01 Jun 2026 13:30:00 +0000" in said


def test_what_is_not_looked_at_is_named(mail: bytes, tmp_path: Path) -> None:
    assert "Not looked at: teaching.docx." in run("open", saved(tmp_path, with_a_handout_besides(mail)), *NOW).output


def test_that_nobody_has_read_it_back_is_said(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.packs(desk.write(HOME))
    assert (
        "NOBODY HAS READ THIS PLAN BACK YET." in run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", *NOW).output
    )


def test_nothing_that_a_terminal_would_obey_is_shown(mail: bytes, tmp_path: Path) -> None:
    nasty = mail.replace(
        b"From: Ana Bell <ana@fennimore.example>", b"From: \x1b[31mAna\x07 =?utf-8?B?G1szMW0=?= <a@b.example>"
    )
    nasty = nasty.replace(b'filename="plan-revision-1-0F0E-8A52.toml"', b'filename="../../\x1b]0;x\x07.bashrc.toml"')
    result = run("open", saved(tmp_path, nasty), "--use", *NOW)
    assert result.exit_code == 0
    assert all(letter.isprintable() or letter == "\n" for letter in result.output)
    assert "../" not in result.output
    assert not list(tmp_path.glob("**/*bashrc*"))


COMMANDS = "\x1b[2K\x1b]0;EVIL\x07The sheet fits.\x1b[8m"
"""What a terminal would obey: it clears the line, names the window, and hides what follows."""


def test_no_library_repeats_what_a_pdf_says_at_the_terminal(
    mail: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A font whose way of writing letters is called so; the library for PDFs names it in its log."""
    monkeypatch.setattr(logging.getLogger(), "handlers", [])  # as outside of tests: then Python writes to the terminal
    called = b"".join(b"#%02x" % letter for letter in COMMANDS.encode())
    font = b"<< /Type /Font /Subtype /Type0 /BaseFont /X /Encoding /" + called + b" >>"
    result = run("open", saved(tmp_path, swapped(mail, sheet=a_sheet_of(b"BT /F 12 Tf (a) Tj ET", font))), *NOW)
    assert all(letter.isprintable() or letter == "\n" for letter in result.output)
    assert "EVIL" not in result.output
    assert "sheet.pdf does not show what the plan says" in result.output


def test_whatever_is_logged_or_warned_of_while_it_is_read_does_not_reach_the_terminal(
    mail: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logging.getLogger(), "handlers", [])
    spoken = []

    def loud(content: bytes) -> Unpacked:
        logging.getLogger("some.library").error(COMMANDS)
        warnings.warn(COMMANDS, stacklevel=1)
        spoken.append(content)
        return unpack(content)

    monkeypatch.setattr(receiving, "unpack", loud)
    result = run("open", saved(tmp_path, mail), *NOW)
    assert result.exit_code == 0
    assert spoken
    assert "EVIL" not in result.output
    with pytest.warns(UserWarning, match="later"):
        warnings.warn("later", stacklevel=1)
    assert logging.getLogger().isEnabledFor(logging.ERROR), "afterwards everything is heard again"


def test_a_plan_file_is_opened_too(tmp_path: Path, data: Path) -> None:
    plan = write(tmp_path, with_read_back(HOME))
    said = run("open", plan, *NOW)
    assert said.exit_code == 0
    assert "e-mail" not in said.output
    assert "No plan is in use on this computer yet." in said.output
    assert run("open", plan, "--use", *NOW).exit_code == 0
    assert (data / "plan.toml").read_bytes() == plan.read_bytes()


def test_a_record_that_lies_beside_a_plan_file_is_not_taken_over(tmp_path: Path, data: Path) -> None:
    """Whoever sent the plan may have sent the record too: nobody was shown what is in it."""
    plan = write(tmp_path, HOME)
    run("record", plan, "started", "cefazolin", "9:02", "--now", "2026-06-01 09:05-05:00")
    result = run("open", plan, "--use", "--now", "2026-06-01 09:10-05:00")
    assert result.exit_code == 0, result.output
    assert "A record lies beside fennimore.toml; it is not looked at, and nothing of it is taken over." in result.output
    assert "taken over from" not in result.output
    assert {fact.kind for fact in facts(data)} == {Kind.IN_USE}
    assert "A record lies" not in run("open", data / "plan.toml", *LATER).output


def test_where_the_plan_is_gone_and_its_record_is_not_nothing_is_put_in_its_place(
    mail: bytes, tmp_path: Path, data: Path
) -> None:
    put_in_use(write(tmp_path, HOME))
    (data / "plan.toml").rename(tmp_path / "away.toml")
    before = facts(data)
    result = run("open", saved(tmp_path, mail), "--use", *LATER)
    assert result.exit_code == 1
    assert "is gone, and its record is still there" in result.output
    assert not (data / "plan.toml").exists()
    assert facts(data) == before


def test_what_was_changed_while_somebody_read_is_not_overwritten(
    second: bytes, tmp_path: Path, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between what was shown and the yes somebody else puts another plan in use: the yes was not for that."""
    put_in_use(write(tmp_path, HOME))
    real = receiving.receive

    def received(file: Path, now: Instant) -> receiving.Received:
        found = real(file, now)
        assert run("use", "--instead", write(tmp_path, OTHER, "other.toml"), *LATER).exit_code == 0
        return found

    monkeypatch.setattr(receiving, "receive", received)
    result = run("open", saved(tmp_path, second), "--use", *LATER)
    assert result.exit_code == 1
    assert "was changed while you read. Open the file again. Nothing was changed." in result.output
    assert (data / "plan.toml").read_bytes() == (tmp_path / "other.toml").read_bytes()


# Beside the plan in use


def test_a_later_revision_says_what_it_changes_and_is_put_in_use_when_told(
    mail: bytes, second: bytes, tmp_path: Path, data: Path
) -> None:
    assert run("open", saved(tmp_path, mail), "--use", *NOW).exit_code == 0
    run("record", "started", "cefazolin", "9:02", "--now", "2026-06-01 09:05-05:00")
    file = saved(tmp_path, second, "second.eml")
    result = run("open", file, *LATER)
    assert result.exit_code == 0
    assert "Revision 1 is in use on this computer. This is what revision 2 changes:" in result.output
    assert "WHAT THE PLAN SAYS DIFFERENTLY" in result.output
    assert "11:00" in result.output
    assert "DOES NOT FIT" not in result.output
    assert "revision = 1" in (data / "plan.toml").read_text(encoding="utf-8")
    result = run("open", file, "--use", *LATER)
    assert result.exit_code == 0, result.output
    assert "Revision 2 is in use, from Wed 3 Jun 2026, 08:00 CDT on." in result.output
    assert (data / "plan.toml").read_bytes() == plan_in(second)
    assert [fact.kind for fact in facts(data)] == [Kind.IN_USE, Kind.STARTED, Kind.IN_USE]


def test_the_same_one_is_said_to_be_in_use_already(mail: bytes, tmp_path: Path, data: Path) -> None:
    file = saved(tmp_path, mail)
    run("open", file, "--use", *NOW)
    before = facts(data)
    for options in ((), ("--use",)):
        result = run("open", file, *options, *LATER)
        assert result.exit_code == 0
        assert "Revision 1 is in use on this computer already. There is nothing to do." in result.output
    assert facts(data) == before


def remade(mail: bytes, edits: str) -> bytes:
    """Return an e-mail with the plan of ``edits`` alone."""
    return a_mail_with(("plan.toml", "application/toml", plan_text(edits).encode()))


NOT_PUT_IN_USE = {
    "an older revision": (SECOND, HOME, "Revision 2 is in use on this computer, which is newer."),
    "the same revision with other words": (
        HOME, f'{HOME}\n[order.cefazolin]\ndose = "2 g"\n', "it says something else than this one",
    ),
    "another plan's id": (HOME, OTHER, "Another plan is in use on this computer, for another line or another person"),
    "another plan's id, later revision": (
        HOME, f"{OTHER}\n[plan]\nrevision = 7\n", "Another plan is in use on this computer",
    ),
}  # fmt: skip
"""What is in use, what is sent, and what is told."""


@pytest.mark.parametrize("case", NOT_PUT_IN_USE)
@pytest.mark.parametrize("as_mail", [True, False], ids=["e-mail", "plan"])
def test_what_does_not_follow_what_is_in_use_is_not_put_in_use(
    tmp_path: Path, data: Path, case: str, as_mail: bool
) -> None:
    in_use, sent, told = NOT_PUT_IN_USE[case]
    put_in_use(write(tmp_path, in_use))
    before = (data / "plan.toml").read_bytes(), facts(data)
    (tmp_path / "in").mkdir()
    content = remade(b"", sent) if as_mail else plan_text(sent).encode()
    file = saved(tmp_path / "in", content, "in.eml" if as_mail else "in.toml")
    for options, status in (((), 0), (("--use",), 1)):
        result = run("open", file, *options, *LATER)
        assert result.exit_code == status
        assert told in result.output
        assert ((data / "plan.toml").read_bytes(), facts(data)) == before


def test_where_what_is_in_use_cannot_be_read_nothing_is_put_in_its_place(
    mail: bytes, tmp_path: Path, data: Path
) -> None:
    put_in_use(write(tmp_path, HOME))
    (data / "plan.toml").write_text("[plan\n", encoding="utf-8")
    result = run("open", saved(tmp_path, mail), "--use", *LATER)
    assert result.exit_code == 1
    assert "The plan in use on this computer" in result.output
    assert "Until that is mended nothing is put in use" in result.output
    assert (data / "plan.toml").read_text(encoding="utf-8") == "[plan\n"


def test_a_record_that_cannot_be_read_is_told(mail: bytes, tmp_path: Path, data: Path) -> None:
    put_in_use(write(tmp_path, HOME))
    record = data / f"record-{PLAN_ID}.sqlite3"
    record.write_bytes(b"no database at all" * 100)
    result = run("open", saved(tmp_path, mail), "--use", *LATER)
    assert result.exit_code == 1
    assert record.read_bytes().startswith(b"no database")


@pytest.mark.skipif(sys.platform == "win32", reason="not run: a terminal of one's own is POSIX")
@pytest.mark.parametrize(("answer", "uses"), [("y", True), ("n", False), ("", False)], ids=["yes", "no", "nothing"])
def test_at_a_terminal_it_asks_and_anything_but_yes_is_no(
    mail: bytes, tmp_path: Path, data: Path, answer: str, uses: bool
) -> None:
    command = [sys.executable, "-m", "reminders", "open", str(saved(tmp_path, mail)), *NOW]
    shown, status = at_a_terminal(command, [("Put revision 1 in use now?", answer)], tmp_path)
    assert status == 0, shown
    assert "[y/N]" in shown
    assert (data / "plan.toml").exists() is uses
    assert ("Nothing was put in use." in shown) is not uses


# What came with the plan does not fit it


def swapped(mail: bytes, **files: bytes) -> bytes:
    """Return an e-mail with other files in place of its own; ``calendar``, ``sheet`` or ``plan``."""
    kept = files_of(mail)
    return a_mail_with(
        ("plan.toml", "application/toml", files.get("plan", kept["application/toml"])),
        ("calendar.ics", "text/calendar", files.get("calendar", kept["text/calendar"])),
        ("sheet.pdf", "application/pdf", files.get("sheet", kept["application/pdf"])),
    )


def of(mail: bytes, kind: str) -> bytes:
    """Return one file of an e-mail."""
    return files_of(mail)[kind]


@pytest.fixture(name="others", scope="session")
def other_mails(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Give tests packets that are like the first one, and differ."""
    differing = {
        "other plan": OTHER,
        "other dose": f'{HOME}\n[order.cefazolin]\ndose = "2 g"\n',
        "other time": f'{HOME}\n[order.cefazolin]\nclock_times = ["10:00"]\nfirst_dose = "2026-06-01 10:00"\n',
        "other allergies": f'{HOME}\n[line]\nallergies = ["latex"]\n',
        "other number": f'{HOME}\n[call.now]\nphone = "555-0199"\n',
        "more doses": f'{HOME}\n[order.cefazolin]\nclock_times = ["09:00", "18:00"]\n',
    }
    return {name: _packet(tmp_path_factory, edits) for name, edits in differing.items()}


MISFITS = {
    "a calendar of another plan": ("calendar", "other plan", "calendar.ics is the calendar of another plan"),
    "a calendar with other times": (
        "calendar",
        "other time",
        "does not show these doses when the plan gives them: cefazolin 1 g",
    ),
    "a calendar with more doses": (
        "calendar",
        "more doses",
        "shows 12 doses or bag changes that the plan does not have",
    ),
    "a sheet of another plan": ("sheet", "other plan", "is another sheet than that of this plan"),
    "a sheet with another dose": ("sheet", "other dose", "sheet.pdf does not show what the plan says: 1 g"),
    "a sheet without the allergies": ("plan", "other allergies", "does not show what the plan says: latex"),
    "a sheet with another number": ("sheet", "other number", "does not show what the plan says: 555-0142"),
}
KINDS = {"calendar": "text/calendar", "sheet": "application/pdf", "plan": "application/toml"}


@pytest.mark.parametrize("case", MISFITS)
def test_what_does_not_fit_is_told_and_the_plan_is_not_put_in_use(
    mail: bytes, others: dict[str, bytes], tmp_path: Path, data: Path, case: str
) -> None:
    which, other, told = MISFITS[case]
    content = swapped(mail, **{which: of(others[other], KINDS[which])})
    result = run("open", saved(tmp_path, content), "--use", *NOW)
    assert result.exit_code == 1
    assert "DOES NOT FIT: " in result.output
    assert told in result.output
    assert not data.exists()
    assert "save it from the e-mail and open that file" in result.output


@pytest.mark.parametrize("which", ["calendar", "sheet"])
def test_a_file_of_an_earlier_revision_does_not_fit(
    mail: bytes, second: bytes, tmp_path: Path, data: Path, which: str
) -> None:
    content = swapped(second, **{which: of(mail, KINDS[which])})
    result = run("open", saved(tmp_path, content), "--use", *NOW)
    assert result.exit_code == 1
    assert "DOES NOT FIT: " in result.output
    assert not data.exists()


def test_a_revision_fits_where_the_one_before_is_not_known(second: bytes, tmp_path: Path) -> None:
    """On a new computer: what is before the revision took effect cannot be compared, and is not held against it."""
    result = run("open", saved(tmp_path, second), "--use", *NOW)
    assert result.exit_code == 0, result.output
    assert "What came with the plan fits it." in result.output


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("day", ["2026-06-01", "2026-06-04", "2026-06-07"])
def test_a_packet_fits_whatever_days_and_paper_were_asked_for(tmp_path: Path, paper: str, day: str) -> None:
    desk = packed(tmp_path / "desk", HOME, "--paper", paper, "--from-day", day, "--patient", "Zoë Quill")
    said = run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", *NOW).output
    assert "What came with the plan fits it." in said
    assert "Note:" not in said


def test_a_packet_fits_where_the_sheet_breaks_a_word(tmp_path: Path) -> None:
    """A name of 60 letters without a blank is broken on the sheet, with a hyphen that nobody typed."""
    long = "WOMWMW" * 10
    desk = packed(tmp_path / "desk", HOME.replace("[order.cefazolin]", f'[order.cefazolin]\ndrug = "{long}"'))
    said = run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", *NOW).output
    assert long[:20] in "".join(page.extract_text() for page in PdfReader(io.BytesIO(desk.sheet())).pages)
    assert "What came with the plan fits it." in said


@pytest.mark.parametrize("days", [0, 9], ids=["at the start", "under way"])
def test_a_packet_of_each_sample_fits(sample: Sample, days: int, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    plan = saved(tmp_path, sample.text, "plan.toml")
    now = ("--now", f"{utc(Instant(sample.now + days * DAY)):%Y-%m-%d %H:%M}+00:00")
    result = desk.packs(plan, now=now)
    if sample.now + days * DAY >= sample.schedule.end:
        assert "outside the plan" in result.output, "it is over by then"
        return
    assert result.exit_code == 0, result.output
    (file,) = desk.out.glob("*.eml")
    said = run("open", file, *now).output
    assert "What came with the plan fits it." in said
    assert ("only the times were compared" in said) is (sample.plan.calendar.reveals is not Reveals.EVERYTHING)
    assert said.count("Note:") == said.count("only the times were compared")


def test_a_packet_that_shows_what_was_recorded_fits_too(tmp_path: Path) -> None:
    """What has happened since is in its calendar, and moves flushes; the doses ahead are those of the plan."""
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    run("record", plan, "started", "cefazolin", "9:40", "--now", "2026-06-01 09:45-05:00")
    run("record", plan, "flushed", "grey", "12:00", "--now", "2026-06-01 12:05-05:00")
    desk.packs(plan, now=("--now", "2026-06-01 13:00-05:00"))
    said = run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", "--now", "2026-06-01 13:30-05:00").output
    assert "What came with the plan fits it." in said
    assert "flushes or finishes at other times than the plan alone gives" in said


AHEAD = f"{HOME}\n{dressing(last='05-26 07:00')}"
"""With a dressing on the 2nd and the 9th."""


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        (f"{HOME}\n{dressing(last='05-28 07:00')}", "Thu 4 Jun 2026, 10:00 CDT in the calendar"),
        (HOME, "at no time in the calendar"),
    ],
    ids=["on other days", "not at all"],
)
def test_care_tasks_at_other_times_are_told_with_both_times(tmp_path: Path, shown: str, told: str) -> None:
    calendar, plan = packed(tmp_path / "calendar", shown).calendar(), packed(tmp_path / "plan", AHEAD).mail()
    result = run("open", saved(tmp_path, swapped(plan, calendar=calendar)), *NOW)
    assert result.exit_code == 0, result.output
    assert f"The first is dressing, Tue 2 Jun 2026, 10:00 CDT in the plan and {told}." in result.output
    assert "care tasks at other times than the plan alone gives" in result.output
    assert "What came with the plan fits it, but for what the notes say." in result.output


def test_a_dressing_that_was_changed_early_is_told_and_brings_no_strange_events(tmp_path: Path) -> None:
    """One more comes before the end than the plan alone has."""
    desk = Desk(tmp_path)
    plan = desk.write(f"{HOME}\n{dressing(last='05-31 07:00', days=2)}")
    run("record", plan, "done", "dressing", "9:00", "--now", "2026-06-01 09:05-05:00")
    desk.packs(plan, now=("--now", "2026-06-01 13:00-05:00"))
    said = run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", "--now", "2026-06-01 13:30-05:00").output
    assert "The first is dressing, Tue 2 Jun 2026, 10:00 CDT in the plan and Mon 1 Jun 2026, 09:00 CDT" in said
    assert "DOES NOT FIT" not in said


@pytest.mark.parametrize(
    "written", [b"[plan]\n", b" [ plan ]\n", b"\xef\xbb\xbf[plan]\n", b"plan.id = 1\n", b"plan = {}\n"]
)
def test_what_reads_like_a_plan_is_one_wherever_it_comes_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: bytes
) -> None:
    """As a part of an e-mail whose name and type say nothing, and as a file of a command."""
    mail = a_mail_with(("attachment", "application/octet-stream", written))
    assert unpack(mail).plan.content == written
    monkeypatch.chdir(tmp_path)
    saved(tmp_path, written, "attachment")
    assert names_a_plan("attachment")


def test_prose_about_a_plan_is_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    prose = b"The\nplan. It begins on Monday.\nplan = what we agreed\n"
    with pytest.raises(UnpackError, match="holds no plan"):
        unpack(a_mail_with(("attachment", "application/octet-stream", prose)))
    monkeypatch.chdir(tmp_path)
    saved(tmp_path, prose, "flushed")
    assert not names_a_plan("flushed")


def test_a_plan_without_calendar_and_sheet_is_told(mail: bytes, tmp_path: Path) -> None:
    assert "Neither calendar nor sheet came" in run("open", saved(tmp_path, remade(mail, HOME)), *NOW).output


@pytest.mark.parametrize(
    ("calendar", "told"),
    [
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "cannot be read as a calendar"),
        (b"BEGIN:VCALENDAR\r\nUID:x\r\nEND:VCALENDAR\r\n", "is the calendar of another plan"),
        (b"BEGIN:VCALENDAR\r\n" + b"X-A:b\r\n" * 300_000, "far too large for a calendar"),
    ],
    ids=["broken", "empty", "huge"],
)
def test_a_calendar_that_is_none_does_not_fit(mail: bytes, tmp_path: Path, calendar: bytes, told: str) -> None:
    result = run("open", saved(tmp_path, swapped(mail, calendar=calendar)), "--use", *NOW)
    assert result.exit_code == 1
    assert told in result.output


def moved(calendar: bytes) -> bytes:
    """Every event three hours later."""
    return re.sub(rb"(DTSTART:\d{8}T)(\d\d)", lambda found: found[1] + b"%02d" % ((int(found[2]) + 3) % 24), calendar)


def moved_and_from_the_future(calendar: bytes) -> bytes:
    """As if it had been changed last long after all that it shows."""
    return re.sub(rb"DTSTAMP:\d+T\d+Z", b"DTSTAMP:20991231T000000Z", moved(calendar), count=1)


def another_dose(calendar: bytes) -> bytes:
    return calendar.replace(b"cefazolin 1 g", b"cefazolin 90 g")


def another_dose_in_the_title(calendar: bytes) -> bytes:
    return calendar.replace(b"SUMMARY:Red lumen: start cefazolin 1 g", b"SUMMARY:Red lumen: start cefazolin 90 g")


def repeated(rule: bytes) -> Callable[[bytes], bytes]:
    return lambda calendar: calendar.replace(b"END:VEVENT", rule + b"\r\nEND:VEVENT", 1)


CHANGED: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "other times": (moved, "does not show these doses when the plan gives them"),
    "other times, changed in the future": (moved_and_from_the_future, "does not show these doses when the plan gives"),
    "another dose": (another_dose, "does not say what the plan says of these doses: cefazolin 1 g"),
    "another dose in the title": (another_dose_in_the_title, "does not say what the plan says of these doses"),
    "a rule": (repeated(b"RRULE:FREQ=HOURLY;COUNT=40"), "repeats events by rules"),
    "dates": (repeated(b"RDATE:20260603T150000Z"), "repeats events by rules"),
    "dates left out": (repeated(b"EXDATE:20260603T140000Z"), "repeats events by rules"),
}


@pytest.mark.parametrize("case", CHANGED)
def test_a_calendar_that_was_changed_does_not_fit(mail: bytes, tmp_path: Path, data: Path, case: str) -> None:
    change, told = CHANGED[case]
    calendar = change(of(mail, "text/calendar"))
    assert calendar != of(mail, "text/calendar")
    result = run("open", saved(tmp_path, swapped(mail, calendar=calendar)), "--use", *NOW)
    assert result.exit_code == 1
    assert told in result.output
    assert not data.exists()


def test_what_is_past_was_not_compared_and_is_not_said_to_fit(mail: bytes, tmp_path: Path) -> None:
    """A calendar that was changed last after all that it shows, opened after that."""
    late = re.sub(rb"DTSTAMP:\d+T\d+Z", b"DTSTAMP:20260701T000000Z", of(mail, "text/calendar"))
    result = run("open", saved(tmp_path, swapped(mail, calendar=late)), "--now", "2026-08-01 08:30-05:00")
    assert "Note: calendar.ics was not compared: it shows nothing of this plan that is still to come." in result.output
    assert "fits it" not in result.output
    assert "What was compared fits the plan; see the notes." in result.output


def test_only_the_first_of_many_pdfs_and_calendars_are_looked_at(mail: bytes, tmp_path: Path) -> None:
    """Each could take seconds; sixty would take a minute."""
    calendar = of(mail, "text/calendar")
    files = [(f"c{n}.ics", "text/calendar", calendar + b"\r\n" * n + b"X%d" % n) for n in range(30)]
    files += [(f"s{n}.pdf", "application/pdf", many_pages(6) + b"%%%d\n" % n) for n in range(60)]
    began = time.monotonic()
    result = run("open", saved(tmp_path, a_mail_with(("p.toml", "application/toml", plan_in(mail)), *files)), *NOW)
    assert time.monotonic() - began < 15
    assert result.output.count("is far too large for it") == 4
    assert "Not looked at, so do not use them: c4.ics; c5.ics; c6.ics; c7.ics; c8.ics; and 77 more." in result.output


def many_pages(branches: int, depth: int = 6) -> bytes:
    """Return a small PDF that calls itself the sheet, and whose tree names the same page again and again."""
    nodes = [
        b"<< /Type /Pages /Count 1 /Kids [" + b"%d 0 R " % (4 + level) * branches + b"] >>" for level in range(depth)
    ]
    nodes.append(b"<< /Type /Page /MediaBox [0 0 9 9] /Resources << >> >>")
    return pdf_of(nodes)


def pdf_of(nodes: Sequence[bytes]) -> bytes:
    """Return a PDF that calls itself the sheet; its objects from the third on, which is its tree of pages, are these."""
    nodes = [b"<< /Subject (Revision 1 of plan 0F0E-8A52) >>", b"<< /Type /Catalog /Pages 3 0 R >>", *nodes]
    out, places = b"%PDF-1.4\n", []
    for number, node in enumerate(nodes, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n" % number + node + b"\nendobj\n"
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    return (
        out + b"xref\n0 %d\n0000000000 65535 f \n" % (len(nodes) + 1) + table
        + b"trailer\n<< /Size %d /Root 2 0 R /Info 1 0 R >>\n" % (len(nodes) + 1)
        + b"startxref\n%d\n%%%%EOF\n" % len(out)
    )  # fmt: skip


@pytest.mark.parametrize(
    ("pdf", "told"),
    [(b"%PDF-1.4\nnonsense", "cannot be read as a PDF"), (b"%PDF" + b"x" * 10_000_001, "far too large for a sheet")],
    ids=["broken", "huge"],
)
def test_a_pdf_that_is_no_sheet_is_only_told(mail: bytes, tmp_path: Path, pdf: bytes, told: str) -> None:
    result = run("open", saved(tmp_path, swapped(mail, sheet=pdf)), "--use", *NOW)
    assert told in result.output
    assert result.exit_code == 0


def stream(content: bytes, keys: bytes = b"") -> bytes:
    """Return an object of a PDF with some content."""
    return b"<< /Length %d " % len(content) + keys + b">>\nstream\n" + content + b"\nendstream"


def a_sheet_of(drawn: bytes, font: bytes, keys: bytes = b"", more: Sequence[bytes] = (), pages: int = 1) -> bytes:
    """Return a PDF that calls itself the sheet and draws something on each page: with object 6 as its font, and with object 7
    for a drawing within the drawing."""
    kids = b"<< /Type /Pages /Count %d /Kids [" % pages + b"4 0 R " * pages + b"] >>"
    page = b"<< /Type /Page /MediaBox [0 0 9 9] /Contents 5 0 R /Resources << /Font << /F 6 0 R >> /XObject << /X 7 0 R >> >> >>"
    return pdf_of([kids, page, stream(drawn, keys), font, *more])


A_FONT = b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>"


def test_a_drawing_within_a_drawing_is_not_read(mail: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Five levels, each drawn ten times by the one above: of 1.6 kB come 111,110 drawings."""
    form = b"/Type /XObject /Subtype /Form /BBox [0 0 1 1] "
    below = [b"/Resources << /XObject << /X %d 0 R >> >> " % number for number in range(8, 12)]
    forms = [stream(b"/X Do " * 10, form + keys) for keys in below]
    pdf = a_sheet_of(b"/X Do " * 10, A_FONT, more=[*forms, stream(b"", form)])
    assert len(pdf) < 2_000
    read = Mock(return_value="")
    monkeypatch.setattr(PageObject, "extract_xform_text", read)
    result = run("open", saved(tmp_path, swapped(mail, sheet=pdf)), "--use", *NOW)
    assert "sheet.pdf does not show what the plan says" in result.output
    assert not read.called


def test_nothing_is_unpacked_beyond_what_a_sheet_can_be(mail: bytes, tmp_path: Path) -> None:
    """400 MB in 389 kB, counted by what is held at a time."""
    packer = zlib.compressobj(9)
    packed = b"".join([*(packer.compress(bytes(1_000_000)) for _ in range(400)), packer.flush()])
    file = saved(tmp_path, swapped(mail, sheet=a_sheet_of(packed, A_FONT, b"/Filter /FlateDecode ")))
    assert len(packed) < 400_000
    tracemalloc.start()
    try:
        result = run("open", file, "--use", *NOW)
        _held, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 6 * LARGEST_DRAWING
    assert "is far too large for it" in result.output
    assert result.exit_code == 1


LETTERS = b"/Type /Font /Subtype /TrueType /BaseFont /X /ToUnicode 7 0 R "
LONG = b"1 beginbfchar\n<41> <" + b"0041" * 200 + b">\nendbfchar"
ENDLESS: dict[str, bytes] = {
    "a sign that stands for many letters": a_sheet_of(
        b"BT /F 9 Tf (AAAA) Tj ET", b"<< " + LETTERS + b">>", more=[stream(LONG)]
    ),
    "signs that stand for many letters in every page": a_sheet_of(
        b"BT ET", b"<< " + LETTERS + b">>", more=[stream(b"<41> <0041>\n" * (LARGEST_DRAWING // 500))], pages=90
    ),
    "far more fonts than a sheet has": a_sheet_of(b"BT ET", A_FONT, pages=50).replace(
        b"/Font << /F 6 0 R", b"/Font << " + b"".join(b"/F%d 6 0 R " % number for number in range(MOST_FONTS // 50 + 1))
    ),
}


@pytest.mark.parametrize("case", ENDLESS)
def test_letters_that_would_take_without_end_are_not_read(
    mail: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, case: str
) -> None:
    read = Mock(return_value="")
    monkeypatch.setattr(PageObject, "extract_text", read)
    result = run("open", saved(tmp_path, swapped(mail, sheet=ENDLESS[case])), "--use", *NOW)
    assert "is far too large for it" in result.output
    assert result.exit_code == 1
    assert not read.called


def a_pdf(subject: str, drawn: str) -> bytes:
    """Return a PDF with some subject that draws something, packed as small as it can be."""
    out = io.BytesIO()
    canvas = Canvas(out, pageCompression=1)
    canvas.setSubject(subject)
    canvas._code.append(drawn)
    canvas.save()
    return out.getvalue()


@pytest.mark.parametrize(
    ("subject", "told", "status"),
    [
        ("Teaching, 2nd edition, 555-0142", "is no sheet of this program, and was not compared", 0),
        ("Order 1234-5678", "is no sheet of this program, and was not compared", 0),
        ("Revision 1 of plan 0F0E-8A52", "is far too large for it", 1),
    ],
    ids=["a handout", "another form", "unpacks without end"],
)
def test_a_pdf_that_unpacks_to_far_more_is_not_read(
    mail: bytes, tmp_path: Path, subject: str, told: str, status: int
) -> None:
    pdf = a_pdf(subject, "BT /F1 12 Tf (" + "a" * 40_000_000 + ") Tj ET")
    assert len(pdf) < 100_000
    began = time.monotonic()
    result = run("open", saved(tmp_path, swapped(mail, sheet=pdf)), "--use", *NOW)
    assert time.monotonic() - began < 10
    assert told in result.output
    assert result.exit_code == status


def test_the_subject_of_a_pdf_does_not_reach_the_terminal_as_it_is(mail: bytes, tmp_path: Path) -> None:
    pdf = a_pdf("\x1b[mRevision 2 of plan 0F0E-8A52", "")
    result = run("open", saved(tmp_path, swapped(mail, sheet=pdf)), *NOW)
    assert "is another sheet than that of this plan" in result.output
    assert "\x1b" not in result.output


# Bad input at the e-mail door


def cut(mail: bytes, part: float) -> bytes:
    return mail[: int(len(mail) * part)]


def cut_after_the_plan(mail: bytes) -> bytes:
    """The plan came whole, and the rest is missing."""
    return mail[: mail.index(b"Content-Type: application/toml") + len(plan_in(mail)) * 3 // 2 + 400]


def a_damaged_plan(mail: bytes) -> bytes:
    begin = mail.index(b"\r\n\r\n", mail.index(b'filename="plan')) + 300
    return mail[:begin] + b"!!!" + mail[begin:]


def a_plan_with_a_changed_letter(mail: bytes) -> bytes:
    """Whole by its form, and not what was sent: only the digest of RFC 1864 tells."""
    begin = mail.index(b"\r\n\r\n", mail.index(b'filename="plan')) + 4
    end = mail.index(b"\r\n--", begin)
    plan = base64.b64decode(mail[begin:end]).replace(b'"1 g"', b'"9 g"')
    return mail[:begin] + base64.encodebytes(plan).replace(b"\n", b"\r\n").rstrip() + mail[end:]


def a_plan_cut_at_a_line(mail: bytes) -> bytes:
    plan = plan_in(mail)
    begin = mail.index(b"\r\n\r\n", mail.index(b'filename="plan')) + 4
    end = mail.index(b"\r\n--", begin)
    cut_off = plan[: plan.rindex(b"[read_back]")]
    return mail[:begin] + base64.encodebytes(cut_off).replace(b"\n", b"\r\n").rstrip() + mail[end:]


def nested(depth: int, inside: bytes) -> bytes:
    content = inside
    for number in range(depth):
        edge = b"b%d" % number
        head = b'Content-Type: multipart/mixed; boundary="' + edge + b'"\r\n\r\n--' + edge + b"\r\n"
        content = head + content + b"\r\n--" + edge + b"--\r\n"
    return b"MIME-Version: 1.0\r\n" + content


def forwarded_endlessly(mail: bytes) -> bytes:
    content = b"Subject: S\r\n\r\nend\r\n"
    for _ in range(300):
        content = b"Content-Type: message/rfc822\r\n\r\n" + content
    return b"MIME-Version: 1.0\r\n" + content


def thousands_of_parts(_mail: bytes) -> bytes:
    return b'Content-Type: multipart/mixed; boundary="b"\r\n\r\n' + b"--b\r\n\r\nx\r\n" * 200_000 + b"--b--\r\n"


def millions_of_lines(_mail: bytes) -> bytes:
    return b"Subject: S\r\n\r\n" + b"\n" * 2_000_000


def an_endless_header(_mail: bytes) -> bytes:
    return b'Content-Type: multipart/mixed; boundary="b"' + b';a="' * 500_000 + b"\r\n\r\n--b\r\n\r\nx\r\n--b--\r\n"


def thousands_of_parts_between_bare_returns(_mail: bytes) -> bytes:
    """Some programs end lines at a CR alone, Python's reader of mail among them."""
    return b'Subject: S\rContent-Type: multipart/mixed; boundary="b"\r\r' + b"--b\r\r" * 2_000_000 + b"--b--\r"


def thousands_of_parts_in_an_encoded_message(_mail: bytes) -> bytes:
    return forwarded_as_an_encoded_message(thousands_of_parts(b""))


def thousands_of_parts_in_many_messages(_mail: bytes) -> bytes:
    """Each of them alone would do."""
    inner = (
        b'Subject: S\r\nContent-Type: multipart/mixed; boundary="b"\r\n\r\n' + b"--b\r\n\r\nx\r\n" * 500 + b"--b--\r\n"
    )
    return a_mail_with(*((f"{number}.eml", "application/octet-stream", inner) for number in range(9)))


def a_slow_charset(mail: bytes) -> bytes:
    """Python's punycode takes quadratic time: minutes for this."""
    head = b'MIME-Version: 1.0\r\nContent-Type: multipart/mixed; boundary="b"\r\n\r\n--b\r\n'
    kind = b'Content-Type: text/plain; charset=punycode; name="plan.toml"\r\n\r\n[plan]\r\n'
    return head + kind + b"a" * 10 + b"-" + b"aaaa" * 200_000 + b"\xff\r\n--b--\r\n"


def a_zip_bomb(_mail: bytes) -> bytes:
    packed_up = io.BytesIO()
    with zipfile.ZipFile(packed_up, "w", zipfile.ZIP_DEFLATED) as folder:
        folder.writestr("plan.toml", b"[plan]\n" + b"#" * 50_000_000)
    return a_mail_with(("plan.zip", "application/zip", packed_up.getvalue()))


def two_plans(mail: bytes) -> bytes:
    return a_mail_with(
        ("one.toml", "application/toml", plan_in(mail)), ("two.toml", "application/toml", plan_text(SECOND).encode())
    )


def an_older_packet_below_a_newer_one(mail: bytes) -> bytes:
    outer = EmailMessage(policy=SMTP)
    outer.set_content("See below.\n")
    outer.add_attachment(parsed(mail))
    outer.add_attachment(plan_text(SECOND).encode(), maintype="application", subtype="toml", filename="new.toml")
    return outer.as_bytes()


def quoted(mail: bytes, sign: bytes = b"> ") -> bytes:
    """As mail programs quote what somebody answers to, or forwards as text."""
    return b"".join(sign + line for line in mail.splitlines(keepends=True))


def a_plan_in_the_text(mail: bytes) -> bytes:
    return a_mail_with(text="Here is the plan:\n\n" + plan_in(mail).decode())


def a_plan_as_the_whole_mail(mail: bytes) -> bytes:
    return b"From: a@b.example\r\nMIME-Version: 1.0\r\nContent-Type: application/toml\r\n\r\n" + plan_in(mail)


BAD: dict[str, tuple[Callable[[bytes], bytes] | bytes, str]] = {
    "cut in the head": (lambda mail: cut(mail, 0.0005), "holds no plan"),
    "cut in the letter": (lambda mail: cut(mail, 0.02), "its end is missing"),
    "cut in the middle": (lambda mail: cut(mail, 0.5), "its end is missing"),
    "cut near the end": (lambda mail: cut(mail, 0.999), "its end is missing"),
    "cut after the plan": (cut_after_the_plan, "its end is missing"),
    "a forwarded one cut": (lambda mail: cut(forwarded_as_a_message(mail), 0.7), "its end is missing"),
    "a cut one forwarded": (lambda mail: forwarded_as_a_file(cut(mail, 0.7)), "its end is missing"),
    "a damaged part": (a_damaged_plan, "a part of it is damaged"),
    "another letter in the plan": (a_plan_with_a_changed_letter, "plan-revision-1-0F0E-8A52.toml is not as it was sent"),
    "a plan cut at a line": (a_plan_cut_at_a_line, "plan-revision-1-0F0E-8A52.toml is not as it was sent"),
    "an unknown encoding": (
        lambda mail: mail.replace(b"Content-Transfer-Encoding: base64", b"Content-Transfer-Encoding: x-uuencode"),
        "encoded in a way that is not known",
    ),
    "no boundary": (
        lambda mail: re.sub(rb'; boundary="=_0_[^"]+"', b"", mail), "its parts cannot be told apart",
    ),
    "another boundary": (
        lambda mail: re.sub(rb'boundary="=_0_[^"]+"', b'boundary="x"', mail), "not whole",
    ),
    "an encoded message that is none": (
        lambda _mail: b'Content-Type: multipart/mixed; boundary="b"\r\n\r\n--b\r\nContent-Type: message/rfc822\r\n'
        b"Content-Transfer-Encoding: base64\r\n\r\n%%%\r\n--b--\r\n",
        "a part of it is damaged",
    ),
    "far too large": (lambda mail: mail + b"\r\n" + b"x" * LARGEST, "more than 30 MB"),
    "parts in parts in parts": (lambda mail: nested(300, mail), "e-mails within e-mails"),
    "e-mails in e-mails in e-mails": (forwarded_endlessly, "e-mails within e-mails"),
    "thousands of parts": (thousands_of_parts, "thousands of parts"),
    "thousands of parts between bare returns": (thousands_of_parts_between_bare_returns, "thousands of parts"),
    "thousands of parts in an encoded e-mail": (thousands_of_parts_in_an_encoded_message, "thousands of parts"),
    "thousands of parts in many e-mails": (thousands_of_parts_in_many_messages, "thousands of parts"),
    "a slow charset": (a_slow_charset, "ERROR"),
    "millions of lines": (millions_of_lines, "thousands of parts"),
    "an endless header": (an_endless_header, "far too long"),
    "a packed folder in it": (a_zip_bomb, "holds no plan. It holds: plan.zip"),
    "two plans": (two_plans, "holds 2 plans (one.toml, two.toml)"),
    "an older packet below a newer plan": (an_older_packet_below_a_newer_one, "holds 2 plans"),
    "a plan in the text": (a_plan_in_the_text, "stands in the text of this e-mail"),
    "a plan as the whole e-mail": (a_plan_as_the_whole_mail, "stands in the text of this e-mail"),
    "no files at all": (a_mail_with(), "holds no plan. It holds: text alone"),
    "a calendar alone": (
        lambda mail: a_mail_with(("c.ics", "text/calendar", of(mail, "text/calendar"))), "It holds: c.ics",
    ),
    "encrypted": (
        b"From: a@b.example\r\nContent-Type: application/pkcs7-mime; name=smime.p7m\r\n"
        b"Content-Transfer-Encoding: base64\r\n\r\nAAAA\r\n",
        "is encrypted",
    ),
    "packed for one mail program": (
        a_mail_with(("winmail.dat", "application/ms-tnef", b"x\x9f>\"")), "winmail.dat, which only one mail program",
    ),
    "a plan that is no text": (a_mail_with(("p.toml", "application/toml", b"\xff\xfe\x00")), "not UTF-8"),
    "a plan that is no TOML": (a_mail_with(("p.toml", "application/toml", b"[plan\n")), "does not follow the rules of TOML"),
    "an empty plan": (a_mail_with(("p.toml", "application/toml", b"")), "ERROR"),
    "a plan that is far too large": (
        a_mail_with(("p.toml", "application/toml", b"[plan]\n" + b"#" * LONGEST_FILE)), "far more than a plan",
    ),
    "a plan with errors": (
        lambda mail: remade(mail, f'{HOME}\n[order.cefazolin]\ndose = "1 parsec"\n'), "ERROR (wrong-unit)",
    ),
    "a quoted one": (quoted, "its lines begin with >. So its files cannot be taken out of it. Save the original e-mail again"),
    "one quoted twice": (lambda mail: quoted(mail, b">> "), "its lines begin with >"),
    "one quoted without a blank": (lambda mail: quoted(with_the_line_of_a_mailbox(mail), b">"), "its lines begin with >"),
    "one quoted below a sentence": (
        lambda mail: b"On Mon, 1 Jun 2026 Ana Bell wrote:\r\n\r\n" + quoted(mail), "its lines begin with >",
    ),
    # Files that are no e-mail
    "the sheet": (lambda mail: of(mail, "application/pdf"), "is a PDF, such as the sheet of a packet"),
    "the calendar": (lambda mail: of(mail, "text/calendar"), "is a calendar, and no packet"),
    "a message of one mail program": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "(.msg)"),
    "a packed folder": (b"PK\x03\x04", "(.zip)"),
    "a web page": (b"<!DOCTYPE html><html>", "is a web page"),
    "winmail.dat": (b"x\x9f>\"\x00", "winmail.dat"),
    "nothing": (b"", "ERROR"),
    "bytes": (bytes(range(256)) * 50, "ERROR"),
    "words": (b"Dear family, here is your plan.\n", "does not follow the rules of TOML"),
}  # fmt: skip
"""What somebody may open, and what is told; a function changes a good e-mail."""


@pytest.mark.parametrize("in_use", [False, True], ids=["nothing in use", "a plan in use"])
@pytest.mark.parametrize("case", BAD)
def test_from_bad_input_nothing_is_put_in_use_and_it_says_why(
    mail: bytes, tmp_path: Path, data: Path, case: str, in_use: bool
) -> None:
    if in_use:
        put_in_use(write(tmp_path, HOME.replace("07:30", "07:29")))
    before = {path: path.read_bytes() for path in data.rglob("*") if path.is_file()}
    change, told = BAD[case]
    content = change if isinstance(change, bytes) else change(mail)
    file = saved(tmp_path, content, "in.eml")
    began = time.monotonic()
    result = run("open", file, "--use", *LATER)
    assert time.monotonic() - began < 15, "nobody waits longer for an answer"
    assert result.exit_code == 1
    assert told in result.output
    assert "Nothing was put in use." in result.output
    assert {path: path.read_bytes() for path in data.rglob("*") if path.is_file()} == before
    assert file.read_bytes() == content


@pytest.mark.parametrize("length", range(0, 100, 7))
def test_wherever_an_e_mail_is_cut_off_nothing_is_taken_from_it(mail: bytes, length: int) -> None:
    with pytest.raises(UnpackError):
        unpack(cut(mail, length / 100))


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    for path, told in ((tmp_path / "none.eml", "There is no file"), (tmp_path, "is a folder")):
        result = run("open", path, "--use", *NOW)
        assert result.exit_code == 1
        assert told in result.output


SLIPS = [
    b'"', b";", b"\r\n", b"\n\n", b"--", b"=?utf-8?B?", b"=?x-none?Q?=ff?=", b"\xff\xfe", b"\x00", b"base64", b"message/rfc822",
    b"charset=x-none", b"filename*0*=utf-8''%ff", b"filename*=x-none''%ff", b"multipart/mixed", b"boundary=", b"%%%",
]  # fmt: skip
"""What a broken program may put anywhere in an e-mail."""


@pytest.mark.parametrize("seed", range(8))
def test_whatever_is_wrong_with_an_e_mail_it_is_told(seed: int) -> None:
    """Slips all over a small packet: a plan that is whole, or a reason; never anything else."""
    plan = plan_text(HOME).encode()
    mail = a_mail_with(("plan.toml", "application/toml", plan), ("c.ics", "text/calendar", b"BEGIN:VCALENDAR\r\n"))
    mail = forwarded_as_a_message(mail) if seed % 2 else mail
    chance = random.Random(seed)
    taken = 0
    for _ in range(250):
        broken = bytearray(mail)
        for _ in range(chance.randint(1, 5)):
            places = [
                found.start() for found in re.finditer(rb"^Content-|boundary|filename|charset|From|--=", broken, re.M)
            ]
            at = min(len(broken) - 1, chance.choice(places or [0]) + chance.randrange(60))
            broken[at : at + chance.choice([0, 0, 1, 9, 40])] = chance.choice(SLIPS)
        try:
            found = unpack(bytes(broken))
        except UnpackError as error:
            assert len(str(error)) > 60
        else:
            taken += found.plan.content == plan
    assert 0 < taken < 250
