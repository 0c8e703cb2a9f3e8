"""Where things live: a plan is put in use once, and the folders are shown."""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from own_places import HOME, OTHER, OTHER_ID, PLAN_ID, SECOND, at, facts, own_places, put_in_use, run, shown, write
from small_plans import SAMPLES, plan_text

from reminders.commands.places import use
from reminders.household import open_in_use
from reminders.places import command_for, id_in_use, is_in_use, places, stem_for
from reminders.record.facts import Kind
from reminders.record.store import RecordError, Store, record_path
from reminders.times import Instant


@pytest.fixture(name="data", autouse=True)
def a_household_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a test folders in which nothing is yet, and work in another one."""
    (tmp_path / "desk").mkdir()
    monkeypatch.chdir(tmp_path / "desk")
    return own_places(tmp_path / "home", monkeypatch)


@pytest.fixture(name="desk")
def where_files_from_the_nurse_lie(tmp_path: Path) -> Path:
    return tmp_path / "desk"


def refused(*arguments: str | Path, moment: str = "06-01 08:30") -> str:
    """Put something in use that is refused; return the message."""
    result = run(use, *arguments, *at(moment))
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    return result.stderr


def listing(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder with what it holds."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def kinds(folder: Path) -> list[str]:
    return [fact.kind.value for fact in facts(folder)]


# use


def test_a_plan_is_put_in_use(data: Path, desk: Path) -> None:
    said = put_in_use(write(desk))
    assert (data / "plan.toml").read_text(encoding="utf-8") == plan_text(HOME)
    assert [(fact.kind, fact.revision) for fact in facts(data)] == [(Kind.IN_USE, 1)]
    assert "Revision 1 is in use, from Mon 1 Jun 2026, 08:00 CDT on." in said
    assert str(data) in said
    assert "fennimore.toml itself is not used any more" in said
    assert sorted(listing(data)) == ["plan.toml", f"record-{PLAN_ID}.sqlite3"], "and nothing is left over"
    assert run("due", *at("06-01 08:30")).exit_code == 0
    assert sorted(path.name for path in desk.iterdir()) == ["fennimore.toml"], "the file of the nurse is left alone"


@pytest.mark.skipif(os.name != "posix", reason="not run: modes of files are those of POSIX")
def test_only_the_owner_may_look_at_it(data: Path, desk: Path) -> None:
    data.mkdir(parents=True, mode=0o755)
    before = os.umask(0)
    try:
        put_in_use(write(desk))
    finally:
        os.umask(before)
    assert stat.S_IMODE(data.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in data.iterdir()} == {0o600}


def test_a_plan_is_put_in_use_once(data: Path, desk: Path) -> None:
    plan = write(desk)
    put_in_use(plan)
    before = listing(data)
    said = put_in_use(plan, moment="06-01 09:30")
    assert "Revision 1 is in use already" in said
    assert listing(data) == before
    itself = put_in_use(data / "plan.toml", moment="06-01 09:30")
    assert "is in use already" in itself
    assert "not used any more" not in itself
    assert listing(data) == before


def test_a_mark_at_the_beginning_of_the_file_is_no_part_of_it(data: Path, desk: Path) -> None:
    plan = write(desk)
    plan.write_bytes(b"\xef\xbb\xbf" + plan.read_bytes())
    put_in_use(plan)
    assert (data / "plan.toml").read_text(encoding="utf-8") == plan_text(HOME)
    assert "already" in put_in_use(plan)


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (SAMPLES / "broken" / "wrong-units.toml", "Nothing was written"),
        (Path("none.toml"), 'There is no file "none.toml"'),
        (Path(), "is a folder"),
    ],
    ids=["errors", "absent", "a folder"],
)
def test_what_is_no_plan_is_refused_and_changes_nothing(data: Path, desk: Path, file: Path, said: str) -> None:
    assert said in refused(file)
    assert not data.exists()
    put_in_use(write(desk))
    before = listing(data)
    assert said in refused(file, "--instead")
    assert listing(data) == before


def test_warnings_are_counted(desk: Path) -> None:
    plan = desk / "asked.toml"
    shutil.copyfile(SAMPLES / "broken" / "a-pharmacist-would-ask.toml", plan)
    said = run(use, plan, "--now", "2026-10-12 08:00-05:00").output
    assert "warnings" in said
    assert "reminders check" in said


def test_a_later_revision_is_put_in_use(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    run("record", "started", "9:02", *at("06-01 09:05"))
    said = put_in_use(write(desk, SECOND, "second.toml"), moment="06-02 12:00")
    assert "Revision 2 is in use, from Wed 3 Jun 2026, 08:00 CDT on." in said
    assert "reminders compare second.toml" in said
    household = open_in_use(data / "plan.toml", Instant(0))
    assert (household.plan.course.revision, household.in_use, household.waiting) == (2, True, None)
    assert [plan.course.revision for plan in household.earlier] == [1]
    assert kinds(data) == ["plan put in use", "started", "plan put in use"], "what was recorded is kept"


def test_calendars_follow_a_later_revision(desk: Path) -> None:
    put_in_use(write(desk))
    run("compile", "--out", desk / "out", *at("06-01 08:30"))
    before = (desk / "out" / "calendar.ics").read_bytes()
    said = put_in_use(write(desk, SECOND, "second.toml"), moment="06-02 12:00")
    assert f"Calendar written again: {desk / 'out' / 'calendar.ics'}" in said
    assert (desk / "out" / "calendar.ics").read_bytes() != before


def test_an_older_revision_is_refused(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    put_in_use(write(desk, SECOND, "second.toml"))
    before = listing(data)
    said = refused(desk / "fennimore.toml")
    assert "fennimore.toml is revision 1, and revision 2 is in use" in said
    assert said.rstrip().endswith("Nothing was changed.")
    assert listing(data) == before


def test_the_same_revision_with_other_words_is_refused(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    before = listing(data)
    changed = write(desk, f'{HOME}\n[order.cefazolin]\ndose = "2 g"', "changed.toml")
    said = refused(changed)
    assert "changed.toml says revision 1, and so does the plan in use" in said
    assert listing(data) == before


# Another plan


def test_another_plan_is_put_in_use_only_if_that_is_said(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    run("record", "flushed", "grey", *at("06-01 09:05"))
    before, other = listing(data), write(desk, OTHER, "other.toml")
    said = refused(other)
    assert '"Line care", revision 1, which begins Mon 1 Jun 2026, 08:00 CDT' in said
    assert "--instead" in said
    assert listing(data) == before
    said = put_in_use(other, "--instead")
    assert "its record is kept" in said
    assert "it goes on with this one within seconds, by itself." in said
    assert id_in_use() == OTHER_ID
    assert [fact.kind for fact in facts(data, OTHER_ID)] == [Kind.IN_USE]
    assert kinds(data) == ["plan put in use", "flushed"]
    put_in_use(desk / "fennimore.toml", "--instead")
    assert run("undo", *at("06-01 09:10")).exit_code == 0
    assert kinds(data) == ["plan put in use", "flushed", "withdrawn"], "the record goes on where it was left"


def test_what_cannot_be_read_is_replaced_only_if_that_is_said(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    (data / "plan.toml").write_text("[plan\n", encoding="utf-8")
    assert "which cannot be read" in refused(desk / "fennimore.toml")
    put_in_use(desk / "fennimore.toml", "--instead")
    assert (data / "plan.toml").read_text(encoding="utf-8") == plan_text(HOME)


# The record beside the file


def recorded_beside(desk: Path) -> Path:
    """Record two facts beside a plan that is not in use yet, and write a calendar."""
    plan = write(desk)
    run("compile", plan, "--out", desk / "out", *at("06-01 08:00"))
    for what, moment in (("started", "06-01 09:02"), ("finished", "06-01 10:04")):
        assert run("record", plan, what, *at(moment)).exit_code == 0
    return plan


def test_what_was_recorded_beside_the_file_is_taken_over(data: Path, desk: Path) -> None:
    plan = recorded_beside(desk)
    old = record_path(plan, PLAN_ID)
    beside = facts(desk)
    said = put_in_use(plan, moment="06-01 10:10")
    assert facts(data) == beside, "and it is not put in use a second time"
    assert f"{len(beside)} facts were taken over" in said
    assert f"not used any more: {old}" in said
    assert facts(desk) == beside, "the old one is left alone"
    assert "Revision 1 is in use" in said
    again = put_in_use(plan, moment="06-01 10:20")
    assert "0 facts were taken over" in again
    assert facts(data) == beside


def test_what_was_recorded_in_both_is_kept(data: Path, desk: Path) -> None:
    plan = recorded_beside(desk)
    elsewhere = desk / "elsewhere"
    elsewhere.mkdir()
    put_in_use(write(elsewhere), moment="06-01 08:30")
    run("record", "flushed", "grey", *at("06-01 09:30"))
    before, beside = facts(data), facts(desk)
    said = put_in_use(plan, moment="06-01 10:10")
    assert facts(data)[: len(before) + len(beside)] == (*before, *beside)
    assert [fact.kind for fact in facts(data)[len(before) + len(beside) :]] == [Kind.PUBLISHED]
    assert f"{len(beside)} facts were taken over" in said
    assert f"Calendar written again: {desk / 'out' / 'fennimore.ics'}" in said


def test_a_later_revision_brings_its_record(data: Path, desk: Path) -> None:
    plan = recorded_beside(desk)
    second = write(desk, SECOND, "second.toml")
    put_in_use(second, moment="06-02 12:00")
    assert facts(data)[: len(facts(desk))] == facts(desk)
    assert [fact.revision for fact in facts(data) if fact.kind is Kind.IN_USE] == [1, 2]
    assert "revision 2 is in use" in refused(plan)


def test_a_record_that_cannot_be_read_is_told_and_nothing_is_changed(data: Path, desk: Path) -> None:
    plan = recorded_beside(desk)
    record_path(plan, PLAN_ID).write_bytes(b"torn")
    assert str(record_path(plan, PLAN_ID)) in refused(plan)
    assert not data.exists()


# What goes wrong on the way


def test_a_record_that_cannot_be_written_leaves_the_plan_as_it_was(
    data: Path, desk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_arguments: object) -> None:
        raise RecordError("The disk is full.")

    for first in (True, False):
        if not first:
            monkeypatch.undo()
            own_places(desk.parent / "home", monkeypatch)
            put_in_use(write(desk))
        before = listing(data) if data.exists() else {}
        monkeypatch.setattr("reminders.adopting.add_facts", full)
        said = refused(write(desk, HOME if first else SECOND, "new.toml"))
        assert "The disk is full. Nothing was changed." in said
        assert listing(data) == before


def test_a_record_that_another_program_holds_is_told(data: Path, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put_in_use(write(desk))
    before = listing(data)
    monkeypatch.setitem(Store.open.__func__.__kwdefaults__, "busy_seconds", 0.1)  # type: ignore[attr-defined]
    with closing(sqlite3.connect(record_path(data / "plan.toml", PLAN_ID), isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        said = refused(write(desk, SECOND, "second.toml"))
        other.execute("ROLLBACK")
    assert "in use by another program" in said
    assert listing(data) == before


def test_a_folder_that_cannot_be_made_is_told(data: Path, desk: Path) -> None:
    data.parent.parent.mkdir(parents=True)
    data.parent.write_text("", encoding="utf-8")
    said = refused(write(desk))
    assert str(data) in said
    assert "cannot be written" in said


def test_between_plan_and_record_the_old_revision_stands(data: Path, desk: Path) -> None:
    """Killed after the plan was moved: what is in use is what the record says, and doing it again mends it."""
    put_in_use(write(desk))
    second = write(desk, SECOND, "second.toml")
    shutil.copyfile(second, data / "plan.toml")
    result = run("due", *at("06-02 12:00"))
    assert result.exit_code == 0
    assert "Revision 2 lies in" in result.stderr
    assert "reminders record in use" in result.stderr
    assert run("record", "flushed", "grey", *at("06-02 12:00")).exit_code == 0
    assert "Revision 2 is in use, from" in put_in_use(second, moment="06-02 12:05")
    assert run("due", *at("06-02 12:00")).stderr == ""


def test_what_waits_is_put_in_use_by_saying_so(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    shutil.copyfile(write(desk, SECOND, "second.toml"), data / "plan.toml")
    result = run("record", "in", "use", *at("06-02 12:00"))
    assert "Revision 2 is in use" in result.stdout
    assert f"reminders compare {data / 'plan.toml'}" in result.stdout
    assert "against plan.toml, revision 2" in run("compare", data / "plan.toml", *at("06-02 12:00")).output


KILLED = """
import os, sys
from pathlib import Path
step, plan, now = sys.argv[1:]
def die(*_a, **_k):
    os.kill(os.getpid(), 9)
if step == "copy":
    Path.replace = die
else:
    import reminders.adopting
    reminders.adopting.add_facts = die
from reminders.commands.places import use
use([plan, "--now", now])
"""


@pytest.mark.skipif(os.name != "posix", reason="not run: kill -9 is POSIX")
@pytest.mark.parametrize("step", ["copy", "record"])
def test_killed_on_the_way_it_is_done_again(data: Path, desk: Path, step: str) -> None:
    put_in_use(write(desk))
    second = write(desk, SECOND, "second.toml")
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, step, str(second), at("06-02 12:00")[1]], check=False, timeout=60
    )
    assert killed.returncode == -9
    assert open_in_use(data / "plan.toml", Instant(0)).plan.course.revision == 1
    assert run("due", *at("06-02 12:00")).exit_code == 0
    put_in_use(second, moment="06-02 12:00")
    assert open_in_use(data / "plan.toml", Instant(0)).plan.course.revision == 2


# where


def test_where_without_a_plan_in_use(data: Path) -> None:
    said = shown()
    assert "No plan is in use" in said
    assert "reminders use PLAN" in said
    found = places()
    assert found.data == data
    for folder in (found.data, found.secrets, found.state, found.log):
        assert str(folder) in said
    assert said.count("(not there yet)") == 5
    assert not data.exists(), "to look makes nothing"


def test_where_with_a_plan_in_use(data: Path, desk: Path) -> None:
    put_in_use(write(desk, OTHER, "other.toml"))
    put_in_use(write(desk), "--instead")
    found = places()
    secrets = found.secrets_of(PLAN_ID)
    secrets.parent.mkdir(parents=True)
    secrets.write_text('{"secret": "open-sesame"}', encoding="utf-8")
    rows = {line[:22].strip(): line[23:] for line in shown().splitlines()}
    assert shown().startswith('In use: "Line care", revision 1, which begins Mon 1 Jun 2026, 08:00 CDT\n')
    assert rows["the plan in use"] == str(data / "plan.toml")
    assert rows["its record"] == str(record_path(data / "plan.toml", PLAN_ID))
    assert rows["secret addresses"] == str(secrets)
    assert rows["what was raised"] == f"{found.journal_of(PLAN_ID)}   (not there yet)"
    assert rows["the daemon's log"] == f"{found.log_of(PLAN_ID)}   (not there yet)"
    assert rows["calendar for phones"] == f"{found.feed_of(PLAN_ID)}   (not there yet)"
    assert rows["another plan's record"] == str(record_path(data / "plan.toml", OTHER_ID))
    assert "open-sesame" not in shown()


def test_where_with_a_plan_that_cannot_be_read(data: Path, desk: Path) -> None:
    put_in_use(write(desk))
    (data / "plan.toml").write_bytes(b"\xff\xfe")
    said = shown()
    assert "cannot be read" in said
    assert str(data / "plan.toml") in said
    assert str(places().secrets) in said


# How plans are named


def test_commands_are_written_as_they_are_typed(data: Path) -> None:
    assert command_for("record", Path("a/second.toml"), "in use") == "reminders record second.toml in use"
    assert command_for("check", Path("of Ann.toml")) == 'reminders check "of Ann.toml"'
    assert command_for("record", data / "plan.toml", "in use") == "reminders record in use"
    assert is_in_use(data / ".." / data.name / "plan.toml")
    assert not is_in_use(Path("plan.toml"))
    assert (stem_for(data / "plan.toml"), stem_for(Path("plan.toml"))) == ("calendar", "plan")


@pytest.mark.parametrize(
    "content", [None, b"\xff", b"[plan", b"plan = 3", b"[plan]\nid = 3", b'[plan]\nid = "x"', b"[other]\n"]
)
def test_of_a_file_without_an_id_none_is_in_use(data: Path, content: bytes | None) -> None:
    data.mkdir(parents=True)
    if content is not None:
        (data / "plan.toml").write_bytes(content)
    assert id_in_use() is None
