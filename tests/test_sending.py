"""Sending by SMTP: what leaves here arrives byte by byte at a real server; nothing leaves unencrypted; what fails says why."""

import base64
import os
import pty
import re
import select
import smtplib
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from mail_server import HOST, PASSWORD, Certificate, Inbox, certificate_for, mail_server, scripted
from own_places import HOME, own_places, run
from packet_home import NOW, Desk, packed, with_read_back
from readers.mail import MAIL_READERS, MailReader

from reminders.commands.packet import PASSWORD as VARIABLE
from reminders.mailing import sending
from reminders.mailing.sending import SendingError, Sent, Server, send, server_of

MAIL = b"From: ana@fennimore.example\r\nTo: family@quill.example\r\nSubject: S\r\n\r\n.a line that begins with a dot\r\nend\r\n"
ANA, FAMILY, FRIEND = "ana@fennimore.example", "family@quill.example", "friend@quill.example"


@pytest.fixture(name="certificate", scope="session")
def a_certificate(tmp_path_factory: pytest.TempPathFactory) -> Certificate:
    """Give tests a certificate that signs itself, for localhost."""
    return certificate_for(tmp_path_factory.mktemp("certificate"))


@pytest.fixture(autouse=True)
def _own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "home", monkeypatch)
    monkeypatch.delenv(VARIABLE, raising=False)


def sent(
    port: int,
    certificate: Certificate | None = None,
    *,
    to: tuple[str, ...] = (FAMILY,),
    user: str = "",
    password: str = PASSWORD,
    host: str = HOST,
    content: bytes = MAIL,
    patience: float = 20,
) -> Sent:
    """Send an e-mail to a server of this computer."""
    server = Server(host, port, user, None if certificate is None else certificate.file)
    return send(content, ANA, to, server, lambda: password, patience=patience)


def refused(port: int, *given: Any, **options: Any) -> str:
    """Send what cannot be sent; return what is told."""
    with pytest.raises(SendingError) as caught:
        sent(port, *given, **options)
    assert not caught.value.uncertain
    assert "othing was sent" in str(caught.value)
    return str(caught.value)


# What arrives


def test_what_is_sent_arrives_encrypted_and_as_it_was(certificate: Certificate) -> None:
    with mail_server(starttls=certificate, login=True) as inbox:
        assert sent(inbox.port, certificate, to=(FAMILY, FRIEND), user="ana") == Sent({})
    assert inbox.mails == [(ANA, (FAMILY, FRIEND), MAIL)]
    assert inbox.encrypted == [True]
    assert inbox.logins == [("ana", PASSWORD)]


def test_a_server_with_tls_from_the_first_byte(certificate: Certificate, monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 8314, 3.3: on port 465 there is nothing before TLS."""
    with mail_server(tls=certificate) as inbox:
        monkeypatch.setattr(sending, "TLS_PORT", inbox.port)
        assert sent(inbox.port, certificate) == Sent({})
    assert inbox.mails == [(ANA, (FAMILY,), MAIL)]


@pytest.mark.parametrize("reader", MAIL_READERS.values(), ids=MAIL_READERS.keys())
def test_a_packet_arrives_with_every_byte_of_its_files(
    certificate: Certificate, reader: MailReader, tmp_path: Path
) -> None:
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate) as inbox:
        result = packs(desk, inbox, certificate, "--to", FRIEND)
    assert result.exit_code == 0, result.output
    ((sender, to, content),) = inbox.mails
    assert (sender, to) == (ANA, (FAMILY, FRIEND))
    seen = reader(content, tmp_path)
    assert seen.named("plan-revision-1-0F0E-8A52.toml") == (desk.folder / "fennimore.toml").read_bytes()
    assert seen.named("calendar-revision-1-0F0E-8A52.ics") == desk.calendar() == seen.of_kind("text/calendar")[0]
    assert seen.named("sheet-revision-1-0F0E-8A52.pdf") == desk.sheet()
    assert desk.mail().replace(b"X-Unsent: 1\r\n", b"") == content
    assert b"X-Unsent" not in content


def test_what_arrived_is_opened_and_put_in_use(certificate: Certificate, tmp_path: Path) -> None:
    """The whole way: the nurse sends it, the family saves what arrived, opens it, and says yes."""
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate) as inbox:
        assert packs(desk, inbox, certificate).exit_code == 0
    file = tmp_path / "Saved from the mail program.eml"
    file.write_bytes(inbox.mails[0][2])
    result = run("open", file, "--use", *NOW)
    assert result.exit_code == 0, result.output
    assert "What came with the plan fits it." in result.output
    assert "Revision 1 is in use" in result.output
    assert run("due", *NOW).exit_code == 0


# Nothing leaves unencrypted


def test_without_encryption_nothing_is_sent_beyond_this_computer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sending, "_is_this_computer", lambda _connection, _server: False)
    with mail_server(login=True) as inbox:
        assert "offers no encryption" in refused(inbox.port, user="ana")
    assert not inbox.mails
    assert not inbox.logins


@pytest.mark.parametrize(
    ("host", "peer", "here"),
    [
        ("localhost", "127.0.0.1", True), ("LOCALHOST", "::1", True), ("127.8.0.3", "127.8.0.3", True), ("::1", "::1", True),
        ("localhost", "192.0.2.7", False), ("mail.fennimore.example", "127.0.0.1", False), ("192.0.2.7", "127.0.0.1", False),
    ],
)  # fmt: skip
def test_this_computer_is_what_was_typed_and_where_the_connection_ends(host: str, peer: str, here: bool) -> None:
    """Another name can lead here too: a tunnel, or somebody who answers for a server."""
    connection: Any = SimpleNamespace(sock=SimpleNamespace(getpeername=lambda: (peer, 25)))
    assert sending._is_this_computer(connection, Server(host, 25)) is here


def test_within_this_computer_a_server_without_encryption_will_do() -> None:
    with mail_server() as inbox:
        assert sent(inbox.port) == Sent({}, encrypted=False)
    assert inbox.encrypted == [False]


def test_that_it_went_without_encryption_is_said(tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk")
    with mail_server() as inbox:
        result = desk.packs(
            desk.folder / "fennimore.toml", "--from", ANA, "--to", FAMILY, "--send", "--smtp", f"{HOST}:{inbox.port}"
        )
    assert result.exit_code == 0, result.output
    assert "It went to localhost without encryption, within this computer." in result.output


def test_a_password_never_goes_without_encryption() -> None:
    """Not within this computer either: what listens there may pass it on."""
    with mail_server(login=True) as inbox:
        assert "a password is never sent without" in refused(inbox.port, user="ana")
    assert not inbox.logins
    assert not inbox.mails


def test_the_name_of_this_computer_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 5321, 4.1.3: an address in brackets greets as well as a name."""
    greeted: list[str] = []

    async def greeting(
        _inbox: Inbox, _server: object, session: Any, _envelope: object, hostname: str, answers: list[str]
    ) -> list[str]:
        session.host_name = hostname
        greeted.append(hostname)
        return answers

    monkeypatch.setattr(Inbox, "handle_EHLO", greeting, raising=False)
    monkeypatch.setattr("socket.getfqdn", lambda _name="": "anas-laptop.ward7.clinic.example")
    with mail_server() as inbox:
        sent(inbox.port)
    assert greeted == ["[127.0.0.1]"]


def test_a_server_that_has_encryption_is_used_with_it_also_within_this_computer(certificate: Certificate) -> None:
    with mail_server(starttls=certificate) as inbox:
        assert "certificate" in refused(inbox.port)
    assert inbox.mails == []


def test_a_certificate_that_nobody_vouches_for_is_refused_before_the_login(certificate: Certificate) -> None:
    with mail_server(starttls=certificate, login=True) as inbox:
        said = refused(inbox.port, user="ana")
    assert "The certificate of localhost cannot be trusted" in said
    assert "--authority" in said
    assert inbox.logins == []


def test_a_certificate_for_another_name_is_refused(tmp_path: Path) -> None:
    other = certificate_for(tmp_path, "mail.fennimore.example")
    with mail_server(starttls=other, login=True) as inbox:
        assert "cannot be trusted" in refused(inbox.port, other, user="ana")
    assert not inbox.mails
    assert not inbox.logins


def test_a_server_that_speaks_no_tls_on_the_port_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    with mail_server() as inbox:
        monkeypatch.setattr(sending, "TLS_PORT", inbox.port)
        assert "No encrypted connection" in refused(inbox.port)
    assert inbox.mails == []


# What fails says why


def test_a_refused_login_is_told(certificate: Certificate) -> None:
    with mail_server(starttls=certificate, login=True) as inbox:
        said = refused(inbox.port, certificate, user="ana", password="wrong")
    assert "localhost refused the login of ana: 535" in said
    assert inbox.mails == []


def test_a_login_where_nobody_can_log_in_is_told() -> None:
    with mail_server() as inbox:
        assert "does not let anybody log in" in refused(inbox.port, user="ana")


def test_a_login_that_was_left_out_is_told(certificate: Certificate) -> None:
    with mail_server(starttls=certificate, login=True) as inbox:
        assert "530" in refused(inbox.port, certificate)
    assert inbox.mails == []


def test_a_password_that_cannot_be_carried_is_told(certificate: Certificate) -> None:
    with mail_server(starttls=certificate, login=True) as inbox:
        said = refused(inbox.port, certificate, user="ana", password="pässword-春")
    assert "cannot carry" in said
    assert "春" not in said


def test_who_is_refused_is_told_and_the_others_get_it(certificate: Certificate) -> None:
    with mail_server(starttls=certificate) as inbox:
        inbox.refuses[FRIEND] = "550 5.1.1 no such\x1b[31m box"
        found = sent(inbox.port, certificate, to=(FAMILY, FRIEND))
    assert found.refused.keys() == {FRIEND}
    assert found.refused[FRIEND].startswith("550 5.1.1 no such")
    assert found.refused[FRIEND].isprintable(), "no server colours our terminal"
    assert [to for _sender, to, _content in inbox.mails] == [(FAMILY,)]


def test_that_everybody_is_refused_is_told(certificate: Certificate) -> None:
    with mail_server(starttls=certificate) as inbox:
        inbox.refuses = {FAMILY: "550 no such box", FRIEND: "452 full"}
        said = refused(inbox.port, certificate, to=(FAMILY, FRIEND))
    assert f"{FAMILY}: 550 no such box; {FRIEND}: 452 full" in said


def test_that_it_is_too_large_is_told_before_it_is_sent(certificate: Certificate) -> None:
    with mail_server(starttls=certificate, most=1_000_000) as inbox:
        said = refused(inbox.port, certificate, content=MAIL + b"x" * 1_100_000)
    assert "too large for localhost: it has 1.1 MB, and at most 1.0 MB are taken" in said
    assert inbox.mails == []


def test_that_the_server_does_not_want_it_is_told(certificate: Certificate) -> None:
    with mail_server(starttls=certificate) as inbox:
        inbox.refuses["DATA"] = "554 5.7.1 looks like spam"
        assert "554 5.7.1 looks like spam" in refused(inbox.port, certificate)


def test_an_unknown_host_is_told() -> None:
    """RFC 6761, 6.4: nothing under .invalid is ever found."""
    said = refused(587, host="mail.fennimore.invalid")
    assert "No server named mail.fennimore.invalid can be reached" in said


def test_a_name_that_no_host_can_have_is_told() -> None:
    assert "can be reached" in refused(587, host=f"{'a' * 70}.example")


def test_a_port_at_which_nothing_answers_is_told() -> None:
    with mail_server() as inbox:
        pass
    assert "Nothing answers on port" in refused(inbox.port)


@pytest.mark.parametrize("answers", [[b""], [b"220 hello\r\n"]], ids=["from the start", "after the greeting"])
def test_a_server_that_falls_silent_is_given_up(answers: list[bytes | None]) -> None:
    with scripted(answers) as port:
        assert "did not answer on port" in refused(port, patience=0.3)


def test_a_server_that_hangs_up_is_told() -> None:
    with scripted([b"220 hello\r\n", None]) as port:
        assert "broke the connection off" in refused(port)


def test_what_is_no_mail_server_is_told() -> None:
    with scripted([b"HTTP/1.1 400 Bad Request\r\n", None]) as port:
        refused(port)


@pytest.mark.parametrize("end", [None, b""], ids=["hangs up", "falls silent"])
def test_that_it_is_not_certain_is_told(end: bytes | None) -> None:
    """The whole e-mail went out and no answer came: it may have been taken."""
    body = MAIL.partition(b"\r\n\r\n")[2].count(b"\r\n") + MAIL.partition(b"\r\n\r\n")[0].count(b"\r\n") + 2
    taken: list[bytes | None] = [b"220 hello\r\n", b"250 me\r\n", b"250 OK\r\n", b"250 OK\r\n", b"354 go\r\n"]
    with scripted([*taken, *[b""] * body, end]) as port, pytest.raises(SendingError) as caught:
        sent(port, patience=0.5)
    assert caught.value.uncertain
    assert "It is not certain whether it was sent" in str(caught.value)


def test_a_refusal_at_the_end_of_the_session_takes_nothing_back(
    certificate: Certificate, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once the server has taken it, it is sent, whatever becomes of the goodbye."""

    def rude(_self: smtplib.SMTP) -> None:
        raise smtplib.SMTPServerDisconnected("gone")

    monkeypatch.setattr(smtplib.SMTP, "quit", rude)
    with mail_server(starttls=certificate) as inbox:
        assert sent(inbox.port, certificate) == Sent({})


def test_an_authority_that_is_no_certificate_is_told(tmp_path: Path) -> None:
    nonsense = tmp_path / "nonsense.pem"
    nonsense.write_text("no certificate", encoding="utf-8")
    for file in (nonsense, tmp_path / "missing.pem"):
        with pytest.raises(SendingError, match="holds no certificate that can be read"):
            send(MAIL, ANA, [FAMILY], Server(HOST, 587, "", file), lambda: PASSWORD)


@pytest.mark.parametrize(
    ("text", "server"),
    [
        ("mail.fennimore.example:587", Server("mail.fennimore.example", 587)),
        ("[::1]:25", Server("::1", 25)),
        ("127.0.0.1:2525", Server("127.0.0.1", 2525)),
    ],
)
def test_a_server_is_taken_as_it_is_typed(text: str, server: Server) -> None:
    assert server_of(text) == server


@pytest.mark.parametrize(
    "text", ["", "mail", "mail:", ":25", "mail:0", "mail:70000", "mail:smtp", "a b:25", "a\nb:25", "mail:²"]
)
def test_what_is_no_server_is_told(text: str) -> None:
    with pytest.raises(ValueError, match="HOST:PORT"):
        server_of(text)


# The password


@pytest.mark.parametrize("encoded", [False, True], ids=["as it is", "as it was sent"])
def test_a_server_that_repeats_the_password_does_not_make_us_show_it(certificate: Certificate, encoded: bool) -> None:
    """RFC 4616: what is sent is base64 of the user and the password."""
    wrong = "wrong horse"
    shown = base64.b64encode(f"\0ana\0{wrong}".encode()).decode() if encoded else wrong
    with mail_server(starttls=certificate, login=True) as inbox:
        inbox.login_answer = f"535 I do not like {shown}"
        said = refused(inbox.port, certificate, user="ana", password=wrong)
    assert "535 I do not like (the password)" in said
    assert shown not in said


def test_a_password_with_blanks_is_hidden_before_blanks_are_squeezed(certificate: Certificate) -> None:
    wrong = "wrong   horse"
    with mail_server(starttls=certificate, login=True) as inbox:
        inbox.login_answer = f"535 {'x' * 285} {wrong}"
        said = refused(inbox.port, certificate, user="ana", password=wrong)
    assert "(the pass" in said
    assert "wrong" not in said


def test_the_password_is_asked_for_only_once_the_connection_is_safe(certificate: Certificate) -> None:
    asked: list[str] = []

    def password() -> str:
        asked.append("asked")
        return PASSWORD

    with mail_server(starttls=certificate, login=True) as inbox, pytest.raises(SendingError):
        send(MAIL, ANA, [FAMILY], Server(HOST, inbox.port, "ana"), password, patience=20)
    assert asked == []


def packs(desk: Desk, inbox: Inbox, certificate: Certificate, *options: str, plan: Path | None = None) -> Any:
    """Make a packet and send it."""
    return desk.packs(
        plan or desk.folder / "fennimore.toml", "--from", ANA, "--to", FAMILY, "--send",
        "--smtp", f"{HOST}:{inbox.port}", "--authority", certificate.file, *options,
    )  # fmt: skip


def test_the_password_from_the_environment_is_used_and_kept_nowhere(
    certificate: Certificate, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, PASSWORD)
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate, login=True) as inbox:
        result = packs(desk, inbox, certificate, "--user", "ana")
    assert result.exit_code == 0, result.output
    assert inbox.logins == [("ana", PASSWORD)]
    assert PASSWORD not in result.output
    for path in tmp_path.rglob("*"):
        assert not path.is_file() or PASSWORD.encode() not in path.read_bytes()


def test_where_nobody_can_be_asked_for_the_password_it_is_told(certificate: Certificate, tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate, login=True) as inbox:
        result = packs(desk, inbox, certificate, "--user", "ana")
    assert result.exit_code == 1
    assert "Nobody can be asked for the password" in result.output
    assert not inbox.mails
    assert not inbox.logins


def at_a_terminal(command: list[str], answers: list[tuple[str, str]], folder: Path) -> tuple[str, int]:
    """Run a command at a terminal of its own; when it asks for what an answer belongs to, type it. Return what was shown."""
    main, side = pty.openpty()
    process = subprocess.Popen(command, stdin=side, stdout=side, stderr=side, cwd=folder, start_new_session=True)
    os.close(side)
    shown, waiting, ends = "", list(answers), time.monotonic() + 60
    while time.monotonic() < ends:
        if waiting and waiting[0][0] in shown:
            os.write(main, f"{waiting.pop(0)[1]}\n".encode())
        ready, _, _ = select.select([main], [], [], 0.1)
        if not ready:
            continue
        try:
            part = os.read(main, 4096)
        except OSError:  # its other end was closed
            break
        shown += part.decode(errors="replace")
    os.close(main)
    return shown, process.wait(timeout=20)


def sending_command(desk: Desk, inbox: Inbox, certificate: Certificate) -> list[str]:
    """Return the command that sends a desk's packet with a login, as it is typed."""
    return [
        sys.executable, "-m", "reminders", "packet", str(desk.folder / "fennimore.toml"), "--out", str(desk.out),
        "--from", ANA, "--to", FAMILY, "--send", "--smtp", f"{HOST}:{inbox.port}", "--authority", str(certificate.file),
        "--user", "ana", *NOW,
    ]  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="not run: a terminal of one's own is POSIX")
@pytest.mark.parametrize(("answer", "sends"), [("y", True), ("n", False), ("", False)], ids=["yes", "no", "nothing"])
def test_at_a_terminal_it_asks_first_and_shows_no_password(
    certificate: Certificate, tmp_path: Path, answer: str, sends: bool
) -> None:
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate, login=True) as inbox:
        asked = [("Send it now to family@quill.example?", answer), ("Password of ana at localhost", PASSWORD)]
        shown, status = at_a_terminal(
            sending_command(desk, inbox, certificate), asked if sends else asked[:1], tmp_path
        )
    assert status == 0, shown
    assert shown.index("This packet holds:") < shown.index("Send it now")
    assert PASSWORD not in shown
    assert len(inbox.mails) == int(sends)
    assert ("Handed to localhost for family@quill.example" in shown) is sends
    assert ("Nothing was sent" in shown) is not sends


@pytest.mark.skipif(os.name != "posix", reason="not run: a terminal of one's own is POSIX")
def test_where_somebody_can_be_asked_the_password_of_the_environment_is_left_alone(
    certificate: Certificate, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may be that of another account."""
    monkeypatch.setenv(VARIABLE, "of another account")
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate, login=True) as inbox:
        shown, status = at_a_terminal(
            sending_command(desk, inbox, certificate),
            [("Send it now to family@quill.example?", "y"), ("Password of ana at localhost", PASSWORD)],
            tmp_path,
        )
    assert status == 0, shown
    assert inbox.logins == [("ana", PASSWORD)]


# The command


def test_a_plan_that_nobody_has_read_back_is_not_sent(certificate: Certificate, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    plan = desk.write(HOME)
    with mail_server(starttls=certificate) as inbox:
        result = packs(desk, inbox, certificate, plan=plan)
        assert result.exit_code == 1
        assert "NOBODY HAS READ THIS PLAN BACK YET" in result.stderr
        assert "--not-read-back" in result.stderr
        assert inbox.mails == []
        assert not desk.out.exists()
        assert packs(desk, inbox, certificate, "--not-read-back", plan=plan).exit_code == 0
    assert len(inbox.mails) == 1
    assert b"NOBODY HAS READ THIS PLAN BACK YET" in inbox.mails[0][2]


def test_a_plan_that_was_changed_since_it_was_read_back_is_not_sent(certificate: Certificate, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    plan = desk.write(with_read_back(HOME) + '[order.cefazolin]\ndose = "2 g"\n')
    with mail_server(starttls=certificate) as inbox:
        result = packs(desk, inbox, certificate, plan=plan)
    assert result.exit_code == 1
    assert "THIS PLAN WAS CHANGED AFTER IT WAS READ BACK" in result.stderr
    assert inbox.mails == []


def test_a_sending_that_fails_loses_nothing(certificate: Certificate, tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate) as inbox:
        inbox.refuses["DATA"] = "554 no"
        result = packs(desk, inbox, certificate)
    assert result.exit_code == 1
    assert "554 no" in result.stderr
    assert "The files stay as they are" in result.stderr
    assert b"To: family@quill.example" in desk.mail()
    assert run("open", desk.out / "packet-revision-1-0F0E-8A52.eml", *NOW).exit_code == 0


def test_that_one_of_two_was_refused_is_told(certificate: Certificate, tmp_path: Path) -> None:
    desk = packed(tmp_path / "desk")
    with mail_server(starttls=certificate) as inbox:
        inbox.refuses[FRIEND] = "550 no such box"
        result = packs(desk, inbox, certificate, "--to", FRIEND)
    assert result.exit_code == 1
    assert f"Not sent to {FRIEND}: the mail server refused it (550 no such box)" in result.stderr
    assert re.search(rf"Handed to localhost for {re.escape(FAMILY)}\.", result.stdout)
