"""The steps of a touch into sentences; all of them are marked for gettext."""

from collections.abc import Iterable

from reminders.plan.durations import duration
from reminders.plan.model import FluidKind, Plan
from reminders.plan.order import GivenAs
from reminders.schedule.counts import items_of
from reminders.schedule.model import Action, Step, Touch
from reminders.units import number, span
from reminders.words import CATALOGUE, drug_words, prepare_words, run_words

_ = CATALOGUE.gettext


def step_words(step: Step, plan: Plan) -> str:
    """Say one step in a sentence."""
    volume = step.volume.text if step.volume is not None else ""
    if step.action is Action.FLUSH:
        return _("Flush with {volume} {fluid}.").format(volume=volume, fluid=plan.fluids[step.what].label)
    if step.action is Action.LOCK:
        fluid = plan.fluids[step.what]
        if fluid.kind is FluidKind.HEPARIN and fluid.strength is not None and step.volume is not None:
            units = number(step.volume.amount * fluid.strength.amount)
            return _("Lock with {volume} {fluid}, {strength} ({units} units).").format(
                volume=volume, fluid=fluid.label, strength=fluid.strength.text, units=units
            )
        if step.what == plan.protocol.flush:
            return _("Flush with {volume} {fluid}; it stays in as the lock.").format(volume=volume, fluid=fluid.label)
        return _("Lock with {volume} {fluid}.").format(volume=volume, fluid=fluid.label)
    if step.action is Action.WITHDRAW:
        if step.what:
            return _("Do not flush yet: draw out {volume} first and discard it ({drug} is in the lumen).").format(
                volume=volume, drug=plan.orders[step.what].drug
            )
        return _("Do not flush yet: draw out {volume} first and discard it (the lock is in the lumen).").format(
            volume=volume
        )
    if step.action is Action.EXTRA:
        return plan.extra_steps[step.what].label
    if step.action is Action.DISCARD:
        return _("Draw out {volume} and discard it.").format(volume=volume)
    if step.action is Action.DRAW:
        return _("Draw the blood: {label}.").format(label=plan.tasks[step.what].label)
    order = plan.orders[step.what]
    if step.action is Action.CONNECT:
        return _("Connect and start {drug}{how}.").format(drug=drug_words(order), how=run_words(order))
    if step.action is Action.PUSH:
        return _("Push {drug} slowly, over {time}.").format(drug=drug_words(order), time=span(duration(order) or 0))
    if step.action is Action.PAUSE:
        return _("Stop {drug} and close its clamp; it goes on after the draw.").format(drug=order.drug)
    if step.action is Action.RESUME:
        return _("Let {drug} run again, as it was.").format(drug=order.drug)
    if step.action is Action.CHANGE_BAG:
        return _("Change the bag or reservoir of {drug}{how}.").format(drug=order.drug, how=run_words(order))
    if order.continuous or order.given_as is GivenAs.PUMP:
        return _("Stop and disconnect {drug}.").format(drug=order.drug)
    return _("When {drug} has run in full, disconnect it.").format(drug=order.drug)


def what_to_do(touch: Touch, steps: Iterable[Step]) -> list[str]:
    """Say what to lay out for a touch, and its ``steps`` that are still to be done, numbered."""
    plan, items = touch.plan, items_of(touch)
    lines = [_("Prepare: {items}.").format(items=prepare_words(items))] if items else []
    return lines + [f"{count}. {step_words(step, plan)}" for count, step in enumerate(steps, start=1)]
