"""What the letter of a packet says, in blocks: what came, what to do with it, whom to call. Text and HTML are drawn from it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from reminders.plan.model import TIERS, Plan
from reminders.read_back_words import household_words, is_read_back
from reminders.schedule.model import Schedule
from reminders.sheet.content import plan_mark
from reminders.times import Instant
from reminders.words import CATALOGUE, CHECK_FIRST, NEVER_DOUBLE, call_words, moment_words, warning_signs

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True)
class Heading:
    """Begins a part of the letter."""

    text: str


@dataclass(frozen=True, slots=True)
class Words:
    """One paragraph; ``loud``: it must not be overlooked."""

    text: str
    loud: bool = False


@dataclass(frozen=True, slots=True)
class Steps:
    """What to do, one after the other."""

    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Points:
    """Several things side by side."""

    points: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Call:
    """Whom to call for which signs: what to do, the number in it, the signs."""

    do: str
    phone: str
    signs: str


@dataclass(frozen=True, slots=True)
class Calls:
    """Whom to call for what."""

    calls: tuple[Call, ...]


Block: TypeAlias = Heading | Words | Steps | Points | Calls


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter: its title, and its blocks in order."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Names:
    """How the files of a packet are called; they say nothing about anybody."""

    plan: str
    calendar: str
    sheet: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosed:
    """What the letter must know of what it encloses: the files' names, when the packet was made, up to when the calendar
    reaches, and the patient's name if somebody typed it."""

    names: Names
    made: Instant
    until: Instant
    patient: str = ""


def names_of(plan: Plan) -> Names:
    """Return the names of a packet's files: by them a newer packet is told from an older one, and one plan's from another's."""
    stems = ("plan", "calendar", "sheet", "packet")
    told = f"revision-{plan.course.revision}-{plan_mark(plan)}"
    plan_name, calendar, sheet, message = (f"{stem}-{told}" for stem in stems)
    return Names(f"{plan_name}.toml", f"{calendar}.ics", f"{sheet}.pdf", f"{message}.eml")


def subject_of(plan: Plan) -> str:
    """Return what the e-mail is headed with unless somebody types something else: nothing about anybody."""
    return _("Your packet, revision {revision}: it takes the place of earlier ones").format(
        revision=plan.course.revision
    )


def letter_of(schedule: Schedule, enclosed: Enclosed) -> Letter:
    """Return the letter that goes with a schedule's packet."""
    plan = schedule.revision
    title = _("Your packet, revision {revision}").format(revision=plan.course.revision)
    return Letter(
        title,
        (
            *_what_it_is(plan, enclosed),
            Heading(_("What to do with it")),
            Steps(_steps(plan, enclosed)),
            Words(
                _(
                    "Does anything in it differ from what your nurse showed you, or from the label of a drug? Do not guess. "
                    "Call {now}."
                ).format(now=call_words(plan.contacts["now"]))
            ),
            Heading(_("Whom to call")),
            Calls(tuple(_calls(plan))),
            Heading(_("Keep in mind")),
            Points(tuple(_cautions(plan))),
        ),
    )


def _what_it_is(plan: Plan, enclosed: Enclosed) -> Sequence[Block]:
    course = plan.course
    said = [
        _("For {patient}.").format(patient=enclosed.patient) if enclosed.patient else "",
        _(
            "{provider} sends you the plan for the infusions and flushes of the line, a calendar that is made of it, and a sheet "
            "to print."
        ).format(provider=plan.protocol.provider),
    ]
    newer = _(
        "This is revision {revision} of the plan, made {made}. It is in force from {effect}: from then on it takes the place of every "
        "earlier revision; throw older sheets away then, and do not open older calendars or plans again. When a higher revision "
        "comes, the same goes for this one."
    ).format(
        revision=course.revision, made=_moment(plan, enclosed.made), effect=_moment(plan, course.takes_effect.instant)
    )
    told = Words(household_words(plan), loud=not is_read_back(plan))
    return [*(Words(text) for text in said if text), Words(newer), told]


def _steps(plan: Plan, enclosed: Enclosed) -> tuple[str, ...]:
    names = enclosed.names
    return (
        _(
            "Print the sheet, {sheet}, and hang it where everybody sees it, such as on the refrigerator door. Keep it also if the "
            "computer reminds you."
        ).format(sheet=names.sheet),
        _(
            "If a computer reminds you: save {plan} from this e-mail there, and type  reminders open {plan}  (the whole e-mail, saved as "
            "a file, does too). It says what the plan changes, and puts it in use only if you say yes."
        ).format(plan=names.plan),
        _(
            "On a phone that does not follow that computer's calendar: open {calendar}. It reaches up to {until}, does not change by "
            "itself, and the phone may drop its alarms: the sheet is what counts. On a phone that does follow it, do not open it: "
            "it could bring older times back."
        ).format(calendar=names.calendar, until=_moment(plan, enclosed.until)),
    )


def _calls(plan: Plan) -> Iterator[Call]:
    """Yield whom to call for what, what is most urgent first."""
    found = {contact.name: Call(do, contact.phone, signs) for contact, do, signs in warning_signs(plan)}
    yield from (found[tier] for tier in TIERS if tier in found)


def _cautions(plan: Plan) -> list[str]:
    return [
        _("What {provider} or your nurse told you comes first, before anything in this e-mail.").format(
            provider=plan.protocol.provider
        ),
        CHECK_FIRST,
        NEVER_DOUBLE,
        _(
            "This e-mail and its files say which drugs are given, and when. Send them only to people who look after the line."
        ),
    ]


def _moment(plan: Plan, at: Instant) -> str:
    return moment_words(plan.clock.local(at))
