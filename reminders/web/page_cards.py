"""Cards of the page: one event that waits, or is to come, in words and with what can be pressed.

"Was it done?" stands before "do it now" (S13), and nothing about which somebody must be asked first has a plain button.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from reminders.event_words import ask_lines
from reminders.schedule.model import Schedule, Touch, TouchKind
from reminders.times import Instant
from reminders.units import ago
from reminders.views.waiting import IfNot, Wait, Waiting
from reminders.web import page_actions as can
from reminders.web.page_actions import Button, Link
from reminders.web.page_forms import fixed
from reminders.words import CATALOGUE, call_words, clock_beside, nurse_only_line, timing_lines, what_words

_ = CATALOGUE.gettext


class Tone(IntEnum):
    """How pressing a card is; the least number first."""

    STOP = 0
    URGENT = 1
    ASK = 2
    PERHAPS = 3
    DUE = 4
    RUNS = 5
    CALM = 6


@dataclass(frozen=True, slots=True)
class Form:
    """One form on a card: what it asks, what can be pressed, and how the time is said.

    ``when``: "now" for now unless another time is chosen; "past" where none is taken for granted; "" where the buttons hold
    it. ``planned`` is the planned time, to be chosen as it is: as it is said, and in words.
    """

    asks: str
    buttons: Sequence[Button]
    when: str = ""
    planned: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One thing that waits, runs or is wrong: ``tag`` says in a word what is the matter with it.

    ``call``: somebody must be called, and the number stands large. ``more`` are further buttons and links, folded away
    under ``more_words``. ``uid`` is the event whose steps it links to.
    """

    tone: Tone
    tag: str
    heading: str
    lines: Sequence[str] = ()
    forms: Sequence[Form] = ()
    more_words: str = ""
    buttons: Sequence[Button] = ()
    links: Sequence[Link] = ()
    call: bool = False
    uid: str = ""


def event_card(found: Waiting, schedule: Schedule, now: Instant) -> Card:
    """Return the card of an event that waits."""
    touch = found.touch
    at = _planned(touch, schedule, now)
    what = what_words(touch, touch.plan)
    base = Card(tone=Tone.DUE, tag=_("Due"), heading=_heading(what, at), uid=touch.uid)
    base = _with_more(base, touch, schedule)
    if found.wait in (Wait.FLUSH, Wait.FLUSH_ASK):
        return _flush_card(base, found, schedule, now)
    if found.wait is Wait.CLOSED:
        lines = [_("Nothing is to be done with this lumen now.")]
        return _asking(replace(base, tone=Tone.CALM, tag=_("Not to be done now"), lines=lines, call=False), touch)
    if can.must_ask(touch):
        return _ask_first(base, found, schedule)
    if found.wait is Wait.DUE:
        forms = [Form("", can.done(touch, touch.plan), when="now")]
        return replace(base, lines=_dose_lines(touch, schedule), forms=forms)
    if found.wait is Wait.PAST_CUT_OFF:
        call = call_words(schedule.plan.contacts["now"])
        lines = [_("It is past its cut-off. It may have been given. Call {now} before you give it.").format(now=call)]
        forms = _was_it_done(touch, schedule, now, _("Was it given?"))
        return replace(
            base, tone=Tone.ASK, tag=_("Not recorded, past its cut-off"), lines=lines, forms=forms, call=True
        )
    if touch.kind is TouchKind.FINISH:
        return _finish_card(base, found, schedule, now)
    return _perhaps_card(base, found, schedule, now)


def planned_card(touch: Touch, schedule: Schedule, now: Instant) -> Card:
    """Return the card of an event that does not wait: it is still to come, or its time has passed."""
    at = _planned(touch, schedule, now)
    base = Card(tone=Tone.CALM, tag="", heading=_heading(what_words(touch, touch.plan), at), uid=touch.uid)
    base = _with_more(base, touch, schedule)
    if can.must_ask(touch):
        return _asking(base, touch, schedule)
    if touch.planned > now:
        words = _("It was done early")
        buttons = can.done(touch, touch.plan, all_at_once=False)
        return replace(base, more_words=words, buttons=[*buttons, *base.buttons])
    return replace(base, forms=_was_it_done(touch, schedule, now, _("Was it done?")))


def _heading(what: str, at: str) -> str:
    said = _("{what}, {at}").format(what=what, at=at)
    return said[0].upper() + said[1:]


def _planned(touch: Touch, schedule: Schedule, now: Instant) -> str:
    return clock_beside(schedule.plan, touch.planned, schedule.plan.clock.local(now).date())


def _with_more(card: Card, touch: Touch, schedule: Schedule) -> Card:
    buttons, links = can.besides(touch, schedule)
    return replace(card, more_words=_("Something else happened with it"), buttons=buttons, links=links)


def _dose_lines(touch: Touch, schedule: Schedule) -> list[str]:
    if touch.starts:
        return timing_lines(touch, schedule.plan)
    if touch.reason.deadline is not None and touch.kind is TouchKind.IDLE_FLUSH:
        day = schedule.plan.clock.local(touch.at).date()
        by = clock_beside(schedule.plan, touch.reason.deadline, day)
        return [_("By {by} at the latest.").format(by=by)]
    return []


def _was_it_done(touch: Touch, schedule: Schedule, now: Instant, asks: str) -> list[Form]:
    """Ask whether something was done; no time is taken for granted."""
    planned, plan = fixed(touch.planned, schedule.plan.clock), touch.plan
    as_planned = _("Yes, at {planned}, as planned: {done}")
    at = _planned(touch, schedule, now)
    found = []
    if touch.planned <= now:
        buttons = can.done(touch, plan, when=planned, all_at_once=False)
        found.append(
            Form(asks, [_reworded(button, as_planned.format(planned=at, done="{done}")) for button in buttons])
        )
        asks = _("Or at another time:")
    buttons = can.done(touch, plan, all_at_once=False)
    found.append(Form(asks, [_reworded(button, _("Yes, then: {done}")) for button in buttons], when="past"))
    return found


def _reworded(button: Button, words: str) -> Button:
    said = words.format(done=button.words[0].lower() + button.words[1:])
    return Button(said[0].upper() + said[1:], button.do)


def _perhaps_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    touch, plan = found.touch, schedule.plan
    call = call_words(plan.contacts["now"])
    late = _("{late} ago").format(late=ago(now - touch.planned))
    forms = _was_it_done(touch, schedule, now, _("Was it done?"))
    lines = [late[0].upper() + late[1:] + "."]
    if found.if_not is IfNot.ASK:
        lines.append(_("If it was not done, do not make it up: ask {now}.").format(now=call))
    else:
        asks = _("Only if it was not done, do it now.")
        if found.until is not None:
            until = clock_beside(plan, found.until, plan.clock.local(now).date())
            asks = _("Only if it was not given: it may be started late until {until}; after that call {now} first.")
            asks = asks.format(until=until, now=call)
        forms.append(Form(asks, [_reworded(button, _("Just now: {done}")) for button in can.done(touch, touch.plan)]))
    return replace(base, tone=Tone.PERHAPS, tag=_("Was it done?"), lines=lines, forms=forms)


def _finish_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    """An infusion that should have finished: an empty bag lets the lumen clot, so this is urgent (R15)."""
    touch = found.touch
    lines = [
        _("That was {ago} ago. Has it finished? An empty bag lets the lumen clot.").format(ago=ago(now - touch.planned))
    ]
    planned = fixed(touch.planned, schedule.plan.clock), _planned(touch, schedule, now)
    forms = [Form(_("It has finished:"), can.done(touch, touch.plan), when="now", planned=planned)]
    return replace(base, tone=Tone.URGENT, tag=_("Should have finished"), lines=lines, forms=forms)


def _flush_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    touch, plan = found.touch, schedule.plan
    day = plan.clock.local(now).date()
    was = _("{what} was at {at}, and no flush is recorded since.").format(
        what=what_words(touch, touch.plan), at=clock_beside(plan, touch.at, day)
    )
    base = replace(base, tone=Tone.URGENT, tag=_("FLUSH NOW"), heading=was[0].upper() + was[1:])
    if found.wait is Wait.FLUSH_ASK:
        line = (
            nurse_only_line(plan) if touch.nurse_only else _("Ask {now}.").format(now=call_words(plan.contacts["now"]))
        )
        return _asking(replace(base, tag=_("Not flushed: ask first"), lines=[line]), touch, schedule)
    planned = fixed(touch.at, schedule.plan.clock), clock_beside(plan, touch.at, day)
    return replace(base, forms=[Form("", can.done(touch, plan), when="now", planned=planned)])


def _ask_first(base: Card, found: Waiting, schedule: Schedule) -> Card:
    touch = found.touch
    tag = _("For the nurse only") if touch.nurse_only else _("ASK FIRST")
    return _asking(replace(base, tone=Tone.ASK, tag=tag), touch, schedule)


def _asking(card: Card, touch: Touch, schedule: Schedule | None = None) -> Card:
    """Offer no plain button: only that it was done after somebody was asked, or all the same."""
    lines = list(card.lines)
    if schedule is not None:
        lines = [*ask_lines(touch, schedule.plan), *lines]
        if touch.nurse_only and nurse_only_line(schedule.plan) not in lines:
            lines.append(nurse_only_line(schedule.plan))
    asked = can.at_another_time(touch, touch.plan, asked="yes") if touch.starts else []
    plain = can.at_another_time(touch, touch.plan)
    links = [*asked, *plain, *card.links]
    return replace(
        card, lines=lines, forms=(), more_words=_("It was done all the same, or something else happened"),
        links=list(dict.fromkeys(links)), call=schedule is not None,
    )  # fmt: skip
