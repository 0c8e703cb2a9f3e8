"""What a packet holds that is personal or medical, in plain lines: said before it is written or sent."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from reminders.plan.model import Plan, Reveals
from reminders.plan.source import parser
from reminders.read_back_words import is_read_back
from reminders.sheet.content import plan_mark
from reminders.times import ClockRange
from reminders.words import CATALOGUE, WEEKDAY_NAMES, call_words, day_words, drug_words, lumen_words, moment_words

_ = CATALOGUE.gettext

MOST_REMARKS = 40
"""How many remarks of a plan's file are shown; of the rest only how many there are."""


@dataclass(frozen=True, slots=True)
class Holding:
    """One kind of thing that a packet holds, with each of them as it stands there."""

    what: str
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What somebody typed for this packet alone: the patient's name, addresses, a subject; each may be empty."""

    patient: str = ""
    sender: str = ""
    to: tuple[str, ...] = ()
    subject: str = ""


def holdings(plan: Plan, text: str, typed: Typed, reports: int = 0) -> tuple[Holding, ...]:
    """Return what a packet holds. ``text`` is the plan's file, which goes along whole; ``reports`` how many things that really
    happened are shown in calendar and sheet."""
    found = [
        Holding(_("Typed for this packet"), tuple(_typed(typed))),
        Holding(_("Drugs"), tuple(_drugs(plan))),
        Holding(_("Allergies"), plan.line.allergies or (_("none known"),)),
        Holding(_("The line"), tuple(_line(plan))),
        Holding(_("Flushes and locks"), tuple(_fluids(plan))),
        Holding(_("Care tasks and visits"), tuple(task.label for task in plan.tasks.values())),
        Holding(_("Provider"), (plan.protocol.provider,)),
        Holding(_("People and numbers to call"), tuple(call_words(contact) for contact in plan.contacts.values())),
        Holding(_("Read back by"), (plan.read_back.by,) if plan.read_back else ()),
        Holding(_("Where and when the household lives by the clock"), tuple(_clock(plan))),
        Holding(_("Items at home or to come"), tuple(_items(plan))),
        Holding(_("Notes and the provider's own words"), tuple(_notes(plan))),
        Holding(_("Remarks in the plan's file"), tuple(_remarks(text))),
        Holding(_("Name of the calendar"), (plan.calendar.name,)),
        Holding(_("What really happened, in calendar and sheet"), (_reports(reports),) if reports else ()),
        Holding(_("Ids"), (str(plan.course.id), _("on the sheet: {mark}").format(mark=plan_mark(plan)))),
    ]
    return tuple(holding for holding in found if holding.entries)


def holdings_text(held: Iterable[Holding], plan: Plan, typed: Typed, reports: int = 0) -> str:
    """Return what a packet holds as text with a final newline, with what is not in it."""
    lines = [_("This packet holds:")]
    for holding in held:
        if len(holding.entries) == 1:
            lines.append(f"  {holding.what}: {holding.entries[0]}")
        else:
            lines += [f"  {holding.what}:", *(f"    - {entry}" for entry in holding.entries)]
    lines.append(_("Not in it: {what}.").format(what=", ".join(_absent(typed, reports))))
    if plan.calendar.reveals is not Reveals.EVERYTHING:
        lines.append(_("The calendar leaves out what this plan keeps from a phone; plan, sheet and letter do not."))
    if not is_read_back(plan):
        lines.append(_("Nobody has read this plan back as it stands."))
    return "\n".join(lines) + "\n"


def _absent(typed: Typed, reports: int) -> list[str]:
    absent = [
        _("the record itself, beyond what calendar and sheet show of it")
        if reports
        else _("the record of what happened"),
        _("the names of this computer and its folders"),
        _("passwords and the addresses of phones"),
    ]
    if not typed.sender:
        absent.insert(0, _("who sends it"))
    if not typed.to:
        absent.insert(0, _("to whom it goes"))
    if not typed.patient:
        absent.insert(0, _("a patient's name, unless the plan itself has it in what is listed here"))
    return absent


def _typed(typed: Typed) -> Iterator[str]:
    if typed.patient:
        yield _("the patient's name: {name}").format(name=typed.patient)
    if typed.sender:
        yield _("from {address}").format(address=typed.sender)
    for address in typed.to:
        yield _("to {address}").format(address=address)
    if typed.subject:
        yield _("the subject: {subject}").format(subject=typed.subject)


def _drugs(plan: Plan) -> Iterator[str]:
    for order in plan.orders.values():
        yield _("{drug}, {lumen}").format(drug=drug_words(order), lumen=lumen_words(plan, order.lumen))


def _line(plan: Plan) -> Iterator[str]:
    line = plan.line
    yield _("{kind}, placed {day}").format(kind=line.kind.value, day=day_words(line.placed_on))
    if line.external_length is not None:
        yield _("{length} outside").format(length=line.external_length.text)
    yield from (lumen_words(plan, name) for name in plan.lumens)
    if line.heparin_ruled_out:
        yield _("no heparin")


def _fluids(plan: Plan) -> Iterator[str]:
    for fluid in plan.fluids.values():
        yield f"{fluid.label} {fluid.strength.text}" if fluid.strength else fluid.label


def _clock(plan: Plan) -> Iterator[str]:
    course, clock = plan.course, plan.clock
    yield course.zone.key
    yield _("from {moment}").format(moment=moment_words(clock.local(course.start.instant)))
    for change in plan.zone_changes:
        moment = moment_words(clock.local(change.at.instant))
        yield _("in {zone} from {moment}").format(zone=change.zone.key, moment=moment)
    for hours in plan.household.quiet_hours:
        yield _("asleep {hours}").format(hours=_hours(hours))


def _hours(hours: ClockRange) -> str:
    every = len(hours.weekdays) == len(WEEKDAY_NAMES)
    days = "" if every else "".join(f"{WEEKDAY_NAMES[day]} " for day in sorted(hours.weekdays))
    return f"{days}{hours.first:%H:%M}-{hours.last:%H:%M}"


def _items(plan: Plan) -> Iterator[str]:
    brought = (item for task in plan.tasks.values() for item in task.brings)
    yield from dict.fromkeys([*(entry.item for entry in plan.stock.values()), *brought])


def _notes(plan: Plan) -> Iterator[str]:
    notes = [plan.course.note, *(order.note for order in plan.orders.values())]
    notes += [task.note for task in plan.tasks.values()]
    notes += [step.label for step in plan.extra_steps.values()]
    notes += [sign for contact in plan.contacts.values() for sign in contact.signs]
    yield from dict.fromkeys(" ".join(note.split()) for note in notes if note.strip())


def _remarks(text: str) -> Sequence[str]:
    """Return what stands behind # in a plan's file: it goes along too."""
    waiting, found = [parser().parse(text.encode()).root_node], []
    while waiting:
        node = waiting.pop()
        if node.type == "comment":
            found.append((node.text or b"").decode(errors="replace").lstrip("#").strip())
        waiting += reversed(node.children)
    found = [remark for remark in found if remark]
    more = len(found) - MOST_REMARKS
    return [*found[:MOST_REMARKS], _("and {count} more").format(count=more)] if more > 0 else found


def _reports(count: int) -> str:
    return _("1 report") if count == 1 else _("{count} reports").format(count=count)
