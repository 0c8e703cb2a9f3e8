"""What is read back of a plan, and who has done it, in the words of whoever reads it aloud."""

from itertools import groupby

from reminders.plan.model import Plan
from reminders.plan.read_back import ReadBackState, ReadLine, check_letters, lines, state
from reminders.words import CATALOGUE, moment_words

_ = CATALOGUE.gettext

HEADINGS = {
    "plan": _("The plan"),
    "line": _("The line"),
    "lumen": _("Lumen"),
    "fluid": _("Syringe"),
    "protocol": _("Protocol"),
    "order": _("Order"),
    "task": _("Care task"),
    "daily_limits": _("Limits of a day"),
    "call": _("Whom to call"),
}
"""What each kind of thing is called above its lines."""

HOW = _(
    "One reads this aloud, the other compares it with the orders themselves, not with what was typed: drug, dose, units, "
    "strength, lumen, times."
)


def read_back_text(plan: Plan) -> str:
    """Return everything that is read back, thing by thing, with the letters and who has done it; with a final newline."""
    blocks = [
        "\n".join([heading_of(group[0]), *(f"  {_(line.what)}: {line.said}" for line in group)])
        for group in in_groups(plan)
    ]
    return "\n\n".join([HOW, *blocks, read_back_words(plan)]) + "\n"


def in_groups(plan: Plan) -> list[list[ReadLine]]:
    """Return the lines that are read back, those about one thing together."""
    return [list(group) for _thing, group in groupby(lines(plan), key=lambda line: (line.about, line.name))]


def heading_of(line: ReadLine) -> str:
    """Return what stands above the lines about one thing: ``Order: cefazolin``."""
    heading = HEADINGS[line.about]
    return heading if line.about in ("plan", "line", "daily_limits") else f"{heading}: {line.name}"


def read_back_words(plan: Plan) -> str:
    """Say who has read a plan back, and its check letters, in one or two sentences."""
    letters = check_letters(plan)
    if plan.read_back is None:
        return _("Read back: by nobody yet. Check letters: {letters}.").format(letters=letters)
    when = moment_words(plan.clock.local(plan.read_back.at.instant))
    by = _("Read back by {who} on {when}.").format(who=plan.read_back.by, when=when)
    if state(plan) is ReadBackState.FITS:
        return by + " " + _("Check letters: {letters}.").format(letters=letters)
    changed = _("It was changed since: the check letters were {old} and are now {letters}.")
    return by + " " + changed.format(old=plan.read_back.check, letters=letters)


def is_read_back(plan: Plan) -> bool:
    """Say whether somebody has read a plan back as it stands."""
    return state(plan) is ReadBackState.FITS


def household_words(plan: Plan) -> str:
    """Tell a household who read a plan back; loudly, that nobody has, or not as it stands."""
    read = plan.read_back
    if read is None:
        return _(
            "NOBODY HAS READ THIS PLAN BACK YET. Do not go by it before a second person has read it back against the orders: "
            "drugs, doses, units, strengths, lumens and times."
        )
    at = moment_words(plan.clock.local(read.at.instant))
    if not is_read_back(plan):
        return _(
            "THIS PLAN WAS CHANGED AFTER IT WAS READ BACK by {by}, {at}: its check letters were {check} and are now {now}. Do not "
            "go by it before it has been read back again."
        ).format(by=read.by, at=at, check=read.check, now=check_letters(plan))
    return _("Read back by {by}, {at}; check letters {check}.").format(by=read.by, at=at, check=read.check)
