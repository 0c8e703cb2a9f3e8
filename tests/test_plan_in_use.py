"""PLAN left out: every command then takes the plan in use, and says so where there is none."""

import inspect
import json
import shutil
from datetime import datetime
from pathlib import Path

import click
import pytest
from click.testing import Result
from own_places import HOME, OTHER, PLAN_ID, SECOND, at, facts, own_places, put_in_use, run, write
from small_plans import plan_text

from reminders.cli import COMMANDS, main
from reminders.commands.places import use
from reminders.commands.shared import WITHOUT_PLAN, names_a_plan, plan_in_use
from reminders.record.facts import Kind
from reminders.web.write_desk import WriteDesk
from reminders.web.write_keep import Drafts

NOW = "06-02 10:30"


@pytest.fixture(name="desk", autouse=True)
def a_desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a test folders of its own, and a folder to work in."""
    own_places(tmp_path / "home", monkeypatch)
    desk = tmp_path / "desk"
    desk.mkdir()
    monkeypatch.chdir(desk)
    return desk


@pytest.fixture(name="in_use")
def a_plan_in_use(desk: Path) -> Path:
    """Put a plan in use that has some past, and take the file of the nurse away; return where it is kept."""
    plan = write(desk)
    put_in_use(plan)
    plan.unlink()
    for what, moment in (("started", "06-01 09:02"), ("finished and flushed", "06-01 10:04")):
        assert run("record", *what.split(), *at(moment)).exit_code == 0
    return plan_in_use()


# Every command

READING: dict[str, tuple[str, ...]] = {
    "check": (),
    "agenda": (),
    "due": (),
    "history": (),
    "supplies": (),
    "compile": ("--out", "out"),
    "export": ("--out", "record.jsonl"),
}
"""The commands that change nothing of what is recorded, with what they need besides the plan."""
WRITING: dict[str, tuple[str, ...]] = {"record": ("flushed", "grey"), "undo": (), "import": ("record.jsonl",)}
APART = {"compare", "new-id"}
"""The first takes two plans; it has tests of its own. The second takes none."""
OTHERS = {
    "write",
    "packet",
    "open",
    "run",
    "status",
    "page",
    "phones",
    "publish",
    "try-popup",
    "use",
    "where",
    "at-login",
}
"""Commands of the daemon and about it."""


def test_the_tables_hold_every_command() -> None:
    assert set(COMMANDS) - OTHERS == {*READING, *WRITING, *APART}


@pytest.mark.parametrize("command", READING)
def test_a_command_without_a_plan_takes_the_plan_in_use(in_use: Path, desk: Path, command: str) -> None:
    without = run(command, *READING[command], *at(NOW))
    assert without.exit_code == 0
    left = {path.name: path.read_bytes() for path in desk.rglob("*") if path.is_file()}
    named = run(command, in_use, *READING[command], *at(NOW))
    assert (named.stdout, named.stderr) == (without.stdout, without.stderr)
    assert {path.name: path.read_bytes() for path in desk.rglob("*") if path.is_file()} == left
    shutil.copyfile(in_use, desk / "copy.toml")
    if command not in ("check", "compile", "supplies"):  # which say the same with and without what was recorded
        assert run(command, "copy.toml", *READING[command], *at(NOW)).stdout != without.stdout


@pytest.mark.parametrize(
    ("command", "added"),
    [("record", [Kind.FLUSHED]), ("undo", [Kind.WITHDRAWN] * 2), ("import", [Kind.STARTED])],
)
def test_a_command_that_records_without_a_plan_records_for_the_plan_in_use(
    in_use: Path, desk: Path, command: str, added: list[Kind]
) -> None:
    line = {"key": "k", "report": "k", "kind": "started", "order": "cefazolin", "dose": "2026-06-02T14:00Z"}
    moments = {"happened": "2026-06-02T14:05Z", "entered": "2026-06-02T14:05Z"}
    header = {"record": "reminders record 1", "plan": str(PLAN_ID)}
    (desk / "record.jsonl").write_text(f"{json.dumps(header)}\n{json.dumps({**line, **moments})}\n", encoding="utf-8")
    before = facts(in_use.parent)
    result = run(command, *WRITING[command], *at(NOW))
    assert result.exit_code == 0, result.output
    assert [fact.kind for fact in facts(in_use.parent)[len(before) :]] == added
    assert not list(desk.glob("record-*.sqlite3"))


@pytest.mark.parametrize("command", [*READING, *WRITING, "compare"])
def test_without_a_plan_in_use_a_command_says_what_to_do(desk: Path, command: str) -> None:
    result = run(command, *{**READING, **WRITING, "compare": ("new.toml",)}[command], *at(NOW))
    if command == "compare":  # which looks at the new plan first
        write(desk, SECOND, "new.toml")
        result = run(command, "new.toml", *at(NOW))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "No plan is in use on this computer" in result.stderr
    assert "reminders use PLAN" in result.stderr
    assert {path.name for path in desk.iterdir()} <= {"new.toml"}, "and nothing is written"


def commands_below(found: click.Command) -> list[click.Command]:
    return list(found.commands.values()) if isinstance(found, click.Group) else [found]


def test_of_the_other_commands_plan_is_optional_too() -> None:
    """But for  use , which is what puts one in use."""
    for name in (set(COMMANDS) & OTHERS) - {"use"}:
        found = main.get_command(click.Context(main), name)
        assert found is not None
        for command in commands_below(found):
            plan = [part for part in command.params if isinstance(part, click.Argument) and part.name == "plan"]
            assert [(part.metavar, part.required) for part in plan] in ([], [("[PLAN]", False)]), command.name
            if plan and not any(part.required for part in command.params):
                result = run(command)
                assert result.exit_code == 2, command.name
                assert "No plan is in use on this computer" in result.stderr


@pytest.mark.parametrize("name", [*READING, *WRITING])
def test_the_help_says_what_happens_without_a_plan(name: str) -> None:
    said = run(name, "--help").output
    assert "[PLAN]" in said.partition("\n")[0]
    assert WITHOUT_PLAN in " ".join(said.split())
    assert inspect.cleandoc(WITHOUT_PLAN) == WITHOUT_PLAN


def test_what_is_in_use_counts_and_not_what_lies_there(in_use: Path, desk: Path) -> None:
    """As the daemon has it: a later revision that was put there by hand waits."""
    before = run("due", *at(NOW)).stdout
    shutil.copyfile(write(desk, SECOND), in_use)
    result = run("due", *at(NOW))
    assert result.stdout == before
    assert "Revision 2 lies in" in result.stderr
    assert run("record", "flushed", "grey", *at(NOW)).exit_code == 0


# record [PLAN] WHAT...


def recorded(in_use: Path) -> list[str]:
    return [" ".join(part for part in (fact.kind.value, fact.lumen) if part) for fact in facts(in_use.parent)]


@pytest.mark.parametrize("word", ["flushed", "grey", "red", "done"])
@pytest.mark.parametrize("content", ["", "shopping: eggs", "the [plan] of the week\n"])
def test_a_file_called_like_a_word_takes_no_word_away(in_use: Path, desk: Path, word: str, content: str) -> None:
    (desk / word).write_text(content, encoding="utf-8")
    assert not names_a_plan(word)
    assert run("record", "flushed", "grey", *at(NOW)).exit_code == 0
    assert recorded(in_use)[-1] == "flushed grey"


def test_a_folder_called_like_a_word_takes_no_word_away(in_use: Path, desk: Path) -> None:
    (desk / "flushed").mkdir()
    assert run("record", "flushed", "grey", *at(NOW)).exit_code == 0
    assert recorded(in_use)[-1] == "flushed grey"


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize("word", ["fenimore.toml", "Fenimore.TOML", "plans/fenimore.toml", "../none.toml"])
def test_a_slip_in_a_file_s_name_is_told_and_recorded_as_nothing(word: str) -> None:
    before = facts(plan_in_use().parent)
    result = run("record", word, "flushed", "grey", *at(NOW))
    assert result.exit_code == 1
    assert f'There is no file "{word}"' in result.stderr
    assert facts(plan_in_use().parent) == before


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize("word", ["fennimore", "fenimore", "drug/other"])
def test_a_slip_that_looks_like_no_file_is_no_report_either(word: str) -> None:
    before = facts(plan_in_use().parent)
    result = run("record", word, "flushed", "grey", *at(NOW))
    assert result.exit_code == 1
    assert "Nothing was recorded" in result.stderr
    assert facts(plan_in_use().parent) == before


@pytest.mark.parametrize("name", ["home.toml", "Home.TOML", "home", "folder/home", "home plan.txt"])
def test_a_plan_that_is_named_is_the_one_that_is_meant(desk: Path, name: str) -> None:
    (desk / "folder").mkdir()
    place = desk / name
    place.write_text(plan_text(HOME), encoding="utf-8")
    assert names_a_plan(name)
    assert run("record", name, "flushed", "grey", *at(NOW)).exit_code == 0
    assert list(place.parent.glob("record-*.sqlite3"))


@pytest.mark.parametrize(
    ("content", "plan"),
    [
        (b"[plan]\nid", True),
        (b"# note\r\n  [ plan ]\n", True),
        (b"plan.id = 3", True),
        (b"plan = {}", True),
        (b"[planner]\n", False),
        (b"my [plan]\n", False),
        (b"\xff\xfe", False),
    ],
)
def test_a_file_without_the_ending_is_a_plan_if_it_reads_like_one(desk: Path, content: bytes, plan: bool) -> None:
    """Broken ones too: their errors are told, and they are not taken for words."""
    (desk / "home").write_bytes(content)
    assert names_a_plan("home") == plan


@pytest.mark.parametrize("word", ["a\0b", "x" * 5000, "", "9:40", "~", "a/" * 3000])
def test_words_that_no_file_can_be_called_are_words(word: str) -> None:
    assert not names_a_plan(word)


@pytest.mark.parametrize("arguments", [(), ("home.toml",)])
def test_nothing_said_is_misuse(in_use: Path, arguments: tuple[str, ...]) -> None:
    result = run("record", *arguments, *at(NOW))
    assert result.exit_code == 2
    assert "WHAT" in result.stderr


# import [PLAN] FILE and compare [OLD] NEW


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize("command", ["import", "compare"])
def test_too_many_or_too_few_files_are_misuse(command: str) -> None:
    assert "extra" in run(command, "a", "b", "extra").stderr
    for arguments, code in (((), 2), (("a", "b", "c"), 2), (("none.toml",), 1)):
        assert run(command, *arguments).exit_code == code


def test_a_new_plan_is_compared_with_the_plan_in_use_and_what_is_recorded(in_use: Path, desk: Path) -> None:
    second = write(desk, SECOND, "second.toml")
    shutil.copyfile(in_use, desk / "old.toml")
    shutil.copyfile(next(in_use.parent.glob("record-*")), desk / next(in_use.parent.glob("record-*")).name)
    said = run("compare", second, *at(NOW)).stdout
    assert said.startswith("the plan in use, revision 1, against second.toml, revision 2")
    assert (
        said.replace("the plan in use", "old.toml").split()
        == run("compare", "old.toml", second, *at(NOW)).stdout.split()
    )
    assert "11:00" in said


def test_after_it_was_put_in_use_it_is_compared_with_what_was_before(in_use: Path, desk: Path) -> None:
    second = write(desk, SECOND, "second.toml")
    before = run("compare", second, *at(NOW)).stdout
    put_in_use(second, moment=NOW)
    after = run("compare", second, *at(NOW)).stdout
    assert after.replace("the plan in use before", "the plan in use").split() == before.split()
    assert "both say the same" in run("compare", second, in_use, *at(NOW)).stdout
    changed = write(desk, f'{SECOND}\n[order.cefazolin]\ndose = "2 g"', "changed.toml")
    assert "the plan in use, revision 2" in run("compare", changed, *at(NOW)).output.replace("\n  ", " ")


def test_the_first_revision_against_itself_changes_nothing(in_use: Path) -> None:
    assert "both say the same" in run("compare", in_use, *at(NOW)).stdout


# A revision that starts the count of doses again

SIX = f"{HOME}\n[order.cefazolin]\nwithout last_day\ndoses = 6\n"
ANEW = f"""{SIX}
[plan]
revision = 2
takes_effect = "2026-06-03 12:00"
[order.cefazolin]
clock_times = ["11:00"]
first_dose = "2026-06-04 11:00"
"""
"""Three doses stand before it, and six are counted from there."""
NINE = "That makes 9 doses in all; 6 are ordered."
COUNTED_ON = f"{ANEW}\nfirst_dose_number = 4\n"


def unwrapped(text: str) -> str:
    """Return a text with its lines joined."""
    return " ".join(text.split())


def second_by(way: str, second: Path) -> Result:
    """Do with a second revision what may say something of it."""
    out = ("--out", "out")
    words = {"check": (), "compare": (), "use": (), "open": (), "packet": out, "compile": out}[way]
    return run(use if way == "use" else way, second, *words, *at(NOW))


@pytest.mark.parametrize("way", ["check", "compare", "use", "open"])
def test_a_count_that_starts_again_is_said_where_the_plan_is_in_use(desk: Path, way: str) -> None:
    put_in_use(write(desk, SIX))
    result = second_by(way, write(desk, ANEW, "second.toml"))
    assert result.exit_code == 0, result.output
    assert NINE in unwrapped(result.output)
    assert "first_dose_number to 4" in unwrapped(result.output)
    assert "WARNING" in result.output
    assert "doses stand before" not in second_by(way, write(desk, COUNTED_ON, "third.toml")).output


@pytest.mark.parametrize("way", ["check", "packet", "compile"])
def test_a_count_that_starts_again_is_said_where_a_record_lies_beside_the_plan(desk: Path, way: str) -> None:
    """A nurse changes the very file of which she has made a packet."""
    assert run("packet", write(desk, SIX), "--out", "out", *at(NOW)).exit_code == 0
    result = second_by(way, write(desk, ANEW))
    assert result.exit_code == 0, result.output
    assert NINE in unwrapped(result.output)


def test_nothing_is_said_of_a_count_where_no_earlier_revision_is_known(desk: Path) -> None:
    put_in_use(write(desk, OTHER, "other.toml"))
    assert "dose-count" not in second_by("check", write(desk, ANEW)).output


def test_what_a_change_comes_to_stands_before_what_the_plan_says_differently(desk: Path) -> None:
    said = unwrapped(run("compare", write(desk, SIX), write(desk, ANEW, "second.toml"), *at(NOW)).stdout)
    assert said.index(NINE) < said.index("WHAT THE PLAN SAYS DIFFERENTLY") < said.index("first dose: was")


def test_whoever_writes_a_revision_is_told_what_it_does_to_the_count(desk: Path) -> None:
    put_in_use(write(desk, SIX))
    written = WriteDesk(write(desk, ANEW, "second.toml"), Drafts(desk / "drafts"), lambda: at_seconds(NOW))
    (placed,) = [placed for placed in written.look().findings if placed.finding.code == "dose-count"]
    assert placed.path == ("order", "cefazolin", "first_dose")
    assert NINE in placed.finding.message


def at_seconds(moment: str) -> float:
    """Return ``06-01 10:45`` on the home clock in seconds."""
    return datetime.fromisoformat(f"2026-{moment}-05:00").timestamp()


# A copy of the plan in use


def test_nothing_is_recorded_beside_a_copy_of_the_plan_in_use(in_use: Path, desk: Path) -> None:
    """It would not reach the daemon, which would go on asking for what was done."""
    copy, export = write(desk), desk / "kept.jsonl"
    assert run("export", "--out", export, *at(NOW)).exit_code == 0
    before = facts(in_use.parent)
    for arguments in (("record", copy, "flushed", "grey"), ("undo", copy), ("import", copy, export)):
        result = run(str(arguments[0]), *arguments[1:], *at(NOW))
        assert result.exit_code == 1
        assert "Leave the file's name out" in result.stderr
        assert "reminders use fennimore.toml" in result.stderr
        assert result.stdout == ""
    assert facts(in_use.parent) == before
    assert not list(desk.glob("record-*.sqlite3"))


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize("command", ["due", "agenda", "history", "supplies"])
def test_to_look_at_a_copy_is_to_be_warned(desk: Path, command: str) -> None:
    result = run(command, write(desk), *at(NOW))
    assert result.exit_code == 0
    assert "leave the file's name out to see what is in use" in result.stderr
    assert "in use" not in result.stdout


@pytest.mark.usefixtures("in_use")
def test_another_plan_is_nobody_s_copy(desk: Path) -> None:
    other = write(desk, f'{HOME}\n[plan]\nid = "5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21"', "other.toml")
    result = run("record", other, "flushed", "grey", *at(NOW))
    assert (result.exit_code, result.stderr) == (0, "")


# Files that are made of it


def test_files_that_are_made_of_the_plan_in_use_have_neutral_names(in_use: Path, desk: Path) -> None:
    result = run("compile", "--out", "out", *at(NOW))
    assert {path.name for path in (desk / "out").iterdir()} == {"calendar.ics", "calendar.json"}
    assert "plan.json" not in result.output
    run("record", "flushed", "grey", *at(NOW))
    again = run("record", "flushed", "red", *at("06-02 10:32"))
    assert f"Calendar written again: {desk / 'out' / 'calendar.ics'}" in again.output


def test_the_plan_in_use_and_its_record_are_not_written_over(in_use: Path) -> None:
    kept = {path: path.read_bytes() for path in in_use.parent.iterdir()}
    for path in kept:
        for command in (("export",), ("history", "--csv")):
            assert run(command[0], *command[1:], "--out", path, *at(NOW)).exit_code == 1
    assert {path: path.read_bytes() for path in in_use.parent.iterdir()} == kept


def test_a_plan_in_use_that_cannot_be_read_is_told(in_use: Path) -> None:
    in_use.write_text("[plan\n", encoding="utf-8")
    for command, needed in READING.items():
        result = run(command, *needed, *at(NOW))
        assert result.exit_code == 1
        assert "plan.toml" in result.output
