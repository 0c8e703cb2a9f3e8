"""What can have happened with one event, infusion or lumen, as buttons and links of the page.

A button holds what it says as the fields of a report; pressing it is the whole report. What needs more words than a press
(a later time, a volume, a name) is a link to the form that asks for them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from reminders.plan.care import TaskKind
from reminders.plan.model import FluidKind, Plan
from reminders.plan.order import GivenAs
from reminders.record.facts import Sign
from reminders.saying.phrases import Verb
from reminders.schedule.care_now import drawn_by_others
from reminders.schedule.model import Dose, DoseState, Schedule, Touch, TouchKind
from reminders.schedule.steps import FLUIDS
from reminders.web.page_frame import query
from reminders.words import CATALOGUE, lumen_words

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True)
class Button:
    """What is pressed to say something: its words, and the report's fields in one text."""

    words: str
    do: str


@dataclass(frozen=True, slots=True)
class Link:
    """A way to another page of ours."""

    words: str
    address: str


def button(words: str, verb: Verb, **fields: str) -> Button:
    """Return a button that says ``verb`` of what the other fields name."""
    return Button(words, urlencode({"verb": verb.value, **{name: value for name, value in fields.items() if value}}))


def form_link(words: str, verb: Verb, **fields: str) -> Link:
    """Return a link to the form that says ``verb``, with what is known already."""
    return Link(words, query("say", verb=verb.value, **fields))


def done(touch: Touch, plan: Plan, *, when: str = "", all_at_once: bool = True) -> list[Button]:
    """Return what says that an event was done, the whole of it first; ``when`` if that is not to be said apart.

    ``all_at_once``: the event waits now, so that what it consists of can be said together.
    """
    if touch.outstanding:
        return [button(_("Flushed"), Verb.FLUSHED, lumen=touch.lumen, when=when)]
    ends = [dose for dose in touch.ends if dose.finished is None]
    starts = [dose for dose in touch.starts if dose.started is None]
    found: list[Button] = []
    draws = draws_left(touch)
    many = len(starts) + len(touch.bags) + len(ends) + len(draws) > 1
    if all_at_once and many and touch.kind is not TouchKind.FINISH:
        found.append(
            button(_("All of it was done"), Verb.DONE, flushed="yes" if draws else "", event=touch.uid, when=when)
        )
    flushed = touch.kind is TouchKind.FINISH and any(step.action in FLUIDS for step in touch.steps)
    found += _drawn(touch, draws, named=many, when=when)
    for dose in ends:
        found += _finished(dose, plan, flushed=flushed, named=many, when=when)
    for dose in starts:
        push = plan.orders[dose.order].given_as is GivenAs.PUSH
        words = _("{drug} given") if push else _("{drug} started")
        alone = _("Given") if push else _("Started")
        found.append(_of_dose(_named(words, alone, dose, plan, many), Verb.STARTED, dose, when=when))
    for dose in touch.bags:
        words = _named(_("Bag of {drug} changed"), _("Bag changed"), dose, plan, many)
        found.append(_of_dose(words, Verb.BAG_CHANGED, dose, when=when))
    if touch.kind is TouchKind.IDLE_FLUSH:
        found.append(button(_("Flushed"), Verb.FLUSHED, lumen=touch.lumen, when=when))
    return found


def _finished(dose: Dose, plan: Plan, *, flushed: bool, named: bool, when: str) -> Iterator[Button]:
    if flushed:
        words = _named(_("{drug} finished, and flushed"), _("Finished and flushed"), dose, plan, named)
        yield _of_dose(words, Verb.FINISHED, dose, flushed="yes", when=when)
        words = _named(_("{drug} finished, not flushed yet"), _("Finished, not flushed yet"), dose, plan, named)
    else:
        words = _named(_("{drug} finished"), _("Finished"), dose, plan, named)
    yield _of_dose(words, Verb.FINISHED, dose, when=when)


def draws_left(touch: Touch) -> tuple[str, ...]:
    """Return the planned draws of an event that are still to be done, by the names of their tasks."""
    return touch.tasks if touch.outcome is None else ()


def _drawn(touch: Touch, draws: Sequence[str], *, named: bool, when: str) -> Iterator[Button]:
    """Yield what says that blood was drawn; with the flush that follows it, where nothing starts instead."""
    for name in draws:
        label = touch.plan.tasks[name].label
        told = {"name": name, "lumen": touch.lumen, "when": when}
        if touch.kind is TouchKind.DRAW:
            words = _("{label}: drawn and flushed").format(label=label) if named else _("Drawn and flushed")
            yield button(words, Verb.TASK_DONE, flushed="yes", **told)
            words = _("{label}: drawn, not flushed yet").format(label=label) if named else _("Drawn, not flushed yet")
            yield button(words, Verb.TASK_DONE, **told)
        else:
            yield button(_("{label}: drawn").format(label=label), Verb.TASK_DONE, **told)


def task_moved(uid: str, name: str, label: str = "") -> list[Link]:
    """Return the forms that put off one time of a care task, or leave it out; ``label`` where there are several."""
    put_off, left_out = _("Put off to another time"), _("Not this time")
    if label:
        put_off = _("{label}: put off to another time").format(label=label)
        left_out = _("{label}: not this time").format(label=label)
    return [
        form_link(put_off, Verb.TASK_PUT_OFF, name=name, event=uid),
        form_link(left_out, Verb.TASK_SKIPPED, name=name, event=uid),
    ]


def _named(words: str, alone: str, dose: Dose, plan: Plan, named: bool) -> str:
    drug = plan.orders[dose.order].drug
    return words.format(drug=drug) if named else alone


def _of_dose(words: str, verb: Verb, dose: Dose, **fields: str) -> Button:
    return button(words, verb, order=dose.order, dose=dose.key, **fields)


def at_another_time(touch: Touch, plan: Plan) -> list[Link]:
    """Return the forms that say that an event was done, at a time that must be said."""
    links = []
    for dose in touch.starts:
        if dose.started is None:
            words = _("{drug} was started").format(drug=plan.orders[dose.order].drug)
            links.append(_dose_link(words, Verb.STARTED, dose, past="yes"))
    for dose in touch.ends:
        if dose.finished is None:
            words = _("{drug} has finished").format(drug=plan.orders[dose.order].drug)
            links.append(_dose_link(words, Verb.FINISHED, dose, past="yes"))
    for name in draws_left(touch):
        words = _("Blood was drawn: {label}").format(label=plan.tasks[name].label)
        links.append(form_link(words, Verb.TASK_DONE, name=name, lumen=touch.lumen, past="yes"))
    for dose in touch.bags:
        words = _("The bag of {drug} was changed").format(drug=plan.orders[dose.order].drug)
        links.append(_dose_link(words, Verb.BAG_CHANGED, dose, past="yes"))
    if touch.outstanding or touch.kind is TouchKind.IDLE_FLUSH:
        words = _("The {lumen} was flushed").format(lumen=lumen_words(plan, touch.lumen))
        links.append(form_link(words, Verb.FLUSHED, lumen=touch.lumen, past="yes"))
    return links


def after_asking(touch: Touch) -> list[Link]:
    """Return the forms that say what somebody answered who was asked before an event; each wants to know who that was."""
    plan = touch.plan
    starts = [dose for dose in touch.starts if dose.started is None]
    links = []
    for dose in starts:
        allowed, put_off, left_out = _("It may be started"), _("It is put off"), _("It is left out")
        if len(starts) > 1:
            drug = plan.orders[dose.order].drug
            allowed = _("{drug}: it may be started").format(drug=drug)
            put_off = _("{drug}: it is put off").format(drug=drug)
            left_out = _("{drug}: it is left out").format(drug=drug)
        links += [
            _dose_link(allowed, Verb.STARTED, dose, asked="yes"),
            _dose_link(put_off, Verb.DELAYED, dose, asked="yes"),
            _dose_link(left_out, Verb.SKIPPED, dose),
        ]
    if touch.kind is TouchKind.IDLE_FLUSH and touch.outcome is None and not touch.outstanding:
        links += [
            form_link(_("It may be flushed"), Verb.FLUSHED, lumen=touch.lumen),
            form_link(_("It is left out"), Verb.SKIPPED, lumen=touch.lumen),
        ]
    return links


def besides(touch: Touch, schedule: Schedule) -> tuple[list[Button], list[Link]]:
    """Return what else can have happened with an event: not given, put off, left out, gone wrong."""
    plan = touch.plan
    buttons: list[Button] = []
    links: list[Link] = []
    for dose in touch.starts:
        if dose.started is not None:
            continue
        drug = plan.orders[dose.order].drug
        if dose.state is not DoseState.NOT_GIVEN:
            buttons.append(_of_dose(_("{drug}: not given").format(drug=drug), Verb.NOT_GIVEN, dose))
        links += [
            _dose_link(_("{drug}: put off to a later time").format(drug=drug), Verb.DELAYED, dose),
            _dose_link(_("{drug}: left out, as a clinician said").format(drug=drug), Verb.SKIPPED, dose),
            _dose_link(_("{drug}: given elsewhere").format(drug=drug), Verb.ELSEWHERE, dose),
        ]
    for dose in touch.ends:
        if dose.state is DoseState.RUNNING:
            more_buttons, more_links = while_it_runs(dose, schedule)
            buttons += more_buttons
            links += more_links
    draws = draws_left(touch)
    for name in draws:
        several = touch.kind is not TouchKind.DRAW or len(draws) > 1
        links += task_moved(touch.uid, name, plan.tasks[name].label if several else "")
    if touch.kind is TouchKind.IDLE_FLUSH and touch.outcome is None and not touch.outstanding:
        words = _("This flush is left out, as a clinician said")
        links.append(form_link(words, Verb.SKIPPED, lumen=touch.lumen))
    if touch.kind is TouchKind.IDLE_FLUSH or touch.outstanding:
        links += without_lock(touch.lumen, plan)
    buttons += [
        button(_("It will not flush"), Verb.PROBLEM, sign=Sign.WILL_NOT_FLUSH.value, lumen=touch.lumen),
        button(_("No blood return"), Verb.PROBLEM, sign=Sign.NO_BLOOD_RETURN.value, lumen=touch.lumen),
    ]
    links.append(Link(_("Pain, swelling, a leak, a reaction, anything else"), query("signs", lumen=touch.lumen)))
    return buttons, links


def without_lock(lumen: str, plan: Plan) -> list[Link]:
    """Return the form that says that a lumen was flushed without its heparin (S7)."""
    lock = plan.lock(plan.lumens[lumen])
    if lock.kind is not FluidKind.HEPARIN:
        return []
    words = _("Flushed, but without {lock}").format(lock=lock.label)
    return [form_link(words, Verb.FLUSHED, lumen=lumen, fluids=plan.protocol.flush)]


def while_it_runs(dose: Dose, schedule: Schedule) -> tuple[list[Button], list[Link]]:
    """Return what can happen with an infusion while it runs, besides its finish."""
    order = schedule.plan_at(dose.start).orders[dose.order]
    buttons = [
        _of_dose(_("Interrupted"), Verb.INTERRUPTED, dose),
        _of_dose(
            _("It does not flow, or the pump alarms"),
            Verb.PROBLEM,
            dose,
            sign=Sign.NOT_FLOWING.value,
            lumen=dose.lumen,
        ),
    ]
    if order.bag_every or order.bag_times:
        buttons.append(_of_dose(_("Bag changed"), Verb.BAG_CHANGED, dose))
    return buttons, [_dose_link(_("Stopped early"), Verb.STOPPED, dose)]


def goes_on(dose: Dose) -> Button:
    """Return what says that an interrupted infusion goes on."""
    return _of_dose(_("It runs again"), Verb.RESUMED, dose)


def goes_on_form(dose: Dose) -> Link:
    """Return the form that says that an infusion goes on, of which that is not taken for granted."""
    return _dose_link(_("It runs again"), Verb.RESUMED, dose, past="yes")


def has_finished(dose: Dose, plan: Plan, touch: Touch | None, *, when: str = "") -> list[Button]:
    """Return what says that an infusion has finished, at ``when`` if that is not to be said apart.

    ``touch`` is its finish, if the schedule has one.
    """
    flushed = touch is not None and any(step.action in FLUIDS for step in touch.steps)
    return list(_finished(dose, plan, flushed=flushed, named=False, when=when))


def released(lumen: str, plan: Plan) -> Link:
    """Return the form that says that a clinician has released a lumen."""
    words = _("A clinician has released the {lumen}").format(lumen=lumen_words(plan, lumen))
    return form_link(words, Verb.RELEASED, lumen=lumen)


def line_released() -> Link:
    """Return the form that says that a clinician has released the whole line."""
    return form_link(_("A clinician has released the whole line"), Verb.RELEASED, everything="yes", asked="yes")


def dressing_seen_to(plan: Plan, *, stopped: bool) -> list[Link]:
    """Return the forms that say that the dressing was changed, or that a clinician has said what to do about it.

    That is a release of everything: not offered where the line is ``stopped`` by a graver sign, which has its own.
    """
    changes = [task for task in plan.tasks.values() if task.kind is TaskKind.DRESSING]
    words = _("It was changed: say when")
    said = form_link(_("A clinician has said what to do"), Verb.RELEASED, everything="yes", asked="yes")
    changed = [form_link(words, Verb.TASK_DONE, name=task.name, past="yes") for task in changes[:1]]
    return changed if stopped else [*changed, said]


def _dose_link(words: str, verb: Verb, dose: Dose, **fields: str) -> Link:
    return form_link(words, verb, order=dose.order, dose=dose.key, **fields)


def must_ask(touch: Touch) -> bool:
    """Say whether somebody must be asked before an event, so that no plain button for it is offered (R17, R18).

    A draw that a nurse or a clinic does is theirs, and it may be said at once that they did it.
    """
    return bool(touch.asks) or (touch.nurse_only and not drawn_by_others(touch))
