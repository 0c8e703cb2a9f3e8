"""A plan into the items of supply that it names (R21), and two spellings into whether they mean the same."""

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from reminders.plan.model import Plan

NEAR = 0.7
"""How like one another two spellings are that may mean the same, of 1 for the same."""


def plain(item: str) -> str:
    """Return an item's name without what people write differently: capital letters and blanks."""
    return "".join(item.casefold().split())


def alike(labels: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield the names of things that people cannot tell apart: whose label is that of another, or is another's short name.

    Each is told with the one that it is taken for.
    """
    called = {_heard(name): name for name in labels}
    for name, label in labels.items():
        other = called.setdefault(_heard(label), name)
        if other != name:
            yield name, other


def _heard(label: str) -> str:
    """Return what is left of a label where somebody says it: no marks, no capital letters, and not the word lumen."""
    return "".join(word for word in re.findall(r"[^\W_]+", label.casefold()) if word != "lumen") or plain(label)


def used_items(plan: Plan) -> tuple[str, ...]:
    """Return every item that something in a plan uses up, each once, in the plan's order."""
    supplies = plan.supplies
    tables: list[Iterable[str]] = [[fluid.syringe for fluid in plan.fluids.values()]]
    tables += [supplies.each_touch, supplies.each_syringe, supplies.each_connection]
    tables += [supplies.each_withdrawal, supplies.each_draw]
    for order in plan.orders.values():
        tables += [order.each_dose, order.each_bag]
    tables += [step.consumes for step in plan.extra_steps.values()]
    tables += [task.uses for task in plan.tasks.values()]
    return tuple(dict.fromkeys(item for table in tables for item in table))


def named_items(plan: Plan) -> tuple[str, ...]:
    """Return every item that a plan names, those that it keeps stock of first: used up, in stock, or brought."""
    stocked = [entry.item for entry in plan.stock.values()]
    brought = [item for task in plan.tasks.values() for item in task.brings]
    return tuple(dict.fromkeys([*stocked, *used_items(plan), *brought]))


def nearest(item: str, known: Sequence[str]) -> str:
    """Return the one of some items that is spelt nearest to ``item``, as a whole or in one of its words; "" if none is near."""
    spelt = {word: other for other in reversed(known) for word in other.casefold().split()}
    spelt |= {plain(other): other for other in reversed(known)}
    found = difflib.get_close_matches(plain(item), spelt, n=1, cutoff=NEAR)
    return spelt[found[0]] if found else ""
