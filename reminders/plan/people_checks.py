"""What people would read in a plan, and take for something else, into findings. Pure: a plan in, findings out."""

import re
from collections.abc import Iterator

from reminders.findings import Finding
from reminders.plan.care import TaskKind
from reminders.plan.items import alike
from reminders.plan.model import Plan


def check_people(plan: Plan) -> list[Finding]:
    """Return every finding about what people would misread."""
    return [*_lumens(plan), *_allergies(plan), *_levels(plan)]


def _lumens(plan: Plan) -> Iterator[Finding]:
    for name, other in alike({name: lumen.label for name, lumen in plan.lumens.items()}):
        yield Finding(
            code="lumen-label",
            message=f'[lumen.{name}] is called "{plan.lumens[name].label}", and so is [lumen.{other}]: nobody could tell which '
            "lumen is meant.",
            expected="for each lumen what its owner sees on it and on no other",
            mend="Give one of them another label, or take it out if there is only one such lumen.",
            places=(("lumen", name, "label"), ("lumen", other, "label")),
        )


SAYS_NONE = frozenset({"none", "nil", "nka", "nkda", "nkfa"})
"""Words that say by themselves that there is no allergy."""
WITHOUT = SAYS_NONE | {"no", "not", "na", "unknown", "denies", "denied", "tbd", "unsure"}
"""Words of which one at least stands where no allergy is named."""
BESIDE = frozenset(
    "allergies allergy allergic any applicable at all be chart confirmed drug drugs food foods found have history known med "
    "medication medications meds of on patient pt record recorded reported see sheet so far stated the to".split()
)
"""Words that stand beside those and name no allergy. All three lists: common practice, no source."""


MARKS = " \"'\u2018\u2019\u201a\u201c\u201d\u201e\u00ab\u00bb\u2039\u203a"
"""Quotation marks of all kinds, and blanks."""


def _words(text: str) -> list[str]:
    """Return the words of an entry in small letters, without quotation marks and other signs; ``n/a`` is one word."""
    return re.findall(r"[^\W_]+", re.sub(r"[./]", "", text.casefold()))


def names_none(text: str) -> bool:
    """Say whether an allergy's words name none: ``"none"``, ``N/A``, ``no known drug allergies``, ``unknown``."""
    words = set(_words(text))
    pointed = {"see"} & words and {"chart", "sheet", "record"} & words
    return bool(words & WITHOUT or pointed) and words <= WITHOUT | BESIDE


def _allergies(plan: Plan) -> Iterator[Finding]:
    parts = [part for text in plan.line.allergies for part in re.split(r"[,;\n]", text) if _words(part)]
    none = [part.strip(MARKS) for part in parts if names_none(part)]
    mixed = [part.strip(MARKS) for part in parts if not names_none(part) and SAYS_NONE & set(_words(part))]
    if mixed or (none and len(none) < len(parts)):
        said = mixed or none
        yield Finding(
            code="allergy-and-none",
            message=f'The allergies say "{said[0]}" and name an allergy besides.',
            expected="either the names of known allergies, or that none is known",
            mend="Ask whether both are meant; what does not hold is taken out.",
            places=(("line", "allergies"),),
        )
    elif none:
        yield Finding(
            code="allergy-or-none",
            message=f'The allergies name "{none[0]}", as if that were an allergy.',
            expected="the names of known allergies, or an empty list",
            mend='Ask whether none is known at all. If so, write it as allergies = [], or "none" where it is asked for. Else name the allergy.',
            places=(("line", "allergies"),),
        )


def _levels(plan: Plan) -> Iterator[Finding]:
    """A level that is drawn through the lumen of its own drug may be measured too high (common practice, no source)."""
    for name, task in plan.tasks.items():
        order = plan.orders.get(task.order or "")
        if task.kind is TaskKind.DRAW and order is not None and task.lumen == order.lumen in plan.lumens:
            yield Finding(
                code="draw-same-lumen",
                message=f"{task.label} is drawn through the {plan.lumens[order.lumen].label} lumen, in which {order.drug} runs. If "
                "that drug is measured, what is left of it in the lumen may be measured too.",
                expected="the lumen that the laboratory or pharmacist names for this draw (common practice, no source)",
                mend="Ask the laboratory or pharmacist which lumen; the plan stays as it is.",
                places=(("task", name, "lumen"), ("order", order.name, "lumen")),
            )
