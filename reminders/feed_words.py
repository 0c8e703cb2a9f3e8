"""What a calendar that is kept current says beside the plan's own events: how old it is, and the test of an alarm."""

from reminders.plan.model import Plan, Reveals
from reminders.times import Instant
from reminders.words import CATALOGUE, DISCREET_TITLE, call_words, day_words, moment_words

_ = CATALOGUE.gettext

TEST_TITLE = _("TEST")


def renewed_words(plan: Plan, at: Instant, renewed: Instant) -> tuple[str, str]:
    """Return title and description of the event, at ``at``, whose time never comes while a calendar is renewed each day.

    It is seen beforehand too, so it must not read like an alarm as long as its time has not come.
    """
    clock = plan.clock
    when, day = moment_words(clock.local(at)), day_words(clock.local(renewed).date())
    if plan.calendar.reveals is Reveals.NOTHING:
        body = _("{when}.\nThis was last renewed on {day}. If its time has come, it is old: see your plan.")
        return DISCREET_TITLE, body.format(when=when, day=day)
    title = DISCREET_TITLE
    if plan.calendar.reveals is Reveals.EVERYTHING:
        title = _("Old calendar, if this time has come: last renewed {day}").format(day=day)
    lines = (
        _("{when}.").format(when=when),
        _("This calendar was last renewed on {day}. Each day on which it is renewed moves this entry ahead.").format(
            day=day
        ),
        _(
            "If you read this after its time, this copy is old and the plan may have changed since. Do not go by it alone: "
            "look at the reminder page on the computer at home, or ask there what holds now."
        ),
        _("Nothing in this calendar says that something was done unless it says by itself that it is recorded."),
        _("If you are not sure, call {call}.").format(call=call_words(plan.contacts["now"])),
    )
    return title, "\n".join(lines)


def test_words(plan: Plan, at: Instant) -> tuple[str, str]:
    """Return title and description of the event that tries whether a phone rings; it tells a stranger nothing."""
    when = moment_words(plan.clock.local(at))
    if plan.calendar.reveals is Reveals.NOTHING:
        return TEST_TITLE, _("{when}.\nThis is a test. Nothing is to be done.").format(when=when)
    title = TEST_TITLE
    if plan.calendar.reveals is Reveals.EVERYTHING:
        title = _("TEST: does this phone ring now?")
    body = _(
        "{when}.\nThis is only a test of the alarm. Nothing is to be given, flushed or recorded. If this phone did not ring, do "
        "not rely on it: see the page about phones on the computer at home."
    )
    return title, body.format(when=when)
