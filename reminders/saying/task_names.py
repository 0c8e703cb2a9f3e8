"""Which care tasks of a plan some words mean: by name or label, or the beginning of one, by what kind of
task it is, or by words that all are in one of these."""

import difflib
from collections.abc import Mapping
from enum import IntEnum

from reminders.plan.care import CareTask
from reminders.plan.items import NEAR

FILLERS = frozenset("the a an of in on my is was has it its until till".split())
"""Words that say nothing on their own."""

DENIED = frozenset("not no never nothing nobody none without didn't didnt wasn't wasnt isn't isnt hasn't hasnt".split())
"""Words after which a task was not done, or not by this: they mean no task, whatever it is called."""


class Fit(IntEnum):
    """How well some words fit what something is called."""

    NONE = 0
    WORDS = 1
    KIND = 2
    BEGINS = 3
    EXACT = 4


def spoken(text: str) -> str:
    """Return a text as it is compared: in small letters, without fillers."""
    words = (word.strip(".,;:!?") for word in text.casefold().replace("_", " ").split())
    return " ".join(word for word in words if word and word not in FILLERS)


def tasks_meant(text: str, tasks: Mapping[str, CareTask]) -> tuple[Fit, list[str]]:
    """Return how well a text fits the tasks that it fits best, and their names; none where it fits none, or denies."""
    wanted = spoken(text)
    if not wanted or DENIED & set(wanted.split()):
        return Fit.NONE, []
    fits = {name: _fit(wanted, task) for name, task in tasks.items()}
    best = max(fits.values(), default=Fit.NONE)
    return best, [name for name, fit in fits.items() if fit is best and best is not Fit.NONE]


def _fit(wanted: str, task: CareTask) -> Fit:
    called = [spoken(task.name), spoken(task.label)]
    if wanted in called:
        return Fit.EXACT
    if any(_begins(wanted, word) for word in called):
        return Fit.BEGINS
    if _begins(wanted, spoken(task.kind.value)):
        return Fit.KIND
    words = {word for text in (*called, spoken(task.kind.value)) for word in _words(text)}
    return Fit.WORDS if words.issuperset(_words(wanted)) and len(wanted) > 2 else Fit.NONE


def _words(text: str) -> list[str]:
    """Return the words of a text as it is compared, without the marks about them."""
    return [word.strip("()") for word in text.split()]


def _begins(wanted: str, called: str) -> bool:
    """Say whether a name begins with some words; one letter is no word."""
    return len(wanted) > 1 and called.startswith(wanted)


def tasks_near(text: str, tasks: Mapping[str, CareTask]) -> list[str]:
    """Return the tasks that share a word with a text, or one that is spelt much like it: they may be meant."""
    said = [word for word in spoken(text).split() if len(word) > 2]
    if DENIED & set(said):
        return []
    found = []
    for name, task in tasks.items():
        words = [w for called in (name, task.label, task.kind.value) for w in spoken(called).split() if len(w) > 2]
        if any(difflib.get_close_matches(word, words, 1, max(NEAR, 0.8)) for word in said):
            found.append(name)
    return found
