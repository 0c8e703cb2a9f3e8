"""Whether a second person has read a plan back, as a household is told."""

from reminders.plan.model import Plan
from reminders.plan.read_back import ReadBackState, check_letters, state
from reminders.words import CATALOGUE, moment_words

_ = CATALOGUE.gettext


def is_read_back(plan: Plan) -> bool:
    """Say whether somebody has read a plan back as it stands."""
    return state(plan) is ReadBackState.FITS


def read_back_words(plan: Plan) -> str:
    """Say who read a plan back; loudly, that nobody has, or not as it stands."""
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
