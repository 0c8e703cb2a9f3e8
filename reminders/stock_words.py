"""One item of stock into the words that a household reads: what is left, how long it lasts, when to order it (R21)."""

from datetime import date

from reminders.plan.model import Plan
from reminders.schedule.model import TaskEvent
from reminders.schedule.stock import Standing, Stocked, brings
from reminders.times import Instant
from reminders.words import CATALOGUE, call_words, clock_beside, day_words

_ = CATALOGUE.gettext

NOT_BEFORE_IT_CAME = _("What a planned delivery should bring counts only once somebody says what came.")

AS_RECKONED = _(
    "Reckoned from the last count: what was reported as done is taken off, and what was planned and nobody reported, too."
)

TAGS = {
    Standing.COUNT: _("Count again"),
    Standing.LACKING: _("NOT ENOUGH"),
    Standing.LATE: _("Order now"),
    Standing.TODAY: _("Order today"),
    Standing.SOON: _("Order soon"),
    Standing.ENOUGH: _("Enough"),
}
"""How things stand with an item, in a word or two."""

PRESSES = frozenset({Standing.COUNT, Standing.LACKING, Standing.LATE, Standing.TODAY, Standing.SOON})
"""What is told on the page of now and in the list of what is due."""


def pieces(item: str, number: int) -> str:
    """Write how many of an item: ``40 × saline syringe``."""
    return _("{number} × {item}").format(number=number, item=item)


def tag_words(found: Stocked, standing: Standing) -> str:
    """Say in a word or two how things stand; where a planned delivery comes in time, to see to that one."""
    if found.lasts_to_delivery and standing in (Standing.LATE, Standing.TODAY, Standing.SOON):
        return _("Is its delivery ordered?")
    if standing is Standing.ENOUGH and found.left < 0:
        return _("No more needed")
    return TAGS[standing]


def left_words(found: Stocked) -> str:
    """Say how many are left."""
    if found.left < 0:
        return _("none left, as reckoned: {number} more were used than there were").format(number=-found.left)
    return _left(found)


def _left(found: Stocked) -> str:
    """Say how many are left, and how many of them are kept back: those are not there for what is planned."""
    number, kept = max(0, found.left), found.entry.kept_back
    if not kept or not number:
        return _("{number} left").format(number=number)
    if number == 1:
        return _("1 left, which is kept back")
    if number <= kept:
        return _("{number} left, all kept back").format(number=number)
    return _("{number} left, {kept} of them kept back").format(number=number, kept=kept)


def reckoned_words(found: Stocked, plan: Plan, now: Instant) -> str:
    """Say from what that is reckoned."""
    at = clock_beside(plan, found.counted_at, _today(plan, now))
    counted = _("{number} counted {at}") if found.count else _("{number} counted {at}, as the plan says")
    parts = [counted.format(number=found.counted, at=at)]
    if found.delivered:
        parts.append(_("{number} delivered since").format(number=found.delivered))
    used = _("{number} used since").format(number=found.used)
    if found.unrecorded:
        used = _("{used} ({number} of these were planned and not recorded)").format(used=used, number=found.unrecorded)
    parts.append(used)
    if found.entry.kept_back:
        parts.append(_("{number} kept back").format(number=found.entry.kept_back))
    return _("{parts}.").format(parts=", ".join(parts))


def lasts_words(found: Stocked, plan: Plan, now: Instant) -> str:
    """Say until when it lasts."""
    if found.runs_out is None:
        enough = _("No more is needed as far as the plan goes.")
        return enough if found.left < 0 else _("Enough as far as the plan goes.")
    at = clock_beside(plan, found.runs_out, _today(plan, now))
    if found.runs_out > now:
        if found.entry.kept_back and found.left <= found.entry.kept_back:
            return _("More is needed {at}.").format(at=at)
        if found.entry.kept_back:
            return _("Lasts until {at} without what is kept back.").format(at=at)
        return _("Runs out {at}.").format(at=at)
    if found.left > 0:
        return _("Since {at} only what is kept back is left.").format(at=at)
    return _("It has run out, as reckoned, at {at}.").format(at=at)


def order_words(found: Stocked, plan: Plan, now: Instant) -> str:
    """Say which is the last day to order, and how many reach until when; nothing where none need be ordered."""
    if found.order_by is None or found.reach is None:
        return ""
    today = _today(plan, now)
    late = found.order_by < today
    last = _("The last day to order was {day}.") if late else _("Last day to order: {day}.")
    said = _("{packs} packs of {size} ({number}) are needed to last until {reach}.")
    if found.packs == 1:
        said = _("1 pack of {size} is needed to last until {reach}.")
    if found.entry.comes_in == 1:
        said = _("{number} more are needed to last until {reach}.")
        if found.packs == 1:
            said = _("1 more is needed to last until {reach}.")
    until = reach_words(found, clock_beside(plan, found.reach, today))
    size = found.entry.comes_in
    more = said.format(packs=found.packs, size=size, number=found.packs * size, reach=until)
    return last.format(day=day_words(found.order_by)) + " " + more


def reach_words(found: Stocked, at: str) -> str:
    """Name ``at``, until when what is to be ordered lasts: as a delivery where it is one."""
    if any(event.planned == found.reach for event in found.deliveries):
        return _("the delivery of {at}").format(at=at)
    return at


def delivery_words(found: Stocked, plan: Plan, now: Instant) -> list[str]:
    """Say what was to come and is not recorded, and what is planned to come."""
    lines = []
    if found.awaited is not None:
        lines.append(
            _("The delivery of {day} should have brought {number}; how many came is not recorded.").format(
                day=_day(found.awaited), number=brings(found.awaited, found.item)
            )
        )
    if found.delivery is not None:
        enough = _("What is left lasts until then.")
        if not found.lasts_to_delivery:
            enough = _("What is left does not last until then.")
        lines.append(
            _("The next delivery is planned for {at} and should bring {number}. {enough}").format(
                at=clock_beside(plan, found.delivery.planned, _today(plan, now)),
                number=brings(found.delivery, found.item),
                enough=enough,
            )
        )
    if found.delivery is not None and found.falls_short is not None:
        needed, until = found.falls_short
        lines.append(
            _(
                "It brings {number}; {needed} are needed until the delivery after it, {at}. Tell whoever orders it."
            ).format(
                number=brings(found.delivery, found.item),
                needed=needed,
                at=clock_beside(plan, until, _today(plan, now)),
            )
        )
    return lines


def act_words(standing: Standing, plan: Plan) -> str:
    """Say what to do about an item now; nothing where there is time."""
    call = call_words(plan.contacts["now"])
    if standing is Standing.COUNT:
        return _("Count what there is, and say so. If there is none: ask the pharmacy now, or call {now}.").format(
            now=call
        )
    if standing is Standing.LACKING:
        return _("Not enough for the next time that it is needed. Ask the pharmacy now, or call {now}.").format(
            now=call
        )
    return ""


def stock_lines(found: Stocked, plan: Plan, now: Instant) -> list[str]:
    """Say all that there is to say of an item after how many are left: what to do first."""
    lines = [
        act_words(found.standing(plan, now), plan),
        lasts_words(found, plan, now),
        order_words(found, plan, now),
        *delivery_words(found, plan, now),
        reckoned_words(found, plan, now),
    ]
    return [line for line in lines if line]


def short_stock_lines(found: Stocked, plan: Plan, now: Instant) -> list[str]:
    """Say the same as far as a pop-up holds it: what is left and until when, the last day to order, the delivery."""
    today = _today(plan, now)
    left = _left(found)
    if found.runs_out is None or found.runs_out <= now:
        lines = [_("{left}, as reckoned.").format(left=left)]
    else:
        out = plan.clock.local(found.runs_out)
        said = _("{left}, enough until {day}, {clock}.")
        if found.entry.kept_back:
            said = _("{left}; enough without those until {day}, {clock}.")
            if found.left <= found.entry.kept_back:
                said = _("{left}; more is needed {day}, {clock}.")
        lines = [said.format(left=left, day=_short(out.date()), clock=f"{out:%H:%M}")]
    if found.order_by is not None:
        said = _("Last day to order: {day}.") if found.order_by >= today else _("The last day to order was {day}.")
        lines.append(said.format(day=_short(found.order_by)))
    for event, said in (
        (found.awaited, _("The delivery of {day} should have brought {number}: what came?")),
        (found.delivery, _("The delivery of {day} should bring {number}.")),
    ):
        if event is not None:
            day = _short(event.plan.clock.local(event.planned).date())
            lines.append(said.format(day=day, number=brings(event, found.item)))
    return lines


def _short(day: date) -> str:
    """Write a date without its year, which goes without saying within the days of a pop-up."""
    return day_words(day).removesuffix(f" {day.year}")


def _day(event: TaskEvent) -> str:
    return day_words(event.plan.clock.local(event.planned).date())


def _today(plan: Plan, now: Instant) -> date:
    return plan.clock.local(now).date()
