"""Runs each calendar program on a file and brings home what it found: ``{uid: (start, end)}`` and more.

None of these programs shares code with this project. icalendar also writes our files, so it counts as a reader only
beside the others. Programs outside Python run far from any zone of the plans (``TZ``), so that a time without a zone
would be found out.
"""

import json
import os
import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeAlias

import icalendar
import pytest
import recurring_ical_events

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
FAR_AWAY = "Asia/Kathmandu"
"""No sample lives there, and its offset (05:45) is no other's."""

Span: TypeAlias = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Seen:
    """One event as a reader sees it; None for what the reader does not tell."""

    start: datetime
    end: datetime
    alarm: datetime | None = None
    summary: str | None = None
    description: str | None = None


Reader: TypeAlias = Callable[[bytes, Path], dict[str, Seen]]
"""Takes a file's bytes and an empty folder to work in, and returns what it sees by UID."""


def spans(seen: dict[str, Seen]) -> dict[str, Span]:
    """Return the instants alone."""
    return {uid: (event.start, event.end) for uid, event in seen.items()}


def need(program: str, name: str) -> str:
    """Return where a program is; without it the test is not run, and says so."""
    path = shutil.which(program)
    if path is None:
        pytest.skip(f"not run: {name} is not installed")
    return path


def run(*command: str | Path, zone: str = FAR_AWAY, home: Path | None = None) -> str:
    """Run a reader in a zone of its own and return what it printed; it must end well and say nothing bad."""
    environment = {"PATH": os.environ["PATH"], "LANG": "C.UTF-8", "TZ": zone}
    if home is not None:
        environment |= {"HOME": str(home), "XDG_CONFIG_HOME": str(home), "XDG_DATA_HOME": str(home)}
    done = subprocess.run(
        [str(part) for part in command],
        env=environment, cwd=home, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"{command[0]} ended with {done.returncode}: {done.stderr}"
    return done.stdout


def by_uid(found: Sequence[tuple[str, Seen]]) -> dict[str, Seen]:
    """Return the events by UID; a reader that finds one twice has not found what was written."""
    twice = [uid for uid, times in Counter(uid for uid, _ in found).items() if times > 1]
    assert not twice, f"found more than once: {twice}"
    return dict(found)


def read_with_icalendar(content: bytes, folder: Path) -> dict[str, Seen]:
    """Read with the Python library icalendar."""
    return by_uid([_python_event(event) for event in icalendar.Calendar.from_ical(content).walk("VEVENT")])


def read_with_recurring_ical_events(content: bytes, folder: Path) -> dict[str, Seen]:
    """Read with recurring-ical-events, which asks which events happen between two moments."""
    calendar = icalendar.Calendar.from_ical(content)
    starts = [_zoned(event["DTSTART"]) for event in calendar.walk("VEVENT")]
    day = timedelta(days=1)
    happening = recurring_ical_events.of(calendar).between(min(starts) - day, max(starts) + day)
    return by_uid([_python_event(event) for event in happening])


def _python_event(event: Any) -> tuple[str, Seen]:
    alarms = [alarm.trigger for alarm in icalendar.Alarms(event).times]
    alarm = alarms[0] if alarms else None
    assert alarm is None or isinstance(alarm, datetime), "an alarm by the day"
    return str(event["UID"]), Seen(
        _zoned(event["DTSTART"]),
        _zoned(event["DTEND"]),
        alarm.astimezone(UTC) if alarm else None,
        str(event["SUMMARY"]) if "SUMMARY" in event else None,
        str(event["DESCRIPTION"]) if "DESCRIPTION" in event else None,
    )


def _zoned(value: Any) -> datetime:
    assert isinstance(value.dt, datetime), "a day without a time"
    assert value.dt.tzinfo is not None, "a time that the reader takes for one without a zone"
    return value.dt.astimezone(UTC)


def _instant(seconds: Any) -> datetime:
    assert seconds != "floating", "a time that the reader takes for one without a zone"
    return datetime.fromtimestamp(int(seconds), UTC)


def libical_program(folder: Path) -> Path:
    """Compile the driver for libical and return where it is."""
    compiler = need("gcc", "gcc")
    config = need("pkg-config", "pkg-config")
    if subprocess.run([config, "--exists", "libical"], check=False).returncode != 0:
        pytest.skip("not run: libical is not installed")
    flags = subprocess.run([config, "--cflags", "--libs", "libical"], capture_output=True, text=True, check=True).stdout
    program = folder / "libical"
    subprocess.run(
        [compiler, "-Wall", "-Wextra", "-Werror", "-o", str(program), str(HERE / "libical.c"), *flags.split()],
        check=True,
    )
    return program


@dataclass(frozen=True, slots=True)
class LibicalSays:
    """All that libical says of a file: its events, how much it could not read, and whether it keeps the rules."""

    events: dict[str, Seen]
    faults: int
    keeps_restrictions: bool


def ask_libical(program: Path, content: bytes, folder: Path) -> LibicalSays:
    """Read a file with libical's own parser and its check of the standards' restrictions."""
    file = folder / "calendar.ics"
    file.write_bytes(content)
    rows = [line.split("\t") for line in run(program, file).splitlines()]
    events = [_libical_event(*row[1:]) for row in rows if row[0] == "event"]
    said = {row[0]: int(row[1]) for row in rows if row[0] != "event"}
    return LibicalSays(by_uid(events), said["faults"], bool(said["restrictions"]))


def _libical_event(uid: str, start: str, end: str, alarm: str, summary: str, text: str) -> tuple[str, Seen]:
    return uid, Seen(
        _instant(start), _instant(end), None if alarm == "-" else _instant(alarm), _unhexed(summary), _unhexed(text)
    )


def _unhexed(text: str) -> str | None:
    return None if text == "-" else bytes.fromhex(text).decode()


def read_with_libical(content: bytes, folder: Path) -> dict[str, Seen]:
    """Read with the C library libical, on which several desktop calendars stand."""
    return ask_libical(libical_program(folder), content, folder).events


def read_with_icaljs(content: bytes, folder: Path) -> dict[str, Seen]:
    """Read with ical.js, on which web and mail calendars stand."""
    node = need("node", "Node.js")
    modules = Path(os.environ.get("REMINDERS_NODE_MODULES") or ROOT / ".judges" / "node_modules")
    library = modules / "ical.js" / "dist" / "ical.js"
    if not library.exists():
        pytest.skip("not run: ical.js is not installed")
    file = folder / "calendar.ics"
    file.write_bytes(content)
    rows = json.loads(run(node, HERE / "icaljs.mjs", library, file))
    return by_uid([_icaljs_event(**row) for row in rows])


def _icaljs_event(uid: str, start: Any, end: Any, alarm: Any, summary: str, description: str) -> tuple[str, Seen]:
    return uid, Seen(_instant(start), _instant(end), None if alarm is None else _instant(alarm), summary, description)


KHAL_CONFIG = """
[calendars]
[[plan]]
path = {folder}/khal
type = calendar
[default]
default_calendar = plan
[sqlite]
path = {folder}/khal.db
[locale]
local_timezone = UTC
default_timezone = UTC
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
"""


def read_with_khal(content: bytes, folder: Path) -> dict[str, Seen]:
    """Import into the calendar program khal and list every day that it shows."""
    khal = need("khal", "khal")
    config, file = folder / "khal.conf", folder / "calendar.ics"
    config.write_text(KHAL_CONFIG.format(folder=folder), encoding="utf-8")
    file.write_bytes(content)
    (folder / "khal").mkdir()
    run(khal, "-c", config, "import", "--batch", "-a", "plan", file, home=folder)
    days = sorted(re.findall(rb"DTSTART:(\d{8})T", content))
    first = datetime.strptime(days[0].decode(), "%Y%m%d").replace(tzinfo=UTC) - timedelta(days=1)
    last = datetime.strptime(days[-1].decode(), "%Y%m%d").replace(tzinfo=UTC) + timedelta(days=3)
    form = "{uid}\t{start-long-full}\t{end-long-full}\t{title}"
    listed = run(
        khal, "-c", config, "list", "--notstarted", "--day-format", "", "--format", form,
        f"{first:%Y-%m-%d}", f"{last:%Y-%m-%d}", home=folder,
    )  # fmt: skip
    found: dict[str, Seen] = {}
    for row in listed.splitlines():
        uid, start, end, title = row.split("\t")
        seen = Seen(_minute(start), _minute(end), summary=title)
        # An event that runs past midnight is listed on both days: the rows must agree.
        assert found.setdefault(uid, seen) == seen, f"khal lists {uid} at two times"
    return found


def _minute(text: str, form: str = "%Y-%m-%d %H:%M") -> datetime:
    return datetime.strptime(text, form).replace(tzinfo=UTC)


CALCURSE_ROW = re.compile(r"(\d\d/\d\d/\d{4} @ \d\d:\d\d) -> (\d\d/\d\d/\d{4} @ \d\d:\d\d)(?:>[0-9a-f]{40} )?[|!].*")


def spans_in_calcurse(content: bytes, folder: Path) -> Counter[Span]:
    """Import into the calendar program calcurse, which keeps no UID, and return how often it has each span."""
    calcurse = need("calcurse", "calcurse")
    file, data, config = folder / "calendar.ics", folder / "calcurse", folder / "config"
    file.write_bytes(content)
    data.mkdir()
    config.mkdir()
    run(calcurse, "-D", data, "-C", config, "-i", file, zone="UTC", home=folder)
    found: Counter[Span] = Counter()
    for row in (data / "apts").read_text(encoding="utf-8").splitlines():
        match = CALCURSE_ROW.fullmatch(row)
        assert match, f"calcurse kept something else than a plain appointment: {row}"
        start, end = (_minute(text, "%m/%d/%Y @ %H:%M") for text in match.groups())
        found[start, end] += 1
    return found


READERS: dict[str, Reader] = {
    "icalendar": read_with_icalendar,
    "recurring-ical-events": read_with_recurring_ical_events,
    "libical": read_with_libical,
    "ical.js": read_with_icaljs,
    "khal": read_with_khal,
}
"""Every reader that tells events apart by their UIDs."""
