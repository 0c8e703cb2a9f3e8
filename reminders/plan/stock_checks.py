"""What a plan's stock contradicts in itself and in the rest of the plan (R21). Pure: a plan in, findings out."""

from collections.abc import Iterator
from datetime import timedelta

from reminders.findings import Finding, KeyPath
from reminders.plan.items import nearest, plain, used_items
from reminders.plan.model import Plan

DAY_BEFORE = timedelta(days=1)


def check_stock(plan: Plan) -> list[Finding]:
    """Return every finding about a plan's stock and about what its deliveries bring."""
    return [finding for check in (_unused, _twice, _order_ahead, _counted, _brought) for finding in check(plan)]


def _unused(plan: Plan) -> Iterator[Finding]:
    used = used_items(plan)
    spelt = {plain(item) for item in used}
    for entry in plan.stock.values():
        if plain(entry.item) not in spelt:
            place: KeyPath = ("stock", entry.name, "item")
            yield _unknown_item("stock-unused", f'Nothing in the plan uses "{entry.item}"', entry.item, used, place)


def _unknown_item(code: str, said: str, item: str, known: tuple[str, ...], place: KeyPath) -> Finding:
    meant = nearest(item, known)
    return Finding(
        code=code,
        message=said + (f'; did you mean "{meant}"?' if meant else "."),
        expected="an item as the steps and syringes name it: " + ", ".join(known)
        if known
        else "an item that the plan uses",
        mend="Correct the spelling, or take it out if it is not used any more.",
        places=(place,),
    )


def _twice(plan: Plan) -> Iterator[Finding]:
    first: dict[str, str] = {}
    for entry in plan.stock.values():
        other = first.setdefault(plain(entry.item), entry.name)
        if other != entry.name:
            yield Finding(
                code="stock-twice",
                message=f'[stock.{other}] and [stock.{entry.name}] are both about "{entry.item}".',
                expected="one table for each item",
                mend="Keep the one with the later count.",
                places=(("stock", entry.name, "item"), ("stock", other, "item")),
            )


def _order_ahead(plan: Plan) -> Iterator[Finding]:
    lacking = [entry.name for entry in plan.stock.values() if entry.order_ahead is None]
    if lacking and plan.supplies.order_ahead is None:
        yield Finding(
            code="missing",
            message="The plan does not say how long before it runs out an item must be ordered.",
            expected="order_ahead under [supplies], or under each item of [stock]",
            mend='Add a line  order_ahead = "..."  under [supplies], as the provider or pharmacy says.',
            places=(("supplies", "order_ahead"), ("stock", lacking[0])),
        )


def _counted(plan: Plan) -> Iterator[Finding]:
    """A revision knows of no count after the day on which it takes effect; what is used before the plan is not taken off."""
    course = plan.course
    later = course.takes_effect.instant > course.start.instant
    latest, which = (course.takes_effect, "takes_effect") if later else (course.start, "start")
    for entry in plan.stock.values():
        counted, place = entry.counted_at.wall, ("stock", entry.name, "counted_at")
        if counted.date() > latest.wall.date():
            yield Finding(
                code="dates-reversed",
                message=f"{entry.item} was counted {counted:%Y-%m-%d %H:%M}, after the day on which this plan takes effect.",
                expected="a count of that day or before; what is counted later is recorded, not written into the plan",
                mend="Correct whichever of the two is wrong.",
                places=(place, ("plan", which)),
            )
        elif counted.date() < course.start.wall.date() - DAY_BEFORE:
            yield Finding(
                code="stock-count-early",
                message=f"{entry.item} was counted {counted:%Y-%m-%d %H:%M}, days before the plan starts: what was used in "
                "between is not taken off.",
                expected="a count of the day on which the plan starts, or of the day before",
                mend="Count again when the plan starts.",
                places=(place, ("plan", "start")),
            )


def _brought(plan: Plan) -> Iterator[Finding]:
    stocked = [entry.item for entry in plan.stock.values()]
    known = tuple(dict.fromkeys([*stocked, *used_items(plan)]))
    spelt = {plain(item) for item in known}
    for task in plan.tasks.values():
        for item in task.brings:
            if plain(item) not in spelt:
                said = f'[task.{task.name}] brings "{item}", which nothing uses and nothing keeps in stock'
                yield _unknown_item("brings-unused", said, item, known, ("task", task.name, "brings"))
