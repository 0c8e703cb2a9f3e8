"""The stock as text: what is left of each item, how long it lasts, when to order, and from what that is reckoned (R21)."""

from collections.abc import Sequence

from reminders.plan.model import Plan
from reminders.schedule.stock import Stocked
from reminders.stock_words import AS_RECKONED, NOT_BEFORE_IT_CAME, PRESSES, left_words, stock_lines, tag_words
from reminders.times import Instant
from reminders.words import CATALOGUE, moment_words

_ = CATALOGUE.gettext


def by_need(stocked: Sequence[Stocked], plan: Plan, now: Instant) -> list[Stocked]:
    """Return items in the order in which they press, else as the plan has them."""
    return sorted(stocked, key=lambda found: found.standing(plan, now))


def stock_text(stocked: Sequence[Stocked], plan: Plan, now: Instant) -> list[str]:
    """Return the stock at ``now`` as lines; none where the plan keeps none."""
    if not stocked:
        return []
    lines = [_("In stock, {at}. {how}").format(at=moment_words(plan.clock.local(now)), how=AS_RECKONED)]
    for found in by_need(stocked, plan, now):
        lines.append(_heading(found, plan, now))
        lines += [f"    {line}" for line in stock_lines(found, plan, now)]
    return [*lines, NOT_BEFORE_IT_CAME]


def pressing_lines(stocked: Sequence[Stocked], plan: Plan, now: Instant) -> list[str]:
    """Return what must be ordered soon or has run out, one item with its first line each; often nothing."""
    lines = []
    for found in by_need(stocked, plan, now):
        if found.standing(plan, now) in PRESSES:
            said = " ".join(stock_lines(found, plan, now)[:2])
            lines.append(_("{heading}. {said}").format(heading=_heading(found, plan, now).strip(), said=said))
    return lines


def _heading(found: Stocked, plan: Plan, now: Instant) -> str:
    return "  " + _("{item}: {left} ({tag})").format(
        item=found.item, left=left_words(found), tag=tag_words(found, found.standing(plan, now))
    )
