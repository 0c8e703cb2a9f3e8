"""Supplies that were counted or delivered into facts, and what to answer to that (R21).

Items are matched to those of the plan, however they are written; which one is meant is asked back where that is unclear,
and what the plan does not name is recorded as it was said.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from reminders.plan.care import TaskKind
from reminders.plan.items import named_items, nearest, plain
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind, Record
from reminders.saying.which import AskBackError, Choice, Which
from reminders.schedule.model import Schedule, Status, TaskEvent
from reminders.schedule.status import task_status
from reminders.schedule.stock import Stocked, brings, stock
from reminders.stock_words import (
    NOT_BEFORE_IT_CAME,
    act_words,
    delivery_words,
    lasts_words,
    left_words,
    order_words,
    pieces,
)
from reminders.times import HOUR, Instant
from reminders.words import CATALOGUE, clock_beside

_ = CATALOGUE.gettext

OF_STOCK = frozenset({Kind.STOCK_COUNTED, Kind.DELIVERED})
"""Facts about an item of supply."""

OFFERED = 5
"""So many items are offered where it is unclear which is meant."""


def counted(which: Which, record: Record) -> list[dict[str, Any]]:
    """Return the facts that items were counted; none for one that is recorded already, of the same minute.

    Raises:
        AskBackError: it is unclear which item is meant.
    """
    told = record.of_kind(Kind.STOCK_COUNTED)
    return [
        {"kind": Kind.STOCK_COUNTED, "name": name, "count": number}
        for name, number in _items(which)
        if not any(_same(fact, name, number, which.at) for fact in told)
    ]


def delivered(which: Which, record: Record) -> list[dict[str, Any]]:
    """Return the facts that items came, and that the delivery which should have brought them is done.

    Raises:
        AskBackError: it is unclear which item is meant, or some of it was already reported on that day.
    """
    told = record.of_kind(Kind.DELIVERED)
    facts: list[dict[str, Any]] = []
    for name, number in _items(which):
        if any(_same(fact, name, number, which.at) for fact in told):
            continue
        if not which.said.again:
            _ask_whether_the_same(name, number, told, which)
        facts.append({"kind": Kind.DELIVERED, "name": name, "count": number})
    tasks = {event.task for event in _open_deliveries(which) for fact in facts if brings(event, fact["name"])}
    return [*facts, *({"kind": Kind.TASK_DONE, "name": task} for task in sorted(tasks))]


def _same(fact: Fact, name: str, number: int, at: Instant) -> bool:
    return (plain(fact.name), fact.count, fact.happened) == (plain(name), number, at)


def _ask_whether_the_same(name: str, number: int, told: Sequence[Fact], which: Which) -> None:
    """Two people report one delivery; counted twice, there would seem to be more than there is."""
    day = which.clock.local(which.at).date()
    same = [f for f in told if plain(f.name) == plain(name) and which.clock.local(f.happened).date() == day]
    if not same:
        return
    who = _(" by {name}").format(name=same[-1].by) if same[-1].by else ""
    raise AskBackError(
        _("{pieces} were already reported as delivered{who}, at {at}.").format(
            pieces=pieces(name, same[-1].count or 0), who=who, at=which.shown(same[-1].happened)
        ),
        [
            Choice(_("It is the same delivery: nothing to record."), "", settles=True),
            Choice(_("{pieces} came besides.").format(pieces=pieces(name, number)), "--again", {"again": True}),
        ],
    )


def _open_deliveries(which: Which) -> Iterator[TaskEvent]:
    """Yield the planned deliveries that are due at the moment that was said, or wait since."""
    waits = (Status.DUE, Status.OVERDUE)
    last: dict[str, TaskEvent] = {}
    for event in which.schedule.tasks:
        if event.care.kind is TaskKind.DELIVERY and task_status(event, which.schedule, which.at) in waits:
            last[event.task] = event
    yield from last.values()


def _items(which: Which) -> list[tuple[str, int]]:
    said = which.said
    known = list(dict.fromkeys([*named_items(which.plan), *named_items(which.schedule.plan)]))
    if said.items:
        return [(_exactly(name, known) or name, number) for name, number in said.items]
    return [(_item(which, known), said.count or 0)]


def _exactly(name: str, known: Sequence[str]) -> str:
    return next((item for item in known if plain(item) == plain(name)), "")


def _item(which: Which, known: Sequence[str]) -> str:
    """Return the item that is meant, by its name or the beginning of it."""
    name = which.said.name
    exact = _exactly(name, known)
    if exact or which.said.as_said:
        return exact or name
    begun = [item for item in known if plain(item).startswith(plain(name))]
    if len(begun) == 1:
        return begun[0]
    if not which.schedule.plan.stock:
        return name
    near = begun or [item for item in known if plain(name) in plain(item)]
    close = nearest(name, known)
    options = list(dict.fromkeys([*near, *([close] if close else [])]))[:OFFERED]
    raise AskBackError(
        _('Which item is "{name}"?').format(name=name)
        if options
        else _('The plan names no item like "{name}".').format(name=name),
        [
            *(Choice(item, f'--item "{item}"', {"name": item}) for item in options),
            Choice(
                _("None that the plan names: record it as said."), f'--item "{name}"', {"name": name, "as_said": True}
            ),
        ],
    )


# The answer


def stock_answer(
    facts: Sequence[Fact], before: tuple[Schedule, Record], after: tuple[Schedule, Record], now: Instant
) -> list[str]:
    """Return what to say about supplies to somebody who has just reported ``facts``; nothing where they are about none."""
    schedule, record = after
    plan = schedule.plan
    found = {plain(entry.item): entry for entry in stock(schedule, record, now)}
    lines = []
    for fact in facts:
        entry = found.get(plain(fact.name))
        if fact.kind not in OF_STOCK or not plan.stock:
            continue
        if entry is None:
            lines.append(_("The plan keeps no stock of {item}: nothing is reckoned from it.").format(item=fact.name))
            continue
        if fact.kind is Kind.STOCK_COUNTED:
            lines += _beside_reckoned(fact, *before)
        lines += _same_minute(fact, entry, record)
    return [*dict.fromkeys(lines), *stock_now(facts, schedule, record, now), *_brought(facts, schedule, record)]


def stock_now(facts: Sequence[Fact], schedule: Schedule, record: Record, now: Instant) -> list[str]:
    """Return how things stand with each item of stock that some facts are about, be they taken back or not."""
    about = {plain(fact.name) for fact in facts if fact.kind in OF_STOCK}
    return [
        _state_words(entry, schedule.plan, now) for entry in stock(schedule, record, now) if plain(entry.item) in about
    ]


def _beside_reckoned(fact: Fact, schedule: Schedule, record: Record) -> list[str]:
    """Say by how many a count differs from what was reckoned at its moment."""
    reckoned = [entry for entry in stock(schedule, record, fact.happened) if plain(entry.item) == plain(fact.name)]
    if not reckoned or reckoned[0].counted_at > fact.happened:
        return []
    left, count = reckoned[0].left, fact.count or 0
    if left < 0:
        return [
            _("{item}: more than could have been left, as reckoned. From now on your count stands.").format(
                item=fact.name
            )
        ]
    if count == left:
        return [_("{item}: just as many as reckoned.").format(item=fact.name)]
    said = _("{item}: {number} fewer than reckoned ({left}). From now on your count stands.")
    if count > left:
        said = _("{item}: {number} more than reckoned ({left}). From now on your count stands.")
    return [said.format(item=fact.name, number=abs(count - left), left=left)]


def _same_minute(fact: Fact, entry: Stocked, record: Record) -> list[str]:
    """A count and a delivery of one minute: the count stands for what was there before the delivery, and that is said."""
    both = {
        other.kind
        for other in record.of_kind(*OF_STOCK)
        if plain(other.name) == plain(fact.name) and other.happened == fact.happened
    }
    if len(both) < 2:
        return []
    return [
        _(
            "{item} was counted and delivered in the same minute: the {delivered} delivered are added to the {counted} "
            "counted. If your count has them in it, count again."
        ).format(item=entry.item, delivered=entry.delivered, counted=entry.counted)
    ]


def _state_words(entry: Stocked, plan: Plan, now: Instant) -> str:
    parts = [
        _("{item}: {left}.").format(item=entry.item, left=left_words(entry)),
        act_words(entry.standing(plan, now), plan),
        lasts_words(entry, plan, now),
        order_words(entry, plan, now),
        *delivery_words(entry, plan, now),
    ]
    return " ".join(part for part in parts if part)


def _brought(facts: Sequence[Fact], schedule: Schedule, record: Record) -> Iterator[str]:
    """Say of a delivery that was reported as done what it should have brought, and how to say what came."""
    for fact in facts:
        if fact.kind is not Kind.TASK_DONE:
            continue
        plan = schedule.plan_at(fact.happened)
        task = plan.tasks.get(fact.name) or schedule.plan.tasks.get(fact.name)
        yield from _taken_for(fact, facts, schedule)
        missing = {} if task is None else not_said(task.brings, fact.happened, schedule, record)
        if not missing:
            continue
        first = next(iter(missing))
        yield _("It should have brought {items}. {not_before} Say how many of each came, fewer or more:").format(
            items=", ".join(pieces(item, number) for item, number in missing.items()), not_before=NOT_BEFORE_IT_CAME
        )
        yield _("  for example  delivered {number} {item}").format(number=missing[first], item=first)


def _taken_for(fact: Fact, facts: Sequence[Fact], schedule: Schedule) -> Iterator[str]:
    """Say of what came hours before the delivery that it is taken for that it is: another may be still to come."""
    if not any(other.kind is Kind.DELIVERED for other in facts):
        return
    done = (event for event in schedule.tasks if event.task == fact.name and event.at == fact.happened)
    event = next((event for event in done if event.planned > event.at + HOUR), None)
    if event is None:
        return
    plan = schedule.plan
    yield _(
        "This is taken for the delivery planned for {at}, which is not asked for any more. If that one is still to come, "
        "take this back with  reminders undo , and say how many there are now instead, with  counted ."
    ).format(at=clock_beside(plan, event.planned, plan.clock.local(event.at).date()))


def not_said(should: Mapping[str, int], at: Instant, schedule: Schedule, record: Record) -> dict[str, int]:
    """Return of what a delivery should bring that of which nobody has said on its day how many came."""
    clock = schedule.plan.clock
    day = clock.local(at).date()
    said = {plain(fact.name) for fact in record.of_kind(Kind.DELIVERED) if clock.local(fact.happened).date() == day}
    return {item: number for item, number in should.items() if plain(item) not in said}
