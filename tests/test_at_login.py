"""Starting at login: what is written for each system, by which commands it is taken up, and what is said about it.

systemd's and the desktop's own checkers, and GLib's launcher, judge what they can. No live user manager of systemd, no launchd
and no Task Scheduler runs here: for those the commands are compared with what their manuals ask for.
"""

import configparser
import os
import plistlib
import re
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result
from small_plans import SAMPLES

from reminders.at_login import common
from reminders.at_login.autostart import Autostart, entry_text
from reminders.at_login.common import AtLoginError, Ran, check_command, daemon_command
from reminders.at_login.launchd import LABEL, Launchd, agent
from reminders.at_login.systemd import SESSION, UNIT, Systemd, unit_text
from reminders.at_login.ways import here
from reminders.at_login.windows import SCHEMA, TaskScheduler, task, windowless
from reminders.commands.at_login import at_login
from reminders.commands.daemon import run
from reminders.commands.places import use
from reminders.commands.shared import FAILED
from reminders.daemon.life import PULSE

COMMAND = ("/opt/reminders/bin/python", "-P", "-m", "reminders", "run")
ODD = "per%cent %h $HOME ${X} \"two\" 'one' `tick` back\\slash; é"
"""A folder's name with every sign that some file of these reads as something else."""
SID = "S-1-5-21-1004336348-1177238915-682003330-1001"


class Others:
    """Stands in for the other programs: keeps what was asked of them, and answers with what a test says.

    ``answers`` maps the beginning of a command to an exit status or an exception; anything else succeeds.
    """

    def __init__(self, answers: Mapping[str, int | AtLoginError] | None = None) -> None:
        self.asked: list[str] = []
        self.answers = dict(answers or {})

    def __call__(self, command: Sequence[str]) -> Ran:
        words = " ".join(command)
        self.asked.append(words)
        for beginning, answer in self.answers.items():
            if words.startswith(beginning):
                if isinstance(answer, AtLoginError):
                    raise answer
                return Ran(answer, "", "refused, as the test says\n" if answer else "")
        return Ran(0, f'"HOME\\ann","{SID}"\n' if words.startswith("whoami") else "")


NOT_THERE = AtLoginError('There is no program "systemctl" on this computer.')


@pytest.fixture(name="home", autouse=True)
def a_home_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a test a home folder, in which nothing is in use or set up."""
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    for name, folder in (("CONFIG", ".config"), ("DATA", "data"), ("STATE", "state"), ("CACHE", "cache")):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home / folder))
    return home


# The command


def test_the_command_runs_the_plan_in_use_by_this_very_python() -> None:
    assert daemon_command() == (sys.executable, "-P", "-m", "reminders", "run")
    assert Path(daemon_command()[0]).is_absolute(), "no search path is set at login"


@pytest.mark.parametrize("executable", ["", "python3", "/opt/new\nline/python"])
def test_a_python_that_cannot_be_named_is_refused(executable: str) -> None:
    with pytest.raises(AtLoginError):
        daemon_command(executable)


def test_the_daemon_is_started_as_the_rest_of_the_program_knows_it() -> None:
    """Statuses after which starting again is of no use are those that the command has; 2 is click's, for no plan."""
    assert common.NOT_AGAIN == (2, 3)
    result = CliRunner().invoke(run, [])
    assert result.exit_code == 2
    assert "No plan is in use" in result.stderr


def test_a_program_that_is_not_found_from_elsewhere_is_refused(tmp_path: Path) -> None:
    """Started in the project's folder it would run, and at login it would not."""
    others = Others({"/opt/reminders": 1})
    with pytest.raises(AtLoginError, match="Install it"):
        check_command(others, COMMAND)
    assert others.asked == ["/opt/reminders/bin/python -P -c import reminders.cli"]
    (tmp_path / "home" / "click.py").write_text("raise SystemExit('not the library')", encoding="utf-8")
    check_command(common.run, daemon_command())  # a file of that name in the home folder does no harm


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ("#!/bin/sh\nexec sleep 60\n", "did not answer"),
        ("#!/no/such/shell\n", "There is no program"),
        (None, "There is no program"),
        ("", "cannot be run"),
    ],
    ids=["hangs", "broken", "absent", "not executable"],
)
@pytest.mark.skipif(os.name != "posix", reason="not run: scripts that stand in for programs need POSIX")
def test_a_program_that_does_not_do_its_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str | None, said: str
) -> None:
    monkeypatch.setattr(common, "PATIENCE", 0.2)
    program = tmp_path / "systemctl"
    if script is not None:
        program.write_text(script, encoding="utf-8")
        program.chmod(0o700 if script else 0o600)
    with pytest.raises(AtLoginError, match=said):
        common.run([str(program)])


def test_what_a_program_says_is_kept() -> None:
    ran = common.run([sys.executable, "-c", "import sys; print('out'); print('a\\nb', file=sys.stderr); sys.exit(3)"])
    assert (ran.status, ran.out, ran.said) == (3, "out\n", "a b")


# systemd


def unit() -> configparser.ConfigParser:
    found = configparser.ConfigParser(interpolation=None)
    found.optionxform = str  # type: ignore[assignment,method-assign]  # its keys have capitals
    found.read_string(unit_text(COMMAND))
    return found


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("Unit", "PartOf", "graphical-session.target"),  # else it outlives the desktop's bus, and no pop-up ever comes
        ("Unit", "After", "graphical-session.target"),
        ("Install", "WantedBy", "graphical-session.target"),
        ("Unit", "StartLimitIntervalSec", "0"),  # else it gives up after five starts within ten seconds
        ("Service", "Restart", "always"),
        ("Service", "RestartPreventExitStatus", "2 3"),  # else one that has nothing to do is started for ever
        ("Service", "Type", "notify"),
        ("Service", "NotifyAccess", "main"),  # a helper that shows a pop-up says nothing for the daemon
        ("Service", "WatchdogSec", "120"),  # one that is stuck is started again
        ("Service", "StandardOutput", "null"),  # what it prints may be about the patient
        ("Service", "StandardError", "null"),
        ("Service", "KillMode", "process"),  # else a browser that a pop-up has opened is closed with the daemon
        ("Service", "UMask", "0077"),
        ("Service", "NoNewPrivileges", "yes"),
        ("Service", "RestartSec", "5"),
        ("Service", "TimeoutStopSec", "15"),
    ],
)
def test_the_unit_avoids_what_bites(section: str, key: str, value: str) -> None:
    assert unit()[section][key] == value


def test_a_daemon_that_looks_at_each_pulse_is_not_taken_for_stuck() -> None:
    assert float(unit()["Service"]["WatchdogSec"]) >= 3 * PULSE


def odd_program(tmp_path: Path) -> Path:
    """Make a program, in a folder with an odd name, that writes down what it is called with."""
    program = tmp_path / ODD / "python"
    program.parent.mkdir()
    program.write_text('#!/bin/sh\nprintf "%s\\n" "$0" "$@" > "$(dirname "$0")/called"\n', encoding="utf-8")
    program.chmod(0o700)
    return program


def verified(tmp_path: Path, command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Have systemd check the unit of a command."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("not run: systemd-analyze is not installed")
    place = tmp_path / UNIT
    place.write_text(unit_text(command), encoding="utf-8")
    return subprocess.run(
        ["systemd-analyze", "verify", "--user", str(place)],
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    found = verified(tmp_path, daemon_command())
    assert (found.returncode, found.stdout, found.stderr) == (0, "", "")


def test_systemd_finds_what_is_wrong_with_a_unit(tmp_path: Path) -> None:
    """The check above can fail."""
    found = verified(tmp_path, ("/no/such/python", "run"))
    assert found.returncode != 0
    assert "/no/such/python" in found.stderr


def test_systemd_reads_an_odd_path_as_it_is(tmp_path: Path) -> None:
    program = odd_program(tmp_path)
    command = (str(program), "-P")
    found = verified(tmp_path, command)
    assert (found.returncode, found.stderr) == (0, "")


@pytest.mark.parametrize("name", ["Ann Lee", "é", "(2)"])
def test_systemd_reads_a_usual_path_as_it_is(tmp_path: Path, name: str) -> None:
    """It names the program that it looks for, and does not find."""
    program = tmp_path / name / "python"
    assert f"Command {program} is not executable" in verified(tmp_path, (str(program), "-P")).stderr


def test_the_words_of_a_unit_are_those_of_the_command(tmp_path: Path) -> None:
    """systemd.syntax(7), read back by hand: no user's service manager runs here that would start it."""
    program = odd_program(tmp_path)
    line = unit()["Service"]["ExecStart"]
    assert line == ':"/opt/reminders/bin/python" "-P" "-m" "reminders" "run"'
    odd = next(line for line in unit_text((str(program), "-P")).splitlines() if line.startswith("ExecStart="))
    quoted = re.findall(r'"((?:[^"\\]|\\.)*)"', odd.removeprefix("ExecStart=:"))
    words = [re.sub(r"\\(.)", r"\1", word).replace("%%", "%") for word in quoted]
    subprocess.run(words, check=True, timeout=30)
    assert (program.parent / "called").read_text(encoding="utf-8").splitlines() == [str(program), "-P"]


def test_systemd_takes_the_unit_up(home: Path) -> None:
    others = Others()
    way = Systemd(COMMAND, home / ".config", others)
    way.on()
    way.start()
    assert others.asked == [
        "systemctl --user daemon-reload",
        f"systemctl --user enable {UNIT}",
        f"systemctl --user restart {UNIT}",
    ]
    assert way.file == home / ".config" / "systemd" / "user" / UNIT
    assert way.file.read_text(encoding="utf-8") == unit_text(COMMAND)
    status = way.status()
    assert (status.there, status.current, status.loaded) == (True, True, True)
    moved = Systemd(
        ("/elsewhere/python", *COMMAND[1:]), home / ".config", Others({"systemctl --user is-enabled": 1})
    ).status()
    assert (moved.there, moved.current, moved.loaded) == (True, False, False)
    others.asked.clear()
    assert way.off()
    assert others.asked == [f"systemctl --user disable --now {UNIT}", "systemctl --user daemon-reload"]
    assert not way.file.exists()
    assert not way.off(), "it is gone already"
    assert not way.status().there


def test_without_an_answer_of_systemd_it_is_off_from_the_next_login_on(home: Path) -> None:
    Systemd(COMMAND, home / ".config", Others()).on()
    link = home / ".config" / "systemd" / "user" / f"{SESSION}.wants" / UNIT
    link.parent.mkdir()
    link.symlink_to(link.parent.parent / UNIT)
    way = Systemd(COMMAND, home / ".config", Others({"systemctl": NOT_THERE}))
    assert way.status().loaded is None
    with pytest.raises(AtLoginError, match="may run until you log out"):
        way.off()
    assert not way.file.exists()
    assert not link.is_symlink()


@pytest.mark.parametrize(
    ("answer", "serves"), [(0, True), (3, False), (NOT_THERE, False)], ids=["active", "not active", "no systemd"]
)
def test_systemd_serves_where_it_knows_of_the_desktop(home: Path, answer: int | AtLoginError, serves: bool) -> None:
    others = Others({"systemctl": answer})
    assert Systemd(COMMAND, home, others).serves() == serves
    assert others.asked == ["systemctl --user is-active graphical-session.target"]


# The desktop's autostart folder


def test_the_desktop_s_checker_finds_nothing_wrong_with_the_entry(tmp_path: Path) -> None:
    if shutil.which("desktop-file-validate") is None:
        pytest.skip("not run: desktop-file-validate is not installed")
    for number, command in enumerate((daemon_command(), (str(tmp_path / ODD / "python"), "-P"))):
        place = tmp_path / f"{number}.desktop"
        place.write_text(entry_text(command), encoding="utf-8")
        found = subprocess.run(["desktop-file-validate", str(place)], capture_output=True, text=True, check=False)
        assert (found.returncode, found.stdout, found.stderr) == (0, "", "")


def test_a_desktop_starts_an_odd_path_as_it_is(tmp_path: Path) -> None:
    """GLib, which desktops are built on, reads the entry and starts it."""
    if shutil.which("gio") is None:
        pytest.skip("not run: gio is not installed")
    program = odd_program(tmp_path)
    place = tmp_path / "odd.desktop"
    place.write_text(entry_text((str(program), *COMMAND[1:])), encoding="utf-8")
    subprocess.run(["gio", "launch", str(place)], check=True, timeout=30, capture_output=True)
    called, deadline = program.parent / "called", time.monotonic() + 20
    while not (called.exists() and called.read_text(encoding="utf-8").endswith("run\n")):
        assert time.monotonic() < deadline, "it was not started"
        time.sleep(0.05)  # another process is waited for
    assert called.read_text(encoding="utf-8").splitlines() == [str(program), *COMMAND[1:]]


def test_the_entry_is_written_and_taken_away(home: Path) -> None:
    way = Autostart(COMMAND, home / ".config")
    assert not way.off()
    way.on()
    way.start()
    assert way.file == home / ".config" / "autostart" / "reminders-daemon.desktop"
    assert (way.status().there, way.status().current, way.status().loaded) == (True, True, None)
    assert not Autostart(("/elsewhere/python",), home / ".config").status().current
    assert not way.restarts
    assert way.off()
    assert not way.status().there


# launchd


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("RunAtLoad", True),
        ("KeepAlive", True),  # else it stays away after a crash
        ("LimitLoadToSessionType", "Aqua"),  # else it may start where no pop-up can be shown
        ("ProcessType", "Interactive"),  # else it may be slowed down
        ("ThrottleInterval", 10),
        ("Umask", 0o077),
        ("StandardOutPath", "/dev/null"),  # what it prints may be about the patient
        ("StandardErrorPath", "/dev/null"),
        ("ProgramArguments", list(COMMAND)),  # no search path, no shell
        ("WorkingDirectory", "/Users/ann"),
        ("Label", LABEL),
    ],
)
def test_the_agent_avoids_what_bites(key: str, value: object) -> None:
    assert plistlib.loads(agent(COMMAND, Path("/Users/ann")))[key] == value


def test_the_agent_says_an_odd_path_as_it_is() -> None:
    assert plistlib.loads(agent((f"/{ODD}/<&>/python",), Path("/")))["ProgramArguments"] == [f"/{ODD}/<&>/python"]


def mac(home: Path, others: Others, pauses: list[float] | None = None) -> Launchd:
    kept: list[float] = [] if pauses is None else pauses
    return Launchd(COMMAND, home, 501, others, kept.append)


def test_launchd_takes_the_agent_up(home: Path) -> None:
    others = Others({"launchctl print": 113})  # launchctl(1): it knows of none
    way = mac(home, others)
    assert (way.status().there, way.status().loaded) == (False, False)
    others.asked.clear()
    way.on()
    way.start()
    assert others.asked == [
        f"launchctl enable gui/501/{LABEL}",
        f"launchctl print gui/501/{LABEL}",
        f"launchctl bootstrap gui/501 {home}/Library/LaunchAgents/{LABEL}.plist",
    ]
    again = mac(home, Others())
    assert (again.status().there, again.status().current, again.status().loaded) == (True, True, True)
    assert again.off()
    assert not again.file.exists()


def test_an_agent_that_is_there_is_let_go_of_first_and_launchd_is_given_time(home: Path) -> None:
    others = Others()
    refusals = [5, 37, 0]  # input/output error, operation in progress
    pauses: list[float] = []

    def slow(command: Sequence[str]) -> Ran:
        ran = others(command)
        return Ran(refusals.pop(0)) if command[1] == "bootstrap" else ran

    Launchd(COMMAND, home, 501, slow, pauses.append).on()
    assert [line.split()[1] for line in others.asked] == ["enable", "print", "bootout", *["bootstrap"] * 3]
    assert len(pauses) == 2


def test_an_agent_that_launchd_never_takes_is_an_error(home: Path) -> None:
    pauses: list[float] = []
    with pytest.raises(AtLoginError, match="refused, as the test says"):
        mac(home, Others({"launchctl bootstrap": 125}), pauses).on()
    assert len(pauses) == 9


def test_an_agent_is_removed_even_if_launchd_does_not_answer(home: Path) -> None:
    mac(home, Others({"launchctl print": 113})).on()
    way = mac(home, Others({"launchctl": AtLoginError("none")}))
    assert way.status().loaded is None
    with pytest.raises(AtLoginError, match="may run until you log out"):
        way.off()
    assert not way.file.exists()
    assert not mac(home, Others({"launchctl print": 113})).off()


# The Windows Task Scheduler


def the_task() -> ElementTree.Element:
    return ElementTree.fromstring(task(COMMAND, SID))


def text(path: str) -> str | None:
    """Return what stands at a path of the task."""
    return the_task().findtext("/".join(f"{{{SCHEMA}}}{name}" for name in path.split("/")))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("Settings/ExecutionTimeLimit", "PT0S"),  # else it is stopped after three days
        ("Settings/DisallowStartIfOnBatteries", "false"),  # else a laptop on its battery reminds nobody
        ("Settings/StopIfGoingOnBatteries", "false"),
        ("Settings/StartWhenAvailable", "true"),
        ("Settings/RestartOnFailure/Interval", "PT1M"),
        ("Settings/RestartOnFailure/Count", "255"),  # 999 would not fit the schema's unsignedByte
        ("Settings/MultipleInstancesPolicy", "IgnoreNew"),  # the next start waits for nothing and stops nothing
        ("Settings/RunOnlyIfIdle", "false"),
        ("Settings/IdleSettings/StopOnIdleEnd", "false"),
        ("Settings/RunOnlyIfNetworkAvailable", "false"),
        ("Settings/Priority", "5"),  # else it runs below normal
        ("Settings/WakeToRun", "false"),
        ("Triggers/LogonTrigger/UserId", SID),  # else it starts for whoever logs in
        ("Triggers/LogonTrigger/Repetition/Interval", "PT1M"),  # what is started again after a crash is started by this
        ("Triggers/RegistrationTrigger/Repetition/Interval", "PT1M"),
        ("Triggers/LogonTrigger/Repetition/Duration", "P366D"),  # else it may be started again for one day only
        ("Triggers/RegistrationTrigger/Repetition/Duration", "P366D"),
        ("Triggers/LogonTrigger/Repetition/StopAtDurationEnd", "false"),
        ("Triggers/LogonTrigger/ExecutionTimeLimit", None),  # that of a trigger would stop it too
        ("Principals/Principal/UserId", SID),
        ("Principals/Principal/LogonType", "InteractiveToken"),  # else it has no desktop
        ("Principals/Principal/RunLevel", "LeastPrivilege"),
        ("Actions/Exec/Command", COMMAND[0]),
        ("Actions/Exec/Arguments", "-P -m reminders run"),
    ],
)
def test_the_task_avoids_what_bites(path: str, value: str | None) -> None:
    assert text(path) == value


def test_the_task_is_written_as_schtasks_reads_it() -> None:
    content = task(COMMAND, SID)
    assert content[:2] in (b"\xff\xfe", b"\xfe\xff"), "UTF-16 with its mark"
    assert content.decode("utf-16").startswith("<?xml version='1.0' encoding='utf-16'?>")
    root = the_task()
    assert root.tag == f"{{{SCHEMA}}}Task"
    actions, principal = root.find(f"{{{SCHEMA}}}Actions"), root.find(f".//{{{SCHEMA}}}Principal")
    assert actions is not None
    assert principal is not None
    assert actions.get("Context") == principal.get("id")


def test_the_parts_of_a_trigger_stand_in_the_order_of_the_schema() -> None:
    """[MS-TSCH], 2.5.3.1: Enabled, StartBoundary, EndBoundary, Repetition, ExecutionTimeLimit; then what is the trigger's own."""
    for trigger in the_task().find(f"{{{SCHEMA}}}Triggers") or ():
        names = [part.tag.rpartition("}")[2] for part in trigger]
        assert names == [name for name in ("Enabled", "Repetition", "UserId") if name in names]


def test_the_task_says_an_odd_path_as_it_is() -> None:
    root = ElementTree.fromstring(task((f"C:\\{ODD}\\<&>\\pythonw.exe", "run"), SID))
    assert root.findtext(f".//{{{SCHEMA}}}Command") == f"C:\\{ODD}\\<&>\\pythonw.exe"


def test_windows_opens_no_window() -> None:
    assert windowless(("C:\\Ann Lee\\Scripts\\python.exe", "-P")) == ("C:\\Ann Lee\\Scripts\\pythonw.exe", "-P")


def test_the_scheduler_takes_the_task_up(home: Path) -> None:
    others = Others({"schtasks /query": 1})
    way = TaskScheduler(COMMAND, home, others)
    assert (way.status().there, way.status().loaded) == (False, False)
    assert not way.off()
    others.asked.clear()
    way.on()
    way.start()
    name = f"reminders-daemon-{SID}"  # other users of the computer have theirs
    assert [line for line in others.asked if not line.startswith("whoami")] == [
        f"schtasks /end /tn {name}",
        f"schtasks /create /tn {name} /xml {way.file} /f",
        f"schtasks /run /tn {name}",
    ]
    assert way.file.read_bytes() == task(COMMAND, SID)
    others.answers.clear()
    assert (way.status().there, way.status().current, way.status().loaded) == (True, True, True)
    assert not TaskScheduler(("C:\\else\\pythonw.exe",), home, others).status().current
    others.asked.clear()
    assert way.off()
    assert [line for line in others.asked if not line.startswith("whoami")] == [
        f"schtasks /query /tn {name}",
        f"schtasks /end /tn {name}",
        f"schtasks /delete /tn {name} /f",
    ]
    assert not way.file.exists()


@pytest.mark.parametrize("answer", [1, AtLoginError("There is no whoami.")], ids=["refuses", "absent"])
def test_a_user_that_windows_does_not_name(home: Path, answer: int | AtLoginError) -> None:
    way = TaskScheduler(COMMAND, home, Others({"whoami": answer}))
    assert way.status().loaded is None
    with pytest.raises(AtLoginError):
        way.on()
    assert not way.file.exists()


# What is chosen, and the command


def test_each_system_has_its_ways() -> None:
    names = {
        system: [way.name for way in here(Others(), system).ways]
        for system in ("linux", "freebsd14", "darwin", "win32")
    }
    unix = ["systemd", "the desktop's autostart folder"]
    assert names == {
        "linux": unix,
        "freebsd14": unix,
        "darwin": ["launchd"],
        "win32": ["the Windows Task Scheduler"],
    }
    assert here(Others(), "win32").command[0].endswith("pythonw.exe")


Say = Callable[..., Result]


@pytest.fixture(name="say")
def the_command(monkeypatch: pytest.MonkeyPatch) -> Say:
    """Give a test the command, with other programs that answer as it says."""

    def say(what: str, others: Others, system: str = "linux", options: Sequence[str] = ()) -> Result:
        monkeypatch.setattr("reminders.commands.at_login.here", lambda **told: here(others, system, **told))
        result = CliRunner().invoke(at_login, [what, *options])
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    return say


@pytest.fixture(name="in_use")
def a_plan_in_use(tmp_path: Path) -> None:
    """Put a sample plan in use."""
    plan = tmp_path / "plan-of-a-nurse.toml"
    shutil.copyfile(SAMPLES / "three-lumens.toml", plan)
    assert CliRunner().invoke(use, [str(plan), "--now", "2026-10-12 08:00-05:00"]).exit_code == 0


def test_without_a_plan_in_use_nothing_is_set_up(say: Say, home: Path) -> None:
    result = say("on", Others())
    assert result.exit_code == FAILED
    assert "reminders use PLAN" in result.stderr
    assert not (home / ".config" / "systemd").exists()
    status = say("status", Others())
    assert status.exit_code == FAILED
    assert "does not start at login" in status.output


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_on_status_and_off(say: Say, system: str) -> None:
    result = say("on", Others(), system)
    assert result.exit_code == 0
    for part in (
        "starts when you log in",
        "is started again",
        "Nothing wakes a computer that sleeps",
        "off reminds nobody",
    ):
        assert part in result.output
    status = say("status", Others(), system)
    assert status.exit_code == 0
    assert "starts at login" in status.output
    assert "anew" not in status.output
    off = say("off", Others(), system)
    assert off.exit_code == 0
    assert "no more at login" in off.output


@pytest.mark.usefixtures("in_use")
def test_the_daemon_is_started_with_the_options_that_were_given(say: Say, home: Path, tmp_path: Path) -> None:
    """For phones it must listen on the home network; what was given stands until it is set up anew."""
    unit = home / ".config" / "systemd" / "user" / UNIT
    certificate, key = tmp_path / "the certificate.pem", tmp_path / "key.pem"
    for file in (certificate, key):
        file.write_bytes(b"")
    told = ["--lan", "--page-on-lan", "--certificate", str(certificate), "--key", str(key), "--name", "laptop.home"]
    result = say("on", Others(), options=[*told, "--port", "4871"])
    assert result.exit_code == 0, result.output
    assert "Phones on the home network can fetch the calendar" in result.output
    started = shlex.split(re.findall("^ExecStart=:(.*)$", unit.read_text("utf-8"), re.MULTILINE)[0])
    words = started[started.index("run") :]
    assert words == [
        *("run", "--port=4871", "--lan", "--page-on-lan"),
        *(f"--certificate={certificate}", f"--key={key}", "--name=laptop.home"),
    ]
    parsed = run.make_context("run", words[1:], resilient_parsing=True).params  # as the daemon's command reads them
    assert (parsed["lan"], parsed["page_on_lan"], parsed["port"], parsed["names"]) == (
        True,
        True,
        4871,
        ("laptop.home",),
    )
    status = say("status", Others())
    assert status.exit_code == 0
    assert "Phones on the home network can fetch the calendar" in status.output
    assert "anew" not in status.output
    assert say("on", Others()).exit_code == 0
    assert "--lan" not in unit.read_text("utf-8")
    status = say("status", Others())
    assert "at-login on --lan" in status.output
    assert "anew" not in status.output


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--page-on-lan"], "add --lan"),
        (["--name", "laptop.home"], "add --lan"),
        (["--lan", "--certificate", __file__], "belong together"),
        (["--lan", "--certificate", "gone.pem", "--key", __file__], "gone.pem"),
        (["--lan", "--name", "lap\ntop"], "cannot be written down"),
    ],
)
def test_options_that_the_daemon_would_refuse_are_refused(options: list[str], said: str, say: Say, home: Path) -> None:
    result = say("on", Others(), options=options)
    assert result.exit_code != 0
    assert said in result.stderr
    assert not (home / ".config" / "systemd").exists()


@pytest.mark.usefixtures("in_use")
def test_a_desktop_that_systemd_does_not_know_of(say: Say, home: Path) -> None:
    """Then the desktop starts it, and it is said that nobody starts it again."""
    others = Others({"systemctl --user is-active": 3})
    result = say("on", others)
    assert result.exit_code == 0
    assert "after a crash it stays off" in result.output
    assert "was not started now" in result.output
    assert (home / ".config" / "autostart" / "reminders-daemon.desktop").is_file()
    assert not (home / ".config" / "systemd").exists()
    status = say("status", others)
    assert status.exit_code == 0
    assert "After a crash it stays off" in status.output
    moved_on = say("on", Others())  # a desktop that systemd knows of
    assert moved_on.exit_code == 0
    assert not (home / ".config" / "autostart" / "reminders-daemon.desktop").exists(), "never both"
    assert say("on", others).exit_code == 0
    assert not (home / ".config" / "systemd" / "user" / UNIT).exists(), "never both"
    assert "ends when you log out" in say("off", others).output
    assert "was not set up" in say("off", others).output


@pytest.mark.usefixtures("in_use")
def test_a_program_that_has_moved_is_told(say: Say, home: Path) -> None:
    say("on", Others())
    place = home / ".config" / "systemd" / "user" / UNIT
    place.write_text(place.read_text(encoding="utf-8").replace(sys.executable, "/old/python"), encoding="utf-8")
    status = say("status", Others())
    assert status.exit_code == FAILED
    assert "not what this release would write" in status.output
    assert "at-login on" in status.output
    say("on", Others())
    assert say("status", Others()).exit_code == 0


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"systemctl --user is-enabled": 1}, "has not taken it up"),
        ({"systemctl --user is-enabled": NOT_THERE}, "could not be asked"),
    ],
    ids=["not enabled", "cannot be asked"],
)
def test_what_systemd_has_not_taken_up_is_told(say: Say, answers: dict[str, int | AtLoginError], said: str) -> None:
    say("on", Others())
    status = say("status", Others(answers))
    assert status.exit_code == FAILED
    assert said in status.output


@pytest.mark.usefixtures("in_use")
def test_one_that_runs_already_stands_in_the_way_of_the_start_only(say: Say, home: Path) -> None:
    result = say("on", Others({"systemctl --user restart": 1}))
    assert result.exit_code == FAILED
    assert "could not be started now" in result.stderr
    assert "runs already, stop it there" in result.stderr
    assert (home / ".config" / "systemd" / "user" / UNIT).is_file()


@pytest.mark.usefixtures("in_use")
@pytest.mark.parametrize("failing", ["systemctl --user daemon-reload", "systemctl --user enable"])
def test_what_cannot_be_set_up_is_an_error(say: Say, failing: str) -> None:
    result = say("on", Others({failing: 1}))
    assert result.exit_code == FAILED
    assert "was not set up" in result.stderr
    assert "refused, as the test says" in result.stderr


@pytest.mark.usefixtures("in_use")
def test_a_file_in_the_place_of_a_folder_is_told(say: Say, home: Path) -> None:
    (home / ".config" / "systemd").parent.mkdir(exist_ok=True)
    (home / ".config" / "systemd").write_text("", encoding="utf-8")
    result = say("on", Others())
    assert result.exit_code == FAILED
    assert "cannot be written" in result.stderr


@pytest.mark.usefixtures("in_use")
def test_nothing_personal_is_written(say: Say, home: Path) -> None:
    """What starts at login is read by the system and its logs: no plan's name, no id, no secret."""
    say("on", Others())
    say("on", Others({"systemctl --user is-active": 3}))
    for file in (home / ".config").rglob("reminders-daemon*"):
        assert "toml" not in file.read_text(encoding="utf-8")


@pytest.mark.usefixtures("in_use")
def test_off_says_what_still_runs(say: Say) -> None:
    say("on", Others())
    result = say("off", Others({"systemctl --user disable": 1}))
    assert result.exit_code == FAILED
    assert "may run until you log out" in result.stderr
