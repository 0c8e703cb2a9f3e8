"""A file that somebody was sent into what it is, whether it is sound, and how it stands to the plan in use. Nothing is changed."""

import logging
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from reminders.examine import Examination, examine
from reminders.files import FileError, read_file
from reminders.household import Household, NotInUseError, UnusablePlanError, open_in_use
from reminders.mailing.fitting import Fit, fits_of
from reminders.mailing.unpacking import LARGEST, Unpacked, UnpackError, is_mail, other_file, unpack
from reminders.places import places
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.record.store import RecordError
from reminders.schedule.compile import compile_schedule
from reminders.times import Instant
from reminders.views.compare import compare_plans


class Standing(Enum):
    """How a plan stands to the one in use on this computer."""

    FIRST = "no plan is in use"
    NEWER = "a later revision of the plan in use"
    SAME = "the plan in use"
    CHANGED = "the revision in use, with other words"
    OLDER = "an older revision than the one in use"
    OTHER = "another plan than the one in use"
    UNKNOWN = "what is in use cannot be read"


USABLE = frozenset({Standing.FIRST, Standing.NEWER})
"""Those that can be put in use."""


@dataclass(frozen=True, slots=True)
class Received:
    """What came of a file: the plan in it, with all findings; ``mail`` if it was an e-mail.

    ``offered`` is the plan as it would be put in use, None where it has errors; then nothing below is said either.
    ``fits`` says how what came with it fits. ``current`` is what is in use, where that can be read; ``trouble`` why not;
    ``comparison`` what would change.
    """

    file: Path
    mail: Unpacked | None
    examination: Examination
    offered: Household | None = None
    fits: tuple[Fit, ...] = ()
    standing: Standing = Standing.UNKNOWN
    current: Household | None = None
    trouble: str = ""
    comparison: str = ""


@contextmanager
def unheard() -> Iterator[None]:
    """Let nothing be logged or warned of while a stranger's file is read: libraries repeat what is in it as it stands, and what
    nobody else takes Python writes to the terminal, which would obey it."""
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logging.disable(before)


@unheard()
def receive(file: Path, now: Instant) -> Received:
    """Read a file as a packet or a plan, as of ``now``.

    Raises:
        FileError: it cannot be read.
        UnpackError: it is an e-mail from which nothing is taken, or neither an e-mail nor a plan.
    """
    content = read_file(file, most=LARGEST)
    if file.suffix.lower() != ".toml":
        if what := other_file(content):
            raise UnpackError(
                f"{file.name} is {what}, and no packet. Open the e-mail itself, saved as a file (.eml), or the plan in it (.toml). "
                "Nothing was taken from it."
            )
        if is_mail(content):
            mail = unpack(content)
            return _received(file, mail, Path(mail.plan.name), mail.plan.content, now)
    return _received(file, None, file, content, now)


def _received(file: Path, mail: Unpacked | None, plan: Path, content: bytes, now: Instant) -> Received:
    """Take a plan as if it lay alone in a folder: whoever sent it may have laid a record beside it."""
    examination = examine(plan.name, content, EMPTY, now)
    if examination.plan is None:
        return Received(file, mail, examination)
    text = content.decode("utf-8-sig")
    offered = Household(plan, text, examination, examination.plan, EMPTY, (), in_use=True, begun=False)
    return _beside_what_is_in_use(file, mail, offered, now)


def _beside_what_is_in_use(file: Path, mail: Unpacked | None, offered: Household, now: Instant) -> Received:
    current, trouble = _in_use(now)
    standing = _standing(offered, current, trouble)
    comparison = ""
    if current is not None and standing is Standing.NEWER:
        old = read_plan("the plan in use", current.text.encode())
        new = read_plan(offered.path.name, offered.text.encode())
        comparison = compare_plans(old, new, current.record, now, current.earlier).text
    fits = _fits(mail, offered, current, now) if mail is not None else ()
    return Received(file, mail, offered.examination, offered, tuple(fits), standing, current, trouble, comparison)


def _in_use(now: Instant) -> tuple[Household | None, str]:
    """Return what is in use, or why that cannot be told; neither where no plan is in use."""
    try:
        if not places().plan.exists():
            return None, _left_alone()
        return open_in_use(places().plan, now), ""
    except UnusablePlanError as error:
        return None, f"The plan in use on this computer, {places().plan}, has errors: {error}."
    except (FileError, RecordError, NotInUseError, OSError) as error:
        return None, f"The plan in use on this computer cannot be read: {error}"


def _left_alone() -> str:
    """Say that the plan is gone whose record is still there; empty where no record is."""
    records = ", ".join(sorted(path.name for path in places().data.glob("record-*.sqlite3")))
    return records and (
        f"The plan that was in use on this computer, {places().plan}, is gone, and its record is still there ({records}). Put the "
        "plan's file back, or put the right one in use with  reminders use ."
    )


def _standing(offered: Household, current: Household | None, trouble: str) -> Standing:
    course = offered.plan.course
    if current is None:
        return Standing.UNKNOWN if trouble else Standing.FIRST
    if current.plan.course.id != course.id:
        return Standing.OTHER
    if course.revision != current.plan.course.revision:
        return Standing.NEWER if course.revision > current.plan.course.revision else Standing.OLDER
    return Standing.SAME if offered.plan == current.plan else Standing.CHANGED


def _fits(mail: Unpacked, offered: Household, current: Household | None, now: Instant) -> Sequence[Fit]:
    """Compare what came with the plan. What stands before a revision takes effect is that of earlier ones, where they are known."""
    plan = offered.plan
    schedules = [compile_schedule(plan, EMPTY, now)]
    if current is not None and current.plan.course.id == plan.course.id:
        known = [other for other in (*current.earlier, current.plan) if other.course.revision < plan.course.revision]
        if known:
            schedules.append(compile_schedule(plan, EMPTY, now, known))
    return fits_of(mail.calendars, mail.pdfs, schedules, now)
