"""The words of a pop-up: short, readable at a glance, and discreet where the plan says so (R26, R27)."""

from collections.abc import Sequence
from dataclasses import dataclass

from reminders.care_words import ask_dose_words, tied_words, was_it_words, with_doer_words
from reminders.fact_words import DRESSING_WORDS
from reminders.plan.model import Plan, Reveals
from reminders.popups.texts import clipped, units
from reminders.record.facts import Fact
from reminders.reminding.decide import Item, Notice
from reminders.reminding.matters import Matter, Sort
from reminders.reminding.moments import Stage
from reminders.schedule.care_now import drawn_by_others
from reminders.schedule.model import Schedule, TaskEvent, Touch
from reminders.schedule.stock import Standing, Stocked
from reminders.schedule.whole_line import named
from reminders.stock_words import act_words, short_stock_lines
from reminders.times import Instant
from reminders.units import ago, span
from reminders.words import CATALOGUE, call_words, clock_beside, lumen_words, what_words

_ = CATALOGUE.gettext

SHOWN = 3
"""So many things are named in one pop-up; the others are counted."""

LONGEST_TITLE, LONGEST_BODY = 63, 255
"""UTF-16 units that every system shows (the fields of Windows' tray messages hold no more)."""


@dataclass(frozen=True, slots=True)
class Text:
    """What a pop-up says."""

    title: str
    body: str


def text_of(notice: Notice, schedule: Schedule, now: Instant) -> Text:
    """Word a notice as it is at ``now``."""
    plan = schedule.plan
    hidden = discreet(plan)
    if not hidden and (orders := [item.matter.stocked for item in notice.items if item.matter.stocked is not None]):
        return _order_text(orders, plan, now)
    title = _discreet_title(notice) if hidden else _title(notice, plan, now)
    body = clipped(_discreet_body(notice, plan, now), LONGEST_BODY) if hidden else _body(notice, plan, now)
    return Text(clipped(title, LONGEST_TITLE), body)


def discreet(plan: Plan) -> bool:
    """Say whether a pop-up must tell a stranger nothing."""
    if plan.pop_ups.discreet is not None:
        return plan.pop_ups.discreet
    return plan.calendar.reveals is not Reveals.EVERYTHING


def _title(notice: Notice, plan: Plan, now: Instant) -> str:
    """Say what one matter is about; of several whether they may have been done, are to be done, or lie ahead (S13)."""
    items, count = notice.items, len(notice.items)
    if count == 1:
        return heading(items[0], plan, now)
    if notice.late:
        late = now - min(item.matter.at for item in items)
        return _("{count} things to answer, the first {late} late").format(count=count, late=ago(late))
    if any(now > item.matter.at for item in items):
        return _("{count} things: were they done?").format(count=count)
    if all(item.telling.stage is Stage.AHEAD for item in items):
        return _("{count} things soon").format(count=count)
    if any(item.telling.stage is Stage.AHEAD for item in items):
        return _("{count} things, now and soon").format(count=count)
    return _("{count} things now").format(count=count)


def heading(item: Item, plan: Plan, now: Instant) -> str:
    """Say in a few words what one matter is about, most important word first."""
    matter = item.matter
    if matter.stocked is not None:
        return _order_heading(matter.stocked, plan, now)
    if matter.task is not None:
        return _task_heading(item, matter.task, now)
    if matter.sign is not None:
        return _("Did you call? {sign}").format(sign=_dressing(matter.sign))
    lumen = lumen_words(plan, matter.lumen)
    if matter.sort is Sort.LIMIT:
        return _("Was the {lumen} flushed?").format(lumen=lumen)
    if matter.dose is not None:
        drug = plan.orders[matter.dose.order].drug
        asked = (
            _("Was it stopped? {lumen}, {drug}")
            if matter.sort is Sort.NOT_STOPPED
            else _("Does it run again? {lumen}, {drug}")
        )
        return asked.format(lumen=lumen, drug=drug)
    assert matter.touch is not None, "every other matter is about an event"
    what = what_words(matter.touch, matter.touch.plan)
    if matter.sort is Sort.FLUSH:
        return _("FLUSH NOW: {lumen}").format(lumen=lumen)
    if matter.sort is Sort.CLOSED:
        return _("Do not use the {lumen}").format(lumen=lumen)
    if matter.sort is Sort.ASK_FIRST:
        return _("ASK FIRST: {lumen}, {what}").format(lumen=lumen, what=what)
    if matter.sort is Sort.MAYBE_FINISH:
        return _("If it was started: {lumen}, {what}").format(lumen=lumen, what=what)
    if item.telling.stage is Stage.AHEAD:
        return _("In {time}: {lumen}, {what}").format(time=span(max(0, matter.at - now)), lumen=lumen, what=what)
    if matter.sort is Sort.FINISH and now > matter.at:
        return _("Has it finished? {lumen}, {what}").format(lumen=lumen, what=what)
    if item.telling.stage is Stage.AGAIN or now > matter.at:
        asked = _asked(matter.touch)
        return _("{asked} {lumen}, {what}").format(asked=asked, lumen=lumen, what=what)
    return _("Now: {lumen}, {what}").format(lumen=lumen, what=what)


def _dressing(sign: Fact) -> str:
    words = DRESSING_WORDS[named(sign)]
    return words[0].upper() + words[1:]


def _asked(touch: Touch) -> str:
    """Ask whether an event was done; of a draw, as the household can know it."""
    if drawn_by_others(touch):
        return was_it_words(touch.plan.tasks[touch.tasks[0]])
    return _("Was it done?")


def _task_heading(item: Item, event: TaskEvent, now: Instant) -> str:
    """Say in a few words what a care task is about."""
    matter, label = item.matter, event.care.label
    if matter.sort is Sort.ASK_FIRST:
        return _("ASK FIRST: {what}").format(what=label)
    if item.telling.stage is Stage.AHEAD:
        time = span(max(0, event.planned - now))
        return _("In {time}: {what}").format(time=time, what=with_doer_words(event.care))
    if item.telling.stage is Stage.AGAIN or now > matter.at:
        return _("{asked} {what}").format(asked=was_it_words(event.care), what=label)
    return _("Now: {what}").format(what=with_doer_words(event.care))


def _order_heading(entry: Stocked, plan: Plan, now: Instant) -> str:
    """Say in a few words what is to be done about an item of supply."""
    standing = entry.standing(plan, now)
    if standing is Standing.COUNT:
        return _("Count now: {item}").format(item=entry.item)
    if standing is Standing.LACKING:
        return _("ASK THE PHARMACY NOW: {item}").format(item=entry.item)
    if entry.lasts_to_delivery:
        return _("Is it ordered? {item}").format(item=entry.item)
    if standing is Standing.LATE:
        return _("Order now: {item}").format(item=entry.item)
    if standing is Standing.TODAY:
        return _("Order today: {item}").format(item=entry.item)
    return _("Order by tomorrow: {item}").format(item=entry.item)


def _order_text(orders: Sequence[Stocked], plan: Plan, now: Instant) -> Text:
    """Say what must be ordered, what is left of it, and until when that lasts."""
    pressing = sorted(orders, key=lambda entry: entry.standing(plan, now))
    first = pressing[0]
    if len(orders) == 1:
        title = _order_heading(first, plan, now)
        lines = short_stock_lines(first, plan, now)
    else:
        title = _("{count} items to order").format(count=len(orders))
        if first.standing(plan, now) <= Standing.LACKING:
            title = _("ASK THE PHARMACY NOW: {item}, and {count} more").format(item=first.item, count=len(orders) - 1)
        lines = [
            _("{item}: {state}").format(item=entry.item, state=short_stock_lines(entry, plan, now)[0])
            for entry in pressing[:SHOWN]
        ]
        if len(orders) > SHOWN:
            lines.append(_("and {count} more").format(count=len(orders) - SHOWN))
    do = act_words(first.standing(plan, now), plan)
    do = do or _("Order from {provider}, or say on the page what came.").format(provider=plan.protocol.provider)
    body = clipped("\n".join(lines), max(20, LONGEST_BODY - units(do) - 1))
    return Text(clipped(title, LONGEST_TITLE), clipped("\n".join([body, do]), LONGEST_BODY))


def _body(notice: Notice, plan: Plan, now: Instant) -> str:
    lines = _repeated(notice.items)
    caution = _caution(notice, plan)
    if len(notice.items) == 1:
        lines += _about(notice.items[0].matter, plan, now)
    else:
        pressing = sorted(notice.items, key=_pressing)
        lines += [_entry(item, plan, now) for item in pressing[:SHOWN]]
        if len(pressing) > SHOWN:
            lines.append(_("and {count} more").format(count=len(pressing) - SHOWN))
        if any(now > item.matter.at for item in notice.items):
            caution = "\n".join([_("Done? Say so on the page first."), caution])
    # Whatever is cut, the question and the caution are not (S13, R27).
    return clipped(
        "\n".join([clipped("\n".join(lines), max(20, LONGEST_BODY - units(caution) - 1)), caution]), LONGEST_BODY
    )


def _pressing(item: Item) -> tuple[int, Instant]:
    """Put first what is worst to overlook, and of that what is due last: it may still be done."""
    order = (Sort.FLUSH, Sort.NOT_STOPPED, Sort.FINISH, Sort.LIMIT)
    sort = item.matter.sort
    rank = order.index(sort) if sort in order else len(order) + (not item.telling.urgent)
    return rank, Instant(-item.matter.at)


def _repeated(items: Sequence[Item]) -> list[str]:
    """Say of what may have been shown before a crash that this is so."""
    return [_("(Perhaps told already.)")] if any(item.repeated for item in items) else []


def _entry(item: Item, plan: Plan, now: Instant) -> str:
    matter = item.matter
    day = plan.clock.local(now).date()
    at = clock_beside(plan, matter.at if matter.task is None else matter.task.planned, day)
    late = _(" ({late} ago)").format(late=ago(now - matter.at)) if now > matter.at else ""
    return f"{at}{late}: {_named(matter, plan)}"


def _named(matter: Matter, plan: Plan) -> str:
    if matter.task is not None:
        mark = _("ASK FIRST: ") if matter.sort is Sort.ASK_FIRST else ""
        return f"{mark}{with_doer_words(matter.task.care)}"
    if matter.sign is not None:
        return DRESSING_WORDS[named(matter.sign)]
    lumen = lumen_words(plan, matter.lumen)
    if matter.dose is not None:
        asked = (
            _("was it stopped? {lumen}, {drug}")
            if matter.sort is Sort.NOT_STOPPED
            else _("does it run again? {lumen}, {drug}")
        )
        return asked.format(lumen=lumen, drug=plan.orders[matter.dose.order].drug)
    if matter.touch is None:
        return _("{lumen}, its limit passed").format(lumen=lumen)
    mark = {
        Sort.ASK_FIRST: _("ASK FIRST: "),
        Sort.CLOSED: _("DO NOT USE: "),
        Sort.FLUSH: _("FLUSH NOW: "),
        Sort.FINISH: _("has it finished? "),
        Sort.MAYBE_FINISH: _("if it was started: "),
    }.get(matter.sort, "")
    return f"{mark}{lumen}, {what_words(matter.touch, matter.touch.plan)}"


def _about(matter: Matter, plan: Plan, now: Instant) -> list[str]:
    """Say when one matter is due, how late that is, and what to ask or look at first."""
    if matter.task is not None:
        return _about_task(matter, matter.task, plan, now)
    if matter.sign is not None:
        return [
            _("Since {at}. Call {call} today; say on the page when it is changed, or what you were told.").format(
                at=clock_beside(plan, matter.sign.happened, plan.clock.local(now).date()),
                call=call_words(plan.contacts.get("same_day", plan.contacts["now"])),
            )
        ]
    day = plan.clock.local(now).date()
    at = clock_beside(plan, matter.at, day)
    if matter.sort is Sort.LIMIT:
        return [
            _("Its limit passed at {at}; the last flush that is known was {since}. Record it, or ask.").format(
                at=at, since=clock_beside(plan, matter.since or matter.at, day)
            )
        ]
    since = "" if matter.since is None else clock_beside(plan, matter.since, day)
    if matter.sort is Sort.NOT_STOPPED:
        return [
            _("This lumen must not be used since {since}. Stop the infusion and clamp, then say so.").format(
                since=since
            )
        ]
    if matter.sort is Sort.STANDING:
        return [
            _("It stands since {since}; a standing infusion lets the lumen clot. Say whether it runs again.").format(
                since=since
            )
        ]
    late = now - matter.at
    when = at if late <= 0 else _("{at}, {late} ago").format(at=at, late=ago(late))
    if matter.sort is Sort.MAYBE_FINISH:
        return [_("{when}. If it was started, it should finish now. No start is recorded.").format(when=when)]
    if matter.sort is Sort.FINISH and late > 0:
        return [_("{when}. An empty bag lets the lumen clot.").format(when=when)]
    if matter.sort is Sort.FLUSH:
        return [_("Not flushed since {when}, as far as is recorded.").format(when=when)]
    if matter.sort is Sort.CLOSED:
        return [_("{when}: not to be done now.").format(when=when)]
    if matter.sort is Sort.OTHERS and late > 0:
        return [_("{when}. If so, record it.").format(when=when)]
    if matter.sort is Sort.EVENT and late > 0:
        return [_("{when}. Record it; only if it was not done, look on the page.").format(when=when)]
    return [_("{when}.").format(when=when)]


def _about_task(matter: Matter, event: TaskEvent, plan: Plan, now: Instant) -> list[str]:
    """Say when a care task is due, with what it goes, and what to say of it."""
    day = plan.clock.local(now).date()
    when, late = clock_beside(plan, event.planned, day), now - event.planned
    if late > 0:
        when = _("{at}, {late} ago").format(at=when, late=ago(late))
    lines = [f"{when}."]
    if matter.sort is Sort.ASK_FIRST:
        return [*lines, ask_dose_words(event, plan, shut=False)]
    if event.dose is not None:
        lines.append(tied_words(event, day))
    if now > matter.at:
        lines.append(_("Record it; if it was not done, look on the page."))
    return lines


def _caution(notice: Notice, plan: Plan) -> str:
    """Say when to stop and whom to call, in one breath (R27); all cautions are on the page, one click away."""
    call = call_words(plan.contacts["now"])
    if all(_stops_nothing(item.matter) for item in notice.items):
        return _("Something does not look right? Call {call}. Your provider's word goes first.").format(call=call)
    if any(item.matter.sort in (Sort.ASK_FIRST, Sort.CLOSED, Sort.NOT_STOPPED) for item in notice.items):
        return _("Call {call} first.").format(call=call)
    return _(
        "STOP, clamp, call {call} if it will not flush, hurts, swells or leaks. Your provider's word goes first."
    ).format(call=call)


def _stops_nothing(matter: Matter) -> bool:
    """Say whether nothing of what a matter is about is done to a lumen."""
    return matter.sign is not None or (matter.task is not None and matter.sort is not Sort.ASK_FIRST)


def _discreet_title(notice: Notice) -> str:
    return _("Reminder, urgent") if notice.urgent else _("Reminder")


def _discreet_body(notice: Notice, plan: Plan, now: Instant) -> str:
    day = plan.clock.local(now).date()
    matter = notice.items[0].matter
    first = now if matter.sort is Sort.ORDER else matter.at
    lines = _repeated(notice.items)
    if len(notice.items) > 1:
        lines.append(
            _("{count} reminders, the first of {at}.").format(
                count=len(notice.items), at=clock_beside(plan, first, day)
            )
        )
    else:
        lines.append(clock_beside(plan, first, day) + ".")
    return "\n".join([*lines, _("See your page.")])
