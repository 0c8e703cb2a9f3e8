"""The phones that subscribe: their names and secrets, who may read them, and what another process changes meanwhile."""

import json
import os
import stat
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from small_plans import plan_text

from reminders import phone_words
from reminders.phones import KEPT_EVERY, LONGEST_NAME, MOST_PHONES, Phone, Phones, PhonesError
from reminders.plan.read import read_plan

POSIX = pytest.mark.skipif(os.name != "posix", reason="not run: file modes are not this system's")


class Clock:
    """Seconds since 1970, as a test sets them."""

    now = 1_780_000_000.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now


@pytest.fixture(name="clock")
def a_clock() -> Clock:
    """Give a test a clock."""
    return Clock()


@pytest.fixture(name="path")
def a_path(tmp_path: Path) -> Path:
    """Give a test where the secrets are to be kept; neither file nor folder is there."""
    return tmp_path / "kept" / "secrets-1.json"


def test_nothing_is_written_before_it_is_needed(path: Path, clock: Clock) -> None:
    """To ask which phones there are makes no file."""
    phones = Phones(path, clock)
    assert (list(phones.all()), phones.find("x")) == ([], None)
    assert not path.parent.exists()


def test_a_phone_gets_a_secret_of_its_own(path: Path, clock: Clock) -> None:
    """256 bits each (32 bytes are 43 letters in base64, RFC 4648, 5), other ones for the page and each phone."""
    phones = Phones(path, clock)
    ana, ben = phones.add("Ana's phone"), phones.add("  Ben \t Ö ")
    assert (ana.name, ben.name, ana.added) == ("Ana's phone", "Ben Ö", clock.now)
    found = {phones.secret, ana.token, ben.token}
    assert len(found) == 3
    assert all(len(secret) == 43 and secret.replace("-", "").replace("_", "").isalnum() for secret in found)
    assert [phones.find(phone.token) for phone in (ana, ben)] == [ana, ben]
    again = Phones(path, clock)
    assert (list(again.all()), again.secret) == ([ana, ben], phones.secret)


@pytest.mark.parametrize("token", ["", "x", "é" * 43, "\udcff", "🔑", "a" * 5000, "\0"])
def test_a_wrong_token_is_nobodys(path: Path, clock: Clock, token: str) -> None:
    """Whatever its letters."""
    phones = Phones(path, clock)
    ana = phones.add("Ana")
    assert phones.find(token) is None
    for near in (ana.token[:-1], ana.token + "a", ana.token.swapcase(), phones.secret, ana.name):
        assert phones.find(near) is None


def test_all_tokens_are_compared_each_in_constant_time(
    path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By construction: the library's constant-time comparison, of bytes, for every phone, found or not."""
    phones = Phones(path, clock)
    tokens = [phones.add(name).token for name in ("Ana", "Ben", "Cleo")]
    compared: list[tuple[Any, Any]] = []

    def seen(one: Any, other: Any) -> bool:
        compared.append((one, other))
        return bool(one == other)

    monkeypatch.setattr("reminders.phones.hmac.compare_digest", seen)
    for given in (tokens[0], "wrong"):
        compared.clear()
        phones.find(given)
        assert compared == [(given.encode(), token.encode()) for token in tokens]


@pytest.mark.parametrize(
    "name", ["", "  ", "a" * (LONGEST_NAME + 1), "a\x00b", "a\x1bb", "a\u202eb", "a\u200bb", "\ud800", "a\u2028b\x07"]
)
def test_a_name_is_short_and_printable(path: Path, clock: Clock, name: str) -> None:
    """It stands on the page, in the terminal and in messages."""
    phones = Phones(path, clock)
    with pytest.raises(PhonesError, match="1 to 40 letters"):
        phones.add(name)
    assert list(phones.all()) == []


@pytest.mark.parametrize(("one", "other"), [("Ana", "ana"), ("Straße", "STRASSE"), ("Ana 1", "ANA   1"), ("①", "1")])
def test_names_that_would_be_taken_for_each_other_are_one(path: Path, clock: Clock, one: str, other: str) -> None:
    """Added once; found and removed by either."""
    phones = Phones(path, clock)
    phones.add(one)
    with pytest.raises(PhonesError, match="already"):
        phones.add(other)
    assert phones.named(other).name == one
    assert phones.revoke(other).name == one
    assert list(phones.all()) == []


def test_a_removed_phone_is_nobodys_and_gets_another_secret(path: Path, clock: Clock) -> None:
    """Its address never leads anywhere again, and what it asked is forgotten."""
    phones = Phones(path, clock)
    ana, ben = phones.add("Ana"), phones.add("Ben")
    phones.fetched(ana)
    phones.revoke("Ana")
    assert (phones.find(ana.token), phones.find(ben.token)) == (None, ben)
    again = phones.add("Ana")
    assert again.token != ana.token
    assert phones.named("Ana").fetched is None
    assert phones.find(ana.token) is None
    for wrong in (phones.revoke, phones.named):
        with pytest.raises(PhonesError, match=r"no phone of that name\. The phones are: Ben, Ana\."):
            wrong("Cleo")


def test_there_are_not_any_number_of_phones(path: Path, clock: Clock) -> None:
    """Each is compared with at each request."""
    phones = Phones(path, clock)
    for number in range(MOST_PHONES):
        phones.add(f"phone {number}")
    with pytest.raises(PhonesError, match=f"{MOST_PHONES} phones already"):
        phones.add("one more")
    assert len(phones.all()) == MOST_PHONES


# What others change


def test_what_another_process_changes_is_seen_at_once(path: Path, clock: Clock) -> None:
    """The command while the daemon runs; and none of both loses what the other did."""
    daemon, command = Phones(path, clock), Phones(path, clock)
    ana = command.add("Ana")
    assert daemon.find(ana.token) == ana
    assert daemon.secret == command.secret
    ben = daemon.add("Ben")
    command.revoke("Ana")
    assert daemon.find(ana.token) is None
    assert list(daemon.all()) == list(command.all()) == [ben]


def test_changes_at_the_same_moment_are_all_kept(path: Path, clock: Clock) -> None:
    """Each change is made to what the file holds then, one after the other."""
    faults: list[BaseException] = []

    def adds(who: int) -> None:
        try:
            for number in range(6):
                Phones(path, clock).add(f"{who} {number}")
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=adds, args=(who,)) for who in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert {phone.name for phone in Phones(path, clock).all()} == {f"{who} {n}" for who in range(4) for n in range(6)}


DAMAGED = {
    "empty": b"",
    "cut off": b'{"page": "',
    "no object": b"[]",
    "nothing in it": b"{}",
    "no text": b"\xff\xfe",
    "no secret": b'{"page": "", "phones": []}',
    "a short secret": b'{"page": "abc", "phones": []}',
    "a secret with a slash": b'{"page": "' + b"a/" * 20 + b'", "phones": []}',
    "phones are no list": b'{"page": "' + b"a" * 43 + b'", "phones": 7}',
    "a phone without a token": b'{"page": "' + b"a" * 43 + b'", "phones": [{"name": "Ana", "added": 1}]}',
    "a phone that was added when?": b'{"page": "'
    + b"a" * 43
    + b'", "phones": [{"name": "Ana", "token": "'
    + b"b" * 43
    + b'", "added": null}]}',
}


@pytest.mark.parametrize("kind", DAMAGED)
def test_a_damaged_file_is_never_replaced(path: Path, clock: Clock, kind: str) -> None:
    """New secrets would cut off every phone. The message names the file, and no secret."""
    path.parent.mkdir()
    path.write_bytes(DAMAGED[kind])
    with pytest.raises(PhonesError, match="is damaged") as error:
        Phones(path, clock)
    assert str(path) in str(error.value)
    assert "aaaa" not in str(error.value)
    assert path.read_bytes() == DAMAGED[kind]


@pytest.mark.parametrize("gone", [False, True], ids=["damaged", "gone"])
def test_a_file_that_fails_later_takes_nothing_away(path: Path, clock: Clock, gone: bool) -> None:
    """The daemon goes on with what it has read, and says so; phones are not cut off, and it is right again afterwards."""
    phones = Phones(path, clock)
    ana, secret, content = phones.add("Ana"), phones.secret, path.read_bytes()
    if gone:
        path.unlink()
    else:
        path.write_bytes(b"{")
    assert (phones.find(ana.token), phones.secret) == (ana, secret)
    assert str(path) in phones.trouble
    if not gone:
        with pytest.raises(PhonesError, match="is damaged"):
            phones.add("Ben")
        assert path.read_bytes() == b"{"
    path.write_bytes(content)
    assert list(phones.all()) == [ana]
    assert phones.trouble == ""


@POSIX
def test_a_folder_that_cannot_be_written_changes_nothing(path: Path, clock: Clock) -> None:
    """What could not be kept was not added."""
    phones = Phones(path, clock)
    ana = phones.add("Ana")
    path.unlink()
    path.mkdir()  # nothing can be moved onto a folder, whoever runs this
    with pytest.raises(PhonesError, match="cannot be"):
        phones.add("Ben")
    assert [phone.name for phone in phones.all()] == [ana.name]
    path.rmdir()


# Who may read them


@POSIX
@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_only_its_owner_may_read_what_is_kept(path: Path, clock: Clock, umask: int) -> None:
    """Whatever the umask: file mode 0600, folder 0700; nothing else is left behind but the lock."""
    before = os.umask(umask)
    try:
        phones = Phones(path, clock)
        phones.fetched(phones.add("Ana"))
    finally:
        os.umask(before)
    kept = {file.name: stat.S_IMODE(file.stat().st_mode) for file in path.parent.iterdir()}
    assert {name: mode for name, mode in kept.items() if not name.endswith(".lock")} == {
        "secrets-1.json": 0o600,
        "secrets-1-fetched.json": 0o600,
    }
    assert all(mode & 0o077 == 0 for mode in kept.values())
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


@POSIX
def test_it_is_never_readable_by_others_not_for_a_moment(
    path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When it is moved to its place it has its mode already."""
    modes = []
    moved = Path.replace

    def seen(self: Path, target: Path) -> Path:
        modes.append(stat.S_IMODE(self.stat().st_mode))
        return moved(self, target)

    monkeypatch.setattr(Path, "replace", seen)
    before = os.umask(0)
    try:
        Phones(path, clock).add("Ana")
    finally:
        os.umask(before)
    assert modes and set(modes) == {0o600}


def test_no_secret_is_in_what_is_printed(path: Path, clock: Clock) -> None:
    """A phone that turns up in a message or a log shows its name alone."""
    phones = Phones(path, clock)
    ana = phones.add("Ana")
    for text in (repr(ana), str([ana]), repr(phones)):
        assert ana.token not in text
        assert phones.secret not in text


# When each asked last


def test_when_a_phone_asked_is_kept_over_a_restart(path: Path, clock: Clock) -> None:
    """With what it was given."""
    phones = Phones(path, clock)
    ana, ben = phones.add("Ana"), phones.add("Ben")
    clock.now += 100
    phones.fetched(ana, '"1"')
    found = {phone.name: (phone.fetched, phone.has) for phone in Phones(path, clock).all()}
    assert found == {"Ana": (clock.now, '"1"'), "Ben": (None, "")}
    assert phones.find(ben.token) == ben


def test_a_phone_that_asks_often_is_not_written_down_each_time(
    path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At most once a minute for each; what is asked in between is known here at once."""
    phones = Phones(path, clock)
    ana, ben = phones.add("Ana"), phones.add("Ben")
    writes = []
    kept = phones._keep_fetches

    def written() -> None:
        writes.append(clock.now)
        kept()

    monkeypatch.setattr(phones, "_keep_fetches", written)
    for _ in range(2 * KEPT_EVERY):
        phones.fetched(ana)
        phones.fetched(ben)
        assert phones.named("Ana").fetched == clock.now
        clock.now += 1
    assert len(writes) == 4
    clock.now -= 3600  # the clock is set back
    phones.fetched(ana)
    assert phones.named("Ana").fetched == clock.now
    assert len(writes) == 5


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"feeds": [], "fetched": {"x": 1}}', b'{"fetched": {}}'])
def test_losing_when_they_asked_harms_nothing(path: Path, clock: Clock, content: bytes) -> None:
    """That file holds no secret, and is written anew."""
    phones = Phones(path, clock)
    ana = phones.add("Ana")
    phones.fetched(ana)
    other = path.with_name("secrets-1-fetched.json")
    assert ana.token not in other.read_text(encoding="utf-8")
    other.write_bytes(content)
    again = Phones(path, clock)
    assert [phone.name for phone in again.all()] == ["Ana"]
    again.fetched(ana)
    assert json.loads(other.read_bytes())["fetched"]
    assert Phones(path, clock).named("Ana").fetched == clock.now


# What is said of it


def phone(added: float, fetched: float | None) -> Phone:
    """Return a phone."""
    return Phone("Ana", "t" * 43, added, fetched)


SILENCES = [
    (60, 25.99, False),
    (60, 26.02, True),
    (1440, 71.99, False),
    (1440, 72.02, True),
    (60, None, True),
]
"""How often phones are asked to look again (minutes), hours since the last fetch or none, and whether that is too long."""


@pytest.mark.parametrize(("refresh", "hours", "expected"), SILENCES)
def test_a_phone_is_silent_after_a_day_or_three_times_its_turn(
    refresh: int, hours: float | None, expected: bool, clock: Clock
) -> None:
    """Some ask once a day, so a little more than that; where the plan lets them ask more rarely, three times as long."""
    plan = read_plan("plan", plan_text("").encode()).plan
    assert plan is not None
    plan = replace(plan, calendar=replace(plan.calendar, refresh_every=refresh))
    asked = None if hours is None else clock.now - hours * 3600
    assert phone_words.silent(phone(clock.now - 100 * 3600, asked), plan, clock.now) is expected
    assert not phone_words.silent(phone(clock.now - 60, None), plan, clock.now)


@pytest.mark.parametrize(
    ("ago", "words"),
    [
        (None, "has not asked for the calendar yet"),
        (0, "asked less than a minute ago"),
        (59, "asked less than a minute ago"),
        (600, "asked 10 min ago"),
        (-600, "asked less than a minute ago"),
        (90_000, "asked 25 h ago"),
    ],
)
def test_when_a_phone_asked_in_words(ago: float | None, words: str, clock: Clock) -> None:
    """A clock that was set back makes no nonsense."""
    asked = None if ago is None else clock.now - ago
    assert phone_words.asked_words(phone(0, asked), clock.now) == words
