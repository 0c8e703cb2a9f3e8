"""Cards of the page: one event that waits, or is to come, in words and with what can be pressed.

"Was it done?" stands before "do it now" (S13), and nothing about which somebody must be asked first has a plain button.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from reminders.care_words import doer_words, was_it_words
from reminders.event_words import ask_lines
from reminders.schedule.care_now import drawn_by_others
from reminders.schedule.model import BLOCKS, DoseState, Schedule, Touch, TouchKind
from reminders.times import Instant
from reminders.units import ago
from reminders.views import waiting_words as say
from reminders.views.waiting import IfNot, Wait, Waiting
from reminders.web import page_actions as can
from reminders.web.page_actions import Button, Link
from reminders.web.page_forms import fixed
from reminders.web.page_stops import Bar
from reminders.web.page_times import short_time
from reminders.words import CATALOGUE, call_words, nurse_only_line, timing_lines, what_words

_ = CATALOGUE.gettext


STILL_RUNS = _("As far as is recorded it still runs. Was it stopped, or has it finished? Then say so.")


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
    it. ``planned`` is a time to be chosen as it is: as it is said, and in words.
    """

    asks: str
    buttons: Sequence[Button]
    when: str = ""
    planned: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One thing that waits, runs or is wrong: ``tag`` says in a word what is the matter with it.

    ``call``: the tier of the contact who must be called; the number stands large. ``more`` are further buttons and links, folded away
    under ``more_words``. ``asked`` is what somebody can have said who was asked first. ``uid`` is the event whose steps
    it links to, in ``page_words``.
    """

    tone: Tone
    tag: str
    heading: str
    lines: Sequence[str] = ()
    forms: Sequence[Form] = ()
    more_words: str = ""
    buttons: Sequence[Button] = ()
    links: Sequence[Link] = ()
    asked: Sequence[Link] = ()
    call: str = ""
    uid: str = ""
    page_words: str = _("Steps, and what to lay out")


def event_card(found: Waiting, schedule: Schedule, now: Instant, bar: Bar | None) -> Card:
    """Return the card of an event that waits; ``bar``: why its lumen is barred, if it is."""
    touch = found.touch
    at = _planned(touch, schedule, now)
    what = what_words(touch, touch.plan)
    base = Card(tone=Tone.DUE, tag=_("Due"), heading=_heading(what, at), uid=touch.uid)
    base = _with_more(base, touch, schedule)
    if bar is not None and found.wait is not Wait.CLOSED:
        return _barred(base, touch, schedule, bar)
    if found.wait in (Wait.FLUSH, Wait.FLUSH_ASK):
        return _flush_card(base, found, schedule, now)
    if found.wait is Wait.CLOSED:
        lines = [_("Nothing is to be done with this lumen now.")]
        return _asking(replace(base, tone=Tone.CALM, tag=_("Not to be done now"), lines=lines, call=""), touch)
    if can.must_ask(touch):
        return _ask_first(base, found, schedule)
    if drawn_by_others(touch):
        return _drawn_card(base, found, schedule, now)
    if found.wait is Wait.DUE:
        forms = [Form("", can.done(touch, touch.plan), when="now")]
        return replace(base, lines=_dose_lines(touch, schedule, now), forms=forms)
    if found.wait is Wait.PAST_CUT_OFF:
        lines = [_("It is past its cut-off. {do}").format(do=say.past_cut_off_words(schedule.plan))]
        forms = _was_it_done(touch, schedule, now, _("Was it given?"))
        return replace(
            base, tone=Tone.ASK, tag=_("Not recorded, past its cut-off"), lines=lines, forms=forms, call="now"
        )
    if touch.kind is TouchKind.FINISH:
        return _finish_card(base, found, schedule, now)
    return _perhaps_card(base, found, schedule, now)


def planned_card(touch: Touch, schedule: Schedule, now: Instant, bar: Bar | None) -> Card:
    """Return the card of an event that does not wait: it is still to come, or its time has passed."""
    at = _planned(touch, schedule, now)
    base = Card(tone=Tone.CALM, tag="", heading=_heading(what_words(touch, touch.plan), at), uid=touch.uid)
    base = _with_more(base, touch, schedule)
    if bar is not None:
        return _barred(base, touch, schedule, bar)
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
    return short_time(schedule.plan, touch.planned, now)


def _with_more(card: Card, touch: Touch, schedule: Schedule) -> Card:
    buttons, links = can.besides(touch, schedule)
    return replace(card, more_words=_("Something else happened with it"), buttons=buttons, links=links)


def _dose_lines(touch: Touch, schedule: Schedule, now: Instant) -> list[str]:
    if touch.starts:
        return timing_lines(touch, schedule.plan)
    if touch.reason.deadline is not None and touch.kind is TouchKind.IDLE_FLUSH:
        by = short_time(schedule.plan, touch.reason.deadline, now)
        return [_("By {by} at the latest.").format(by=by)]
    return []


def _was_it_done(touch: Touch, schedule: Schedule, now: Instant, asks: str) -> list[Form]:
    """Ask whether an event was done: at its planned time, if that is past, or at another one."""
    then = can.done(touch, touch.plan, all_at_once=False)
    if touch.planned > now:
        return was_it_done(asks, [], then, "")
    as_planned = can.done(touch, touch.plan, when=fixed(touch.planned, schedule.plan.clock), all_at_once=False)
    return was_it_done(asks, as_planned, then, _planned(touch, schedule, now))


def was_it_done(asks: str, as_planned: Sequence[Button], then: Sequence[Button], planned: str) -> list[Form]:
    """Ask whether something was done, ``planned`` or at another time; none is taken for granted."""
    found = []
    if as_planned:
        words = _("Yes, {planned}, as planned: {done}").format(planned=planned, done="{done}")
        found.append(Form(asks, [reworded(button, words) for button in as_planned]))
        asks = _("Or at another time:")
    return [*found, Form(asks, [reworded(button, _("Yes, then: {done}")) for button in then], when="past")]


def reworded(button: Button, words: str) -> Button:
    """Return a button whose words are put into others, in small letters."""
    said = words.format(done=button.words[0].lower() + button.words[1:])
    return Button(said[0].upper() + said[1:], button.do)


def _drawn_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    """A planned draw that somebody from outside does: whoever is at home can say only whether they did it."""
    touch, plan = found.touch, schedule.plan
    task = touch.plan.tasks[touch.tasks[0]]
    asked, doer = was_it_words(task), doer_words(task)
    if found.wait is Wait.DUE:
        return replace(
            base, tag=_("Expected"), lines=[doer], forms=[Form(asked, can.done(touch, touch.plan), when="now")]
        )
    lines = [late_words(touch.planned, now), doer, say.not_made_up_words(plan)]
    return replace(base, tone=Tone.PERHAPS, tag=asked, lines=lines, forms=_was_it_done(touch, schedule, now, asked))


def late_words(planned: Instant, now: Instant) -> str:
    """Say how long ago something was planned."""
    late = _("{late} ago").format(late=ago(now - planned))
    return late[0].upper() + late[1:] + "."


def _perhaps_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    touch, plan = found.touch, schedule.plan
    forms = _was_it_done(touch, schedule, now, _("Was it done?"))
    lines = [late_words(touch.planned, now)]
    if found.if_not is IfNot.ASK:
        lines.append(say.not_made_up_words(plan))
    elif found.first is not None:
        lines.append(say.first_say_words(plan, found.first, now))
    else:
        asks = say.do_it_words(plan, found.until, now)
        forms.append(Form(asks, [reworded(button, _("Just now: {done}")) for button in can.done(touch, touch.plan)]))
    return replace(base, tone=Tone.PERHAPS, tag=_("Was it done?"), lines=lines, forms=forms)


def _finish_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    """An infusion that should have finished: an empty bag lets the lumen clot, so this is urgent (R15)."""
    touch = found.touch
    late = ago(now - touch.planned)
    lines = [_("That was {ago} ago. Has it finished? {why}").format(ago=late, why=say.EMPTY_BAG)]
    forms = [*_was_it_done(touch, schedule, now, _("Has it finished?")), just_now(can.done(touch, touch.plan))]
    return replace(base, tone=Tone.URGENT, tag=_("Should have finished"), lines=lines, forms=forms)


def just_now(buttons: Sequence[Button]) -> Form:
    """Return the form that says of something overdue that it was done this minute."""
    return Form(_("Or this minute:"), [reworded(button, _("Just now: {done}")) for button in buttons])


def _flush_card(base: Card, found: Waiting, schedule: Schedule, now: Instant) -> Card:
    touch, plan = found.touch, schedule.plan
    was = say.unflushed_words(plan, what_words(touch, touch.plan), touch.at, now)
    base = replace(base, tone=Tone.URGENT, tag=_("FLUSH NOW"), heading=was[0].upper() + was[1:])
    if found.wait is Wait.FLUSH_ASK:
        line = (
            nurse_only_line(plan) if touch.nurse_only else _("Ask {now}.").format(now=call_words(plan.contacts["now"]))
        )
        return _asking(replace(base, tag=_("Not flushed: ask first"), lines=[line]), touch, schedule)
    planned = fixed(touch.at, schedule.plan.clock), short_time(plan, touch.at, now)
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
    shut = touch.nurse_only or any(ask.why in BLOCKS for ask in touch.asks)
    asked = can.after_asking(touch) if schedule is not None and not shut else []
    plain = can.at_another_time(touch, touch.plan)
    return replace(
        card, lines=lines, forms=(), more_words=_("It was done all the same, or something else happened"),
        links=list(dict.fromkeys([*plain, *card.links])), asked=asked, call="now" if schedule is not None else "",
    )  # fmt: skip


def _barred(card: Card, touch: Touch, schedule: Schedule, bar: Bar) -> Card:
    """Offer no plain button on a lumen that is well, while something else is wrong with the line."""
    card = replace(card, tone=Tone.ASK, tag=_("STOP") if bar.whole else _("ASK FIRST"), lines=bar.lines)
    runs = [dose for dose in touch.ends if dose.state is DoseState.RUNNING]
    if not runs:
        card = _asking(card, touch, schedule)
        return replace(card, asked=(), call="") if bar.whole else card
    lines = [*bar.lines, STILL_RUNS]
    links = dict.fromkeys([*can.at_another_time(touch, touch.plan), *card.links])
    return replace(card, lines=lines, more_words="", buttons=(), links=list(links), call="" if bar.whole else "now")
