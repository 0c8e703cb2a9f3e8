"""``reminders phones`` and ``reminders publish``, run as a person runs them, while the daemon runs or not."""

from pathlib import Path

import click
import httpx
import icalendar
import pytest
from applying import events
from feed_home import FeedHome, feed_home  # noqa: F401
from histories import at
from own_places import run
from readers.readers import need
from readers.readers import run as run_reader

from reminders import phone_words
from reminders.commands.phones import phones, publish
from reminders.commands.recording import record
from reminders.daemon.life import only_one
from reminders.places import places
from reminders.publishing import renew

FEEDS = ("http://laptop.local:4871/f/", "http://192.0.2.7:4871/f/")


def told(command: click.Command, *words: str | Path, moment: str = "06-01 08:30", fails: int = 0) -> str:
    """Run a command and return what it says; it must end as it should."""
    result = run(command, *words, "--now", f"2026-{moment}-05:00")
    assert result.exit_code == fails, result.output
    return result.output


# Phones


def test_phones_are_added_shown_and_removed(home: FeedHome) -> None:
    """Where nobody can reach the daemon that is said, instead of an address that would not work."""
    assert "No phone yet. Add one with" in told(phones, home.plan)
    said = told(phones, home.plan, "add", "Ana's phone")
    (ana,) = home.desk.phones.all()
    assert ana.name == "Ana's phone"
    assert ana.token not in said
    assert phone_words.NOTHING_RUNS in said and phone_words.WHAT_LAN_MEANS in said
    assert "reminders phones plan.toml show NAME ." in said

    home.lives(FEEDS)
    for command in (("add", "Ben"), ("show", "ANA'S PHONE")):
        said = told(phones, home.plan, *command)
        phone = home.desk.phones.named(command[1])
        assert [f"{begin}{phone.token}/calendar.ics" in said for begin in FEEDS] == [True, True]
        for text in (
            phone_words.NOTHING_RUNS, phone_words.WHO_HAS_IT, phone_words.REACHABLE, phone_words.UNENCRYPTED,
        ):  # fmt: skip
            assert text in said

    home.desk.phones.fetched(ana)
    listed = told(phones, home.plan, "list")
    assert "Ana's phone: asked 30 min ago." in listed
    assert "Ben: has not asked for the calendar yet." in listed
    assert phone_words.MIRROR in listed
    assert all(phone.token not in listed for phone in home.desk.phones.all())
    assert phone_words.silent_words(ana) in told(phones, home.plan, moment="06-03 08:30")

    assert "Removed Ben." in told(phones, home.plan, "remove", "ben")
    assert [phone.name for phone in home.desk.phones.all()] == ["Ana's phone"]


@pytest.mark.parametrize(
    ("feeds", "said", "unsaid"),
    [
        ((), [phone_words.NOT_REACHABLE, phone_words.WHAT_LAN_MEANS], [phone_words.NOTHING_RUNS]),
        (FEEDS, [], [phone_words.NOTHING_RUNS, phone_words.NOT_REACHABLE, phone_words.WHAT_LAN_MEANS]),
    ],
)
def test_while_it_runs_it_is_said_whether_phones_reach_it(
    home: FeedHome, feeds: tuple[str, ...], said: list[str], unsaid: list[str]
) -> None:
    """As the daemon says in its sign of life."""
    home.lives(feeds)
    lock = only_one(places().lock_of(home.household.plan.course.id))
    try:
        listed = told(phones, home.plan)
    finally:
        lock.release()
    assert [text for text in (*said, *unsaid) if text in listed] == said
    assert phone_words.NOTHING_RUNS in told(phones, home.plan)


def test_a_phone_that_is_removed_is_cut_off_at_once(home: FeedHome) -> None:
    """The daemon that runs sees what the command changes; and the command knows where the daemon is reached."""
    with home.listening(lan=True, names=["care.example"]):
        home.lives(home.desk.feeds)
        said = told(phones, home.plan, "add", "Ana")
        (ana,) = home.desk.phones.all()
        assert f"{home.desk.feeds[0]}{ana.token}/calendar.ics" in said
        address = f"{home.desk.home.removesuffix(home.desk.secret + '/')}f/{ana.token}/calendar.ics"
        assert httpx.get(address).status_code == 200
        told(phones, home.plan, "remove", "Ana")
        assert httpx.get(address).status_code == 404


def test_the_code_in_the_terminal_says_the_address(home: FeedHome, tmp_path: Path) -> None:
    """Two rows of modules in a line of block letters, drawn for a dark ground; read back by another program."""
    zbarimg = need("zbarimg", "zbarimg (zbar-tools)")
    home.lives(FEEDS)
    said = told(phones, home.plan, "add", "Ana")
    (ana,) = home.desk.phones.all()
    lines = [line for line in said.splitlines() if line and set(line) <= set("█▀▄ ")]
    rows = []
    for line in lines:
        rows.append([letter in "█▀" for letter in line])
        rows.append([letter in "█▄" for letter in line])
    assert {len(row) for row in rows} == {len(rows[0])}
    picture = tmp_path / "code.pbm"
    drawn = [" ".join("0" if light else "1" for light in row for _ in range(4)) for row in rows for _ in range(4)]
    picture.write_text(f"P1\n{len(rows[0]) * 4} {len(drawn)}\n" + "\n".join(drawn) + "\n")
    read = run_reader(zbarimg, "--quiet", "--raw", picture, home=tmp_path).strip()
    assert read == phone_words.webcal(f"{FEEDS[0]}{ana.token}/calendar.ics")


@pytest.mark.parametrize(
    ("words", "said", "status"),
    [
        (("add", "Ben"), 'There is a phone named "Ben" already.', 1),
        (("add", "x" * 50), "1 to 40 letters", 1),
        (("remove", "Cleo"), "There is no phone of that name. The phones are: Ben.", 1),
        (("show", "Cleo"), "There is no phone of that name. The phones are: Ben.", 1),
        (("add",), "Say one of: list, add NAME", 2),
        (("list", "x"), "Say one of: list, add NAME", 2),
        (("call", "Ben"), "Say one of: list, add NAME", 2),
        (("test", "soonish"), "One of: soon, hour, tomorrow.", 2),
    ],
)
def test_what_cannot_be_done_is_said(home: FeedHome, words: tuple[str, ...], said: str, status: int) -> None:
    """And nothing is done."""
    home.desk.phones.add("Ben")
    before = home.secrets.read_bytes(), home.file.read_bytes()
    assert said in told(phones, home.plan, *words, fails=status)
    assert (home.secrets.read_bytes(), home.file.read_bytes()) == before


def test_damaged_secrets_are_said_and_stay(home: FeedHome) -> None:
    """Nothing makes new ones by itself."""
    home.desk.phones.add("Ben")
    home.secrets.write_bytes(b"{")
    for words in ((), ("add", "Ana"), ("remove", "Ben")):
        said = told(phones, home.plan, *words, fails=1)
        assert "is damaged" in said and str(home.secrets) in said
    assert home.secrets.read_bytes() == b"{"


def test_a_test_alarm_by_command_is_in_the_feed_that_is_served(home: FeedHome) -> None:
    """At once, while the daemon runs; it knows of it at its next look."""
    ana = home.desk.phones.add("Ana")
    with home.listening():
        said = told(phones, home.plan, "test", moment="06-01 09:02")
        assert "A test alarm titled TEST is in the calendar for Mon 1 Jun 2026, 09:15 CDT." in said
        address = f"{home.desk.home.removesuffix(home.desk.secret + '/')}f/{ana.token}/calendar.ics"
        served = httpx.get(address).content
    (alarm,) = (event for event in events(served).values() if event.summary.startswith("TEST"))
    assert int(alarm.start.timestamp()) == at("06-01 09:15") * 60
    home.renews("06-01 09:10")
    assert home.file.read_bytes() == served


# Published into a folder


def test_a_folder_is_kept_current(home: FeedHome, tmp_path: Path) -> None:
    """Written, then again after a report by whatever command, and each day; without a report nothing is touched."""
    folder = tmp_path / "Synced folder"
    said = told(publish, home.plan, "--to", folder)
    file = folder / "plan.ics"
    assert [path.name for path in folder.iterdir()] == ["plan.ics"]
    assert f"Wrote {file}" in said
    for text in ("plan.ics", "Everybody who can see that folder", phone_words.MIRROR, 'reveals = "nothing at all"'):
        assert text in said
    first = file.read_bytes()
    calendar = icalendar.Calendar.from_ical(first)
    assert "METHOD" not in calendar

    stamp = file.stat().st_mtime_ns
    home.keeper.refresh()
    _household, troubles = renew(home.household, at("06-01 12:00"))
    assert (troubles, file.stat().st_mtime_ns, file.read_bytes()) == ([], stamp, first)

    told(record, home.plan, "started", "velmorin", "09:00", moment="06-01 09:05")
    reported = file.read_bytes()
    assert reported != first
    assert any(event.summary.startswith("Done: ") for event in events(reported).values())
    home.renews("06-02 08:00")
    assert file.read_bytes() != reported, "the day on which it was renewed"
    assert [path.name for path in folder.iterdir()] == ["plan.ics"]


def test_a_folder_that_tells_nothing(home: FeedHome, tmp_path: Path) -> None:
    """R26: of a plan that reveals nothing the file is not named after the plan, and nothing in it tells."""
    text = home.plan.read_text(encoding="utf-8")
    assert 'reveals = "everything"' in text
    other = tmp_path / "secretive" / "heart-medicine.toml"
    other.parent.mkdir()
    other.write_text(text.replace('reveals = "everything"', 'reveals = "nothing at all"'), encoding="utf-8")
    said = told(publish, other, "--to", tmp_path / "shared")
    assert [path.name for path in (tmp_path / "shared").iterdir()] == ["calendar.ics"]
    assert "heart" not in said
    for event in events((tmp_path / "shared" / "calendar.ics").read_bytes()).values():
        assert event.summary == "Reminder"
        assert "velmorin" not in event.description and "red" not in event.description.split()


def test_a_folder_that_cannot_be_written_is_said(home: FeedHome, tmp_path: Path) -> None:
    """A file in the place of the folder; and the plan itself is never written over."""
    (tmp_path / "file").write_text("x")
    assert "cannot be written" in told(publish, home.plan, "--to", tmp_path / "file", fails=1)
    renamed = home.plan.with_name("plan.ics")
    renamed.write_bytes(home.plan.read_bytes())
    before = renamed.read_bytes()
    assert "would be overwritten" in told(publish, renamed, "--to", renamed.parent, fails=1)
    assert renamed.read_bytes() == before


def test_without_a_plan_the_one_in_use_is_meant(home: FeedHome) -> None:
    """And where there is none, that is said."""
    for command, words in ((phones, ("list",)), (publish, ("--to", "x"))):
        assert "No plan is in use" in told(command, *words, fails=2)
