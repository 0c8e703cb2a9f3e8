"""Calendars onto the disk, and what they showed into the record; the same targets again whenever something changes."""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from pathlib import Path
from typing import TypeAlias

from reminders.files import FileError, private_folder, write_files
from reminders.household import Household, add_facts, follows_by_itself, put_in_use
from reminders.plan.model import Reveals
from reminders.record.facts import Fact, Kind, Record
from reminders.record.published import PACKET, SENT, Published, publication, published, targets
from reminders.schedule.model import Schedule
from reminders.times import DAY, HOUR, Instant
from reminders.views.calendar import CARE_PLACE, CalendarFile, Part, calendar_file, has_care_tasks
from reminders.views.kept_current import KeptCurrent, own_uids
from reminders.views.schedule_json import schedule_json
from reminders.words import moment_words

FEED_STEM = "calendar"
FEED_NAME = f"{FEED_STEM}.ics"
"""The feed's file is of this name, which tells nobody anything."""

TESTS: Mapping[str, int] = {"soon": 10, "hour": HOUR, "tomorrow": DAY}
"""When a test alarm can be asked for: so many minutes ahead."""

ROUNDED = 5
"""Minutes: a test alarm rings at a time that a person remembers."""


class Kept(StrEnum):
    """The calendars that are renewed each day besides after each report: alone, without the schedule's JSON."""

    FEED = "feed"
    """The one that phones get from this computer."""
    FOLDER = "folder"
    """One in a folder that something else carries to phones."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Calendars as they were asked for: the folder, the files' first name, whether one for each lumen and one of the care
    tasks, the first and last local day, whether for e-mail; whether one that is kept current, and then the instant of its last test alarm.

    ``packet``: it goes out in a packet, for e-mail, and is never written again; ``organizer`` is then the address that the
    packet is from, or empty."""

    folder: Path
    stem: str
    per_lumen: bool = False
    first: date | None = None
    last: date | None = None
    for_mail: bool = False
    kept: Kept | None = None
    test: Instant | None = None
    packet: bool = False
    organizer: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """One calendar that was written: where, what it is, its first instant, and the fact that says what it now shows
    that it did not show before."""

    place: Path
    calendar: CalendarFile
    begins: Instant
    fact: Fact | None


class OutsideError(Exception):
    """Days that lie outside the schedule; its text says which days there are."""


Besides: TypeAlias = Callable[[Household, list[Written]], Mapping[str, bytes]]
"""Makes other files, by name, of the calendars that were drawn."""


def publish(
    household: Household,
    wanted: Wanted,
    now: Instant,
    without: frozenset[str] = frozenset(),
    besides: Besides | None = None,
) -> tuple[Household, list[Written]]:
    """Write the calendars and the schedule's JSON: all of them, or none; those named in ``without`` are not wanted.

    What they show is recorded first: a number that was recorded and never seen does no harm, the reverse would. ``besides``
    makes files that are written with them, all or none.

    A later revision is put in use with it where nobody has reported anything yet (:func:`follows_by_itself`).

    Raises:
        OutsideError: the days lie outside the plan.
        FileError: a file cannot be written; then none was.
        RecordError, NotInUseError: the record cannot be written; then nothing was.
    """
    written: list[Written] = []
    contents: dict[str, bytes] = {}

    def facts(current: Household) -> list[Fact]:
        schedule = current.schedule(now)
        begins, ends = days_within(schedule, wanted.first, wanted.last)
        _not_onto_the_plan(household, wanted, schedule)
        files = _files(wanted, schedule, current.record)
        files = {name: part for name, part in files.items() if name not in without}
        written[:] = _drawn(current.record, schedule, wanted, files, begins, ends, now)
        if wanted.kept is None and not wanted.packet:
            contents[f"{wanted.stem}.json"] = schedule_json(schedule, now)
        shown = [entry.fact for entry in written if entry.fact is not None]
        if not current.begun or (wanted.kept is None and follows_by_itself(current)):
            return [*put_in_use(current, now, packet=wanted.packet), *shown]
        return shown

    household, _added = add_facts(household, facts, now)
    contents.update({entry.place.name: entry.calendar.content for entry in written})
    if besides is not None:
        contents.update(besides(household, written))
    if wanted.kept is None or any(not _holds(wanted.folder / name, content) for name, content in contents.items()):
        write_files(wanted.folder, contents, private=wanted.packet)
    return household, written


def record_sent(household: Household, written: Written, now: Instant) -> Household:
    """Record that the packet with a calendar was handed to a mail server; from then on its revision stays what it says.

    Raises:
        RecordError, NotInUseError: the record cannot be written; then nothing was.
    """
    target, key = str(written.place.resolve()), f"sent-{uuid.uuid4()}"

    def fact(current: Household) -> list[Fact]:
        setting = {**targets(current.record)[target], SENT: str(now)}
        return [
            Fact(
                key=key,
                report=key,
                kind=Kind.PUBLISHED,
                happened=now,
                entered=now,
                target=target,
                setting=setting,
            )
        ]

    return add_facts(household, fact, now)[0]


def publish_feed(household: Household, folder: Path, now: Instant, test: Instant | None = None) -> Household:
    """Write the calendar that phones subscribe to, as ``calendar.ics`` into a folder of the program's own.

    Done again it changes nothing but what is to change: call it when the daemon starts. ``test`` asks for a test alarm at
    that instant, in place of an earlier one.

    Raises:
        FileError, RecordError, NotInUseError: as :func:`publish`; what stood there still stands.
    """
    try:
        private_folder(folder.parent)
        folder = private_folder(folder).resolve()
    except OSError as error:
        raise FileError(f'"{folder}" cannot be used: {error.strerror or error}.') from None
    wanted = Wanted(folder, FEED_STEM, kept=Kept.FEED, test=test)
    if test is None:
        wanted = replace(wanted, test=current_test(household, folder))
    household, _written = publish(household, wanted, now)
    return household


def renew(household: Household, now: Instant) -> tuple[Household, list[str]]:
    """Write again the calendars that are kept current, the feed among them, so that none is taken for old.

    Call it when the daemon starts, about once an hour, and when somebody else has recorded something. What says what it said
    is not touched. Returns in words what could not be written.

    Raises:
        RecordError, NotInUseError: the record cannot be written; then nothing was.
    """
    household, _written, troubles = publish_again(household, now, only_kept=True)
    return household, troubles


def test_at(now: Instant, minutes: int) -> Instant:
    """Return when a test alarm is to ring that is asked for ``now``, so many minutes ahead: at the next five minutes."""
    return Instant(-(-(now + minutes) // ROUNDED) * ROUNDED)


def current_test(household: Household, folder: Path) -> Instant | None:
    """Return when the test alarm rings, or rang, that was asked for last in the feed of a folder; None if none ever was."""
    feed = Wanted(folder.resolve(), FEED_STEM, kept=Kept.FEED)
    return next((asked.test for asked in _asked_for(household.record) if replace(asked, test=None) == feed), None)


def _holds(place: Path, content: bytes) -> bool:
    """Say whether a file holds this already: a folder that something watches is left in peace."""
    try:
        return place.read_bytes() == content
    except OSError:
        return False


def _not_onto_the_plan(household: Household, wanted: Wanted, schedule: Schedule) -> None:
    names = [*_files(wanted, schedule, household.record), f"{wanted.stem}.json"]
    if any((wanted.folder / name).resolve() == household.path.resolve() for name in names):
        raise FileError(
            f'The plan itself, "{household.path}", would be overwritten. Give it the ending .toml, or choose another --out.'
        )


def publish_again(
    household: Household, now: Instant, *, only_kept: bool = False
) -> tuple[Household, list[Written], list[str]]:
    """Write every calendar again that was written before and is still where it was; or those alone that are kept current.

    Returns what was written, and in words what could not be.

    Raises:
        RecordError, NotInUseError: the record cannot be written; then nothing was.
    """
    written: list[Written] = []
    troubles: list[str] = []
    for wanted, places in _asked_for(household.record).items():
        if only_kept and wanted.kept is None:
            continue
        missing = frozenset(place.name for place in places if not place.is_file())
        if missing and wanted.kept is Kept.FEED:
            continue  # the feed of another computer, or one that the daemon writes when it starts
        troubles += [
            f'"{wanted.folder / name}" is not there any more, so it was not written again.' for name in missing
        ]
        if len(missing) == len(places):
            continue
        try:
            household, found = publish(household, wanted, now, missing)
        except (OutsideError, FileError) as error:
            troubles.append(str(error))
            continue
        written += found
        now_written = {entry.place.name for entry in found}
        troubles += [
            f'"{place}" is not written under this name any more, and still holds what it held: delete it, and the calendar '
            "that came of it."
            for place in places
            if place.is_file() and place.name not in now_written
        ]
    return household, written, troubles


def days_within(schedule: Schedule, first: date | None, last: date | None) -> tuple[Instant, Instant]:
    """Return the instants at which the first local day begins and the last one ends, within the schedule.

    Raises:
        OutsideError: no part of these days lies in it.
    """
    begin, end = schedule.start, schedule.end
    clock = schedule.plan.clock
    if first is not None:
        begin = max(begin, clock.day_starts(first, first)[0][1])
    if last is not None:
        following = last + timedelta(days=1)
        end = min(end, clock.day_starts(following, following)[0][1])
    if begin >= end:
        shown = [moment_words(clock.local(edge)) for edge in (schedule.start, schedule.end)]
        raise OutsideError(f"These days lie outside the plan, which runs from {shown[0]} to {shown[1]}.")
    return begin, end


def _drawn(
    record: Record,
    schedule: Schedule,
    wanted: Wanted,
    files: Mapping[str, Part],
    begins: Instant,
    ends: Instant,
    now: Instant,
) -> list[Written]:
    """Draw every file that is wanted, with the numbers that follow from what the record has published."""

    def drawn(first: Instant) -> list[Written]:
        return [
            _one(record, schedule, wanted, wanted.folder / name, part, (first, ends), now)
            for name, part in files.items()
        ]

    found = drawn(begins)
    midnight = schedule.plan.clock.local(now).date()
    today = min(schedule.end, schedule.plan.clock.day_starts(midnight, midnight)[0][1])
    if wanted.first is None and begins < today < schedule.end and any(entry.calendar.left_out for entry in found):
        found = drawn(today)  # where not everything fits, what is past gives way
    return found


def _one(
    record: Record,
    schedule: Schedule,
    wanted: Wanted,
    place: Path,
    part: Part,
    days: tuple[Instant, Instant],
    now: Instant,
) -> Written:
    target = str(place.resolve())
    setting = {
        "folder": str(wanted.folder.resolve()),
        "stem": wanted.stem,
        "lumen": part.lumen or "",
        "from": wanted.first.isoformat() if wanted.first else "",
        "to": wanted.last.isoformat() if wanted.last else "",
        "for": PACKET if wanted.packet else "mail" if wanted.for_mail else str(wanted.kept or ""),
    }
    if part.care_tasks:
        setting["only"] = part.name
    current = None
    if wanted.kept is not None:
        current = KeptCurrent(target, wanted.test)
        setting["own"] = " ".join(own_uids(schedule.plan, current))
        if wanted.test is not None:
            setting["test"] = str(wanted.test)
    before = _without_others_own(record, target, published(record, target, setting))
    calendar = calendar_file(
        schedule,
        first=days[0],
        last=days[1] if wanted.last else None,
        lumen=part.lumen,
        care_tasks=part.care_tasks,
        before=before,
        now=now,
        for_mail=wanted.for_mail or wanted.packet,
        organizer=wanted.organizer,
        current=current,
    )
    key = f"published-{uuid.uuid4()}"
    fact = publication(target, setting, before, calendar.shown, calendar.waiting, key, now)
    return Written(place, calendar, days[0], fact)


def _without_others_own(record: Record, target: str, before: Published) -> Published:
    """Leave out what other calendars show of themselves alone: it is none of the plan's events that could be gone."""
    others = {
        uid
        for fact in record.facts
        if fact.kind is Kind.PUBLISHED and fact.target != target
        for uid in fact.setting.get("own", "").split()
    }
    return replace(before, kin={uid: shown for uid, shown in before.kin.items() if uid not in others})


def _files(wanted: Wanted, schedule: Schedule, record: Record) -> dict[str, Part]:
    """Return each file's name with what it is of: the lumens in use, and the care tasks where there are any; and those
    of which there was a calendar before.

    One that is to tell nobody anything is not named after the plan or the lumen (R26).
    """
    if wanted.packet:
        return {f"{wanted.stem}.ics": Part()}
    plan, parts = schedule.plan, [Part()]
    if wanted.per_lumen:
        settings = [setting for setting in targets(record).values() if setting.get("stem") == wanted.stem]
        before = {setting.get("lumen", "") for setting in settings}
        parts = [Part(name) for name, lumen in plan.lumens.items() if lumen.in_use or name in before]
        if has_care_tasks(schedule) or any(setting.get("only") for setting in settings):
            parts.append(Part(care_tasks=True))
    mail = "-mail" if wanted.for_mail else ""
    stem, called = "calendar", {name: str(place) for place, name in enumerate(plan.lumens, start=1)}
    care_tasks = str(CARE_PLACE)
    if wanted.kept is Kept.FEED or plan.calendar.reveals is not Reveals.NOTHING:
        stem, called = wanted.stem, {name: name for name in plan.lumens}
        care_tasks = "care-tasks" if "care-tasks" not in called else "care-tasks-"
    names = [care_tasks if part.care_tasks else called.get(part.lumen or "", "") for part in parts]
    return {f"{stem}{name and '-'}{name}{mail}.ics": part for name, part in zip(names, parts, strict=True)}


def _asked_for(record: Record) -> dict[Wanted, list[Path]]:
    """Return what was asked for so far, with the files that came of it; what went out in packets stays as it went."""
    found: dict[Wanted, list[Path]] = {}
    for target, setting in targets(record).items():
        if setting.get("for") == PACKET:
            continue
        first, last = (date.fromisoformat(setting[day]) if setting.get(day) else None for day in ("from", "to"))
        wanted = Wanted(
            Path(setting["folder"]),
            setting["stem"],
            bool(setting.get("lumen") or setting.get("only")),
            first,
            last,
            setting.get("for") == "mail",
            Kept(setting["for"]) if setting.get("for") in list(Kept) else None,
            Instant(int(setting["test"])) if setting.get("test") else None,
        )
        found.setdefault(wanted, []).append(Path(target))
    return found
