"""The commands as a person uses them: what they print, write and return, and what they say when misused."""

import json
import os
import re
import shutil
import subprocess
import sys
import uuid
from datetime import date, timedelta
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from icalendar import Calendar

from reminders.cli import COMMANDS as COMMANDS_OF_PROGRAM
from reminders.cli import main

ROOT = Path(__file__).parent.parent
SAMPLES = ROOT / "sample_plans"
THREE = SAMPLES / "three-lumens.toml"
"""2026-10-12 08:00 to 2026-11-23 08:00 in Chicago; lumens red, purple, grey; the clocks go back on 2026-11-01."""
WARNED = SAMPLES / "broken" / "a-pharmacist-would-ask.toml"
BROKEN = SAMPLES / "broken" / "wrong-units.toml"
NOW = ("--now", "2026-10-12 08:00-05:00")
ESCAPE = "\x1b"

COMMANDS = {
    "check": {"--read-back", "--now", "--help"},
    "compile": {"--out", "--from", "--to", "--per-lumen", "--for-mail", "--now", "--help"},
    "agenda": {"--from", "--to", "--steps", "--now", "--help"},
    "supplies": {"--from", "--to", "--now", "--help"},
    "record": {
        *(
            "--at",
            "--order",
            "--lumen",
            "--dose",
            "--item",
            "--task",
            "--event",
            "--again",
            "--last-flush",
            "--said-by",
        ),
        *("--note", "--by", "--key", "--now", "--help"),
    },
    "undo": {"--by", "--now", "--help"},
    "due": {"--now", "--help"},
    "history": {"--from", "--to", "--csv", "--json", "--out", "--now", "--help"},
    "export": {"--out", "--now", "--help"},
    "import": {"--now", "--help"},
}
"""The commands that take a plan, with their options."""
AT_HOME = {
    "use": {"--instead", "--now", "--help"},
    "packet": {
        *("--out", "--paper", "--from-day", "--to", "--from", "--patient", "--subject", "--send", "--smtp", "--user"),
        *("--authority", "--not-read-back", "--now", "--help"),
    },
    "run": {"--port", "--lan", "--page-on-lan", "--certificate", "--key", "--name", "--help"},
    "status": {"--now", "--help"},
    "page": {"--address", "--help"},
    "phones": {"--now", "--help"},
    "publish": {"--to", "--now", "--help"},
}
"""The commands about the plan in use; each has tests of its own."""
ALL_COMMANDS = {
    **COMMANDS,
    **AT_HOME,
    "compare": {"--now", "--help"},
    "write": {"--in-terminal", "--protocol", "--now", "--help"},
    "open": {"--use", "--now", "--help"},
    "where": {"--help"},
    "try-popup": {"--urgent", "--help"},
    "at-login": {"--help"},
    "new-id": {"--help"},
}


def run(*arguments: str | Path) -> Result:
    """Run a command; a failure of the program itself is raised, not swallowed."""
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


def needed(command: str, out: Path) -> tuple[str | Path, ...]:
    """Return what a command needs besides the plan."""
    return {"compile": ("--out", out), "export": ("--out", out), "record": ("done",), "import": (out,)}.get(command, ())


def really_run(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run a command as a process of its own, in the project's folder."""
    kept = {name: value for name, value in os.environ.items() if name not in ("LANG", "LC_ALL", "LC_CTYPE")}
    return subprocess.run(
        [sys.executable, "-m", "reminders", *map(str, arguments)],
        cwd=ROOT,
        env={**kept, "LC_ALL": "C.UTF-8", **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        timeout=120,
    )


def changed(path: Path, folder: Path, old: str, new: str) -> Path:
    """Write a sample plan with one text replaced."""
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    copy = folder / "changed.toml"
    copy.write_text(text.replace(old, new), encoding="utf-8")
    return copy


# Help


def test_the_help_names_every_command() -> None:
    result = run("--help")
    assert result.exit_code == 0
    assert set(COMMANDS_OF_PROGRAM) == set(ALL_COMMANDS)
    for command in ALL_COMMANDS:
        assert re.search(rf"^  {command} +\S", result.output, re.MULTILINE), "each with a few words about it"


@pytest.mark.parametrize("command", ALL_COMMANDS)
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_a_command_s_help_names_its_options_and_the_plan(command: str, flag: str) -> None:
    result = run(command, flag)
    assert result.exit_code == 0
    listed = re.findall(r"^  .*?(--[a-z-]+)", result.output.partition("Options:")[2], re.MULTILINE)
    assert set(listed) == ALL_COMMANDS[command]
    assert ("PLAN" in result.output.partition("\n")[0]) == (command in {**COMMANDS, **AT_HOME})


@pytest.mark.parametrize("command", ALL_COMMANDS)
def test_every_option_says_what_it_does(command: str) -> None:
    found = main.get_command(click.Context(main), command)
    assert found is not None
    for parameter in found.params:
        if isinstance(parameter, click.Option):
            assert parameter.help


def test_no_command_shows_the_help() -> None:
    result = run()
    assert "Usage:" in result.output
    assert result.exit_code == 2


def test_the_version_is_told() -> None:
    try:
        installed = version("reminders")
    except PackageNotFoundError:
        pytest.skip("not run: reminders is not installed")
    result = run("--version")
    assert result.exit_code == 0
    assert installed in result.output


# check


def test_check_of_a_sound_plan_prints_a_summary_and_succeeds() -> None:
    result = run("check", THREE, *NOW)
    assert result.exit_code == 0
    assert "three-lumens.toml: no errors, no warnings, 1 note." in result.output  # the longer day
    for part in (
        "sessions",
        "quiet hours",
        "Supplies of the next 7 days",
        "Daily totals",
        "heparin",
        "3 lumens, 2 orders",
    ):
        assert part in result.output
    assert "Mon 12 Oct 2026, 08:00 CDT to Mon 23 Nov 2026, 08:00 CST (42 days)" in result.output.replace("\n", " ")


def test_check_of_a_plan_with_warnings_prints_them_and_succeeds() -> None:
    result = run("check", WARNED, *NOW)
    assert result.exit_code == 0
    assert "WARNING (heparin-strong) in a-pharmacist-would-ask.toml, line " in result.output
    assert "sessions" in result.output
    tally = re.search(r"a-pharmacist-would-ask\.toml: no errors, (\d+) warnings, (\d+) notes\.", result.output)
    assert tally is not None
    assert result.output.count("WARNING (") == int(tally[1])
    notes = result.output.count("NOTE (would-help) in")
    assert notes > 0 and notes + result.output.count("NOTE (no-quiet-hours) in") == int(tally[2])


def test_check_of_a_broken_plan_prints_its_errors_and_fails() -> None:
    result = run("check", BROKEN, *NOW)
    assert result.exit_code == 1
    errors = BROKEN.read_text(encoding="utf-8").count("ERROR ")
    assert result.output.count("ERROR (") == errors
    assert f"wrong-units.toml: {errors} errors, no warnings, no notes." in result.output
    assert "Nothing can be made of this plan" in result.output
    assert "sessions" not in result.output


def test_check_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    run("check", THREE, *NOW)
    assert list(tmp_path.iterdir()) == []


# compile


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def events(path: Path) -> list[dict[str, str]]:
    """Return the events of a calendar file, with the start of each as text."""
    calendar = Calendar.from_ical(path.read_bytes())
    return [
        {
            "uid": str(event["UID"]),
            "start": f"{event.decoded('DTSTART'):%Y-%m-%dT%H:%MZ}",
            "title": str(event["SUMMARY"]),
        }
        for event in calendar.walk("VEVENT")
    ]


def planned(path: Path) -> list[dict[str, str]]:
    """Return a calendar file's events without the one that says that the file ends, which must be the last."""
    found = events(path)
    closing = [event for event in found if event["title"].startswith("This calendar ends here")]
    assert closing == found[-1:]
    assert all(event["start"] < closing[0]["start"] for event in found[:-1])
    return found[:-1]


def rows(path: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["events"]
    return found


def test_compile_writes_a_calendar_and_a_schedule(tmp_path: Path) -> None:
    out = tmp_path / "new" / "folder"
    result = run("compile", THREE, "--out", out, *NOW)
    assert result.exit_code == 0
    assert names(out) == {"three-lumens.ics", "three-lumens.json"}
    written, scheduled = planned(out / "three-lumens.ics"), rows(out / "three-lumens.json")
    assert sorted((event["uid"], event["start"]) for event in written) == sorted(
        (row["uid"], row["start"]) for row in scheduled
    )
    (closing,) = events(out / "three-lumens.ics")[len(written) :]
    assert closing["start"] >= max(row["end"] for row in scheduled), "it ends once all is over"
    assert f"{len(written)} events" in result.output
    assert str(out / "three-lumens.ics") in result.output
    assert str(out / "three-lumens.json") in result.output


def test_compile_per_lumen_divides_the_events_among_the_calendars(tmp_path: Path) -> None:
    run("compile", THREE, "--out", tmp_path / "one", *NOW)
    result = run("compile", THREE, "--out", tmp_path / "each", "--per-lumen", *NOW)
    assert result.exit_code == 0
    calendars = {f"three-lumens-{lumen}.ics" for lumen in ("red", "purple", "grey")}
    assert names(tmp_path / "each") == calendars | {"three-lumens.json"}
    divided = [event for name in sorted(calendars) for event in planned(tmp_path / "each" / name)]
    whole = planned(tmp_path / "one" / "three-lumens.ics")
    assert sorted(event["uid"] for event in divided) == sorted(event["uid"] for event in whole)
    for lumen in ("red", "purple", "grey"):
        assert all(
            event["title"].startswith(f"{lumen.capitalize()} lumen")
            for event in planned(tmp_path / "each" / f"three-lumens-{lumen}.ics")
        )


def test_compile_per_lumen_leaves_out_lumens_that_are_out_of_use(tmp_path: Path) -> None:
    plan = changed(THREE, tmp_path, 'label = "grey"', 'label = "grey"\nin_use = false')
    result = run("compile", plan, "--out", tmp_path / "each", "--per-lumen", *NOW)
    assert result.exit_code == 0
    assert names(tmp_path / "each") == {"changed-red.ics", "changed-purple.ics", "changed.json"}
    assert "grey" not in result.output


@pytest.mark.parametrize(
    ("per_lumen", "files"),
    [
        ((), {"calendar.ics"}),
        (("--per-lumen",), {"calendar-1.ics", "calendar-2.ics", "calendar-3.ics"}),
    ],
    ids=["one for all", "one for each lumen"],
)
def test_a_calendar_that_tells_nothing_is_not_named_after_the_plan(
    tmp_path: Path, per_lumen: tuple[str, ...], files: set[str]
) -> None:
    """R26: a file's name may be shown by the phone that imports it."""
    plan = changed(THREE, tmp_path, 'reveals = "everything"', 'reveals = "nothing at all"')
    result = run("compile", plan, "--out", tmp_path / "out", *per_lumen, *NOW)
    assert result.exit_code == 0
    assert names(tmp_path / "out") == files | {"changed.json"}


def test_the_schedule_file_says_which_bags_are_changed_and_what_each_day_brings(tmp_path: Path) -> None:
    """By hand for 2026-08-12, of the sample in which milrinone runs day and night.

    Its bag is changed at 10:00. Infused: 24 h at 4 mL/h and twice 100 mL of metronidazole, 296 mL.
    """
    plan = SAMPLES / "two-lumens-continuous.toml"
    assert run("compile", plan, "--out", tmp_path, "--now", "2026-08-10 07:00-06:00").exit_code == 0
    document = json.loads((tmp_path / "two-lumens-continuous.json").read_text(encoding="utf-8"))
    changes = {row["start"]: row["bags"] for row in document["events"] if row["bags"]}
    # 10:00 in Denver is 16:00Z; the first bag is connected on the 10th, the last taken off on the 24th
    assert list(changes) == [f"2026-08-{day}T16:00Z" for day in range(11, 24)]
    assert {bag["order"] for bags in changes.values() for bag in bags} == {"milrinone"}
    (total,) = (total for total in document["daily_totals"] if total["day"] == "2026-08-12")
    assert total["infused"] == 296
    assert total["whole"] is True
    assert [total["day"] for total in document["daily_totals"]] == [f"2026-08-{day}" for day in range(10, 25)]
    assert [total["whole"] for total in document["daily_totals"]] == [False, *[True] * 13, False]


def test_compile_of_some_days_holds_those_days(tmp_path: Path) -> None:
    """The calendar keeps to the days, both included, on the clock at home; the schedule stays whole."""
    run("compile", THREE, "--out", tmp_path / "whole", *NOW)
    result = run("compile", THREE, "--out", tmp_path, "--from", "2026-10-31", "--to", "2026-11-01", *NOW)
    assert result.exit_code == 0
    # 31 October begins at 05:00Z (CDT), 2 November at 06:00Z (CST).
    expected = {
        row["uid"]
        for row in rows(tmp_path / "whole" / "three-lumens.json")
        if "2026-10-31T05:00Z" <= row["start"] < "2026-11-02T06:00Z"
    }
    assert expected
    assert {event["uid"] for event in planned(tmp_path / "three-lumens.ics")} == expected
    assert rows(tmp_path / "three-lumens.json") == rows(tmp_path / "whole" / "three-lumens.json")


def test_calendars_of_days_that_follow_one_another_hold_every_event_once(tmp_path: Path) -> None:
    run("compile", THREE, "--out", tmp_path / "whole", *NOW)
    run("compile", THREE, "--out", tmp_path / "first", "--to", "2026-11-01", *NOW)
    run("compile", THREE, "--out", tmp_path / "second", "--from", "2026-11-02", *NOW)
    parts = [event["uid"] for part in ("first", "second") for event in planned(tmp_path / part / "three-lumens.ics")]
    assert sorted(parts) == sorted(event["uid"] for event in planned(tmp_path / "whole" / "three-lumens.ics"))


def a_year(folder: Path) -> Path:
    """Write the sample of three lumens for a whole year, which is more than phones import."""
    plan = changed(THREE, folder, 'end = "2026-11-23 08:00"', 'end = "2027-10-11 08:00"')
    text = plan.read_text(encoding="utf-8")
    text = text.replace("last_day = 2026-11-22", "until_removal = true").replace("review_on = 2026-11-23\n", "")
    plan.write_text(text, encoding="utf-8")
    return plan


def test_where_not_all_fits_the_past_gives_way(tmp_path: Path) -> None:
    """Without --from a large calendar begins today; with it, on the day that was asked for."""
    plan = a_year(tmp_path)
    now = ("--now", "2027-02-01 15:00-06:00")
    assert run("compile", plan, "--out", tmp_path / "today", *now).exit_code == 0
    assert run("compile", plan, "--out", tmp_path / "asked", "--from", "2026-12-01", *now).exit_code == 0
    starts = [row["start"] for row in rows(tmp_path / "today" / "changed.json")]
    for folder, midnight in (("today", "2027-02-01T06:00Z"), ("asked", "2026-12-01T06:00Z")):  # 00:00 CST
        first = min(event["start"] for event in events(tmp_path / folder / "changed.ics"))
        assert first == min(start for start in starts if start >= midnight)
    assert min(starts) < "2026-10-13", "the schedule itself stays whole"


def test_where_all_fits_nothing_of_the_past_is_left_out(tmp_path: Path) -> None:
    run("compile", THREE, "--out", tmp_path / "early", *NOW)
    run("compile", THREE, "--out", tmp_path / "late", "--now", "2026-11-10 15:00-06:00")
    early, late = (planned(tmp_path / folder / "three-lumens.ics") for folder in ("early", "late"))
    assert late == early


def test_of_a_large_plan_that_has_not_begun_the_calendar_begins_with_the_plan(tmp_path: Path) -> None:
    plan = a_year(tmp_path)
    run("compile", plan, "--out", tmp_path, "--now", "2026-09-01 15:00-05:00")
    first = min(event["start"] for event in events(tmp_path / "changed.ics"))
    assert first == min(row["start"] for row in rows(tmp_path / "changed.json"))


def test_compile_says_what_a_large_calendar_leaves_out_and_how_to_get_it(tmp_path: Path) -> None:
    """A year of three lumens is more than phones import; the days that follow are had by the option that it names."""
    plan = a_year(tmp_path)
    result = run("compile", plan, "--out", tmp_path / "out", *NOW)
    assert result.exit_code == 0
    said = re.search(r"(\d+) later events are left out.*--from (\d{4}-\d\d-\d\d)", result.output.replace("\n", " "))
    assert said, result.output
    scheduled = {row["uid"] for row in rows(tmp_path / "out" / "changed.json")}
    held = {event["uid"] for event in planned(tmp_path / "out" / "changed.ics")}
    assert held < scheduled
    assert len(scheduled) - len(held) == int(said[1])
    run("compile", plan, "--out", tmp_path / "next", "--from", said[2], *NOW)
    following = {event["uid"] for event in planned(tmp_path / "next" / "changed.ics")}
    assert held.isdisjoint(following)
    starts = {row["uid"]: row["start"] for row in rows(tmp_path / "out" / "changed.json")}
    assert max(starts[uid] for uid in held) < min(starts[uid] for uid in following)


def test_compile_of_a_broken_plan_writes_nothing_and_leaves_older_files(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_bytes(THREE.read_bytes())
    out = tmp_path / "out"
    run("compile", plan, "--out", out, *NOW)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    plan.write_bytes(BROKEN.read_bytes())
    result = run("compile", plan, "--out", out, *NOW)
    assert result.exit_code == 1
    assert "ERROR (wrong-unit) in plan.toml" in result.stderr
    assert "Nothing was written." in result.stderr
    assert result.stdout == ""
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_compile_of_a_broken_plan_does_not_even_make_the_folder(tmp_path: Path) -> None:
    assert run("compile", BROKEN, "--out", tmp_path / "out", *NOW).exit_code == 1
    assert not (tmp_path / "out").exists()


def test_compile_shows_warnings_beside_what_it_wrote(tmp_path: Path) -> None:
    plan = tmp_path / WARNED.name  # beside which the record is kept
    shutil.copyfile(WARNED, plan)
    result = run("compile", plan, "--out", tmp_path / "out", *NOW)
    assert result.exit_code == 0
    assert "WARNING (heparin-strong)" in result.stderr
    assert "WARNING" not in result.stdout
    assert names(tmp_path / "out") == {"a-pharmacist-would-ask.ics", "a-pharmacist-would-ask.json"}


def test_a_file_in_the_place_of_the_folder_is_told_and_stays(tmp_path: Path) -> None:
    place = tmp_path / "out"
    place.write_bytes(b"a letter")
    result = run("compile", THREE, "--out", place, *NOW)
    assert result.exit_code == 1
    assert "out" in result.stderr
    assert result.stdout == ""
    assert place.read_bytes() == b"a letter"


def test_the_plan_itself_is_never_written_over(tmp_path: Path) -> None:
    """A plan that is named like a result must outlive the command, whatever the command says."""
    for name in ("plan.json", "plan.ics"):
        plan = tmp_path / name
        plan.write_bytes(THREE.read_bytes())
        result = run("compile", plan, "--out", tmp_path, *NOW)
        assert result.exit_code == 1
        assert "would be overwritten" in result.stderr
        assert str(plan) in result.stderr
        assert result.stdout == ""
        assert plan.read_bytes() == THREE.read_bytes()
        assert names(tmp_path) == {name}
        plan.unlink()


def test_the_plan_itself_is_never_written_over_by_a_calendar_that_tells_nothing(tmp_path: Path) -> None:
    plan = changed(THREE, tmp_path, 'reveals = "everything"', 'reveals = "nothing at all"')
    plan = plan.rename(tmp_path / "calendar.ics")
    before = plan.read_bytes()
    assert run("compile", plan, "--out", tmp_path, *NOW).exit_code == 1
    assert plan.read_bytes() == before
    assert names(tmp_path) == {"calendar.ics"}


@pytest.mark.skipif(os.name != "posix", reason="not run: links need rights elsewhere")
def test_the_plan_itself_is_never_written_over_by_way_of_a_link(tmp_path: Path) -> None:
    (tmp_path / "plans").mkdir()
    plan = tmp_path / "plans" / "plan.json"
    plan.write_bytes(THREE.read_bytes())
    (tmp_path / "link").symlink_to(tmp_path / "plans")
    result = run("compile", plan, "--out", tmp_path / "link", *NOW)
    assert result.exit_code == 1
    assert "would be overwritten" in result.stderr
    assert plan.read_bytes() == THREE.read_bytes()
    assert names(tmp_path / "plans") == {"plan.json"}


# new-id


def test_a_new_id_is_random_and_what_a_plan_takes(tmp_path: Path) -> None:
    made = [run("new-id").output for _ in range(3)]
    assert len(set(made)) == 3
    for text in made:
        assert text.endswith("\n")
        found = uuid.UUID(text.strip())
        assert text.strip() == str(found)
        assert found.version == 4
    plan = changed(THREE, tmp_path, "5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21", made[0].strip())
    assert run("check", plan, *NOW).exit_code == 0


def test_a_new_id_takes_no_plan() -> None:
    result = run("new-id", THREE)
    assert result.exit_code == 2
    assert "Usage:" in result.stderr


def test_a_pretended_now_gives_the_same_bytes_each_time(tmp_path: Path) -> None:
    """R24: the same plan and the same moment, the same files, in this process and in another."""
    elsewhere = Path(shutil.copy(THREE, tmp_path / THREE.name))
    run("compile", THREE, "--out", tmp_path / "one", *NOW)
    run("compile", THREE, "--out", tmp_path / "two", *NOW)
    out = ("--out", tmp_path / "three")
    process = really_run("compile", elsewhere, *out, *NOW, PYTHONHASHSEED="7", TZ="Asia/Kathmandu")
    assert process.returncode == 0, process.stderr
    for name in ("three-lumens.ics", "three-lumens.json"):
        assert len({(tmp_path / folder / name).read_bytes() for folder in ("one", "two", "three")}) == 1


def test_a_pretended_now_moves_the_end_of_a_plan_that_rolls_on() -> None:
    """An open-ended plan is planned from today on: another day, another end."""
    plan = SAMPLES / "open-ended-year.toml"
    ends = {
        now: re.search(r"rolling on, now to (.*?) \(", run("check", plan, "--now", f"{now} 12:00+00:00").output)
        for now in ("2026-12-01", "2026-12-02")
    }
    first, second = (match.group(1) if match else "" for match in ends.values())
    assert first != second
    assert first
    assert second


# agenda


def agenda_days(output: str) -> list[str]:
    return re.findall(r"^((?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+ \w{3} \d{4})", output, re.MULTILINE)


def test_agenda_shows_today_and_two_days_more() -> None:
    result = run("agenda", THREE, "--now", "2026-10-20 15:00+00:00")
    assert result.exit_code == 0
    assert agenda_days(result.output) == ["Tue 20 Oct 2026", "Wed 21 Oct 2026", "Thu 22 Oct 2026"]


def test_agenda_of_a_plan_that_has_not_begun_shows_its_first_days() -> None:
    result = run("agenda", THREE, "--now", "2026-09-01 15:00+00:00")
    assert agenda_days(result.output) == ["Mon 12 Oct 2026", "Tue 13 Oct 2026", "Wed 14 Oct 2026"]


def test_agenda_marks_the_day_on_which_the_clocks_change_and_no_other() -> None:
    result = run("agenda", THREE, "--from", "2026-10-31", "--to", "2026-11-02", *NOW)
    headings = [line for line in result.output.splitlines() if agenda_days(line)]
    marked = [line for line in headings if "25 h" in line]
    assert len(headings) == 3
    assert [agenda_days(line) for line in marked] == [["Sun 1 Nov 2026"]]
    assert all(line in (*agenda_days(line), *marked) for line in headings)


def test_agenda_names_the_clock_in_force_before_and_after_the_change() -> None:
    result = run("agenda", THREE, "--from", "2026-10-31", "--to", "2026-11-01", *NOW)
    zones = re.findall(r"^ +\d\d:\d\d (C[DS]T) ", result.output, re.MULTILINE)
    assert set(zones) == {"CDT", "CST"}


def test_agenda_holds_the_touches_of_the_schedule_of_those_days(tmp_path: Path) -> None:
    run("compile", THREE, "--out", tmp_path, *NOW)
    expected = sum(
        "2026-10-20T05:00Z" <= row["start"] < "2026-10-21T05:00Z" for row in rows(tmp_path / "three-lumens.json")
    )
    result = run("agenda", THREE, "--from", "2026-10-20", "--to", "2026-10-20", *NOW)
    assert len(re.findall(r"^ +\d\d:\d\d CDT ", result.output, re.MULTILINE)) == expected > 0


STEP = re.compile(r"^ +(\d+)\. (.+)$", re.MULTILINE)


def test_agenda_with_steps_adds_what_to_lay_out_and_what_to_do(tmp_path: Path) -> None:
    """Each touch of the day with its steps, numbered from 1, as many as the schedule has; without it none."""
    run("compile", THREE, "--out", tmp_path, *NOW)
    of_the_day = [
        row for row in rows(tmp_path / "three-lumens.json") if "2026-10-20T05:00Z" <= row["start"] < "2026-10-21T05:00Z"
    ]
    days = ("--from", "2026-10-20", "--to", "2026-10-20")
    plain = run("agenda", THREE, *days, *NOW)
    result = run("agenda", THREE, *days, "--steps", *NOW)
    assert result.exit_code == 0
    numbers = [int(number) for number, _ in STEP.findall(result.output)]
    in_order = sorted(of_the_day, key=lambda row: (["red", "purple", "grey"].index(row["lumen"]), row["start"]))
    assert numbers == [count for row in in_order for count in range(1, len(row["steps"]) + 1)]
    assert result.output.count("Prepare: ") == len(of_the_day) > 0
    assert "Prepare: " not in plain.output
    assert not STEP.search(plain.output)
    assert not [line for line in plain.output.splitlines() if line not in result.output.splitlines()]


def test_agenda_s_steps_of_a_start_by_hand() -> None:
    """The start of piperacillin at 06:00: saline of 10 mL, then 4 g in 100 mL over 30 min."""
    result = run("agenda", THREE, "--from", "2026-10-20", "--to", "2026-10-20", "--steps", *NOW)
    said = " ".join(result.output.partition("06:00 CDT  ")[2].partition("06:30 CDT  ")[0].split())
    assert "runs until 06:30 CDT. On time from 05:00 CDT to 07:00 CDT. Not given by 09:00 CDT?" in said
    assert "1. Flush with 10 mL 0.9 % sodium chloride. 2. Connect and start piperacillin-tazobactam 4 g, 100 mL" in said
    assert "over 30 min" in said
    assert "1 × piperacillin-tazobactam bag" in said


DELIVERED = SAMPLES / "weekly-delivery.toml"
"""A sample with care tasks. 14 September 2026 is a Monday, 08:00 MDT 14:00Z."""

TASKS_OF_14 = """\
  Care tasks
    08:00 MDT  Take the bag of ertapenem out of the refrigerator
    08:00 MDT  Change the needleless connectors of both lumens
"""


def test_agenda_has_the_care_tasks_of_a_day_after_its_lumens() -> None:
    """R20: a draw through a lumen stands with that lumen; where only a task is due, the day is not empty."""
    days = ("--from", "2026-09-14", "--to", "2026-09-14", "--now", "2026-09-10 12:00+00:00")
    said = run("agenda", DELIVERED, *days).output
    blocks = re.findall(r"^  (\S.*)$", said.partition("\n\n")[0], re.MULTILINE)
    assert blocks == ["white lumen", "blue lumen", "Care tasks"]
    care = said[said.index("  Care tasks") :].partition("\n\n")[0].splitlines()
    assert sorted(care) == sorted(TASKS_OF_14.splitlines())
    assert "08:00 MDT  blood draw: Blood count, drawn through the blue lumen" in said.partition("Care tasks")[0]


def test_agenda_with_steps_says_who_does_a_care_task_and_with_what() -> None:
    days = ("--from", "2026-09-15", "--to", "2026-09-16", "--now", "2026-09-10 12:00+00:00")
    said = " ".join(run("agenda", DELIVERED, *days, "--steps").output.split())
    assert "13:00 MDT Supplies come; count what is in the box The pharmacy does this. At any hour of this day." in said
    assert "It should bring: 7 × administration set, 1 × dressing kit," in said
    assert (
        "14:00 MDT Change the dressing The nurse does this. At any hour of this day. Prepare: 1 × dressing kit. Note: "
        "Call the same day if it is wet, loose or soiled; it is not left until its day." in said
    )
    assert "It goes with ertapenem 1 g, which starts at 09:00 MDT. On time from 07:30 MDT to 08:30 MDT." in said


def test_check_says_how_often_each_care_task_comes_and_when_next() -> None:
    """Six weeks from Monday, 7 September, 08:00: 42 doses at 09:00, and the bag out an hour before each.

    Deliveries are on Tuesdays; blood is drawn on Mondays at 08:00, and on 13 October, since it cannot be on the 12th: 6
    times, the end of the plan on 19 October at 08:00 not included.
    """
    said = run("check", DELIVERED, "--now", "2026-10-06 12:00+00:00").output
    part = said.partition("Care tasks:")[2].partition("\n\n")[0]
    rows = [re.fullmatch(r"  (.{40}) +(\d+)  (.*)", line) for line in part.splitlines()[1:]]
    found = [(row[1].strip(), int(row[2]), row[3]) for row in rows if row]
    assert found[0] == ("Take the bag of ertapenem out of the…", 42, "Tue 6 Oct 2026, 08:00 MDT")
    assert found[3] == ("Blood count, drawn through the blue…", 6, "Tue 13 Oct 2026, 08:00 MDT")
    assert found[4] == ("Supplies come; count what is in the box", 6, "Tue 6 Oct 2026, 13:00 MDT")
    assert len(found) == 5
    assert "Care tasks" not in run("check", THREE, *NOW).output


def test_the_schedule_file_has_a_row_for_each_care_task(tmp_path: Path) -> None:
    """R20: worked out by hand for Monday, 14 September, 08:00 MDT (14:00Z): the connectors with the draw of that hour."""
    assert run("compile", DELIVERED, "--out", tmp_path, "--now", "2026-09-07 14:00+00:00").exit_code == 0
    document = json.loads((tmp_path / "weekly-delivery.json").read_text(encoding="utf-8"))
    found = [row for row in document["tasks"] if row["start"] == "2026-09-14T14:00Z"]
    assert sorted((row["task"], row["kind"], row["order"], row["dose"], row["end"]) for row in found) == [
        ("connectors", "needleless connector", None, None, "2026-09-14T14:15Z"),
        ("out_of_the_refrigerator", "out of the refrigerator", "ertapenem", 8, "2026-09-14T14:05Z"),
    ]
    windows = {row["task"]: (row["on_time_from"], row["on_time_to"]) for row in found}
    assert windows == {
        "connectors": ("2026-09-14T06:00Z", "2026-09-15T05:59Z"),
        "out_of_the_refrigerator": ("2026-09-14T13:30Z", "2026-09-14T14:30Z"),
    }
    (draw,) = (row for row in document["events"] if row["start"] == "2026-09-14T14:00Z" and row["lumen"] == "blue")
    assert (draw["kind"], draw["tasks"]) == ("draw", ["blood_count"])
    assert all(row["status"] in ("planned", "due") for row in document["tasks"])
    assert not any(row["besides"] for row in document["tasks"])
    delivery = next(row for row in document["tasks"] if row["task"] == "delivery")
    assert delivery["brings"]["saline syringe 10 mL"] == 30
    assert (delivery["label"], delivery["done_by"]) == ("Supplies come; count what is in the box", "pharmacy")


def test_compile_counts_care_tasks_among_the_events_and_gives_them_a_calendar(tmp_path: Path) -> None:
    now = ("--now", "2026-09-07 14:00+00:00")
    result = run("compile", DELIVERED, "--out", tmp_path / "one", *now)
    document = json.loads((tmp_path / "one" / "weekly-delivery.json").read_text(encoding="utf-8"))
    count = len(document["events"]) + len(document["tasks"])
    assert result.output.count(f": {count} events") == 2, "the calendar and the schedule"
    divided = run("compile", DELIVERED, "--out", tmp_path / "each", "--per-lumen", *now)
    assert names(tmp_path / "each") == {
        *("weekly-delivery-white.ics", "weekly-delivery-blue.ics", "weekly-delivery-care-tasks.ics"),
        "weekly-delivery.json",
    }
    assert f"weekly-delivery-care-tasks.ics: {len(document['tasks'])} events" in divided.output


def test_agenda_outside_the_plan_says_that_nothing_is_planned() -> None:
    result = run("agenda", THREE, "--from", "2026-09-01", "--to", "2026-09-01", *NOW)
    assert result.exit_code == 0
    assert not re.search(r"\d\d:\d\d C[DS]T", result.output.partition("Tue 1 Sep 2026")[2].partition("\n\n")[0])


def test_agenda_says_what_may_be_given_as_needed_and_the_plans_note() -> None:
    """What no calendar can schedule stands below the days, with its limits; so does the plan's own note."""
    said = " ".join(run("agenda", SAMPLES / "open-ended-year.toml", *NOW).output.split())
    assert "As needed, white lumen: lactated Ringer's 1000 mL" in said
    assert "At most 1 in 24 h, 20 h apart; nothing is scheduled." in said
    noted = " ".join(
        run("agenda", SAMPLES / "one-lumen-once-daily.toml", "--now", "2026-09-10 12:00+00:00").output.split()
    )
    assert "Note: The nurse takes the line out on the last morning, after the last dose." in noted


def test_agenda_says_whom_to_call() -> None:
    assert "555-0142" in run("agenda", THREE, *NOW).output


# Colours


@pytest.mark.parametrize("arguments", [("check", WARNED), ("agenda", THREE), ("supplies", THREE)], ids=lambda a: a[0])
def test_no_colours_where_nobody_looks(arguments: tuple[str | Path, ...]) -> None:
    """What goes into a file or a pipe is plain text."""
    process = really_run(*arguments, *NOW, TERM="xterm-256color")
    assert process.returncode == 0
    assert ESCAPE.encode() not in process.stdout + process.stderr


@pytest.mark.skipif(os.name != "posix", reason="not run: pseudo terminals need POSIX")
@pytest.mark.parametrize("arguments", [("check", WARNED), ("agenda", THREE)], ids=lambda a: a[0])
def test_colours_on_a_terminal(arguments: tuple[str | Path, ...]) -> None:
    output = on_a_terminal(*arguments, *NOW)
    assert ESCAPE in output
    plain = click.unstyle(output).replace("\r\n", "\n")
    assert plain == really_run(*arguments, *NOW).stdout.decode()


def on_a_terminal(*arguments: str | Path) -> str:
    """Run a command under a pseudo terminal and return what it shows there."""
    import pty

    terminal, inner = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "reminders", *map(str, arguments)],
        cwd=ROOT,
        env={**os.environ, "LC_ALL": "C.UTF-8", "TERM": "xterm-256color"},
        stdin=subprocess.DEVNULL,
        stdout=inner,
        stderr=inner,
    ) as process:
        os.close(inner)
        shown = b""
        while True:
            try:
                part = os.read(terminal, 65536)
            except OSError:  # Linux ends a pseudo terminal with an error
                break
            if not part:
                break
            shown += part
        os.close(terminal)
        assert process.wait(60) == 0
    return shown.decode()


# supplies


def counted(output: str) -> dict[str, int]:
    return {match[2]: int(match[1]) for match in re.finditer(r"^ +(\d+)  (.+)$", output, re.MULTILINE)}


def test_supplies_of_a_day() -> None:
    """By hand for 2026-10-20: nutrition 20:00 to 08:00 in red, piperacillin at 06:00, 14:00 and 22:00 in purple."""
    result = run("supplies", THREE, "--from", "2026-10-20", "--to", "2026-10-20", *NOW)
    items = counted(result.output)
    assert items["nutrition bag 2000 mL"] == 1
    assert items["piperacillin-tazobactam bag"] == 3
    assert items["administration set"] == 3
    assert items["pump set with filter"] == 1


def test_supplies_of_parts_add_up_to_the_whole() -> None:
    whole = counted(run("supplies", THREE, *NOW).output)
    first = counted(run("supplies", THREE, "--to", "2026-11-01", *NOW).output)
    second = counted(run("supplies", THREE, "--from", "2026-11-02", *NOW).output)
    assert whole == {item: first.get(item, 0) + second.get(item, 0) for item in whole}
    # 12 October to 22 November, each evening
    assert whole["nutrition bag 2000 mL"] == 42


def test_supplies_name_the_days_that_they_are_for() -> None:
    result = run("supplies", THREE, "--from", "2026-10-31", "--to", "2026-11-01", *NOW)
    assert "Sat 31 Oct 2026, 00:00 CDT to Mon 2 Nov 2026, 00:00 CST" in result.output


# Misuse: click's exit status 2, and a text that says what to write


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("chek", THREE), "chek"),
        (("check",), "PLAN"),
        (("check", THREE, "extra"), "extra"),
        (("check", THREE, "--frm", "2026-10-12"), "--frm"),
        (("compile", THREE), "--out"),
        (("check", THREE, "--now", "yesterday"), "yesterday"),
        (("check", THREE, "--now", "2026-10-12"), "no time of day"),
        (("check", THREE, "--now", "1926-10-12 08:00"), "1926"),
        (("check", THREE, "--now", "2026-10-12 08:00:30"), "whole minute"),
        (("check", THREE, "--now", ""), "--now"),
        (("agenda", THREE, "--from", "12.10.2026"), "year-month-day"),
        (("agenda", THREE, "--from", "2026-13-01"), "2026-13-01"),
        (("agenda", THREE, "--to", "0001-01-01"), "cannot be meant"),
        (("agenda", THREE, "--from", "2026-11-02", "--to", "2026-11-01"), "before the first"),
        (("supplies", THREE, "--from", "2026-11-02", "--to", "2026-11-01"), "before the first"),
        (("compile", THREE, "--out", "{out}", "--from", "2026-11-02", "--to", "2026-11-01"), "before the first"),
        (("agenda", THREE, "--from", "2026-10-12", "--to", "2028-10-12"), "400 days"),
    ],
    ids=lambda value: (
        " ".join(str(part) for part in value if not isinstance(part, Path)) if isinstance(value, tuple) else ""
    ),
)
def test_misuse_is_explained(tmp_path: Path, arguments: tuple[str | Path, ...], said: str) -> None:
    out = tmp_path / "out"
    result = run(*(str(out) if argument == "{out}" else argument for argument in arguments))
    assert result.exit_code == 2
    assert said in result.stderr
    assert "Usage:" in result.stderr
    assert result.stdout == ""
    assert not out.exists()


@pytest.mark.parametrize(
    ("first", "last"),
    [("2026-12-01", "2026-12-31"), ("2026-01-01", "2026-01-31"), (None, "2026-10-01"), ("2027-01-01", None)],
)
@pytest.mark.parametrize("command", ["compile", "supplies"])
def test_days_outside_the_plan_are_told_with_the_plan_s_own(
    tmp_path: Path, command: str, first: str | None, last: str | None
) -> None:
    out = tmp_path / "out"
    days = [*(("--from", first) if first else ()), *(("--to", last) if last else ())]
    result = run(command, THREE, *(("--out", out) if command == "compile" else ()), *days, *NOW)
    assert result.exit_code == 1
    for part in ("outside the plan", "Mon 12 Oct 2026, 08:00 CDT", "Mon 23 Nov 2026, 08:00 CST"):
        assert part in result.stderr
    assert not out.exists()


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("what", ["missing", "a folder", "unreadable", "not text", "empty"])
def test_a_file_that_is_no_plan_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, what: str
) -> None:
    path = tmp_path / "plan.toml"
    said = {
        "missing": "There is no file",
        "a folder": "is a folder",
        "unreadable": "Permission denied",
        "not text": "not UTF-8",
        "empty": "no table [plan]",
    }[what]
    if what == "a folder":
        path.mkdir()
    elif what == "not text":
        path.write_bytes(b"\x89PNG\r\n\x1a\n\x00\xff\xfe")
    elif what == "empty":
        path.write_bytes(b"")
    elif what == "unreadable":  # simulated, because root may read everything
        real = Path.open

        def refused(self: Path, *args: object, **named: object) -> object:
            if self == path:
                raise PermissionError(13, "Permission denied")
            return real(self, *args, **named)  # type: ignore[call-overload]

        monkeypatch.setattr(Path, "open", refused)
    out = tmp_path / "out"
    result = run(command, path, *needed(command, out), *NOW)
    assert result.exit_code == 1
    assert said in result.output
    assert "plan.toml" in result.output
    assert not out.exists()


@pytest.mark.parametrize("command", COMMANDS)
def test_a_broken_plan_is_refused_by_every_command(tmp_path: Path, command: str) -> None:
    result = run(command, BROKEN, *needed(command, tmp_path / "out"), *NOW)
    assert result.exit_code == 1
    assert "ERROR (wrong-unit) in wrong-units.toml, line 13" in result.output
    assert "15 errors" in result.output


# As a process of its own, with the streams that machines really have


def test_the_module_runs_as_a_program() -> None:
    process = really_run("check", THREE, *NOW)
    assert process.returncode == 0
    assert b"no errors" in process.stdout
    assert process.stderr == b""


@pytest.mark.parametrize(
    ("arguments", "status"),
    [(("check", BROKEN), 1), (("check", "nowhere.toml"), 1), (("check", THREE, "--now", "soon"), 2), (("chek",), 2)],
    ids=["broken", "missing", "bad now", "no such command"],
)
def test_a_process_fails_without_a_traceback(arguments: tuple[str | Path, ...], status: int) -> None:
    process = really_run(*arguments)
    assert process.returncode == status
    assert b"Traceback" not in process.stderr + process.stdout


@pytest.fixture(name="accented")
def a_plan_with_letters_beyond_ascii(tmp_path: Path) -> Path:
    return changed(
        THREE, tmp_path, 'provider = "Fennimore Vale Home Infusion"', 'provider = "Infusão Ribeira – 家"  # é'
    )


NARROW = {
    "the C locale": {"LC_ALL": "C"},
    "the C locale for good": {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
    "ASCII": {"PYTHONIOENCODING": "ascii"},
    "Latin-1": {"PYTHONIOENCODING": "latin-1"},
    "an old Windows console": {"PYTHONIOENCODING": "cp437"},
}


@pytest.mark.parametrize("environment", NARROW.values(), ids=NARROW)
@pytest.mark.parametrize("command", ["check", "agenda", "supplies", "broken"])
def test_a_narrow_terminal_loses_letters_and_nothing_else(
    accented: Path, environment: dict[str, str], command: str
) -> None:
    """Labels may hold letters that a terminal cannot show; the command must come through all the same."""
    text = accented.read_text(encoding="utf-8")
    text = text.replace('label = "red"', 'label = "rosé"').replace('drug = "parenteral', 'drug = "nutrição parenteral')
    text = text.replace('"pair of gloves" = 1', '"luvas (um par) – 手袋" = 1')
    if command == "broken":
        text = text.replace('idle_limit = "12 h"', 'idle_limit = "12 heures – é 家"')
    accented.write_text(text, encoding="utf-8")
    process = really_run("check" if command == "broken" else command, accented, *NOW, **environment)
    assert b"Traceback" not in process.stderr, process.stderr.decode("latin-1").splitlines()[-1]
    assert process.returncode == (1 if command == "broken" else 0)
    encoding = environment.get("PYTHONIOENCODING")
    if encoding is None:
        assert process.stdout
        return
    if encoding == "ascii":  # click takes a stream that claims to be ASCII for a misconfigured one and writes UTF-8
        encoding = "utf-8"
    wide = really_run("check" if command == "broken" else command, accented, *NOW).stdout.decode()
    assert not wide.isascii(), "the plan does hold such letters"
    assert process.stdout.replace(b"\r\n", b"\n") == wide.encode(encoding, "replace"), (
        "a mark for each, and all the rest"
    )


def test_output_that_nobody_reads_to_its_end_is_no_failure_of_the_program() -> None:
    """As in ``reminders agenda PLAN | head -1``."""
    with subprocess.Popen(
        [sys.executable, "-m", "reminders", "agenda", str(THREE), "--from", "2026-10-12", "--to", "2026-11-22", *NOW],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
        process.wait(60)
    assert b"Traceback" not in said


def test_the_commands_work_from_any_folder(tmp_path: Path) -> None:
    process = subprocess.run(
        [sys.executable, "-m", "reminders", "check", str(THREE), *NOW],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert process.returncode == 0, process.stderr


def test_every_day_of_a_plan_has_its_agenda() -> None:
    """42 days and the day on which the plan ends; each is named once."""
    result = run("agenda", THREE, "--from", "2026-10-12", "--to", "2026-11-23", *NOW)
    days = [date(2026, 10, 12) + timedelta(days=count) for count in range(43)]
    assert agenda_days(result.output) == [f"{day:%a} {day.day} {day:%b %Y}" for day in days]
